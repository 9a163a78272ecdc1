// Package circuit finds what follows from a set-up and what is wrong with it:
// the operating point of the mains side and of the chain, which source carries
// the ventilator, which lamps are lit, which alarm sounds, how each part looks
// and how warm it is; and the same as a SPICE netlist.
//
// Nothing here knows a lamp for a fault: faults alter resistances, openings
// and volts, the solved volts decide the source, the source lights the panel.
// Time, drawing and judging must not live here.
//
// Solve answers once, in full. Build and Network.Solve answer the same again
// and again for a set-up whose faults stay as they are, and allocate nothing.
package circuit

import (
	"math"
	"slices"

	"lampwright/lessons/setup"
)

// Version is the model's: runs and sign-offs carry it.
const Version = "2"

// Conditions are what a set-up is in.
type Conditions struct {
	Faults       []setup.Fault
	Mains        bool         // the adapter is in a wall outlet and in the ventilator
	Load         *setup.Watts // what breathing takes on average; nil for the usual setting
	Peak         *setup.Watts // the top of a breath; nil for what goes with the load
	Charger      bool         // the internal battery is charging
	ChairCharger bool         // the chair is charging
	Driving      bool
	Tilted       bool         // the chair is tilted or reclined
	Chair        *float64     // charge of every chair block, 0 to 1; nil as in the set-up
	Inside       *float64     // charge of the internal battery, 0 to 1; nil as in the set-up
	Celsius      float64      // of everything
	From         setup.Source // what carried until now, "" where nothing changes over
	Tripped      bool         // the converter has already cut out: it waits for a reset, or for volts enough
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
	Other   string // the words it changes with while it flickers
}

// Heat of a part to the back of a hand.
type Heat string

// The heats, by the watts spent in the part (common practice, no source).
const (
	Cool Heat = "cool" // below 0.5 W
	Warm Heat = "warm" // to 3 W
	Hot  Heat = "hot"
)

// live is the volts above which a part counts as live.
const live = .5

// State is a solved set-up. While hunting, it is the moment after letting go,
// with the heats of the whole cycle.
type State struct {
	Kind     Kind
	Source   setup.Source
	Nodes    []Node
	Amps     float64 // from the chair's battery into the chain
	Watts    float64 // the same, at the tapped blocks' terminals
	Period   float64 // s, of the hunting; 0 while it does not
	Held     float64 // share of it on the chair
	Panel    []Indication
	Alarm    setup.Priority
	Silenced bool                  // an alarm that should sound does not
	Inside   float64               // charge of the internal battery, 0 to 1
	Chair    float64               // charge of the emptiest chair block, 0 to 1
	Looks    map[string]setup.Look // what is seen, of parts that do not look sound
	Heats    map[string]Heat       // of parts that are not cool
	Live     map[string]bool       // parts with volts after them

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
	case s.parked != "" && part == s.parked && slices.Contains([]setup.Look{setup.LookSound, setup.LookHalfHome}, s.Look(part)):
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
	if err := c.check(); err != nil {
		return State{}, err
	}
	n, err := Build(s, c.Faults, c.Celsius)
	if err != nil {
		return State{}, err
	}
	m := c.moment(s)
	var p Point
	n.Solve(&m, &p)
	if n.opens(&p) {
		c.Faults = append(slices.Clone(c.Faults), setup.Fault{Part: n.fuseID, Mode: setup.Blown})
		return Solve(s, c)
	}
	return n.state(&m, &p, c.Faults), nil
}

// opens tells whether the fuse cannot bear what goes through it: at 135 % of
// its rating a blade fuse opens within ten minutes (ISO 8820-3).
func (n *Network) opens(p *Point) bool {
	places := n.input.places
	if n.fuseBehind {
		places = n.output.places
	}
	whole := slices.ContainsFunc(places, func(pl place) bool { return pl.id == n.fuseID && !pl.open })
	return n.fuse != nil && whole && p.Flow.Heating >= 1.35*n.rating
}

// check refuses values that make no sense; Build refuses the rest.
func (c *Conditions) check() error {
	for field, v := range map[string]*setup.Watts{"load": c.Load, "peak": c.Peak} {
		if v != nil && !(*v >= 0 && *v <= 1000) {
			return wrong(field, float64(*v), "0 to 1000 watts")
		}
	}
	if c.Peak != nil && c.Load != nil && *c.Peak < *c.Load {
		return wrong("peak", float64(*c.Peak), "no less than the load")
	}
	for field, v := range map[string]*float64{"chair-charge": c.Chair, "internal-charge": c.Inside} {
		if v != nil && !(*v >= 0 && *v <= 1) {
			return wrong(field, *v, "a number from 0 to 1")
		}
	}
	return nil
}

// moment puts conditions into numbers.
func (c *Conditions) moment(s *setup.Setup) Moment {
	m := Moment{Mains: c.Mains, Tilted: c.Tilted, From: c.From, Tripped: c.Tripped, Inside: s.Ventilator.Internal.Charge}
	load := s.Ventilator.Draw.Usual
	if c.Load != nil {
		load = *c.Load
	}
	m.Load, m.Peak = float64(load), float64(s.Ventilator.Draw.PeakAt(load))
	if c.Peak != nil {
		m.Peak = float64(*c.Peak)
	}
	if c.Charger {
		m.Charge = 1
	}
	if c.Inside != nil {
		m.Inside = *c.Inside
	}
	if c.Driving {
		m.Drive, m.Ramp = float64(s.Drive.Energy)*float64(s.Drive.Speed), float64(s.Drive.Ramp)
	}
	b := s.Battery()
	if b == nil {
		return m
	}
	if c.ChairCharger {
		m.ChairCharger = float64(b.Charger)
	}
	for _, bl := range b.Blocks {
		charge := bl.Charge
		if c.Chair != nil {
			charge = *c.Chair
		}
		m.Blocks = append(m.Blocks, charge)
	}
	return m
}

// state is a point as a person meets it.
func (n *Network) state(m *Moment, p *Point, faults []setup.Fault) State {
	s := n.setup
	st := State{
		Kind: p.Kind, Source: p.Source, Amps: p.Amps, Watts: p.Amps * n.posts(m, p), Period: p.Period, Held: p.Held, Inside: m.Inside,
		Chair: slices.Min(m.Blocks), Live: map[string]bool{}, Heats: map[string]Heat{}, Looks: map[string]setup.Look{},
	}
	if n.flat {
		st.Inside = flatCharge
	}
	if slices.ContainsFunc(n.blocks, func(b blockState) bool { return b.flat }) {
		st.Chair = math.Min(st.Chair, flatCharge)
	}
	before := 0.0 // V
	n.each(p, func(pl *place, volts, amps float64) {
		reached := before > live
		before = volts
		if math.IsNaN(volts) {
			return
		}
		st.Nodes = append(st.Nodes, Node{pl.id, volts})
		if volts > live {
			st.Live[pl.id] = true
		}
		switch watts := amps*amps*pl.ohms + amps*pl.drop; {
		case pl.id == n.burning && reached:
			st.Heats[pl.id] = Hot
		case pl.open, pl.tilted && m.Tilted:
		case watts > 3:
			st.Heats[pl.id] = Hot
		case watts >= 0.5:
			st.Heats[pl.id] = Warm
		}
	})
	if n.converter != nil && !p.Lit {
		st.unlit = append(st.unlit, n.converterID)
	}
	if m.Mains && !n.alive {
		st.unlit = append(st.unlit, n.adapterID)
	}
	if n.shared {
		out := s.Mains
		if m.Mains {
			out = s.Chain
		}
		st.parked = out[len(out)-1].ID
	}
	st.looks(s, faults)
	if slices.ContainsFunc(n.input.places, func(pl place) bool { return pl.id == n.fuseID && pl.open }) && st.Look(n.fuseID) == setup.LookSound {
		st.Looks[n.fuseID] = setup.LookBlown // a pinched lead behind it
	}
	st.panel(s, faults)
	st.deck = n.write(m, p)
	return st
}

// posts is the volts at the tapped blocks' terminals.
func (n *Network) posts(m *Moment, p *Point) float64 {
	b := n.bank(m)
	return b.emf - b.ohms*(p.Amps+p.Drive-b.charger)
}

// each walks the nodes with the amps that heat the part before each.
func (n *Network) each(p *Point, f func(pl *place, volts, amps float64)) {
	i := 0
	next := func(pl *place, amps float64) {
		f(pl, p.Volts[i], amps)
		i++
	}
	next(&place{id: n.battery}, 0)
	for j := range n.input.places {
		next(&n.input.places[j], p.rms[0])
	}
	if n.converter != nil {
		next(&place{id: n.converterID}, 0) // it sheds its losses by design
		for j := range n.output.places {
			next(&n.output.places[j], p.rms[1])
		}
	}
	for j := range n.mains.places {
		next(&n.mains.places[j], p.Mains)
	}
}
