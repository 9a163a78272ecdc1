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
	Travel       time.Duration // of the drive to mains at its end
	Sets         time.Time     // when the plan leaves for mains
	LeaveBy      time.Time     // leave for mains by then; Begins where the margin cannot be kept at all
	MainsBy      time.Time     // be on mains by then: the chair supply ends, in the worst case
	OK           bool
}

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
	OK             bool // every stretch keeps the margin, and nothing runs out
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
	f.rows(p, ends[0], ends[1])
	f.Worst, f.Typical = ends[0].track, ends[1].track
	f.happenings(p)
	f.OK = true
	for _, st := range p.stretches(s) {
		if err := st.margin(s, p); err != nil {
			return f, err
		}
		f.OK = f.OK && st.OK
		f.Stretches = append(f.Stretches, st)
	}
	if err := f.first(s, p); err != nil {
		return f, err
	}
	return f, f.helps(s, p)
}

// When is a number of seconds after leaving, in the site's zone.
func (p *Plan) When(seconds float64) time.Time {
	return p.Leaves.Add(time.Duration(seconds * float64(time.Second))).Round(time.Second)
}

// rows runs both ends leg by leg and looks ahead at each border.
func (f *Forecast) rows(p *Plan, low, high *engine) {
	border := func(w What, leg int) {
		r := Row{At: p.When(low.seconds), What: w, Leg: leg, Source: low.source, Worst: false}
		both := func(of func(*engine) float64) Band { return Band{of(low), of(high)} }
		r.OnChair.Worst, r.Minutes.Worst = low.standing()
		r.OnChair.Typical, r.Minutes.Typical = high.standing()
		r.Chair, r.Inside = both((*engine).lowest), both(func(e *engine) float64 { return max(0, e.at[inside]) })
		r.Km = both(func(e *engine) float64 {
			c := e.fork()
			return c.stay(Leg{Kind: Drive}, c.strandedNow) / 3600 * float64(e.s.Drive.Speed)
		})
		f.Rows = append(f.Rows, r)
	}
	for i, l := range p.Legs {
		low.arrive(i, l)
		high.arrive(i, l)
		w := LegBegins
		if i == 0 {
			w = Leaves
		}
		border(w, i)
		low.run(l.seconds(low.s), never)
		high.run(l.seconds(high.s), never)
	}
	low.finish()
	high.finish()
	border(Arrives, len(p.Legs))
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
		if ev.What == Leaves || ev.What == LegBegins || ev.What == Arrives {
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

// stretches cuts a plan where it finds mains.
func (p *Plan) stretches(s *setup.Setup) []Stretch {
	var out []Stretch
	seconds, open := 0.0, false
	for i, l := range p.Legs {
		if !l.powered() && !open {
			out, open = append(out, Stretch{First: i, Begins: p.When(seconds)}), true
		}
		if l.powered() {
			open = false
		}
		seconds += l.seconds(s)
		if open {
			st := &out[len(out)-1]
			st.Last, st.Ends = i, p.When(seconds)
			if l.Kind == Drive {
				st.Travel += time.Duration(l.seconds(s) * float64(time.Second))
			} else {
				st.Travel = 0
			}
		}
	}
	for i := range out {
		out[i].Sets = out[i].Ends.Add(-out[i].Travel)
	}
	return out
}

// margin finds by when to leave, in the worst case: waiting until then and
// driving the way to mains, as many minutes must be left on arriving as the
// way took, and all of them on the chair. The wait is the last stand of the
// stretch that allows it, the stands after it left out; where there is none,
// it is before setting out.
func (st *Stretch) margin(s *setup.Setup, p *Plan) error {
	last := st.Last
	for last >= st.First && p.Legs[last].Kind == Drive {
		last--
	}
	for w := last; w >= st.First-1; w-- {
		if w >= st.First && p.Legs[w].Kind == Drive {
			continue
		}
		e, ran, err := st.until(s, p, w)
		if err != nil {
			return err
		}
		planned := 0.0
		if w >= st.First {
			planned = p.Legs[w].seconds(s)
		}
		if w == last {
			until, over := st.lasts(e, w, planned)
			st.MainsBy, st.OK = p.When(until).Truncate(time.Minute), !ran && over > 0
		}
		if _, over := st.lasts(e, w, 0); ran || over <= 0 {
			st.LeaveBy = st.Begins
			continue
		}
		low, high := 0.0, planned
		if w == last {
			c := e.fork()
			high = c.stay(st.wait(p, w), c.offChair)
		}
		for high-low > 20 {
			middle := (low + high) / 2
			if _, over := st.lasts(e, w, middle); over > 0 {
				low = middle
			} else {
				high = middle
			}
		}
		st.LeaveBy = p.When(e.seconds + low).Truncate(time.Minute)
		return nil
	}
	return nil
}

// until runs to the beginning of a wait, and tells whether the chair supply
// ended on the way.
func (st *Stretch) until(s *setup.Setup, p *Plan, wait int) (e *engine, ran bool, err error) {
	if e, err = newEngine(s, p, &worst); err != nil {
		return nil, false, err
	}
	e.keep = false
	for i := range max(wait, st.First) {
		e.begin(i, p.Legs[i])
		ran = e.run(p.Legs[i].seconds(s), func() bool { return i >= st.First && e.offChair() }) || ran
	}
	return e, ran || e.halted, nil
}

// wait is the leg that is waited in.
func (st *Stretch) wait(p *Plan, w int) Leg {
	if w < st.First {
		return Leg{Kind: Stand}
	}
	return p.Legs[w]
}

// lasts is when, in seconds after leaving, the chair no longer carries, if one
// waits so long and then drives the way to mains; and how many of them are
// over twice that way, counted from the end of the wait.
func (st *Stretch) lasts(e *engine, w int, waited float64) (until, over float64) {
	c := e.fork()
	c.begin(c.legIndex, st.wait(c.plan, w))
	if c.run(waited, c.offChair) {
		return c.seconds, -1
	}
	sets, travel := c.seconds, 0.0
	for _, l := range c.plan.Legs[w+1 : st.Last+1] {
		if l.Kind != Drive {
			continue
		}
		travel += l.seconds(c.s)
		c.begin(c.legIndex, l)
		if c.run(l.seconds(c.s), func() bool { return c.offChair() || c.stranded }) {
			return c.seconds, c.seconds - sets - 2*travel
		}
	}
	c.until(c.offChair)
	return c.seconds, c.seconds - sets - 2*travel
}

func (e *engine) offChair() bool    { return e.source != setup.Chair }
func (e *engine) stopped() bool     { return e.source == setup.None }
func (e *engine) strandedNow() bool { return e.stranded }

// first finds what runs out first: on the way, or, where nothing does, if one
// stayed out after it.
func (f *Forecast) first(s *setup.Setup, p *Plan) error {
	e, err := newEngine(s, p, &worst)
	if err != nil {
		return err
	}
	e.out()
	e.begin(len(p.Legs), Leg{Kind: Stand})
	e.run(forever, e.stopped)
	f.First = NothingOut
	if len(p.Legs) > 0 && !p.Legs[0].powered() && len(e.track.Samples) > 0 && e.track.Samples[0].Source == setup.Internal {
		f.First, f.FirstAt, f.OK = ChairSupply, p.Leaves, false
		return nil
	}
	for _, ev := range e.track.Events {
		out := NothingOut
		switch {
		case ev.What == Stranded:
			out = Driving
		case ev.What == Changed && ev.Source == setup.None:
			out = InsideOut
		case ev.What == Changed && ev.Source == setup.Internal, ev.What == Hunts && ev.Source == setup.Internal:
			out = ChairSupply
		}
		if out != NothingOut {
			f.First, f.FirstAt = out, p.When(ev.Seconds)
			f.OK = f.OK && ev.Seconds > e.total()
			return nil
		}
	}
	return nil
}

// total is the seconds of the whole plan.
func (e *engine) total() float64 {
	sum := 0.0
	for _, l := range e.plan.Legs {
		sum += l.seconds(e.s)
	}
	return sum
}

// least is the fewest minutes of breathing left at any border of the plan in
// the worst case; below zero, short by so many minutes at the end.
func (p *Plan) least(s *setup.Setup) (float64, error) {
	e, err := newEngine(s, p, &worst)
	if err != nil {
		return 0, err
	}
	e.keep = false
	fewest, stoppedFor := 1e9, 0.0
	for i, l := range p.Legs {
		e.begin(i, l)
		e.run(l.seconds(s), e.stopped)
		if e.stopped() {
			stoppedFor = e.total() - e.seconds
			break
		}
		if l.powered() && i < len(p.Legs)-1 {
			continue // here it only grows
		}
		c := e.fork()
		fewest = min(fewest, c.until(c.stopped)/60)
	}
	if stoppedFor > 0 {
		return -stoppedFor / 60, nil
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
