package setup_test

import (
	"math"
	"slices"
	"testing"

	"lampwright/lessons/setup"
)

// kindsAndModes of a known pair, or of one in a set-up.
type kindsAndModes [2]struct {
	kind setup.Kind
	mode setup.Mode
}

func ofKnown(k setup.Pair) (km kindsAndModes) {
	km[0].kind, km[0].mode = k.First.Kind, k.First.Mode
	km[1].kind, km[1].mode = k.Second.Kind, k.Second.Mode
	return km
}

func ofFaults(t *testing.T, s *setup.Setup, fs [2]setup.Fault) (km kindsAndModes) {
	t.Helper()
	for i, f := range fs {
		kind, ok := s.PartKind(f.Part)
		if !ok {
			t.Fatalf("no part %q", f.Part)
		}
		km[i].kind, km[i].mode = kind, f.Mode
	}
	return km
}

func TestPairsOfTheDemoSetUps(t *testing.T) {
	for _, name := range setup.DemoNames {
		t.Run(name, func(t *testing.T) {
			s, err := setup.Demo(name)
			if err != nil {
				t.Fatal(err)
			}
			at := func(id string) int { return slices.IndexFunc(s.Chain, func(p setup.Part) bool { return p.ID == id }) }
			sums := map[kindsAndModes]float64{}
			for _, p := range s.Pairs() {
				km := ofFaults(t, s, p.Faults)
				sums[km] += p.Prior
				for _, f := range p.Faults {
					if !slices.Contains(s.Faults(), f) {
						t.Errorf("%v is no fault of this set-up at its usual severity", f)
					}
				}
				if p.Faults[0].Part == p.Faults[1].Part || !(p.Prior > 0) || !(p.Spread > 1) {
					t.Errorf("%+v", p)
				}
				if km[1].kind == setup.KindFuse {
					if a, fuse, converter := at(p.Faults[0].Part), at(p.Faults[1].Part), at("converter"); !(fuse < a && a < converter) {
						t.Errorf("%v cannot blow the fuse: it is no. %d in the chain, the fuse %d, the converter %d", p.Faults[0], a, fuse, converter)
					}
				}
			}
			for _, k := range setup.KnownPairs {
				km := ofKnown(k)
				if math.Abs(sums[km]-k.Prior) > 1e-12 {
					t.Errorf("%v: %g in all, known %g", km, sums[km], k.Prior)
				}
				delete(sums, km)
			}
			if len(sums) > 0 {
				t.Errorf("pairs that nobody knows: %v", sums)
			}
		})
	}
}

// By hand, from the chain of Chair 12: two leads and one joint lie between fuse
// and converter, and each plug has an inlet of its own.
func TestPairsOfChair12(t *testing.T) {
	s, err := setup.Demo("chair-12")
	if err != nil {
		t.Fatal(err)
	}
	want := map[[2]string]float64{
		{"lead-battery=open", "fuse=blown"}:               .005,
		{"lead-middle=open", "fuse=blown"}:                .005,
		{"joint-battery=crossed", "fuse=blown"}:           .004,
		{"joint-battery=reversed", "fuse=blown"}:          .003,
		{"joint-battery=high-resistance:6", "fuse=blown"}: .002,
		{"battery=aged", "converter=cut-out"}:             .006,
		{"battery=flat", "internal=flat"}:                 .01,
		{"internal=aged", "battery=aged"}:                 .003,
		{"adapter-plug=pushed-in", "inlet-mains=failed"}:  .001,
		{"plug=pushed-in", "inlet-chair=failed"}:          .001,
	}
	for _, p := range s.Pairs() {
		key := [2]string{p.Faults[0].String(), p.Faults[1].String()}
		prior, ok := want[key]
		if !ok || math.Abs(p.Prior-prior) > 1e-12 {
			t.Errorf("%v at %g, want %g", key, p.Prior, prior)
		}
		delete(want, key)
	}
	for key := range want {
		t.Errorf("%v is missing", key)
	}
}

// Without a fuse nothing blows one, and without a converter everything behind
// the fuse can.
func TestPairsOfOtherChains(t *testing.T) {
	for name, c := range map[string]struct {
		without func(p setup.Part) bool
		want    []string // what comes with a blown fuse
	}{
		"no fuse":      {func(p setup.Part) bool { return p.Fuse != nil }, nil},
		"no converter": {func(p setup.Part) bool { return p.Converter != nil }, []string{"lead-battery=open", "lead-middle=open", "lead-out=open", "lead-ventilator=open"}},
	} {
		s, err := setup.Demo("chair-12")
		if err != nil {
			t.Fatal(err)
		}
		s.Chain = slices.DeleteFunc(s.Chain, c.without)
		var got []string
		for _, p := range s.Pairs() {
			if p.Faults[1].Mode == setup.Blown && p.Faults[0].Mode == setup.Open {
				got = append(got, p.Faults[0].String())
				if math.Abs(p.Prior-.01/4) > 1e-12 {
					t.Errorf("%s: %v at %g, want a quarter of 0.01", name, p.Faults, p.Prior)
				}
			}
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
}
