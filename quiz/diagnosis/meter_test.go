package diagnosis_test

import (
	"math"
	"slices"
	"testing"

	"lampwright/lessons/setup"
	. "lampwright/quiz/diagnosis"
)

// three are the causes of the tests by hand, all of which leave Chair 12 on
// its internal battery.
func three(p ...float64) []Ranked {
	return []Ranked{
		{Faults: []setup.Fault{{Part: "fuse", Mode: setup.Blown}}, P: p[0]},
		{Faults: []setup.Fault{{Part: "joint-battery", Mode: setup.Open}}, P: p[1]},
		{Faults: []setup.Fault{{Part: "converter", Mode: setup.Failed}}, P: p[2]},
	}
}

func meter(t testing.TB, causes []Ranked, mains bool) *Meter {
	t.Helper()
	m, err := NewMeter(demo(t, "chair-12"), causes, mains)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// By hand: the pack, two blocks, gives 24.2 V half full (12.1 V each) and
// 25.4 V full (12.7 V each); nothing flows. A meter may be off by half a
// hundredth and .05 V.
func TestMeterBandsByHand(t *testing.T) {
	m := meter(t, three(.4, .3, .3), false)
	nodes := m.Nodes()
	at := func(id string) Node {
		t.Helper()
		i := slices.IndexFunc(nodes, func(n Node) bool { return n.ID == id })
		if i < 0 {
			t.Fatalf("nothing is told at %s", id)
		}
		return nodes[i]
	}
	dead, live := Band{0, .05}, Band{24.2 - .121 - .05, 25.4 + .127 + .05}
	for id, want := range map[string][]Band{
		"fuse":          {dead, live, live},
		"lead-battery":  {dead, live, live},
		"joint-battery": {dead, dead, live},
		"lead-middle":   {dead, dead, live},
	} {
		for i, b := range at(id).Bands {
			near(t, id+" least", b.Least, want[i].Least, .01)
			near(t, id+" most", b.Most, want[i].Most, .01)
		}
	}
	for _, id := range []string{"battery", "tap", "converter", "plug", "adapter"} {
		if slices.ContainsFunc(nodes, func(n Node) bool { return n.ID == id }) {
			t.Errorf("%s is offered, where all read the same", id)
		}
	}
}

// By hand: at the fuse .4 against .6, at the joint .7 against .3; the bits of
// the first are more. With a likely converter the joint parts better.
func TestMeterPicksTheNodeThatTellsMost(t *testing.T) {
	bits := func(p float64) float64 { return -p*math.Log2(p) - (1-p)*math.Log2(1-p) }
	for _, c := range []struct {
		p    []float64
		node string
		bits float64
	}{
		{[]float64{.4, .3, .3}, "fuse", bits(.4)},
		{[]float64{.2, .3, .5}, "joint-battery", bits(.5)},
		{[]float64{.5, .25, .25}, "fuse", bits(.5)},
	} {
		n := meter(t, three(c.p...), true).Nodes()[0]
		if n.ID != c.node {
			t.Errorf("%v: measure after the %s, expected %s", c.p, n.ID, c.node)
		}
		near(t, "bits", n.Bits, c.bits, 1e-9)
	}
}

// By hand: a fit counts .9, anything else .1, for there are two bands.
func TestReweighByHand(t *testing.T) {
	m := meter(t, three(.4, .3, .3), false)
	for _, c := range []struct {
		name     string
		readings []Volts
		want     map[string]float64
	}{
		{"nothing read", nil, map[string]float64{"fuse": .4, "joint-battery": .3, "converter": .3}},
		{"dead after the fuse", []Volts{{"fuse", 0}}, map[string]float64{"fuse": .36 / .42, "joint-battery": .03 / .42, "converter": .03 / .42}},
		{"a little below zero", []Volts{{"fuse", -.02}}, map[string]float64{"fuse": .36 / .42, "joint-battery": .03 / .42, "converter": .03 / .42}},
		{"live after the fuse", []Volts{{"fuse", 24.9}}, map[string]float64{"fuse": .04 / .58, "joint-battery": .27 / .58, "converter": .27 / .58}},
		{"live to the joint, dead behind it", []Volts{{"fuse", 24.9}, {"joint-battery", 0}}, map[string]float64{"fuse": .036 / .306, "joint-battery": .243 / .306, "converter": .027 / .306}},
		{"live to the converter", []Volts{{"lead-middle", 24.6}}, map[string]float64{"fuse": .04 / .34, "joint-battery": .03 / .34, "converter": .27 / .34}},
		{"the wrong way round fits none", []Volts{{"fuse", -24.9}}, map[string]float64{"fuse": .4, "joint-battery": .3, "converter": .3}},
		{"at a node there is not", []Volts{{"moon", 3}}, map[string]float64{"fuse": .4, "joint-battery": .3, "converter": .3}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := m.Reweigh(c.readings...)
			sum, last := 0.0, 1.0
			for _, r := range got {
				near(t, r.Faults[0].Part, r.P, c.want[r.Faults[0].Part], 1e-9)
				if sum += r.P; r.P > last {
					t.Error("not most likely first")
				}
				last = r.P
			}
			near(t, "sum", sum, 1, 1e-12)
		})
	}
}

// On every demo set-up, three readings as a fault gives them make it at least
// twice as likely among all that is believed.
func TestMeasuringFindsTheCause(t *testing.T) {
	for _, name := range []string{"chair-12", "chair-7", "chair-21"} {
		s := demo(t, name)
		model, err := NewModel(s, nil)
		if err != nil {
			t.Fatal(err)
		}
		d, err := model.Think(Care{}, []Done{{Check: PersonID, Shows: PersonOK}})
		if err != nil {
			t.Fatal(err)
		}
		causes := d.Causes()
		m, err := NewMeter(s, causes, false)
		if err != nil {
			t.Fatal(err)
		}
		for _, truth := range []setup.Fault{{Part: "fuse", Mode: setup.Blown}, {Part: "battery", Mode: setup.Flat}} {
			one, err := NewMeter(s, []Ranked{{Faults: []setup.Fault{truth}, P: 1}, {P: 1}}, false)
			if err != nil {
				t.Fatal(err)
			}
			var read []Volts
			for _, n := range one.Nodes() {
				read = append(read, Volts{n.ID, (n.Bands[0].Least + n.Bands[0].Most) / 2})
				if len(read) == 3 {
					break
				}
			}
			rank := func(list []Ranked) float64 {
				for _, r := range list {
					if len(r.Faults) == 1 && r.Faults[0].Part == truth.Part && r.Faults[0].Mode == truth.Mode {
						return r.P
					}
				}
				return 0
			}
			if before, after := rank(causes), rank(m.Reweigh(read...)); len(read) == 0 || after < 2*before {
				t.Errorf("%s %v: %.3f before %v were read, %.3f after", name, truth, before, read, after)
			}
		}
	}
}

// A blown fuse read as sound does not fit; what mains changed does.
func TestDiffers(t *testing.T) {
	m, err := NewModel(demo(t, "chair-12"), nil)
	if err != nil {
		t.Fatal(err)
	}
	done := []Done{
		{Check: PersonID, Shows: PersonOK},
		{Check: "panel", Shows: "internal"},
		{Action: Action{PlugIn, "outlet"}},
		{Check: "panel", Shows: "mains"},
		{Check: "fuse", Shows: "sound"},
		{Check: "converter", Shows: Unclear},
		{Check: "joint-battery", Shows: "apart"},
	}
	got := m.Differs([]setup.Fault{{Part: "fuse", Mode: setup.Blown}}, done)
	if want := []bool{false, false, false, false, true, false, true}; !slices.Equal(got, want) {
		t.Errorf("got %v, expected %v", got, want)
	}
}
