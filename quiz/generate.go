package quiz

import (
	"slices"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
	"lampwright/locales/problem"
	"lampwright/quiz/bench"
	"lampwright/quiz/diagnosis"
)

// The seeds that mean something of their own.
const (
	Fixed  uint64 = 0 // every run before seeds were drawn
	Worked uint64 = 1 // the worked example's
)

// Generate draws where a scenario starts on a model's set-up: the hidden fault
// among those that fit, by how often they come, and the minutes left. What
// cannot be told for sure, or not in time, is never drawn. The same seed draws
// the same. It is problem.Invalid where nothing fits.
func Generate(m *diagnosis.Model, sc Scenario, seed uint64) (bench.Start, error) {
	return newGuide(m).generate(sc, seed)
}

func (g *guide) generate(sc Scenario, seed uint64) (bench.Start, error) {
	s := g.m.Setup
	if seed == Fixed && sc.Faults != nil {
		return sc.fixed(s)
	}
	list, err := sc.candidates(s)
	if err != nil {
		return bench.Start{}, err
	}
	d := draw(seed)
	for len(list) > 0 {
		i := d.pick(list)
		start := sc.start(s, list[i].fault)
		start.Minutes = sc.minutes(s, d.next())
		if g.fair(start) {
			return start, nil
		}
		list = slices.Delete(list, i, i+1)
	}
	return bench.Start{}, problem.New(problem.Invalid, "problem.scenario-unfit")
}

// start is where the scenario begins with a fault, all but the minutes.
func (sc Scenario) start(s *setup.Setup, f setup.Fault) bench.Start {
	return bench.Start{Setup: s, Faults: []setup.Fault{f}, MainsInReach: sc.MainsInReach, Day: sc.Day, Mains: sc.Mains}
}

// fixed opens the scenario without a seed: its fault is the first of Faults
// that this set-up can have and that takes the chair supply away in the way of
// the story.
func (sc Scenario) fixed(s *setup.Setup) (bench.Start, error) {
	for _, text := range sc.Faults {
		f, err := s.ParseFault(text)
		if err != nil {
			continue // not a part of this set-up
		}
		ok, err := sc.behaves(s, f)
		if err != nil {
			return bench.Start{}, err
		}
		if ok {
			return bench.Start{Setup: s, Faults: []setup.Fault{f}, MainsInReach: sc.MainsInReach, Minutes: sc.Minutes}, nil
		}
	}
	return bench.Start{}, problem.New(problem.Invalid, "problem.scenario-unfit")
}

// behaves tells whether a fault changes the source in the way of the story.
func (sc Scenario) behaves(s *setup.Setup, f setup.Fault) (bool, error) {
	st, err := circuit.Solve(s, conditions(sc.start(s, f)))
	as := sc.Kind == "" || st.Kind == sc.Kind
	switch {
	case sc.Mains:
		return as && st.Source != setup.Mains, err
	case sc.From != "":
		return as && st.Source == sc.From, err
	}
	return as && st.Source == setup.Internal, err
}

// conditions are those of a start.
func conditions(start bench.Start) circuit.Conditions {
	c := circuit.Usual(start.Faults...)
	c.Mains = start.Mains
	return c
}

// hides tells whether a fault is one for the objective, by how it is right to
// end and what shows of it.
func (sc Scenario) hides(s *setup.Setup, f setup.Fault) bool {
	if kind, _ := s.PartKind(f.Part); sc.Parts != nil && !slices.Contains(sc.Parts, kind) {
		return false
	}
	look, end := knownOf(s, f).Look, endings(sc.start(s, f))[0]
	shows := look != setup.LookSound && look != setup.LookContactIn
	switch sc.Objective {
	case findSafely:
		return end == diagnosis.Solved && shows
	case callRight:
		return (end == diagnosis.CallClinic || slices.Contains(calls, end)) && shows
	case leaveApart:
		return end != diagnosis.Solved && slices.Contains([]setup.Look{setup.LookDiscoloured, setup.LookHalfHome, setup.LookCrossed}, look)
	case mistrust:
		return end == diagnosis.Untrusted
	}
	return false
}

// candidate is a fault that a scenario may hide. Its weight is the trade's
// prior, never what a programme learnt: a seed must not draw anew after that.
type candidate struct {
	fault setup.Fault
	prior float64
}

func (sc Scenario) candidates(s *setup.Setup) (list []candidate, err error) {
	for _, f := range s.Faults() {
		if !sc.hides(s, f) {
			continue
		}
		ok, err := sc.behaves(s, f)
		if err != nil {
			return nil, err
		}
		if ok {
			list = append(list, candidate{f, knownOf(s, f).Prior})
		}
	}
	return list, nil
}

// minutes lie within the story's bounds, in steps of five, and within what the
// internal battery was tested to give.
func (sc Scenario) minutes(s *setup.Setup, at float64) float64 {
	most := sc.Minutes
	if tested := float64(s.Ventilator.Internal.Tested); tested > 0 {
		most = max(sc.Least, min(most, tested))
	}
	return sc.Least + 5*float64(int(at*((most-sc.Least)/5+1)))
}

// draw is a row of numbers from a seed: splitmix64, the steps of which are a
// counter and a mixer (Steele, Lea and Flood 2014; constants from memory).
type draw uint64

// next is a number from 0 to 1, without 1.
func (d *draw) next() float64 {
	*d += 0x9e3779b97f4a7c15
	z := uint64(*d)
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	z ^= z >> 31
	return float64(z>>11) / (1 << 53)
}

// pick draws one by its weight.
func (d *draw) pick(list []candidate) int {
	total := 0.0
	for _, c := range list {
		total += c.prior
	}
	at := d.next() * total
	for i, c := range list {
		if at -= c.prior; at < 0 {
			return i
		}
	}
	return len(list) - 1
}
