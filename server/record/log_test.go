package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"lampwright/locales/problem"
	"lampwright/server/ledger"
)

// dirOf is the data directory of a store.
func dirOf(t testing.TB, s *Store) string { return filepath.Dir(databaseOf(t, s)) }

// sound holds a store to what it signed: nothing may be found.
func sound(t testing.TB, s *Store, outside []byte) Verified {
	t.Helper()
	v, err := Verify(ctx, dirOf(t, s), "", outside)
	must(t, err)
	same(t, v.Flaws, nil)
	return v
}

func allowed(SignOff, []Event) error { return nil }

// ledgered is a house in which much was signed: sign-offs, what happened to
// them, and a learner erased.
func ledgered(t testing.TB) *Store {
	t.Helper()
	s := house(t)
	dara := ines
	dara.ID, dara.Name, dara.Card = "dara", "Dara", "K7Q3"
	must(t, s.PutPerson(ctx, dara, noon))
	for i := range 4 {
		o := signOff1
		if i%3 == 2 {
			o.PersonID = "dara"
		}
		o.Signed, o.Competency = noon.Add(time.Duration(i)*time.Minute), fmt.Sprintf("competency %d", i)
		o, _, err := s.Sign(ctx, o, fmt.Sprintf("form %d", i))
		must(t, err)
		if i%2 == 0 {
			_, _, err = s.AddEvent(ctx, Event{
				SiteID: site, SignOffID: o.ID, Kind: "suspended", ByID: "omar", ByName: "Omar", At: o.Signed.Add(time.Second),
				AtLocal: "04:00", Until: o.Signed.Add(time.Hour), Objective: "x", Why: "seen alone", Data: "{}", FormKey: fmt.Sprintf("event %d", i),
			}, allowed)
			must(t, err)
		}
	}
	return s
}

func TestWhatWasSignedIsInTheLog(t *testing.T) {
	s := ledgered(t)
	v := sound(t, s, nil)
	same(t, v.Entries, 6)
	list, err := s.SignOffs(ctx, site, "ines")
	must(t, err)
	for _, o := range list {
		file, err := s.Proof(ctx, o.ID)
		must(t, err)
		p, err := ledger.VerifyProof(file, v.Verifier)
		must(t, err)
		same(t, p.Kind, kindSignOff+o.ID)
		if !strings.Contains(string(p.Record), `"EducatorName":"Omar"`) {
			t.Errorf("the proof says %s", p.Record)
		}
	}
	_, err = s.Proof(ctx, "none")
	wants(t, err, problem.Unknown, "problem.no-proof")
}

// A repeated form, and one that is refused, leave no entry.
func TestOneFormOneEntry(t *testing.T) {
	s := house(t)
	first, isNew, err := s.Sign(ctx, signOff1, "form")
	must(t, err)
	same(t, isNew, true)
	for range 3 {
		again, isNew, err := s.Sign(ctx, signOff1, "form")
		must(t, err)
		same(t, isNew, false)
		same(t, again, first)
	}
	bad := signOff1
	bad.SetupVersion = "v9"
	if _, _, err := s.Sign(ctx, bad, "other form"); err == nil {
		t.Error("signed for a version that is not there")
	}
	e := Event{SiteID: site, SignOffID: first.ID, Kind: "acknowledged", ByID: "ines", ByName: "Ines", At: noon, FormKey: "a"}
	refused := problem.New(problem.Forbidden, "problem.form")
	_, _, err = s.AddEvent(ctx, e, func(SignOff, []Event) error { return refused })
	wants(t, err, problem.Forbidden, "problem.form")
	for i := range 2 {
		_, isNew, err := s.AddEvent(ctx, e, allowed)
		must(t, err)
		same(t, isNew, i == 0)
	}
	other := e
	other.Kind = "revoked"
	_, _, err = s.AddEvent(ctx, other, allowed)
	wants(t, err, problem.Moved, "problem.moved")
	other.SignOffID, other.FormKey = "none", "b"
	_, _, err = s.AddEvent(ctx, other, allowed)
	wants(t, err, problem.Unknown, "problem.unknown-sign-off")
	same(t, sound(t, s, nil).Entries, 2)
}

// Many who sign at once: each once, whoever of them is refused takes nobody
// along, and the log stands after it is opened anew.
func TestManySignAtOnce(t *testing.T) {
	s := house(t)
	var wg sync.WaitGroup
	var failed sync.Map
	for i := range 200 {
		wg.Go(func() {
			o, form := signOff1, fmt.Sprintf("form %d", i/2) // two of each
			o.Competency = form
			if i%10 == 0 {
				o.SetupVersion, form = "v9", fmt.Sprintf("bad form %d", i)
			}
			if _, _, err := s.Sign(ctx, o, form); err != nil {
				failed.Store(i, err)
			}
		})
	}
	wg.Wait()
	refused := 0
	failed.Range(func(any, any) bool { refused++; return true })
	same(t, refused, 20)
	got, err := s.SignOffs(ctx, site, "ines")
	must(t, err)
	same(t, len(got), 100)
	sound(t, s, nil)
	dir := dirOf(t, s)
	must(t, s.Close())
	s = open(t, dir)
	_, _, err = s.Sign(ctx, signOff1, "after")
	must(t, err)
	same(t, sound(t, s, nil).Entries, 101)
}

// TestOnePanics: who waits beside it has theirs written, and so have those after.
func TestOnePanics(t *testing.T) {
	s := house(t)
	s.log.turn <- struct{}{} // so that they wait for the same write
	var wg sync.WaitGroup
	var bad, good error
	wg.Go(func() { bad = s.enter(func(transaction, int64) ([]entered, error) { panic("out of reach") }) })
	wg.Go(func() { _, _, good = s.Sign(ctx, signOff1, "form") })
	for len(s.log.queue) < 2 {
		runtime.Gosched()
	}
	<-s.log.turn
	wg.Wait()
	must(t, good)
	if bad == nil || !strings.Contains(bad.Error(), "out of reach") {
		t.Error(bad)
	}
	_, _, err := s.Sign(ctx, other("b"), "form 2")
	must(t, err)
	same(t, sound(t, s, nil).Entries, 2)
}

// TestClosedWhileManySign: what they were told is signed is, and nothing else.
func TestClosedWhileManySign(t *testing.T) {
	s := house(t)
	var wg sync.WaitGroup
	var told atomic.Int64
	for i := range 32 {
		wg.Go(func() {
			for n := 0; ; n++ {
				what := fmt.Sprintf("%d-%d", i, n)
				if _, _, err := s.Sign(ctx, other(what), what); err != nil {
					var p *problem.Problem
					if !errors.As(err, &p) || p.Key != "problem.closing" {
						t.Error(err)
					}
					return
				}
				told.Add(1)
			}
		})
	}
	for told.Load() < 200 {
		runtime.Gosched()
	}
	dir := dirOf(t, s)
	must(t, s.Close())
	wg.Wait()
	same(t, sound(t, open(t, dir), nil).Entries, told.Load())
}

// TestSignedAnew: the old one is superseded with it; two who sign at once, or
// on a page from before, and one of them is told.
func TestSignedAnew(t *testing.T) {
	s := house(t)
	first, _, err := s.Sign(ctx, signOff1, "form")
	must(t, err)
	again := signOff1
	again.Signed = noon.Add(time.Hour)
	_, _, err = s.Sign(ctx, again, "form 2")
	wants(t, err, problem.Moved, "problem.signed-meanwhile")
	again.Supersedes = first.ID
	second, isNew, err := s.Sign(ctx, again, "form 2")
	must(t, err)
	same(t, isNew, true)
	_, _, err = s.Sign(ctx, again, "form 3")
	wants(t, err, problem.Moved, "problem.signed-meanwhile")
	got, err := s.EventsOf(ctx, site, "ines")
	must(t, err)
	same(t, len(got), 1)
	same(t, []string{got[first.ID][0].Kind, got[first.ID][0].Data}, []string{"superseded", second.ID})
	same(t, sound(t, s, nil).Entries, 3)
}

// TestRowsLearnTheirEntry: a folder from before rows said which entry holds them
// can be verified as it is, and opens.
func TestRowsLearnTheirEntry(t *testing.T) {
	s := ledgered(t)
	dir := dirOf(t, s)
	for _, q := range []string{
		`ALTER TABLE sign_offs DROP COLUMN entry`, `ALTER TABLE sign_off_events DROP COLUMN entry`,
		`CREATE INDEX entries_kind ON entries (kind)`, `DELETE FROM goose_db_version WHERE version_id = 11`,
	} {
		_, err := s.writer.Exec(q)
		must(t, err)
	}
	sound(t, s, nil)
	must(t, s.Close())
	s = open(t, dir)
	sound(t, s, nil)
	list, err := s.SignOffs(ctx, site, "dara")
	must(t, err)
	for _, o := range list {
		_, err := s.Proof(ctx, o.ID)
		must(t, err)
	}
	must(t, s.Erase(ctx, site, "dara", noon.Add(24*time.Hour)))
	same(t, sound(t, s, nil).Entries, 7)
	if _, err := s.writer.Exec(`UPDATE sign_offs SET rating = 1`); err == nil {
		t.Error("a sign-off was changed")
	}
}

// TestErasureOfWhatIsNotFound: the person stays, rather than what the log says
// of them.
func TestErasureOfWhatIsNotFound(t *testing.T) {
	s := ledgered(t)
	_, err := s.writer.Exec(`UPDATE sign_off_events SET entry = 0 WHERE sign_off_id = (SELECT id FROM sign_offs WHERE person_id = 'dara')`)
	must(t, err)
	if s.Erase(ctx, site, "dara", noon.Add(24*time.Hour)) == nil {
		t.Error("erased with an entry left")
	}
	list, err := s.SignOffs(ctx, site, "dara")
	must(t, err)
	same(t, len(list), 1)
}

func TestErasureLeavesValidProofs(t *testing.T) {
	s := ledgered(t)
	list, err := s.SignOffs(ctx, site, "dara")
	must(t, err)
	file, err := s.Proof(ctx, list[0].ID)
	must(t, err)
	before := sound(t, s, nil)
	held := func() (in []string) {
		_, err := s.writer.Exec(`PRAGMA wal_checkpoint(TRUNCATE)`)
		must(t, err)
		for _, name := range []string{databaseFile, databaseFile + "-wal"} { // free pages and all
			b, err := os.ReadFile(filepath.Join(dirOf(t, s), name))
			must(t, err)
			if strings.Contains(string(b), "Dara") {
				in = append(in, name)
			}
		}
		return in
	}
	same(t, held(), []string{databaseFile})
	must(t, s.Erase(ctx, site, "dara", noon.Add(24*time.Hour)))
	after := sound(t, s, before.Checkpoint)
	if _, err := ledger.VerifyProof(file, after.Verifier); err != nil {
		t.Error(err)
	}
	_, err = s.Proof(ctx, list[0].ID)
	wants(t, err, problem.Unknown, "problem.no-proof")
	got, err := s.SignOffs(ctx, site, "dara")
	must(t, err)
	same(t, got, nil)
	wants(t, s.Erase(ctx, site, "dara", noon), problem.Unknown, "problem.unknown-person") // once
	people, err := s.People(ctx, site)
	must(t, err)
	same(t, len(people), 2)
	same(t, held(), nil)
}

// TestTampering changes every byte of every row of what was signed, and of the
// log; deletes, swaps and inserts rows; and puts the whole database back.
func TestTampering(t *testing.T) {
	s := ledgered(t)
	earlier := sound(t, s, nil).Checkpoint
	must(t, s.Erase(ctx, site, "dara", noon.Add(24*time.Hour)))
	outside := sound(t, s, earlier).Checkpoint
	dir := dirOf(t, s)
	db, err := connect(filepath.Join(dir, databaseFile), "_journal_mode=WAL&_busy_timeout=5000&_foreign_keys=0", 1)
	must(t, err)
	t.Cleanup(func() { db.Close() })
	exec := func(query string, values ...any) {
		t.Helper()
		_, err := db.Exec(query, values...)
		must(t, err)
	}
	exec(`PRAGMA ignore_check_constraints = 1`)
	triggers, err := all(ctx, db, func(scan scan) (name string, err error) { err = scan(&name); return name, err },
		`SELECT name FROM sqlite_schema WHERE type = 'trigger'`)
	must(t, err)
	for _, name := range triggers {
		exec(`DROP TRIGGER ` + name)
	}
	flaws := func() []Flaw {
		t.Helper()
		v, err := Verify(ctx, dir, s.log.key.Verifier(), nil)
		if err != nil {
			return []Flaw{{"", err.Error()}}
		}
		return v.Flaws
	}
	same(t, flaws(), nil)
	tried := 0
	wrong := func(what string, named ...string) {
		t.Helper()
		tried++
		found := flaws()
		if len(found) == 0 {
			t.Errorf("%s: nothing was found", what)
			return
		}
		for _, name := range named {
			hit := false
			for _, f := range found {
				hit = hit || f.Where == name
			}
			if !hit {
				t.Errorf("%s: %s is not named in %v", what, name, found)
			}
		}
	}

	for _, table := range []struct{ name, key string }{{"sign_offs", "id"}, {"sign_off_events", "id"}, {"entries", "idx"}, {"head", "id"}} {
		columns, err := all(ctx, db, func(scan scan) (name string, err error) { err = scan(&name); return name, err },
			`SELECT name FROM pragma_table_info('`+table.name+`')`)
		must(t, err)
		rows, err := all(ctx, db, func(scan scan) (id int64, err error) { err = scan(&id); return id, err }, `SELECT rowid FROM `+table.name+` ORDER BY rowid`)
		must(t, err)
		name := func(rowid int64) string {
			var key string
			must(t, db.QueryRow(`SELECT CAST(`+table.key+` AS TEXT) FROM `+table.name+` WHERE rowid = $1`, rowid).Scan(&key))
			switch table.name {
			case "sign_offs":
				return kindSignOff + key
			case "sign_off_events":
				return kindEvent + key
			case "entries":
				return key
			}
			return ""
		}
		for _, rowid := range rows {
			who := name(rowid)
			for _, column := range columns {
				var kind string
				var size int
				must(t, db.QueryRow(`SELECT typeof(`+column+`), coalesce(length(CAST(`+column+` AS BLOB)), 0) FROM `+table.name+` WHERE rowid = $1`, rowid).Scan(&kind, &size))
				at := fmt.Sprintf("%s %s %s", table.name, who, column)
				switch kind {
				case "integer":
					if table.name == "head" && column == "id" {
						continue // it says nothing: there is one row
					}
					var old int64
					must(t, db.QueryRow(`SELECT `+column+` FROM `+table.name+` WHERE rowid = $1`, rowid).Scan(&old))
					for bit := range 48 {
						next := old ^ 1<<bit
						if column == "idx" && next < int64(len(rows)) {
							continue // it is another row's
						}
						exec(`UPDATE `+table.name+` SET `+column+` = $1 WHERE rowid = $2`, next, rowid)
						moved := rowid
						if column == "idx" {
							moved = next
						}
						if table.name == "entries" && column == "idx" {
							wrong(at)
						} else {
							wrong(at, who)
						}
						exec(`UPDATE `+table.name+` SET `+column+` = $1 WHERE rowid = $2`, old, moved)
					}
				case "text", "blob":
					var old []byte
					must(t, db.QueryRow(`SELECT CAST(`+column+` AS BLOB) FROM `+table.name+` WHERE rowid = $1`, rowid).Scan(&old))
					set := func(v []byte) {
						t.Helper()
						if kind == "text" {
							exec(`UPDATE `+table.name+` SET `+column+` = CAST($1 AS TEXT) WHERE rowid = $2`, v, rowid)
						} else {
							exec(`UPDATE `+table.name+` SET `+column+` = $1 WHERE rowid = $2`, v, rowid)
						}
					}
					for b := range old {
						next := append([]byte{}, old...)
						next[b] ^= 1 << (b % 8)
						set(next)
						wrong(at, who)
						set(old)
					}
					set(append(append([]byte{}, old...), 'x'))
					wrong(at+" longer", who)
					set(old)
				case "null":
					exec(`UPDATE `+table.name+` SET `+column+` = x'00' WHERE rowid = $1`, rowid)
					wrong(at, who)
					exec(`UPDATE `+table.name+` SET `+column+` = NULL WHERE rowid = $1`, rowid)
				}
			}
			exec(`CREATE TEMP TABLE kept AS SELECT * FROM `+table.name+` WHERE rowid = $1`, rowid)
			exec(`DELETE FROM `+table.name+` WHERE rowid = $1`, rowid)
			wrong(table.name+" deleted", who)
			exec(`INSERT INTO ` + table.name + ` SELECT * FROM kept`)
			exec(`DROP TABLE kept`)
			// Put back, a row of the middle has a new rowid where that is no key of its own.
			rows, err = all(ctx, db, func(scan scan) (id int64, err error) { err = scan(&id); return id, err }, `SELECT rowid FROM `+table.name+` ORDER BY rowid`)
			must(t, err)
		}
	}
	same(t, flaws(), nil)

	// A row of nobody's, and an entry behind the end.
	exec(`INSERT INTO sign_offs SELECT site_id, 'forged', person_id, educator_id, educator_name, competency, setup_id, setup_tag,
		setup_version, checklist_version, model_version, content_version, language, meaning, signed_name, checklist, rating, signed,
		signed_local, lapses, 'forged', features, supersedes, person_name, entry FROM sign_offs LIMIT 1`)
	wrong("a sign-off inserted", kindSignOff+"forged")
	exec(`DELETE FROM sign_offs WHERE id = 'forged'`)
	last := int64(0)
	must(t, db.QueryRow(`SELECT max(idx) FROM entries`).Scan(&last))
	exec(`INSERT INTO entries SELECT $1, kind, at, leaf, hashes, salt, record FROM entries WHERE idx = 0`, last+1)
	wrong("an entry inserted", strconv.FormatInt(last+1, 10))
	exec(`DELETE FROM entries WHERE idx = $1`, last+1)
	swap := func(a, b int64) {
		exec(`UPDATE entries SET idx = -1 WHERE idx = $1`, a)
		exec(`UPDATE entries SET idx = $1 WHERE idx = $2`, a, b)
		exec(`UPDATE entries SET idx = $1 WHERE idx = -1`, b)
	}
	swap(2, 4)
	wrong("two entries swapped", "2", "4")
	swap(2, 4)
	same(t, flaws(), nil)
	t.Logf("%d changes tried", tried)

	// The whole database put back: only a checkpoint from outside tells.
	exec(`DELETE FROM entries WHERE idx = $1`, last)
	exec(`UPDATE head SET checkpoint = $1`, string(earlier))
	v, err := Verify(ctx, dir, s.log.key.Verifier(), outside)
	must(t, err)
	if !strings.Contains(fmt.Sprint(v.Flaws), string(ledger.RolledBack)) {
		t.Errorf("put back: %v", v.Flaws)
	}
}

// TestALogThatIsNotOursSignsNothing, and everything else goes on.
func TestALogThatIsNotOursSignsNothing(t *testing.T) {
	for name, c := range map[string]struct {
		spoil func(t *testing.T, dir string, db *sql.DB)
		key   string
	}{
		"the key is gone":         {func(t *testing.T, dir string, _ *sql.DB) { must(t, os.Remove(filepath.Join(dir, keyFile))) }, "problem.log-key"},
		"others can read the key": {func(t *testing.T, dir string, _ *sql.DB) { must(t, os.Chmod(filepath.Join(dir, keyFile), 0o644)) }, "problem.log-key"},
		"another key": {func(t *testing.T, dir string, _ *sql.DB) {
			must(t, os.Remove(filepath.Join(dir, keyFile)))
			must(t, newKey(filepath.Join(dir, keyFile), "lampwright/other"))
		}, "problem.log-broken"},
		"an entry is gone": {func(t *testing.T, _ string, db *sql.DB) {
			_, err := db.Exec(`DROP TRIGGER entries_kept_delete`)
			must(t, err)
			_, err = db.Exec(`DELETE FROM entries`)
			must(t, err)
		}, "problem.log-broken"},
		"the log is gone, the key not": {func(t *testing.T, _ string, db *sql.DB) {
			_, err := db.Exec(`DROP TRIGGER entries_kept_delete`)
			must(t, err)
			_, err = db.Exec(`DELETE FROM entries`)
			must(t, err)
			_, err = db.Exec(`DELETE FROM head`)
			must(t, err)
		}, "problem.log-broken"},
	} {
		t.Run(name, func(t *testing.T) {
			s := house(t)
			_, _, err := s.Sign(ctx, signOff1, "form")
			must(t, err)
			dir := dirOf(t, s)
			must(t, s.Close())
			db, err := connect(filepath.Join(dir, databaseFile), "_foreign_keys=0", 1)
			must(t, err)
			c.spoil(t, dir, db)
			must(t, db.Close())
			s = open(t, dir)
			_, _, err = s.Sign(ctx, signOff1, "form 2")
			wants(t, err, problem.Unavailable, c.key)
			list, err := s.SignOffs(ctx, site, "ines")
			must(t, err)
			same(t, len(list), 1)
			must(t, s.Ready(ctx))
		})
	}
}

// TestALogBegins once, with what was signed before there was one; a machine
// that stopped in between goes on where it was.
func TestALogBegins(t *testing.T) {
	s := house(t)
	_, _, err := s.Sign(ctx, signOff1, "form")
	must(t, err)
	dir := dirOf(t, s)
	must(t, s.Close())
	key := filepath.Join(dir, keyFile)
	must(t, os.Rename(key, key+".new")) // the log has begun, the key has no name yet
	s = open(t, dir)
	same(t, sound(t, s, nil).Entries, 1)
	must(t, s.Close())

	db, err := connect(filepath.Join(dir, databaseFile), "_foreign_keys=0", 1)
	must(t, err)
	for _, q := range []string{`DROP TRIGGER entries_kept_delete`, `DELETE FROM entries`, `DELETE FROM head`} { // before there was a log
		_, err := db.Exec(q)
		must(t, err)
	}
	must(t, db.Close())
	must(t, os.Rename(key, key+".new")) // and a key that never came to anything
	s = open(t, dir)
	same(t, sound(t, s, nil).Entries, 1)
	_, _, err = s.Sign(ctx, other("going-out"), "form 2")
	must(t, err)
}

// other is the sign-off for another competency.
func other(competency string) SignOff {
	o := signOff1
	o.Competency = competency
	return o
}

// TestTheKeyIsChanged: who pinned the old one still can tell; a machine that
// stopped in the middle goes on with the new one; the old one signs no more.
func TestTheKeyIsChanged(t *testing.T) {
	s := house(t)
	o, _, err := s.Sign(ctx, signOff1, "form")
	must(t, err)
	file, err := s.Proof(ctx, o.ID)
	must(t, err)
	old, err := s.Verifier()
	must(t, err)
	line, err := s.ChangeKey(ctx, noon.Add(time.Hour))
	must(t, err)
	if line == old {
		t.Fatal("the same key")
	}
	_, _, err = s.Sign(ctx, other("b"), "form 2")
	must(t, err)
	dir := dirOf(t, s)
	for _, pinned := range []string{old, line, ""} {
		v, err := Verify(ctx, dir, pinned, nil)
		must(t, err)
		same(t, v.Flaws, nil)
		same(t, v.Entries, 3)
	}
	_, err = ledger.VerifyProof(file, old)
	must(t, err)
	file, err = s.Proof(ctx, o.ID)
	must(t, err)
	_, err = ledger.VerifyProof(file, line)
	must(t, err)
	if _, err = ledger.VerifyProof(file, old); err == nil {
		t.Error("a key that was changed still vouches for new checkpoints")
	}

	line, err = s.ChangeKey(ctx, noon.Add(2*time.Hour))
	must(t, err)
	must(t, s.Close())
	key := filepath.Join(dir, keyFile)
	must(t, os.Rename(key, key+".new"))
	must(t, os.Rename(key+".4", key)) // as if it had stopped before the names changed
	s = open(t, dir)
	got, err := s.Verifier()
	must(t, err)
	same(t, got, line)
	_, _, err = s.Sign(ctx, other("c"), "form 3")
	must(t, err)
	sound(t, s, nil)
	must(t, s.Close())
	must(t, os.Remove(key))
	must(t, os.Rename(key+".4", key)) // a key that was changed comes back
	s = open(t, dir)
	_, _, err = s.Sign(ctx, signOff1, "form 4")
	wants(t, err, problem.Unavailable, "problem.log-broken")
}

// BenchmarkSigning compares sign-offs with the least that a database can do: one
// row in one durable transaction.
func BenchmarkSigning(b *testing.B) {
	for _, writers := range []int{1, 32} {
		b.Run(fmt.Sprintf("%d writers", writers), func(b *testing.B) {
			s := house(b)
			b.SetParallelism(writers)
			var mu sync.Mutex
			n := 0
			begun := time.Now()
			if writers == 1 {
				for i := range b.N {
					_, _, err := s.Sign(ctx, other(strconv.Itoa(i)), NewID())
					must(b, err)
				}
			} else {
				var wg sync.WaitGroup
				for range writers {
					wg.Go(func() {
						for {
							mu.Lock()
							i := n
							n++
							mu.Unlock()
							if i >= b.N {
								return
							}
							if _, _, err := s.Sign(ctx, other(strconv.Itoa(i)), NewID()); err != nil {
								b.Error(err)
							}
						}
					})
				}
				wg.Wait()
			}
			ours := float64(b.N) / time.Since(begun).Seconds()
			bare := bareCommits(b, max(200, min(b.N, 3000)))
			b.ReportMetric(ours, "signed/s")
			b.ReportMetric(bare, "bare/s")
			b.ReportMetric(ours/bare, "of-bare")
		})
	}
}

// bareCommits is how many single-row durable commits a second the bare
// database does, in the same run.
func bareCommits(b *testing.B, n int) float64 {
	b.Helper()
	db, err := connect(filepath.Join(b.TempDir(), "bare.db"), writerParameters, 1)
	must(b, err)
	defer db.Close()
	_, err = db.Exec(`CREATE TABLE t (id INTEGER PRIMARY KEY, v TEXT) STRICT`)
	must(b, err)
	begun := time.Now()
	for range n {
		_, err := db.ExecContext(context.Background(), `INSERT INTO t (v) VALUES ($1)`, "a row of some sixty bytes, as small as a row that is of use")
		must(b, err)
	}
	return float64(n) / time.Since(begun).Seconds()
}

// BenchmarkProof makes the proof file of a sign-off out of a log of a million
// entries in the database; the pages it reads are cached by then.
func BenchmarkProof(b *testing.B) {
	const size = 1_000_000
	s := ledgered(b)
	list, err := s.SignOffs(ctx, site, "ines")
	must(b, err)
	edge := s.log.edge
	must(b, s.transact(ctx, func(tx transaction) error {
		for edge.Size() < size {
			if edge, err = s.append(ctx, tx, edge, entered{"other/" + strconv.FormatInt(edge.Size(), 10), noon, []byte("{}")}); err != nil {
				return err
			}
		}
		return s.sign(ctx, tx, edge)
	}))
	line, err := s.Verifier()
	must(b, err)
	var times []time.Duration
	var proof []byte
	for i := 0; b.Loop(); i++ {
		start := time.Now()
		proof, err = s.Proof(ctx, list[i%len(list)].ID)
		must(b, err)
		times = append(times, time.Since(start))
	}
	slices.Sort(times)
	b.ReportMetric(float64(times[len(times)*99/100].Nanoseconds()), "ns-p99")
	_, err = ledger.VerifyProof(proof, line)
	must(b, err)
}
