package server_test

import (
	"strings"
	"testing"

	"lampwright/server"
	"lampwright/server/credential"
	"lampwright/server/record"
)

// rows reads a list that is sent as a file, its header first.
func (a answer) rows(t testing.TB, name string) (out [][]string) {
	t.Helper()
	a.wants(t, 200)
	if got := a.header.Get("Content-Disposition"); got != `attachment; filename="`+name+`"` {
		t.Errorf("saved as %s", got)
	}
	list, err := credential.ReadCSV([]byte(a.body))
	must(t, err)
	for _, r := range list {
		out = append(out, r.Fields)
	}
	return out
}

func TestLists(t *testing.T) {
	t.Parallel()
	inEach(t, func(t *testing.T, language string) {
		t.Parallel()
		dir := demoDir(t)
		withRecords(t, dir, func(s *record.Store) {
			must(t, s.PutPerson(t.Context(), record.Person{
				ID: "formula", SiteID: server.SiteID, Name: `=HYPERLINK("x")`, Role: record.Learner, Card: "K7Q2", Language: "en",
				SetupID: "chair-12", Team: "@nights;\"a\"",
			}, morning))
		})
		reported(t, dir, blownFuse("inbox-1", morning))
		h := serve(t, dir)
		learner, educator, admin := h.learner(t, rowan, language), h.educator(t, language), h.administrator(t, language)
		h.signRowan(t, learner, educator)
		say := learner.speaker()

		a := educator.get("/desk/roster.csv")
		rows, found := a.rows(t, "roster.csv"), 0
		for _, r := range rows {
			switch r[0] {
			case "Rowan Teal":
				found++
				if r[2] != "Chair 12" || r[6] != say.T("page.standing.current") || r[7] != "2027-03-02" || r[8] != "Mara Quill" {
					t.Errorf("of Rowan it says %q", r)
				}
			case `=HYPERLINK("x")`:
				found++
				if r[1] != "@nights;\"a\"" {
					t.Errorf("it says %q", r)
				}
			}
		}
		if found != 2 || rows[0][0] != say.T("page.roster.name") {
			t.Errorf("it says %q", rows)
		}
		educator.get("/desk").wants(t, 200).holds(t, "/desk/roster.csv?competency=")
		educator.get("/desk/roster.csv?competency=none").wants(t, 404)

		people := admin.get("/desk/people.csv")
		people.rows(t, "people.csv")
		read := credential.ReadPeople([]byte(people.body))
		if len(read.Problems) > 0 {
			t.Errorf("read in again: %v", read.Problems)
		}
		if again := string(credential.WritePeople(read.People)); again != people.body {
			t.Errorf("read in again it is\n%s\nbefore\n%s", again, people.body)
		}
		changes, err := credential.Compare(read.People, read)
		must(t, err)
		for _, c := range changes {
			if c.Kind != credential.Unchanged {
				t.Errorf("read in again it is %+v", c)
			}
		}
		admin.get("/desk/people").wants(t, 200).holds(t, "/desk/people.csv", "/desk/statements")
		form := with(admin.get("/desk/import").wants(t, 200).form(t, "/desk/import"), "text", people.body)
		admin.get(admin.post("/desk/import", form).wants(t, 303).location()).says(t, say, 200, "roster.import.nothing")

		changed := admin.get("/desk/changes.csv")
		if rows := changed.rows(t, "changes.csv"); rows[0][0] != say.T("people.changes.at") || len(rows) < 10 {
			t.Errorf("it says %q", rows)
		}
		admin.get("/desk/changes").wants(t, 200).holds(t, "/desk/changes.csv")

		tech := h.technologist(t, language)
		inbox := tech.get("/desk/inbox.csv")
		if rows := inbox.rows(t, "inbox.csv"); len(rows) != 2 || rows[1][0] != "Chair 12" || rows[1][2] == "" || strings.Contains(inbox.body, "555-") {
			t.Errorf("it says %q", rows)
		}
		tech.get("/desk/inbox").wants(t, 200).holds(t, "/desk/inbox.csv")

		for _, a := range []answer{a, people, changed, inbox} { // as a spreadsheet sees it
			for line := range strings.SplitSeq(a.body, "\r\n") {
				for field := range strings.SplitSeq(line, ",") {
					if s := strings.TrimPrefix(field, `"`); s != "" && strings.ContainsAny(s[:1], "=+-@") {
						t.Errorf("%s: a formula: %s", a.asked, field)
					}
				}
			}
		}
	})
}
