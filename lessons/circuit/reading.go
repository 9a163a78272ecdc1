package circuit

import (
	"math"

	"lampwright/lessons/setup"
)

// Reading is what a meter on direct volts should read between the two
// conductors after a part: with nothing drawn, at the average, and at the top
// of a breath. A reading below Least or above Most says that the state is
// another one.
type Reading struct {
	ID               string
	Rest, Load, Peak float64 // V
	Least, Most      float64 // V
}

// A hand-held meter's allowance: a share of the reading, and volts (common
// practice, no source).
const (
	meterShare = .005
	meterVolts = .05
)

// Readings are the expected volts at every node of a set-up in some
// conditions. Errors as Solve.
func Readings(s *setup.Setup, c Conditions) ([]Reading, error) {
	st, err := Solve(s, c) // checks, and finds a fuse that cannot bear its load
	if err != nil {
		return nil, err
	}
	if st.Look(fuseOf(s)) == setup.LookBlown {
		c.Faults = append(c.Faults[:len(c.Faults):len(c.Faults)], setup.Fault{Part: fuseOf(s), Mode: setup.Blown})
	}
	n, err := Build(s, c.Faults, c.Celsius)
	if err != nil {
		return nil, err
	}
	m := c.moment(s)
	var load Point
	n.Solve(&m, &load)
	rise := math.Max(m.Load, m.Peak) - m.Load
	rest, peak := n.with(&m, load, 0), n.with(&m, load, rise)
	var out []Reading
	i := 0
	n.each(&load, func(pl *place, volts, _ float64) {
		if !math.IsNaN(volts) {
			r := Reading{ID: pl.id, Rest: rest.Volts[i], Load: volts, Peak: peak.Volts[i]}
			low, high := math.Min(r.Rest, math.Min(r.Load, r.Peak)), math.Max(r.Rest, math.Max(r.Load, r.Peak))
			r.Least, r.Most = math.Max(0, low-low*meterShare-meterVolts), high+high*meterShare+meterVolts
			out = append(out, r)
		}
		i++
	})
	return out, nil
}

// with is a point in the same state, with more drawn by what carries, or, for
// zero, with nothing drawn.
func (n *Network) with(m *Moment, p Point, more float64) Point {
	p.Volts = nil
	b := n.bank(m)
	change := func(w *float64) {
		if *w > 0 && more == 0 {
			*w = 0
		} else if *w > 0 {
			*w += more
		}
	}
	change(&p.chairLoad)
	change(&p.mainsLoad)
	p.Mains = 0
	n.fillIn(m, &b, n.converter != nil && !p.Lit, chairPoint{}, &p)
	return p
}

func fuseOf(s *setup.Setup) string {
	for i := range s.Chain {
		if s.Chain[i].Fuse != nil {
			return s.Chain[i].ID
		}
	}
	return ""
}

// Bears is the severity a place can bear: the greatest resistance added at a
// part through which the chair still carries the usual draw, breaths included,
// at 20 °C. It is zero where the chair does not carry even without one, and
// MostOhms where the part is not in the chair's path. Errors as Solve.
func Bears(s *setup.Setup, part string) (setup.Ohms, error) {
	carries := func(ohms setup.Ohms) (bool, error) {
		n, err := Build(s, nil, 20)
		if err != nil {
			return false, err
		}
		for _, g := range []*segment{&n.input, &n.output} {
			for i := range g.places {
				if g.places[i].id == part {
					g.places[i].ohms += float64(ohms)
					g.ohms += float64(ohms)
				}
			}
		}
		c := Usual()
		m := c.moment(s)
		var p Point
		n.Solve(&m, &p)
		return p.Source == setup.Chair, nil
	}
	low, high := math.Log(float64(setup.LeastOhms)), math.Log(float64(setup.MostOhms))
	switch ok, err := carries(setup.LeastOhms); {
	case err != nil || !ok:
		return 0, err
	}
	if ok, err := carries(setup.MostOhms); err != nil || ok {
		return setup.MostOhms, err
	}
	for high-low > 1e-9 {
		middle := (low + high) / 2
		if ok, err := carries(setup.Ohms(math.Exp(middle))); err != nil {
			return 0, err
		} else if ok {
			low = middle
		} else {
			high = middle
		}
	}
	return setup.Ohms(math.Exp(low)), nil
}
