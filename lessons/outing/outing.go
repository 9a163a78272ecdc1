// Package outing is the set-up in time: how long the chair's battery, then the
// internal one, carry the ventilator while the chair is driven, stands, and
// finds mains; a plan's timeline with its band from worst to typical; by when
// to be on mains, and what would help most.
//
// Time goes from event to event: the end of a leg, a bend in a battery's
// curve, a changeover, a cut-out, a fuse. Nothing here reads a clock, draws or
// judges skill, and nothing here is a promise of minutes.
package outing

import (
	"slices"
	"time"

	"lampwright/lessons/setup"
)

// Plan is a way out and back. It ends on mains, as every outing must.
type Plan struct {
	Leaves   time.Time // in the site's zone
	Legs     []Leg
	Load     setup.Watts // what breathing takes on average
	Celsius  float64
	Chair    Pack
	Internal Reserve
	Faults   []setup.Fault
}

// Kind of a leg.
type Kind string

// The kinds of leg.
const (
	Drive Kind = "drive"
	Stand Kind = "stand"
	Mains Kind = "mains" // an outlet within reach
)

// Leg is one stretch of an outing.
type Leg struct {
	Kind         Kind
	Km           setup.Kilometres // of a drive
	Minutes      setup.Minutes    // of a stand or at mains; of a drive, from its km and the chair's speed
	Adapter      bool             // at mains: the ventilator's adapter is carried along, and used
	ChairCharger bool             // at mains: so is the chair's charger
	Tilted       bool             // the chair is tilted or reclined
}

// Pack is what is known of the chair's battery.
type Pack struct {
	Charges  []float64     // of each block, 0 to 1
	Years    float64       // since it was new
	Measured setup.Minutes // last measured from full, standing, at the usual setting; 0 if never
	Since    float64       // years since that
}

// Reserve is what is known of the internal battery.
type Reserve struct {
	Charge   float64       // 0 to 1
	Measured setup.Minutes // runtime last tested at the usual setting; 0 if never
	Years    float64       // since that test
}

// Usual is a plan without legs: leaving then, with everything as the set-up
// says.
func Usual(s *setup.Setup, leaves time.Time) Plan {
	p := Plan{Leaves: leaves, Load: s.Ventilator.Draw.Usual, Celsius: 20}
	b, cell := s.Battery(), s.Ventilator.Internal
	p.Chair.Years = b.Years
	for _, bl := range b.Blocks {
		p.Chair.Charges = append(p.Chair.Charges, bl.Charge)
	}
	p.Internal = Reserve{Charge: cell.Charge, Measured: cell.Tested}
	if on, err := time.Parse(time.DateOnly, cell.TestedOn); err != nil || on.After(leaves) {
		p.Internal.Measured = 0 // a test that has not been yet is none
	} else {
		p.Internal.Years = years(on, leaves)
	}
	return p
}

func years(from, to time.Time) float64 { return to.Sub(from).Hours() / 24 / 365.25 }

// charge puts every block of the pack at a charge.
func (p *Plan) charge(to float64) {
	p.Chair.Charges = slices.Repeat([]float64{to}, len(p.Chair.Charges))
}

// seconds of a leg.
func (l Leg) seconds(s *setup.Setup) float64 {
	if l.Kind == Drive {
		return float64(l.Km) / float64(s.Drive.Speed) * 3600
	}
	return float64(l.Minutes) * 60
}

// plugged is a leg with the adapter in an outlet and in the ventilator.
func (l Leg) plugged() bool { return l.Kind == Mains && l.Adapter }
