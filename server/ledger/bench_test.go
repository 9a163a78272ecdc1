package ledger

import (
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/tlog"
)

var record = slices.Repeat([]byte(`{"a":1}`), 80) // as long as a sign-off's

func BenchmarkAppend(b *testing.B) {
	random := seeded("salts")
	var edge Edge
	b.ReportAllocs()
	for b.Loop() {
		_, next, err := edge.Append("sign-off", noon, record, random)
		if err != nil {
			b.Fatal(err)
		}
		edge = next
	}
}

func BenchmarkAppendAndSign(b *testing.B) {
	random, key := seeded("salts"), newKey(b, "first key")
	var edge Edge
	b.ReportAllocs()
	for b.Loop() {
		_, next, err := edge.Append("sign-off", noon, record, random)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := key.Checkpoint(next.Size(), next.Root()); err != nil {
			b.Fatal(err)
		}
		edge = next
	}
}

// large is a log of a million entries, of which only the hashes are kept, and
// each of a few entries.
var large = sync.OnceValue(func() (l struct {
	hashes []tlog.Hash
	kept   []Entry
	edge   Edge
},
) {
	const size = 1_000_000
	random := seeded("salts")
	l.hashes = make([]tlog.Hash, 0, 2*size)
	for i := range size {
		e, next, err := l.edge.Append("sign-off", noon, record, random)
		if err != nil {
			panic(err)
		}
		for h := range slices.Chunk(e.Hashes, tlog.HashSize) {
			l.hashes = append(l.hashes, tlog.Hash(h))
		}
		if l.edge = next; i%9973 == 0 {
			l.kept = append(l.kept, e)
		}
	}
	return l
})

func BenchmarkProve(b *testing.B) {
	l, key := large(), newKey(b, "first key")
	head, err := key.Checkpoint(l.edge.Size(), l.edge.Root())
	if err != nil {
		b.Fatal(err)
	}
	r := tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		hashes := make([]tlog.Hash, 0, len(indexes))
		for _, i := range indexes {
			hashes = append(hashes, l.hashes[i])
		}
		return hashes, nil
	})
	var times []time.Duration
	var file []byte
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		start := time.Now()
		if file, err = Prove(head, r, l.kept[i%len(l.kept)]); err != nil {
			b.Fatal(err)
		}
		times = append(times, time.Since(start))
	}
	slices.Sort(times)
	b.ReportMetric(float64(times[len(times)*99/100].Nanoseconds()), "ns-p99")
	if _, err := VerifyProof(file, key.Verifier()); err != nil {
		b.Fatal(err)
	}
}

func BenchmarkVerifyProof(b *testing.B) {
	k := newBook(b)
	k.fill(1000)
	file, err := Prove(k.head(), k, k.rows[500])
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := VerifyProof(file, k.key.Verifier()); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkAudit(b *testing.B) {
	for _, size := range []int64{1000, 100_000} {
		b.Run(fmt.Sprint(size), func(b *testing.B) {
			k := newBook(b)
			for k.edge.Size() < size {
				k.add("sign-off", record)
			}
			head := k.head()
			for b.Loop() {
				if found, err := Audit(each(k.rows), head, []string{k.key.Verifier()}, nil); err != nil || len(found) > 0 {
					b.Fatal(found, err)
				}
			}
		})
	}
}
