package diagnosis_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"lampwright/lessons/setup"
	. "lampwright/quiz/diagnosis"
)

var blownFuse = PriorKey{setup.KindFuse, setup.Blown}

func near(t testing.TB, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: got %g, expected %g", what, got, want)
	}
}

// all is the sum over all parts.
func all(p Priors, parts map[setup.Kind]float64) float64 {
	sum := 0.0
	for key, x := range p {
		n := parts[key.Kind]
		if n == 0 {
			n = 1
		}
		sum += x * n
	}
	return sum
}

func TestLearnFromNothing(t *testing.T) {
	for _, parts := range []map[setup.Kind]float64{nil, {setup.KindJoint: 2, setup.KindLead: 3.5}} {
		p := Learn(nil, parts)
		if len(p) != len(setup.Known) {
			t.Fatalf("%d priors, expected %d", len(p), len(setup.Known))
		}
		for _, k := range setup.Known {
			near(t, string(k.Kind)+" "+string(k.Mode), p[PriorKey{k.Kind, k.Mode}], k.Prior, 1e-12)
		}
	}
}

// By hand: 50 calls of the trade and 50 of our own, all of them blown fuses,
// make half of the sum, and half of what the trade says on top of it.
func TestLearnFromAsManyCallsAsTheTrade(t *testing.T) {
	trade := all(Learn(nil, nil), nil)
	p := Learn(map[PriorKey]int{blownFuse: 50}, nil)
	near(t, "blown fuse", p[blownFuse], .5*.06+.5*trade, 1e-12)
	near(t, "failed converter", p[PriorKey{setup.KindConverter, setup.Failed}], .5*.03, 1e-12)
}

func TestLearnFromManyCalls(t *testing.T) {
	joint := PriorKey{setup.KindJoint, setup.Open}
	parts := map[setup.Kind]float64{setup.KindJoint: 2}
	trade := all(Learn(nil, parts), parts)
	p := Learn(map[PriorKey]int{blownFuse: 750_000, joint: 250_000}, parts)
	near(t, "blown fuse", p[blownFuse], .75*trade, 1e-3)
	near(t, "each of two joints", p[joint], .125*trade, 1e-3)
}

func TestLearnIsMonotoneAndKeepsTheSum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		counts := map[PriorKey]int{{setup.KindLamp, setup.Blown}: 7} // which is not known
		for _, k := range setup.Known {
			counts[PriorKey{k.Kind, k.Mode}] = rapid.IntRange(0, 40).Draw(t, string(k.Kind)+" "+string(k.Mode))
		}
		parts := map[setup.Kind]float64{setup.KindJoint: rapid.Float64Range(.5, 6).Draw(t, "joints")}
		before := Learn(counts, parts)
		if got, want := all(before, parts), all(Learn(nil, parts), parts); math.Abs(got-want) > 1e-9 {
			t.Fatalf("sum %g, expected %g", got, want)
		}
		one := rapid.SampledFrom(setup.Known).Draw(t, "one more")
		key := PriorKey{one.Kind, one.Mode}
		counts[key]++
		for k, p := range Learn(counts, parts) {
			if p <= 0 || k == key && p <= before[k] || k != key && p >= before[k] {
				t.Fatalf("%v went from %g to %g with one more %v", k, before[k], p, key)
			}
		}
	})
}

// What is learnt reaches what is believed.
func TestLearntPriorsMoveTheCauses(t *testing.T) {
	s := demo(t, "chair-12")
	seen := []Done{{Check: PersonID, Shows: PersonOK}, {Check: "panel", Shows: "internal"}}
	chance := func(p Priors) float64 {
		m, err := NewModel(s, p)
		if err != nil {
			t.Fatal(err)
		}
		d, err := m.Think(Care{}, seen)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range d.Causes() {
			if len(c.Faults) == 1 && c.Faults[0].Part == "fuse" && c.Faults[0].Mode == setup.Blown {
				return c.P
			}
		}
		return 0
	}
	if before, after := chance(nil), chance(Learn(map[PriorKey]int{blownFuse: 10}, nil)); after < 1.5*before {
		t.Errorf("after ten blown fuses one is %.3f likely, before %.3f", after, before)
	}
}

func TestSlipped(t *testing.T) {
	fault := func(part string, mode setup.Mode) *setup.Fault { return &setup.Fault{Part: part, Mode: mode} }
	for name, c := range map[string]struct {
		setup  string
		found  *setup.Fault
		ending Verb
		want   Slip
	}{
		"a switch knocked off, and called":                  {"chair-12", fault("inlet-switch", setup.Off), CallTech, CalledFixable},
		"a plug half home, and called":                      {"chair-12", fault("plug", setup.HalfHome), CallChair, CalledFixable},
		"a joint apart, where joints are not theirs":        {"chair-12", fault("joint-battery", setup.Open), CallTech, NoSlip},
		"a joint apart, where joints are theirs":            {"chair-7", fault("joint-battery", setup.Open), CallTech, CalledFixable},
		"a blown fuse, and called":                          {"chair-12", fault("fuse", setup.Blown), CallTech, NoSlip},
		"a blown fuse, said to be solved":                   {"chair-12", fault("fuse", setup.Blown), Solved, SolvedNot},
		"a blown fuse, not trusted":                         {"chair-12", fault("fuse", setup.Blown), Untrusted, NoSlip},
		"a switch knocked off, solved":                      {"chair-12", fault("inlet-switch", setup.Off), Solved, NoSlip},
		"nothing wrong, and called":                         {"chair-12", nil, CallTech, CalledNothing},
		"misread, and called":                               {"chair-12", fault("panel", setup.Misread), CallTech, CalledNothing},
		"nothing wrong, solved":                             {"chair-12", nil, Solved, NoSlip},
		"nothing wrong, and the emergency number":           {"chair-12", nil, CallRescue, NoSlip},
		"a switch knocked off, and the clinical line":       {"chair-12", fault("inlet-switch", setup.Off), CallClinic, NoSlip},
		"a plug out, and the emergency number: never wrong": {"chair-12", fault("plug", setup.Open), CallRescue, NoSlip},
	} {
		t.Run(name, func(t *testing.T) {
			s := *demo(t, c.setup)
			s.Policy.RemateJoint = c.setup == "chair-7"
			if got := Slipped(&s, c.found, c.ending); got != c.want {
				t.Errorf("got %q, expected %q", got, c.want)
			}
		})
	}
}
