package credential

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"flag"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"lampwright/locales"
	"lampwright/locales/problem"
)

var update = flag.Bool("update", false, "write the golden files anew; then look at them")

// at is when things happen here, with a fraction of a second on purpose.
var at = time.Date(2026, 3, 2, 14, 5, 6, 789e6, time.UTC)

var signed = Signed{
	ID: "q3k7wz2m5xv4n6b8", Address: "https://alder-bay.example/verify/q3k7wz2m5xv4n6b8",
	Competency: "power-sources", Title: "Power sources", SetupTag: "Chair 12", SetupVersion: "5d41402abc4b2a76",
	At: at, Lapses: time.Date(2027, 3, 3, 8, 0, 0, 0, time.UTC),
}

var alderBay = Issuer{
	URL: "https://alder-bay.example", Name: "Alder Bay Home Breathing Service", Keys: "https://alder-bay.example/keys.json",
}

// spoken is every message; one that cannot be said fails loudly.
var spoken = sync.OnceValue(func() *locales.Bundle {
	b, err := locales.Load()
	if err != nil {
		panic(err)
	}
	b.Report = func(err error) { panic(err) }
	return b
})

func english() locales.Speaker { return spoken().Speak("en") }

// refused checks that an error is a problem with a key, which can be said in
// every language, and gives what it names.
func refused(t testing.TB, err error, key string) map[string]any {
	t.Helper()
	p := problem.Of(err)
	if err == nil || p.Key != key {
		t.Fatalf("got %v, expected %s", err, key)
	}
	for _, l := range locales.Languages {
		spoken().Speak(l.Tag).Problem(p)
	}
	return p.Data
}

func newKey(t testing.TB) *ecdsa.PrivateKey {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	return key
}

func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, got, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != string(want) {
		t.Errorf("%s has changed:\n%s", path, got)
	}
}

// The name-based example of RFC 9562, A.4, from memory; github.com/google/uuid
// gives the same.
func TestUUID(t *testing.T) {
	dns := [16]byte{0x6b, 0xa7, 0xb8, 0x10, 0x9d, 0xad, 0x11, 0xd1, 0x80, 0xb4, 0x00, 0xc0, 0x4f, 0xd4, 0x30, 0xc8}
	if got := uuid5(dns, "www.example.com"); got != "2ed6657d-e927-568b-95e1-2665a8aea6a2" {
		t.Errorf("got %s", got)
	}
	if uuid("a", "b") == uuid("ab") || uuid("a", "b") == uuid("a\x00", "b") {
		t.Error("other words, the same UUID")
	}
}
