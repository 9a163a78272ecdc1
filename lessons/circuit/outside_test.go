package circuit_test

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
	"lampwright/locales/problem"
)

// The values below stand in the reference; the word beside each says how it
// was seen: S in a stored secondary copy, M from memory, C computed.

// A constant-power load behind a resistance (C, and printed alike by ngspice
// 39.3): 25.2 V, 0.3 Ω, 120 W; no operating point above 529.2 W.
func TestTheWorkedExample(t *testing.T) {
	v, ok := circuit.UpperRoot(25.2, .3, 120)
	if !ok || math.Abs(v-23.679711188) > 1e-9 || math.Abs(120/v-5.067629375) > 1e-9 {
		t.Errorf("%.9f V, %.9f A, %t", v, 120/v, ok)
	}
	for watts, want := range map[float64]bool{529.2 - 1e-6: true, 529.2 + 1e-6: false} {
		if v, ok := circuit.UpperRoot(25.2, .3, watts); ok != want || ok && math.Abs(v-12.6) > 1e-3 {
			t.Errorf("%g W: %g V, %t", watts, v, ok)
		}
	}
}

// Open-circuit volts of a 12 V block (weak sources, S). The reference's last
// point of the flooded row, 11.6 V at 0 %, is not ours on purpose: 0 here is a
// block spent to 1.75 V a cell under load (from memory).
func TestOpenCircuitTable(t *testing.T) {
	agm := map[float64]float64{1: 12.7, .8: 12.5, .7: 12.3, .5: 12.1, .3: 11.8, .1: 11.6} // S
	flooded := map[float64]float64{1: 12.6, .75: 12.4, .5: 12.2, .25: 12}                 // S
	for chemistry, rows := range map[setup.Chemistry]map[float64]float64{setup.AGM: agm, setup.Gel: agm, setup.Flooded: flooded} {
		for charge, want := range rows {
			if got := circuit.OpenCircuit(chemistry, charge); math.Abs(got-want) > 1e-9 {
				t.Errorf("%s at %g: %g V, table %g", chemistry, charge, got, want)
			}
		}
	}
	for _, chemistry := range []setup.Chemistry{setup.AGM, setup.Gel, setup.Flooded} {
		if got := circuit.OpenCircuit(chemistry, 0); got != 6*1.75 { // M
			t.Errorf("%s spent: %g V", chemistry, got)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		chemistry := rapid.SampledFrom([]setup.Chemistry{setup.AGM, setup.Gel, setup.Flooded, setup.Lithium}).Draw(t, "chemistry")
		less, more := rapid.Float64Range(0, 1).Draw(t, "a"), rapid.Float64Range(0, 1).Draw(t, "b")
		if circuit.OpenCircuit(chemistry, min(less, more)) > circuit.OpenCircuit(chemistry, max(less, more)) {
			t.Fatal("more charge, fewer volts")
		}
	})
}

// Set-ups that cannot be solved, as values that no file was read into.
func TestBuildNamesThePart(t *testing.T) {
	for name, c := range map[string]struct {
		spoil func(s *setup.Setup)
		want  string
	}{
		"a battery without blocks":             {func(s *setup.Setup) { s.Battery().Blocks = nil }, "part battery:"},
		"a battery of no chemistry":            {func(s *setup.Setup) { s.Battery().Chemistry = "" }, "part battery:"},
		"a battery without resistance":         {func(s *setup.Setup) { noOhms(s.Battery()) }, "part battery:"},
		"a battery whose resistance is no sum": {func(s *setup.Setup) { s.Battery().Blocks[0].Resistance = setup.Ohms(math.NaN()) }, "part battery:"},
		"no battery":                           {func(s *setup.Setup) { s.Chain = s.Chain[1:] }, "battery"},
		"no chain":                             {func(s *setup.Setup) { s.Chain = nil }, "battery"},
		"no tap":                               {func(s *setup.Setup) { s.Chain = append(s.Chain[:2:2], s.Chain[3:]...) }, "tap"},
		"no mains side":                        {func(s *setup.Setup) { s.Mains = nil }, "adapter"},
		"an adapter without volts":             {func(s *setup.Setup) { s.Part("adapter").Adapter.Output = 0 }, "part adapter:"},
		"a mains side without resistance": {func(s *setup.Setup) {
			s.Part("adapter").Adapter.Resistance, s.Part("adapter-plug").Plug.Contact = 0, 0
			s.Ventilator.InletFor(setup.Mains).Contact = 0
		}, "part adapter:"},
		"a converter without a curve": {func(s *setup.Setup) { s.Part("converter").Converter.Efficiency = nil }, "part converter:"},
		"a converter without volts":   {func(s *setup.Setup) { s.Part("converter").Converter.Output = 0 }, "part converter:"},
		"no resistance behind the converter": {func(s *setup.Setup) {
			s.Part("lead-out").Lead.Length, s.Part("lead-ventilator").Lead.Length = 0, 0
			s.Part("joint-ventilator").Joint.Contact, s.Part("plug").Plug.Contact = 0, 0
			s.Ventilator.InletFor(setup.Chair).Contact = 0
		}, "part converter:"},
		"no inlet for the chair": {func(s *setup.Setup) { s.Ventilator.Inlets = s.Ventilator.Inlets[:1] }, "inlet"},
	} {
		t.Run(name, func(t *testing.T) {
			s := demo(t, "chair-12")
			c.spoil(s)
			if _, err := circuit.Build(s, nil, 20); !problem.Is(err, problem.Invalid) || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, want %s", err, c.want)
			}
			if _, err := circuit.Solve(s, circuit.Usual()); !problem.Is(err, problem.Invalid) {
				t.Errorf("Solve: got %v", err)
			}
		})
	}
}

func noOhms(b *setup.Battery) {
	for i := range b.Blocks {
		b.Blocks[i].Resistance = 0
	}
}

// A fuse may stand behind the converter: there it carries the converter's
// output, which for a buck is more than its input.
func TestAFuseBehindTheConverter(t *testing.T) {
	s := demo(t, "chair-12")
	fuse := s.Chain[3]
	out := slices.IndexFunc(s.Chain, func(p setup.Part) bool { return p.ID == "lead-out" })
	s.Chain = slices.Concat(s.Chain[:3], s.Chain[4:out], []setup.Part{fuse}, s.Chain[out:])
	fuse.Fuse.Rating = 2
	n, err := circuit.Build(s, nil, 20)
	if err != nil {
		t.Fatal(err)
	}
	m := circuit.Moment{Load: 40, Peak: 40, Blocks: []float64{.9, .9}, Inside: 1}
	var p circuit.Point
	n.Solve(&m, &p)
	if p.Amps > 2 || p.Out < 2.7 || math.Abs(p.Flow.Heating-p.Out) > 1e-9 { // 2.7 A is 135 %
		t.Errorf("%g A before the converter, %g A behind it, %g A through the fuse", p.Amps, p.Out, p.Flow.Heating)
	}
	for load, want := range map[setup.Watts]setup.Source{25: setup.Chair, 40: setup.Internal} {
		st, err := circuit.Solve(s, circuit.Conditions{Load: &load, Celsius: 20})
		if err != nil || st.Source != want || (st.Look("fuse") == setup.LookBlown) != (want == setup.Internal) {
			t.Errorf("%g W: on %s, the fuse looks %s, %v", load, st.Source, st.Look("fuse"), err)
		}
	}
}

// Around the watts at which the motors stall, the point is still one: what
// leaves the posts arrives or stays on the way, and the motors have theirs or
// stall.
func TestMotorsAtTheirLimit(t *testing.T) {
	for _, name := range setup.DemoNames {
		for _, charge := range []float64{0, .5, 1} {
			t.Run(fmt.Sprint(name, " at ", charge), func(t *testing.T) {
				s := demo(t, name)
				s.Ventilator.InletFor(setup.Chair).Low = 1 // so that breathing stays on the chair to the last
				for i := range s.Chain {
					if c := s.Chain[i].Converter; c != nil {
						c.CutOut, c.Restart = 1, 2
					}
				}
				n, err := circuit.Build(s, nil, -20)
				if err != nil {
					t.Fatal(err)
				}
				m := circuit.Moment{Load: 20, Peak: 30, Inside: 1}
				for range s.Battery().Blocks {
					m.Blocks = append(m.Blocks, charge)
				}
				var p circuit.Point
				stalls := func(watts float64) bool {
					m.Drive, m.Ramp = watts, watts
					n.Solve(&m, &p)
					if off := math.Abs(p.Flow.Terminal - p.Flow.Delivered - p.Flow.Lost); off > 1e-9*p.Flow.Terminal {
						t.Fatalf("%.15g W: %g W leave the posts, %g W arrive, %g W are lost", watts, p.Flow.Terminal, p.Flow.Delivered, p.Flow.Lost)
					}
					if !p.Stalled && math.Abs(p.Drive*p.Volts[0]-watts) > 1e-6*watts || p.Stalled && p.Drive != 0 {
						t.Fatalf("%.15g W: stalled %t, the motors take %g A at %g V", watts, p.Stalled, p.Drive, p.Volts[0])
					}
					return p.Stalled
				}
				low, high := 1.0, 50_000.0
				if stalls(low) || !stalls(high) {
					t.Fatal("no limit in between")
				}
				for range 60 {
					if middle := (low + high) / 2; stalls(middle) {
						high = middle
					} else {
						low = middle
					}
				}
			})
		}
	}
}

// Whatever a file says: no panic, errors that a person can read, and states
// without nonsense in them.
func FuzzSolve(f *testing.F) {
	for _, name := range setup.DemoNames {
		data, err := setup.DemoFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	files := rapid.Custom(func(t *rapid.T) string { return randomFile(t, anyConverter...) })
	for i := range 20 {
		f.Add([]byte(files.Example(i)))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if s, err := setup.Read("f.yaml", data); err == nil {
			solvesOrRefuses(t, s)
		} else if !problem.Is(err, problem.Invalid) {
			t.Fatal(err)
		}
	})
}

var numbers = regexp.MustCompile(`[0-9]+\.[0-9]+`)

// The same where a fuzzer seldom comes: in a good file, numbers at the ends of
// what the reader takes.
func TestNumbersAtTheirEnds(t *testing.T) {
	accepted := 0
	rapid.Check(t, func(t *rapid.T) {
		text := randomFile(t, anyConverter...)
		for range rapid.IntRange(1, 6).Draw(t, "how many") {
			at := rapid.SampledFrom(numbers.FindAllStringIndex(text, -1)).Draw(t, "where")
			end := rapid.SampledFrom([]string{"0.0", "0.000000000001", "0.001", "1.0", "29.0", "99.0", "999.0", "4999.0", "86399.0"}).Draw(t, "end")
			text = text[:at[0]] + end + text[at[1]:]
		}
		if s, err := setup.Read("f.yaml", []byte(text)); err == nil {
			accepted++
			solvesOrRefuses(t, s)
		} else if !problem.Is(err, problem.Invalid) {
			t.Fatal(err)
		}
	})
	if accepted == 0 {
		t.Error("no file was accepted")
	}
}

// solvesOrRefuses: every set-up that was read has a state without nonsense in
// it, or an error that a person can read.
func solvesOrRefuses(t interface {
	Fatalf(format string, args ...any)
}, s *setup.Setup,
) {
	for _, c := range []circuit.Conditions{
		circuit.Usual(),
		{Mains: true, Charger: true, Celsius: -20},
		{Driving: true, Charger: true, Celsius: 60},
		{Driving: true, ChairCharger: true, Tripped: true, From: setup.Chair},
	} {
		st, err := circuit.Solve(s, c)
		if err != nil {
			if !problem.Is(err, problem.Invalid) {
				t.Fatalf("%v", err)
			}
			continue
		}
		backwards := c.Driving && s.Tap().Block == 1 // the motors can drive a bad block through zero
		for _, n := range st.Nodes {
			if math.IsNaN(n.Volts) || math.IsInf(n.Volts, 0) || n.Volts < 0 && !backwards {
				t.Fatalf("%s reads %g V", n.ID, n.Volts)
			}
		}
		if !(st.Amps >= 0 && st.Watts >= 0) || math.IsInf(st.Watts, 0) || (st.Kind == circuit.Hunting) != (st.Held > 0 && st.Held < 1 && st.Period > 0) {
			t.Fatalf("%s: %g A, %g W, %g of every %g s", st.Kind, st.Amps, st.Watts, st.Held, st.Period)
		}
	}
}

// grown is Chair 12 with its chain made longer, to this many parts.
func grown(b *testing.B, parts int) *setup.Setup {
	s := demo(b, "chair-12")
	plug := s.Chain[len(s.Chain)-1]
	s.Chain = s.Chain[:len(s.Chain)-1]
	for i := len(s.Chain) + 1; i < parts; i++ {
		s.Chain = append(s.Chain, setup.Part{ID: fmt.Sprintf("more-%d", i), Joint: &setup.Joint{Contact: .001}})
	}
	s.Chain = append(s.Chain, plug)
	return s
}

// Points of chains of 12, 24 and 40 parts, as time goes by.
func BenchmarkParts(b *testing.B) {
	for _, parts := range []int{12, 24, 40} {
		b.Run(fmt.Sprint(parts), func(b *testing.B) {
			n, err := circuit.Build(grown(b, parts), nil, 20)
			if err != nil {
				b.Fatal(err)
			}
			m := circuit.Moment{Load: 22, Peak: 38, Blocks: []float64{.9, .9}, Inside: 1}
			var p circuit.Point
			n.Solve(&m, &p)
			b.ReportAllocs()
			for b.Loop() {
				m.Blocks[0] -= 1e-9
				n.Solve(&m, &p)
			}
			if p.Source != setup.Chair {
				b.Fatal(p.Source)
			}
		})
	}
}
