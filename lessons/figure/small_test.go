package figure_test

import (
	"strings"
	"testing"

	"lampwright/lessons/circuit"
	"lampwright/lessons/figure"
	"lampwright/lessons/setup"
)

// A small panel shows what the panel shows, with no words but the device's, so
// that it is the same for every reader but for what is said of it.
func TestSmallPanel(t *testing.T) {
	words := speaker(t, "en")
	for _, name := range setup.DemoNames {
		s := demo(t, name)
		for moment, c := range moments() {
			st := solve(t, s, c)
			if st.Kind == circuit.Hunting {
				continue
			}
			svg := figure.SmallPanel(figure.View{Setup: s, State: st, Words: words, ID: "f", Reveal: true})
			sound(t, svg)
			golden(t, "small-"+name+"-"+moment, svg)
			lit, shown := 0, ""
			for _, in := range st.Panel {
				if kind, _ := s.PartKind(in.ID); kind == setup.KindScreen {
					shown = in.Screen
				} else if in.Lit {
					lit++
				}
			}
			if got := strings.Count(svg, "fig-lamp fig-lit\""); got != lit {
				t.Errorf("%s %s: %d lamps are lit, of %d", name, moment, got, lit)
			}
			if rings := strings.Contains(svg, "fig-alarm-fill"); rings != (st.Alarm != setup.NoAlarm || st.Silenced) {
				t.Errorf("%s %s: the bell is drawn: %v, the alarm is %s", name, moment, rings, st.Alarm)
			}
			if texts := strings.Count(svg, "<text"); texts != min(1, len(shown)) || shown != "" && !strings.Contains(svg, ">"+shown+"</text>") {
				t.Errorf("%s %s: %d texts, and the screen shows %q", name, moment, texts, shown)
			}
		}
	}
}

// A panel of six lamps and of a long word stays in its case.
func TestSmallPanelOfManyLamps(t *testing.T) {
	s := demo(t, "chair-12")
	lamp := s.Ventilator.Panel[0]
	for _, id := range []string{"a", "b"} {
		lamp.ID = id
		s.Ventilator.Panel = append(s.Ventilator.Panel, lamp)
	}
	words := "RUNNING ON WALL SUPPLY !"
	s.Ventilator.Panel = append(s.Ventilator.Panel, setup.Item{ID: "screen", Screen: map[setup.Source]string{setup.Chair: words}})
	svg := figure.SmallPanel(figure.View{Setup: s, State: solve(t, s, circuit.Usual()), Words: speaker(t, "en"), ID: "f"})
	sound(t, svg)
	if got := strings.Count(svg, "fig-lamp "); got != 5 {
		t.Errorf("%d of 5 lamps", got)
	}
	if !strings.Contains(svg, `lengthAdjust="spacingAndGlyphs">`+words) {
		t.Error("long words are not held to the screen")
	}
}
