package figure_test

import (
	"maps"
	"slices"
	"strconv"
	"strings"
	"testing"

	"lampwright/lessons/circuit"
	"lampwright/lessons/figure"
	"lampwright/lessons/setup"
)

// states are what a set-up can be in: each fault alone, then with what makes
// the ventilator stop, with little left inside, and with the alarm silenced;
// off the mains and on.
func states(s *setup.Setup) (all []circuit.Conditions) {
	dead := setup.Fault{Part: setup.InternalID, Mode: setup.Dead}
	silenced := setup.Fault{Part: setup.AlarmID, Mode: setup.Silenced}
	little := .05
	for _, with := range []circuit.Conditions{
		{},
		{Mains: true},
		{Faults: []setup.Fault{dead}},
		{Inside: &little},
		{Faults: []setup.Fault{silenced}},
		{Faults: []setup.Fault{dead, silenced}},
		{Faults: []setup.Fault{silenced}, Inside: &little},
	} {
		for _, f := range append([]setup.Fault{{}}, s.Faults()...) {
			c := circuit.Usual(with.Faults...)
			c.Mains, c.Inside = with.Mains, with.Inside
			if f.Part != "" {
				c.Faults = append(slices.Clone(c.Faults), f)
			}
			kind, _ := s.PartKind(f.Part)
			if face := slices.Contains([]setup.Kind{setup.KindLamp, setup.KindScreen, setup.KindAlarm}, kind); !face || len(with.Faults) == 0 && with.Inside == nil {
				all = append(all, c)
			}
		}
	}
	return all
}

// Whatever a ventilator's face can show has its golden picture: one of the
// moments, or one of its own.
func TestPanelInEveryState(t *testing.T) {
	for language, rtl := range languages() {
		words := speaker(t, language)
		for _, name := range setup.DemoNames {
			s := demo(t, name)
			draw := func(st circuit.State) string {
				return figure.Panel(figure.View{Setup: s, State: st, Words: words, RTL: rtl, ID: "f", Reveal: true})
			}
			drawn := map[string]bool{}
			for _, c := range moments() {
				drawn[draw(solve(t, s, c))] = true
			}
			states, named := states(s), map[string]string{}
			for _, c := range states {
				st := solve(t, s, c)
				st.Period = 0 // how often is told in words, and differs from fault to fault
				svg := draw(st)
				if drawn[svg] {
					continue
				}
				drawn[svg] = true
				sound(t, svg)
				what := face(s, st)
				if named[what] != "" {
					t.Errorf("%s: %s is drawn in two ways", name, what)
					continue
				}
				named[what] = svg
				golden(t, strings.Join([]string{"panel", name, what, language}, "-"), svg)
			}
			t.Logf("%s %s: %d", name, language, len(named))
		}
	}
}

// face names what a ventilator's face shows.
func face(s *setup.Setup, st circuit.State) string {
	what := []string{string(st.Source)}
	if st.Kind == circuit.Hunting {
		what = append(what, "hunting")
	}
	if st.Alarm != setup.NoAlarm {
		what = append(what, string(st.Alarm))
	}
	if st.Silenced || st.Look(setup.AlarmID) == setup.LookSilenced {
		what = append(what, "silenced")
	}
	for _, it := range s.Ventilator.Panel {
		if strings.Contains(it.Screen[st.Source], "{percent}") {
			what = append(what, "at", strconv.Itoa(int(st.Inside*100+.5)))
		}
		if st.Look(it.ID) == setup.LookDark {
			what = append(what, it.ID, "dark")
		}
	}
	return strings.Join(what, "-")
}

// Every look of every kind has its golden picture in both reading directions:
// in its tile, and close up.
func TestEveryLookInBothDirections(t *testing.T) {
	for language, rtl := range languages() {
		words := speaker(t, language)
		seen := map[string]bool{}
		draw := func(s *setup.Setup, st circuit.State, kind setup.Kind, part string) {
			look := string(kind) + "-" + string(st.Look(part))
			if s.Tag == "Port" {
				look = "port-" + look
			}
			if seen[look] {
				return
			}
			seen[look] = true
			v := figure.View{Setup: s, State: st, Words: words, RTL: rtl, ID: "f", Reveal: true}
			if !slices.Contains([]setup.Kind{setup.KindPanel, setup.KindLamp, setup.KindScreen, setup.KindAlarm}, kind) {
				tile := figure.Tile(v, part)
				sound(t, tile)
				golden(t, "tile-"+look+"-"+language, tile)
			}
			if rtl {
				svg := figure.CloseUp(v, part)
				sound(t, svg)
				golden(t, "close-up-"+look+"-"+language, svg)
			}
		}
		lookers(t, func(kind setup.Kind, _ setup.Look, s *setup.Setup, part string, c circuit.Conditions) {
			draw(s, solve(t, s, c), kind, part)
			c.Faults = slices.DeleteFunc(slices.Clone(c.Faults), func(f setup.Fault) bool { return f.Part == part })
			draw(s, solve(t, s, c), kind, part)
		})
		all := variants(t)
		for _, name := range slices.Sorted(maps.Keys(all)) { // kinds without a look of their own
			s := all[name]
			for _, part := range s.IDs() {
				kind, _ := s.PartKind(part)
				if !seen[string(kind)+"-sound"] && !seen["port-"+string(kind)+"-sound"] {
					draw(s, solve(t, s, circuit.Usual()), kind, part)
				}
			}
		}
	}
}

// What a close look shows beside the look has its golden picture too: how warm
// a part is, a lamp that is dark for want of volts, a level, another form.
func TestCloseUpInEveryState(t *testing.T) {
	words := speaker(t, "en")
	seen := map[string]bool{}
	all := variants(t)
	for _, name := range slices.Sorted(maps.Keys(all)) {
		s := all[name]
		states := states(s)
		for _, charge := range []float64{0, .25, .5, .75, 1} {
			c := circuit.Usual()
			c.Chair, c.Inside = &charge, &charge
			states = append(states, c)
		}
		for _, f := range s.Faults() {
			if f.Ohms > 0 { // it heats most where it still carries, and much
				f.Ohms = .5
				c := circuit.Usual(f)
				charging := c
				charging.Mains, charging.Charger = true, true
				states = append(states, c, charging)
			}
		}
		for _, c := range states {
			st := solve(t, s, c)
			st.Period = 0
			for _, part := range s.IDs() {
				what := closely(s, st, part)
				if what == "" || seen[what] {
					continue
				}
				seen[what] = true
				svg := figure.CloseUp(figure.View{Setup: s, State: st, Words: words, ID: "f"}, part)
				sound(t, svg)
				golden(t, "close-up-"+what, svg)
			}
		}
	}
	for _, what := range []string{"plug-discoloured-hot", "joint-discoloured-warm", "joint-half-home-warm", "converter-sound-without-volts", "lamp-sound-comes-and-goes", "battery-sound-quarter", "tap-sound-port"} {
		if !seen[what] {
			t.Errorf("no %s among %q", what, slices.Sorted(maps.Keys(seen)))
		}
	}
}

// closely names what is seen of a part beside its look; "" where that is all.
func closely(s *setup.Setup, st circuit.State, part string) string {
	kind, _ := s.PartKind(part)
	look := st.Look(part)
	var more []string
	if h := st.Heat(part); h != circuit.Cool {
		more = append(more, string(h))
	}
	level := func(charge float64) string {
		return []string{"empty", "quarter", "half", "most", "full"}[int(charge*4+.5)]
	}
	form := func(is bool, what string) {
		if is && (look == setup.LookSound || kind == setup.KindFuse || kind == setup.KindOutlet || kind == setup.KindTap) {
			more = append(more, what)
		}
	}
	switch pt := s.Part(part); kind {
	case setup.KindBattery:
		more = append(more, level(st.Chair))
	case setup.KindInternal:
		more = append(more, level(st.Inside))
	case setup.KindConverter, setup.KindAdapter:
		if !st.Live[part] {
			more = append(more, "without-volts")
		}
	case setup.KindLamp, setup.KindScreen:
		switch i := st.Panel[slices.IndexFunc(st.Panel, func(i circuit.Indication) bool { return i.ID == part })]; {
		case i.Flicker:
			more = append(more, "comes-and-goes")
		case i.Lit:
			more = append(more, "lit")
		default:
			more = append(more, "unlit")
		}
	case setup.KindAlarm:
		if st.Alarm == setup.NoAlarm {
			more = append(more, "quiet")
		}
	case setup.KindTap:
		form(true, string(pt.Tap.At))
	case setup.KindOutlet:
		form(!pt.Outlet.Switched, "without-switch")
	case setup.KindFuse:
		form(!pt.Fuse.Cover, "covered")
	case setup.KindPlug:
		form(pt.Plug.Sense, "sensed")
	case setup.KindJoint:
		form(pt.Joint.Sense, "sensed")
		form(true, pt.Joint.Key)
	case setup.KindInlet:
		i := slices.IndexFunc(s.Ventilator.Inlets, func(i setup.Inlet) bool { return i.ID == part })
		for _, source := range s.Ventilator.Inlets[i].Takes {
			more = append(more, string(source))
		}
	}
	if len(more) == 0 {
		return ""
	}
	return strings.Join(append([]string{string(kind), string(look)}, more...), "-")
}

// Every look that the chair's back draws, and does not only mark and name, has
// its golden picture.
func TestEveryLookOnTheBack(t *testing.T) {
	words := speaker(t, "en")
	draw := func(s *setup.Setup, st circuit.State, words figure.Words) string {
		return figure.Back(figure.View{Setup: s, State: st, Words: words, ID: "f", Reveal: true})
	}
	word := func(string, ...any) string { return "word" }
	seen := map[string]bool{}
	all := variants(t)
	for _, name := range slices.Sorted(maps.Keys(all)) {
		s := all[name]
		for _, f := range s.Faults() {
			kind, _ := s.PartKind(f.Part)
			st := solve(t, s, circuit.Usual(f))
			look := st.Look(f.Part)
			what := string(kind) + "-" + string(look)
			marred, other := solve(t, s, circuit.Usual()), solve(t, s, circuit.Usual())
			marred.Looks, other.Looks = map[string]setup.Look{f.Part: look}, map[string]setup.Look{f.Part: "unheard-of"}
			if look == setup.LookSound || seen[what] || shapes(draw(s, marred, word)) == shapes(draw(s, other, word)) {
				continue
			}
			seen[what] = true
			svg := draw(s, st, words)
			sound(t, svg)
			golden(t, "back-"+what, svg)
		}
	}
	for _, what := range []string{"fuse-blown", "isolator-off", "joint-half-home", "plug-contact-in", "switch-off"} {
		if !seen[what] {
			t.Errorf("no %s among %q", what, slices.Sorted(maps.Keys(seen)))
		}
	}
}

// With nothing revealed, and with something to press and to point at.
func TestOtherViews(t *testing.T) {
	s := demo(t, "chair-12")
	for language, rtl := range languages() {
		v := figure.View{Setup: s, State: solve(t, s, moments()["blown"]), Words: speaker(t, language), RTL: rtl, ID: "f"}
		pressed := v
		pressed.Reveal, pressed.Point = true, "fuse"
		pressed.Link = func(part string) string { return "?part=" + part }
		asked := pressed
		asked.Asked, asked.Point, asked.Link = true, "", nil
		half := asked
		half.State = solve(t, s, circuit.Usual(setup.Fault{Part: "joint-battery", Mode: setup.HalfHome, Ohms: 1}))
		lamp := pressed
		lamp.Point = s.Ventilator.Panel[0].ID
		for name, svg := range map[string]string{
			"chain-kept": figure.Chain(v), "back-kept": figure.Back(v), "chain-pressed": figure.Chain(pressed), "panel-pressed": figure.Panel(lamp),
			"chain-asked": figure.Chain(asked), "close-up-asked": figure.CloseUp(half, "joint-battery"),
		} {
			sound(t, svg)
			golden(t, name+"-"+language, svg)
		}
	}
}
