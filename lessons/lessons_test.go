package lessons_test

import (
	"errors"
	"io/fs"
	"math"
	"os"
	"regexp"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/goccy/go-yaml"

	"lampwright/lessons"
	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
	"lampwright/locales/problem"
)

func load(t *testing.T) *lessons.Catalogue {
	t.Helper()
	c, err := lessons.Load()
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func demos(t *testing.T) []*setup.Setup {
	t.Helper()
	var all []*setup.Setup
	for _, name := range setup.DemoNames {
		s, err := setup.Demo(name)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, s)
	}
	return all
}

// The content as a tree that a test may change.
func tree(t *testing.T) fstest.MapFS {
	t.Helper()
	m := fstest.MapFS{}
	root := os.DirFS("content")
	err := fs.WalkDir(root, ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := fs.ReadFile(root, path)
		m[path] = &fstest.MapFile{Data: data}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func change(t *testing.T, m fstest.MapFS, path, old, new string) {
	t.Helper()
	text := string(m[path].Data)
	if !strings.Contains(text, old) {
		t.Fatalf("%s has no %q", path, old)
	}
	m[path] = &fstest.MapFile{Data: []byte(strings.Replace(text, old, new, 1))}
}

func TestOrder(t *testing.T) {
	if got := strings.Join(load(t).IDs(), " "); got != "person-first three-sources your-panel chain simple-causes joints the-fuse the-plug stop-and-call when-it-stops before-you-go-out power-cut" {
		t.Error(got)
	}
}

// LoadFS holds English to its limits; here they are seen to hold in every language.
func TestEveryLessonIsTranslatedAndShort(t *testing.T) {
	c := load(t)
	tags, digits := regexp.MustCompile(`<[^>]*>`), regexp.MustCompile(`\d{2,}`)
	for _, id := range append(c.IDs(), lessons.StoppedID) {
		for _, language := range []string{"en", "fr", "ar"} {
			l, ok := c.Lesson(id, language)
			if !ok || l.Notice != "" || l.Language != language || l.Title == "" {
				t.Errorf("%s in %s: %v, notice %q", id, language, ok, l.Notice)
			}
			if want := map[string]string{"en": "ltr", "fr": "ltr", "ar": "rtl"}[language]; l.Dir != want {
				t.Errorf("%s in %s reads %s", id, language, l.Dir)
			}
			for _, card := range l.Cards {
				text := tags.ReplaceAllString(card.HTML, " ")
				most := lessons.MostCardWords
				if language == "fr" {
					most += most / 5 // it says the same in more words
				}
				if n := len(lessons.Words(card.Title + " " + text)); n > most {
					t.Errorf("%s %s in %s: %d words", id, card.ID, language, n)
				}
				if digits.MatchString(text) {
					t.Errorf("%s %s in %s: a number, perhaps of a phone", id, card.ID, language)
				}
			}
		}
	}
}

func TestNeverBlank(t *testing.T) {
	c := load(t)
	if l, ok := c.Lesson("three-sources", "es"); !ok || l.Notice != lessons.Missing || l.Language != "en" || len(l.Cards) == 0 {
		t.Errorf("no Spanish: %v %q %q", ok, l.Notice, l.Language)
	}
	if _, ok := c.Lesson("none-such", "en"); ok {
		t.Error("a lesson that is not there")
	}
	for name, tt := range map[string]struct {
		change func(fstest.MapFS)
		notice lessons.Notice
	}{
		"no file":         {func(m fstest.MapFS) { delete(m, "ar/three-sources.md") }, lessons.Missing},
		"a draft":         {func(m fstest.MapFS) { change(t, m, "ar/three-sources.md", "status: reviewed", "status: draft") }, lessons.Missing},
		"English changed": {func(m fstest.MapFS) { change(t, m, "en/three-sources.md", "You are out.", "You go out.") }, lessons.Outdated},
	} {
		m := tree(t)
		tt.change(m)
		c, err := lessons.LoadFS(m)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		l, ok := c.Lesson("three-sources", "ar")
		if !ok || l.Notice != tt.notice || l.Language != "en" || l.Dir != "ltr" || l.Cards[0].HTML == "" {
			t.Errorf("%s: %v %q %q %q", name, ok, l.Notice, l.Language, l.Dir)
		}
	}
}

func TestVersionFollowsEnglish(t *testing.T) {
	m := tree(t)
	before, _ := load(t).Lesson("three-sources", "en")
	for path, file := range m {
		m[path] = &fstest.MapFile{Data: []byte(strings.ReplaceAll(string(file.Data), "\n", "\r\n"))}
	}
	c, err := lessons.LoadFS(m)
	if err != nil {
		t.Fatal(err)
	}
	if l, _ := c.Lesson("three-sources", "ar"); c.Version() != load(t).Version() || l.Version != before.Version {
		t.Error("line endings change the version")
	}
	change(t, m, "en/three-sources.md", "You are out.", "You go out.")
	c, err = lessons.LoadFS(m)
	if err != nil {
		t.Fatal(err)
	}
	if after, _ := c.Lesson("three-sources", "en"); c.Version() == load(t).Version() || after.Version == before.Version {
		t.Error("a changed text keeps its version")
	}
}

// Every figure, on every demo set-up, shows a state that can be solved.
func TestFiguresSolve(t *testing.T) {
	c := load(t)
	for _, id := range append(c.IDs(), lessons.StoppedID) {
		l, _ := c.Lesson(id, "ar")
		for _, s := range demos(t) {
			figures := []lessons.Figure{}
			for _, card := range l.On(s).Cards {
				figures = append(figures, card.Figure)
			}
			if l.Question != nil {
				figures = append(figures, l.Question.Figure)
			}
			for _, f := range figures {
				conditions, err := f.Conditions(s)
				if err != nil {
					t.Fatal(err)
				}
				state, err := circuit.Solve(s, conditions)
				if err != nil {
					t.Fatal(err)
				}
				if id == lessons.StoppedID && state.Source != setup.None {
					t.Errorf("%s: the stopped ventilator runs on %s", s.Tag, state.Source)
				}
			}
		}
	}
}

// What the worked cards say of the panel is what the panel shows, everywhere.
func TestCardsSayWhatTheirFiguresShow(t *testing.T) {
	c := load(t)
	for _, tt := range []struct {
		lesson, card string
		want         setup.Source
	}{
		{"person-first", "ask-too", setup.Mains},
		{"person-first", "next-steps", setup.None},
		{"three-sources", "at-home", setup.Mains},
		{"three-sources", "on-the-chair", setup.Chair},
		{"three-sources", "your-turn", setup.Internal},
		{"three-sources", "source-first", setup.Mains},
		{"your-panel", "three-steps", setup.Mains},
		{"your-panel", "no-lamp", setup.Internal},
		{"your-panel", "small-change", setup.Internal},
		{"stop-and-call", "stop-here", setup.Mains},
		{"stop-and-call", "not-trusted", setup.Mains},
		{"chain", "follow", setup.Chair},
		{"chain", "your-turn", setup.Mains},
		{"simple-causes", "another-outlet", setup.Mains},
		{"joints", "half-home", setup.Mains},
		{"joints", "leave-it", setup.Mains},
		{"the-fuse", "read-it", setup.Mains},
		{"the-fuse", "never-change", setup.Mains},
		{"the-plug", "push-on-mains", setup.Mains},
		{"the-plug", "push-when-out", setup.Internal},
		{"the-plug", "close-the-gap", setup.Mains},
		{"when-it-stops", "it-stops", setup.None},
		{"when-it-stops", "alone", setup.None},
		{"when-it-stops", "runs-again", setup.Mains},
		{"before-you-go-out", "adapter-out", setup.Chair},
		{"before-you-go-out", "change-lead", setup.Chair},
		{"power-cut", "chair-takes-over", setup.Chair},
		{"power-cut", "on-internal", setup.Internal},
		{"power-cut", "to-the-chair", setup.Chair},
		{"power-cut", "your-turn", setup.Internal},
		{"power-cut", "power-back", setup.Mains},
	} {
		l, _ := c.Lesson(tt.lesson, "en")
		found := false
		for _, card := range l.Cards {
			if card.ID != tt.card {
				continue
			}
			found = true
			for _, s := range demos(t) {
				if !card.Applies(s) {
					continue
				}
				conditions, err := card.Figure.Conditions(s)
				if err != nil {
					t.Fatal(err)
				}
				if state, err := circuit.Solve(s, conditions); err != nil || state.Source != tt.want {
					t.Errorf("%s %s on %s: %s, %v", tt.lesson, tt.card, s.Tag, state.Source, err)
				}
			}
		}
		if !found {
			t.Errorf("%s has no card %s", tt.lesson, tt.card)
		}
	}
}

// With the cord half home, two inlets leave the chair carrying, one does not.
func TestKeys(t *testing.T) {
	c := load(t)
	for _, tt := range []struct{ lesson, heron, plover, dunlin string }{
		{"person-first", "person", "person", "person"},
		{"three-sources", "internal", "internal", "internal"},
		{"your-panel", "chair", "internal", "chair"},
		{"stop-and-call", "call", "call", "call"},
		{"chain", "lead", "lead", "lead"},
		{"simple-causes", "outlet", "outlet", "outlet"},
		{"joints", "half-home", "half-home", "half-home"},
		{"the-fuse", "technologist", "technologist", "technologist"},
		{"the-plug", "you", "you", "you"},
		{"when-it-stops", "person", "person", "person"},
		{"before-you-go-out", "stay", "stay", "stay"},
		{"power-cut", "internal", "internal", "internal"},
	} {
		l, _ := c.Lesson(tt.lesson, "en")
		for _, s := range demos(t) {
			want := map[string]string{"Heron": tt.heron, "Plover": tt.plover, "Dunlin": tt.dunlin}[s.Ventilator.Model]
			if got, err := l.Question.Key(s); err != nil || got != want {
				t.Errorf("%s on %s: %q, %v", tt.lesson, s.Tag, got, err)
			}
		}
	}
}

func TestKeyRefuses(t *testing.T) {
	s := demos(t)[0]
	for name, q := range map[string]lessons.Question{
		"the answer is not offered": {Ask: lessons.AskSource, Options: []string{"mains", "none"}},
		"an ask nobody knows":       {Ask: "colour", Options: []string{"red"}},
		"a fault it cannot have":    {Ask: lessons.AskSource, Figure: lessons.Figure{Faults: []string{"fuse=asleep"}}, Options: []string{"mains"}},
	} {
		if key, err := q.Key(s); !problem.Is(err, problem.Invalid) {
			t.Errorf("%s: %q, %v", name, key, err)
		}
	}
}

// A set-up may call its only fuse something else.
func TestFigureFindsPartsByKind(t *testing.T) {
	s := demos(t)[0]
	for i := range s.Chain {
		if s.Chain[i].Fuse != nil {
			s.Chain[i].ID = "main-fuse"
		}
	}
	f := lessons.Figure{Kind: lessons.CloseUp, Part: "fuse", Faults: []string{"fuse=blown"}}
	if on := f.On(s); on.Part != "main-fuse" || on.Faults[0] != "main-fuse=blown" || f.Faults[0] != "fuse=blown" {
		t.Errorf("%+v of %+v", on, f)
	}
	if _, err := f.Conditions(s); err != nil {
		t.Error(err)
	}
}

func TestRefuses(t *testing.T) {
	for name, c := range map[string]struct{ path, old, new, want string }{
		"unknown key":             {"en/three-sources.md", "order: 2", "order: 2\nhue: red", "en/three-sources.md:4: "},
		"unknown key in a figure": {"en/three-sources.md", "{kind: chain, mains: false}", "{kind: chain, hue: red}", "en/three-sources.md:6: "},
		"unknown objective":       {"en/three-sources.md", "objective: name-sources", "objective: sing", `en/three-sources.md:6: got "sing", expected one of person-first`},
		"missing card":            {"en/three-sources.md", "## at-home", "## elsewhere", "en/three-sources.md:7: got no text for card"},
		"card without its id":     {"en/three-sources.md", "## at-home", "## elsewhere", `en/three-sources.md:29: got card "elsewhere"`},
		"bad kind of figure":      {"en/three-sources.md", "kind: chain", "kind: cartoon", `en/three-sources.md:6: got "cartoon", expected panel, chain, close-up, chair-back, person or packed`},
		"bad fault":               {"en/three-sources.md", "fuse=blown", "fuse=asleep", "en/three-sources.md:9: "},
		"bad part":                {"en/stop-and-call.md", "part: fuse", "part: flux", "en/stop-and-call.md:7: "},
		"part without close-up":   {"en/three-sources.md", "{kind: chain,", "{kind: chain, part: fuse,", "en/three-sources.md:6: "},
		"id is not the file's":    {"en/three-sources.md", "id: three-sources", "id: two-sources", "en/three-sources.md:2: "},
		"same order":              {"en/three-sources.md", "order: 2", "order: 3", "en/your-panel.md:3: "},
		"no title":                {"en/three-sources.md", "title: The three sources", "title:", "en/three-sources.md:4: "},
		"no front matter":         {"en/three-sources.md", "---\nid", "id", "en/three-sources.md:1: "},
		"no question":             {"en/three-sources.md", "question:\n  ask: source\n  figure: {kind: panel, faults: [\"joint-battery=open\"], mains: false}\n  options: [mains, internal, chair, none]\n", "", "en/three-sources.md:1: "},
		"answer not offered":      {"en/three-sources.md", "options: [mains, internal,", "options: [mains,", "en/three-sources.md:12: "},
		"unknown option":          {"en/three-sources.md", "[mains, internal,", "[sun, internal,", "en/three-sources.md:14: "},
		"same option twice":       {"en/three-sources.md", "[mains, internal,", "[internal, internal,", "en/three-sources.md:14: "},
		"raw HTML":                {"en/three-sources.md", "You are out.", "You are <b>out</b>.", "en/three-sources.md:39: got RawHTML"},
		"HTML block":              {"en/three-sources.md", "You are out.", "<div>\n", "en/three-sources.md:39: got HTMLBlock"},
		"image":                   {"en/three-sources.md", "You are out.", "![x](y.png)", "en/three-sources.md:39: got Image"},
		"link":                    {"en/three-sources.md", "You are out.", "[x](https://x.example)", "en/three-sources.md:39: got a link to https"},
		"unknown line":            {"en/stopped.md", "line:emergency", "line:pizza", "en/stopped.md:14: got a link to line:pizza"},
		"another heading":         {"en/three-sources.md", "You are out.", "#### Out\n", "en/three-sources.md:39: got another heading"},
		"long sentence":           {"en/three-sources.md", "You are out.", "You are out and about and up and down and here and there and very far.", "en/three-sources.md:35: got 16"},
		"hard words":              {"en/stopped.md", "Use the second ventilator.", "Institutionalised compartmentalisation. Electroencephalographically. Incomprehensibility.", "en/stopped.md:1: got grade"},
		"tag":                     {"en/three-sources.md", "order: 2", "order: !!int 2", "en/three-sources.md:3: got Tag, expected plain values"},
		"translation's card":      {"ar/three-sources.md", "## at-home", "## elsewhere", "ar/three-sources.md:"},
		"translation's status":    {"ar/three-sources.md", "status: reviewed", "status: fine", "ar/three-sources.md:5: "},
		"translation's source":    {"ar/three-sources.md", "source: ", "source: # ", "ar/three-sources.md:4: "},
		"translation's key":       {"ar/three-sources.md", "status: ", "order: 1\nstatus: ", "ar/three-sources.md:5: "},
	} {
		m := tree(t)
		change(t, m, c.path, c.old, c.new)
		_, err := lessons.LoadFS(m)
		if err == nil || !problem.Is(err, problem.Invalid) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v\nwant %s", name, err, c.want)
		}
	}
}

func TestAllProblemsAreJoined(t *testing.T) {
	m := tree(t)
	change(t, m, "en/three-sources.md", "objective: name-sources", "objective: sing")
	change(t, m, "en/your-panel.md", "kind: panel", "kind: cartoon")
	m["ar/nowhere.md"] = &fstest.MapFile{Data: []byte("---\nid: nowhere\n---\n")}
	m["en/notes.txt"] = &fstest.MapFile{Data: []byte("notes")}
	_, err := lessons.LoadFS(m)
	for _, want := range []string{"en/three-sources.md:6: ", "en/your-panel.md:6: ", "ar/nowhere.md:1: ", "en/notes.txt:1: "} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("nothing of %s in %v", want, err)
		}
	}
	if _, err := lessons.LoadFS(fstest.MapFS{}); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("no content at all: %v", err)
	}
}

func TestPhoneLines(t *testing.T) {
	l, _ := load(t).Lesson(lessons.StoppedID, "en")
	bare := `<span class="line" data-line="emergency">emergency number</span>`
	if !strings.Contains(l.Cards[0].HTML, bare) {
		t.Fatal(l.Cards[0].HTML)
	}
	with := l.WithLines(map[string]string{"emergency": "555-0100 <&"})
	if want := `emergency number <bdi dir="ltr">555-0100 &lt;&amp;</bdi></span>`; !strings.Contains(with.Cards[0].HTML, want) {
		t.Error(with.Cards[0].HTML)
	}
	if again, _ := load(t).Lesson(lessons.StoppedID, "en"); !strings.Contains(again.Cards[0].HTML, bare) || !strings.Contains(l.Cards[0].HTML, bare) {
		t.Error("filling in changes the lesson itself")
	}
	if none := l.WithLines(nil); none.Cards[0].HTML != l.Cards[0].HTML {
		t.Error("without numbers the words stand alone")
	}
}

// Every option of every question explains itself, in both languages.
func TestMessages(t *testing.T) {
	c := load(t)
	for _, language := range []string{"en", "fr", "ar"} {
		data, err := os.ReadFile("../locales/messages/lessons." + language + ".yaml")
		if err != nil {
			t.Fatal(err)
		}
		var messages map[string]string
		if err := yaml.Unmarshal(data, &messages); err != nil {
			t.Fatal(err)
		}
		keys := []string{"problem.lesson", "lessons.notice.missing", "lessons.notice.outdated"}
		for _, o := range lessons.Objectives {
			keys = append(keys, "lessons.objective."+o)
		}
		for _, id := range c.IDs() {
			l, _ := c.Lesson(id, language)
			at := "lessons.question." + id
			keys = append(keys, at+".prompt")
			for _, option := range l.Question.Options {
				keys = append(keys, at+"."+option, at+"."+option+".why")
			}
			if prompt := messages[at+".prompt"]; !strings.HasSuffix(prompt, "?") && !strings.HasSuffix(prompt, "؟") {
				t.Errorf("%s in %s does not end in a question: %q", id, language, prompt)
			}
		}
		for _, key := range keys {
			if messages[key] == "" {
				t.Errorf("%s in %s has no text", key, language)
			}
		}
		if len(messages) != len(keys) {
			t.Errorf("%d messages in %s, %d used", len(messages), language, len(keys))
		}
	}
}

func TestGrade(t *testing.T) {
	if got := lessons.Grade(13, 1, 24); math.Abs(got-11.2646) > 5e-5 {
		t.Errorf("%.4f", got)
	}
	if lessons.Grade(0, 0, 0) != 0 {
		t.Error("no text has no grade")
	}
}

func TestSyllables(t *testing.T) {
	for word, want := range map[string]int{
		"ventilator": 4, "battery": 3, "internal": 3, "chair": 1, "mains": 1, "source": 1, "sources": 2, "people": 2,
		"breathe": 1, "looked": 1, "wanted": 2, "table": 2, "the": 1, "on-call": 2, "don't": 1, "you": 1, "station": 2,
		"technologist": 4, "programme": 2, "clinical": 3, "damaged": 2, "usual": 3, "fuse": 1, "joint": 1, "suction": 2,
	} {
		if got := lessons.Syllables(word); got != want {
			t.Errorf("%s: %d, want %d", word, got, want)
		}
	}
}

func TestSentences(t *testing.T) {
	got := lessons.Sentences("Is it well? Yes. Stay on mains, then call: now")
	if len(got) != 3 || len(lessons.Words(got[2])) != 6 {
		t.Errorf("%q", got)
	}
}

func BenchmarkLoad(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := lessons.Load(); err != nil {
			b.Fatal(err)
		}
	}
}
