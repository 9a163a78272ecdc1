package record

import (
	"encoding/json"
	"fmt"
	"slices"
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
	at7 := RosterRow{PersonID: "ines", Name: "Ines", SetupID: "chair-7", SetupVersion: "v1", SignOffID: there.ID, Signed: there.Signed, Lapses: there.Lapses}
	at12 := RosterRow{PersonID: "ines", Name: "Ines", SetupID: "chair-12", SetupVersion: "v1", SignOffID: newest.ID, Signed: newest.Signed, Lapses: newest.Lapses}
	rows, err := s.Roster(ctx, site, "source")
	must(t, err)
	same(t, rows, []RosterRow{bo, at12, at7})

	changed := chair12
	changed.Version, changed.YAML = "v2", []byte("other")
	must(t, s.PutSetup(ctx, changed, noon))
	rows, err = s.Roster(ctx, site, "source")
	must(t, err)
	same(t, rows, []RosterRow{bo, at12, at7})

	asked := []string{newest.ID, "unknown", there.ID}
	features, err := s.Features(ctx, site, asked)
	must(t, err)
	same(t, features, map[string]string{newest.ID: string(newest.Features), there.ID: string(there.Features)})
	names, err := s.SignedNames(ctx, site, asked)
	must(t, err)
	same(t, names, map[string]string{newest.ID: newest.SignedName, there.ID: there.SignedName})
	names, err = s.SignedNames(ctx, site, nil)
	must(t, err)
	same(t, len(names), 0)

	for i, longer := range []time.Duration{-time.Hour, time.Hour} { // corrected, in the same moment
		o := later
		o.Supersedes, o.Lapses = at12.SignOffID, later.Lapses.Add(longer)
		o, _, err = s.Sign(ctx, o, fmt.Sprint("again", i))
		must(t, err)
		at12.SignOffID, at12.Lapses = o.ID, o.Lapses
		rows, err = s.Roster(ctx, site, "source")
		must(t, err)
		same(t, rows, []RosterRow{bo, at12, at7})
	}

	rows, err = s.Roster(ctx, site, "none")
	must(t, err)
	same(t, rows, []RosterRow{bo, {PersonID: "ines", Name: "Ines", SetupID: "chair-12"}})
}

// TestRosterPlans: whatever SQLite counted, the roster goes through the index
// of what it needs of everyone, and looks up the rest for each that is asked for.
func TestRosterPlans(t *testing.T) {
	s := house(t)
	_, err := s.writer.Exec(`ANALYZE`)
	must(t, err)
	counted := func(index, table, counts string) string {
		return fmt.Sprintf(`INSERT INTO sqlite_stat1 (tbl, idx, stat) VALUES ('%s', '%s', '%s');`, table, index, counts)
	}
	few, many := "1 1 1 1 1 1 1 1 1", "1000000 1000000 1000000 1000000 1000000 100000 100000 100000 100000"
	for name, counts := range map[string][2]string{
		"few of all": {few, few}, "many of all": {many, many}, "few set-ups": {few, many}, "few sign-offs": {many, few},
	} {
		setups, rest := counts[0], counts[1]
		_, err := s.writer.Exec(`DELETE FROM sqlite_stat1;` +
			counted("sqlite_autoindex_setups_1", "setups", setups) + counted("sqlite_autoindex_sign_offs_1", "sign_offs", rest) +
			counted("sign_offs_newest", "sign_offs", rest) + counted("lessons_done", "lessons", rest) +
			counted("sign_off_events_sign_off", "sign_off_events", rest) + counted("sqlite_autoindex_lessons_1", "lessons", rest) + counted("runs_passed", "runs", rest) + `ANALYZE sqlite_schema`)
		must(t, err)
		for query, want := range map[string][]string{
			selectNewest:      {"SEARCH o USING COVERING INDEX sign_offs_newest (site_id=?)", "SCAN (subquery"},
			selectFeatures:    {"SCAN j", "SEARCH o USING INDEX sqlite_autoindex_sign_offs_1 (site_id=? AND id=?)"},
			selectSignedNames: {"SCAN j", "SEARCH o USING INDEX sqlite_autoindex_sign_offs_1 (site_id=? AND id=?)"},
			selectWeighty: {
				"SEARCH e USING INDEX sign_off_events_sign_off (site_id=?)", "SCAN json_each", "USE TEMP B-TREE FOR ORDER BY",
			},
			selectFreshLessons:   {"SEARCH lessons USING COVERING INDEX lessons_done (site_id=?)", "SCAN json_each", "SCAN (subquery"},
			selectFreshScenarios: {"SEARCH runs USING COVERING INDEX runs_passed (site_id=?)", "SCAN json_each", "SCAN (subquery"},
			selectAgains: {
				"SCAN json_each", "SEARCH lessons USING COVERING INDEX lessons_done (site_id=? AND person_id=? AND setup_id=?)",
				"SEARCH runs USING COVERING INDEX runs_passed (site_id=? AND person_id=? AND setup_id=?)",
			},
			selectProgress: {
				"SCAN j", "SEARCH s USING INDEX sqlite_autoindex_setups_1 (site_id=? AND id=?)",
				"SEARCH l USING INDEX sqlite_autoindex_lessons_1 (site_id=? AND person_id=? AND setup_id=? AND setup_version=?)",
				"SEARCH r USING INDEX runs_passed (site_id=? AND person_id=? AND setup_id=?)",
			},
		} {
			var got []string
			must(t, through(ctx, s.writer, func(scan scan) error {
				var id, parent, none int
				var step string
				err := scan(&id, &parent, &none, &step)
				got = append(got, step)
				return err
			}, `EXPLAIN QUERY PLAN `+query, "", "", "", ""))
			steps := slices.DeleteFunc(slices.Clone(got), func(step string) bool {
				return !strings.HasPrefix(step, "SCAN") && !strings.HasPrefix(step, "SEARCH") && !strings.Contains(step, "TEMP")
			})
			if !slices.EqualFunc(steps, want, strings.HasPrefix) {
				t.Errorf("%s: %s\n%s", name, query, strings.Join(got, "\n"))
			}
		}
	}
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
