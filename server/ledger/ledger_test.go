package ledger

import (
	"bytes"
	"errors"
	"fmt"
	"iter"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/transparency-dev/merkle/proof"
	"github.com/transparency-dev/merkle/rfc6962"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
	"pgregory.net/rapid"

	"lampwright/locales/problem"
)

const origin = "log.example/sign-offs"

var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

// seeded is a random source that says the same in every run.
func seeded(name string) *rand.ChaCha8 {
	var seed [32]byte
	copy(seed[:], name)
	return rand.NewChaCha8(seed)
}

func newKey(t testing.TB, name string) *Key {
	t.Helper()
	text, err := NewKey(origin, seeded(name))
	if err != nil {
		t.Fatal(err)
	}
	k, err := readKey(text)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

// book is a log kept in memory, as rows.
type book struct {
	t      testing.TB
	rows   []Entry
	edge   Edge
	key    *Key
	random *rand.ChaCha8
}

func newBook(t testing.TB) *book {
	return &book{t: t, key: newKey(t, "first key"), random: seeded("salts")}
}

func (b *book) add(kind string, record []byte) Entry {
	b.t.Helper()
	e, edge, err := b.edge.Append(kind, noon.Add(time.Duration(b.edge.Size())*time.Second), record, b.random)
	if err != nil {
		b.t.Fatal(err)
	}
	b.rows, b.edge = append(b.rows, e), edge
	return e
}

func (b *book) fill(to int64) {
	b.t.Helper()
	for b.edge.Size() < to {
		b.add("sign-off", fmt.Appendf(nil, `{"card":"C-%d"}`, b.edge.Size()))
	}
}

func (b *book) erase(indexes ...int64) {
	b.t.Helper()
	var gone []Entry
	for _, i := range indexes {
		gone = append(gone, b.rows[i])
	}
	record, err := ErasedRecord(gone...)
	if err != nil {
		b.t.Fatal(err)
	}
	b.add(Erased, record)
	for _, i := range indexes {
		b.rows[i].Salt, b.rows[i].Record = nil, nil
	}
}

// rotate changes the key and returns the old one.
func (b *book) rotate(name string) *Key {
	b.t.Helper()
	old, next := b.key, newKey(b.t, name)
	record, err := old.ChangeTo(next, b.edge)
	if err != nil {
		b.t.Fatal(err)
	}
	b.add(KeyChanged, record)
	b.key = next
	return old
}

func (b *book) edgeAt(size int64) Edge {
	b.t.Helper()
	e, err := ReadEdge(size, b)
	if err != nil {
		b.t.Fatal(err)
	}
	return e
}

func (b *book) head(with ...*Key) []byte {
	b.t.Helper()
	text, err := b.key.Checkpoint(b.edge.Size(), b.edge.Root(), with...)
	if err != nil {
		b.t.Fatal(err)
	}
	return text
}

// ReadHashes reads from the rows, as a store does.
func (b *book) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	var hashes []tlog.Hash
	for _, stored := range indexes {
		index, at := EntryOf(stored)
		hashes = append(hashes, tlog.Hash(b.rows[index].Hashes[at*tlog.HashSize:]))
	}
	return hashes, nil
}

func each(rows []Entry) iter.Seq2[Entry, error] {
	return func(yield func(Entry, error) bool) {
		for _, e := range rows {
			if !yield(e, nil) {
				return
			}
		}
	}
}

// is reports whether err says what the message says.
func is(err error, key string) bool {
	var p *problem.Problem
	return errors.As(err, &p) && p.Key == key
}

func TestLeafIsAsDocumented(t *testing.T) {
	// Computed apart from the program, by what the package's comment says.
	const want = "a5d6c629471daa75db3c03acb1893a8f6e9e104415dcfc199efa7e8cf609802e"
	b := newBook(t)
	e := b.add("sign-off", []byte("{}"))
	if got := fmt.Sprintf("%x", leafOf(5, "sign-off", noon, bodyOf(bytes.Repeat([]byte{1}, 32), []byte("{}")))); got != want {
		t.Errorf("leaf %s, want %s", got, want)
	}
	if h := tlog.RecordHash(e.Leaf[:]); !e.says() || !bytes.Equal(e.Hashes, h[:]) {
		t.Errorf("entry %+v", e)
	}
}

func TestEveryFieldIsInTheLeaf(t *testing.T) {
	salt, record := []byte("salt"), []byte("record")
	leaf := leafOf(1, "kind", noon, bodyOf(salt, record))
	for name, other := range map[string][32]byte{
		"index":                         leafOf(2, "kind", noon, bodyOf(salt, record)),
		"kind":                          leafOf(1, "kinds", noon, bodyOf(salt, record)),
		"time":                          leafOf(1, "kind", noon.Add(time.Millisecond), bodyOf(salt, record)),
		"salt":                          leafOf(1, "kind", noon, bodyOf([]byte("Salt"), record)),
		"record":                        leafOf(1, "kind", noon, bodyOf(salt, []byte("recorD"))),
		"a byte from salt to record":    leafOf(1, "kind", noon, bodyOf([]byte("sal"), []byte("trecord"))),
		"nothing but the order of both": leafOf(1, "kind", noon, bodyOf(record, salt)),
	} {
		if other == leaf {
			t.Errorf("another %s, the same leaf", name)
		}
	}
}

func TestAppendRefuses(t *testing.T) {
	b := newBook(t)
	b.fill(3)
	erased, err := ErasedRecord(b.rows[2])
	if err != nil {
		t.Fatal(err)
	}
	short := Edge{}
	for i := range 2 {
		if _, short, err = short.Append("sign-off", noon, []byte{byte(i)}, b.random); err != nil {
			t.Fatal(err)
		}
	}
	change, err := b.key.ChangeTo(newKey(t, "next"), b.edge)
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		edge   Edge
		kind   string
		at     time.Time
		record []byte
	}{
		"no kind":                            {b.edge, "", noon, []byte("{}")},
		"a kind with a capital":              {b.edge, "Sign-off", noon, []byte("{}")},
		"a kind that ends in a hyphen":       {b.edge, "sign-", noon, []byte("{}")},
		"a kind with two hyphens":            {b.edge, "sign--off", noon, []byte("{}")},
		"a kind that is too long":            {b.edge, strings.Repeat("a", 65), noon, []byte("{}")},
		"no record":                          {b.edge, "sign-off", noon, nil},
		"a record too long for a proof":      {b.edge, "sign-off", noon, make([]byte, MaxRecord+1)},
		"a time after the year 9999":         {b.edge, "sign-off", time.Date(10_000, 1, 1, 0, 0, 0, 0, time.UTC), []byte("{}")},
		"an erasure that is none":            {b.edge, Erased, noon, []byte("{}")},
		"an erasure of what is not there":    {short, Erased, noon, erased},
		"a change of key that is none":       {b.edge, KeyChanged, noon, []byte(b.key.Verifier())},
		"a change of key for another log":    {short, KeyChanged, noon, change},
		"a change of key in an earlier past": {Edge{}, KeyChanged, noon, change},
	} {
		t.Run(name, func(t *testing.T) {
			if _, _, err := c.edge.Append(c.kind, c.at, c.record, seeded("x")); err == nil {
				t.Error("appended")
			}
		})
	}
	if _, _, err := b.edge.Append("sign-off", noon, []byte("{}"), bytes.NewReader(make([]byte, 31))); err == nil {
		t.Error("appended with half a salt")
	}
}

func TestAppendKeepsNothing(t *testing.T) {
	b := newBook(t)
	b.fill(7)
	before := b.edge.Root()
	first, _, err := b.edge.Append("sign-off", noon, []byte("one"), b.random)
	if err != nil {
		t.Fatal(err)
	}
	second, edge, err := b.edge.Append("sign-off", noon, []byte("two"), b.random)
	if err != nil {
		t.Fatal(err)
	}
	if first.Index != 7 || second.Index != 7 || b.edge.Root() != before || b.edge.Size() != 7 {
		t.Error("an append that was not kept left a trace")
	}
	b.rows = append(b.rows, second)
	if again, err := ReadEdge(8, b); err != nil || again.Root() != edge.Root() {
		t.Errorf("the edge read again: %v %v", again, err)
	}
}

func TestAppendKeepsMillisecondsInUTC(t *testing.T) {
	at := time.Date(2026, 3, 1, 12, 0, 0, 123_456_789, time.FixedZone("", 3600))
	e, _, err := Edge{}.Append("sign-off", at, []byte("{}"), seeded("x"))
	if err != nil {
		t.Fatal(err)
	}
	if want := time.Date(2026, 3, 1, 11, 0, 0, 123_000_000, time.UTC); !e.At.Equal(want) || e.At.Location() != time.UTC {
		t.Errorf("at %v, want %v", e.At, want)
	}
}

func TestErasedRecordRefuses(t *testing.T) {
	b := newBook(t)
	b.fill(4)
	b.erase(1)
	b.rotate("second key")
	many := make([]Entry, 0, MaxErased+1)
	for e := (Edge{}); len(many) <= MaxErased; {
		entry, next, err := e.Append("sign-off", noon, []byte("{}"), b.random)
		if err != nil {
			t.Fatal(err)
		}
		many, e = append(many, entry), next
	}
	altered := b.rows[2]
	altered.Record = []byte("other")
	for name, entries := range map[string][]Entry{
		"none":                      {},
		"one erased before":         {b.rows[1]},
		"an erasure":                {b.rows[4]},
		"a change of key":           {b.rows[5]},
		"one twice":                 {b.rows[0], b.rows[0]},
		"one that was changed":      {altered},
		"more than one entry holds": many,
	} {
		if _, err := ErasedRecord(entries...); err == nil {
			t.Errorf("%s: erased", name)
		}
	}
	record, err := ErasedRecord(many[:MaxErased]...)
	if err != nil || len(record) > MaxRecord {
		t.Errorf("MaxErased entries: %d bytes, %v", len(record), err)
	}
	if record, err := ErasedRecord(b.rows[3], b.rows[0]); err != nil || !bytes.HasPrefix(record, []byte(`{"erased":[{"index":0,"body":"`)) {
		t.Errorf("%s %v", record, err)
	}
}

// TestTree: whatever the size, tlog and another library agree with us.
func TestTree(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		b := newBook(t)
		size := rapid.Int64Range(1, 130).Draw(r, "size")
		edges := []Edge{b.edge}
		for b.edge.Size() < size {
			b.add("sign-off", rapid.SliceOfN(rapid.Byte(), 1, 40).Draw(r, "record"))
			edges = append(edges, b.edge)
		}
		old := rapid.Int64Range(1, size).Draw(r, "old")
		index := rapid.Int64Range(0, old-1).Draw(r, "index")

		for _, n := range []int64{old, size} {
			root, err := tlog.TreeHash(n, b)
			if err != nil || root != edges[n].Root() {
				r.Fatalf("root of %d: %v, want %v (%v)", n, edges[n].Root(), root, err)
			}
			if again, err := ReadEdge(n, b); err != nil || again.Root() != root || again.Size() != n {
				r.Fatalf("edge of %d read again: %v %v", n, again, err)
			}
		}

		head, err := b.key.Checkpoint(old, edges[old].Root())
		if err != nil {
			r.Fatal(err)
		}
		file, err := Prove(head, b, b.rows[index])
		if err != nil {
			r.Fatal(err)
		}
		got, err := VerifyProof(file, b.key.Verifier())
		if err != nil {
			r.Fatal(err)
		}
		e := b.rows[index]
		if got.Index != index || got.Kind != e.Kind || !got.At.Equal(e.At) || !bytes.Equal(got.Record, e.Record) || got.Checkpoint.Size != old || got.Checkpoint.Root != edges[old].Root() {
			r.Fatalf("proved %+v of %+v", got, e)
		}
		inside, err := tlog.ProveRecord(old, index, b)
		if err != nil {
			r.Fatal(err)
		}
		leaf, root := rfc6962.DefaultHasher.HashLeaf(e.Leaf[:]), edges[old].Root()
		if err := proof.VerifyInclusion(rfc6962.DefaultHasher, uint64(index), uint64(old), leaf, raw(inside), root[:]); err != nil {
			r.Fatalf("the other library: entry %d of %d: %v", index, old, err)
		}

		grown, err := ProveConsistency(old, size, b)
		if err != nil {
			r.Fatal(err)
		}
		from, to := Checkpoint{Size: old, Root: root}, Checkpoint{Size: size, Root: b.edge.Root()}
		if err := CheckConsistency(from, to, grown); err != nil {
			r.Fatal(err)
		}
		if err := proof.VerifyConsistency(rfc6962.DefaultHasher, uint64(old), uint64(size), raw(grown), from.Root[:], to.Root[:]); err != nil {
			r.Fatalf("the other library: %d to %d: %v", old, size, err)
		}
		from.Root[0] ^= 1
		if err := CheckConsistency(from, to, grown); !is(err, "ledger.not-consistent") {
			r.Fatalf("another root: %v", err)
		}
	})
}

func raw(hashes []tlog.Hash) [][]byte {
	out := make([][]byte, 0, len(hashes))
	for _, h := range hashes {
		out = append(out, h[:])
	}
	return out
}

func TestWhereHashesAreKept(t *testing.T) {
	next := int64(0)
	for index := range int64(3000) {
		first, count := HashesOf(index)
		if first != next || first+count != tlog.StoredHashCount(index+1) {
			t.Fatalf("entry %d keeps %d hashes from %d on", index, count, first)
		}
		for i := range count {
			if entry, at := EntryOf(first + i); entry != index || at != int(i) {
				t.Fatalf("hash %d is the %d. of entry %d, not the %d. of %d", first+i, at, entry, i, index)
			}
		}
		next = first + count
	}
}

func TestEmptyLog(t *testing.T) {
	b := newBook(t)
	root, err := tlog.TreeHash(0, b)
	if err != nil || b.edge.Root() != root || b.edge.Size() != 0 {
		t.Errorf("root %v, want %v (%v)", b.edge.Root(), root, err)
	}
	if e, err := ReadEdge(0, b); err != nil || e.Root() != root {
		t.Errorf("%v %v", e, err)
	}
	head := b.head()
	if c, err := OpenCheckpoint(head, b.key.Verifier()); err != nil || c.Size != 0 || c.Root != root {
		t.Errorf("%+v %v", c, err)
	}
	if found, err := Audit(each(nil), head, []string{b.key.Verifier()}, head); err != nil || len(found) > 0 {
		t.Errorf("%v %v", found, err)
	}
}

func TestReadEdgeRefuses(t *testing.T) {
	b := newBook(t)
	b.fill(5)
	if _, err := ReadEdge(-1, b); err == nil {
		t.Error("a negative size")
	}
	for name, r := range map[string]tlog.HashReaderFunc{
		"a store that fails":     func([]int64) ([]tlog.Hash, error) { return nil, errors.New("busy") },
		"a store that has fewer": func([]int64) ([]tlog.Hash, error) { return make([]tlog.Hash, 1), nil },
	} {
		if _, err := ReadEdge(5, r); err == nil {
			t.Error(name)
		}
	}
}

func TestProofFiles(t *testing.T) {
	b := newBook(t)
	b.fill(9)
	first := b.head()
	old := b.rotate("second key")
	both := b.head(old)
	b.fill(20)
	now := b.head()
	prove := func(checkpoint []byte, index int64) []byte {
		file, err := Prove(checkpoint, b, b.rows[index])
		if err != nil {
			t.Fatal(err)
		}
		return file
	}
	oldLine, newLine, foreign := old.Verifier(), b.key.Verifier(), newKey(t, "foreign").Verifier()
	for name, c := range map[string]struct {
		file   []byte
		pinned []string
		want   string // message, or none
		keys   int
	}{
		"the key that signed":                      {prove(first, 3), []string{oldLine}, "", 1},
		"among others":                             {prove(first, 3), []string{foreign, oldLine, newLine}, "", 1},
		"pinned twice":                             {prove(first, 3), []string{oldLine, oldLine + "\n"}, "", 1},
		"no key":                                   {prove(first, 3), nil, "ledger.key-unknown", 0},
		"another key":                              {prove(first, 3), []string{foreign}, "ledger.key-unknown", 0},
		"no line":                                  {prove(first, 3), []string{"key"}, "ledger.verifier-invalid", 0},
		"right after the change, the old key":      {prove(both, 3), []string{oldLine}, "", 1},
		"right after the change, the new key":      {prove(both, 9), []string{newLine}, "", 1},
		"right after the change, both":             {prove(both, 9), []string{oldLine, newLine}, "", 2},
		"an old entry in a new log, the new key":   {prove(now, 3), []string{newLine}, "", 1},
		"an old entry in a new log, the old key":   {prove(now, 3), []string{oldLine}, "ledger.key-unknown", 0},
		"not a proof":                              {[]byte("{}"), []string{oldLine}, "ledger.proof-unreadable", 0},
		"nothing":                                  {nil, []string{oldLine}, "ledger.proof-unreadable", 0},
		"a line more":                              {append(prove(first, 3), '\n'), []string{oldLine}, "ledger.checkpoint-unreadable", 0},
		"lines that end in another way":            {bytes.ReplaceAll(prove(first, 3), []byte("\n"), []byte("\r\n")), []string{oldLine}, "ledger.proof-unreadable", 0},
		"another place":                            {bytes.Replace(prove(first, 3), []byte("index 3"), []byte("index 2"), 1), []string{oldLine}, "ledger.proof-false", 0},
		"another checkpoint":                       {append(before(prove(first, 3), first), both...), []string{oldLine}, "ledger.proof-false", 0},
		"another checkpoint than the signed":       {bytes.Replace(prove(first, 3), []byte("\n9\n"), []byte("\n8\n"), 1), []string{oldLine}, "ledger.checkpoint-false", 0},
		"a place that no log has":                  {bytes.Replace(prove(first, 3), []byte("index 3"), []byte("index 18446744073709551615"), 1), []string{oldLine}, "ledger.proof-unreadable", 0},
		"an entry of another log of the same name": {foreignProof(t), []string{oldLine}, "ledger.key-unknown", 0},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := VerifyProof(c.file, c.pinned...)
			if c.want == "" && err != nil || c.want != "" && !is(err, c.want) {
				t.Fatalf("%v, want %q", err, c.want)
			}
			if len(got.Checkpoint.Keys) != c.keys && err == nil {
				t.Errorf("keys %v", got.Checkpoint.Keys)
			}
		})
	}
	_, err := VerifyProof(prove(now, 3), oldLine)
	if p := problem.Of(err); !strings.HasPrefix(newLine, fmt.Sprint(p.Data["Keys"], "+")) {
		t.Errorf("the key is not named: %v", p)
	}
}

func before(file, checkpoint []byte) []byte {
	return bytes.Clone(bytes.TrimSuffix(file, checkpoint))
}

func foreignProof(t *testing.T) []byte {
	b := newBook(t)
	b.key = newKey(t, "foreign")
	b.fill(9)
	file, err := Prove(b.head(), b, b.rows[3])
	if err != nil {
		t.Fatal(err)
	}
	return file
}

// TestProofFileFlipped: a proof file is good in one form only.
func TestProofFileFlipped(t *testing.T) {
	b := newBook(t)
	b.fill(6)
	file, err := Prove(b.head(newKey(t, "another")), b, b.rows[2])
	if err != nil {
		t.Fatal(err)
	}
	for i := range file {
		for bit := range 8 {
			bad := bytes.Clone(file)
			bad[i] ^= 1 << bit
			// A second signature may become that of a key nobody knows; what is said stays.
			if got, err := VerifyProof(bad, b.key.Verifier()); err == nil && (i < bytes.Index(file, []byte("— ")) || string(got.Record) != string(b.rows[2].Record)) {
				t.Fatalf("byte %d, bit %d: %+v", i, bit, got)
			}
		}
	}
}

func TestProofAfterErasure(t *testing.T) {
	b := newBook(t)
	b.fill(9)
	file, err := Prove(b.head(), b, b.rows[3])
	if err != nil {
		t.Fatal(err)
	}
	b.erase(3)
	if _, err := VerifyProof(file, b.key.Verifier()); err != nil {
		t.Errorf("a proof from before: %v", err)
	}
	if _, err := Prove(b.head(), b, b.rows[3]); !is(err, "ledger.proof-erased") {
		t.Errorf("a new proof: %v", err)
	}
	if _, err := Prove(b.head(), b, b.rows[4]); err != nil {
		t.Errorf("of its neighbour: %v", err)
	}
}

func TestNoFalseProofLeaves(t *testing.T) {
	b := newBook(t)
	b.fill(9)
	head := b.head()
	altered := b.rows[3]
	altered.Record = []byte("other")
	if _, err := Prove(head, b, altered); err == nil {
		t.Error("of a changed record")
	}
	altered.Leaf = leafOf(altered.Index, altered.Kind, altered.At, bodyOf(altered.Salt, altered.Record))
	if _, err := Prove(head, b, altered); err == nil {
		t.Error("of a forged leaf")
	}
	if _, err := Prove([]byte("no checkpoint"), b, b.rows[3]); err == nil {
		t.Error("without a checkpoint")
	}
	b.fill(12)
	if _, err := Prove(head, b, b.rows[10]); err == nil {
		t.Error("of an entry that came later")
	}
}

func TestLongestRecordIsProved(t *testing.T) {
	b := newBook(t)
	b.add("sign-off", bytes.Repeat([]byte{0xff}, MaxRecord))
	file, err := Prove(b.head(), b, b.rows[0])
	if err != nil {
		t.Fatal(err)
	}
	if _, err := VerifyProof(file, b.key.Verifier()); err != nil {
		t.Error(err)
	}
}

func TestOpenCheckpoint(t *testing.T) {
	b := newBook(t)
	b.fill(5)
	head := b.head()
	line := b.key.Verifier()
	witness := newKey(t, "witness")
	cosigned := b.head(witness)
	elsewhere, err := NewKey("elsewhere.example", seeded("elsewhere"))
	if err != nil {
		t.Fatal(err)
	}
	other, err := readKey(elsewhere)
	if err != nil {
		t.Fatal(err)
	}
	text := string(head)
	signature := text[strings.Index(text, "— "):]
	for name, c := range map[string]struct {
		text   string
		pinned string
		want   string
	}{
		"as signed":                     {text, line, ""},
		"cosigned by one not pinned":    {string(cosigned), line, ""},
		"only the cosigner pinned":      {string(cosigned), witness.Verifier(), ""},
		"nothing pinned":                {text, "", "ledger.key-unknown"},
		"another log's key pinned":      {text, other.Verifier(), "ledger.key-unknown"},
		"another size":                  {strings.Replace(text, "\n5\n", "\n6\n", 1), line, "ledger.checkpoint-false"},
		"a size with a zero":            {strings.Replace(text, "\n5\n", "\n05\n", 1), line, "ledger.checkpoint-unreadable"},
		"a size that no log has":        {strings.Replace(text, "\n5\n", "\n9223372036854775808\n", 1), line, "ledger.checkpoint-unreadable"},
		"a line more":                   {strings.Replace(text, "\n\n", "\nmore\n\n", 1), line, "ledger.checkpoint-unreadable"},
		"a paragraph more":              {strings.Replace(text, "\n\n", "\n\nmore\n\n", 1), line, "ledger.checkpoint-unreadable"},
		"another header":                {"go.sum database tree\n" + text[strings.Index(text, "\n")+1:], line, "ledger.checkpoint-unreadable"},
		"unsigned":                      {text[:strings.Index(text, "— ")], line, "ledger.checkpoint-unreadable"},
		"signed twice by the same":      {text + signature, line, "ledger.checkpoint-unreadable"},
		"nothing":                       {"", line, "ledger.checkpoint-unreadable"},
		"too much":                      {strings.Repeat(text, 1000), line, "ledger.checkpoint-unreadable"},
		"signed for another log's name": {string(signAs(t, other, b)), other.Verifier(), "ledger.key-unknown"},
	} {
		t.Run(name, func(t *testing.T) {
			var pinned []string
			if c.pinned != "" {
				pinned = []string{c.pinned}
			}
			got, err := OpenCheckpoint([]byte(c.text), pinned...)
			if c.want != "" {
				if !is(err, c.want) {
					t.Errorf("%v, want %s", err, c.want)
				}
				return
			}
			if err != nil || got.Origin != origin || got.Size != 5 || got.Root != b.edge.Root() || len(got.Keys) != 1 {
				t.Errorf("%+v %v", got, err)
			}
		})
	}
}

// signAs is the checkpoint of a log, signed with the key of another.
func signAs(t *testing.T, k *Key, b *book) []byte {
	t.Helper()
	text, err := k.Checkpoint(b.edge.Size(), b.edge.Root())
	if err != nil {
		t.Fatal(err)
	}
	forged := strings.Replace(string(text), k.Origin()+"\n", origin+"\n", 1)
	signed, err := note.Sign(&note.Note{Text: string(bodyOfNote([]byte(forged)))}, k.signer)
	if err != nil {
		t.Fatal(err)
	}
	return signed
}

func TestConsistencyRefuses(t *testing.T) {
	b := newBook(t)
	b.fill(8)
	for name, c := range map[string][2]int64{"from nothing": {0, 8}, "to the past": {5, 4}, "below nothing": {-1, 8}} {
		if _, err := ProveConsistency(c[0], c[1], b); err == nil {
			t.Errorf("%s: proved", name)
		}
		if err := CheckConsistency(Checkpoint{Size: c[0]}, Checkpoint{Size: c[1]}, nil); err == nil {
			t.Errorf("%s: held", name)
		}
	}
}

func TestVerifierLines(t *testing.T) {
	line := newKey(t, "first key").Verifier()
	name, rest, _ := strings.Cut(line, "+")
	hash, key, _ := strings.Cut(rest, "+")
	v, err := readVerifier("  " + line + "\n")
	if err != nil || v.line != line {
		t.Errorf("%q %v", v.line, err)
	}
	if v, err := readVerifier(name + "+" + strings.ToUpper(hash) + "+" + key); err != nil || v.line != line {
		t.Errorf("in capitals: %q %v", v.line, err)
	}
	for _, bad := range []string{"", "a", name, name + "+" + hash, name + "+00000000+" + key, "other+" + hash + "+" + key} {
		if _, err := readVerifier(bad); !is(err, "ledger.verifier-invalid") {
			t.Errorf("%q: %v", bad, err)
		}
	}
}

func TestFlawsHaveMessages(t *testing.T) {
	all := []Flaw{
		Altered, HashesWrong, Missing, OutOfOrder, Extra, Removed, StillHeld, ErasureWrong, ChangeWrong,
		HeadMissing, HeadUnreadable, HeadFalse, KeyUnknown, KeyRetired, RootWrong, RolledBack, Forked, OutsideFalse,
	}
	text, err := os.ReadFile("../../locales/messages/ledger.en.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range all {
		if !bytes.Contains(text, []byte("\n"+f.Key()+": ")) {
			t.Errorf("no message %s", f.Key())
		}
	}
	if n := bytes.Count(text, []byte("\nledger.flaw.")); n != len(all) {
		t.Errorf("%d messages for %d flaws", n, len(all))
	}
}
