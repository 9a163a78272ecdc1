package figure_test

import (
	"fmt"
	"html"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"lampwright/lessons/circuit"
	"lampwright/lessons/figure"
	"lampwright/lessons/setup"
)

// onTheBack are the states the chair's back is drawn in, and what is pointed at.
func onTheBack() map[string]struct {
	circuit.Conditions
	point string
} {
	type moment = struct {
		circuit.Conditions
		point string
	}
	all := moments()
	return map[string]moment{
		"chair":   {all["chair"], ""},
		"mains":   {all["mains"], ""},
		"blown":   {all["blown"], "fuse"},
		"stopped": {all["stopped"], "internal"},
		"apart":   {circuit.Usual(setup.Fault{Part: "plug", Mode: setup.Open}, setup.Fault{Part: "joint-battery", Mode: setup.HalfHome, Ohms: 1}), "plug"},
	}
}

func TestBack(t *testing.T) {
	for language, rtl := range languages() {
		words := speaker(t, language)
		for _, name := range setup.DemoNames {
			s := demo(t, name)
			for moment, m := range onTheBack() {
				t.Run(name+" "+moment+" "+language, func(t *testing.T) {
					v := figure.View{Setup: s, State: solve(t, s, m.Conditions), Words: words, RTL: rtl, ID: "f", Reveal: true, Point: m.point}
					svg := figure.Back(v)
					sound(t, svg)
					golden(t, strings.Join([]string{"back", name, moment, language}, "-"), svg)
				})
			}
		}
	}
}

// shown reads a picture's texts as they are shown, in one line.
func shown(svg string) string {
	var out []string
	for _, m := range regexp.MustCompile(`<text[^>]*>([^<]*)</text>`).FindAllStringSubmatch(svg, -1) {
		out = append(out, html.UnescapeString(m[1]))
	}
	return strings.ReplaceAll(strings.Join(out, " "), "- ", "-") // where a name was broken
}

// Every step of the chain stands on the back once, under the number it has in
// the chain, and whatever sits there can be pointed at.
func TestBackNamesEveryStep(t *testing.T) {
	words := speaker(t, "en")
	for name, s := range variants(t) {
		for _, mains := range []bool{false, true} {
			c := circuit.Usual()
			c.Mains = mains
			v := figure.View{Setup: s, State: solve(t, s, c), Words: words, ID: "f", Reveal: true}
			svg := figure.Back(v)
			sound(t, svg)
			if !strings.Contains(svg, `role="img"`) {
				t.Errorf("%s: no picture by its role", name)
			}
			in := s.Ventilator.InletFor(setup.Chair)
			var parts []string
			for i := range s.Chain {
				parts = append(parts, s.Chain[i].ID)
			}
			if in.Switch != "" {
				parts = append(parts, in.Switch)
			}
			parts = append(parts, in.ID)
			for i, part := range parts {
				if want := strconv.Itoa(i+1) + " " + figure.Name(words, s, part); !strings.Contains(shown(svg), want) {
					t.Errorf("%s: %q is not there", name, want)
				}
				v.Point = part
				if pointed := figure.Back(v); strings.Count(pointed, "fig-ring") != 1 || strings.Count(pointed, "fig-pointer") != 1 || !strings.Contains(pointed, "The arrow points at: "+figure.Name(words, s, part)) {
					t.Errorf("%s: nothing points at %s", name, part)
				}
			}
			v.Point = ""
			want := fmt.Sprintf("%d Ventilator %s", len(parts)+1, s.Ventilator.Model)
			for _, want := range []string{want, "Bag for breaths", "Panel"} {
				if !strings.Contains(shown(svg), want) {
					t.Errorf("%s: %q is not there", name, want)
				}
			}
			if got := strings.Contains(shown(svg), "Adapter plug"); got != mains {
				t.Errorf("%s: the adapter is there: %v, want %v", name, got, mains)
			}
			for _, part := range []string{setup.PanelID, setup.InternalID, s.Ventilator.Panel[0].ID} {
				v.Point = part
				if strings.Count(figure.Back(v), "fig-ring") != 1 {
					t.Errorf("%s: nothing points at %s", name, part)
				}
			}
		}
	}
}

// With one shared inlet, a plug that has come out of it makes no adapter appear.
func TestBackWithTheSharedInletEmpty(t *testing.T) {
	s := demo(t, "chair-7")
	st := solve(t, s, circuit.Usual(setup.Fault{Part: "plug", Mode: setup.Open}))
	if svg := figure.Back(figure.View{Setup: s, State: st, Words: speaker(t, "en"), ID: "f", Reveal: true}); strings.Contains(shown(svg), "Adapter plug") {
		t.Error("the adapter is there")
	}
}

// What is not on the chair is not pointed at, nor said to be.
func TestBackPointsAtNothingElsewhere(t *testing.T) {
	s := demo(t, "chair-12")
	for _, part := range []string{"", "outlet", "nowhere"} {
		svg := figure.Back(figure.View{Setup: s, State: solve(t, s, circuit.Usual()), Words: speaker(t, "en"), ID: "f", Reveal: true, Point: part})
		if strings.Contains(svg, "fig-ring") || strings.Contains(svg, "arrow points") {
			t.Errorf("points at %q", part)
		}
	}
}

// With nothing revealed the back tells nothing of what is wrong.
func TestBackKeepsItsSecret(t *testing.T) {
	words := speaker(t, "en")
	for _, name := range setup.DemoNames {
		s := demo(t, name)
		draw := func(faults ...setup.Fault) string {
			return figure.Back(figure.View{Setup: s, State: solve(t, s, circuit.Usual(faults...)), Words: words, ID: "f"})
		}
		want := draw()
		for _, f := range s.Faults() {
			if draw(f) != want {
				t.Errorf("%s: the back gives %s away", name, f)
			}
		}
	}
}

// No name stands on another or leaves the picture, however many there are.
func TestBackNamesKeepApart(t *testing.T) {
	word := regexp.MustCompile(`<text class="fig-label[^"]*" x="([^"]+)" y="([^"]+)" font-size="([^"]+)"`)
	size := regexp.MustCompile(`viewBox="0 0 480 ([^"]+)"`)
	number := func(s string) float64 { f, _ := strconv.ParseFloat(s, 64); return f }
	all := variants(t)
	long := demo(t, "chair-12")
	for i := range 12 {
		long.Chain = slices.Insert(long.Chain, 5,
			setup.Part{ID: fmt.Sprintf("joint-%d", i), Joint: &setup.Joint{Contact: .001, Rating: 15, Colour: "grey", Key: "flat"}},
			setup.Part{ID: fmt.Sprintf("lead-%d", i), Lead: &setup.Lead{Length: .1, Conductor: 2}})
	}
	all["long"] = long
	for name, s := range all {
		for language, rtl := range languages() {
			c := circuit.Usual(setup.Fault{Part: "plug", Mode: setup.HalfHome})
			c.Mains = true
			svg := figure.Back(figure.View{Setup: s, State: solve(t, s, c), Words: speaker(t, language), RTL: rtl, ID: "f", Reveal: true})
			sound(t, svg)
			foot := number(size.FindStringSubmatch(svg)[1])
			last := map[bool][]float64{}
			for _, m := range word.FindAllStringSubmatch(svg, -1) {
				x, y := number(m[1]), number(m[2])
				if y < 30 || y > foot-10 {
					t.Errorf("%s %s: a name at %g of %g", name, language, y, foot)
				}
				last[x > 240] = append(last[x > 240], y)
			}
			for side, ys := range last {
				slices.Sort(ys)
				for i := 1; i < len(ys); i++ {
					if ys[i]-ys[i-1] < 17 {
						t.Errorf("%s %s: names %g apart on side %v", name, language, ys[i]-ys[i-1], side)
					}
				}
			}
		}
	}
}
