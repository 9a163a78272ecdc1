package circuit_test

import (
	"fmt"
	"math"
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
)

// ngspice is Debian's package, the oracle of these tests.
type ngspice string

func findNgspice(t testing.TB) ngspice {
	t.Helper()
	path, err := exec.LookPath("ngspice")
	if err != nil {
		if strings.Contains(os.Getenv("LAMPWRIGHT_REQUIRE"), "ngspice") {
			t.Fatal(err)
		}
		t.Skip("ngspice is not installed; cmd/check installs it")
	}
	return ngspice(path)
}

var printed = regexp.MustCompile(`(?m)^([iv]\(\w+\)) = (\S+)`)

// run gives what a deck prints. Where there is no operating point ngspice says
// "aborted" and still exits 0.
func (n ngspice) run(deck string) (values map[string]float64, aborted bool, err error) {
	cmd := exec.Command(string(n), "-b")
	cmd.Stdin = strings.NewReader(deck)
	out, err := cmd.CombinedOutput()
	if err != nil {
		return nil, false, fmt.Errorf("%w\n%s\n%s", err, deck, out)
	}
	values = map[string]float64{}
	for _, m := range printed.FindAllStringSubmatch(string(out), -1) {
		if values[m[1]], err = strconv.ParseFloat(m[2], 64); err != nil {
			return nil, false, err
		}
	}
	return values, strings.Contains(string(out), "aborted"), nil
}

// seeded goes through random situations, always the same, two at once.
func seeded(from, n int, f func(seed int, x situation)) {
	var wait sync.WaitGroup
	for worker := range 2 {
		wait.Go(func() {
			for i := worker; i < n; i += 2 {
				f(from+i, situations.Example(from+i))
			}
		})
	}
	wait.Wait()
}

// ngspice runs the decks as they are and finds every node within 1e-4; nodes
// that nothing feeds are 0 in both.
func TestAgreesWithNgspice(t *testing.T) {
	const chains = 400
	oracle := findNgspice(t)
	var lock sync.Mutex
	worst := 0.0
	seen := map[string]int{}
	seeded(0, chains, func(seed int, x situation) {
		st, err := circuit.Solve(x.setup, x.Conditions)
		if err != nil {
			t.Errorf("seed %d: %v", seed, err)
			return
		}
		deck := st.Netlist(x.setup.Tag)
		got, aborted, err := oracle.run(deck)
		if err != nil || aborted {
			t.Errorf("seed %d: aborted %t, %v\n%s", seed, aborted, err, deck)
			return
		}
		lock.Lock()
		defer lock.Unlock()
		seen[string(st.Source)]++
		seen[string(st.Kind)]++
		for _, node := range st.Nodes {
			v, ok := got["v("+circuit.SpiceName(node.ID)+")"]
			off := math.Abs(v-node.Volts) / math.Max(node.Volts, 1e-2)
			if !ok || off > 1e-4 {
				t.Errorf("seed %d: %s: ours %.9g V, ngspice %.9g (printed %v)\n%s", seed, node.ID, node.Volts, v, ok, deck)
				return
			}
			worst = math.Max(worst, off)
			seen["nodes"]++
			if node.Volts == 0 {
				seen["nodes at 0"]++
			}
		}
	})
	for _, word := range []string{"mains", "chair", "internal", "none", "steady", "hunting", "collapsed", "nodes at 0"} {
		if seen[word] < 10 {
			t.Errorf("only %d of %s", seen[word], word)
		}
	}
	t.Logf("%d chains, worst relative difference %.2g, %v", chains, worst, seen)
}

// Where our solver says that the chair holds its load, or cannot hold it, a
// deck made here from the set-up's own values, with that load on it, says the
// same: a root inside the inlet's window, above cut-out and within the limit,
// or none.
func TestAgreesWithNgspiceOnCollapse(t *testing.T) {
	const chains = 600
	oracle := findNgspice(t)
	var lock sync.Mutex
	seen := map[string]int{}
	seeded(10_000, chains, func(seed int, x situation) {
		c := x.Conditions
		c.Mains, c.Tripped, c.ChairCharger, c.From, c.Tilted = false, false, false, "", false
		st, err := circuit.Solve(x.setup, c)
		if err != nil {
			t.Errorf("seed %d: %v", seed, err)
			return
		}
		if st.Source != setup.Chair && st.Kind == circuit.Steady {
			return // never tried: open, asleep, or not the inlet's volts
		}
		average, top := demands(x.setup, &c)
		chain := chainOf(x.setup, &c)
		verdict, deck, err := chain.bears(oracle, average)
		if err == nil && verdict == holds {
			verdict, deck, err = chain.bears(oracle, top)
		}
		if err != nil {
			t.Errorf("seed %d: %v", seed, err)
			return
		}
		lock.Lock()
		defer lock.Unlock()
		seen[string(st.Kind)+", ngspice: "+verdict]++
		if verdict != onTheEdge && (verdict == holds) != (st.Source == setup.Chair) {
			t.Errorf("seed %d: ours says %s on %s, ngspice %s\n%s", seed, st.Kind, st.Source, verdict, deck)
		}
	})
	for _, words := range []string{"steady, ngspice: holds", "hunting, ngspice: no root", "hunting, ngspice: out of bounds", "collapsed, ngspice: no root", "collapsed, ngspice: out of bounds"} {
		if seen[words] < 5 {
			t.Errorf("only %d of %s", seen[words], words)
		}
	}
	t.Logf("%d chains, %v", chains, seen)
}

// demand is what is asked of the pack, in W.
type demand struct{ breathing, driving float64 }

// demands are those on average, and at the top of a breath and of a ramp.
func demands(s *setup.Setup, c *circuit.Conditions) (average, top demand) {
	load := s.Ventilator.Draw.Usual
	if c.Load != nil {
		load = *c.Load
	}
	charging := setup.Watts(0)
	if c.Charger && !has(c.Faults, setup.InternalID, setup.Dead) && !has(c.Faults, setup.InternalID, setup.NotCharging) {
		charging = s.Ventilator.Charger.Chair
	}
	average.breathing = float64(load + charging)
	top.breathing = float64(max(load, load*s.Ventilator.Draw.Peak/s.Ventilator.Draw.High) + charging)
	if c.Driving {
		average.driving = float64(s.Drive.Energy) * float64(s.Drive.Speed)
		top.driving = math.Max(average.driving, float64(s.Drive.Ramp))
	}
	return average, top
}

func has(faults []setup.Fault, part string, mode setup.Mode) bool {
	return slices.ContainsFunc(faults, func(f setup.Fault) bool { return f.Part == part && f.Mode == mode })
}

// chain is a chain that nothing opens, worked out from the set-up's values
// without the solver: emf and ohms of the tapped blocks and of those above,
// ohms and diode's volts before the converter and behind it.
type chain struct {
	emf, ohms [2]float64
	way, drop [2]float64
	converter *setup.Converter
	gives     float64 // the converter, V
	inlet     *setup.Inlet
}

func chainOf(s *setup.Setup, c *circuit.Conditions) chain {
	x := chain{inlet: s.Ventilator.InletFor(setup.Chair)}
	behind := 0
	for i := range s.Chain {
		p := &s.Chain[i]
		for _, f := range c.Faults {
			if f.Part == p.ID {
				x.way[behind] += float64(f.Ohms)
			}
		}
		switch {
		case p.Battery != nil:
			x.pack(p, s.Tap().Block, c)
		case p.Isolator != nil && s.Tap().At == setup.AtPosts: // not in the way, nor what is wrong with it
			x.way[behind] = 0
		case p.Isolator != nil:
			x.way[behind] += float64(p.Isolator.Resistance)
		case p.Tap != nil:
			x.way[behind] += float64(p.Tap.Resistance)
		case p.Lead != nil:
			x.way[behind] += float64(setup.CopperLoop(p.Lead.Length, p.Lead.Conductor, c.Celsius))
		case p.Joint != nil:
			x.way[behind] += float64(p.Joint.Contact)
		case p.Fuse != nil:
			x.way[behind] += float64(p.Fuse.Cold + p.Fuse.Holder)
		case p.Diode != nil:
			x.way[behind] += float64(p.Diode.Resistance)
			if !has(c.Faults, p.ID, setup.Shorted) {
				x.drop[behind] = float64(p.Diode.Drop)
			}
		case p.Plug != nil:
			x.way[behind] += float64(p.Plug.Contact)
		case p.Converter != nil:
			x.converter, x.gives, behind = p.Converter, float64(p.Converter.Output), 1
			if has(c.Faults, p.ID, setup.WrongType) { // 12 V for 24, 24 for 12
				x.gives = map[bool]float64{true: 12, false: 24}[x.gives >= 18]
			}
		}
	}
	x.way[behind] += float64(x.inlet.Contact)
	return x
}

// pack: an aged block has four times its resistance, and 1.2 % more for each
// kelvin below 20 °C; a shorted cell lacks 2.1 V (common practice, no source).
func (x *chain) pack(p *setup.Part, block int, c *circuit.Conditions) {
	for i, b := range p.Battery.Blocks {
		at := 0
		if block == 1 && i > 0 {
			at = 1
		}
		charge := b.Charge
		if c.Chair != nil {
			charge = *c.Chair
		}
		if has(c.Faults, p.ID, setup.Flat) {
			charge = 0
		}
		ohms := float64(b.Resistance) * (1 + .012*math.Max(0, 20-c.Celsius))
		if has(c.Faults, p.ID, setup.Aged) {
			ohms *= 4
		}
		x.emf[at] += circuit.OpenCircuit(p.Battery.Chemistry, charge)
		x.ohms[at] += ohms
	}
	if has(c.Faults, p.ID, setup.CellShorted) {
		x.emf[0] -= 2.1
	}
}

// The verdicts of ngspice.
const (
	holds       = "holds"
	noRoot      = "no root"
	outOfBounds = "out of bounds" // of the inlet's window, the cut-out or the limit
	onTheEdge   = "on the edge"   // within a millionth of a bound: either is right
)

// bears asks ngspice for the operating point under a demand.
func (x *chain) bears(oracle ngspice, d demand) (verdict, deck string, err error) {
	deck = x.deck(d)
	got, aborted, err := oracle.run(deck)
	if err != nil || aborted {
		return noRoot, deck, err
	}
	v := got["v(inlet)"]
	margin := math.Min(v/float64(x.inlet.Low)-1, 1-v/float64(x.inlet.High))
	if x.converter != nil {
		margin = math.Min(margin, math.Min(got["v(input)"]/float64(x.converter.CutOut)-1, 1+got["i(v_out)"]/float64(x.converter.Limit)))
	}
	switch {
	case math.IsNaN(margin) || margin < -1e-6:
		return outOfBounds, deck, nil
	case margin < 1e-6:
		return onTheEdge, deck, nil
	}
	return holds, deck, nil
}

func (x *chain) deck(d demand) string {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	ohms := func(v float64) float64 { return math.Max(v, 1e-6) }
	line("* a chain under %g W of breathing and %g W of driving", d.breathing, d.driving)
	line(".options reltol=1e-9 vntol=1e-9 abstol=1e-9")
	line("V_emf emf 0 %.12g", x.emf[0])
	line("R_emf emf posts %.12g", ohms(x.ohms[0]))
	motors := "posts"
	if x.ohms[1] > 0 {
		motors = "pack"
		line("R_above posts above %.12g", x.ohms[1])
		line("V_above pack above %.12g", x.emf[1])
		line(".nodeset v(above)=%.12g v(pack)=%.12g", x.emf[0], x.emf[0]+x.emf[1])
	}
	line("B_motors %s 0 I = %.12g/v(%s)", motors, d.driving, motors)
	line("R_way posts diode %.12g", ohms(x.way[0]))
	line(".nodeset v(posts)=%.12g v(diode)=%.12g", x.emf[0], x.emf[0])
	start := x.emf[0] - x.drop[0]
	if x.converter == nil {
		line("V_diode diode inlet %.12g", x.drop[0])
	} else {
		line("V_diode diode input %.12g", x.drop[0])
		line(".nodeset v(input)=%.12g", start)
		start = x.gives - x.drop[1]
		line("V_out out 0 %.12g", x.gives)
		line("R_out out behind %.12g", ohms(x.way[1]))
		line("V_behind behind inlet %.12g", x.drop[1])
		line(".nodeset v(behind)=%.12g", x.gives)
		line("B_converter input 0 I = (-%.12g*i(v_out) + pwl(-%.12g*i(v_out)%s))/v(input)", x.gives, x.gives, x.losses())
	}
	line(".nodeset v(inlet)=%.12g", start)
	line("B_load inlet 0 I = %.12g/v(inlet)", d.breathing)
	line(".control\nset numdgt=9\nop\nprint v(inlet)")
	if x.converter != nil {
		line("print v(input)\nprint i(v_out)")
	}
	line("quit 0\n.endc\n.end")
	return b.String()
}

// losses are the converter's, as points of output watts and lost watts: idle,
// its curve, and on as steep beyond it, but never falling.
func (x *chain) losses() string {
	out, lost, slope := 0.0, float64(x.converter.Idle), 0.0
	text := fmt.Sprintf(",0,%.12g", lost)
	for _, e := range x.converter.Efficiency {
		next := float64(e.Load)/e.Ratio - float64(e.Load)
		slope = math.Max(0, (next-lost)/(float64(e.Load)-out))
		out, lost = float64(e.Load), next
		text += fmt.Sprintf(",%.12g,%.12g", out, lost)
	}
	return text + fmt.Sprintf(",1e5,%.12g", lost+slope*(1e5-out))
}

// A part may be called anything, also what ngspice takes for its own, and what
// the deck calls its own nodes and elements.
func TestNetlistOutlivesAwkwardNames(t *testing.T) {
	oracle := findNgspice(t)
	for _, id := range []string{
		"gnd", "all", "alli", "allv", "ally", "temper", "time", "hertz", "not", "and", "or", "eq", "ge", "gt", "le", "lt", "ne", "mod", "pi", "e", "const",
		"emf", "emf-", "posts", "posts-", "inner", "above", "above-", "mains", "mains-", "load", "load-inlet-chair", "drop-diode", "watts",
	} {
		s := demo(t, "chair-12")
		s.Part("lead-out").ID = id
		st, err := circuit.Solve(s, circuit.Usual())
		if err != nil {
			t.Fatal(err)
		}
		got, aborted, err := oracle.run(st.Netlist(id))
		if err != nil || aborted {
			t.Errorf("%s: aborted %t, %v", id, aborted, err)
			continue
		}
		for _, node := range st.Nodes {
			if v, ok := got["v("+circuit.SpiceName(node.ID)+")"]; !ok || math.Abs(v-node.Volts) > 1e-4*node.Volts {
				t.Errorf("%s: %s is %.9g V in ngspice (printed %t), ours %.9g", id, node.ID, v, ok, node.Volts)
			}
		}
	}
}

// The 12-part chain of Chair 12 at ever another load, by Network.Solve and by
// ngspice's own loop of alter and op in one process; the difference between
// two lengths of that loop leaves its start out.
func BenchmarkAgainstNgspice(b *testing.B) {
	oracle := findNgspice(b)
	s := demo(b, "chair-12")
	st, err := circuit.Solve(s, circuit.Usual())
	if err != nil {
		b.Fatal(err)
	}
	elements, _, _ := strings.Cut(st.Netlist(s.Tag), ".control")
	load := regexp.MustCompile(`(?m)^(B__load_inlet_chair .*) I = [^/]+/`)
	if !load.MatchString(elements) {
		b.Fatalf("no load to alter\n%s", elements)
	}
	elements = load.ReplaceAllString(elements, "$1 I = v(_watts)/") + "V__watts _watts 0 14\n"
	const points = 20_000
	loop := func(n int) time.Duration {
		deck := elements + fmt.Sprintf(".control\nset numdgt=9\nlet w = 14\nrepeat %d\nlet const.w = const.w + %.12g\nalter v__watts dc = const.w\nop\ndestroy\nend\nop\nprint v(_watts)\nquit 0\n.endc\n.end\n", n, 40.0/float64(n))
		start := time.Now()
		got, aborted, err := oracle.run(deck)
		if took := time.Since(start); err == nil && !aborted && math.Abs(got["v(_watts)"]-54) < 1e-3 {
			return took
		}
		b.Fatalf("aborted %t, %v, %v", aborted, got, err)
		return 0
	}
	theirs := float64(loop(2*points)-loop(points)) / points

	n, err := circuit.Build(s, nil, 20)
	if err != nil {
		b.Fatal(err)
	}
	m := circuit.Moment{Load: 14, Peak: 14, Inside: 1}
	var p circuit.Point
	n.Solve(&m, &p)
	b.ReportAllocs()
	for b.Loop() {
		if m.Load += .002; m.Load > 54 {
			m.Load = 14
		}
		m.Peak = m.Load
		n.Solve(&m, &p)
	}
	if p.Source != setup.Chair {
		b.Fatal(p.Source)
	}
	ours := float64(b.Elapsed()) / float64(b.N)
	b.ReportMetric(ours, "ours-ns/op")
	b.ReportMetric(theirs, "ngspice-ns/op")
	b.ReportMetric(theirs/ours, "ngspice/ours")
}
