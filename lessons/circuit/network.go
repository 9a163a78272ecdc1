package circuit

import (
	"math"
	"slices"

	"lampwright/lessons/setup"
)

// segment is a stretch of series parts behind one voltage source.
type segment struct {
	ids  []string
	ohms []float64
	open []bool
}

func (g *segment) add(id string, ohms float64, open bool) {
	g.ids, g.ohms, g.open = append(g.ids, id), append(g.ohms, ohms), append(g.open, open)
}

// through is the whole resistance, and false where the stretch is open.
func (g *segment) through() (float64, bool) {
	r := 0.0
	for i := range g.ids {
		if g.open[i] {
			return 0, false
		}
		r += g.ohms[i]
	}
	return r, true
}

// network is a set-up with its faults applied, ready to be solved.
type network struct {
	emf, inner  float64 // of what the chain taps
	above       float64 // open-circuit volts of the blocks above a one-block tap
	battery     string
	input       segment // from the battery to the converter, or to the inlet without one
	converter   *setup.Converter
	converterID string
	dark        bool    // the converter gives nothing
	output      segment // from the converter to the inlet
	chairInlet  *setup.Inlet
	mains       segment // from the adapter to the inlet
	adapter     *setup.Adapter
	adapterID   string
	alive       bool // the adapter gives volts
	mainsInlet  *setup.Inlet
}

// build applies the faults.
func build(s *setup.Setup, c Conditions) *network {
	n := &network{chairInlet: s.Ventilator.InletFor(setup.Chair), mainsInlet: s.Ventilator.InletFor(setup.Mains)}
	at := &n.input
	for i := range s.Chain {
		p := &s.Chain[i]
		ohms, open, faults := partOhms(p, c)
		switch {
		case p.Battery != nil:
			n.battery = p.ID
			tap := tapOf(s)
			for b, block := range p.Battery.Blocks {
				charge, r := block.Charge, float64(block.Resistance)
				if c.Chair != nil {
					charge = *c.Chair
				}
				for _, f := range faults {
					switch f.Mode {
					case setup.Flat:
						charge = math.Min(charge, flatCharge)
					case setup.Aged:
						r *= agedOhms
					}
				}
				v := OpenCircuit(p.Battery.Chemistry, charge)
				if tap.Block == 0 || b < tap.Block {
					n.emf += v
					n.inner += r
				} else {
					n.above += v
				}
			}
		case p.Isolator != nil:
			if tapOf(s).At != setup.AtPosts { // the posts are before the isolator
				at.add(p.ID, ohms, open)
			}
		case p.Converter != nil:
			n.converter, n.converterID = p.Converter, p.ID
			n.dark = open || c.Latched
			at = &n.output
		default:
			at.add(p.ID, ohms, open)
		}
	}
	n.inlet(&n.input, &n.output, c)
	n.alive = c.Mains
	for i := range s.Mains {
		p := &s.Mains[i]
		ohms, open, _ := partOhms(p, c)
		switch {
		case p.Outlet != nil, p.Cord != nil:
			n.alive = n.alive && !open
		case p.Adapter != nil:
			n.adapter, n.adapterID = p.Adapter, p.ID
			n.alive = n.alive && !open
			n.mains.add(p.ID, ohms, false)
		default:
			n.mains.add(p.ID, ohms, open)
		}
	}
	ohms, open := inletOhms(n.mainsInlet, c)
	n.mains.add(n.mainsInlet.ID, ohms, open)
	return n
}

func (n *network) inlet(input, output *segment, c Conditions) {
	at := input
	if n.converter != nil {
		at = output
	}
	if id := n.chairInlet.Switch; id != "" {
		at.add(id, 0, slices.ContainsFunc(c.Faults, func(f setup.Fault) bool { return f.Part == id && f.Mode == setup.Off }))
	}
	ohms, open := inletOhms(n.chairInlet, c)
	at.add(n.chairInlet.ID, ohms, open)
}

func inletOhms(in *setup.Inlet, c Conditions) (float64, bool) {
	failed := slices.ContainsFunc(c.Faults, func(f setup.Fault) bool { return f.Part == in.ID && f.Mode == setup.Failed })
	return float64(in.Contact), failed
}

func tapOf(s *setup.Setup) *setup.Tap {
	for i := range s.Chain {
		if t := s.Chain[i].Tap; t != nil {
			return t
		}
	}
	return &setup.Tap{}
}

// opening are the modes through which nothing passes.
var opening = []setup.Mode{
	setup.Off, setup.Asleep, setup.Open, setup.Reversed, setup.Crossed, setup.PushedIn, setup.Blown,
	setup.Missing, setup.CutOut, setup.Failed,
}

// partOhms is a part's series resistance under its faults, whether it is open,
// and those faults.
func partOhms(p *setup.Part, c Conditions) (ohms float64, open bool, faults []setup.Fault) {
	switch {
	case p.Isolator != nil:
		ohms = float64(p.Isolator.Resistance)
	case p.Tap != nil:
		ohms = float64(p.Tap.Resistance)
	case p.Lead != nil:
		ohms = float64(setup.CopperLoop(p.Lead.Length, p.Lead.Conductor, c.Celsius))
	case p.Joint != nil:
		ohms = float64(p.Joint.Contact)
	case p.Fuse != nil:
		ohms = float64(p.Fuse.Cold + p.Fuse.Holder)
	case p.Plug != nil:
		ohms = float64(p.Plug.Contact)
	case p.Adapter != nil:
		ohms = float64(p.Adapter.Resistance)
	}
	for _, f := range c.Faults {
		if f.Part != p.ID {
			continue
		}
		faults = append(faults, f)
		open = open || slices.Contains(opening, f.Mode) || f.Mode == setup.HalfHome && f.Ohms == 0
		ohms += float64(f.Ohms)
	}
	return ohms, open, faults
}
