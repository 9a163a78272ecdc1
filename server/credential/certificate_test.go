package credential

import (
	"reflect"
	"testing"
	"time"
)

func TestCertificate(t *testing.T) {
	whole := Certificate{
		Signed: signed, Name: "Inés Ortega", Signer: "Tomas Lind", Meaning: "I watched this person do what the checklist names.",
		AtLocal: "2026-03-02 06:05 −08:00", LastDay: "2 March 2027", ChecklistVersion: "1", Language: "fr", RecordHash: "9f86d081",
		Languages: []string{"fr", "en"}, Checkpoint: "alder-bay.example\n17\nAAAA\n\n— alder-bay.example BBBB\n",
	}
	if err := whole.Check(); err != nil {
		t.Fatal(err)
	}
	for i, v := range reflect.ValueOf(whole).Fields() {
		if i.Name == "Signed" {
			continue
		}
		c := whole
		reflect.ValueOf(&c).Elem().FieldByName(i.Name).Set(reflect.Zero(v.Type()))
		if data := refused(t, c.Check(), "problem.certificate"); data["Field"] != i.Name {
			t.Errorf("without %s: %v", i.Name, data)
		}
	}
	for name, change := range map[string]func(*Certificate){
		"Title": func(c *Certificate) { c.Title = "" }, "SetupTag": func(c *Certificate) { c.SetupTag = "" },
		"At": func(c *Certificate) { c.At = time.Time{} }, "Lapses": func(c *Certificate) { c.Lapses = c.At },
		"Address": func(c *Certificate) { c.Address = "/verify/q3k7" },
	} {
		c := whole
		change(&c)
		if data := refused(t, c.Check(), "problem.certificate"); data["Field"] != name {
			t.Errorf("without %s: %v", name, data)
		}
	}
}
