// Package circuit finds what follows from a set-up and what is wrong with it:
// the operating point of the mains side and of the chain, which source carries
// the ventilator, which lamps are lit, which alarm sounds, how each part looks
// and how warm it is; and the same as a SPICE netlist.
//
// Nothing here knows a lamp for a fault: faults alter resistances, openings
// and volts, the solved volts decide the source, the source lights the panel.
// Time, drawing and judging must not live here.
package circuit

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"lampwright/lessons/setup"
	"lampwright/locales/problem"
)

// Version is the model's: runs and sign-offs carry it.
const Version = "1"

// Conditions are what a set-up is in.
type Conditions struct {
	Faults  []setup.Fault
	Mains   bool         // the adapter is in a wall outlet and in the ventilator
	Load    *setup.Watts // what breathing takes; nil for the usual setting
	Charger bool         // the internal battery is charging
	Chair   *float64     // charge of every chair block, 0 to 1; nil as in the set-up
	Inside  *float64     // charge of the internal battery, 0 to 1; nil as in the set-up
	Celsius float64      // of copper
	From    setup.Source // what carried until now, "" where nothing changes over
	Latched bool         // the converter has already cut out, and waits for a reset
}

// Usual are the conditions of an ordinary day: 20 °C, riding on the chair.
func Usual(faults ...setup.Fault) Conditions { return Conditions{Faults: faults, Celsius: 20} }

// Kind is how the chair supply behaves.
type Kind string

// The kinds.
const (
	Steady    Kind = "steady"    // it stays as it is
	Hunting   Kind = "hunting"   // taken, let go, taken again: the lamp comes and goes
	Collapsed Kind = "collapsed" // it gave way under the load and stays away
)

// Node is the volts after a part, against the pack's negative; a node that
// nothing feeds reads 0.
type Node struct {
	ID    string
	Volts float64
}

// Indication is what one lamp or screen of the panel shows.
type Indication struct {
	ID      string
	Lit     bool
	Flicker bool   // comes and goes
	Screen  string // the words or the level on a screen, "" when blank or a lamp
}

// Heat of a part to the back of a hand.
type Heat string

// The heats, by the watts spent in the part (common practice, no source).
const (
	Cool Heat = "cool" // below 0.5 W
	Warm Heat = "warm" // to 3 W
	Hot  Heat = "hot"
)

// State is a solved set-up. While hunting, it is the moment after letting go.
type State struct {
	Kind   Kind
	Source setup.Source
	Nodes  []Node
	Amps   float64 // leaving the chair's battery
	Watts  float64 // leaving the chair's battery, at its terminals
	Panel  []Indication
	Alarm  setup.Priority
	Inside float64               // charge of the internal battery, 0 to 1
	Looks  map[string]setup.Look // what is seen, of parts that do not look sound
	Heats  map[string]Heat       // of parts that are not cool
	Live   map[string]bool       // parts with volts after them

	unlit  []string // converters and adapters that give nothing
	parked string   // the plug that is out of a shared inlet
	deck   deck
}

// Look is what is seen at a part.
func (s *State) Look(part string) setup.Look {
	if l, ok := s.Looks[part]; ok {
		return l
	}
	return setup.LookSound
}

// Seen is what a person standing there sees: a converter or adapter that gives
// nothing is dark, whoever's fault that is, and the plug that has no place in
// a shared inlet is out.
func (s *State) Seen(part string) setup.Look {
	switch {
	case slices.Contains(s.unlit, part):
		return setup.LookDark
	case s.parked != "" && part == s.parked && s.Look(part) == setup.LookSound:
		return setup.LookApart
	}
	return s.Look(part)
}

// Heat is how warm a part is.
func (s *State) Heat(part string) Heat {
	if h, ok := s.Heats[part]; ok {
		return h
	}
	return Cool
}

// segment is a stretch of series parts behind one voltage source.
type segment struct {
	ids  []string
	ohms []float64
	open []bool
}

func (g *segment) add(id string, ohms float64, open bool) {
	g.ids, g.ohms, g.open = append(g.ids, id), append(g.ohms, ohms), append(g.open, open)
}

// through is the whole resistance, and false where the stretch is open.
func (g *segment) through() (float64, bool) {
	r := 0.0
	for i := range g.ids {
		if g.open[i] {
			return 0, false
		}
		r += g.ohms[i]
	}
	return r, true
}

// network is a set-up with its faults applied, ready to be solved.
type network struct {
	emf, inner  float64 // of what the chain taps
	above       float64 // open-circuit volts of the blocks above a one-block tap
	battery     string
	input       segment // from the battery to the converter, or to the inlet without one
	converter   *setup.Converter
	converterID string
	dark        bool    // the converter gives nothing
	output      segment // from the converter to the inlet
	chairInlet  *setup.Inlet
	mains       segment // from the adapter to the inlet
	adapter     *setup.Adapter
	adapterID   string
	alive       bool // the adapter gives volts
	mainsInlet  *setup.Inlet
}

// UpperRoot is the operating point of a constant-power load behind a
// resistance: V = (E + √(E² − 4RP))/2. ok is false where there is none,
// above P = E²/4R.
func UpperRoot(emf, ohms, watts float64) (volts float64, ok bool) {
	d := emf*emf - 4*ohms*watts
	if d < 0 || emf <= 0 {
		return 0, false
	}
	return (emf + math.Sqrt(d)) / 2, true
}

// blockVolts is a 12 V block's open-circuit voltage by charge. AGM, gel and
// flooded down to a tenth: sources named in the reference as weak; the last
// point (1.75 V a cell) and lithium's are from memory.
var blockVolts = map[setup.Chemistry][]struct{ charge, volts float64 }{
	setup.AGM:     {{0, 10.5}, {.1, 11.6}, {.3, 11.8}, {.5, 12.1}, {.7, 12.3}, {.8, 12.5}, {1, 12.7}},
	setup.Gel:     {{0, 10.5}, {.1, 11.6}, {.3, 11.8}, {.5, 12.1}, {.7, 12.3}, {.8, 12.5}, {1, 12.7}},
	setup.Flooded: {{0, 10.5}, {.25, 12.0}, {.5, 12.2}, {.75, 12.4}, {1, 12.6}},
	setup.Lithium: {{0, 10}, {.1, 12.8}, {.5, 13.1}, {.9, 13.3}, {1, 13.6}},
}

// OpenCircuit is a 12 V block's open-circuit voltage at a charge from 0 to 1.
func OpenCircuit(c setup.Chemistry, charge float64) float64 {
	pts := blockVolts[c]
	for i := 1; i < len(pts); i++ {
		if charge <= pts[i].charge {
			a, b := pts[i-1], pts[i]
			return a.volts + (b.volts-a.volts)*(charge-a.charge)/(b.charge-a.charge)
		}
	}
	return pts[len(pts)-1].volts
}

const (
	flatCharge = 0.0 // of a battery called flat: a chair's is spent to 1.75 V a cell
	agedOhms   = 4   // an aged block's resistance against a new one's (common practice, no source)
)

// InputWatts is what a converter takes for an output: its idle watts with no
// load, and between the points of its curve the losses run straight.
func InputWatts(c *setup.Converter, out float64) float64 { return out + loss(c, out) }

func loss(c *setup.Converter, out float64) float64 {
	x0, y0 := 0.0, float64(c.Idle)
	slope := 0.0
	for _, e := range c.Efficiency {
		x1 := float64(e.Load)
		y1 := x1 * (1/e.Ratio - 1)
		slope = (y1 - y0) / (x1 - x0)
		if out <= x1 {
			return y0 + slope*(out-x0)
		}
		x0, y0 = x1, y1
	}
	return y0 + slope*(out-x0)
}

// Solve finds the state of a set-up. Its errors are problem.Invalid and name
// what cannot be.
func Solve(s *setup.Setup, c Conditions) (State, error) {
	if err := check(s, c); err != nil {
		return State{}, err
	}
	has := func(part string, m setup.Mode) bool {
		return slices.ContainsFunc(c.Faults, func(f setup.Fault) bool { return f.Part == part && f.Mode == m })
	}
	n := build(s, c)

	inside := s.Ventilator.Internal.Charge
	if c.Inside != nil {
		inside = *c.Inside
	}
	if has(setup.InternalID, setup.Flat) {
		inside = flatCharge
	}
	load := float64(s.Ventilator.Draw.Usual)
	if c.Load != nil {
		load = float64(*c.Load)
	}
	charge := func(w setup.Watts) float64 {
		if c.Charger {
			return load + float64(w)
		}
		return load
	}

	st := State{Kind: Steady, Source: setup.None, Inside: inside}
	point := operating{}
	for _, source := range s.Ventilator.Order {
		if source == setup.Mains && c.Mains {
			if n.mainsCarries(charge(s.Ventilator.Charger.Mains)) {
				st.Source, point.mainsLoad = setup.Mains, charge(s.Ventilator.Charger.Mains)
			}
		}
		if source == setup.Chair && !(c.Mains && s.Ventilator.Shared()) {
			kind, carries := n.chairCarries(charge(s.Ventilator.Charger.Chair))
			if kind != Steady {
				st.Kind = kind
			}
			if carries {
				st.Source, point.chairLoad = setup.Chair, charge(s.Ventilator.Charger.Chair)
			}
			if kind == Collapsed {
				n.dark = n.dark || n.converter != nil
			}
		}
		if st.Source != setup.None {
			break
		}
	}
	switch ready := inside > 0 && !has(setup.InternalID, setup.Dead); {
	case st.Source == setup.None && ready:
		st.Source = setup.Internal
	case !ready && outside(c.From) && st.Source != c.From:
		// The changeover itself rides on the internal battery.
		st.Source, point = setup.None, operating{}
	}
	n.solve(&st, point, c.Mains, s.Ventilator.Shared())
	if s.Ventilator.Shared() {
		out := s.Mains
		if c.Mains {
			out = s.Chain
		}
		st.parked = out[len(out)-1].ID
	}
	st.Panel, st.Alarm = panel(s, &st, has)
	looks(s, c, &st)
	return st, nil
}

func outside(s setup.Source) bool { return s == setup.Mains || s == setup.Chair }

func check(s *setup.Setup, c Conditions) error {
	bad := func(field string, value any, wanted string) error {
		return problem.Wrap(fmt.Errorf("%s: got %v, expected %s", field, value, wanted),
			problem.Invalid, "problem.value", "Field", field, "Value", value, "Expected", wanted)
	}
	for _, f := range c.Faults {
		kind, ok := s.PartKind(f.Part)
		if !ok {
			return bad("fault", f, "a part of this set-up")
		}
		if _, ok := setup.Of(kind, f.Mode); !ok {
			return bad("fault", f, "a mode of a "+string(kind))
		}
	}
	if c.Load != nil && !(*c.Load >= 0 && *c.Load <= 1000) {
		return bad("load", float64(*c.Load), "0 to 1000 watts")
	}
	for field, v := range map[string]*float64{"chair-charge": c.Chair, "internal-charge": c.Inside} {
		if v != nil && !(*v >= 0 && *v <= 1) {
			return bad(field, *v, "a number from 0 to 1")
		}
	}
	if !(c.Celsius >= -40 && c.Celsius <= 85) {
		return bad("temperature", c.Celsius, "-40 to 85 °C")
	}
	return nil
}

// build applies the faults.
func build(s *setup.Setup, c Conditions) *network {
	n := &network{chairInlet: s.Ventilator.InletFor(setup.Chair), mainsInlet: s.Ventilator.InletFor(setup.Mains)}
	at := &n.input
	for i := range s.Chain {
		p := &s.Chain[i]
		ohms, open, faults := partOhms(p, c)
		switch {
		case p.Battery != nil:
			n.battery = p.ID
			tap := tapOf(s)
			for b, block := range p.Battery.Blocks {
				charge, r := block.Charge, float64(block.Resistance)
				if c.Chair != nil {
					charge = *c.Chair
				}
				for _, f := range faults {
					switch f.Mode {
					case setup.Flat:
						charge = math.Min(charge, flatCharge)
					case setup.Aged:
						r *= agedOhms
					}
				}
				v := OpenCircuit(p.Battery.Chemistry, charge)
				if tap.Block == 0 || b < tap.Block {
					n.emf += v
					n.inner += r
				} else {
					n.above += v
				}
			}
		case p.Isolator != nil:
			if tapOf(s).At != setup.AtPosts { // the posts are before the isolator
				at.add(p.ID, ohms, open)
			}
		case p.Converter != nil:
			n.converter, n.converterID = p.Converter, p.ID
			n.dark = open || c.Latched
			at = &n.output
		default:
			at.add(p.ID, ohms, open)
		}
	}
	n.inlet(&n.input, &n.output, c)
	n.alive = c.Mains
	for i := range s.Mains {
		p := &s.Mains[i]
		ohms, open, _ := partOhms(p, c)
		switch {
		case p.Outlet != nil, p.Cord != nil:
			n.alive = n.alive && !open
		case p.Adapter != nil:
			n.adapter, n.adapterID = p.Adapter, p.ID
			n.alive = n.alive && !open
			n.mains.add(p.ID, ohms, false)
		default:
			n.mains.add(p.ID, ohms, open)
		}
	}
	ohms, open := inletOhms(n.mainsInlet, c)
	n.mains.add(n.mainsInlet.ID, ohms, open)
	return n
}

func (n *network) inlet(input, output *segment, c Conditions) {
	at := input
	if n.converter != nil {
		at = output
	}
	if id := n.chairInlet.Switch; id != "" {
		at.add(id, 0, slices.ContainsFunc(c.Faults, func(f setup.Fault) bool { return f.Part == id && f.Mode == setup.Off }))
	}
	ohms, open := inletOhms(n.chairInlet, c)
	at.add(n.chairInlet.ID, ohms, open)
}

func inletOhms(in *setup.Inlet, c Conditions) (float64, bool) {
	failed := slices.ContainsFunc(c.Faults, func(f setup.Fault) bool { return f.Part == in.ID && f.Mode == setup.Failed })
	return float64(in.Contact), failed
}

func tapOf(s *setup.Setup) *setup.Tap {
	for i := range s.Chain {
		if t := s.Chain[i].Tap; t != nil {
			return t
		}
	}
	return &setup.Tap{}
}

// opening are the modes through which nothing passes.
var opening = []setup.Mode{
	setup.Off, setup.Asleep, setup.Open, setup.Reversed, setup.Crossed, setup.PushedIn, setup.Blown,
	setup.Missing, setup.CutOut, setup.Failed,
}

// partOhms is a part's series resistance under its faults, whether it is open,
// and those faults.
func partOhms(p *setup.Part, c Conditions) (ohms float64, open bool, faults []setup.Fault) {
	switch {
	case p.Isolator != nil:
		ohms = float64(p.Isolator.Resistance)
	case p.Tap != nil:
		ohms = float64(p.Tap.Resistance)
	case p.Lead != nil:
		ohms = float64(setup.CopperLoop(p.Lead.Length, p.Lead.Conductor, c.Celsius))
	case p.Joint != nil:
		ohms = float64(p.Joint.Contact)
	case p.Fuse != nil:
		ohms = float64(p.Fuse.Cold + p.Fuse.Holder)
	case p.Plug != nil:
		ohms = float64(p.Plug.Contact)
	case p.Adapter != nil:
		ohms = float64(p.Adapter.Resistance)
	}
	for _, f := range c.Faults {
		if f.Part != p.ID {
			continue
		}
		faults = append(faults, f)
		open = open || slices.Contains(opening, f.Mode) || f.Mode == setup.HalfHome && f.Ohms == 0
		ohms += float64(f.Ohms)
	}
	return ohms, open, faults
}

// mainsCarries reports whether the mains side holds the load inside the
// inlet's window and the adapter's limit.
func (n *network) mainsCarries(load float64) bool {
	r, whole := n.mains.through()
	if !n.alive || !whole {
		return false
	}
	v, ok := UpperRoot(float64(n.adapter.Output), r, load)
	return ok && within(v, n.mainsInlet) && load <= float64(n.adapter.Limit)*v
}

func within(v float64, in *setup.Inlet) bool { return v >= float64(in.Low) && v <= float64(in.High) }

// chairCarries tries the load on the chain. Where the loaded chain cannot hold
// it and the unloaded one comes back, it hunts; where it may not come back, it
// has collapsed.
func (n *network) chairCarries(load float64) (Kind, bool) {
	rest := n.chair(0)
	if !within(rest.inlet, n.chairInlet) {
		return Steady, false // never taken
	}
	loaded := n.chair(load)
	switch {
	case loaded.ok && within(loaded.inlet, n.chairInlet):
		return Steady, true
	case loaded.tripped && n.converter.Latched:
		return Collapsed, false
	case loaded.tripped && rest.input < float64(n.converter.Restart):
		return Collapsed, false
	case !loaded.tripped && !n.chairInlet.Retries:
		return Collapsed, false
	}
	return Hunting, false
}

// chairPoint is an operating point of the chain.
type chairPoint struct {
	ok      bool
	tripped bool    // the converter, not the ventilator, let go
	input   float64 // volts at the converter's input, or the inlet without one
	inlet   float64
	amps    float64 // leaving the battery
	out     float64 // amps leaving the converter
}

// chair solves the chain with a constant-power load at the inlet.
func (n *network) chair(load float64) chairPoint {
	r1, whole := n.input.through()
	if !whole {
		return chairPoint{}
	}
	r1 += n.inner
	if n.converter == nil {
		v, ok := UpperRoot(n.emf, r1, load)
		return chairPoint{ok: ok, input: v, inlet: v, amps: over(load, v)}
	}
	if n.dark {
		return chairPoint{ok: load == 0, input: n.emf}
	}
	vout := float64(n.converter.Output)
	p := chairPoint{ok: true}
	out := 0.0
	if r2, whole := n.output.through(); whole {
		v, ok := UpperRoot(vout, r2, load)
		if !ok {
			// No operating point behind the converter: its limit holds the
			// current, the inlet falls below its window, the ventilator lets go.
			return chairPoint{}
		}
		p.inlet, p.out = v, over(load, v)
		out = vout * p.out
	} else if load > 0 {
		return chairPoint{}
	}
	if p.out > float64(n.converter.Limit) {
		return chairPoint{tripped: true}
	}
	pin := InputWatts(n.converter, out)
	v, ok := UpperRoot(n.emf, r1, pin)
	if !ok || v < float64(n.converter.CutOut) {
		return chairPoint{tripped: true}
	}
	p.input, p.amps = v, over(pin, v)
	return p
}

func over(watts, volts float64) float64 {
	if watts == 0 {
		return 0
	}
	return watts / volts
}

// operating is the load each outside source carries in the final state.
type operating struct{ mainsLoad, chairLoad float64 }

// solve fills in the nodes, the battery's amps and watts, what is live, the
// heats, and the deck of the same discrete state.
func (n *network) solve(st *State, op operating, mainsIn, shared bool) {
	st.Live, st.Heats = map[string]bool{}, map[string]Heat{}
	p := n.chair(op.chairLoad)
	if !p.ok {
		// At rest the converter cannot stay on either: it is off.
		n.dark = n.converter != nil
		p = n.chair(op.chairLoad)
	}
	tapped := n.emf - p.amps*n.inner
	st.Amps, st.Watts = p.amps, p.amps*tapped
	st.put(n.battery, tapped+n.above, 0)
	st.walk(&n.input, tapped, p.amps)
	lit := n.converter != nil && !n.dark && p.input > 0
	if n.converter != nil && !lit {
		st.unlit = append(st.unlit, n.converterID)
	}
	if mainsIn && !n.alive {
		st.unlit = append(st.unlit, n.adapterID)
	}
	if n.converter != nil {
		vout := 0.0
		if lit {
			vout = float64(n.converter.Output)
		}
		st.put(n.converterID, vout, 0) // it sheds its losses by design
		out := n.output
		if shared && mainsIn {
			out = parked(out, n.chairInlet.ID)
		}
		st.walk(&out, vout, p.out)
		n.output = out
	} else if shared && mainsIn {
		n.input = parked(n.input, n.chairInlet.ID)
	}
	vm, im := 0.0, 0.0
	if n.alive {
		vm = float64(n.adapter.Output)
		if op.mainsLoad > 0 {
			r, _ := n.mains.through()
			v, _ := UpperRoot(vm, r, op.mainsLoad)
			im = over(op.mainsLoad, v)
		}
	}
	mains := n.mains
	if shared && !mainsIn {
		mains = parked(mains, n.mainsInlet.ID)
	}
	st.walk(&mains, vm, im)
	n.mains = mains
	st.deck = n.write(op, lit, vm)
}

// parked is a stretch whose plug is not in the shared inlet: it ends before it.
func parked(g segment, inlet string) segment {
	i := slices.Index(g.ids, inlet)
	if i < 0 {
		return g
	}
	return segment{g.ids[:i], g.ohms[:i], g.open[:i]}
}

// walk puts the nodes of a series stretch.
func (st *State) walk(g *segment, from, amps float64) {
	v := from
	for i, id := range g.ids {
		if g.open[i] {
			v = 0
		} else {
			v -= amps * g.ohms[i]
		}
		watts := amps * amps * g.ohms[i]
		if v == 0 {
			watts = 0
		}
		st.put(id, v, watts)
	}
}

func (st *State) put(id string, volts, watts float64) {
	st.Nodes = append(st.Nodes, Node{id, volts})
	if volts > 0.5 {
		st.Live[id] = true
	}
	switch {
	case watts > 3:
		st.Heats[id] = Hot
	case watts >= 0.5:
		st.Heats[id] = Warm
	}
}

// panel shows the source in use, and the alarm the ventilator gives it.
func panel(s *setup.Setup, st *State, has func(string, setup.Mode) bool) ([]Indication, setup.Priority) {
	v := &s.Ventilator
	out := make([]Indication, 0, len(v.Panel))
	for _, it := range v.Panel {
		in := Indication{ID: it.ID}
		if it.Lamp != "" {
			alive := !has(it.ID, setup.Dead)
			in.Lit = alive && slices.Contains(it.LitOn, st.Source)
			in.Flicker = alive && st.Kind == Hunting && st.Source != setup.Mains &&
				(slices.Contains(it.LitOn, setup.Chair) || slices.Contains(it.LitOn, setup.Internal))
		} else if words, ok := it.Screen[st.Source]; ok {
			in.Lit = true
			in.Screen = strings.ReplaceAll(words, "{percent}", strconv.Itoa(int(math.Round(st.Inside*100))))
		}
		out = append(out, in)
	}
	switch {
	case st.Source == setup.None:
		return out, v.Alarm.Stopped
	case st.Source == setup.Internal && st.Inside < v.Alarm.LowBelow:
		return out, v.Alarm.Low
	case st.Source == setup.Internal:
		return out, v.Alarm.Internal
	}
	return out, setup.NoAlarm
}

// looks says what is seen at the parts that do not look sound.
func looks(s *setup.Setup, c Conditions, st *State) {
	st.Looks = map[string]setup.Look{}
	for _, f := range c.Faults {
		kind, _ := s.PartKind(f.Part)
		if k, ok := setup.Of(kind, f.Mode); ok && k.Look != setup.LookSound {
			st.Looks[f.Part] = k.Look
		}
	}
}
