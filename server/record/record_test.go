package record

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"runtime"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"lampwright/locales/problem"

	"pgregory.net/rapid"
)

var (
	ctx  = context.Background()
	noon = time.Date(2026, 11, 25, 12, 0, 0, 123e6, time.UTC)
)

const site = "alder-bay"

func open(t testing.TB, dir string) *Store {
	t.Helper()
	s, err := Open(dir)
	must(t, err)
	t.Cleanup(func() { s.release() })
	return s
}

// house is a store with a site, a set-up, a learner and an educator in it.
func house(t testing.TB) *Store {
	t.Helper()
	s := open(t, t.TempDir())
	must(t, s.PutSite(ctx, alderBay, noon))
	must(t, s.PutSetup(ctx, chair12, noon))
	must(t, s.PutPerson(ctx, ines, noon))
	must(t, s.PutPerson(ctx, omar, noon))
	return s
}

var (
	alderBay = Site{
		ID: site, Name: "Alder Bay Home Breathing Service", Zone: "America/Vancouver", RescueLine: "555-0100",
		ClinicalLine: "555-0101", ClinicalHours: "always", TechnologistLine: "555-0102", TechnologistHours: "8-16",
		ChairLine: "555-0103", ChairHours: "9-17", Programme: "name: Alder Bay\n",
	}
	chair12 = Setup{"chair-12", site, "Chair 12", "v1", []byte("tag: Chair 12\n")}
	ines    = Person{ID: "ines", SiteID: site, Name: "Ines", Role: Learner, Card: "K7Q2", Secret: "$argon2id$1", Language: "en", SetupID: "chair-12"}
	omar    = Person{ID: "omar", SiteID: site, Name: "Omar", Role: Educator, Username: "omar", Secret: "$argon2id$2", Language: "ar"}
	run1    = Run{
		SiteID: site, PersonID: "ines", SetupID: "chair-12", SetupVersion: "v1", Scenario: "dark-lamp",
		ScenarioVersion: "s1", ModelVersion: "m1", Language: "en", Mode: Quiz, Seed: math.MinInt64, Started: noon,
	}
	signOff1 = SignOff{
		SiteID: site, PersonID: "ines", EducatorID: "omar", EducatorName: "Omar", Competency: "source",
		SetupID: "chair-12", SetupTag: "Chair 12", SetupVersion: "v1", ChecklistVersion: "c1", ModelVersion: "m1",
		ContentVersion: "w1", Language: "en", Meaning: "seen by me", SignedName: "Omar", Checklist: []byte(`{"a":true}`),
		Features: []byte(`{"Inlets":2}`), Rating: 4, Signed: noon, SignedLocal: "04:00", Lapses: noon.AddDate(0, 3, 0),
	}
)

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func wants(t testing.TB, err error, code problem.Code, key string) {
	t.Helper()
	var p *problem.Problem
	if !errors.As(err, &p) || p.Code != code || p.Key != key {
		t.Fatalf("got %v, expected %s %s", err, code, key)
	}
}

func same[T any](t testing.TB, got, wanted T) {
	t.Helper()
	if !reflect.DeepEqual(got, wanted) {
		t.Fatalf("\ngot      %+v\nexpected %+v", got, wanted)
	}
}

func TestOpenAgain(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "a ? # % dir")
	s := open(t, dir)
	must(t, s.PutSite(ctx, alderBay, noon))
	must(t, s.Ready(ctx))
	must(t, s.Close())
	s = open(t, dir)
	got, err := s.Site(ctx, site)
	must(t, err)
	same(t, got, alderBay)
	for _, name := range []string{databaseFile, databaseFile + "-wal", lockFile} {
		info, err := os.Stat(filepath.Join(dir, name))
		must(t, err)
		same(t, info.Mode().Perm(), 0o600)
	}
	info, err := os.Stat(dir)
	must(t, err)
	same(t, info.Mode().Perm(), 0o700)
}

func TestPragmasAreReadBack(t *testing.T) {
	s := house(t)
	must(t, check(ctx, s.writer, pragma{"journal_mode", "wal"}, pragma{"synchronous", "2"}, pragma{"foreign_keys", "1"}))
	if check(ctx, s.writer, pragma{"synchronous", "1"}) == nil {
		t.Fatal("a pragma that is not as expected passed")
	}
	if _, err := s.reader.Exec(`DELETE FROM people`); err == nil {
		t.Fatal("a reader wrote")
	}
	// mode=ro holds even without query_only.
	c, err := s.reader.Conn(ctx)
	must(t, err)
	defer c.Close()
	_, err = c.ExecContext(ctx, `PRAGMA query_only = 0`)
	must(t, err)
	if _, err = c.ExecContext(ctx, `DELETE FROM kiosks`); err == nil {
		t.Fatal("a reader wrote with query_only off")
	}
	wants(t, understood(err), problem.Unavailable, "problem.read-only")
}

func TestWritersBeginImmediate(t *testing.T) {
	s := house(t)
	tx, err := s.writer.BeginTx(ctx, nil)
	must(t, err)
	defer tx.Rollback()
	other, err := connect(databaseOf(t, s), "_busy_timeout=20&_txlock=immediate", 1)
	must(t, err)
	defer other.Close()
	_, err = other.Begin()
	wants(t, understood(err), problem.Unavailable, "problem.busy")
}

func databaseOf(t testing.TB, s *Store) string {
	t.Helper()
	var seq int
	var name, file string
	must(t, s.reader.QueryRow(`PRAGMA database_list`).Scan(&seq, &name, &file))
	return file
}

func TestEveryTableIsStrict(t *testing.T) {
	s := house(t)
	names, err := all(ctx, s.reader, func(scan scan) (name string, err error) { err = scan(&name); return name, err },
		`SELECT name FROM pragma_table_list WHERE schema = 'main' AND type = 'table' AND strict = 0
		AND name NOT LIKE 'sqlite_%' AND name <> 'goose_db_version'`)
	must(t, err)
	same(t, names, nil)
	names, err = all(ctx, s.reader, func(scan scan) (name string, err error) { err = scan(&name); return name, err },
		`SELECT t.name FROM pragma_table_list t WHERE t.strict = 1 AND t.name NOT IN ('clock', 'entries', 'head')
		AND NOT EXISTS (SELECT 1 FROM pragma_table_info(t.name) c WHERE c.name = 'site_id')`)
	must(t, err)
	same(t, names, nil)
}

// TestMain lets the test program be the second process: with a directory
// given it opens the records there, and does nothing else.
func TestMain(m *testing.M) {
	dir := os.Getenv("RECORD_SECOND_PROCESS")
	if dir == "" {
		os.Exit(m.Run())
	}
	s, err := Open(dir)
	if err == nil {
		err = s.Close()
	}
	fmt.Print(problem.Of(err).Key)
}

func TestSecondProcessIsRefused(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir)
	_, err := Open(dir)
	wants(t, err, problem.Unavailable, "problem.in-use")
	second := func() string {
		c := exec.Command(os.Args[0])
		c.Env = append(os.Environ(), "RECORD_SECOND_PROCESS="+dir)
		out, err := c.Output()
		must(t, err)
		return string(out)
	}
	same(t, second(), "problem.in-use")
	must(t, s.Close())
	same(t, second(), "problem.internal") // no error at all: Of(nil)
	must(t, open(t, dir).Ready(ctx))
}

func TestNewerDatabaseIsRefused(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir)
	_, err := s.writer.Exec(`INSERT INTO goose_db_version (version_id, is_applied) VALUES (999, 1)`)
	must(t, err)
	must(t, s.Close())
	_, err = Open(dir)
	wants(t, err, problem.Unavailable, "problem.newer")
}

func TestDamagedDatabaseIsRefused(t *testing.T) {
	dir := t.TempDir()
	must(t, os.WriteFile(filepath.Join(dir, databaseFile), []byte("this is a long enough text, and no database"), 0o600))
	_, err := Open(dir)
	wants(t, err, problem.Unavailable, "problem.damaged")
}

// asNobody calls f without the right to write what others own, also where the
// tests run as root.
func asNobody(t *testing.T, f func()) {
	t.Helper()
	if os.Geteuid() == 0 {
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		must(t, syscall.Setfsuid(65534))
		defer syscall.Setfsuid(0)
	}
	f()
}

func TestReadOnlyIsRefused(t *testing.T) {
	for _, c := range []struct {
		name      string
		dir, file os.FileMode
	}{{"directory", 0o555, 0o666}, {"file", 0o777, 0o444}} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			must(t, os.Chmod(filepath.Dir(dir), 0o755))
			must(t, open(t, dir).Close())
			must(t, os.Chmod(filepath.Join(dir, lockFile), 0o666))
			must(t, os.Chmod(filepath.Join(dir, databaseFile), c.file))
			must(t, os.Chmod(dir, c.dir))
			defer os.Chmod(dir, 0o700)
			asNobody(t, func() {
				_, err := Open(dir)
				wants(t, err, problem.Unavailable, "problem.read-only")
			})
		})
	}
	t.Run("nothing there", func(t *testing.T) {
		dir := t.TempDir()
		must(t, os.Chmod(dir, 0o555))
		defer os.Chmod(dir, 0o700)
		asNobody(t, func() {
			_, err := Open(filepath.Join(dir, "new"))
			wants(t, err, problem.Unavailable, "problem.read-only")
		})
	})
}

func TestUnavailableRefusesWritesWhole(t *testing.T) {
	for _, c := range []struct{ key, sql string }{
		{"problem.read-only", `PRAGMA query_only = 1`},
		{"problem.full", `PRAGMA max_page_count = 1`},
	} {
		t.Run(c.key, func(t *testing.T) {
			s := house(t)
			begun, err := s.StartRun(ctx, run1, "f")
			must(t, err)
			_, err = s.writer.Exec(c.sql)
			must(t, err)
			for i := 1; err == nil && i < 2000; i++ {
				err = s.AddStep(ctx, site, begun.ID, Step{i, "look:fuse", noon}, fmt.Sprint(i))
			}
			wants(t, err, problem.Unavailable, c.key)
			must(t, s.Ready(ctx))
			_, err = s.Clock(ctx, noon)
			must(t, err)
			_, err = s.Run(ctx, site, begun.ID)
			must(t, err)
		})
	}
}

func TestBusy(t *testing.T) {
	s := house(t)
	must(t, s.PutSession(ctx, Session{"h", site, "ines", "f", noon, noon}))
	_, err := s.writer.Exec(`PRAGMA busy_timeout = 20`)
	must(t, err)
	other, err := connect(databaseOf(t, s), "_txlock=immediate", 1)
	must(t, err)
	defer other.Close()
	tx, err := other.Begin()
	must(t, err)
	defer tx.Rollback()
	wants(t, s.PutPerson(ctx, ines, noon), problem.Unavailable, "problem.busy")
	_, _, err = s.Sign(ctx, signOff1, "f")
	wants(t, err, problem.Unavailable, "problem.busy")
	// Reading goes on, and so does being signed in.
	_, _, err = s.Session(ctx, "h", noon.Add(2*time.Minute), time.Hour, time.Hour)
	must(t, err)
}

func TestClock(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir)
	clock := func(now time.Time) time.Time {
		t.Helper()
		got, err := s.Clock(ctx, now)
		must(t, err)
		return got
	}
	same(t, clock(noon), noon)
	same(t, clock(noon.Add(30*time.Second)), noon.Add(30*time.Second))
	same(t, clock(noon.Add(-time.Minute)), noon.Add(30*time.Second))
	var mark time.Time
	must(t, s.reader.QueryRow(`SELECT mark FROM clock`).Scan(stamp{&mark}))
	same(t, mark, noon) // not written again within the minute
	_, err := s.Clock(ctx, noon.Add(-2*time.Minute))
	wants(t, err, problem.Unavailable, "problem.clock-behind")
	must(t, s.Close())
	s = open(t, dir)
	same(t, clock(noon), noon.Add(30*time.Second))
	_, err = s.Clock(ctx, noon.Add(-time.Hour))
	wants(t, err, problem.Unavailable, "problem.clock-behind")
}

// With a monotonic reading in the mark, a clock set back while the program
// runs would go unseen.
func TestClockIsTheWallClock(t *testing.T) {
	got, err := open(t, t.TempDir()).Clock(ctx, time.Now())
	must(t, err)
	if got != got.Round(0) {
		t.Fatalf("%v keeps its monotonic reading", got)
	}
}

func TestSetupKeepsItsVersions(t *testing.T) {
	s := house(t)
	changed := chair12
	changed.Tag, changed.Version, changed.YAML = "Chair 12a", "", []byte("other\n")
	must(t, s.PutSetup(ctx, changed, noon))
	must(t, s.PutSetup(ctx, changed, noon))
	got, err := s.Setup(ctx, site, "chair-12")
	must(t, err)
	same(t, len(got.Version), 64)
	changed.Version = got.Version
	same(t, got, changed)
	list, err := s.SetupTags(ctx, site)
	must(t, err)
	same(t, list, []Setup{{ID: changed.ID, SiteID: site, Tag: changed.Tag, Version: changed.Version}})
	old, err := s.SetupVersion(ctx, site, "chair-12", "v1")
	must(t, err)
	same(t, old.YAML, chair12.YAML)
	must(t, s.PutSetup(ctx, chair12, noon)) // and back
	got, err = s.Setup(ctx, site, "chair-12")
	must(t, err)
	same(t, got, chair12)

	changed.Version = "v1"
	if s.PutSetup(ctx, changed, noon) == nil {
		t.Fatal("a version's YAML was changed")
	}
	_, err = s.Setup(ctx, site, "chair-99")
	wants(t, err, problem.Unknown, "problem.unknown-setup")
	_, err = s.Setup(ctx, "elsewhere", "chair-12")
	wants(t, err, problem.Unknown, "problem.unknown-setup")
	_, err = s.Site(ctx, "elsewhere")
	wants(t, err, problem.Unknown, "problem.unknown-site")
}

func TestPeople(t *testing.T) {
	s := house(t)
	for name, find := range map[string]func() (Person, error){
		"card": func() (Person, error) { return s.PersonByCard(ctx, "K7Q2") },
		"id":   func() (Person, error) { return s.Person(ctx, site, "ines") },
	} {
		got, err := find()
		must(t, err)
		if got != ines {
			t.Errorf("by %s: got %+v", name, got)
		}
	}
	got, err := s.PersonByUsername(ctx, "omar")
	must(t, err)
	same(t, got, omar)

	_, err = s.PersonByCard(ctx, "")
	wants(t, err, problem.Unknown, "problem.unknown-card")
	_, err = s.PersonByUsername(ctx, "")
	wants(t, err, problem.Unknown, "problem.unknown-person")
	_, err = s.Person(ctx, "elsewhere", "ines")
	wants(t, err, problem.Unknown, "problem.unknown-person")

	changed := ines
	changed.Card, changed.SetupID = "", ""
	must(t, s.PutPerson(ctx, changed, noon))
	got, err = s.Person(ctx, site, "ines")
	must(t, err)
	same(t, got, changed)
	must(t, s.PutPerson(ctx, ines, noon))

	other := ines
	other.ID = ""
	wants(t, s.PutPerson(ctx, other, noon), problem.Invalid, "problem.card-taken")
	other.Card, other.Username = "", "omar"
	wants(t, s.PutPerson(ctx, other, noon), problem.Invalid, "problem.username-taken")
	other.Username, other.SetupID = "", "chair-99"
	wants(t, s.PutPerson(ctx, other, noon), problem.Unknown, "problem.unknown-record")
}

func TestAttempts(t *testing.T) {
	s := house(t)
	try := func(key string, after time.Duration, wanted bool) {
		t.Helper()
		ok, err := s.Attempt(ctx, site, key, 2, time.Minute, noon.Add(after))
		must(t, err)
		same(t, ok, wanted)
	}
	try("a", 0, true)
	try("a", 30*time.Second, true)
	try("a", 59*time.Second, false)
	try("b", 59*time.Second, true)
	try("a", 60*time.Second, true) // the first has left the window
	try("a", 60*time.Second, false)
	must(t, s.ClearAttempts(ctx, site, "a"))
	try("a", 60*time.Second, true)

	var mu sync.Mutex
	var wg sync.WaitGroup
	allowed := 0
	for range 40 {
		wg.Go(func() {
			if ok, err := s.Attempt(ctx, site, "c", 5, time.Minute, noon); ok && err == nil {
				mu.Lock()
				allowed++
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	same(t, allowed, 5)
}

func TestSession(t *testing.T) {
	s := house(t)
	put := Session{"hash", site, "ines", "form", noon, noon}
	must(t, s.PutSession(ctx, put))
	at := func(after time.Duration) (Session, Person, error) {
		return s.Session(ctx, "hash", noon.Add(after), 10*time.Minute, 30*time.Minute)
	}
	got, who, err := at(59 * time.Second)
	must(t, err)
	same(t, got, put)
	same(t, who, ines)
	for _, after := range []time.Duration{9, 18, 27} {
		got, _, err = at(after * time.Minute)
		must(t, err)
		same(t, got.Seen, noon.Add(after*time.Minute))
	}
	_, _, err = at(30 * time.Minute) // absolute
	wants(t, err, problem.SignIn, "problem.session-ended")
	_, _, err = s.Session(ctx, "hash", noon.Add(37*time.Minute), 10*time.Minute, time.Hour) // idle
	wants(t, err, problem.SignIn, "problem.session-ended")
	must(t, s.DeleteSession(ctx, "hash"))
	must(t, s.DeleteSession(ctx, "hash"))
	_, _, err = at(0)
	wants(t, err, problem.SignIn, "problem.session-ended")

	must(t, s.PutSession(ctx, put))
	later := noon.Add(sessionsKept + time.Second)
	must(t, s.PutSession(ctx, Session{"new", site, "omar", "form", later, later}))
	var left int
	must(t, s.reader.QueryRow(`SELECT count(*) FROM sessions`).Scan(&left))
	same(t, left, 1)
}

func TestAClockOnceInTheFuture(t *testing.T) {
	s := house(t)
	ahead := noon.AddDate(10, 0, 0)
	_, err := s.Clock(ctx, ahead)
	must(t, err)
	_, err = s.Clock(ctx, noon)
	wants(t, err, problem.Unavailable, "problem.clock-behind")
	mark, err := s.AcceptClock(ctx, noon)
	must(t, err)
	same(t, mark, ahead.UTC())
	got, err := s.Clock(ctx, noon.Add(time.Second))
	must(t, err)
	same(t, got, noon.Add(time.Second).UTC())
}

func TestLessons(t *testing.T) {
	s := house(t)
	mark := func(lesson, version string, right bool, after time.Duration) {
		t.Helper()
		must(t, s.MarkLesson(ctx, site, "ines", "chair-12", "v1", lesson, version, right, noon.Add(after), NewID()))
	}
	mark("person", "1", false, 0)
	mark("person", "1", true, time.Minute)
	mark("person", "1", false, 2*time.Minute)
	mark("sources", "1", false, 0)
	mark("panel", "1", true, 0)
	got, err := s.LessonsDone(ctx, site, "ines")
	must(t, err)
	same(t, got, []LessonDone{
		{"panel", "1", "chair-12", "v1", noon},
		{"person", "1", "chair-12", "v1", noon.Add(time.Minute)},
	})
	err = s.MarkLesson(ctx, site, "nobody", "chair-12", "v1", "panel", "1", true, noon, NewID())
	wants(t, err, problem.Unknown, "problem.unknown-record")
}

func TestAnAnswerSentTwiceCountsOnce(t *testing.T) {
	s := house(t)
	for _, key := range []string{"first", "first", "second", "second"} {
		must(t, s.MarkLesson(ctx, site, "ines", "chair-12", "v1", "panel", "1", false, noon, key))
	}
	var answers int
	must(t, s.reader.QueryRow(`SELECT answers FROM lessons`).Scan(&answers))
	same(t, answers, 2)
	if err := s.MarkLesson(ctx, site, "ines", "chair-12", "v1", "panel", "1", false, noon, ""); err == nil {
		t.Error("counted without a form key")
	}
}

func TestRun(t *testing.T) {
	s := house(t)
	_, ok, err := s.OpenRun(ctx, site, "ines")
	must(t, err)
	same(t, ok, false)
	begun, err := s.StartRun(ctx, run1, "form")
	must(t, err)
	wanted := run1
	wanted.ID = begun.ID
	same(t, begun, wanted)
	must(t, s.AddStep(ctx, site, begun.ID, Step{1, "look:fuse", noon}, "a"))
	again, err := s.StartRun(ctx, run1, "form")
	must(t, err)
	wanted.Steps = []Step{{1, "look:fuse", noon}}
	same(t, again, wanted)

	must(t, s.AddStep(ctx, site, begun.ID, Step{1, "look:fuse", noon}, "a")) // twice is once
	wants(t, s.AddStep(ctx, site, begun.ID, Step{1, "look:plug", noon}, "b"), problem.Moved, "problem.moved")
	wants(t, s.AddStep(ctx, site, begun.ID, Step{3, "look:plug", noon}, "b"), problem.Moved, "problem.moved")
	wants(t, s.AddStep(ctx, site, "no-run", Step{1, "look:plug", noon}, "b"), problem.Unknown, "problem.unknown-run")
	wants(t, s.AddStep(ctx, "elsewhere", begun.ID, Step{2, "look:plug", noon}, "b"), problem.Unknown, "problem.unknown-run")
	if s.AddStep(ctx, site, begun.ID, Step{2, "look:plug", noon}, "") == nil {
		t.Fatal("a step without a form key")
	}
	must(t, s.AddStep(ctx, site, begun.ID, Step{2, "push:plug", noon.Add(time.Second)}, "b"))
	open, ok, err := s.OpenRun(ctx, site, "ines")
	must(t, err)
	same(t, ok, true)
	wanted.Steps = []Step{{1, "look:fuse", noon}, {2, "push:plug", noon.Add(time.Second)}}
	same(t, open, wanted)

	ended := noon.Add(time.Minute)
	must(t, s.EndRun(ctx, site, begun.ID, true, .75, []byte(`{"ok":1}`), ended))
	must(t, s.EndRun(ctx, site, begun.ID, false, 0, nil, ended.Add(time.Hour))) // the first end stays
	wants(t, s.EndRun(ctx, site, "no-run", true, 1, nil, ended), problem.Unknown, "problem.unknown-run")
	wants(t, s.AddStep(ctx, site, begun.ID, Step{3, "look:fuse", ended}, "c"), problem.Moved, "problem.moved")
	must(t, s.AddStep(ctx, site, begun.ID, Step{2, "push:plug", noon}, "b"))
	wanted.Ended, wanted.Passed, wanted.Score, wanted.Result = ended, true, .75, []byte(`{"ok":1}`)
	got, err := s.Run(ctx, site, begun.ID)
	must(t, err)
	same(t, got, wanted)
	_, err = s.Run(ctx, "elsewhere", begun.ID)
	wants(t, err, problem.Unknown, "problem.unknown-run")

	later := run1
	later.Started, later.Mode = noon.Add(time.Hour), Practice
	second, err := s.StartRun(ctx, later, "form 2")
	must(t, err)
	runs, err := s.Runs(ctx, site, "ines")
	must(t, err)
	wanted.Steps = nil
	same(t, runs, []Run{second, wanted})
	if _, err := s.writer.Exec(`DELETE FROM steps`); err == nil {
		t.Fatal("a step was deleted")
	}
}

// Whatever two tabs send, in whatever order and however often: the steps kept
// are exactly those told they were, each once, numbered without a gap.
func TestTwoTabsLoseAndDoubleNothing(t *testing.T) {
	s := house(t)
	forms := 0
	rapid.Check(t, func(r *rapid.T) {
		forms++
		begun, err := s.StartRun(ctx, run1, fmt.Sprint("run ", forms))
		must(t, err)
		type sent struct {
			step Step
			form string
		}
		var kept []Step
		var past []sent
		taken := map[string]bool{}
		next := [2]int{1, 1} // what each tab believes comes next
		for i := range rapid.IntRange(1, 25).Draw(r, "sends") {
			tab := rapid.IntRange(0, 1).Draw(r, "tab")
			var form sent
			if len(past) > 0 && rapid.Bool().Draw(r, "again") {
				form = rapid.SampledFrom(past).Draw(r, "which")
			} else {
				form = sent{Step{next[tab], fmt.Sprintf("tab %d:%d", tab, i), noon}, fmt.Sprint(i)}
				past = append(past, form)
			}
			err := s.AddStep(ctx, site, begun.ID, form.step, form.form)
			fits := form.step.Seq == len(kept)+1
			switch {
			case taken[form.form] || fits:
				if err != nil {
					r.Fatalf("%+v: %v", form, err)
				}
				if !taken[form.form] {
					kept = append(kept, form.step)
					taken[form.form] = true
				}
				next[tab] = form.step.Seq + 1
			default:
				if !problem.Is(err, problem.Moved) {
					r.Fatalf("%+v: got %v, expected moved", form, err)
				}
				next[tab] = len(kept) + 1 // the page is read again
			}
		}
		got, err := s.Run(ctx, site, begun.ID)
		must(t, err)
		if !reflect.DeepEqual(got.Steps, kept) {
			r.Fatalf("\ngot      %+v\nexpected %+v", got.Steps, kept)
		}
	})
}

func TestTabsAtOnce(t *testing.T) {
	s := house(t)
	begun, err := s.StartRun(ctx, run1, "f")
	must(t, err)
	var wg sync.WaitGroup
	for tab := range 4 {
		wg.Go(func() {
			for n, seq := 0, 1; n < 25; {
				form := fmt.Sprint(tab, n)
				err := s.AddStep(ctx, site, begun.ID, Step{seq, form, noon}, form)
				switch {
				case err == nil:
					n++
				case !problem.Is(err, problem.Moved):
					t.Error(err)
					return
				}
				now, err := s.Run(ctx, site, begun.ID)
				if err != nil {
					t.Error(err)
					return
				}
				seq = len(now.Steps) + 1
			}
		})
	}
	wg.Wait()
	got, err := s.Run(ctx, site, begun.ID)
	must(t, err)
	seen := map[string]bool{}
	for i, step := range got.Steps {
		same(t, step.Seq, i+1)
		seen[step.Action] = true
	}
	same(t, len(got.Steps), 100)
	same(t, len(seen), 100)
}

func TestSign(t *testing.T) {
	s := house(t)
	first, isNew, err := s.Sign(ctx, signOff1, "form")
	must(t, err)
	wanted := signOff1
	wanted.ID, wanted.FormKey = first.ID, "form"
	same(t, first, wanted)
	same(t, isNew, true)
	twice := signOff1
	twice.Rating, twice.Signed = 1, noon.Add(time.Minute)
	again, isNew, err := s.Sign(ctx, twice, "form")
	must(t, err)
	same(t, again, wanted)
	same(t, isNew, false)
	other := signOff1
	other.Competency = "joints"
	_, _, err = s.Sign(ctx, other, "form")
	wants(t, err, problem.Moved, "problem.moved")
	other.Signed = noon.Add(time.Hour)
	second, _, err := s.Sign(ctx, other, "form 2")
	must(t, err)
	got, err := s.SignOffs(ctx, site, "ines")
	must(t, err)
	same(t, got, []SignOff{second, first})

	for name, bad := range map[string]func(*SignOff){
		"oneself":         func(o *SignOff) { o.EducatorID = o.PersonID },
		"no checklist":    func(o *SignOff) { o.Checklist = nil },
		"lapses at once":  func(o *SignOff) { o.Lapses = o.Signed },
		"unknown version": func(o *SignOff) { o.SetupVersion = "v9" },
	} {
		o := signOff1
		bad(&o)
		if _, isNew, err := s.Sign(ctx, o, name); err == nil || isNew {
			t.Errorf("%s: signed", name)
		}
	}
}

func TestSignOffsCannotBeChanged(t *testing.T) {
	s := house(t)
	first, _, err := s.Sign(ctx, signOff1, "form")
	must(t, err)
	for _, query := range []string{
		`UPDATE sign_offs SET rating = 5`,
		`DELETE FROM sign_offs`,
		`DELETE FROM people`,
		`REPLACE INTO sign_offs SELECT * FROM sign_offs`,
		`INSERT INTO sign_offs SELECT * FROM sign_offs WHERE true ON CONFLICT DO UPDATE SET rating = 5`,
		`UPDATE OR REPLACE sign_offs SET rating = 5`,
		`UPDATE setup_versions SET yaml = x'00'`,
		`DELETE FROM setup_versions`,
	} {
		if _, err := s.writer.Exec(query); err == nil {
			t.Errorf("%s: passed", query)
		}
	}
	got, err := s.SignOffs(ctx, site, "ines")
	must(t, err)
	same(t, got, []SignOff{first})
}

func TestKiosk(t *testing.T) {
	s := house(t)
	_, ok, err := s.KioskSetup(ctx, "hash")
	must(t, err)
	same(t, ok, false)
	must(t, s.SetKiosk(ctx, site, "hash", "chair-12", noon))
	must(t, s.SetKiosk(ctx, site, "hash", "chair-12", noon))
	id, ok, err := s.KioskSetup(ctx, "hash")
	must(t, err)
	same(t, ok, true)
	same(t, id.ID, "chair-12")
	wants(t, s.SetKiosk(ctx, site, "hash", "chair-99", noon), problem.Unknown, "problem.unknown-record")
}

// TestNewID: many at once are different in what counts and in what is random,
// and each is after those its maker had before, as SQLite sorts.
func TestNewID(t *testing.T) {
	const makers, each = 16, 1000
	made := make([][]string, makers)
	var wg sync.WaitGroup
	for i := range made {
		wg.Go(func() {
			for range each {
				made[i] = append(made[i], NewID())
			}
		})
	}
	wg.Wait()
	ends := map[string]bool{}
	for _, list := range made {
		for i, id := range list {
			if len(id) != 26 || strings.Trim(id, "234567abcdefghijklmnopqrstuvwxyz") != "" {
				t.Fatal(id)
			}
			if i > 0 && id[:10] <= list[i-1][:10] {
				t.Fatalf("%s came after %s", id, list[i-1])
			}
			ends[id[10:]] = true
		}
	}
	same(t, len(ends), makers*each)
}

func BenchmarkAddStep(b *testing.B) {
	s := house(b)
	var begun Run
	n := 0
	for b.Loop() {
		if n%50 == 0 {
			var err error
			begun, err = s.StartRun(ctx, run1, fmt.Sprint(n))
			must(b, err)
		}
		must(b, s.AddStep(ctx, site, begun.ID, Step{n%50 + 1, "look:fuse", noon}, fmt.Sprint(n)))
		n++
	}
}

func BenchmarkSession(b *testing.B) {
	s := house(b)
	must(b, s.PutSession(ctx, Session{"h", site, "ines", "f", noon, noon}))
	for b.Loop() {
		_, _, err := s.Session(ctx, "h", noon, time.Hour, time.Hour)
		must(b, err)
	}
}
