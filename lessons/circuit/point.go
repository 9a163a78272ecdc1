package circuit

import (
	"math"

	"lampwright/lessons/setup"
)

// Moment is what changes while a set-up's faults stay as they are.
type Moment struct {
	Mains        bool         // the adapter is in a wall outlet and in the ventilator
	Load         float64      // W, what breathing takes on average
	Peak         float64      // W, the top of a breath
	Charge       float64      // share of its full watts that the internal charger takes, 0 to 1
	Blocks       []float64    // charge of each block of the pack, 0 to 1
	Inside       float64      // charge of the internal battery, 0 to 1
	Drive        float64      // W, what the chair's motors take on average
	Ramp         float64      // W, their peak
	ChairCharger float64      // A into the pack
	Tilted       bool         // the chair is tilted or reclined
	From         setup.Source // what carried until now, "" where nothing changes over
	Tripped      bool         // the converter has already cut out
}

// Point is an operating point. It is reused: solving allocates nothing once
// its Volts have room.
type Point struct {
	Kind    Kind
	Source  setup.Source
	Tripped bool      // the converter is off, and stays off for now
	Period  float64   // s, of the hunting
	Held    float64   // share of it on the chair, 0 to 1
	Volts   []float64 // after each place, in the order of Network.IDs; NaN where a shared inlet holds the other plug
	Input   float64   // V at the converter's input, or the inlet without one
	Amps    float64   // from the tapped blocks into the chain
	Out     float64   // A leaving the converter
	Mains   float64   // A leaving the adapter
	Drive   float64   // A from the pack to the motors
	Lit     bool      // the converter gives volts
	Stalled bool      // the pack cannot give what the motors ask
	Sag     float64   // V of the pack at the motors' peak; 0 while they stall there
	Flow    Flow

	mainsLoad float64
	chairLoad float64
	rms       [2]float64 // A before the converter and behind it, root mean square
}

// Flow is how the chain's power goes, averaged over the hunting, in W.
type Flow struct {
	Amps      float64 // A from the tapped blocks into the chain
	Terminal  float64 // leaves the tapped blocks' terminals into the chain
	Delivered float64 // reaches the ventilator from the chair
	Lost      float64 // stays in the chain and the converter
	Inside    float64 // comes from the internal battery
	Charging  float64 // goes into the internal battery
	Charger   float64 // goes into the pack from the chair's charger
	Heating   float64 // A through the fuse, root mean square
}

// bank is the pack as the chain and the motors see it.
type bank struct {
	emf, ohms           float64 // of the tapped blocks
	aboveEMF, aboveOhms float64 // of those above
	charger             float64 // A
}

func (n *Network) bank(m *Moment) bank {
	b := bank{charger: m.ChairCharger}
	for i := range n.blocks {
		bl := &n.blocks[i]
		charge := bl.charge
		if m.Blocks != nil {
			charge = m.Blocks[i]
		}
		if bl.flat {
			charge = math.Min(charge, flatCharge)
		}
		v := along(n.volts, charge)
		if m.ChairCharger > 0 {
			v += n.rise
		}
		if i < n.tapped {
			b.emf += v
			b.ohms += bl.ohms
		} else {
			b.aboveEMF += v
			b.aboveOhms += bl.ohms
		}
	}
	b.emf = math.Max(0, b.emf-n.weak)
	if n.cut {
		return bank{ohms: b.ohms}
	}
	return b
}

// chairPoint is an operating point of the chain.
type chairPoint struct {
	ok      bool
	tripped bool    // the converter, not the ventilator, let go
	input   float64 // volts at the converter's input, or the inlet without one
	inlet   float64
	amps    float64 // leaving the tapped blocks into the chain
	out     float64 // amps leaving the converter
	drive   float64 // amps to the motors
	stalled bool
}

// chair solves the chain with a constant-power load at the inlet while the
// motors take theirs from the posts. Each sags the other a little; the block's
// resistance is small, so that taking turns converges fast.
func (n *Network) chair(b *bank, load, drive float64, off, tilted bool) chairPoint {
	amps := 0.0
	for range 40 {
		p := n.behind(b.emf-b.ohms*(amps-b.charger), b.ohms, load, off, tilted)
		if drive == 0 || !p.ok {
			return p
		}
		all := b.ohms + b.aboveOhms
		v, ok := UpperRoot(b.emf+b.aboveEMF-b.ohms*p.amps+all*b.charger, all, drive)
		if !ok {
			break
		}
		p.drive = drive / v
		if math.Abs(p.drive-amps) <= 1e-12*p.drive {
			return p
		}
		amps = p.drive
	}
	p := n.behind(b.emf+b.ohms*b.charger, b.ohms, load, off, tilted) // the motors have stalled, and take nothing
	p.stalled = true
	return p
}

// behind solves the chain behind an electromotive force and a resistance.
func (n *Network) behind(emf, inner, load float64, off, tilted bool) chairPoint {
	if !n.input.whole(tilted) || emf <= 0 {
		return chairPoint{ok: load == 0}
	}
	emf -= n.input.drop
	r := inner + n.input.ohms
	if n.converter == nil {
		v, ok := UpperRoot(emf, r, load)
		return chairPoint{ok: ok, input: v, inlet: v, amps: over(load, v)}
	}
	if off {
		return chairPoint{ok: load == 0, input: emf}
	}
	p := chairPoint{ok: true}
	out := 0.0
	if n.output.whole(tilted) {
		v, ok := UpperRoot(n.converterV-n.output.drop, n.output.ohms, load)
		if !ok {
			// No operating point behind the converter: its limit holds the
			// current, the inlet falls below its window, the ventilator lets go.
			return chairPoint{}
		}
		p.inlet, p.out = v, over(load, v)
		out = n.converterV * p.out
	} else if load > 0 {
		return chairPoint{}
	}
	if p.out > float64(n.converter.Limit) {
		return chairPoint{tripped: true}
	}
	pin := InputWatts(n.converter, out)
	v, ok := UpperRoot(emf, r, pin)
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

func within(v float64, in *setup.Inlet) bool { return v >= float64(in.Low) && v <= float64(in.High) }

func (p *chairPoint) held(in *setup.Inlet) bool { return p.ok && !p.stalled && within(p.inlet, in) }

// MainsHolds tells whether the mains side, plugged in, holds a load, top of a
// breath included, inside the inlet's window and the adapter's limit.
func (n *Network) MainsHolds(watts float64, tilted bool) bool {
	if !n.alive || !n.taken[fromMains] || !n.mains.whole(tilted) || n.adapterV-n.mains.drop > float64(n.mainsInlet.High) {
		return false
	}
	v, ok := UpperRoot(n.adapterV-n.mains.drop, n.mains.ohms, watts)
	return ok && within(v, n.mainsInlet) && watts <= float64(n.adapter.Limit)*v
}

// OutletLive tells whether the wall outlet has power, whatever the ventilator's
// own adapter does with it: what else is plugged in there, such as the chair's
// charger, has it too.
func (n *Network) OutletLive() bool { return !n.outletDead }

// chairCarries tries the load on the chain, on average and at the top of a
// breath and of a ramp. Where the loaded chain cannot hold it and the unloaded
// one comes back, it hunts; where it may not come back, it has collapsed: a
// converter that tripped for good is dark from then on.
func (n *Network) chairCarries(m *Moment, b *bank, load, peak float64, off bool, p *Point) (taken chairPoint, carries bool) {
	at := n.chair(b, 0, m.Drive, off, m.Tilted)
	if !n.taken[fromChair] || !at.held(n.chairInlet) {
		p.Tripped = at.tripped // pulled down by the motors alone
		return at, false       // never taken
	}
	average := n.chair(b, load, m.Drive, off, m.Tilted)
	top := n.chair(b, peak, math.Max(m.Drive, m.Ramp), off, m.Tilted)
	fails := &top
	switch {
	case !average.held(n.chairInlet):
		fails = &average
	case top.held(n.chairInlet):
		return average, true
	}
	switch {
	case fails.tripped && (n.converter.Latched || at.input < float64(n.converter.Restart)):
		p.Kind, p.Tripped = Collapsed, true // and nothing brings it back
		return at, false
	case !fails.tripped && !n.chairInlet.Retries:
		p.Kind = Collapsed
		return at, false
	}
	p.Kind = Hunting
	p.Period, p.Held = n.cycle(fails == &top, fails.tripped)
	if fails != &top {
		average = chairPoint{} // what the hold-up bridges comes from no battery
	}
	return average, false
}

// cycle is one turn of the hunting: the seconds from letting go to letting go
// again, and the share of them on the chair. What only the top of a breath
// breaks is held until the next one.
func (n *Network) cycle(breath, tripped bool) (period, held float64) {
	away := math.Max(float64(n.chairInlet.Delay), float64(n.chairInlet.HoldUp)) // it takes no faster than it lets go
	if tripped {
		away += float64(n.converter.Delay)
	}
	on := float64(n.chairInlet.HoldUp)
	if breath {
		t := float64(n.setup.Ventilator.Draw.Breath)
		on += t*math.Ceil(away/t) - away
	}
	if on+away <= 0 {
		return 0, 0
	}
	return on + away, on / (on + away)
}

// Solve finds the operating point of a moment. While hunting, its volts and
// amps are of the moment after letting go; its Flow is averaged.
func (n *Network) Solve(m *Moment, p *Point) {
	*p = Point{Kind: Steady, Source: setup.None, Volts: p.Volts[:0]}
	b := n.bank(m)
	off := n.dark || m.Tripped && n.converter != nil && (n.converter.Latched || b.emf-n.input.drop < float64(n.converter.Restart))
	charge := m.Charge
	if !n.charges {
		charge = 0
	}
	fromWall, fromSeat := charge*float64(n.setup.Ventilator.Charger.Mains), charge*float64(n.setup.Ventilator.Charger.Chair)
	top := math.Max(m.Load, m.Peak)
	var taken chairPoint
	for _, source := range n.setup.Ventilator.Order {
		if source == setup.Mains && m.Mains && n.MainsHolds(top+fromWall, m.Tilted) {
			p.Source, p.mainsLoad, p.Flow.Charging = setup.Mains, m.Load+fromWall, fromWall
		}
		if source == setup.Chair && !(m.Mains && n.shared) {
			at, carries := n.chairCarries(m, &b, m.Load+fromSeat, top+fromSeat, off, p)
			if carries {
				p.Source, p.chairLoad, p.Flow.Charging = setup.Chair, m.Load+fromSeat, fromSeat
			} else if p.Kind == Hunting {
				taken = at
			}
		}
		if p.Source != setup.None {
			break
		}
	}
	ready := n.ready && !n.flat && m.Inside > 0
	switch {
	case p.Source == setup.None && ready:
		p.Source = setup.Internal
	case !ready && p.Kind == Hunting:
		// It stops at the first letting go, and a stopped one takes nothing again.
		p.stop()
		p.Kind, p.Period, p.Held, taken = Collapsed, 0, 0, chairPoint{}
	case !ready && outside(m.From) && p.Source != m.From:
		p.stop() // the changeover itself rides on the internal battery
	}
	n.fillIn(m, &b, off || p.Tripped, taken, p)
	p.Tripped = p.Tripped || m.Tripped && off
}

// stop leaves the ventilator without a source.
func (p *Point) stop() {
	p.Source, p.mainsLoad, p.chairLoad, p.Flow.Charging = setup.None, 0, 0, 0
}

func outside(s setup.Source) bool { return s == setup.Mains || s == setup.Chair }

// fillIn puts the nodes, the amps and the flow of the final state.
func (n *Network) fillIn(m *Moment, b *bank, off bool, taken chairPoint, p *Point) {
	c, off := n.driven(m, b, p.chairLoad, m.Drive, off)
	p.Amps, p.Out, p.Drive, p.Input, p.Stalled = c.amps, c.out, c.drive, c.input, c.stalled
	p.Lit = n.converter != nil && !off && c.input > 0
	post, pack := b.terminals(&c)
	p.Volts = append(p.Volts, pack)
	top := c
	if m.Ramp > m.Drive {
		top, _ = n.driven(m, b, p.chairLoad, m.Ramp, off)
	}
	if !top.stalled {
		_, p.Sag = b.terminals(&top)
	}
	p.walk(&n.input, post, c.amps, m.Tilted, n.converter == nil && n.shared && m.Mains)
	if n.converter != nil {
		out := 0.0
		if p.Lit {
			out = n.converterV
		}
		p.Volts = append(p.Volts, out)
		p.walk(&n.output, out, c.out, m.Tilted, n.shared && m.Mains)
	}
	wall := 0.0
	if n.alive && m.Mains {
		wall = n.adapterV
		if p.mainsLoad > 0 {
			v, _ := UpperRoot(wall-n.mains.drop, n.mains.ohms, p.mainsLoad)
			p.Mains = p.mainsLoad / v
		}
	}
	p.walk(&n.mains, wall, p.Mains, m.Tilted, n.shared && !m.Mains)
	n.flow(m, b, &c, &taken, p)
}

// driven is the chain while the motors take these watts. Where the converter
// cannot stay on, it is off.
func (n *Network) driven(m *Moment, b *bank, load, watts float64, off bool) (chairPoint, bool) {
	c := n.chair(b, load, watts, off, m.Tilted)
	if !c.ok {
		off = true
		c = n.chair(b, load, watts, off, m.Tilted)
	}
	return c, off
}

// terminals are the volts of the tapped blocks and of the whole pack.
func (b *bank) terminals(c *chairPoint) (post, pack float64) {
	net := c.drive - b.charger
	post = b.emf - b.ohms*(c.amps+net)
	return post, post + b.aboveEMF - b.aboveOhms*net
}

// walk puts the nodes of a series stretch; parked, it ends before the inlet.
func (p *Point) walk(g *segment, from, amps float64, tilted, parked bool) {
	v := from
	for i := range g.places {
		pl := &g.places[i]
		switch {
		case parked && i == len(g.places)-1:
			v = math.NaN()
		case pl.open || tilted && pl.tilted || v == 0:
			v = 0
		default:
			v -= amps*pl.ohms + pl.drop
		}
		p.Volts = append(p.Volts, v)
	}
}

// flow averages the power over the hunting.
func (n *Network) flow(m *Moment, b *bank, now, taken *chairPoint, p *Point) {
	f := &p.Flow
	held := 0.0
	if taken.amps > 0 {
		held = p.Held
	}
	lost := func(c *chairPoint) float64 {
		w := c.amps*c.amps*n.input.ohms + c.amps*n.input.drop + c.out*c.out*n.output.ohms + c.out*n.output.drop
		if n.converter != nil && c.amps > 0 {
			w += loss(n.converter, n.converterV*c.out)
		}
		return w
	}
	terminal := func(c *chairPoint) float64 { return c.amps * (b.emf - b.ohms*(c.amps+c.drive-b.charger)) }
	f.Amps = (1-held)*now.amps + held*taken.amps
	f.Terminal = (1-held)*terminal(now) + held*terminal(taken)
	f.Lost = (1-held)*lost(now) + held*lost(taken)
	f.Delivered = p.chairLoad + held*taken.out*taken.inlet
	if n.converter == nil {
		f.Delivered = p.chairLoad + held*taken.amps*taken.inlet
	}
	if p.Source == setup.Internal {
		f.Inside = (1 - held) * m.Load
	}
	f.Charger = b.charger * (b.emf + b.aboveEMF - (b.ohms+b.aboveOhms)*(now.drive-b.charger) - b.ohms*now.amps)
	rms := func(a, b float64) float64 { return math.Sqrt((1-held)*a*a + held*b*b) }
	p.rms = [2]float64{rms(now.amps, taken.amps), rms(now.out, taken.out)}
	f.Heating = p.rms[0]
	if n.fuseBehind {
		f.Heating = p.rms[1]
	}
}
