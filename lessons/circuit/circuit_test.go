package circuit_test

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
	"lampwright/locales/problem"
)

func demo(t testing.TB, name string) *setup.Setup {
	t.Helper()
	s, err := setup.Demo(name)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestAgreesWithTheTruthTable(t *testing.T) {
	f, err := os.Open("../../testdata/truth/states.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows)-1 < 60 {
		t.Fatalf("%d rows, want at least 60", len(rows)-1)
	}
	column := map[string]int{}
	for i, h := range rows[0] {
		column[h] = i
	}
	for i, row := range rows[1:] {
		get := func(h string) string { return row[column[h]] }
		t.Run(fmt.Sprintf("row %d %s %s", i+2, get("set-up"), get("faults")), func(t *testing.T) {
			s := demo(t, get("set-up"))
			c := circuit.Usual()
			for _, text := range fields(get("faults")) {
				fault, err := s.ParseFault(text)
				if err != nil {
					t.Fatal(err)
				}
				c.Faults = append(c.Faults, fault)
			}
			c.Mains = get("mains") == "on"
			for _, word := range fields(get("also")) {
				switch word {
				case "tilted":
					c.Tilted = true
				case "driving":
					c.Driving = true
				case "cold":
					c.Celsius = -20
				default:
					t.Fatalf("also %q", word)
				}
			}
			c.Chair, c.Inside = number(t, get("chair")), number(t, get("internal"))
			st, err := circuit.Solve(s, c)
			if err != nil {
				t.Fatal(err)
			}
			var lit, dark []string
			screen := "-"
			for _, in := range st.Panel {
				if kind, _ := s.PartKind(in.ID); kind == setup.KindScreen {
					screen = in.Screen
					if !in.Lit {
						screen = "blank"
					}
				} else if in.Lit {
					lit = append(lit, in.ID)
				} else {
					dark = append(dark, in.ID)
				}
			}
			look, fixer := "-", "-"
			if p, l, ok := strings.Cut(get("look"), "="); ok {
				look = p + "=" + string(st.Look(p))
				_ = l
			}
			if len(c.Faults) > 0 {
				fault := c.Faults[0]
				if p, _, ok := strings.Cut(get("look"), "="); ok {
					fault = c.Faults[slices.IndexFunc(c.Faults, func(f setup.Fault) bool { return f.Part == p })]
				}
				kind, _ := s.PartKind(fault.Part)
				known, _ := setup.Of(kind, fault.Mode)
				fixer = string(known.Fixer)
			}
			got := []string{string(st.Source), string(st.Kind), strings.Join(lit, " "), strings.Join(dark, " "), screen, string(st.Alarm), look, fixer}
			want := []string{get("source"), get("state"), strings.Join(fields(get("lit")), " "), strings.Join(fields(get("dark")), " "), get("screen"), get("alarm"), get("look"), get("fixer")}
			if !slices.Equal(got, want) {
				t.Errorf("got  %q\nwant %q\nbecause %s", got, want, get("reason"))
			}
		})
	}
}

func fields(s string) []string {
	if s == "-" {
		return nil
	}
	return strings.Fields(s)
}

func number(t *testing.T, s string) *float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return &v
}

func TestSolveRefuses(t *testing.T) {
	s := demo(t, "chair-12")
	nan, two, minus := math.NaN(), 2.0, setup.Watts(-1)
	for name, c := range map[string]circuit.Conditions{
		"a charge that is no number": {Chair: &nan}, "a charge above full": {Inside: &two}, "a negative load": {Load: &minus},
		"a part of another set-up": {Faults: []setup.Fault{{Part: "nowhere", Mode: setup.Open}}},
		"a mode of another part":   {Faults: []setup.Fault{{Part: "fuse", Mode: setup.Asleep}}},
		"hotter than it can be":    {Celsius: 200}, "no temperature": {Celsius: math.NaN()},
	} {
		if _, err := circuit.Solve(s, c); !problem.Is(err, problem.Invalid) {
			t.Errorf("%s: got %v", name, err)
		}
	}
}

// conditions draws a set-up in any state.
func conditions(t *rapid.T, s *setup.Setup) circuit.Conditions {
	all := s.Faults()
	c := circuit.Conditions{Celsius: rapid.Float64Range(-20, 60).Draw(t, "celsius"), Mains: rapid.Bool().Draw(t, "mains"), Charger: rapid.Bool().Draw(t, "charger")}
	for range rapid.IntRange(0, 3).Draw(t, "how many") {
		f := rapid.SampledFrom(all).Draw(t, "fault")
		if f.Ohms > 0 {
			f.Ohms = setup.Ohms(math.Pow(10, rapid.Float64Range(-3, 2).Draw(t, "log ohms")))
		}
		c.Faults = append(c.Faults, f)
	}
	chair, inside := rapid.Float64Range(0, 1).Draw(t, "chair"), rapid.Float64Range(0, 1).Draw(t, "inside")
	load := setup.Watts(rapid.Float64Range(0, 150).Draw(t, "load"))
	c.Chair, c.Inside, c.Load = &chair, &inside, &load
	return c
}

func TestStatesHoldTogether(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, err := setup.Demo(rapid.SampledFrom(setup.DemoNames).Draw(t, "set-up"))
		if err != nil {
			t.Fatal(err)
		}
		c := conditions(t, s)
		st, err := circuit.Solve(s, c)
		if err != nil {
			t.Fatal(err)
		}
		lit := 0
		for _, in := range st.Panel {
			if in.Lit {
				lit++
			}
		}
		if st.Source == setup.None && lit > 0 {
			t.Fatal("a stopped ventilator shows something")
		}
		if st.Source == setup.Mains && !c.Mains {
			t.Fatal("on mains without the adapter")
		}
		if len(st.Nodes) == 0 || st.Amps < 0 || st.Watts < 0 {
			t.Fatalf("%d nodes, %g A, %g W", len(st.Nodes), st.Amps, st.Watts)
		}
		for _, n := range st.Nodes {
			if math.IsNaN(n.Volts) || n.Volts < 0 {
				t.Fatalf("%s reads %g V", n.ID, n.Volts)
			}
		}
	})
}

// More resistance never raises the inlet's volts while the chair carries.
func TestMoreResistanceNeverHelps(t *testing.T) {
	s := demo(t, "chair-12")
	last := math.Inf(1)
	for _, ohms := range []setup.Ohms{.001, .01, .1, .5, 1, 1.5} {
		st, err := circuit.Solve(s, circuit.Usual(setup.Fault{Part: "joint-battery", Mode: setup.HalfHome, Ohms: ohms}))
		if err != nil || st.Source != setup.Chair {
			t.Fatal(ohms, st.Source, err)
		}
		for _, n := range st.Nodes {
			if n.ID == "joint-battery" {
				if n.Volts > last {
					t.Errorf("%g Ω: %g V, more than before", ohms, n.Volts)
				}
				last = n.Volts
			}
		}
	}
}

// A dead internal battery hides until the sources change over.
func TestTheChangeoverRidesOnTheInternalBattery(t *testing.T) {
	s := demo(t, "chair-12")
	c := circuit.Usual(setup.Fault{Part: setup.InternalID, Mode: setup.Dead})
	for from, want := range map[setup.Source]setup.Source{"": setup.Chair, setup.Chair: setup.Chair, setup.Mains: setup.None} {
		c.From = from
		st, err := circuit.Solve(s, c)
		if err != nil || st.Source != want {
			t.Errorf("from %q: %s, want %s (%v)", from, st.Source, want, err)
		}
	}
	c.From, c.Faults = setup.Mains, nil
	if st, err := circuit.Solve(s, c); err != nil || st.Source != setup.Chair {
		t.Errorf("with a good internal battery: %s, %v", st.Source, err)
	}
}

// Hunting is carried by the internal battery while the chair is let go. Without
// one the ventilator stops the first time, and takes nothing again.
func TestWithoutAReserveItStopsAtTheFirstLettingGo(t *testing.T) {
	spent := 0.0
	for name, c := range map[string]struct {
		setup, fault string
		internal     setup.Mode
		inside       *float64
		order        []setup.Source
		kind         circuit.Kind
		source       setup.Source
	}{
		"a good one":                 {setup: "chair-12", fault: "joint-ventilator=high-resistance:1", kind: circuit.Hunting, source: setup.Internal},
		"an empty one":               {setup: "chair-12", fault: "joint-ventilator=high-resistance:1", inside: &spent, kind: circuit.Collapsed, source: setup.None},
		"a dead one":                 {setup: "chair-12", fault: "joint-ventilator=high-resistance:1", internal: setup.Dead, kind: circuit.Collapsed, source: setup.None},
		"a flat one":                 {setup: "chair-12", fault: "joint-ventilator=high-resistance:1", internal: setup.Flat, kind: circuit.Collapsed, source: setup.None},
		"a converter that restarts":  {setup: "chair-12", fault: "joint-battery=half-home:3", internal: setup.Dead, kind: circuit.Collapsed, source: setup.None},
		"a screen for words":         {setup: "chair-21", fault: "joint-ventilator=high-resistance:4", internal: setup.Dead, kind: circuit.Collapsed, source: setup.None},
		"mains would come second":    {setup: "chair-12", fault: "joint-ventilator=high-resistance:1", internal: setup.Dead, order: []setup.Source{setup.Chair, setup.Mains}, kind: circuit.Collapsed, source: setup.None},
		"mains comes second":         {setup: "chair-12", fault: "joint-ventilator=high-resistance:1", order: []setup.Source{setup.Chair, setup.Mains}, kind: circuit.Hunting, source: setup.Mains},
		"a chair that bears it well": {setup: "chair-12", fault: "joint-ventilator=high-resistance:0.1", internal: setup.Dead, kind: circuit.Steady, source: setup.Chair},
	} {
		t.Run(name, func(t *testing.T) {
			s := demo(t, c.setup)
			f, err := s.ParseFault(c.fault)
			if err != nil {
				t.Fatal(err)
			}
			in := circuit.Usual(f)
			if c.internal != "" {
				in.Faults = append(in.Faults, setup.Fault{Part: setup.InternalID, Mode: c.internal})
			}
			in.Inside = c.inside
			if c.order != nil {
				s.Ventilator.Order, in.Mains = c.order, true
			}
			st, err := circuit.Solve(s, in)
			if err != nil {
				t.Fatal(err)
			}
			if st.Kind != c.kind || st.Source != c.source {
				t.Errorf("%s on %s, want %s on %s", st.Kind, st.Source, c.kind, c.source)
			}
			if c.kind != circuit.Collapsed {
				return
			}
			if st.Period != 0 || st.Held != 0 || st.Amps > .1 { // the idle converter's
				t.Errorf("%g of every %g s on the chair, %g A", st.Held, st.Period, st.Amps)
			}
			for _, in := range st.Panel {
				if in.Lit || in.Flicker {
					t.Errorf("a stopped ventilator shows %+v", in)
				}
			}
		})
	}
}

// A lead whose conductors touch burns only while volts reach it and no fuse
// stands before it.
func TestAPinchedLeadBurnsWhereNoFuseProtectsIt(t *testing.T) {
	for name, c := range map[string]struct {
		faults string
		change func(s *setup.Setup)
		tilted bool
		hot    string
	}{
		"a fuse before it":       {faults: "lead-middle=pinched", change: func(*setup.Setup) {}},
		"no fuse":                {faults: "lead-middle=pinched", change: noFuse, hot: "lead-middle"},
		"a fuse behind it":       {faults: "lead-battery=pinched", change: fuseLast, hot: "lead-battery"},
		"apart before it":        {faults: "lead-middle=pinched joint-battery=open", change: noFuse},
		"apart behind it":        {faults: "lead-middle=pinched joint-ventilator=open", change: noFuse, hot: "lead-middle"},
		"the tap is off":         {faults: "lead-middle=pinched tap=open", change: noFuse},
		"the pack is cut off":    {faults: "lead-middle=pinched battery=board-off", change: func(s *setup.Setup) { noFuse(s); s.Battery().Chemistry = setup.Lithium }},
		"upright it touches":     {faults: "lead-middle=pinched joint-battery=intermittent", change: noFuse, hot: "lead-middle"},
		"tilted it does not":     {faults: "lead-middle=pinched joint-battery=intermittent", change: noFuse, tilted: true},
		"two, the first burns":   {faults: "lead-battery=pinched lead-middle=pinched", change: noFuse, hot: "lead-battery"},
		"behind the converter":   {faults: "lead-out=pinched", change: noFuse},
		"a spent pack burns too": {faults: "lead-middle=pinched battery=flat", change: noFuse, hot: "lead-middle"},
	} {
		t.Run(name, func(t *testing.T) {
			s := demo(t, "chair-12")
			c.change(s)
			in := circuit.Usual()
			in.Tilted = c.tilted
			for _, text := range strings.Fields(c.faults) {
				f, err := s.ParseFault(text)
				if err != nil {
					t.Fatal(err)
				}
				in.Faults = append(in.Faults, f)
			}
			st, err := circuit.Solve(s, in)
			if err != nil || st.Source != setup.Internal {
				t.Fatal(st.Source, err)
			}
			for _, p := range s.Chain {
				if (st.Heat(p.ID) == circuit.Hot) != (p.ID == c.hot) {
					t.Errorf("%s is %s, want only %q hot", p.ID, st.Heat(p.ID), c.hot)
				}
			}
		})
	}
}

func noFuse(s *setup.Setup) {
	s.Chain = slices.DeleteFunc(s.Chain, func(p setup.Part) bool { return p.Fuse != nil })
}

// fuseLast moves the fuse to just before the converter.
func fuseLast(s *setup.Setup) {
	fuse := *s.Part("fuse")
	noFuse(s)
	at := slices.IndexFunc(s.Chain, func(p setup.Part) bool { return p.Converter != nil })
	s.Chain = slices.Insert(s.Chain, at, fuse)
}

// By hand: two aged blocks at a twentieth of their charge stand at 2 × 11.05 V
// behind 2 × 16 mΩ. 3000 W: (22.1 + √(22.1² − 4 × 0.032 Ω × 3000 W))/2 = 16.159 V.
// The chain takes nothing then: its converter has cut out.
func TestThePackSagsOnARamp(t *testing.T) {
	aged := []setup.Fault{{Part: "battery", Mode: setup.Aged}}
	for name, c := range map[string]struct {
		faults      []setup.Fault
		charge      float64
		drive, ramp float64
		block       float64 // V at the top of the ramp, 0 where it is not told by hand
		low, stalls bool    // below 10.5 V a block
	}{
		"an old pack, nearly empty":  {faults: aged, charge: .05, drive: 175, ramp: 3000, block: 16.159 / 2, low: true},
		"the same on the flat":       {faults: aged, charge: .05, drive: 175, ramp: 175},
		"the same, standing":         {faults: aged, charge: .05},
		"a good pack":                {charge: .9, drive: 175, ramp: 3000},
		"an old pack, stalled there": {faults: aged, charge: .05, drive: 175, ramp: 5000, low: true, stalls: true},
		"stalled on the flat":        {faults: aged, charge: .05, drive: 5000, ramp: 5000, low: true, stalls: true},
	} {
		t.Run(name, func(t *testing.T) {
			n, err := circuit.Build(demo(t, "chair-12"), c.faults, 20)
			if err != nil {
				t.Fatal(err)
			}
			m := circuit.Moment{Load: 22, Peak: 38, Inside: 1, Blocks: []float64{c.charge, c.charge}, Drive: c.drive, Ramp: c.ramp}
			var p circuit.Point
			n.Solve(&m, &p)
			block := p.Sag / 2
			if (block < 10.5) != c.low || (p.Sag == 0) != c.stalls || c.block > 0 && math.Abs(block-c.block) > 1e-3 {
				t.Errorf("%.4f V a block", block)
			}
			switch {
			case c.ramp == c.drive && !c.stalls && p.Sag != p.Volts[0]:
				t.Errorf("sags to %g V, stands at %g V", p.Sag, p.Volts[0])
			case c.ramp > c.drive && p.Sag >= p.Volts[0]:
				t.Errorf("sags to %g V from %g V", p.Sag, p.Volts[0])
			}
		})
	}
}

// By hand: 6 A through 60 + 2 + 2 mΩ leaves 23.616 V of 24 V, so 141.7 W at
// most.
func TestWhatMainsHolds(t *testing.T) {
	for fault, c := range map[string]struct{ holds, tilted, live bool }{
		"":                          {true, true, true},
		"lamp-mains=dead":           {true, true, true},
		"adapter-plug=intermittent": {true, false, true},
		"adapter-plug=open":         {false, false, true},
		"cord=half-home":            {false, false, true},
		"adapter=failed":            {false, false, true},
		"adapter=wrong-type":        {false, false, true},
		"inlet-mains=not-accepted":  {false, false, true},
		"outlet=off":                {false, false, false},
		"outlet=tripped":            {false, false, false},
	} {
		s := demo(t, "chair-12")
		var faults []setup.Fault
		if fault != "" {
			f, err := s.ParseFault(fault)
			if err != nil {
				t.Fatal(err)
			}
			faults = append(faults, f)
		}
		n, err := circuit.Build(s, faults, 20)
		if err != nil {
			t.Fatal(err)
		}
		if got := n.MainsHolds(141.6, false); got != c.holds {
			t.Errorf("%q: holds %t", fault, got)
		}
		if got := n.MainsHolds(141.6, true); got != c.tilted {
			t.Errorf("%q, tilted: holds %t", fault, got)
		}
		if n.MainsHolds(141.8, false) {
			t.Errorf("%q: holds more than the adapter gives", fault)
		}
		if got := n.OutletLive(); got != c.live {
			t.Errorf("%q: outlet live %t", fault, got)
		}
	}
}

func TestADarkConverterNeedNotBeTheFault(t *testing.T) {
	s := demo(t, "chair-12")
	for text, want := range map[string]setup.Look{"fuse=blown": setup.LookDark, "converter=failed": setup.LookDark, "plug=open": setup.LookSound} {
		f, err := s.ParseFault(text)
		if err != nil {
			t.Fatal(err)
		}
		st, err := circuit.Solve(s, circuit.Usual(f))
		if err != nil {
			t.Fatal(err)
		}
		if got := st.Seen("converter"); got != want {
			t.Errorf("%s: the converter looks %s, want %s", text, got, want)
		}
	}
}

func BenchmarkSolve(b *testing.B) {
	s := demo(b, "chair-12")
	c := circuit.Usual(setup.Fault{Part: "joint-battery", Mode: setup.HalfHome, Ohms: 2})
	b.ReportAllocs()
	for b.Loop() {
		if _, err := circuit.Solve(s, c); err != nil {
			b.Fatal(err)
		}
	}
}

// A 12-part chain, solved again and again as time goes by.
func BenchmarkPoint(b *testing.B) {
	n, err := circuit.Build(demo(b, "chair-12"), nil, 20)
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
}
