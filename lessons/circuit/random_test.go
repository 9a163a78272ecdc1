package circuit_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
)

// draw is a random set-up being written as a file.
type draw struct{ *rapid.T }

// number is drawn from one octave: there rapid's floats lie evenly.
func (d draw) number(label string, from, to float64) float64 {
	return from + (to-from)*(rapid.Float64Range(1, 2).Draw(d.T, label)-1)
}

// text is a number with two decimals, and its unit.
func (d draw) text(label, unit string, from, to float64) string {
	return fmt.Sprintf("%.2f %s", d.number(label, from, to), unit)
}

func (d draw) whole(label string, from, to int) int { return rapid.IntRange(from, to).Draw(d.T, label) }

func (d draw) yes(label string) bool { return rapid.Bool().Draw(d.T, label) }

// seldom is true once in eight.
func (d draw) seldom(label string) bool { return d.whole(label, 1, 8) == 8 }

func of[V any](d draw, label string, values ...V) V {
	return rapid.SampledFrom(values).Draw(d.T, label)
}

// randomFile writes a set-up that Read must accept: any chemistry, one to four
// unequal blocks, leads, joints, fuse, diode and converter in any order.
func randomFile(t *rapid.T, converters ...string) string {
	d := draw{t}
	blocks := d.whole("blocks", 1, 4)
	tapped, block := blocks, 0
	if blocks > 1 && d.yes("block 1") {
		tapped, block = 1, 1
	}
	nominal := 12.5 * float64(tapped)

	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	line("schema: 1\ntag: Chair %d", d.whole("tag", 1, 99))
	line("drive: {energy: %s, speed: %s, ramp: %s}", d.text("drive", "Wh/km", 20, 60), d.text("speed", "km/h", 1, 10), d.text("ramp", "W", 50, 2000))

	kind := of(d, "converter", converters...)
	give := map[string]float64{"none": nominal, "buck": nominal * d.number("down", .35, .8), "boost": nominal * d.number("up", 1.2, 2.5)}[kind]
	low, high := give*d.number("low", .7, .9), give*d.number("high", 1.18, 1.4)
	if d.seldom("strange window") {
		low = d.number("strange low", 1, 40)
		high = low + d.number("strange high", .5, 20)
	}
	shared := d.yes("shared inlet")
	wall := d.number("adapter", 12, 28)
	if shared {
		wall = low + (high-low)*d.number("adapter in the window", .3, .9)
	}

	line("mains:\n  - {id: outlet, outlet: {switched: %t}}\n  - {id: cord, cord: {}}", d.yes("switched"))
	line("  - {id: adapter, adapter: {output: %.2f V, limit: %s, resistance: %s}}", wall, d.text("adapter limit", "A", 2, 12), d.text("adapter ohms", "mohm", 1, 200))
	if d.yes("mains lead") {
		line("  - {id: mains-lead, %s}", d.lead())
	}
	if d.seldom("mains joint") {
		line("  - {id: mains-joint, %s}", d.joint())
	}
	line("  - {id: mains-plug, plug: {contact: %s, sense: %t}}", d.text("mains contact", "mohm", .5, 20), d.yes("mains plug senses"))

	line("chain:\n  - id: battery\n    battery:\n      chemistry: %s\n      years: %d\n      blocks:", of(d, "chemistry", "agm", "gel", "flooded", "lithium"), d.whole("years", 0, 8))
	for range blocks {
		line("        - {capacity: %s, resistance: %s, charge: %.3f}", d.text("capacity", "Ah", 12, 110), d.text("inner", "mohm", 1, 25), d.number("charge", 0, 1))
	}
	if d.yes("own charger") {
		line("      charger: %s", d.text("charger amps", "A", 1, 12))
	}
	taps := []string{"posts", "port"}
	if d.yes("isolator") {
		line("  - {id: isolator, isolator: {resistance: %s}}", d.text("isolator ohms", "mohm", 0, 10))
		taps = append(taps, "isolator")
	}
	line("  - {id: tap, tap: {at: %s, block: %d, resistance: %s}}", of(d, "tap", taps...), block, d.text("tap ohms", "mohm", 0, 10))
	for _, part := range d.series(kind, give, nominal) {
		line("  - %s", part)
	}
	line("  - {id: plug, plug: {contact: %s, sense: %t}}", d.text("contact", "mohm", .5, 20), d.yes("plug senses"))

	quiet := d.number("quiet", 2, 20)
	usual := quiet + d.number("usual", 0, 20)
	busy := usual + d.number("busy", 0, 30)
	line("ventilator:\n  model: Heron")
	line("  draw: {low: %.2f W, usual: %.2f W, high: %.2f W, peak: %.2f W}", quiet, usual, busy, busy+d.number("peak", 0, 40))
	line("  charger: {mains: %s, chair: %s}", d.text("charging on mains", "W", 0, 60), d.text("charging on chair", "W", 0, 30))
	line("  order: [%s]", of(d, "order", "mains, chair", "chair, mains"))
	line("  inlets:")
	if shared {
		line("    - {id: inlet, takes: [mains, chair], %s}", d.inlet(low, high))
	} else {
		line("    - {id: inlet-mains, takes: [mains], %s}", d.inlet(wall*.8, wall*1.2))
		line("    - {id: inlet-chair, takes: [chair], switch: inlet-switch, %s}", d.inlet(low, high))
	}
	line("  internal: {energy: %s, charge: %.3f, tested: 120 min, tested-on: 2026-09-01}", d.text("energy", "Wh", 20, 200), d.number("internal charge", 0, 1))
	line("  panel:\n    - {id: lamp, lamp: direct-current, lit-on: [%s]}", of(d, "lit on", "chair", "mains, chair", "internal"))
	if d.yes("screen") {
		line("    - {id: screen, screen: {mains: Mains, chair: Chair, internal: \"Battery {percent} %%\"}}")
	}
	line("  alarm: {internal: medium, low: high, low-below: 0.2, stopped: %s}", of(d, "stopped", "none", "high"))
	return b.String()
}

// series are the parts between tap and plug. Some leads have names that a
// netlist could mistake for its own.
func (d draw) series(converter string, give, nominal float64) []string {
	var parts []string
	names := []string{"inner", "above", "mains", "gnd"}
	for i := range d.whole("leads", 0, 4) {
		id := fmt.Sprintf("lead-%d", i)
		if d.seldom("awkward name") {
			id = names[i]
		}
		parts = append(parts, fmt.Sprintf("{id: %s, %s}", id, d.lead()))
	}
	for i := range d.whole("joints", 0, 3) {
		parts = append(parts, fmt.Sprintf("{id: joint-%d, %s}", i, d.joint()))
	}
	if d.yes("fuse") {
		parts = append(parts, fmt.Sprintf("{id: fuse, fuse: {rating: %s A, cold: %s, holder: %s}}",
			of(d, "rating", "3", "5", "7.5", "10", "15"), d.text("cold", "mohm", 3, 30), d.text("holder", "mohm", 0, 10)))
	}
	if d.whole("diode", 1, 4) == 4 {
		parts = append(parts, fmt.Sprintf("{id: diode, diode: {drop: %s, resistance: %s}}", d.text("drop", "V", .2, 1), d.text("diode ohms", "mohm", 0, 30)))
	}
	if converter != "none" {
		least := .6 * nominal
		if converter == "buck" { // it only moves volts down
			least = math.Max(least, 1.02*give)
		}
		cutOut := d.number("cut-out", least, .95*nominal)
		var curve []string
		load := 0.0
		for range d.whole("points", 1, 4) {
			load = math.Max(2*load, d.number("first load", 3, 15))
			curve = append(curve, fmt.Sprintf("{load: %.2f W, ratio: %.3f}", load, d.number("ratio", .6, .97)))
		}
		parts = append(parts, fmt.Sprintf("{id: converter, converter: {kind: %s, isolated: %t, output: %.2f V, limit: %s, idle: %s, efficiency: [%s], cut-out: %.2f V, restart: %.2f V, latched: %t}}",
			converter, d.yes("isolated"), give, d.text("limit", "A", 2, 15), d.text("idle", "W", 0, 3), strings.Join(curve, ", "),
			cutOut, cutOut+d.number("restart", .05, .2*nominal), d.seldom("latched")))
	}
	return rapid.Permutation(parts).Draw(d.T, "order of parts")
}

func (d draw) lead() string {
	size := of(d, "size", "10 AWG", "12 AWG", "14 AWG", "16 AWG", "18 AWG", "20 AWG", "1.5 mm²", "2.5 mm²", "4 mm2")
	return fmt.Sprintf("lead: {length: %s, conductor: %s}", d.text("length", "m", .1, 3), size)
}

func (d draw) joint() string {
	return fmt.Sprintf("joint: {contact: %s, colour: %s, key: %s}", d.text("joint contact", "mohm", .5, 30), of(d, "colour", setup.Colours...), of(d, "key", setup.Keys...))
}

func (d draw) inlet(low, high float64) string {
	return fmt.Sprintf("low: %.2f V, high: %.2f V, delay: %s, contact: %s, retries: %t, sense: %t",
		low, high, d.text("delay", "s", 0, 5), d.text("inlet contact", "mohm", .5, 20), d.yes("retries"), d.yes("senses"))
}

// anyConverter, none included.
var anyConverter = []string{"none", "buck", "boost"}

func randomSetup(t *rapid.T, converters ...string) *setup.Setup {
	text := randomFile(t, converters...)
	s, err := setup.Read("random.yaml", []byte(text))
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	return s
}

// randomFaults are up to three, more often few.
func randomFaults(t *rapid.T, s *setup.Setup) []setup.Fault {
	var faults []setup.Fault
	for range rapid.SampledFrom([]int{0, 0, 1, 1, 2, 3}).Draw(t, "how many") {
		f := rapid.SampledFrom(s.Faults()).Draw(t, "fault")
		if f.Ohms > 0 {
			f.Ohms = setup.Ohms(math.Pow(10, draw{t}.number("log ohms", -3, 1.5)))
		}
		faults = append(faults, f)
	}
	return faults
}

// situation is a random set-up in random conditions.
type situation struct {
	setup *setup.Setup
	circuit.Conditions
}

var situations = rapid.Custom(func(t *rapid.T) situation {
	d := draw{t}
	s := randomSetup(t, anyConverter...)
	c := circuit.Conditions{
		Faults: randomFaults(t, s), Mains: d.yes("mains is on"), Charger: d.yes("charging"), ChairCharger: d.seldom("chair charger"), Driving: d.yes("driving"),
		Tilted: d.seldom("tilted"), Celsius: d.number("celsius", -20, 60), Tripped: d.seldom("tripped"),
		From: of(d, "from", "", "", setup.Mains, setup.Chair, setup.Internal),
	}
	share := func(label string) *float64 {
		v := d.number(label, 0, 1)
		return &v
	}
	if d.yes("charge given") {
		c.Chair, c.Inside = share("chair"), share("inside")
	}
	if d.yes("load given") {
		w := setup.Watts(d.number("load", 0, 200))
		c.Load = &w
	}
	return situation{s, c}
})

// randomMoment is what may change in a set-up, mains off.
func randomMoment(t *rapid.T, s *setup.Setup) circuit.Moment {
	d := draw{t}
	m := circuit.Moment{Load: d.number("load", 0, 80), Charge: d.number("charging", 0, 1), Inside: d.number("inside", 0, 1), Tilted: d.seldom("tilted")}
	m.Peak = m.Load * d.number("peak above load", 1, 2)
	for range s.Battery().Blocks {
		m.Blocks = append(m.Blocks, d.number("block", 0, 1))
	}
	if d.yes("driving") {
		m.Drive = d.number("motors", 1, 600)
		m.Ramp = m.Drive * d.number("ramp", 1, 3)
	}
	if d.seldom("chair charger") {
		m.ChairCharger = d.number("amps", .5, 12)
	}
	return m
}

func build(t *rapid.T, s *setup.Setup, faults []setup.Fault) *circuit.Network {
	n, err := circuit.Build(s, faults, draw{t}.number("celsius", -20, 60))
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// inlet is the chair's inlet's place among the volts: the mains side's parts
// follow it, without outlet and cord and with their own inlet.
func inlet(s *setup.Setup, p *circuit.Point) float64 { return p.Volts[len(p.Volts)-len(s.Mains)] }

func TestRandomStatesHoldTogether(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := situations.Draw(t, "situation")
		st, err := circuit.Solve(x.setup, x.Conditions)
		if err != nil {
			t.Fatal(err)
		}
		for _, n := range st.Nodes {
			if math.IsNaN(n.Volts) || math.IsInf(n.Volts, 0) || n.Volts < 0 {
				t.Fatalf("%s reads %g V", n.ID, n.Volts)
			}
		}
		lit := slices.ContainsFunc(st.Panel, func(in circuit.Indication) bool { return in.Lit })
		hunting := st.Kind == circuit.Hunting
		switch {
		case st.Source == setup.None && lit:
			t.Fatal("a stopped ventilator shows something")
		case st.Source == setup.Mains && !x.Mains:
			t.Fatal("on mains without the adapter")
		case st.Kind != circuit.Steady && st.Source == setup.Chair:
			t.Fatalf("%s, and yet on the chair", st.Kind)
		case hunting && st.Source == setup.None:
			t.Fatal("a stopped ventilator hunts")
		case hunting && !(st.Held > 0 && st.Held < 1 && st.Period > 0), !hunting && (st.Held != 0 || st.Period != 0):
			t.Fatalf("%s: %g of every %g s", st.Kind, st.Held, st.Period)
		case !(st.Amps >= 0 && st.Watts >= 0 && st.Inside >= 0 && st.Inside <= 1 && st.Chair >= 0 && st.Chair <= 1):
			t.Fatalf("%g A, %g W, internal %g, chair %g", st.Amps, st.Watts, st.Inside, st.Chair)
		}
	})
}

// What leaves the posts arrives or stays on the way, and what breathing takes
// comes from somewhere.
func TestPowerIsConserved(t *testing.T) {
	near := func(a, b float64) bool { return math.Abs(a-b) <= 1e-9*math.Max(math.Abs(a), math.Abs(b)) }
	seen := map[circuit.Kind]int{}
	rapid.Check(t, func(t *rapid.T) {
		s := randomSetup(t, anyConverter...)
		n := build(t, s, randomFaults(t, s))
		m := randomMoment(t, s)
		var p circuit.Point
		n.Solve(&m, &p)
		f := p.Flow
		if f.Terminal > 0 {
			seen[p.Kind]++
		}
		if !near(f.Terminal, f.Delivered+f.Lost) {
			t.Fatalf("%s: %g W leave the posts, %g W arrive, %g W are lost", p.Kind, f.Terminal, f.Delivered, f.Lost)
		}
		if !near(f.Charger, m.ChairCharger*p.Volts[0]) {
			t.Fatalf("the charger gives %g W, %g A into %g V", f.Charger, m.ChairCharger, p.Volts[0])
		}
		if p.Kind != circuit.Hunting && p.Amps > 0 && s.Tap().Block == 0 && !near(f.Terminal, p.Amps*p.Volts[0]) {
			t.Fatalf("%g W leave the posts, %g A at %g V", f.Terminal, p.Amps, p.Volts[0])
		}
		if p.Drive > 0 && !near(m.Drive, p.Drive*p.Volts[0]) {
			t.Fatalf("the motors take %g W, but %g A at %g V", m.Drive, p.Drive, p.Volts[0])
		}
		if got := f.Delivered + f.Inside; p.Source == setup.Chair && !near(got, m.Load+f.Charging) || p.Source == setup.Internal && got < m.Load*(1-1e-9) {
			t.Fatalf("on %s: %g W for %g W of breathing and %g W of charging", p.Source, got, m.Load, f.Charging)
		}
	})
	if seen[circuit.Steady] == 0 {
		t.Errorf("power flowed in %v", seen)
	}
}

// At fixed switch states more resistance anywhere in the chain never raises
// the inlet's volts, and never makes the chair carry.
func TestMoreResistanceNeverRaisesTheInlet(t *testing.T) {
	carried := 0
	rapid.Check(t, func(t *rapid.T) {
		s := randomSetup(t, anyConverter...)
		var worse []setup.Fault
		for _, f := range s.Faults() {
			if f.Ohms > 0 && slices.ContainsFunc(s.Chain, func(p setup.Part) bool { return p.ID == f.Part }) {
				worse = append(worse, f)
			}
		}
		f := rapid.SampledFrom(worse).Draw(t, "fault")
		celsius := draw{t}.number("celsius", -20, 60)
		m := randomMoment(t, s)
		var was *circuit.Point
		ohms := rapid.SliceOfN(rapid.Float64Range(1e-3, 3), 2, 5).Draw(t, "ohms")
		slices.Sort(ohms)
		for _, r := range ohms {
			f.Ohms = setup.Ohms(r)
			n, err := circuit.Build(s, []setup.Fault{f}, celsius)
			if err != nil {
				t.Fatal(err)
			}
			var p circuit.Point
			n.Solve(&m, &p)
			switch {
			case was == nil:
			case p.Source == setup.Chair && was.Source != setup.Chair:
				t.Fatalf("%v: carries, and with less it did not", f)
			case p.Source == setup.Chair && inlet(s, &p) > inlet(s, was)*(1+1e-12):
				t.Fatalf("%v: %.12g V, with less %.12g V", f, inlet(s, &p), inlet(s, was))
			}
			if p.Source == setup.Chair {
				carried++
			}
			was = &p
		}
	})
	if carried == 0 {
		t.Error("no chair carried")
	}
}

func TestATrippedLatchedConverterNeverCarries(t *testing.T) {
	carried := 0
	rapid.Check(t, func(t *rapid.T) {
		s := randomSetup(t, "buck", "boost")
		for i := range s.Chain {
			if c := s.Chain[i].Converter; c != nil {
				c.Latched = true
			}
		}
		n := build(t, s, randomFaults(t, s))
		m := randomMoment(t, s)
		var p circuit.Point
		n.Solve(&m, &p)
		if p.Source == setup.Chair {
			carried++
		}
		m.Tripped = true
		n.Solve(&m, &p)
		if p.Source == setup.Chair || p.Lit || !p.Tripped || p.Amps != 0 {
			t.Fatalf("source %s, lit %t, tripped %t, %g A", p.Source, p.Lit, p.Tripped, p.Amps)
		}
	})
	if carried == 0 {
		t.Error("no chair carried before its converter tripped")
	}
}

// Between cut-out and restart a converter that runs keeps running, and one
// that has tripped waits.
func TestCutOutAndRestartAreApart(t *testing.T) {
	carried := 0
	rapid.Check(t, func(t *rapid.T) {
		s := randomSetup(t, "buck", "boost")
		i := slices.IndexFunc(s.Chain, func(p setup.Part) bool { return p.Converter != nil })
		c := s.Chain[i].Converter
		c.Latched, c.CutOut = false, 1
		m := randomMoment(t, s)
		m.ChairCharger, m.Drive, m.Ramp = 0, 0, 0
		n := build(t, s, nil)
		idle := m
		idle.Tripped = true
		c.Restart = 1000
		var p, rest circuit.Point
		n.Solve(&m, &p)
		n.Solve(&idle, &rest) // off: the volts that a restart needs
		if p.Source != setup.Chair {
			return
		}
		carried++
		if rest.Source == setup.Chair || rest.Lit || rest.Amps != 0 {
			t.Fatalf("tripped: source %s, lit %t, %g A", rest.Source, rest.Lit, rest.Amps)
		}
		for _, x := range []struct {
			restart float64
			tripped bool
			carries bool
		}{
			{rest.Input * 1.001, false, true},
			{rest.Input * 1.001, true, false},
			{rest.Input * .999, false, true},
			{rest.Input * .999, true, true},
		} {
			c.Restart, m.Tripped = setup.Volts(x.restart), x.tripped
			n.Solve(&m, &p)
			if (p.Source == setup.Chair) != x.carries || p.Tripped == x.carries {
				t.Fatalf("at rest %g V, restart at %g V, tripped %t: source %s, still tripped %t", rest.Input, x.restart, x.tripped, p.Source, p.Tripped)
			}
		}
	})
	if carried == 0 {
		t.Error("no chair carried")
	}
}

// What goes into a converter is never less than what comes out, and rises with
// it, also beyond the last point of its curve.
func TestAConverterMakesNoPower(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := randomSetup(t, "buck", "boost")
		i := slices.IndexFunc(s.Chain, func(p setup.Part) bool { return p.Converter != nil })
		out := rapid.Float64Range(0, 500).Draw(t, "out")
		if in := circuit.InputWatts(s.Chain[i].Converter, out); in < out {
			t.Fatalf("%g W in, %g W out", in, out)
		}
	})
}
