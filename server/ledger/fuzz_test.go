package ledger

import (
	"bytes"
	"slices"
	"testing"
)

// What is accepted must be what was signed: a fuzzer has no key.

func FuzzVerifyProof(f *testing.F) {
	b := newBook(f)
	b.fill(9)
	var good [][]byte
	for _, e := range b.rows {
		file, err := Prove(b.head(), b, e)
		if err != nil {
			f.Fatal(err)
		}
		good = append(good, file)
		f.Add(file)
	}
	f.Add([]byte("c2sp.org/tlog-proof@v1\nindex 0\n\n"))
	f.Add([]byte("c2sp.org/tlog-proof@v1\nextra e30=\nindex 0\n\nlog.example\n1\nAA==\n\n— a b\n"))
	f.Fuzz(func(t *testing.T, file []byte) {
		got, err := VerifyProof(file, b.key.Verifier())
		if err != nil {
			return
		}
		if len(got.Checkpoint.Unknown) == 0 && !slices.ContainsFunc(good, func(g []byte) bool { return bytes.Equal(g, file) }) {
			t.Errorf("accepted %q", file)
		}
		if e := b.rows[got.Index]; !bytes.Equal(e.Record, got.Record) || e.Kind != got.Kind || !e.At.Equal(got.At) {
			t.Errorf("proved %+v", got)
		}
	})
}

func FuzzOpenCheckpoint(f *testing.F) {
	b := newBook(f)
	b.fill(3)
	one := b.head()
	two := b.head(newKey(f, "second key"))
	f.Add(one)
	f.Add(two)
	f.Add([]byte("log.example\n5\nAA==\n\n— log.example AAAAAAA=\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		c, err := OpenCheckpoint(text, b.key.Verifier())
		if err == nil && (c.Origin != origin || c.Size != 3 || c.Root != b.edge.Root() || len(c.Keys) != 1) {
			t.Errorf("%q: %+v", text, c)
		}
	})
}

func FuzzReadKey(f *testing.F) {
	for _, name := range []string{origin, "log.example"} {
		text, err := NewKey(name, seeded(name))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text)
	}
	f.Add([]byte("PRIVATE+KEY+a+00000000+AQ=="))
	f.Fuzz(func(t *testing.T, text []byte) {
		k, err := readKey(text)
		if err != nil {
			return
		}
		checkpoint, err := k.Checkpoint(0, Edge{}.Root())
		if err != nil {
			t.Fatal(err)
		}
		if _, err := OpenCheckpoint(checkpoint, k.Verifier()); err != nil {
			t.Errorf("%q signs what its verifier %q refuses: %v", text, k.Verifier(), err)
		}
	})
}

func FuzzReadVerifier(f *testing.F) {
	f.Add(newKey(f, "first key").Verifier())
	f.Add("a+00000000+AQ==")
	f.Fuzz(func(t *testing.T, line string) {
		v, err := readVerifier(line)
		if err != nil {
			return
		}
		if again, err := readVerifier(v.line); err != nil || again.line != v.line {
			t.Errorf("%q is %q is %q (%v)", line, v.line, again.line, err)
		}
	})
}

func FuzzReadErased(f *testing.F) {
	b := newBook(f)
	b.fill(5)
	record, err := ErasedRecord(b.rows[1:4]...)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(record)
	f.Add([]byte(`{"erased":[]}`))
	f.Add([]byte(`{"erased":[{"index":1,"body":"AA=="}]}`))
	f.Fuzz(func(t *testing.T, record []byte) {
		named, err := readErased(record)
		if err != nil {
			return
		}
		for i, e := range named {
			if e.Index < 0 || len(e.Body) != 32 || i > 0 && e.Index <= named[i-1].Index {
				t.Errorf("%q: %+v", record, named)
			}
		}
	})
}

func FuzzReadChange(f *testing.F) {
	b := newBook(f)
	b.fill(5)
	next := newKey(f, "second key")
	record, err := b.key.ChangeTo(next, b.edge)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(record)
	f.Fuzz(func(t *testing.T, record []byte) {
		c, err := readChange(record)
		if err == nil && (c.size != 5 || c.root != b.edge.Root() || c.from.line != b.key.Verifier() || c.to.line != next.Verifier()) {
			t.Errorf("%q: %+v", record, c)
		}
	})
}
