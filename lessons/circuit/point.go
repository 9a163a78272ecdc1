package circuit

import (
	"slices"

	"lampwright/lessons/setup"
)

// mainsCarries reports whether the mains side holds the load inside the
// inlet's window and the adapter's limit.
func (n *network) mainsCarries(load float64) bool {
	r, whole := n.mains.through()
	if !n.alive || !whole {
		return false
	}
	v, ok := UpperRoot(float64(n.adapter.Output), r, load)
	return ok && within(v, n.mainsInlet) && load <= float64(n.adapter.Limit)*v
}

func within(v float64, in *setup.Inlet) bool { return v >= float64(in.Low) && v <= float64(in.High) }

// chairCarries tries the load on the chain. Where the loaded chain cannot hold
// it and the unloaded one comes back, it hunts; where it may not come back, it
// has collapsed: a converter that tripped for good is dark from then on.
func (n *network) chairCarries(load float64) (Kind, bool) {
	rest := n.chair(0)
	if !within(rest.inlet, n.chairInlet) {
		return Steady, false // never taken
	}
	loaded := n.chair(load)
	switch {
	case loaded.ok && within(loaded.inlet, n.chairInlet):
		return Steady, true
	case loaded.tripped && (n.converter.Latched || rest.input < float64(n.converter.Restart)):
		n.dark = true // and nothing brings it back
		return Collapsed, false
	case !loaded.tripped && !n.chairInlet.Retries:
		return Collapsed, false
	}
	return Hunting, false
}

// chairPoint is an operating point of the chain.
type chairPoint struct {
	ok      bool
	tripped bool    // the converter, not the ventilator, let go
	input   float64 // volts at the converter's input, or the inlet without one
	inlet   float64
	amps    float64 // leaving the battery
	out     float64 // amps leaving the converter
}

// chair solves the chain with a constant-power load at the inlet.
func (n *network) chair(load float64) chairPoint {
	r1, whole := n.input.through()
	if !whole {
		return chairPoint{}
	}
	r1 += n.inner
	if n.converter == nil {
		v, ok := UpperRoot(n.emf, r1, load)
		return chairPoint{ok: ok, input: v, inlet: v, amps: over(load, v)}
	}
	if n.dark {
		return chairPoint{ok: load == 0, input: n.emf}
	}
	vout := float64(n.converter.Output)
	p := chairPoint{ok: true}
	out := 0.0
	if r2, whole := n.output.through(); whole {
		v, ok := UpperRoot(vout, r2, load)
		if !ok {
			// No operating point behind the converter: its limit holds the
			// current, the inlet falls below its window, the ventilator lets go.
			return chairPoint{}
		}
		p.inlet, p.out = v, over(load, v)
		out = vout * p.out
	} else if load > 0 {
		return chairPoint{}
	}
	if p.out > float64(n.converter.Limit) {
		return chairPoint{tripped: true}
	}
	pin := InputWatts(n.converter, out)
	v, ok := UpperRoot(n.emf, r1, pin)
	if !ok || v < float64(n.converter.CutOut) {
		return chairPoint{tripped: true}
	}
	p.input, p.amps = v, over(pin, v)
	return p
}

func over(watts, volts float64) float64 {
	if watts == 0 {
		return 0
	}
	return watts / volts
}

// operating is the load each outside source carries in the final state.
type operating struct{ mainsLoad, chairLoad float64 }

// solve fills in the nodes, the battery's amps and watts, what is live, the
// heats, and the deck of the same discrete state.
func (n *network) solve(st *State, op operating, mainsIn, shared bool) {
	st.Live, st.Heats = map[string]bool{}, map[string]Heat{}
	p := n.chair(op.chairLoad)
	if !p.ok {
		// At rest the converter cannot stay on either: it is off.
		n.dark = n.converter != nil
		p = n.chair(op.chairLoad)
	}
	tapped := n.emf - p.amps*n.inner
	st.Amps, st.Watts = p.amps, p.amps*tapped
	st.put(n.battery, tapped+n.above, 0)
	st.walk(&n.input, tapped, p.amps)
	lit := n.converter != nil && !n.dark && p.input > 0
	if n.converter != nil && !lit {
		st.unlit = append(st.unlit, n.converterID)
	}
	if mainsIn && !n.alive {
		st.unlit = append(st.unlit, n.adapterID)
	}
	if n.converter != nil {
		vout := 0.0
		if lit {
			vout = float64(n.converter.Output)
		}
		st.put(n.converterID, vout, 0) // it sheds its losses by design
		out := n.output
		if shared && mainsIn {
			out = parked(out, n.chairInlet.ID)
		}
		st.walk(&out, vout, p.out)
		n.output = out
	} else if shared && mainsIn {
		n.input = parked(n.input, n.chairInlet.ID)
	}
	vm, im := 0.0, 0.0
	if n.alive {
		vm = float64(n.adapter.Output)
		if op.mainsLoad > 0 {
			r, _ := n.mains.through()
			v, _ := UpperRoot(vm, r, op.mainsLoad)
			im = over(op.mainsLoad, v)
		}
	}
	mains := n.mains
	if shared && !mainsIn {
		mains = parked(mains, n.mainsInlet.ID)
	}
	st.walk(&mains, vm, im)
	n.mains = mains
	st.deck = n.write(op, lit, vm)
}

// parked is a stretch whose plug is not in the shared inlet: it ends before it.
func parked(g segment, inlet string) segment {
	i := slices.Index(g.ids, inlet)
	if i < 0 {
		return g
	}
	return segment{g.ids[:i], g.ohms[:i], g.open[:i]}
}

// walk puts the nodes of a series stretch.
func (st *State) walk(g *segment, from, amps float64) {
	v := from
	for i, id := range g.ids {
		if g.open[i] {
			v = 0
		} else {
			v -= amps * g.ohms[i]
		}
		watts := amps * amps * g.ohms[i]
		if v == 0 {
			watts = 0
		}
		st.put(id, v, watts)
	}
}

func (st *State) put(id string, volts, watts float64) {
	st.Nodes = append(st.Nodes, Node{id, volts})
	if volts > 0.5 {
		st.Live[id] = true
	}
	switch {
	case watts > 3:
		st.Heats[id] = Hot
	case watts >= 0.5:
		st.Heats[id] = Warm
	}
}
