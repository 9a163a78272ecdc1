package outing

import (
	"cmp"
	"slices"
	"time"

	"lampwright/lessons/setup"
)

// Band is a figure from the worst case to the typical one.
type Band struct{ Worst, Typical float64 }

// Row is a moment of a forecast.
type Row struct {
	At      time.Time
	What    What
	Leg     int // index of the leg under way; their number on arriving
	Source  setup.Source
	Worst   bool // it happens in the worst case; what is planned happens in both
	Chair   Band // charge of the emptiest block, 0 to 1
	Inside  Band // charge of the internal battery, 0 to 1
	Minutes Band // of breathing left away from mains, standing, the internal battery included
	OnChair Band // the same without it
	Km      Band // of driving left
	Period  float64
	Held    float64
}

// Stretch is a part of an outing away from mains, with what the margin rule
// says of it: the internal battery is the reserve, never the plan, and one
// leaves for mains while the minutes left exceed twice the travel time.
type Stretch struct {
	First, Last  int // legs, inclusive
	Begins, Ends time.Time
	Travel       time.Duration // of the last drive to mains
	Sets         time.Time     // when the plan leaves for mains
	LeaveBy      time.Time     // leave for mains by then; Begins where Never
	MainsBy      time.Time     // be on mains by then: the chair supply ends, in the worst case
	OK           bool
	Lacks        Lack    // why not
	spares       float64 // minutes that the internal battery holds as it begins
}

// Never tells that the margin cannot be kept at all: do not set out.
func (st *Stretch) Never() bool { return !st.OK && st.LeaveBy.Equal(st.Begins) }

// Lack is what a stretch wants.
type Lack string

// The lacks, the worst first.
const (
	NoLack      Lack = ""
	LackSupply  Lack = "supply"  // the chair stops carrying or driving before mains
	LackReserve Lack = "reserve" // the internal battery holds too little to be a reserve
	LackMargin  Lack = "margin"  // too few minutes are left on setting out
)

// LeastReserve is how many minutes the internal battery must hold to be a
// reserve, and never fewer than the way to mains takes (our own margin, common
// practice, no source).
const LeastReserve = 30

// Out is what runs out first, away from mains, in the worst case.
type Out string

// What can run out.
const (
	NothingOut  Out = "nothing"
	ChairSupply Out = "chair-supply" // the chair no longer carries the ventilator
	Driving     Out = "driving"      // the chair no longer drives
	InsideOut   Out = "internal"     // the internal battery is spent
)

// Help is one change to the plan and the minutes of breathing that it adds in
// the worst case, at the moment with the least.
type Help struct {
	What    HelpWhat
	Leg     int // the leg that is changed, -1 for none
	Minutes float64
}

// HelpWhat is a change to a plan.
type HelpWhat string

// The changes that are tried. The ventilator's settings are none of them.
const (
	ChargeFull   HelpWhat = "charge-full"
	SpareBattery HelpWhat = "spare-battery" // a second, tested internal battery
	ShorterLeg   HelpWhat = "shorter-leg"   // half of it
	CarryAdapter HelpWhat = "carry-adapter"
	CarryCharger HelpWhat = "carry-charger"
)

// Forecast is a plan seen ahead.
type Forecast struct {
	Typical, Worst Track
	Rows           []Row
	Stretches      []Stretch
	OK             bool      // every stretch keeps the margin, nothing runs out, and mains carries at the end
	NoMains        bool      // mains cannot carry the ventilator: adapter, outlet or inlet
	StopsAt        time.Time // the ventilator stops then, in the worst case; zero if never
	First          Out
	FirstAt        time.Time
	Helps          []Help // most first; those that add a minute or more
}

// Forecast runs a plan at both ends of its band. Errors are problem.Invalid.
func (p *Plan) Forecast(s *setup.Setup) (Forecast, error) {
	var f Forecast
	ends := [2]*engine{}
	for i, a := range []*assumed{&worst, &typical} {
		e, err := newEngine(s, p, a)
		if err != nil {
			return f, err
		}
		ends[i] = e
	}
	f.NoMains = !ends[0].holds(false)
	stretches := ends[0].stretches()
	f.rows(p, ends[0], ends[1])
	f.Worst, f.Typical = ends[0].track, ends[1].track
	f.happenings(p)
	f.first(p, ends[0])
	f.OK = !f.NoMains && (f.First == NothingOut || f.FirstAt.After(p.When(ends[0].total())))
	for _, st := range stretches {
		if err := st.margin(s, p); err != nil {
			return f, err
		}
		f.OK = f.OK && st.OK
		f.Stretches = append(f.Stretches, st)
	}
	return f, f.helps(s, p)
}

// When is a number of seconds after leaving, in the site's zone.
func (p *Plan) When(seconds float64) time.Time {
	return p.Leaves.Add(time.Duration(seconds * float64(time.Second))).Round(time.Second)
}

// rows runs both ends leg by leg and looks ahead at each border.
func (f *Forecast) rows(p *Plan, low, high *engine) {
	border := func(leg int) {
		last := low.track.Events[len(low.track.Events)-1]
		for _, ev := range low.track.Events {
			if ev.Leg == leg && (ev.What == Leaves || ev.What == LegBegins || ev.What == NotThere || ev.What == Arrives) {
				last = ev
			}
		}
		r := Row{At: p.When(low.seconds), What: last.What, Leg: leg, Source: low.source}
		both := func(of func(*engine) float64) Band { return Band{of(low), of(high)} }
		r.OnChair.Worst, r.Minutes.Worst = low.standing()
		r.OnChair.Typical, r.Minutes.Typical = high.standing()
		r.Chair, r.Inside = both((*engine).lowest), both(func(e *engine) float64 { return max(0, e.at[inside]) })
		r.Km = both(func(e *engine) float64 {
			c := e.fork()
			if c.stranded {
				return 0
			}
			return c.stay(Leg{Kind: Drive}, c.strandedNow) / 3600 * float64(e.s.Drive.Speed)
		})
		f.Rows = append(f.Rows, r)
	}
	for i := range p.Legs {
		seconds := low.enter(i)
		high.enter(i)
		border(i)
		low.run(seconds, never)
		high.run(seconds, never)
	}
	low.finish()
	high.finish()
	border(len(p.Legs))
}

// standing is the minutes left on the chair, and in all, from here on without
// mains or driving.
func (e *engine) standing() (onChair, all float64) {
	c := e.fork()
	onChair = c.until(c.offChair)
	return onChair / 60, (onChair + c.until(c.stopped)) / 60
}

// fork is the same moment, to look ahead from. What it is asked about is its
// own, so ask it, not the engine it came from.
func (e *engine) fork() *engine {
	c := *e
	c.keep = false
	c.track = Track{}
	c.moment.Blocks = make([]float64, e.blocks)
	c.point.Volts = nil
	return &c
}

// happenings adds the events of the worst run between the borders.
func (f *Forecast) happenings(p *Plan) {
	for _, ev := range f.Worst.Events {
		if slices.Contains([]What{Leaves, LegBegins, Arrives, NotThere}, ev.What) {
			continue
		}
		r := Row{At: p.When(ev.Seconds), What: ev.What, Leg: ev.Leg, Source: ev.Source, Worst: true, Period: ev.Period, Held: ev.Held}
		r.Chair.Worst, r.Inside.Worst = f.Worst.at(ev.Seconds)
		r.Chair.Typical, r.Inside.Typical = f.Typical.at(ev.Seconds)
		f.Rows = append(f.Rows, r)
	}
	slices.SortStableFunc(f.Rows, func(a, b Row) int { return a.At.Compare(b.At) })
}

// at is the charges at a time, straight between the samples.
func (t *Track) at(seconds float64) (chair, inside float64) {
	i, _ := slices.BinarySearchFunc(t.Samples, seconds, func(s Sample, x float64) int { return cmp.Compare(s.Seconds, x) })
	switch {
	case len(t.Samples) == 0:
		return 0, 0
	case i == 0:
		return t.Samples[0].Chair, t.Samples[0].Inside
	case i == len(t.Samples):
		last := t.Samples[i-1]
		return last.Chair, last.Inside
	}
	a, b := t.Samples[i-1], t.Samples[i]
	if b.Seconds <= a.Seconds {
		return b.Chair, b.Inside
	}
	share := (seconds - a.Seconds) / (b.Seconds - a.Seconds)
	return a.Chair + share*(b.Chair-a.Chair), a.Inside + share*(b.Inside-a.Inside)
}

// stretches cuts a plan where it finds mains that carry.
func (e *engine) stretches() []Stretch {
	var out []Stretch
	p, seconds, open := e.plan, 0.0, false
	for i, l := range p.Legs {
		if !e.powered(l) && !open {
			out, open = append(out, Stretch{First: i, Begins: p.When(seconds)}), true
		}
		open = open && !e.powered(l)
		seconds += l.seconds(e.s)
		if open {
			out[len(out)-1].Last, out[len(out)-1].Ends = i, p.When(seconds)
		}
	}
	return out
}

// wait is the leg that is waited in before the last drive to mains: the last
// stand before it, First−1 where there is none; in a stretch without a drive,
// the last leg.
func (st *Stretch) wait(p *Plan) int {
	w := st.Last
	for w >= st.First && p.Legs[w].Kind != Drive {
		w--
	}
	if w < st.First {
		return st.Last
	}
	for w >= st.First && p.Legs[w].Kind == Drive {
		w--
	}
	return w
}

// margin finds by when to leave, in the worst case: waiting until then and
// driving the way to mains, as many minutes must be left on arriving as the
// way took, and all of them on the chair. Where the last stand allows none, it
// is a stand before it, the later ones left out; at last it is never.
func (st *Stretch) margin(s *setup.Setup, p *Plan) error {
	last := st.wait(p)
	for w := last; w >= st.First-1; w-- {
		if w >= st.First && p.Legs[w].Kind == Drive {
			continue
		}
		e, err := st.until(s, p, w)
		if err != nil {
			return err
		}
		ran := e.lostAt <= e.seconds || e.stranded
		planned := 0.0
		if w >= st.First {
			planned = p.Legs[w].seconds(s)
		}
		if w == last {
			st.judge(e, w, planned, ran)
		}
		if st.LeaveBy = st.Begins; ran {
			continue
		}
		low, high := planned, planned
		if st.over(e, w, planned) <= 0 {
			if low = 0; st.over(e, w, 0) <= 0 {
				continue
			}
		} else if w == last && !st.leg(p, w).ChairCharger {
			c := e.fork()
			high = max(planned, c.stay(st.leg(p, w), c.offChair))
		}
		for high-low > 20 {
			if middle := (low + high) / 2; st.over(e, w, middle) > 0 {
				low = middle
			} else {
				high = middle
			}
		}
		st.LeaveBy = p.When(e.seconds + low).Truncate(time.Minute)
		if st.LeaveBy.After(st.MainsBy) {
			st.LeaveBy = st.MainsBy
		}
		return nil
	}
	return nil
}

// judge says whether the plan as it is keeps the margin on this stretch, and
// when the chair supply ends.
func (st *Stretch) judge(e *engine, w int, planned float64, ran bool) {
	p := e.plan
	st.Sets = p.When(e.seconds + planned)
	st.Travel = time.Duration(st.drives(e, w) * float64(time.Second))
	c, whole := st.onward(e, w, planned)
	if st.MainsBy = p.When(c.seconds).Truncate(time.Minute); ran {
		st.MainsBy = p.When(min(e.lostAt, e.seconds)).Truncate(time.Minute)
	}
	switch {
	case e.reserve || c.reserve: // it failed at the changeover
		st.Lacks = LackReserve
	case ran || !whole:
		st.Lacks = LackSupply
	case st.spares < max(LeastReserve, st.Travel.Minutes()):
		st.Lacks = LackReserve
	case !st.twice(e, c.seconds):
		st.Lacks = LackMargin
	}
	st.OK = st.Lacks == NoLack
}

// twice tells whether, at every drive of the stretch, the minutes until the
// chair supply ends exceed twice the driving that is left to mains.
func (st *Stretch) twice(e *engine, ends float64) bool {
	at := 0.0
	for _, l := range e.plan.Legs[:st.First] {
		at += l.seconds(e.s)
	}
	for i := st.First; i <= st.Last; i++ {
		if ends-at <= 2*st.drives(e, i-1) {
			return false
		}
		at += e.plan.Legs[i].seconds(e.s)
	}
	return ends > at // it outlasts the stretch, if nothing is driven
}

// drives is the seconds of driving after a leg of the stretch.
func (st *Stretch) drives(e *engine, after int) float64 {
	sum := 0.0
	for _, l := range e.plan.Legs[after+1 : st.Last+1] {
		if l.Kind == Drive {
			sum += l.seconds(e.s)
		}
	}
	return sum
}

// until runs to the beginning of a wait.
func (st *Stretch) until(s *setup.Setup, p *Plan, wait int) (*engine, error) {
	e, err := newEngine(s, p, &worst)
	if err != nil {
		return nil, err
	}
	e.keep = false
	for i := range max(wait, st.First) {
		if i == st.First {
			st.spares = e.spares()
		}
		e.run(e.enter(i), never)
		if i < st.First {
			e.lostAt = notYet // what went before mains was found again is past
		}
	}
	if max(wait, st.First) == 0 { // it begins at home
		e.begin(0, Leg{Kind: Mains, Adapter: true})
		e.away = true
	}
	if wait <= st.First {
		st.spares = e.spares()
	}
	return e, nil
}

// leg is the leg that is waited in.
func (st *Stretch) leg(p *Plan, w int) Leg {
	if w < st.First {
		return Leg{Kind: Stand}
	}
	return p.Legs[w]
}

// onward waits so long, then goes on to mains and stands there without it, until
// the chair no longer carries. It is whole if the chair carried and drove all
// the way. The stands on the way are left out unless the wait is the plan's.
func (st *Stretch) onward(e *engine, w int, waited float64) (c *engine, whole bool) {
	c = e.fork()
	done := func() bool { return c.offChair() || c.stranded }
	c.begin(c.legIndex, st.leg(c.plan, w))
	if c.run(waited, done) {
		return c, false
	}
	for _, l := range c.plan.Legs[w+1 : st.Last+1] {
		if l.Kind != Drive && w != st.wait(c.plan) {
			continue
		}
		c.begin(c.legIndex, l)
		if c.run(l.seconds(c.s), done) {
			return c, false
		}
	}
	c.until(c.offChair)
	return c, true
}

// over is the seconds left on the chair after waiting, over twice the way to
// mains; below zero too where the way is not whole.
func (st *Stretch) over(e *engine, w int, waited float64) float64 {
	c, whole := st.onward(e, w, waited)
	if !whole {
		return -1
	}
	return c.seconds - e.seconds - waited - 2*st.drives(e, w)
}

func (e *engine) offChair() bool    { return e.source != setup.Chair }
func (e *engine) stopped() bool     { return e.source == setup.None }
func (e *engine) strandedNow() bool { return e.stranded }

// first finds what runs out first: on the way, or, where nothing does, if one
// stayed out after it.
func (f *Forecast) first(p *Plan, e *engine) {
	c := e.fork()
	c.begin(len(p.Legs), Leg{Kind: Stand})
	c.run(forever, func() bool { return c.lostAt != notYet })
	if e.stopAt != notYet {
		f.StopsAt = p.When(e.stopAt)
	}
	f.First = NothingOut
	switch {
	case c.strandAt < c.lostAt:
		f.First, f.FirstAt = Driving, p.When(c.strandAt)
	case c.lostAt != notYet && c.reserve:
		f.First, f.FirstAt = InsideOut, p.When(c.lostAt)
	case c.lostAt != notYet:
		f.First, f.FirstAt = ChairSupply, p.When(c.lostAt)
	}
}

// total is the seconds of the whole plan.
func (e *engine) total() float64 {
	sum := 0.0
	for _, l := range e.plan.Legs {
		sum += l.seconds(e.s)
	}
	return sum
}

// least is the fewest minutes of breathing left at any border of the plan away
// from mains, in the worst case; below zero, short by so many minutes.
func (p *Plan) least(s *setup.Setup) (float64, error) {
	e, err := newEngine(s, p, &worst)
	if err != nil {
		return 0, err
	}
	e.keep = false
	fewest := float64(MostMinutes)
	for i, l := range p.Legs {
		e.run(e.enter(i), never)
		if e.stopped() {
			return (e.stopAt - e.total()) / 60, nil
		}
		if e.powered(l) && i < len(p.Legs)-1 {
			continue // here it only grows
		}
		c := e.fork()
		fewest = min(fewest, c.until(c.stopped)/60)
	}
	return fewest, nil
}

// helps tries each change alone.
func (f *Forecast) helps(s *setup.Setup, p *Plan) error {
	base, err := p.least(s)
	if err != nil {
		return err
	}
	try := func(what HelpWhat, leg int, change func(*Plan)) error {
		q := *p
		q.Legs = slices.Clone(p.Legs)
		change(&q)
		minutes, err := q.least(s)
		if err == nil && minutes-base >= 1 {
			f.Helps = append(f.Helps, Help{what, leg, minutes - base})
		}
		return err
	}
	if slices.Min(p.Chair.Charges) < 1 || p.Internal.Charge < 1 {
		err = try(ChargeFull, -1, func(q *Plan) {
			q.charge(1)
			q.Internal.Charge = 1
		})
	}
	if err == nil {
		// It adds what it holds, whenever it is put in.
		f.Helps = append(f.Helps, Help{SpareBattery, -1, insideEnergy(s, p, &worst) / (float64(p.Load) * worst.draw) * 60})
	}
	best := len(f.Helps)
	for i, l := range p.Legs {
		if err != nil {
			return err
		}
		switch {
		case l.Kind != Mains:
			err = try(ShorterLeg, i, func(q *Plan) { q.Legs[i].Km, q.Legs[i].Minutes = l.Km/2, l.Minutes/2 })
		case !l.Adapter:
			err = try(CarryAdapter, i, func(q *Plan) { q.Legs[i].Adapter = true })
		case !l.ChairCharger:
			err = try(CarryCharger, i, func(q *Plan) { q.Legs[i].ChairCharger = true })
		}
	}
	// Of the changes to a leg, the best of each sort is enough.
	legs := f.Helps[best:]
	most := func(a, b Help) int { return cmp.Compare(b.Minutes, a.Minutes) }
	slices.SortStableFunc(legs, most)
	seen := map[HelpWhat]bool{}
	f.Helps = append(f.Helps[:best:best], slices.DeleteFunc(legs, func(h Help) bool {
		again := seen[h.What]
		seen[h.What] = true
		return again
	})...)
	slices.SortStableFunc(f.Helps, most)
	return err
}
