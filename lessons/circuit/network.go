package circuit

import (
	"fmt"
	"slices"

	"lampwright/lessons/setup"
	"lampwright/locales/problem"
)

// place is one part in series, and the node after it.
type place struct {
	id     string
	ohms   float64
	drop   float64 // of a diode, V
	open   bool
	tilted bool // open while the chair is tilted
}

// segment is a stretch of series places behind one voltage source. Sums are
// made once: a set-up with its faults is solved again and again.
type segment struct {
	places []place
	ohms   float64 // of the whole stretch
	drop   float64
	open   bool
	tilted bool
}

func (g *segment) add(p place) {
	g.places = append(g.places, p)
	g.ohms += p.ohms
	g.drop += p.drop
	g.open = g.open || p.open
	g.tilted = g.tilted || p.tilted
}

// whole tells whether the stretch passes current.
func (g *segment) whole(tilted bool) bool { return !g.open && !(tilted && g.tilted) }

// Network is a set-up with its faults applied, at one temperature. It is not
// changed by solving, so many may solve it at once.
type Network struct {
	setup *setup.Setup

	blocks     []blockState // those the chain taps first
	tapped     int          // how many of them the chain taps
	volts      []rest       // of a block by charge
	rise       float64      // of a block on charge, V
	battery    string
	cut        bool // the pack gives nothing
	weak       float64
	fuse       *setup.Fuse
	fuseID     string
	rating     float64 // of the fuse that is in, A; 0 without one
	fuseBehind bool    // it stands behind the converter
	burning    string  // a shorted lead that no fuse protects: it burns while volts reach it
	charges    bool    // the internal battery takes charge
	ready      bool    // the internal battery can carry at all
	flat       bool    // the internal battery is spent
	taken      [2]bool // the inlet takes what it is offered: mains, chair

	input       segment // from the battery to the converter, or to the inlet without one
	converter   *setup.Converter
	converterID string
	converterV  float64 // what it gives
	dark        bool    // it gives nothing, whatever is put in
	output      segment // from the converter to the inlet
	chairInlet  *setup.Inlet

	outletDead bool    // the wall outlet is off or tripped
	mains      segment // from the adapter to the inlet
	adapter    *setup.Adapter
	adapterID  string
	adapterV   float64
	alive      bool // the adapter gives volts when it is plugged in
	mainsInlet *setup.Inlet
	shared     bool
}

// Tapped is how many blocks, from the pack's negative, the chain taps.
func (n *Network) Tapped() int { return n.tapped }

type blockState struct {
	ohms   float64
	charge float64 // as in the set-up
	flat   bool
}

// indexes of taken
const (
	fromMains = iota
	fromChair
)

// Build applies faults to a set-up at a temperature in °C. Its errors are
// problem.Invalid and name the part or the value that cannot be.
func Build(s *setup.Setup, faults []setup.Fault, celsius float64) (*Network, error) {
	if !(celsius >= -40 && celsius <= 85) {
		return nil, wrong("temperature", celsius, "-40 to 85 °C")
	}
	for _, f := range faults {
		kind, ok := s.PartKind(f.Part)
		if !ok {
			return nil, wrong("fault", f, "a part of this set-up")
		}
		if _, ok := setup.Of(kind, f.Mode); !ok {
			return nil, wrong("fault", f, "a mode of a "+string(kind))
		}
	}
	has := func(part string, m setup.Mode) bool {
		return slices.ContainsFunc(faults, func(f setup.Fault) bool { return f.Part == part && f.Mode == m })
	}
	v := &s.Ventilator
	n := &Network{
		setup: s, chairInlet: v.InletFor(setup.Chair), mainsInlet: v.InletFor(setup.Mains), shared: v.Shared(), alive: true,
		charges: !has(setup.InternalID, setup.NotCharging) && !has(setup.InternalID, setup.Dead),
		ready:   !has(setup.InternalID, setup.Dead),
		flat:    has(setup.InternalID, setup.Flat),
	}
	if s.Battery() == nil || s.Tap() == nil || len(s.Mains) == 0 || n.chairInlet == nil || n.mainsInlet == nil {
		return nil, wrong("set-up", s.Tag, "a battery, a tap, an adapter, and an inlet for mains and for the chair")
	}
	n.taken = [2]bool{!has(n.mainsInlet.ID, setup.NotAccepted), !has(n.chairInlet.ID, setup.NotAccepted)}
	n.chain(s, faults, celsius)
	n.wall(s, faults, celsius)
	return n, n.sound()
}

func wrong(field string, value any, wanted string) error {
	return problem.Wrap(fmt.Errorf("%s: got %v, expected %s", field, value, wanted),
		problem.Invalid, "problem.value", "Field", field, "Value", value, "Expected", wanted)
}

// sound refuses what has no solution: no source, a loop without resistance.
func (n *Network) sound() error {
	inner := 0.0
	for _, b := range n.blocks {
		inner += b.ohms
	}
	switch {
	case len(n.blocks) == 0 || len(n.volts) == 0:
		return wrong("part "+n.battery, "no volts", "a battery with blocks and a chemistry")
	case !(inner > 0):
		return wrong("part "+n.battery, inner, "a resistance above zero: without one its loop has no solution")
	case n.adapter == nil || !(n.adapterV > 0):
		return wrong("part "+n.adapterID, "no volts", "an adapter with output volts")
	case !(n.mains.ohms > 0):
		return wrong("part "+n.adapterID, n.mains.ohms, "a resistance above zero: without one its loop has no solution")
	case n.converter != nil && (!(n.converterV > 0) || len(n.converter.Efficiency) == 0):
		return wrong("part "+n.converterID, n.converterV, "output volts and an efficiency curve")
	case n.converter != nil && !(n.output.ohms > 0):
		return wrong("part "+n.converterID, n.output.ohms, "a resistance above zero behind it: without one its loop has no solution")
	}
	return nil
}

func (n *Network) chain(s *setup.Setup, faults []setup.Fault, celsius float64) {
	at := &n.input
	tap := s.Tap()
	for i := range s.Chain {
		p := &s.Chain[i]
		pl, own := partPlace(p, faults, celsius)
		switch {
		case p.Battery != nil:
			n.pack(p, tap, own, celsius)
			continue
		case p.Isolator != nil:
			if tap.At == setup.AtPosts { // the posts are before the isolator
				continue
			}
		case p.Converter != nil:
			n.converter, n.converterID, n.converterV = p.Converter, p.ID, float64(p.Converter.Output)
			n.dark = n.dark || pl.open
			if mode(own, setup.WrongType) {
				n.converterV = OtherFamily(n.converterV)
			}
			at = &n.output
			continue
		case p.Fuse != nil:
			n.fuse, n.fuseID, n.rating, n.fuseBehind = p.Fuse, p.ID, float64(p.Fuse.Rating), at == &n.output
			if mode(own, setup.WrongType) {
				n.rating = WrongRating
			}
		case p.Lead != nil && mode(own, setup.Pinched):
			n.short(p.ID, at)
		}
		at.add(pl)
	}
	if id := n.chairInlet.Switch; id != "" {
		at.add(place{id: id, open: mode(of(faults, id), setup.Off)})
	}
	at.add(inletPlace(n.chairInlet, faults))
	plug := s.Chain[len(s.Chain)-1].ID
	n.taken[fromChair] = n.taken[fromChair] && !(n.chairInlet.Sense && mode(of(faults, plug), setup.SenseOpen))
}

// short is what a lead whose conductors touch does: the fuse before it opens,
// or the converter before it gives up; with neither, it burns, and what lies
// behind it has no volts.
func (n *Network) short(lead string, at *segment) {
	switch {
	case at == &n.output:
		n.dark = true
	case n.fuse != nil:
		i := slices.IndexFunc(n.input.places, func(p place) bool { return p.id == n.fuseID })
		n.input.places[i].open, n.input.open = true, true
	case n.burning == "":
		n.burning = lead
	}
}

// pack sorts the blocks: those the chain taps, then those above.
func (n *Network) pack(p *setup.Part, tap *setup.Tap, faults []setup.Fault, celsius float64) {
	n.battery, n.volts, n.rise = p.ID, blockVolts[p.Battery.Chemistry], chargeVolts
	if p.Battery.Chemistry == setup.Lithium {
		n.rise = lithiumRise
	}
	n.tapped = len(p.Battery.Blocks)
	if tap != nil && tap.Block > 0 {
		n.tapped = tap.Block
	}
	n.cut = mode(faults, setup.BoardOff)
	if mode(faults, setup.CellShorted) {
		n.weak = cellVolts
	}
	for _, b := range p.Battery.Blocks {
		st := blockState{ohms: blockOhms(b, celsius), charge: b.Charge, flat: mode(faults, setup.Flat)}
		if mode(faults, setup.Aged) {
			st.ohms *= agedOhms
		}
		n.blocks = append(n.blocks, st)
	}
}

func (n *Network) wall(s *setup.Setup, faults []setup.Fault, celsius float64) {
	for i := range s.Mains {
		p := &s.Mains[i]
		pl, own := partPlace(p, faults, celsius)
		switch {
		case p.Outlet != nil, p.Cord != nil:
			n.alive = n.alive && !pl.open
			n.outletDead = n.outletDead || p.Outlet != nil && pl.open
			continue
		case p.Adapter != nil:
			n.adapter, n.adapterID, n.adapterV = p.Adapter, p.ID, float64(p.Adapter.Output)
			n.alive = n.alive && !pl.open
			pl.open = false
			if mode(own, setup.WrongType) {
				n.adapterV = OtherFamily(n.adapterV)
			}
		case p.Lead != nil && mode(own, setup.Pinched):
			n.alive = false // its limit holds
		}
		n.mains.add(pl)
	}
	n.mains.add(inletPlace(n.mainsInlet, faults))
	plug := s.Mains[len(s.Mains)-1].ID
	n.taken[fromMains] = n.taken[fromMains] && !(n.mainsInlet.Sense && mode(of(faults, plug), setup.SenseOpen))
}

func inletPlace(in *setup.Inlet, faults []setup.Fault) place {
	return place{id: in.ID, ohms: float64(in.Contact), open: mode(of(faults, in.ID), setup.Failed)}
}

func of(faults []setup.Fault, part string) []setup.Fault {
	var own []setup.Fault
	for _, f := range faults {
		if f.Part == part {
			own = append(own, f)
		}
	}
	return own
}

func mode(faults []setup.Fault, m setup.Mode) bool {
	return slices.ContainsFunc(faults, func(f setup.Fault) bool { return f.Mode == m })
}

// OtherFamily is what a wrong adapter or converter gives: 12 V where some
// 24 V belong, and the other way round (common practice, no source).
func OtherFamily(volts float64) float64 {
	if volts >= 18 {
		return 12
	}
	return 24
}

// WrongRating is the fuse someone puts in so that it blows no more, A: it
// carries everything and protects nothing (common practice, no source).
const WrongRating = 30

// opening are the modes through which nothing passes.
var opening = []setup.Mode{
	setup.Off, setup.Asleep, setup.Open, setup.Reversed, setup.Crossed, setup.PushedIn, setup.Blown,
	setup.Missing, setup.CutOut, setup.Failed, setup.Tripped, setup.Pinched,
}

// partPlace is a part in series under its faults, and those faults.
func partPlace(p *setup.Part, faults []setup.Fault, celsius float64) (place, []setup.Fault) {
	pl := place{id: p.ID}
	switch {
	case p.Isolator != nil:
		pl.ohms = float64(p.Isolator.Resistance)
	case p.Tap != nil:
		pl.ohms = float64(p.Tap.Resistance)
	case p.Lead != nil:
		pl.ohms = float64(setup.CopperLoop(p.Lead.Length, p.Lead.Conductor, celsius))
	case p.Joint != nil:
		pl.ohms = float64(p.Joint.Contact)
	case p.Fuse != nil:
		pl.ohms = float64(p.Fuse.Cold + p.Fuse.Holder)
	case p.Diode != nil:
		pl.ohms, pl.drop = float64(p.Diode.Resistance), float64(p.Diode.Drop)
	case p.Plug != nil:
		pl.ohms = float64(p.Plug.Contact)
	case p.Adapter != nil:
		pl.ohms = float64(p.Adapter.Resistance)
	}
	own := of(faults, p.ID)
	for _, f := range own {
		pl.open = pl.open || slices.Contains(opening, f.Mode) || f.Mode == setup.HalfHome && f.Ohms == 0
		pl.tilted = pl.tilted || f.Mode == setup.Intermittent
		pl.ohms += float64(f.Ohms)
		if f.Mode == setup.Shorted {
			pl.drop = 0
		}
	}
	return pl, own
}
