// Package circuit finds what follows from a set-up and what is wrong with it:
// the operating point of the mains side and of the chain, which source carries
// the ventilator, which lamps are lit, which alarm sounds, how each part looks
// and how warm it is; and the same as a SPICE netlist.
//
// Nothing here knows a lamp for a fault: faults alter resistances, openings
// and volts, the solved volts decide the source, the source lights the panel.
// Time, drawing and judging must not live here.
package circuit

import (
	"fmt"
	"slices"

	"lampwright/lessons/setup"
	"lampwright/locales/problem"
)

// Version is the model's: runs and sign-offs carry it.
const Version = "1"

// Conditions are what a set-up is in.
type Conditions struct {
	Faults  []setup.Fault
	Mains   bool         // the adapter is in a wall outlet and in the ventilator
	Load    *setup.Watts // what breathing takes; nil for the usual setting
	Charger bool         // the internal battery is charging
	Chair   *float64     // charge of every chair block, 0 to 1; nil as in the set-up
	Inside  *float64     // charge of the internal battery, 0 to 1; nil as in the set-up
	Celsius float64      // of copper
	From    setup.Source // what carried until now, "" where nothing changes over
	Latched bool         // the converter has already cut out, and waits for a reset
}

// Usual are the conditions of an ordinary day: 20 °C, riding on the chair.
func Usual(faults ...setup.Fault) Conditions { return Conditions{Faults: faults, Celsius: 20} }

// Kind is how the chair supply behaves.
type Kind string

// The kinds.
const (
	Steady    Kind = "steady"    // it stays as it is
	Hunting   Kind = "hunting"   // taken, let go, taken again: the lamp comes and goes
	Collapsed Kind = "collapsed" // it gave way under the load and stays away
)

// Node is the volts after a part, against the pack's negative; a node that
// nothing feeds reads 0.
type Node struct {
	ID    string
	Volts float64
}

// Indication is what one lamp or screen of the panel shows.
type Indication struct {
	ID      string
	Lit     bool
	Flicker bool   // comes and goes
	Screen  string // the words or the level on a screen, "" when blank or a lamp
}

// Heat of a part to the back of a hand.
type Heat string

// The heats, by the watts spent in the part (common practice, no source).
const (
	Cool Heat = "cool" // below 0.5 W
	Warm Heat = "warm" // to 3 W
	Hot  Heat = "hot"
)

// State is a solved set-up. While hunting, it is the moment after letting go.
type State struct {
	Kind   Kind
	Source setup.Source
	Nodes  []Node
	Amps   float64 // leaving the chair's battery
	Watts  float64 // leaving the chair's battery, at its terminals
	Panel  []Indication
	Alarm  setup.Priority
	Inside float64               // charge of the internal battery, 0 to 1
	Looks  map[string]setup.Look // what is seen, of parts that do not look sound
	Heats  map[string]Heat       // of parts that are not cool
	Live   map[string]bool       // parts with volts after them

	unlit  []string // converters and adapters that give nothing
	parked string   // the plug that is out of a shared inlet
	deck   deck
}

// Look is what is seen at a part.
func (s *State) Look(part string) setup.Look {
	if l, ok := s.Looks[part]; ok {
		return l
	}
	return setup.LookSound
}

// Seen is what a person standing there sees: a converter or adapter that gives
// nothing is dark, whoever's fault that is, and the plug that has no place in
// a shared inlet is out.
func (s *State) Seen(part string) setup.Look {
	switch {
	case slices.Contains(s.unlit, part):
		return setup.LookDark
	case s.parked != "" && part == s.parked && s.Look(part) == setup.LookSound:
		return setup.LookApart
	}
	return s.Look(part)
}

// Heat is how warm a part is.
func (s *State) Heat(part string) Heat {
	if h, ok := s.Heats[part]; ok {
		return h
	}
	return Cool
}

// Solve finds the state of a set-up. Its errors are problem.Invalid and name
// what cannot be.
func Solve(s *setup.Setup, c Conditions) (State, error) {
	if err := check(s, c); err != nil {
		return State{}, err
	}
	has := func(part string, m setup.Mode) bool {
		return slices.ContainsFunc(c.Faults, func(f setup.Fault) bool { return f.Part == part && f.Mode == m })
	}
	n := build(s, c)

	inside := s.Ventilator.Internal.Charge
	if c.Inside != nil {
		inside = *c.Inside
	}
	if has(setup.InternalID, setup.Flat) {
		inside = flatCharge
	}
	load := float64(s.Ventilator.Draw.Usual)
	if c.Load != nil {
		load = float64(*c.Load)
	}
	charge := func(w setup.Watts) float64 {
		if c.Charger {
			return load + float64(w)
		}
		return load
	}

	st := State{Kind: Steady, Source: setup.None, Inside: inside}
	point := operating{}
	for _, source := range s.Ventilator.Order {
		if source == setup.Mains && c.Mains {
			if n.mainsCarries(charge(s.Ventilator.Charger.Mains)) {
				st.Source, point.mainsLoad = setup.Mains, charge(s.Ventilator.Charger.Mains)
			}
		}
		if source == setup.Chair && !(c.Mains && s.Ventilator.Shared()) {
			kind, carries := n.chairCarries(charge(s.Ventilator.Charger.Chair))
			if kind != Steady {
				st.Kind = kind
			}
			if carries {
				st.Source, point.chairLoad = setup.Chair, charge(s.Ventilator.Charger.Chair)
			}
		}
		if st.Source != setup.None {
			break
		}
	}
	switch ready := inside > 0 && !has(setup.InternalID, setup.Dead); {
	case st.Source == setup.None && ready:
		st.Source = setup.Internal
	case !ready && outside(c.From) && st.Source != c.From:
		// The changeover itself rides on the internal battery.
		st.Source, point = setup.None, operating{}
	}
	n.solve(&st, point, c.Mains, s.Ventilator.Shared())
	if s.Ventilator.Shared() {
		out := s.Mains
		if c.Mains {
			out = s.Chain
		}
		st.parked = out[len(out)-1].ID
	}
	st.Panel, st.Alarm = panel(s, &st, has)
	looks(s, c, &st)
	return st, nil
}

func outside(s setup.Source) bool { return s == setup.Mains || s == setup.Chair }

func check(s *setup.Setup, c Conditions) error {
	bad := func(field string, value any, wanted string) error {
		return problem.Wrap(fmt.Errorf("%s: got %v, expected %s", field, value, wanted),
			problem.Invalid, "problem.value", "Field", field, "Value", value, "Expected", wanted)
	}
	for _, f := range c.Faults {
		kind, ok := s.PartKind(f.Part)
		if !ok {
			return bad("fault", f, "a part of this set-up")
		}
		if _, ok := setup.Of(kind, f.Mode); !ok {
			return bad("fault", f, "a mode of a "+string(kind))
		}
	}
	if c.Load != nil && !(*c.Load >= 0 && *c.Load <= 1000) {
		return bad("load", float64(*c.Load), "0 to 1000 watts")
	}
	for field, v := range map[string]*float64{"chair-charge": c.Chair, "internal-charge": c.Inside} {
		if v != nil && !(*v >= 0 && *v <= 1) {
			return bad(field, *v, "a number from 0 to 1")
		}
	}
	if !(c.Celsius >= -40 && c.Celsius <= 85) {
		return bad("temperature", c.Celsius, "-40 to 85 °C")
	}
	return nil
}
