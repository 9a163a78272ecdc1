package outing

import (
	"math"
	"slices"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
)

// What happens at an event.
type What string

// The events.
const (
	Leaves    What = "leaves"
	LegBegins What = "leg"
	Changed   What = "source"   // another source carries, which the plan did not ask for
	Stops     What = "stops"    // no source carries: the ventilator stops
	Hunts     What = "hunting"  // the lamp begins to come and go
	Settles   What = "settled"  // and stops doing so
	LowInside What = "low"      // little is left in the internal battery
	Stranded  What = "stranded" // the chair cannot be driven any more
	FuseOpens What = "fuse"
	Arrives   What = "arrives"
	NotThere  What = "not-there" // a leg, or mains at the end, is not reached: the chair is stranded
)

// Event is something that happens at a time.
type Event struct {
	Seconds float64 // since leaving
	What    What
	Leg     int // index of the leg under way
	Source  setup.Source
	Period  float64 // s, of the hunting
	Held    float64 // share of it on the chair
}

// Sample is where the charges stand at a time; between two, they run straight.
type Sample struct {
	Seconds       float64
	Chair, Inside float64 // of the emptiest chair block and of the internal battery, 0 to 1
	Source        setup.Source
}

// Energy is what has flowed, in Wh, at the chair battery's terminals, and
// where it went.
type Energy struct {
	Pack      float64 // left its terminals, less what went in
	Driven    float64
	Delivered float64 // to the ventilator
	Lost      float64 // in the chain
	Charged   float64 // came from the chair's charger
	Inside    float64 // left the internal battery
}

// Track is one run of time.
type Track struct {
	Events  []Event
	Samples []Sample
	Energy  Energy
	Steps   int // operating points solved
}

// most is the number of chair blocks a set-up may have.
const most = 8

// The quantities that flow in time.
const (
	inside = most + iota
	fuse
	pack
	driven
	delivered
	lost
	chargedWh
	insideWh
	quantities
)

type amounts [quantities]float64

// engine runs one set-up through time under one assumption.
type engine struct {
	s     *setup.Setup
	n     *circuit.Network
	plan  *Plan
	a     *assumed
	bends []float64

	capacity [most]float64 // Ah that each block truly has
	rate20   [most]float64 // A, the 20-hour rate
	k        float64       // Peukert's exponent
	kept     float64       // share of a charge that stays
	energy   float64       // Wh that the internal battery truly has
	charger  float64       // A of the chair's
	fuseA    float64       // A that the fuse carries all day
	blocks   int

	seconds  float64
	at       amounts
	source   setup.Source
	tripped  bool
	kind     circuit.Kind
	lit      bool
	stranded bool
	halted   bool // the ventilator has stopped: nothing starts it again but a person
	low      bool
	quiet    bool    // a changeover now is the plan's own
	away     bool    // it has left
	lostAt   float64 // s, when neither mains nor chair carried first; never
	stopAt   float64 // s, when the ventilator stopped; never
	strandAt float64 // s, when the chair could not be driven; never
	reserve  bool    // it was the reserve that failed, at a changeover off mains
	lost     int     // how often the chair was lost on this leg
	leg      Leg
	legIndex int
	moment   circuit.Moment
	point    circuit.Point
	track    Track
	keep     bool // events and samples are wanted
}

// newEngine readies a plan for running. Errors are problem.Invalid.
func newEngine(s *setup.Setup, p *Plan, a *assumed) (*engine, error) {
	n, err := circuit.Build(s, p.Faults, p.Celsius)
	if err != nil {
		return nil, err
	}
	b := s.Battery()
	e := &engine{
		s: s, n: n, plan: p, a: a, bends: bends(b.Chemistry), k: a.peukert[b.Chemistry], kept: stored(b.Chemistry),
		charger: float64(b.Charger), blocks: len(b.Blocks), keep: true, fuseA: fuseAmps(s, p),
		lostAt: notYet, stopAt: notYet, strandAt: notYet,
	}
	if !n.OutletLive() || b.Chemistry == setup.Lithium && p.Celsius < 0 {
		e.charger = 0 // a lithium pack's board takes no charge in frost (common practice, no source)
	}
	share := a.chair(p.Chair.Years)
	if p.Chair.Measured > 0 {
		share = a.measured * measuredShare(s, p) * a.chair(p.Chair.Since) / a.chair(0)
	}
	if wrong(p.Faults, setup.KindBattery, setup.Aged, s) {
		share = math.Min(share, agedShare)
	}
	share /= TemperatureFactor(b.Chemistry, p.Celsius)
	for i, bl := range b.Blocks {
		e.rate20[i] = float64(bl.Capacity) / 20
		e.capacity[i] = float64(bl.Capacity) * share
		if e.at[i] = p.Chair.Charges[i]; wrong(p.Faults, setup.KindBattery, setup.Flat, s) {
			e.at[i] = 0
		}
	}
	e.energy = insideEnergy(s, p, a)
	if !wrong(p.Faults, setup.KindInternal, setup.Dead, s) && !wrong(p.Faults, setup.KindInternal, setup.Flat, s) {
		e.at[inside] = p.Internal.Charge
	}
	e.moment.Blocks = make([]float64, e.blocks)
	return e, nil
}

// notYet is a time that has not come.
const notYet = math.MaxFloat64

func fuseAmps(s *setup.Setup, p *Plan) float64 {
	for i := range s.Chain {
		if f := s.Chain[i].Fuse; f != nil {
			rating := f.Rating
			if wrong(p.Faults, setup.KindFuse, setup.WrongType, s) {
				rating = circuit.WrongRating
			}
			return float64(circuit.FuseCarries(rating, p.Celsius))
		}
	}
	return math.Inf(1)
}

func wrong(faults []setup.Fault, k setup.Kind, m setup.Mode, s *setup.Setup) bool {
	return slices.ContainsFunc(faults, func(f setup.Fault) bool {
		kind, _ := s.PartKind(f.Part)
		return kind == k && f.Mode == m
	})
}

// insideEnergy is what the internal battery truly holds, Wh.
func insideEnergy(s *setup.Setup, p *Plan, a *assumed) float64 {
	label := float64(s.Ventilator.Internal.Energy)
	wh := label * a.untested
	if p.Internal.Measured > 0 {
		wh = math.Min(label, float64(p.Internal.Measured)/60*float64(s.Ventilator.Draw.Usual)) * a.inside(p.Internal.Years)
	}
	if wrong(p.Faults, setup.KindInternal, setup.Aged, s) {
		wh *= agedShare
	}
	return wh / TemperatureFactor(setup.Lithium, math.Min(p.Celsius, 25))
}

// measuredShare is the share of the label that the last measured minutes mean:
// theirs over those of a new pack in the same test.
func measuredShare(s *setup.Setup, p *Plan) float64 {
	test := Plan{Load: s.Ventilator.Draw.Usual, Celsius: 20, Chair: Pack{Charges: slices.Repeat([]float64{1}, len(s.Battery().Blocks))}, Internal: Reserve{Charge: 1}}
	e, err := newEngine(s, &test, &typical)
	if err != nil {
		return 1
	}
	e.keep = false
	return math.Min(1, float64(p.Chair.Measured)*60/e.until(func() bool { return e.source != setup.Chair }))
}

// begin starts a leg: everything is solved anew.
func (e *engine) begin(i int, l Leg) {
	e.leg, e.legIndex = l, i
	m := &e.moment
	m.Mains, m.Tilted = l.plugged(), l.Tilted
	m.Load = float64(e.plan.Load) * e.a.draw
	m.Peak = float64(e.s.Ventilator.Draw.PeakAt(setup.Watts(m.Load)))
	m.Drive, m.Ramp = 0, 0
	if l.Kind == Drive && !e.stranded {
		m.Drive = float64(e.s.Drive.Energy) * float64(e.s.Drive.Speed) * e.a.drive
		m.Ramp = float64(e.s.Drive.Ramp)
	}
	e.settle()
}

// look solves the point of some amounts, as the discrete state stands.
func (e *engine) look(at *amounts) {
	m := &e.moment
	lowest := 1.0
	for i := range e.blocks {
		if m.Blocks[i] = at[i]; at[i] < 0 {
			m.Blocks[i] *= spentFalls
		}
		lowest = math.Min(lowest, at[i])
	}
	m.Inside, m.From, m.Tripped = math.Max(0, at[inside]), e.source, e.tripped
	if at[inside] < spent {
		m.Inside = 0
	}
	m.Charge, m.ChairCharger = taper(at[inside]), 0
	if e.charging() {
		m.ChairCharger = e.charger * taper(lowest)
	}
	if e.halted {
		m.Load, m.Peak, m.Charge = 0, 0, 0
	}
	e.n.Solve(m, &e.point)
	if e.halted {
		e.point.Source, e.point.Kind = setup.None, circuit.Steady
	}
	e.track.Steps++
}

// charging tells whether the chair's charger is on, if only to top up.
func (e *engine) charging() bool { return e.leg.ChairCharger && e.leg.Kind == Mains && e.charger > 0 }

// spent is the charge at which the internal battery gives no more.
const spent = 1e-9

// spentFalls is how many times steeper the volts of a spent block fall, so
// that it gives no more than it held.
const spentFalls = 50

// settle takes the solved discrete state for the present one and tells what
// changed.
func (e *engine) settle() {
	for range 4 { // a changeover may lead to another
		e.look(&e.at)
		p := &e.point
		if !e.changed() {
			return
		}
		source, kind := e.source, e.kind
		first := source == ""
		e.source, e.kind, e.tripped, e.lit = p.Source, p.Kind, p.Tripped, p.Lit
		if e.away && p.Source != setup.Mains && p.Source != setup.Chair && e.lostAt == notYet {
			e.lostAt, e.reserve = e.seconds, source == setup.Mains && p.Source == setup.None
		}
		if source == setup.Chair && p.Source == setup.Internal || kind == circuit.Hunting && p.Kind != circuit.Hunting {
			e.letGo()
		}
		switch {
		case p.Source == setup.None && !e.halted:
			e.halted = true
			e.stopAt = e.seconds
			e.tell(Stops)
		case e.halted, first && p.Kind != circuit.Hunting:
		case kind != circuit.Hunting && p.Kind == circuit.Hunting:
			e.tell(Hunts)
		case kind == circuit.Hunting && p.Kind != circuit.Hunting:
			e.tell(Settles)
		case source != p.Source && !(e.quiet && p.Source != setup.Internal):
			e.tell(Changed)
		}
		if e.moment.Drive > 0 && e.exhausted() {
			e.stranded, e.strandAt, e.moment.Drive, e.moment.Ramp = true, e.seconds, 0, 0
			e.tell(Stranded)
		}
	}
}

// mostLost is how often the chair supply may be lost and found again on a leg,
// as on a weak charger, before it is taken for lost: nobody would ride on it.
const mostLost = 20

// letGo counts a loss of the chair; past mostLost the converter stays off to
// the end of the leg.
func (e *engine) letGo() {
	if e.lost++; e.lost <= mostLost {
		return
	}
	for i := range e.s.Chain {
		if e.s.Chain[i].Converter == nil {
			continue
		}
		faults := append(slices.Clone(e.plan.Faults), setup.Fault{Part: e.s.Chain[i].ID, Mode: setup.CutOut})
		if n, err := circuit.Build(e.s, faults, e.plan.Celsius); err == nil {
			e.n = n
		}
	}
}

// changed tells whether the solved point is of another discrete state.
func (e *engine) changed() bool {
	p := &e.point
	return p.Source != e.source || p.Kind != e.kind || p.Tripped != e.tripped || p.Lit != e.lit || e.moment.Drive > 0 && e.exhausted()
}

// exhausted: a chair stops driving when its blocks are down to 10.5 V under the
// motors' peak (1.75 V a cell, from memory).
func (e *engine) exhausted() bool {
	return e.point.Stalled || e.point.Sag < 10.5*float64(e.blocks)
}

func (e *engine) tell(w What) {
	if e.keep {
		e.track.Events = append(e.track.Events, Event{e.seconds, w, e.legIndex, e.source, e.point.Period, e.point.Held})
		e.sample()
	}
}

func (e *engine) sample() {
	if e.keep {
		e.track.Samples = append(e.track.Samples, Sample{e.seconds, e.lowest(), math.Max(0, e.at[inside]), e.source})
	}
}

func (e *engine) lowest() float64 { return math.Max(0, slices.Min(e.at[:e.blocks])) }

// flows are the rates of change, per second, at some amounts.
func (e *engine) flows(at *amounts, rate *amounts) {
	e.look(at)
	p, m := &e.point, &e.moment
	tapped := e.n.Tapped()
	for i := range e.blocks {
		amps := p.Drive - m.ChairCharger
		if i < tapped {
			amps += p.Flow.Amps
		}
		switch {
		case amps > settled*m.ChairCharger:
			amps = drains(amps, e.rate20[i], e.k)
		case at[i] >= 1-1e-6, -amps < settled*m.ChairCharger:
			amps = 0 // full before another block is, or where charger and load are even
		case amps < 0:
			amps *= e.kept
		}
		rate[i] = -amps / e.capacity[i] / 3600
	}
	rate[inside] = 0
	if p.Flow.Inside > 0 {
		rate[inside] -= p.Flow.Inside / e.energy / 3600
	}
	if p.Flow.Charging > 0 {
		rate[inside] += p.Flow.Charging * stored(setup.Lithium) / e.energy / 3600
	}
	rate[fuse] = 0
	if t := e.a.opens(p.Flow.Heating / e.fuseA); !math.IsInf(t, 1) {
		rate[fuse] = 1 / t
	}
	rate[pack] = (p.Flow.Terminal + p.Drive*p.Volts[0] - p.Flow.Charger) / 3600
	rate[driven] = 0
	if p.Drive > 0 {
		rate[driven] = m.Drive / 3600
	}
	rate[delivered], rate[lost] = p.Flow.Delivered/3600, p.Flow.Lost/3600
	rate[chargedWh], rate[insideWh] = p.Flow.Charger/3600, p.Flow.Inside/3600
}

// ahead is the amounts after some seconds (Runge and Kutta's fourth order),
// given the rates now. It is whole while nothing on the way is of another
// discrete state.
func (e *engine) ahead(seconds float64, now *amounts) (at amounts, whole bool) {
	var b, c, d amounts
	whole = true
	look := func(rate *amounts, h float64, next *amounts) {
		for i := range at {
			at[i] = e.at[i] + rate[i]*h
		}
		e.flows(&at, next)
		whole = whole && !e.changed()
	}
	look(now, seconds/2, &b)
	look(&b, seconds/2, &c)
	look(&c, seconds, &d)
	for i := range at {
		at[i] = e.at[i] + seconds/6*(now[i]+2*b[i]+2*c[i]+d[i])
	}
	if whole {
		e.look(&at)
		whole = !e.changed()
	}
	return at, whole
}

// reach is the seconds until the next bend of any battery at these rates, at
// most some.
func (e *engine) reach(rate *amounts, atMost float64) float64 {
	t := atMost
	to := func(charge, rate float64, bends []float64) {
		if rate < 0 {
			for i := len(bends) - 1; i >= 0; i-- {
				if bends[i] < charge-1e-6 {
					t = math.Min(t, (charge-bends[i])/-rate)
					return
				}
			}
		}
		if rate > 0 {
			for _, b := range bends {
				if b > charge+1e-6 {
					t = math.Min(t, (b-charge)/rate)
					return
				}
			}
		}
	}
	for i := range e.blocks {
		to(e.at[i], rate[i], e.bends)
		if e.at[i] < 1e-6 && rate[i] < 0 { // its volts fall steeply here
			t = math.Min(t, .001/-rate[i])
		}
		if e.charging() && rate[i] != 0 { // tapering against a load, it settles within four such times
			t = math.Min(t, e.capacity[i]*3600*(1-tapers)/e.charger/4)
		}
	}
	low := e.s.Ventilator.Alarm.LowBelow
	if rate[inside] < 0 && e.at[inside] > low+1e-9 {
		t = math.Min(t, (e.at[inside]-low)/-rate[inside])
	} else if rate[inside] < 0 {
		t = math.Min(t, e.at[inside]/-rate[inside])
	}
	to(e.at[inside], max(0, rate[inside]), taperBends)
	if rate[inside] > 0 {
		t = math.Min(t, (1-e.at[inside])/rate[inside])
	}
	if rate[fuse] > 0 {
		t = math.Min(t, (1-e.at[fuse])/rate[fuse])
	}
	return math.Min(atMost, math.Max(t, 1))
}

// run lets a leg's seconds pass, or stops earlier when done says so; it tells
// whether it was.
func (e *engine) run(seconds float64, done func() bool) bool {
	end := e.seconds + seconds
	for !done() {
		left := end - e.seconds
		if left <= 1e-6 {
			return false
		}
		var now amounts
		e.flows(&e.at, &now)
		h := e.reach(&now, left)
		next, whole := e.ahead(h, &now)
		for range 4 {
			short := e.short(&next)
			if short == 1 {
				break
			}
			h *= short
			next, whole = e.ahead(h, &now)
		}
		if !whole {
			h, next = e.first(h, &now)
		}
		e.seconds, e.at = e.seconds+h, next
		for i := range e.blocks {
			e.at[i] = math.Min(1, e.at[i])
		}
		e.at[inside] = math.Min(1, e.at[inside])
		e.thresholds()
		e.sample()
		e.settle()
	}
	return true
}

// short is the share of a step that just spends a block, where the step went
// past that: the volts bend sharply there.
func (e *engine) short(next *amounts) float64 {
	share := 1.0
	for i := range e.blocks {
		if e.at[i] > 1e-6 && next[i] < -1e-6 {
			share = math.Min(share, e.at[i]/(e.at[i]-next[i]))
		}
	}
	return share
}

// first finds when within a step the discrete state changes, and goes just
// past it.
func (e *engine) first(h float64, now *amounts) (float64, amounts) {
	before, after, next := 0.0, h, e.at
	for after-before > past {
		middle := (before + after) / 2
		if at, whole := e.ahead(middle, now); whole {
			before, next = middle, at
		} else {
			after = middle
		}
	}
	for i := range next { // as it went so far
		next[i] += now[i] * (after - before)
	}
	e.look(&next)
	return after, next
}

// past is how far, in seconds, a changeover is overshot.
const past = .1

// thresholds tells of what is passed without a change of source.
func (e *engine) thresholds() {
	if low := e.at[inside] <= e.s.Ventilator.Alarm.LowBelow+1e-6; low != e.low {
		if e.low = low; low && e.source == setup.Internal {
			e.tell(LowInside)
		}
	}
	if e.at[fuse] >= 1-1e-6 {
		e.at[fuse] = 0
		e.blow()
	} else if e.point.Flow.Heating < e.fuseA {
		e.at[fuse] = 0 // it cools
	}
}

// blow opens the fuse for good.
func (e *engine) blow() {
	for i := range e.s.Chain {
		if e.s.Chain[i].Fuse == nil {
			continue
		}
		faults := append(slices.Clone(e.plan.Faults), setup.Fault{Part: e.s.Chain[i].ID, Mode: setup.Blown})
		if n, err := circuit.Build(e.s, faults, e.plan.Celsius); err == nil {
			e.n = n
		}
	}
	e.tell(FuseOpens)
}

func never() bool { return false }

// forever is long enough for anything to run out.
const forever = 30 * 24 * 3600

// until stands still until something is so, and tells the seconds it took.
func (e *engine) until(done func() bool) float64 {
	return e.stay(Leg{Kind: Stand, Tilted: e.leg.Tilted}, done)
}

func (e *engine) stay(l Leg, done func() bool) float64 {
	start := e.seconds
	e.begin(e.legIndex, l)
	e.run(forever, done)
	return e.seconds - start
}

// enter begins a leg, tells so, and says how many seconds it takes. One begins
// at home, on mains: leaving is a changeover. A stranded chair reaches no
// further leg; the time passes all the same.
func (e *engine) enter(i int) float64 {
	l, w := e.plan.Legs[i], LegBegins
	seconds := l.seconds(e.s)
	if i == 0 {
		w = Leaves
		e.begin(0, Leg{Kind: Mains, Adapter: true})
		e.away = true
	}
	if e.stranded {
		l, w = Leg{Kind: Stand, Tilted: l.Tilted}, NotThere
	}
	if e.lost > mostLost {
		if n, err := circuit.Build(e.s, e.plan.Faults, e.plan.Celsius); err == nil {
			e.n = n
		}
	}
	e.lost = 0
	before := len(e.track.Events)
	e.quiet = true
	e.begin(i, l)
	e.quiet = false
	if e.lostAt == notYet && e.source != setup.Mains && e.source != setup.Chair {
		e.lostAt = e.seconds // nothing changed on leaving: it was missing at home already
	}
	e.tell(w)
	if last := len(e.track.Events) - 1; e.keep && before < last { // the leg first, then what it brings
		ev := e.track.Events[last]
		e.track.Events = slices.Insert(e.track.Events[:last], before, ev)
	}
	return seconds
}

func (e *engine) finish() {
	e.legIndex = len(e.plan.Legs)
	if e.stranded {
		e.tell(NotThere)
	} else {
		e.tell(Arrives)
	}
	a := &e.at
	e.track.Energy = Energy{Pack: a[pack], Driven: a[driven], Delivered: a[delivered], Lost: a[lost], Charged: a[chargedWh], Inside: a[insideWh]}
}

// powered is a leg at mains whose adapter can carry the ventilator.
func (e *engine) powered(l Leg) bool {
	return l.plugged() && e.holds(l.Tilted)
}

// holds tells whether mains, plugged in, would carry the ventilator.
func (e *engine) holds(tilted bool) bool {
	load := setup.Watts(float64(e.plan.Load) * e.a.draw)
	return e.n.MainsHolds(float64(e.s.Ventilator.Draw.PeakAt(load)+e.s.Ventilator.Charger.Mains), tilted)
}

// spares is the minutes that the internal battery holds now.
func (e *engine) spares() float64 {
	return math.Max(0, e.at[inside]) * e.energy / (float64(e.plan.Load) * e.a.draw) * 60
}
