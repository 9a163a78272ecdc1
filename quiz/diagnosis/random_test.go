package diagnosis

import (
	"fmt"
	"math/rand/v2"
	"os"
	"runtime"
	"strings"
	"sync"
	"testing"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
)

// named is a set-up under test.
type named struct {
	name string
	*setup.Setup
}

// randoms is how many random set-ups are judged.
const randoms = 200

// demos are the demo set-ups.
var demos = sync.OnceValue(func() []named {
	var out []named
	for _, name := range setup.DemoNames {
		s, err := setup.Demo(name)
		if err != nil {
			panic(err)
		}
		out = append(out, named{name, s})
	}
	return out
})

// drawn are the random set-ups, the same every time.
var drawn = sync.OnceValue(func() []named {
	var out []named
	for seed := range uint64(randoms) {
		out = append(out, named{fmt.Sprintf("random-%d", seed), randomSetup(seed, 8+int(seed%7))})
	}
	return out
})

// some are the random set-ups the engine is tried on: one in five, or with
// LAMPWRIGHT_EVERY or LAMPWRIGHT_LONG all.
func some() []named {
	if long() || os.Getenv("LAMPWRIGHT_EVERY") != "" {
		return drawn()
	}
	var out []named
	for i := 0; i < randoms; i += 5 {
		out = append(out, drawn()[i])
	}
	return out
}

func long() bool { return os.Getenv("LAMPWRIGHT_LONG") != "" }

// each does something for every set-up, on as many cores as there are.
func each(list []named, do func(named)) {
	var wg sync.WaitGroup
	room := make(chan struct{}, runtime.GOMAXPROCS(0))
	for _, s := range list {
		wg.Add(1)
		room <- struct{}{}
		go func() {
			defer wg.Done()
			do(s)
			<-room
		}()
	}
	wg.Wait()
}

func steady(care Care) Care {
	m := 120.0
	care.Minutes = &m
	return care
}

// randomSetup is a set-up with so many parts in its chain that rides on its
// chair when nothing is wrong, and takes mains when it is plugged in.
func randomSetup(seed uint64, parts int) *setup.Setup {
	r := rand.New(rand.NewPCG(seed, 4))
	for range 200 {
		text := randomFile(r, parts)
		s, err := setup.Read("random.yaml", []byte(text))
		if err != nil {
			panic(fmt.Sprintf("%v\n%s", err, text))
		}
		if inOrder(s) {
			return s
		}
	}
	panic(fmt.Sprintf("seed %d: no set-up in order", seed))
}

func inOrder(s *setup.Setup) bool {
	for _, mains := range []bool{false, true} {
		c := circuit.Usual()
		c.Mains = mains
		st, err := circuit.Solve(s, c)
		if err != nil || st.Kind != circuit.Steady || len(st.Heats) > 0 || len(st.Looks) > 0 {
			return false
		}
		if !mains && st.Source != setup.Chair || mains && s.Ventilator.Order[0] == setup.Mains && st.Source != setup.Mains {
			return false
		}
	}
	return true
}

// randomFile writes a set-up as the trade might build it.
func randomFile(r *rand.Rand, parts int) string {
	of := func(values ...string) string { return values[r.IntN(len(values))] }
	odds := func(p float64) bool { return r.Float64() < p }
	number := func(from, to float64) string { return fmt.Sprintf("%.3f", from+(to-from)*r.Float64()) }
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }

	kind := of("buck", "buck", "boost", "none")
	chemistry := of("agm", "gel", "flooded", "lithium")
	shared, isolator := odds(.4), odds(.6)
	block := 0
	if kind == "boost" || odds(.2) && kind == "none" {
		block = 1
	}
	pack := 24.0 // V
	if block == 1 {
		pack = 12
	}
	give := pack
	switch {
	case kind == "buck" && odds(.5):
		give = 13.8
	case kind == "buck":
		give = 19
	case kind == "boost":
		give = 24
	}

	line("schema: 1\ntag: Chair %d\ndependence: {unaided: %s min}", 100+r.IntN(900), of("0", "0", "5", "15", "30"))
	line("policy: {re-mate-joint: %t, open-fuse-holder: %t}", odds(.4), odds(.25))
	wall := give
	if !shared {
		wall = 24
	}
	line("mains:\n  - {id: outlet, outlet: {switched: %t}}\n  - {id: cord, cord: {}}", odds(.5))
	line("  - {id: adapter, adapter: {output: %.1f V, limit: 6 A, resistance: %s mohm}}", wall, number(20, 80))
	if odds(.2) {
		line("  - {id: mains-joint, joint: {contact: 1 mohm, colour: white, key: flat}}")
	}
	if odds(.2) {
		line("  - {id: mains-lead, lead: {length: 1 m, conductor: 14 AWG}}")
	}
	line("  - {id: adapter-plug, plug: {contact: 2 mohm}}")

	line("chain:\n  - {id: battery, battery: {chemistry: %s, years: %d, blocks: [%[3]s, %[3]s]}}", chemistry, r.IntN(4),
		fmt.Sprintf("{capacity: %s Ah, resistance: 4 mohm, charge: %s}", number(30, 80), number(.7, 1)))
	at := []string{"posts", "port"}
	if isolator {
		line("  - {id: isolator, isolator: {resistance: 1 mohm}}")
		at = append(at, "isolator")
		parts--
	}
	line("  - {id: tap, tap: {at: %s, block: %d, resistance: 1 mohm}}", of(at...), block)
	var series []string
	fuse, diode := odds(.9), odds(.15)
	if fuse {
		series = append(series, fmt.Sprintf("{id: fuse, fuse: {rating: %s A, cold: 7.7 mohm, holder: 2 mohm, clear-cover: %t}}", of("7.5", "10", "15"), odds(.7)))
	}
	if diode {
		series = append(series, "{id: diode, diode: {drop: 0.300 V, resistance: 10 mohm}}")
	}
	middle := parts - 3 - len(series) // beside battery, tap and plug
	if kind != "none" {
		middle--
	}
	converter := middle / 2
	for i := range middle {
		if i == converter && kind != "none" {
			series = append(series, converterPart(kind, give, odds))
		}
		if i%2 == 0 && (i < 6 || odds(.5)) {
			series = append(series, fmt.Sprintf("{id: lead-%d, lead: {length: %s m, conductor: %s}}", i, number(.2, .8), of("12 AWG", "14 AWG", "2.5 mm2")))
		} else {
			series = append(series, fmt.Sprintf("{id: joint-%d, joint: {contact: 1 mohm, colour: %s, key: %s}}", i, of(setup.Colours...), of(setup.Keys...)))
		}
	}
	for _, part := range series {
		line("  - %s", part)
	}
	sense := odds(.4)
	line("  - {id: plug, plug: {contact: 2 mohm, sense: %t}}", sense)

	line("ventilator:\n  model: %s", of("Heron", "Plover", "Dunlin"))
	line("  draw: {low: %s W, usual: %s W, high: %s W, peak: %s W}", number(8, 10), number(11, 20), number(21, 28), number(29, 40))
	line("  charger: {mains: 30 W, chair: %s W}\n  order: [%s]", of("0", "10"), of("mains, chair", "mains, chair", "mains, chair", "chair, mains"))
	window := func(volts float64) string {
		return fmt.Sprintf("low: %.1f V, high: %.1f V, delay: %s s, contact: 2 mohm, retries: %t", .78*volts, 1.25*volts, number(1, 3), odds(.8))
	}
	beside := ""
	if odds(.5) {
		beside = ", switch: inlet-switch"
	}
	if shared {
		line("  inlets:\n    - {id: inlet, takes: [mains, chair], %s%s}", window(give), beside)
	} else {
		line("  inlets:\n    - {id: inlet-mains, takes: [mains], %s}\n    - {id: inlet-chair, takes: [chair], %s, sense: %t%s}", window(24), window(give), sense, beside)
	}
	line("  internal: {energy: %s Wh, charge: 1, tested: 150 min, tested-on: 2026-09-01}\n  panel:", number(50, 100))
	switch r.IntN(3) {
	case 0:
		line("    - {id: lamp-mains, lamp: alternating-current, lit-on: [mains]}\n    - {id: lamp-chair, lamp: direct-current, lit-on: [chair]}\n    - {id: lamp-internal, lamp: battery, lit-on: [internal]}")
	case 1:
		line("    - {id: lamp-mains, lamp: alternating-current, lit-on: [mains]}\n    - {id: lamp-chair, lamp: direct-current, lit-on: [chair]}")
		line(`    - {id: screen, screen: {mains: "{percent} %%", chair: "{percent} %%", internal: "{percent} %%"}}`)
	default:
		line("    - {id: screen, screen: {mains: ON WALL, chair: ON CHAIR, internal: ON OWN BATTERY}}")
	}
	line("  alarm: {internal: %s, low: high, low-below: 0.2, stopped: %s}", of("low", "medium", "high"), of("none", "high"))
	return b.String()
}

func converterPart(kind string, give float64, odds func(float64) bool) string {
	cutOut, restart := 21.0, 23.5
	if kind == "boost" {
		cutOut, restart = 10.5, 12
	}
	return fmt.Sprintf("{id: converter, converter: {kind: %s, isolated: %t, output: %.1f V, limit: 8 A, idle: 1 W, efficiency: [{load: 10 W, ratio: 0.83}, {load: 40 W, ratio: 0.89}], cut-out: %.1f V, restart: %.1f V, latched: %t}}",
		kind, odds(.5), give, cutOut, restart, odds(.3))
}

func TestRandomSetupsAreOfManyKinds(t *testing.T) {
	count := map[string]int{}
	note := func(name string, yes bool) {
		if yes {
			count[name]++
		}
	}
	for _, s := range drawn() {
		if n := len(s.Chain); n < 8 || n > 14 {
			t.Errorf("%s: %d parts", s.name, n)
		}
		has := map[setup.Kind]bool{}
		joints := 0
		for i := range s.Chain {
			has[s.Chain[i].Kind()] = true
			if c := s.Chain[i].Converter; c != nil {
				note(string(c.Kind), true)
			}
			if s.Chain[i].Joint != nil {
				joints++
			}
		}
		note("no converter", !has[setup.KindConverter])
		note("isolator", has[setup.KindIsolator])
		note("diode", has[setup.KindDiode])
		note("fuse", has[setup.KindFuse])
		note("no fuse", !has[setup.KindFuse])
		note("several joints", joints > 1)
		note("one inlet", s.Ventilator.Shared())
		note("two inlets", !s.Ventilator.Shared())
		note("switch", s.Ventilator.InletFor(setup.Chair).Switch != "")
		note("no switch", s.Ventilator.InletFor(setup.Chair).Switch == "")
		note("tap at "+string(s.Tap().At), true)
		note("one block", s.Tap().Block == 1)
		note("re-mate", s.Policy.RemateJoint)
		note("open holder", s.Policy.OpenHolder)
		note("dependent", s.Dependence.Unaided == 0)
		note("unaided", s.Dependence.Unaided > 0)
	}
	for _, name := range []string{
		"buck", "boost", "no converter", "isolator", "diode", "fuse", "no fuse", "several joints", "one inlet", "two inlets", "switch", "no switch",
		"tap at posts", "tap at port", "tap at isolator", "one block", "re-mate", "open holder", "dependent", "unaided",
	} {
		if count[name] < 5 {
			t.Errorf("%d of %d: %s", count[name], randoms, name)
		}
	}
	t.Log(count)
}
