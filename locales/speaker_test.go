package locales

import (
	"errors"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"lampwright/locales/problem"
)

func load(t testing.TB) *Bundle {
	t.Helper()
	b, err := Load()
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// spoken makes a bundle of the texts of an English and an Arabic file.
func spoken(t testing.TB, english, arabic string) *Bundle {
	t.Helper()
	b := &Bundle{voices: map[string]*voice{}}
	for tag, text := range map[string]string{"en": english, "ar": arabic} {
		l, messages, err := readMessages("test."+tag+".yaml", []byte(text))
		if err != nil {
			t.Fatal(err)
		}
		byKey := map[string]message{}
		for _, m := range messages {
			byKey[m.key] = m
		}
		if b.voices[tag], err = newVoice(l, byKey); err != nil {
			t.Fatal(err)
		}
	}
	return b
}

const (
	english = `
test.plain: "Plain"
test.name: "Hello {{.Name}}, {{.Name}} is {{.What}}."
test.lamps: {one: "{{.Count}} lamp", other: "{{.Count}} lamps"}
test.english: "Only English"
test.english-name: "Only English, {{.Name}}"
`
	arabic = `
test.plain: "سهل"
test.name: "مرحبا {{.Name}} {{.What}}"
test.lamps: {zero: "zero", one: "one", two: "two", few: "few {{.Count}}", many: "many {{.Count}}", other: "other {{.Count}}"}
`
)

func TestPick(t *testing.T) {
	for _, c := range []struct {
		preferred []string
		want      string
	}{
		{nil, "en"},
		{[]string{""}, "en"},
		{[]string{"ar"}, "ar"},
		{[]string{"ar-EG"}, "ar"},
		{[]string{"", "es-MX, ar;q=0.8, en;q=0.5"}, "ar"},
		{[]string{"", "en;q=0.5, ar;q=0.9"}, "ar"},
		{[]string{"en", "ar"}, "en"},
		{[]string{"xx", "ar"}, "ar"},
		{[]string{"de", "es"}, "en"},
		{[]string{"*", "ar"}, "ar"},
		{[]string{"und", "ar"}, "ar"},
		{[]string{"\x00;;q=?", "ar"}, "ar"},
		{[]string{strings.Repeat("a-", 9000), "ar"}, "ar"},
	} {
		if got := Pick(c.preferred...); got.Tag != c.want {
			t.Errorf("%.60q: %s, want %s", c.preferred, got.Tag, c.want)
		}
	}
}

func TestSpeakerSays(t *testing.T) {
	b := spoken(t, english, arabic)
	b.Report = func(err error) { t.Error(err) }
	en, ar := b.Speak("en"), b.Speak("ar")
	for _, c := range []struct{ got, want string }{
		{en.T("test.plain"), "Plain"},
		{en.T("test.plain", "Unasked", 1), "Plain"},
		{en.T("test.name", "Name", "Chair 12", "What", 1234567.5), "Hello Chair 12, Chair 12 is 1234567.5."},
		{en.T("test.lamps", "Count", 0), "0 lamps"},
		{en.T("test.lamps", "Count", 1), "1 lamp"},
		{en.T("test.lamps", "Count", int64(1)), "1 lamp"},
		{en.T("test.lamps", "Count", uint8(2)), "2 lamps"},
		{en.T("test.lamps", "Count", 1.5), "1.5 lamps"},
		{en.T("test.lamps", "Count", float32(0.1)), "0.1 lamps"},
		{en.T("test.lamps", "Count", "1"), "1 lamp"},
		{ar.T("test.plain"), "سهل"},
		{ar.T("test.lamps", "Count", 0), "zero"},
		{ar.T("test.lamps", "Count", 1), "one"},
		{ar.T("test.lamps", "Count", 2), "two"},
		{ar.T("test.lamps", "Count", 3), "few 3"},
		{ar.T("test.lamps", "Count", 11), "many 11"},
		{ar.T("test.lamps", "Count", 100), "other 100"},
		{ar.T("test.lamps", "Count", 1.5), "other \u20681.5\u2069"},
		{ar.T("test.name", "Name", "3.5 V", "What", "الكرسي"), "مرحبا \u20683.5 V\u2069 الكرسي"},
		{ar.T("test.name", "Name", "555-0100", "What", 12), "مرحبا \u2068555-0100\u2069 12"},
		{b.Speak("xx").T("test.plain"), "Plain"},
		{b.Speak("ar").Dir, "rtl"},
		{Speaker{}.T("test.plain"), "test.plain"},
	} {
		if c.got != c.want {
			t.Errorf("said %q, want %q", c.got, c.want)
		}
	}
}

func TestSpeakerFallsBack(t *testing.T) {
	b := spoken(t, english, arabic)
	var reports []error
	b.Report = func(err error) { reports = append(reports, err) }
	en, ar := b.Speak("en"), b.Speak("ar")
	for _, c := range []struct {
		s     Speaker
		key   string
		pairs []any
		want  string
	}{
		{ar, "test.english", nil, "Only English"},
		{ar, "test.english-name", []any{"Name", "Chair 12"}, "Only English, Chair 12"},
		{ar, "test.none", nil, "test.none"},
		{en, "test.none", nil, "test.none"},
		{en, "test.name", []any{"Name", "x"}, "test.name"},
		{en, "test.name", []any{"Name", "x", "What"}, "test.name"},
		{en, "test.name", []any{"Name", "x", "What", nil}, "test.name"},
		{ar, "test.name", []any{"Name", "x"}, "test.name"},
		{en, "test.lamps", nil, "test.lamps"},
		{en, "test.lamps", []any{"Count", "many"}, "test.lamps"},
		{en, "test.lamps", []any{"Count", []int{1}}, "test.lamps"},
		{en, "test.lamps", []any{[]int{1}, 1, 2, 3}, "test.lamps"},
	} {
		reports = nil
		if got := c.s.T(c.key, c.pairs...); got != c.want {
			t.Errorf("%s with %v: said %q, want %q", c.key, c.pairs, got, c.want)
		}
		if len(reports) == 0 {
			t.Errorf("%s with %v: not reported", c.key, c.pairs)
		}
	}
	reports = nil
	ar.T("test.none")
	if len(reports) != 2 || !errors.Is(reports[0], errNoMessage) || !strings.Contains(reports[0].Error(), "test.none in ar") {
		t.Errorf("reported %v", reports)
	}
	b.Report = nil
	if got := ar.T("test.none"); got != "test.none" {
		t.Errorf("said %q", got)
	}
}

func TestSpeakerSaysProblems(t *testing.T) {
	b := load(t)
	b.Report = func(err error) { t.Error(err) }
	s := b.Speak("en")
	p := problem.New(problem.Invalid, "problem.value", "Field", "rating", "Value", 12, "Expected", "1 to 9")
	if got, want := s.Problem(p), "rating: 12 cannot be right; expected 1 to 9."; got != want {
		t.Errorf("said %q, want %q", got, want)
	}
	if s.Problem(nil) != s.T("problem.internal") || s.Problem(problem.Of(errors.New("x"))) != s.T("problem.internal") {
		t.Error("a problem of ours is not said as one")
	}
}

// The forms we demand of a plural message are those the library's CLDR rules
// choose among.
func TestFormsAreTheLanguages(t *testing.T) {
	for _, l := range Languages {
		m := message{key: "test.forms", plural: true, texts: map[string]string{}}
		for _, form := range []string{"zero", "one", "two", "few", "many", "other"} {
			m.texts[form] = form
		}
		v, err := newVoice(l, map[string]message{m.key: m})
		if err != nil {
			t.Fatal(err)
		}
		chosen := map[string]bool{}
		for n := range 1001 {
			for _, count := range []string{strconv.Itoa(n), strconv.Itoa(n) + ".5", "1000000"} {
				form, err := v.say(m.key, []any{"Count", count})
				if err != nil {
					t.Fatal(err)
				}
				chosen[form] = true
			}
		}
		for form := range m.texts {
			if want := slices.Contains(forms[l.Tag], form); chosen[form] != want {
				t.Errorf("%s: form %s chosen %v, demanded %v", l.Tag, form, chosen[form], want)
			}
		}
	}
}

// Whatever is passed, something is said, and nothing panics.
func TestSpeakerNeverFails(t *testing.T) {
	b := spoken(t, english, arabic)
	keys := []string{"test.plain", "test.name", "test.lamps", "test.english-name", "test.none", ""}
	rapid.Check(t, func(t *rapid.T) {
		s := b.Speak(rapid.SampledFrom([]string{"en", "ar", ""}).Draw(t, "tag"))
		key := rapid.SampledFrom(keys).Draw(t, "key")
		value := rapid.OneOf(rapid.String().AsAny(), rapid.Float64().AsAny(), rapid.Int().AsAny(), rapid.Uint64().AsAny(),
			rapid.Just[any](nil), rapid.Just[any]((*problem.Problem)(nil)),
			rapid.SampledFrom([]string{"NaN", "1e300", "-0", "1.", ".5", "0x1p4", "1_000", "+1", "-", "1e5", "99999999999999999999", "1.99999999999999999999"}).AsAny())
		name := rapid.OneOf(rapid.SampledFrom([]string{"Name", "Count", "What"}).AsAny(), rapid.Int().AsAny())
		var pairs []any
		for range rapid.IntRange(0, 4).Draw(t, "pairs") {
			pairs = append(pairs, name.Draw(t, "name"), value.Draw(t, "value"))
		}
		if got := s.T(key, pairs...); got == "" && key != "" {
			t.Fatal("nothing was said")
		}
	})
}

func BenchmarkT(b *testing.B) {
	bundle := spoken(b, english, arabic)
	for _, s := range []Speaker{bundle.Speak("en"), bundle.Speak("ar")} {
		b.Run(s.Tag+"/plain", func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				s.T("test.plain")
			}
		})
		b.Run(s.Tag+"/values", func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				s.T("test.name", "Name", "Chair 12", "What", 3)
			}
		})
		b.Run(s.Tag+"/plural", func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				s.T("test.lamps", "Count", 12)
			}
		})
	}
}
