package ledger

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"golang.org/x/mod/sumdb/note"
)

func TestLoadKey(t *testing.T) {
	dir := t.TempDir()
	text, err := NewKey(origin, seeded("first key"))
	if err != nil {
		t.Fatal(err)
	}
	file := func(name string, mode os.FileMode, text []byte) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, text, 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Chmod(path, mode); err != nil {
			t.Fatal(err)
		}
		return path
	}
	good := file("good", 0o600, text)
	link := filepath.Join(dir, "link")
	if err := os.Symlink(good, link); err != nil {
		t.Fatal(err)
	}
	pipe := filepath.Join(dir, "pipe")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct{ path, want string }{
		"for its owner":         {good, ""},
		"for its owner to read": {file("read-only", 0o400, text), ""},
		"by a link":             {link, ""},
		"open to the group":     {file("group", 0o640, text), "ledger.key-file-open"},
		"open to all":           {file("all", 0o604, text), "ledger.key-file-open"},
		"others may write it":   {file("write", 0o602, text), "ledger.key-file-open"},
		"a folder":              {dir, "ledger.key-file-irregular"},
		"a pipe":                {pipe, "ledger.key-file-irregular"},
		"not there":             {filepath.Join(dir, "none"), "ledger.key-file-unreadable"},
		"behind a file":         {filepath.Join(good, "below"), "ledger.key-file-unreadable"},
		"empty":                 {file("empty", 0o600, nil), "ledger.key-file-invalid"},
		"cut short":             {file("short", 0o600, text[:len(text)-5]), "ledger.key-file-invalid"},
		"the public half":       {file("public", 0o600, []byte(newKey(t, "first key").Verifier())), "ledger.key-file-invalid"},
		"much too long":         {file("long", 0o600, bytes.Repeat(text, 10_000)), "ledger.key-file-invalid"},
	} {
		t.Run(name, func(t *testing.T) {
			k, err := LoadKey(c.path)
			if c.want == "" {
				if err != nil || k.Verifier() != newKey(t, "first key").Verifier() || k.Origin() != origin {
					t.Errorf("%+v %v", k, err)
				}
				return
			}
			if !is(err, c.want) {
				t.Errorf("%v, want %s", err, c.want)
			}
			if secret := string(text[len(text)-30 : len(text)-10]); strings.Contains(err.Error(), secret) {
				t.Error("the error tells the key")
			}
		})
	}
}

func TestUnreadableKey(t *testing.T) {
	if os.Getuid() == 0 {
		t.Log("as root every file can be read; a folder that is a file stands for it in TestLoadKey")
		return
	}
	path := filepath.Join(t.TempDir(), "key")
	if err := os.WriteFile(path, nil, 0o200); err != nil {
		t.Fatal(err)
	}
	if _, err := LoadKey(path); !is(err, "ledger.key-file-unreadable") {
		t.Error(err)
	}
}

func TestNewKey(t *testing.T) {
	for _, name := range []string{"", "two words", "a+b", "line\nbreak", "tab\t", "\x00", "\xff", strings.Repeat("a", 201)} {
		if _, err := NewKey(name, seeded("x")); !is(err, "ledger.origin-invalid") {
			t.Errorf("%q: %v", name, err)
		}
	}
	if _, err := NewKey(origin, bytes.NewReader(nil)); err == nil {
		t.Error("a key without randomness")
	}
	for _, name := range []string{"log.example", "log.example/sign-offs", "سجل.example"} {
		text, err := NewKey(name, seeded(name))
		if err != nil {
			t.Fatal(err)
		}
		k, err := readKey(text)
		if err != nil {
			t.Fatal(err)
		}
		checkpoint, err := k.Checkpoint(0, Edge{}.Root())
		if err != nil {
			t.Fatal(err)
		}
		if c, err := OpenCheckpoint(checkpoint, k.Verifier()); err != nil || c.Origin != name {
			t.Errorf("%+v %v", c, err)
		}
	}
}

func TestCheckpointRefuses(t *testing.T) {
	k := newKey(t, "first key")
	text, err := NewKey("elsewhere.example", seeded("elsewhere"))
	if err != nil {
		t.Fatal(err)
	}
	other, err := readKey(text)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := k.Checkpoint(-1, Edge{}.Root()); err == nil {
		t.Error("of a negative size")
	}
	if _, err := k.Checkpoint(0, Edge{}.Root(), other); err == nil {
		t.Error("with another log's key")
	}
	if _, err := k.ChangeTo(other, Edge{}); err == nil {
		t.Error("a change to another log's key")
	}
	if _, err := k.ChangeTo(k, Edge{}); err == nil {
		t.Error("a change to the same key")
	}
}

func TestChangeIsSignedByBoth(t *testing.T) {
	b := newBook(t)
	b.fill(4)
	old, next := b.key, newKey(t, "second key")
	record, err := old.ChangeTo(next, b.edge)
	if err != nil {
		t.Fatal(err)
	}
	c, err := readChange(record)
	if err != nil || c.size != 4 || c.root != b.edge.Root() || c.from.line != old.Verifier() || c.to.line != next.Verifier() {
		t.Fatalf("%+v %v", c, err)
	}
	for name, signers := range map[string][]note.Signer{
		"only by the old": {old.signer}, "only by the new": {next.signer},
		"by the old and another": {old.signer, newKey(t, "foreign").signer},
		"by both and another":    {old.signer, next.signer, newKey(t, "foreign").signer},
		"by both, the new twice": {old.signer, next.signer, next.signer},
	} {
		signed, err := note.Sign(&note.Note{Text: c.text()}, signers...)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := readChange(signed); err == nil {
			t.Errorf("signed %s, and read", name)
		}
	}
	for name, text := range map[string]string{
		"another title": strings.Replace(c.text(), changeTitle, "another title", 1),
		"a zero":        strings.Replace(c.text(), "\n4\n", "\n04\n", 1),
		"another name":  strings.Replace(c.text(), origin, "elsewhere.example", 1),
		"a line more":   c.text() + "more\n",
		"the same key":  strings.Replace(c.text(), next.Verifier(), old.Verifier(), 1),
	} {
		signed, err := note.Sign(&note.Note{Text: text}, old.signer, next.signer)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := readChange(signed); err == nil {
			t.Errorf("%s, and read", name)
		}
	}
	for i := range record {
		bad := bytes.Clone(record)
		bad[i] ^= 1 << (i % 8)
		if _, err := readChange(bad); err == nil {
			t.Errorf("byte %d flipped, and read", i)
		}
	}
}
