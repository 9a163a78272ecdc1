package record

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"lampwright/locales/problem"
)

func TestRoster(t *testing.T) {
	s := house(t)
	must(t, s.PutPerson(ctx, Person{ID: "bo", SiteID: site, Name: "Bo", Role: Learner, Team: "Nights"}, noon))
	must(t, s.PutPerson(ctx, Person{ID: "cy", SiteID: site, Name: "Cy", Role: Learner, Away: true}, noon))
	other := Setup{"chair-7", site, "Chair 7", "v1", []byte("tag: Chair 7\n")}
	must(t, s.PutSetup(ctx, other, noon))
	first, _, err := s.Sign(ctx, signOff1, "1")
	must(t, err)
	later := signOff1
	later.Signed, later.Supersedes = noon.Add(time.Hour), first.ID
	newest, _, err := s.Sign(ctx, later, "2")
	must(t, err)
	elsewhere := signOff1
	elsewhere.SetupID, elsewhere.SetupTag = "chair-7", "Chair 7"
	there, _, err := s.Sign(ctx, elsewhere, "3")
	must(t, err)
	unlike := signOff1
	unlike.Competency = "other"
	_, _, err = s.Sign(ctx, unlike, "4")
	must(t, err)

	bo := RosterRow{PersonID: "bo", Name: "Bo", Team: "Nights"}
	at7 := RosterRow{PersonID: "ines", Name: "Ines", SetupID: "chair-7", SignOffID: there.ID, Signed: there.Signed, Lapses: there.Lapses}
	at12 := RosterRow{PersonID: "ines", Name: "Ines", SetupID: "chair-12", SignOffID: newest.ID, Signed: newest.Signed, Lapses: newest.Lapses}
	rows, err := s.Roster(ctx, site, "source")
	must(t, err)
	same(t, rows, []RosterRow{bo, at12, at7})

	changed := chair12
	changed.Version, changed.YAML = "v2", []byte("other")
	must(t, s.PutSetup(ctx, changed, noon))
	at12.SetupVersion, at12.Features = "v1", newest.Features
	rows, err = s.Roster(ctx, site, "source")
	must(t, err)
	same(t, rows, []RosterRow{bo, at12, at7})

	rows, err = s.Roster(ctx, site, "none")
	must(t, err)
	same(t, rows, []RosterRow{bo, {PersonID: "ines", Name: "Ines", SetupID: "chair-12"}})
}

func TestProgressAndFresh(t *testing.T) {
	s := house(t)
	for i := range 3 {
		must(t, s.MarkLesson(ctx, site, "ines", "chair-12", "v1", fmt.Sprint("l", i), "1", i > 0, noon.Add(time.Duration(i)*time.Hour), NewID()))
		begun, err := s.StartRun(ctx, run1, fmt.Sprint(i))
		must(t, err)
		must(t, s.EndRun(ctx, site, begun.ID, i > 0, 1, nil, noon.Add(time.Hour)))
	}
	pair := [2]string{"ines", "chair-12"}
	got, err := s.ProgressOf(ctx, site, [][2]string{pair, {"ines", "none"}, {"omar", "chair-12"}, {"omar", ""}})
	must(t, err)
	same(t, got, map[[2]string]Progress{pair: {2, 1}, {"omar", "chair-12"}: {}})

	scenario := []string{run1.Scenario}
	for name, c := range map[string]struct {
		lessons, scenarios []string
		since              time.Time
		want               bool
	}{
		"all":                       {[]string{"l1", "l2"}, scenario, noon, true},
		"one not done":              {[]string{"l0", "l1"}, scenario, noon, false},
		"one too long ago":          {[]string{"l1", "l2"}, nil, noon.Add(90 * time.Minute), false},
		"the late one":              {[]string{"l2"}, []string{}, noon.Add(90 * time.Minute), true},
		"a scenario of another age": {nil, scenario, noon.Add(90 * time.Minute), false},
		"a scenario never passed":   {[]string{"l1"}, []string{"moon"}, noon, false},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := s.Fresh(ctx, site, c.lessons, c.scenarios, c.since)
			must(t, err)
			same(t, got[pair], c.want)
		})
	}

	agains, err := s.AgainsOf(ctx, site, [][2]string{pair, {"omar", "chair-12"}}, noon.Add(time.Minute))
	must(t, err)
	same(t, len(agains), 4) // two lessons, and the scenario passed twice
	for _, a := range agains {
		if a.PersonID != "ines" || a.SetupID != "chair-12" || a.At.Before(noon.Add(time.Hour)) || (a.Lesson == "") == (a.Scenario == "") {
			t.Errorf("%+v", a)
		}
	}
	none, err := s.AgainsOf(ctx, site, nil, noon)
	must(t, err)
	same(t, none, nil)
}

func TestImports(t *testing.T) {
	s := house(t)
	put := func(id string, made time.Time) {
		t.Helper()
		must(t, s.PutImport(ctx, Import{ID: id, SiteID: site, ByID: "omar", Made: made, Data: []byte("{}")}))
	}
	read := func(id string, now time.Time) error {
		_, err := s.Import(ctx, site, id, "omar", now)
		return err
	}
	put("one", noon)
	put("two", noon)
	wants(t, read("one", noon), problem.Unknown, "problem.import-gone")
	must(t, read("two", noon.Add(ImportsKept-time.Second)))
	wants(t, read("two", noon.Add(ImportsKept)), problem.Unknown, "problem.import-gone")
	_, err := s.Import(ctx, site, "two", "ines", noon)
	wants(t, err, problem.Unknown, "problem.import-gone") // another's

	bo := Put{Person: Person{ID: "bo", SiteID: site, Name: "Bo", Role: Learner, Card: "K7Q9", Language: "en", ExternalID: "n-1"}}
	changed := Put{Person: ines, Was: ines.Mark()}
	changed.Secret, changed.Team, changed.Away = "", "Nights", true
	must(t, s.PutSession(ctx, Session{ID: "h", SiteID: site, PersonID: "ines", FormToken: "f", Created: noon, Seen: noon}))

	// All or none.
	wrong := changed
	wrong.Was = "other"
	wants(t, s.DoImport(ctx, site, "two", "omar", []Put{bo, wrong}, noon), problem.Moved, "problem.import-moved")
	_, err = s.Person(ctx, site, "bo")
	wants(t, err, problem.Unknown, "problem.unknown-person")

	for range 2 {
		must(t, s.DoImport(ctx, site, "two", "omar", []Put{bo, changed}, noon))
	}
	got, err := s.Person(ctx, site, "ines")
	must(t, err)
	same(t, [3]any{got.Team, got.Away, got.Secret}, [3]any{"Nights", true, ines.Secret})
	_, _, err = s.Session(ctx, "h", noon, time.Hour, time.Hour)
	wants(t, err, problem.SignIn, "problem.session-ended")
	i, err := s.Import(ctx, site, "two", "omar", noon)
	must(t, err)
	same(t, [2]any{i.Done, len(i.Data)}, [2]any{noon, 0})

	// Someone of that number came in another way meanwhile.
	put("three", noon)
	twin := bo
	twin.ID, twin.Card = "bo2", "K7Q8"
	wants(t, s.DoImport(ctx, site, "three", "omar", []Put{twin}, noon), problem.Moved, "problem.import-moved")
}

// TestExportHoldsEveryTable that says something of a person: one more must be
// named in held.
func TestExportHoldsEveryTable(t *testing.T) {
	s := ledgered(t)
	named := map[string]bool{}
	for _, h := range held {
		named[h.table] = true
	}
	tables, err := all(ctx, s.reader, func(scan scan) (name string, err error) {
		err = scan(&name)
		return name, err
	}, `
		SELECT DISTINCT m.name FROM sqlite_schema m, pragma_table_info(m.name) c
		WHERE m.type = 'table' AND c.name IN ('person_id', 'by_id', 'actor', 'subject', 'educator_id')`)
	must(t, err)
	for _, name := range tables {
		if !named[name] {
			t.Errorf("%s is not exported", name)
		}
	}
	must(t, s.Invite(ctx, site, "ines", "hash-of-a-token", noon, noon))
	got, err := s.Export(ctx, site, "ines")
	must(t, err)
	text, err := json.Marshal(got)
	must(t, err)
	for _, want := range []string{`"name":"Ines"`, `"why":"seen alone"`, `"signed":"` + noon.Format(time.RFC3339)} {
		if !strings.Contains(string(text), want) {
			t.Errorf("no %s in %s", want, text)
		}
	}
	for _, secret := range []string{"argon2id", "hash-of-a-token"} {
		if strings.Contains(string(text), secret) {
			t.Errorf("%s is in it", secret)
		}
	}
	// What Omar signed or changed is about others.
	changed := ines
	changed.Team = "nights"
	must(t, s.PutPerson(By(ctx, "omar"), changed, noon))
	got, err = s.Export(ctx, site, "omar")
	must(t, err)
	text, err = json.Marshal(got)
	must(t, err)
	if len(got["sign_offs"]) == 0 || len(got["audit"]) == 0 {
		t.Error("what he signed or changed is not told")
	}
	for _, other := range []string{`"Ines"`, "nights", `"person_name":"Dara`} {
		if strings.Contains(string(text), other) {
			t.Errorf("%s is told of someone else", other)
		}
	}
	_, err = s.Export(ctx, site, "nobody")
	wants(t, err, problem.Unknown, "problem.unknown-person")
}

func TestSweep(t *testing.T) {
	s := house(t)
	day := 24 * time.Hour
	begin := func(mode string, at time.Time, passed bool) string {
		t.Helper()
		r := run1
		r.Mode, r.Started = mode, at
		begun, err := s.StartRun(ctx, r, NewID())
		must(t, err)
		must(t, s.AddStep(ctx, site, begun.ID, Step{1, "look:fuse", at}, NewID()))
		must(t, s.EndRun(ctx, site, begun.ID, passed, 1, nil, at))
		return begun.ID
	}
	practised, failed, passed := begin(Practice, noon, true), begin(Quiz, noon, false), begin(Quiz, noon, true)
	later := begin(Practice, noon.Add(11*day), true)
	now, err := s.Clock(ctx, noon.Add(100*day))
	must(t, err)
	if _, err := s.writer.Exec(`DELETE FROM steps WHERE run_id = $1`, later); err == nil {
		t.Error("a step of less than 90 days was deleted")
	}
	gone, err := s.Sweep(ctx, site, now.AddDate(0, 0, -95), now)
	must(t, err)
	same(t, gone, int64(2))
	for id, there := range map[string]bool{practised: false, failed: false, passed: true, later: true} {
		r, err := s.Run(ctx, site, id)
		same(t, err == nil, there)
		if there {
			same(t, len(r.Steps), 1)
		}
	}
	changes := func(now time.Time) int {
		list, err := s.Changes(ctx, site, "", now, 100)
		must(t, err)
		return len(list)
	}
	before := changes(now)
	now = noon.Add(AuditKept)
	_, err = s.Sweep(ctx, site, noon, now)
	must(t, err)
	same(t, changes(now), before)
	now = now.Add(time.Minute)
	_, err = s.Sweep(ctx, site, noon, now)
	must(t, err)
	same(t, changes(now), 0)
}
