package circuit_test

import (
	"math"
	"testing"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
)

// By hand, Chair 12 at 90 % (two blocks at 12.6 V) and a one-ohm joint: at
// rest only the converter's idle 1.2 W flows (48 mA); breathing takes 22 W,
// its top 37.7 W.
func TestReadingsOfAHalfHomeJoint(t *testing.T) {
	r, err := circuit.Readings(demo(t, "chair-12"), circuit.Usual(setup.Fault{Part: "joint-battery", Mode: setup.HalfHome, Ohms: 1}))
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]circuit.Reading{}
	for _, x := range r {
		got[x.ID] = x
	}
	j := got["joint-battery"]
	if math.Abs(j.Rest-25.15) > .02 || math.Abs(j.Load-24.1) > .1 || math.Abs(j.Peak-23.3) > .15 {
		t.Errorf("after the joint %+v", j)
	}
	if before := got["lead-battery"]; before.Peak < 25 || before.Least > before.Peak || before.Most < before.Rest {
		t.Errorf("before the joint %+v", before)
	}
	if out := got["converter"]; out.Rest != 13.8 || out.Peak != 13.8 {
		t.Errorf("after the converter %+v", out)
	}
}

func TestReadingsOfAnOpenChain(t *testing.T) {
	r, err := circuit.Readings(demo(t, "chair-7"), circuit.Usual(setup.Fault{Part: "lead-battery", Mode: setup.Pinched}))
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range r {
		live := x.ID == "battery" || x.ID == "isolator" || x.ID == "tap"
		if live != (x.Rest > 12) || x.Rest != x.Load || x.Load != x.Peak {
			t.Errorf("%+v", x)
		}
	}
}

// What a place can bear lies where the chair just carries.
func TestBears(t *testing.T) {
	for name, parts := range map[string][]string{"chair-12": {"joint-battery", "plug", "fuse"}, "chair-7": {"tap", "joint-ventilator"}, "chair-21": {"lead-out"}} {
		s := demo(t, name)
		for _, part := range parts {
			most, err := circuit.Bears(s, part)
			if err != nil || most < .1 || most > 20 {
				t.Fatalf("%s %s: %g Ω, %v", name, part, most, err)
			}
			kind, _ := s.PartKind(part)
			mode := setup.HighResistance
			if kind == setup.KindFuse {
				mode = setup.HolderHeated
			}
			for share, want := range map[float64]bool{.999: true, 1.001: false} {
				st, err := circuit.Solve(s, circuit.Usual(setup.Fault{Part: part, Mode: mode, Ohms: most * setup.Ohms(share)}))
				if err != nil || (st.Source == setup.Chair) != want {
					t.Errorf("%s %s at %g of %g Ω: %s, %v", name, part, share, most, st.Source, err)
				}
			}
		}
	}
	if most, err := circuit.Bears(demo(t, "chair-12"), "adapter"); err != nil || most != setup.MostOhms {
		t.Errorf("a part of the mains side bears %g Ω, %v", most, err)
	}
}
