package ledger

import (
	"bytes"
	"errors"
	"fmt"
	"iter"
	"math"
	"slices"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

// tampered is a log of 40 entries with two erasures and two changes of key.
type tampered struct {
	*book
	head   []byte // of all
	middle []byte // kept elsewhere, when 30 were there
	pinned []string
}

func newTampered(t testing.TB) tampered {
	b := newBook(t)
	pinned := []string{b.key.Verifier()}
	b.fill(14)
	b.erase(3, 8)
	b.fill(21)
	b.rotate("second key")
	b.fill(30)
	middle := b.head()
	b.erase(25)
	b.fill(36)
	b.rotate("third key")
	b.fill(40)
	return tampered{b, b.head(), middle, pinned}
}

// audit of rows in the order of their index, as a store gives them.
func (d tampered) audit(rows []Entry, head []byte) []Finding {
	d.t.Helper()
	rows = slices.Clone(rows)
	slices.SortStableFunc(rows, func(a, b Entry) int { return int(min(max(a.Index-b.Index, -1), 1)) })
	return d.auditAsIs(rows, head, nil)
}

func (d tampered) auditAsIs(rows []Entry, head, outside []byte) []Finding {
	d.t.Helper()
	found, err := Audit(each(rows), head, d.pinned, outside)
	if err != nil {
		d.t.Fatal(err)
	}
	return found
}

func named(found []Finding, index int64) bool {
	return slices.ContainsFunc(found, func(f Finding) bool { return f.Index == index })
}

func TestGoodLogs(t *testing.T) {
	d := newTampered(t)
	lines := []string{d.pinned[0], newKey(t, "second key").Verifier(), newKey(t, "third key").Verifier()}
	foreign := newKey(t, "foreign").Verifier()
	for name, pinned := range map[string][]string{
		"the first key": lines[:1], "the second": lines[1:2], "the newest": lines[2:], "all": lines, "among others": {foreign, lines[0]},
	} {
		for _, outside := range [][]byte{nil, d.middle, d.head} {
			found, err := Audit(each(d.rows), d.head, pinned, outside)
			if err != nil || len(found) > 0 {
				t.Errorf("%s pinned: %v %v", name, found, err)
			}
		}
	}
	second := newKey(t, "second key")
	both, err := d.key.Checkpoint(40, d.edge.Root(), second)
	if err != nil {
		t.Fatal(err)
	}
	if found := d.auditAsIs(d.rows, both, nil); len(found) > 0 {
		t.Errorf("signed by the old key too: %v", found)
	}
}

// TestEveryByte: a byte of any field of any entry is flipped, and the entry is named.
func TestEveryByte(t *testing.T) {
	d := newTampered(t)
	flips := 0
	for i := range d.rows {
		for field, bytes := range fields(d.rows[i]) {
			for at := range bytes {
				rows := slices.Clone(d.rows)
				rows[i] = flipped(rows[i], field, at)
				flips++
				if found := d.audit(rows, d.head); !named(found, int64(i)) {
					t.Errorf("entry %d (%s), %s, byte %d: %v", i, d.rows[i].Kind, field, at, found)
				}
				if field == "index" && !named(d.auditAsIs(rows, d.head, nil), int64(i)) {
					t.Errorf("entry %d, index, byte %d: not named where it stands", i, at)
				}
			}
		}
	}
	t.Logf("%d bytes", flips)
}

func fields(e Entry) map[string]int {
	return map[string]int{"index": 8, "kind": len(e.Kind), "at": 8, "leaf": len(e.Leaf), "hashes": len(e.Hashes), "salt": len(e.Salt), "record": len(e.Record)}
}

// flipped is the entry with a byte of a field flipped: one bit, another for each place.
func flipped(e Entry, field string, at int) Entry {
	flip := func(b []byte) []byte {
		b = bytes.Clone(b)
		b[at] ^= 1 << (at % 8)
		return b
	}
	switch bit := int64(1) << (8*at + at%8); field {
	case "index":
		e.Index ^= bit
	case "kind":
		e.Kind = string(flip([]byte(e.Kind)))
	case "at":
		e.At = time.UnixMilli(e.At.UnixMilli() ^ bit).UTC()
	case "leaf":
		e.Leaf = [32]byte(flip(e.Leaf[:]))
	case "hashes":
		e.Hashes = flip(e.Hashes)
	case "salt":
		e.Salt = flip(e.Salt)
	case "record":
		e.Record = flip(e.Record)
	}
	return e
}

// TestOnlyWhatWasChanged: one thing is wrong, and no more is said.
func TestOnlyWhatWasChanged(t *testing.T) {
	d := newTampered(t)
	for name, c := range map[string]struct {
		change func(rows []Entry) []Entry
		want   []Finding
	}{
		"a record":                       {at(5, func(e *Entry) { e.Record = []byte("other") }), []Finding{{5, Altered}}},
		"a salt":                         {at(5, func(e *Entry) { e.Salt = make([]byte, 32) }), []Finding{{5, Altered}}},
		"a time":                         {at(5, func(e *Entry) { e.At = e.At.Add(time.Millisecond) }), []Finding{{5, Altered}}},
		"a kind":                         {at(5, func(e *Entry) { e.Kind = "sign-on" }), []Finding{{5, Altered}}},
		"a leaf":                         {at(5, func(e *Entry) { e.Leaf[0]++ }), []Finding{{5, Altered}}},
		"a hash":                         {at(7, func(e *Entry) { e.Hashes = slices.Concat(e.Hashes[:40], e.Hashes[:1], e.Hashes[41:]) }), []Finding{{7, HashesWrong}}},
		"a hash too few":                 {at(7, func(e *Entry) { e.Hashes = e.Hashes[:96] }), []Finding{{7, HashesWrong}}},
		"no hashes":                      {at(6, func(e *Entry) { e.Hashes = nil }), []Finding{{6, HashesWrong}}},
		"a leaf and its hash":            {at(5, func(e *Entry) { e.Leaf[0]++; e.Hashes[0]++ }), []Finding{{5, Altered}, {5, HashesWrong}}},
		"an entry deleted":               {func(rows []Entry) []Entry { return slices.Delete(rows, 5, 6) }, []Finding{{5, Missing}}},
		"three deleted":                  {func(rows []Entry) []Entry { return slices.Delete(rows, 5, 8) }, []Finding{{5, Missing}, {6, Missing}, {7, Missing}}},
		"the first deleted":              {func(rows []Entry) []Entry { return rows[1:] }, []Finding{{0, Missing}}},
		"the last deleted":               {func(rows []Entry) []Entry { return rows[:39] }, []Finding{{39, Missing}}},
		"an erased one deleted":          {func(rows []Entry) []Entry { return slices.Delete(rows, 3, 4) }, []Finding{{3, Missing}}},
		"a time of an erased one":        {at(3, func(e *Entry) { e.At = e.At.Add(time.Millisecond) }), []Finding{{3, Altered}}},
		"an entry twice":                 {func(rows []Entry) []Entry { return slices.Insert(rows, 5, rows[5]) }, []Finding{{5, OutOfOrder}}},
		"a record removed":               {at(5, func(e *Entry) { e.Record = nil }), []Finding{{5, Removed}}},
		"a salt removed":                 {at(5, func(e *Entry) { e.Salt = nil }), []Finding{{5, Removed}}},
		"a record and its salt removed":  {at(5, func(e *Entry) { e.Salt, e.Record = nil, nil }), []Finding{{5, Removed}}},
		"an erased record put back":      {at(3, func(e *Entry) { e.Record = []byte("back") }), []Finding{{3, StillHeld}}},
		"an erased salt put back":        {at(3, func(e *Entry) { e.Salt = make([]byte, 32) }), []Finding{{3, StillHeld}}},
		"an erased entry put back wrong": {at(3, func(e *Entry) { e.Salt, e.Record = []byte("s"), []byte("r") }), []Finding{{3, Altered}, {3, StillHeld}}},
		"an erasure removed":             {at(14, func(e *Entry) { e.Salt, e.Record = nil, nil }), []Finding{{3, Removed}, {8, Removed}, {14, Removed}}},
	} {
		t.Run(name, func(t *testing.T) {
			rows := make([]Entry, 0, len(d.rows)+1)
			for _, e := range d.rows {
				e.Hashes = bytes.Clone(e.Hashes)
				rows = append(rows, e)
			}
			if found := d.auditAsIs(c.change(rows), d.head, nil); !slices.Equal(found, c.want) {
				t.Errorf("found %v, want %v", found, c.want)
			}
		})
	}
}

func at(index int, change func(*Entry)) func([]Entry) []Entry {
	return func(rows []Entry) []Entry { change(&rows[index]); return rows }
}

func TestEveryEntryDeletedDoubledMoved(t *testing.T) {
	d := newTampered(t)
	n := len(d.rows)
	for i := range n {
		if found := d.audit(slices.Delete(slices.Clone(d.rows), i, i+1), d.head); !named(found, int64(i)) {
			t.Errorf("entry %d deleted: %v", i, found)
		}
		if found := d.audit(slices.Insert(slices.Clone(d.rows), i, d.rows[i]), d.head); !named(found, int64(i)) {
			t.Errorf("entry %d doubled: %v", i, found)
		}
		for _, field := range []string{"kind", "hashes", "salt", "record"} {
			for name, change := range map[string]func([]byte) []byte{
				"emptied":   func([]byte) []byte { return nil },
				"cut":       func(b []byte) []byte { return b[:max(len(b)-1, 0)] },
				"lengthend": func(b []byte) []byte { return append(bytes.Clone(b), 'x') },
			} {
				rows := slices.Clone(d.rows)
				if !resize(&rows[i], field, change) {
					continue
				}
				if found := d.audit(rows, d.head); !named(found, int64(i)) {
					t.Errorf("entry %d, %s %s: %v", i, field, name, found)
				}
			}
		}
		for j := range i {
			// The rows change places, the indexes stay where they were.
			rows := slices.Clone(d.rows)
			rows[i], rows[j] = rows[j], rows[i]
			if found := d.auditAsIs(rows, d.head, nil); len(found) == 0 {
				t.Errorf("entries %d and %d out of order: nothing", j, i)
			}
			rows[i].Index, rows[j].Index = int64(i), int64(j)
			if found := d.audit(rows, d.head); !named(found, int64(i)) || !named(found, int64(j)) {
				t.Errorf("entries %d and %d changed places: %v", j, i, found)
			}
		}
		if i == 0 {
			continue
		}
		if found := d.audit(d.rows[:i], d.head); len(found) < n-i || !named(found, int64(i)) || !named(found, int64(n-1)) {
			t.Errorf("all from %d on deleted: %v", i, found)
		}
	}
}

// resize reports whether the field became another.
func resize(e *Entry, field string, change func([]byte) []byte) bool {
	was := *e
	switch field {
	case "kind":
		e.Kind = string(change([]byte(e.Kind)))
	case "hashes":
		e.Hashes = change(e.Hashes)
	case "salt":
		e.Salt = change(e.Salt)
	case "record":
		e.Record = change(e.Record)
	}
	return e.Kind != was.Kind || !bytes.Equal(e.Hashes, was.Hashes) || !bytes.Equal(e.Salt, was.Salt) || !bytes.Equal(e.Record, was.Record)
}

// TestInsertedEntries: a forger without the key puts an entry in at every place,
// and makes all hashes behind it anew.
func TestInsertedEntries(t *testing.T) {
	d := newTampered(t)
	for i := range int64(len(d.rows)) + 1 {
		rows := slices.Insert(slices.Clone(d.rows), int(i), Entry{Kind: "sign-off", At: noon, Salt: make([]byte, 32), Record: []byte("forged")})
		remade := remake(rows)
		found := d.audit(remade, d.head)
		if !named(found, 40) || !slices.Contains(found, Finding{40, Extra}) {
			t.Errorf("an entry at %d, the rest made anew: %v", i, found)
		}
		if i < 40 && !slices.Contains(found, Finding{-1, RootWrong}) {
			t.Errorf("an entry at %d is under the root: %v", i, found)
		}
		// Only put in and counted on, nothing made anew.
		for j := range rows {
			rows[j].Index = int64(j)
		}
		if found := d.audit(rows, d.head); !named(found, i) {
			t.Errorf("an entry at %d: %v", i, found)
		}
	}
}

// remake gives every entry a leaf and hashes that follow.
func remake(rows []Entry) []Entry {
	out := slices.Clone(rows)
	var edge Edge
	for i := range out {
		e := &out[i]
		e.Index = int64(i)
		if e.held() {
			e.Leaf = leafOf(e.Index, e.Kind, e.At, bodyOf(e.Salt, e.Record))
		}
		edge, e.Hashes = edge.push(tlog.RecordHash(e.Leaf[:]))
	}
	return out
}

// TestForgedEntry: a forger without the key changes one entry and makes anew
// what he can: its leaf, its own hashes, or all of them.
func TestForgedEntry(t *testing.T) {
	d := newTampered(t)
	for i := range int64(len(d.rows)) {
		if !d.rows[i].held() {
			continue
		}
		rows := slices.Clone(d.rows)
		rows[i].Record = []byte("forged")
		remade := remake(rows)
		rows[i].Leaf = remade[i].Leaf
		if found := d.audit(rows, d.head); !named(found, i) {
			t.Errorf("entry %d and its leaf: %v", i, found)
		}
		rows[i].Hashes = remade[i].Hashes
		if found := d.audit(rows, d.head); !slices.Contains(found, Finding{-1, RootWrong}) {
			t.Errorf("entry %d, its leaf and hashes: %v", i, found)
		}
		if found := d.audit(remade, d.head); !slices.Contains(found, Finding{-1, RootWrong}) {
			t.Errorf("entry %d and all hashes: %v", i, found)
		}
	}
}

func TestEveryByteOfTheHead(t *testing.T) {
	d := newTampered(t)
	both := d.book.head(newKey(t, "second key"))
	for name, head := range map[string][]byte{"one signature": d.head, "two signatures": both} {
		for i := range head {
			for bit := range 8 {
				bad := bytes.Clone(head)
				bad[i] ^= 1 << bit
				if found := d.audit(d.rows, bad); !named(found, -1) {
					t.Errorf("%s, byte %d, bit %d: %v", name, i, bit, found)
				}
			}
			if bytes.Equal(head[:i], d.head) {
				continue // without the second signature it is the other one, and good
			}
			if found := d.audit(d.rows, head[:i]); !named(found, -1) {
				t.Errorf("%s, cut at %d: %v", name, i, found)
			}
			if found := d.audit(d.rows, slices.Insert(bytes.Clone(head), i, head[i])); !named(found, -1) {
				t.Errorf("%s, byte %d doubled: %v", name, i, found)
			}
		}
	}
}

// sign is a checkpoint by any keys, of any size and root.
func sign(t *testing.T, size int64, root tlog.Hash, keys ...*Key) []byte {
	t.Helper()
	text, err := keys[0].Checkpoint(size, root, keys[1:]...)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func TestHeads(t *testing.T) {
	d := newTampered(t)
	root := d.edge.Root()
	first, second, third, foreign := newKey(t, "first key"), newKey(t, "second key"), d.key, newKey(t, "foreign")
	elsewhere := *third
	elsewhere.signer = renamed{third.signer}
	early := d.edgeAt(35)
	for name, c := range map[string]struct {
		head []byte
		want []Finding
	}{
		"none":                         {nil, []Finding{{-1, HeadMissing}}},
		"no checkpoint":                {[]byte("head"), []Finding{{-1, HeadUnreadable}}},
		"another root":                 {sign(t, 40, early.Root(), third), []Finding{{-1, RootWrong}}},
		"an unknown key":               {sign(t, 40, root, foreign), []Finding{{-1, KeyUnknown}}},
		"a known and an unknown key":   {sign(t, 40, root, third, foreign), []Finding{{-1, KeyUnknown}}},
		"the key before":               {sign(t, 40, root, second), []Finding{{-1, KeyRetired}}},
		"the first key":                {sign(t, 40, root, first), []Finding{{-1, KeyRetired}}},
		"both keys before":             {sign(t, 40, root, second, first), []Finding{{-1, KeyRetired}}},
		"an older one":                 {sign(t, 38, d.edgeAt(38).Root(), third), []Finding{{38, Extra}, {39, Extra}}},
		"an older one of the old key":  {sign(t, 35, early.Root(), second), []Finding{{35, Extra}, {36, Extra}, {37, Extra}, {38, Extra}, {39, Extra}}},
		"of a longer log":              {sign(t, 42, root, third), []Finding{{40, Missing}, {41, Missing}}},
		"under another name":           {sign(t, 40, root, &elsewhere), []Finding{{-1, KeyUnknown}}},
		"of more entries than any log": {sign(t, math.MaxInt64, root, third), nil},
	} {
		t.Run(name, func(t *testing.T) {
			found := d.auditAsIs(d.rows, c.head, nil)
			if c.want == nil {
				if len(found) != mostMissing {
					t.Errorf("%d findings", len(found))
				}
				return
			}
			if !slices.Equal(found, c.want) {
				t.Errorf("found %v, want %v", found, c.want)
			}
		})
	}
}

// renamed signs as another log.
type renamed struct{ note.Signer }

func (renamed) Name() string { return "elsewhere.example" }

func TestForgedWithAnotherKey(t *testing.T) {
	d := newTampered(t)
	forger := newKey(t, "foreign")

	// The whole log anew, all as it should be, but for the key.
	b := newBook(t)
	b.key = forger
	b.fill(14)
	b.erase(3, 8)
	b.fill(40)
	if found := d.auditAsIs(b.rows, b.head(), nil); !slices.Equal(found, []Finding{{-1, KeyUnknown}}) {
		t.Errorf("made anew: %v", found)
	}

	// A change of key within the forger's own chain leads to nothing that is pinned.
	b.rotate("another foreign key")
	if found := d.auditAsIs(b.rows, b.head(), nil); !slices.Equal(found, []Finding{{-1, KeyUnknown}}) {
		t.Errorf("with a change of key: %v", found)
	}

	// On the true log, a change of key that the true key did not sign.
	for name, record := range map[string]func(edge Edge) []byte{
		"from his own key":     func(edge Edge) []byte { return changeBy(t, forger, newKey(t, "another foreign key"), edge) },
		"signed in no way":     func(Edge) []byte { return []byte(forger.Verifier()) },
		"the true one, again":  func(Edge) []byte { return d.rows[36].Record },
		"signed for the past":  func(Edge) []byte { return changeBy(t, d.key, forger, Edge{}) },
		"for another log":      func(Edge) []byte { return changeBy(t, d.key, forger, b.edgeAt(40)) },
		"from the key retired": func(edge Edge) []byte { return changeBy(t, newKey(t, "first key"), forger, edge) },
	} {
		rows := remake(append(slices.Clone(d.rows), Entry{Kind: KeyChanged, At: noon, Salt: make([]byte, 32), Record: record(d.edge)}))
		edge, _ := d.edge.push(tlog.RecordHash(rows[40].Leaf[:]))
		found := d.auditAsIs(rows, sign(t, 41, edge.Root(), forger), nil)
		if !slices.Contains(found, Finding{40, ChangeWrong}) || !slices.Contains(found, Finding{-1, KeyUnknown}) {
			t.Errorf("a change of key, %s: %v", name, found)
		}
	}
	if found := d.auditAsIs(nil, nil, nil); !slices.Equal(found, []Finding{{-1, HeadMissing}}) {
		t.Errorf("nothing left: %v", found)
	}
}

func changeBy(t *testing.T, from, to *Key, edge Edge) []byte {
	t.Helper()
	record, err := from.ChangeTo(to, edge)
	if err != nil {
		t.Fatal(err)
	}
	return record
}

// TestWhatOnlyAnOutsideCheckpointShows: who has the key and the database is
// found with it, and not without.
func TestWhatOnlyAnOutsideCheckpointShows(t *testing.T) {
	d := newTampered(t)
	first := d.pinned
	d.pinned = append(d.pinned, d.key.Verifier())
	rolled := rollBack(t, 30)
	rewritten := newBook(t)
	rewritten.fill(11)
	rewritten.add("sign-off", []byte("never happened"))
	rewritten.fill(40)
	forger := newKey(t, "foreign")
	for name, c := range map[string]struct {
		rows    []Entry
		head    []byte
		outside []byte
		want    []Finding
	}{
		"rolled back, no checkpoint":            {rolled.rows, rolled.head(), nil, nil},
		"rolled back, one from before":          {rolled.rows, rolled.head(), d.middle, nil},
		"rolled back, the newest":               {rolled.rows, rolled.head(), d.head, []Finding{{-1, RolledBack}}},
		"all gone but an empty log's head":      {nil, sign(t, 0, Edge{}.Root(), newKey(t, "first key")), sign(t, 1, tlog.Hash{}, newKey(t, "first key")), []Finding{{-1, RolledBack}}},
		"written anew, no checkpoint":           {rewritten.rows, rewritten.head(), nil, nil},
		"written anew, one from before that":    {rewritten.rows, rewritten.head(), sign(t, 11, d.edgeAt(11).Root(), newKey(t, "first key")), nil},
		"written anew, one from after that":     {rewritten.rows, rewritten.head(), sign(t, 12, d.edgeAt(12).Root(), newKey(t, "first key")), []Finding{{-1, Forked}}},
		"written anew, the newest":              {rewritten.rows, rewritten.head(), sign(t, 40, d.edge.Root(), newKey(t, "first key")), []Finding{{-1, Forked}}},
		"a good log, a checkpoint of no key":    {d.rows, d.head, sign(t, 30, d.edgeAt(30).Root(), forger), []Finding{{-1, OutsideFalse}}},
		"a good log, a checkpoint that changed": {d.rows, d.head, bytes.Replace(d.middle, []byte("\n30\n"), []byte("\n29\n"), 1), []Finding{{-1, OutsideFalse}}},
		"no head, a longer one outside":         {rolled.rows, nil, sign(t, 40, d.edge.Root(), newKey(t, "first key")), []Finding{{-1, HeadMissing}, {-1, RolledBack}}},
		"an older head only, the newest":        {d.rows, d.middle, d.head, slices.Concat([]Finding{{-1, RolledBack}, {25, Removed}}, extras(30, 40))},
	} {
		t.Run(name, func(t *testing.T) {
			if found := d.auditAsIs(c.rows, c.head, c.outside); !slices.Equal(found, c.want) {
				t.Errorf("found %v, want %v", found, c.want)
			}
		})
	}
	// A log from before a change of key does not know the key that came later.
	if found, err := Audit(each(rolled.rows), rolled.head(), first, d.head); err != nil || !slices.Equal(found, []Finding{{-1, OutsideFalse}}) {
		t.Errorf("rolled back, the newest, its key not pinned: %v %v", found, err)
	}
	_, err := Audit(each(d.rows), d.head, d.pinned, []byte("no checkpoint"))
	if !is(err, "ledger.checkpoint-unreadable") {
		t.Errorf("no checkpoint: %v", err)
	}
}

func extras(from, to int64) (found []Finding) {
	for i := from; i < to; i++ {
		found = append(found, Finding{i, Extra})
	}
	return found
}

// rollBack is the same log as it was before.
func rollBack(t *testing.T, size int64) *book {
	b := newBook(t)
	b.fill(14)
	b.erase(3, 8)
	b.fill(21)
	b.rotate("second key")
	b.fill(size)
	return b
}

func TestErasuresThatCannotBe(t *testing.T) {
	d := newTampered(t)
	body := bodyOf(d.rows[5].Salt, d.rows[5].Record)
	named := func(form string, args ...any) []byte { return fmt.Appendf(nil, form, args...) }
	b64 := func(b [32]byte) string { return tlog.Hash(b).String() }
	for name, c := range map[string]struct {
		record []byte
		gone   int // whose salt and record are deleted, or none
		want   []Finding
	}{
		"as it should be":          {named(`{"erased":[{"index":5,"body":%q}]}`, b64(body)), 5, nil},
		"nothing deleted":          {named(`{"erased":[{"index":5,"body":%q}]}`, b64(body)), -1, []Finding{{5, StillHeld}}},
		"another body":             {named(`{"erased":[{"index":5,"body":%q}]}`, b64([32]byte{})), 5, []Finding{{5, Altered}}},
		"itself":                   {named(`{"erased":[{"index":40,"body":%q}]}`, b64(body)), -1, []Finding{{40, ErasureWrong}}},
		"what came later":          {named(`{"erased":[{"index":41,"body":%q}]}`, b64(body)), -1, []Finding{{40, ErasureWrong}}},
		"erased before":            {named(`{"erased":[{"index":3,"body":%q}]}`, b64(body)), -1, []Finding{{40, ErasureWrong}}},
		"an erasure":               {named(`{"erased":[{"index":14,"body":%q}]}`, b64(bodyOf(d.rows[14].Salt, d.rows[14].Record))), 14, []Finding{{3, Removed}, {8, Removed}, {14, Removed}, {40, ErasureWrong}}},
		"a change of key":          {named(`{"erased":[{"index":36,"body":%q}]}`, b64(bodyOf(d.rows[36].Salt, d.rows[36].Record))), 36, []Finding{{-1, KeyUnknown}, {36, ChangeWrong}, {36, Removed}, {40, ErasureWrong}}},
		"in no form":               {[]byte(`{"erased":5}`), 5, []Finding{{5, Removed}, {40, ErasureWrong}}},
		"with something beside it": {named(`{"erased":[{"index":5,"body":%q}],"by":"x"}`, b64(body)), 5, []Finding{{5, Removed}, {40, ErasureWrong}}},
	} {
		t.Run(name, func(t *testing.T) {
			rows := remake(append(slices.Clone(d.rows), Entry{Kind: Erased, At: noon, Salt: make([]byte, 32), Record: c.record}))
			edge, _ := d.edge.push(tlog.RecordHash(rows[40].Leaf[:]))
			if c.gone >= 0 {
				rows[c.gone].Salt, rows[c.gone].Record = nil, nil
			}
			if found := d.auditAsIs(rows, sign(t, 41, edge.Root(), d.key), nil); !slices.Equal(found, c.want) {
				t.Errorf("found %v, want %v", found, c.want)
			}
		})
	}
	// Whoever has no key deletes a record and says so in an entry that nobody signed.
	rows := slices.Clone(d.rows)
	rows[5].Salt, rows[5].Record = nil, nil
	rows = append(rows, Entry{Index: 40, Kind: Erased, At: noon, Salt: make([]byte, 32), Record: named(`{"erased":[{"index":5,"body":%q}]}`, b64(body))})
	rows = remake(rows)
	if found := d.auditAsIs(rows, d.head, nil); !slices.Equal(found, []Finding{{5, Removed}, {40, Extra}}) {
		t.Errorf("an erasure that nobody signed: %v", found)
	}
}

func TestNoAudit(t *testing.T) {
	d := newTampered(t)
	busy := errors.New("busy")
	var failing iter.Seq2[Entry, error] = func(yield func(Entry, error) bool) {
		_ = yield(d.rows[0], nil) && yield(Entry{}, busy)
	}
	if _, err := Audit(failing, d.head, d.pinned, nil); !errors.Is(err, busy) {
		t.Errorf("a store that fails: %v", err)
	}
	if _, err := Audit(each(d.rows), d.head, []string{"key"}, nil); !is(err, "ledger.verifier-invalid") {
		t.Errorf("no line: %v", err)
	}
	if found, err := Audit(each(d.rows), d.head, nil, nil); err != nil || !slices.Equal(found, []Finding{{-1, KeyUnknown}}) {
		t.Errorf("nothing pinned: %v %v", found, err)
	}
}

// TestGaps: after missing entries the rest is still checked.
func TestGaps(t *testing.T) {
	d := newTampered(t)
	for from := range 40 {
		for to := from + 1; to <= 40; to++ {
			rows := slices.Delete(slices.Clone(d.rows), from, to)
			found := d.audit(rows, d.head)
			for i := from; i < to; i++ {
				if !slices.Contains(found, Finding{int64(i), Missing}) {
					t.Fatalf("entries %d to %d deleted: %v", from, to, found)
				}
			}
			if slices.Contains(found, Finding{-1, RootWrong}) || slices.ContainsFunc(found, func(f Finding) bool { return f.What == HashesWrong || f.What == Altered }) {
				t.Fatalf("entries %d to %d deleted, and more is said: %v", from, to, found)
			}
		}
	}
	// A second flaw behind the gap, with its leaf and own hash made to match.
	rows := slices.Delete(slices.Clone(d.rows), 4, 5)
	for i, e := range rows {
		if e.Index == 26 {
			e.Record = []byte("forged")
			e.Leaf = leafOf(e.Index, e.Kind, e.At, bodyOf(e.Salt, e.Record))
			h := tlog.RecordHash(e.Leaf[:])
			e.Hashes = h[:]
			rows[i] = e
		}
	}
	if found := d.audit(rows, d.head); !slices.Contains(found, Finding{4, Missing}) || !slices.Contains(found, Finding{27, HashesWrong}) || !slices.Contains(found, Finding{-1, RootWrong}) {
		t.Errorf("a forgery behind a gap: %v", found)
	}
}
