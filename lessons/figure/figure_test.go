package figure_test

import (
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"html"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"lampwright/lessons/circuit"
	"lampwright/lessons/figure"
	"lampwright/lessons/setup"
)

var update = flag.Bool("update", false, "write the golden pictures anew; then look at them")

var entry = regexp.MustCompile(`(?m)^([a-z.-]+):(?: "(.*)"|((?:\n  [a-z]+: ".*")+))$`)

// messages reads one language's file of this area; of a message with plural
// forms, the one for more than a few.
func messages(t *testing.T, language string) map[string]string {
	t.Helper()
	data, err := os.ReadFile("../../locales/messages/figure." + language + ".yaml")
	if err != nil {
		t.Fatal(err)
	}
	m := map[string]string{}
	for _, e := range entry.FindAllStringSubmatch(string(data), -1) {
		m[e[1]] = e[2]
		if e[3] != "" {
			m[e[1]] = regexp.MustCompile(`other: "(.*)"`).FindStringSubmatch(e[3])[1]
		}
	}
	return m
}

// speaker says this area's messages and fails where one is missing or a value
// is.
func speaker(t *testing.T, language string) figure.Words {
	t.Helper()
	m := messages(t, language)
	return func(key string, pairs ...any) string {
		s, ok := m[key]
		if !ok {
			t.Errorf("figure.%s.yaml has no %s", language, key)
		}
		for i := 0; i+1 < len(pairs); i += 2 {
			s = strings.ReplaceAll(s, fmt.Sprintf("{{.%s}}", pairs[i]), fmt.Sprint(pairs[i+1]))
		}
		if strings.Contains(s, "{{") {
			t.Errorf("%s lacks a value: %s", key, s)
		}
		return s
	}
}

func demo(t *testing.T, name string) *setup.Setup {
	t.Helper()
	s, err := setup.Demo(name)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func solve(t *testing.T, s *setup.Setup, c circuit.Conditions) circuit.State {
	t.Helper()
	st, err := circuit.Solve(s, c)
	if err != nil {
		t.Fatal(err)
	}
	return st
}

// moments are the states the golden pictures are drawn in.
func moments() map[string]circuit.Conditions {
	mains := circuit.Usual()
	mains.Mains = true
	return map[string]circuit.Conditions{
		"chair":    circuit.Usual(),
		"mains":    mains,
		"blown":    circuit.Usual(setup.Fault{Part: "fuse", Mode: setup.Blown}),
		"hunting":  circuit.Usual(setup.Fault{Part: "joint-battery", Mode: setup.HighResistance, Ohms: 6}),
		"stopped":  circuit.Usual(setup.Fault{Part: "fuse", Mode: setup.Blown}, setup.Fault{Part: setup.InternalID, Mode: setup.Dead}),
		"silenced": circuit.Usual(setup.Fault{Part: "joint-battery", Mode: setup.PushedIn}, setup.Fault{Part: setup.AlarmID, Mode: setup.Silenced}),
	}
}

func languages() map[string]bool { return map[string]bool{"en": false, "ar": true} }

func golden(t *testing.T, name, got string) {
	t.Helper()
	file := filepath.Join("testdata", name+".svg")
	if *update {
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s differs; run with -update and look at it", file)
	}
}

// sound reads a picture as a browser would: it is well formed, its ids are its
// own, what it points at exists, and no style stands in it.
func sound(t *testing.T, svg string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(svg))
	ids, refs := map[string]bool{}, []string{}
	root := true
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err, svg)
		}
		start, ok := token.(xml.StartElement)
		if !ok {
			continue
		}
		a := map[string]string{}
		for _, at := range start.Attr {
			a[at.Name.Local] = at.Value
		}
		if _, styled := a["style"]; styled || start.Name.Local == "style" {
			t.Errorf("a style at %s", start.Name.Local)
		}
		if root {
			if a["viewBox"] == "" || a["width"] != "" || a["height"] != "" || a["role"] != "img" && a["role"] != "group" {
				t.Errorf("root %v", a)
			}
			root = false
		}
		if id := a["id"]; id != "" {
			if ids[id] {
				t.Errorf("id %s twice", id)
			}
			ids[id] = true
		}
		refs = append(refs, strings.Fields(a["aria-labelledby"])...)
		if start.Name.Local == "a" && (a["href"] == "" || a["aria-label"] == "") {
			t.Error("a link without address or name")
		}
	}
	for _, r := range refs {
		if !ids[r] {
			t.Errorf("no element %s", r)
		}
	}
	if strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") {
		t.Error("a number that is none")
	}
}

func TestPanelAndChain(t *testing.T) {
	for language, rtl := range languages() {
		words := speaker(t, language)
		for _, name := range setup.DemoNames {
			s := demo(t, name)
			for moment, c := range moments() {
				t.Run(name+" "+moment+" "+language, func(t *testing.T) {
					v := figure.View{Setup: s, State: solve(t, s, c), Words: words, RTL: rtl, ID: "f", Reveal: true}
					panel, chain := figure.Panel(v), figure.Chain(v)
					sound(t, panel)
					sound(t, chain)
					golden(t, strings.Join([]string{"panel", name, moment, language}, "-"), panel)
					golden(t, strings.Join([]string{"chain", name, moment, language}, "-"), chain)
				})
			}
		}
	}
}

// With nothing revealed the chain is one and the same picture, whatever is
// wrong: the bench gives nothing away.
func TestChainKeepsItsSecret(t *testing.T) {
	words := speaker(t, "en")
	for _, name := range setup.DemoNames {
		s := demo(t, name)
		draw := func(faults ...setup.Fault) string {
			return figure.Chain(figure.View{Setup: s, State: solve(t, s, circuit.Usual(faults...)), Words: words, ID: "f"})
		}
		want := draw()
		for _, f := range s.Faults() {
			if draw(f) != want {
				t.Errorf("%s: the chain gives %s away", name, f)
			}
		}
	}
}

func TestLinksAndPointer(t *testing.T) {
	s := demo(t, "chair-12")
	v := figure.View{
		Setup: s, State: solve(t, s, circuit.Usual()), Words: speaker(t, "en"), ID: `a"b`, Point: "fuse",
		Link: func(part string) string {
			if part == "plug" || part == "lamp-mains" {
				return "?part=" + part + "&x=<1>"
			}
			return ""
		},
	}
	for what, svg := range map[string]string{"chain": figure.Chain(v), "panel": figure.Panel(v)} {
		sound(t, svg)
		if strings.Count(svg, "<a ") != 1 || !strings.Contains(svg, `role="group"`) {
			t.Errorf("%s: want one link in a group", what)
		}
	}
	if svg := figure.Chain(v); strings.Count(svg, "fig-ring") != 1 || !strings.Contains(svg, "The arrow points at: Fuse.") {
		t.Error("no ring round the fuse")
	}
}

// variants are the demo set-ups, and one with what none of them has.
func variants(t *testing.T) map[string]*setup.Setup {
	all := map[string]*setup.Setup{}
	for _, name := range setup.DemoNames {
		all[name] = demo(t, name)
	}
	port := demo(t, "chair-12")
	port.Tag = "Port"
	for i := range port.Chain {
		if tap := port.Chain[i].Tap; tap != nil {
			tap.At = setup.AtPort
		}
		if f := port.Chain[i].Fuse; f != nil {
			f.Cover = false
		}
		if j := port.Chain[i].Joint; j != nil {
			j.Sense, j.Colour = true, "yellow"
		}
		if b := port.Chain[i].Battery; b != nil {
			b.Chemistry = setup.Lithium
		}
	}
	port.Chain = slices.Insert(port.Chain, len(port.Chain)-1, setup.Part{ID: "diode", Diode: &setup.Diode{Drop: .4, Resistance: .002}})
	port.Mains[0].Outlet.Switched = false
	all["port"] = port
	return all
}

// Every mode that is seen at all is seen in the close-up.
func TestCloseUpShowsEveryMode(t *testing.T) {
	for language, rtl := range languages() {
		words := speaker(t, language)
		for name, s := range variants(t) {
			draw := func(part string, faults ...setup.Fault) (string, circuit.State) {
				c := circuit.Usual(faults...)
				c.Mains = true
				st := solve(t, s, c)
				svg := figure.CloseUp(figure.View{Setup: s, State: st, Words: words, RTL: rtl, ID: "f"}, part)
				sound(t, svg)
				return svg, st
			}
			for _, part := range s.IDs() {
				draw(part)
			}
			for _, f := range s.Faults() {
				got, st := draw(f.Part, f)
				want, _ := draw(f.Part)
				look := st.Look(f.Part)
				covered := name == "port" && (look == setup.LookBlown || look == setup.LookEmpty || f.Part == "fuse" && look == setup.LookMismatched)
				if look != setup.LookSound && !covered && got == want {
					t.Errorf("%s: %s does not show", name, f)
				}
				if covered && got != want {
					t.Errorf("%s: %s shows through a cover that is not clear", name, f)
				}
			}
		}
	}
}

// lookers finds, for every kind and look that is known, a set-up, a part and
// the conditions that show it.
func lookers(t *testing.T, each func(kind setup.Kind, look setup.Look, s *setup.Setup, part string, c circuit.Conditions)) {
	t.Helper()
	all := variants(t)
	find := func(k setup.Knowledge) bool {
		for _, name := range []string{"chair-12", "chair-7", "chair-21", "port"} {
			for _, f := range all[name].Faults() {
				if kind, _ := all[name].PartKind(f.Part); kind != k.Kind || f.Mode != k.Mode {
					continue
				}
				c := circuit.Usual(f)
				c.Mains = true
				if k.Kind == setup.KindAlarm {
					c.Mains, c.Faults = false, append(c.Faults, setup.Fault{Part: "fuse", Mode: setup.Missing})
				}
				each(k.Kind, k.Look, all[name], f.Part, c)
				return true
			}
		}
		return false
	}
	seen := map[string]bool{}
	for _, k := range setup.Known {
		if what := string(k.Kind) + " " + string(k.Look); k.Look != setup.LookSound && !seen[what] {
			if seen[what] = find(k); !seen[what] {
				t.Errorf("no set-up shows a %s", what)
			}
		}
	}
}

// Every look of every kind is drawn close up, and is another picture than that
// of the sound part: by its shapes, not by its words alone.
func TestEveryLookIsDrawn(t *testing.T) {
	words := speaker(t, "en")
	drawn := func(s *setup.Setup, st circuit.State, kind setup.Kind, part string) string {
		svg := figure.CloseUp(figure.View{Setup: s, State: st, Words: words, ID: "f"}, part)
		sound(t, svg)
		name := "close-up-" + string(kind) + "-" + string(st.Look(part))
		if s.Tag == "Port" {
			name = "port-" + name
		}
		golden(t, name, svg)
		return shapes(svg)
	}
	lookers(t, func(kind setup.Kind, look setup.Look, s *setup.Setup, part string, c circuit.Conditions) {
		st := solve(t, s, c)
		if st.Look(part) != look {
			t.Errorf("%s looks %s, want %s", part, st.Look(part), look)
		}
		whole := c
		whole.Faults = slices.DeleteFunc(slices.Clone(c.Faults), func(f setup.Fault) bool { return f.Part == part })
		if drawn(s, st, kind, part) == drawn(s, solve(t, s, whole), kind, part) {
			t.Errorf("a %s that is %s is drawn as a sound one", kind, look)
		}
	})
	port := variants(t)["port"]
	for _, part := range []string{"diode", "inlet-chair", setup.PanelID} { // kinds with no look of their own
		kind, _ := port.PartKind(part)
		drawn(port, solve(t, port, circuit.Usual()), kind, part)
	}
}

// Where the chain tells how parts look, every look of a part in it is another
// picture in its tile too.
func TestEveryLookIsDrawnInItsTile(t *testing.T) {
	words := speaker(t, "en")
	lookers(t, func(kind setup.Kind, look setup.Look, s *setup.Setup, part string, c circuit.Conditions) {
		if !strings.Contains(figure.Chain(figure.View{Setup: s, Words: words, ID: "f", Link: func(id string) string { return "?" + id }}), `href="?`+part+`"`) {
			return // it is on the panel
		}
		c.Faults = nil
		whole := solve(t, s, c)
		marred := whole
		marred.Looks = map[string]setup.Look{part: look}
		other := whole
		other.Looks = map[string]setup.Look{part: "unheard-of"}
		of := func(st circuit.State) string {
			return shapes(figure.Chain(figure.View{Setup: s, State: st, Words: func(key string, _ ...any) string { return "word" }, ID: "f", Reveal: true}))
		}
		if of(marred) == of(other) {
			t.Errorf("in its tile a %s that is %s is drawn as any other", kind, look)
		}
	})
}

// Where a look is asked, what there is to be seen is said to those who do not
// see it, and no word and no mark judges it: close up, and among all parts.
func TestAskedLook(t *testing.T) {
	said := regexp.MustCompile(`(?s)<(?:title|desc|text)[^>]*>(.*?)</`)
	marks := regexp.MustCompile(`fig-(bad|ghost|low|mark|wrong|strong|live|dead)\b`)
	for _, language := range []string{"en", "ar", "fr"} {
		words := speaker(t, language)
		lookers(t, func(kind setup.Kind, look setup.Look, s *setup.Setup, part string, c circuit.Conditions) {
			if kind == setup.KindLamp || kind == setup.KindScreen || kind == setup.KindAlarm {
				return // what the panel shows is its own words
			}
			v := figure.View{Setup: s, State: solve(t, s, c), Words: words, ID: "f", Reveal: true, Asked: true}
			whole := v
			c.Faults = slices.DeleteFunc(slices.Clone(c.Faults), func(f setup.Fault) bool { return f.Part == part })
			whole.State = solve(t, s, c)
			for what, draw := range map[string]func(figure.View) string{
				"close-up": func(v figure.View) string { return figure.CloseUp(v, part) }, "chain": figure.Chain,
			} {
				svg := draw(v)
				sound(t, svg)
				var all []string
				for _, m := range said.FindAllStringSubmatch(svg, -1) {
					all = append(all, html.UnescapeString(m[1]))
				}
				text := strings.Join(all, "\n")
				shows := words("figure.shows." + string(look))
				if kind == setup.KindBattery && look == setup.LookDark {
					shows = words("figure.shows.blank")
				}
				if !strings.Contains(text, strings.TrimSuffix(words("figure.says", "Part", figure.Name(words, s, part), "Seen", shows), ".")) {
					t.Errorf("%s: what a %s %s shows is not said in the %s: %q", language, look, kind, what, text)
				}
				for _, key := range []string{"figure.look.", "figure.seen."} {
					if word := words(key + string(look)); regexp.MustCompile(`(^|\PL)` + regexp.QuoteMeta(word) + `(\PL|$)`).MatchString(text) {
						t.Errorf("%s: of a %s the %s says %q: %q", language, kind, what, word, text)
					}
				}
				if mark := marks.FindString(svg); mark != "" {
					t.Errorf("of a %s %s the %s has a %s", look, kind, what, mark)
				}
				if shapes(svg) == shapes(draw(whole)) {
					t.Errorf("asked, in the %s a %s that is %s is drawn as a sound one", what, kind, look)
				}
			}
		})
	}
}

// What is in order is told as it looks too: no part stands out by its words.
func TestAskedOfEveryPart(t *testing.T) {
	words := speaker(t, "en")
	for name, s := range variants(t) {
		c := circuit.Usual()
		c.Mains = true
		svg := html.UnescapeString(figure.Chain(figure.View{Setup: s, State: solve(t, s, c), Words: words, ID: "f", Reveal: true, Asked: true}))
		for _, part := range s.IDs() {
			kind, _ := s.PartKind(part)
			if slices.Contains([]setup.Kind{setup.KindPanel, setup.KindLamp, setup.KindScreen, setup.KindAlarm}, kind) {
				continue
			}
			want := map[setup.Kind]string{
				setup.KindBattery: "level", setup.KindInternal: "level", setup.KindIsolator: "on", setup.KindSwitch: "on",
				setup.KindOutlet: "on", setup.KindConverter: "lit", setup.KindAdapter: "lit",
			}[kind]
			switch {
			case name == "port" && (kind == setup.KindOutlet || kind == setup.KindTap):
				want = "lit"
			case want == "":
				want = "sound"
			}
			shows := words("figure.shows." + want)
			if name == "port" && kind == setup.KindFuse {
				shows = words("figure.seen.covered")
			}
			if s.Ventilator.Shared() && part == s.Chain[len(s.Chain)-1].ID {
				shows = words("figure.parked")
			}
			if !strings.Contains(svg, figure.Name(words, s, part)+": "+shows) {
				t.Errorf("%s: of %s, %q is not said", name, part, shows)
			}
		}
	}
}

// shapes are a picture without its words.
func shapes(svg string) string {
	return regexp.MustCompile(`(?s)<(title|desc|text).*?</(title|desc|text)>`).ReplaceAllString(svg, "")
}

// A silenced alarm is crossed out on the panel, and said.
func TestSilencedAlarm(t *testing.T) {
	words := speaker(t, "en")
	s := demo(t, "chair-12")
	blown := setup.Fault{Part: "fuse", Mode: setup.Blown}
	draw := func(faults ...setup.Fault) string {
		return figure.Panel(figure.View{Setup: s, State: solve(t, s, circuit.Usual(faults...)), Words: words, ID: "f"})
	}
	rings, silent := draw(blown), draw(blown, setup.Fault{Part: setup.AlarmID, Mode: setup.Silenced})
	if !strings.Contains(rings, "Medium alarm") || strings.Contains(rings, "ilenced") {
		t.Error("the alarm does not ring")
	}
	if !strings.Contains(silent, ">Alarm silenced<") || !strings.Contains(silent, "The alarm is silenced") || strings.Contains(silent, "No alarm") {
		t.Error("the alarm is not silenced")
	}
	if shapes(rings) == shapes(silent) {
		t.Error("both bells are alike")
	}
}

// A lamp that comes and goes says so in a still, and how often in words.
func TestLampThatComesAndGoes(t *testing.T) {
	s := demo(t, "chair-12")
	st := solve(t, s, circuit.Usual(setup.Fault{Part: "joint-battery", Mode: setup.HighResistance, Ohms: 6}))
	for situation, c := range map[string]struct {
		period float64
		want   string
	}{
		"no period known": {0, "Chair lamp: comes and goes."},
		"a short one":     {.2, "about every 1 seconds."},
		"a long one":      {4.02, "about every 4 seconds."},
	} {
		st.Period = c.period
		v := figure.View{Setup: s, State: st, Words: speaker(t, "en"), ID: "f"}
		for _, svg := range []string{figure.Panel(v), figure.CloseUp(v, "lamp-chair")} {
			if !strings.Contains(strings.ReplaceAll(svg, "\n", " "), c.want) || !strings.Contains(svg, "fig-still") || !strings.Contains(svg, "fig-moving") {
				t.Errorf("%s: the panel does not say %q", situation, c.want)
			}
		}
	}
	still, moving, ok := strings.Cut(figure.CSS, "@media screen and (prefers-reduced-motion: no-preference)")
	if !ok || strings.Contains(still, "animation") || !strings.Contains(moving, "animation") || strings.Contains(figure.CSS, "infinite") {
		t.Error("what moves does so unasked, or for ever")
	}
}

// The two languages have the same keys and the same values, and the names of
// looks, heats and alarms are all there.
func TestMessages(t *testing.T) {
	en, ar := messages(t, "en"), messages(t, "ar")
	value := regexp.MustCompile(`{{\.\w+}}`)
	for key, text := range en {
		if ar[key] == "" {
			t.Errorf("figure.ar.yaml has no %s", key)
		}
		if a, b := len(value.FindAllString(text, -1)), len(value.FindAllString(ar[key], -1)); a != b {
			t.Errorf("%s: %d values in English, %d in Arabic", key, a, b)
		}
	}
	for key := range ar {
		if en[key] == "" {
			t.Errorf("figure.en.yaml has no %s", key)
		}
	}
	for _, k := range setup.Known {
		if k.Look != setup.LookSound && (en["figure.look."+string(k.Look)] == "" || en["figure.seen."+string(k.Look)] == "") {
			t.Errorf("no words for the look %s", k.Look)
		}
	}
	for _, key := range []string{"heat.warm", "heat.hot", "feels.warm", "feels.hot", "alarm.low", "alarm.medium", "alarm.high", "lamp.flicker", "seen.covered", "named"} {
		if en["figure."+key] == "" {
			t.Errorf("no figure.%s", key)
		}
	}
}

func TestNames(t *testing.T) {
	s := demo(t, "chair-12")
	w := speaker(t, "en")
	for part, want := range map[string]string{
		"joint-battery": "Battery-side joint", "plug": "Plug", "battery": "Chair battery", "lamp-chair": "Chair lamp",
		"internal": "Internal battery", "nowhere": "nowhere",
	} {
		if got := figure.Name(w, s, part); got != want {
			t.Errorf("%s is called %q, want %q", part, got, want)
		}
	}
	s.Chain[4].ID = "joint-middle"
	s.Chain[5].ID = "lead-battery" // a joint by another part's name
	if got := figure.Name(w, s, "lead-battery"); got != "Joint" {
		t.Errorf("got %q", got)
	}
}

// Long words, as a translation may bring, stay inside.
func TestLongWords(t *testing.T) {
	s := demo(t, "chair-7")
	st := solve(t, s, circuit.Usual(setup.Fault{Part: "fuse", Mode: setup.Blown}))
	long := func(key string, _ ...any) string { return strings.Repeat(key+"-incomprehensibilities ", 2) }
	v := figure.View{Setup: s, State: st, Words: long, ID: "f", Reveal: true}
	sound(t, figure.Chain(v))
	sound(t, figure.Panel(v))
	sound(t, figure.Back(v))
	sound(t, figure.Person(v))
	sound(t, figure.CloseUp(v, "fuse"))
	if !strings.Contains(figure.CloseUp(v, "fuse"), "textLength") {
		t.Error("long words are not held")
	}
}

// Every class that is drawn is dressed, so that nothing falls back to black
// blots.
func TestEveryClassHasItsCSS(t *testing.T) {
	dressed := regexp.MustCompile(`\.(fig-[a-z-]+)`)
	known := map[string]bool{}
	for _, m := range dressed.FindAllStringSubmatch(figure.CSS, -1) {
		known[m[1]] = true
	}
	files, err := filepath.Glob("testdata/*.svg")
	if err != nil || len(files) == 0 {
		t.Fatal(files, err)
	}
	plain := map[string]bool{"fig-panel": true, "fig-chain": true, "fig-back": true, "fig-person": true, "fig-packed": true, "fig-word": true, "fig-label": true, "fig-plain": true}
	for _, f := range files {
		data, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range regexp.MustCompile(`class="([^"]+)"`).FindAllStringSubmatch(string(data), -1) {
			for _, c := range strings.Fields(m[1]) {
				if strings.HasPrefix(c, "fig-") && !known[c] && !plain[c] {
					t.Errorf("%s: no CSS for %s", f, c)
					known[c] = true
				}
			}
		}
	}
}

func BenchmarkChain(b *testing.B) {
	s, err := setup.Demo("chair-12")
	if err != nil {
		b.Fatal(err)
	}
	st, err := circuit.Solve(s, circuit.Usual())
	if err != nil {
		b.Fatal(err)
	}
	v := figure.View{Setup: s, State: st, Words: func(key string, _ ...any) string { return key }, ID: "f", Reveal: true}
	b.ReportAllocs()
	for b.Loop() {
		figure.Chain(v)
	}
}
