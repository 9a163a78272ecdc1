package outing

import (
	"math"
	"reflect"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"lampwright/lessons/setup"
)

// chairs are the demo set-ups, read once; varied makes one of them another.
func chairs(t *testing.T) map[string]*setup.Setup {
	all := map[string]*setup.Setup{}
	for _, name := range setup.DemoNames {
		all[name] = demo(t, name)
	}
	return all
}

// varied is a demo set-up with another pack, converter and tap.
func varied(t *rapid.T, all map[string]*setup.Setup) *setup.Setup {
	s := *all[rapid.SampledFrom(setup.DemoNames).Draw(t, "chair")]
	s.Chain = slices.Clone(s.Chain)
	s.Drive.Energy = setup.WattHoursPerKm(rapid.Float64Range(20, 60).Draw(t, "Wh/km"))
	for i := range s.Chain {
		p := &s.Chain[i]
		switch {
		case p.Battery != nil:
			b := *p.Battery
			b.Chemistry = rapid.SampledFrom([]setup.Chemistry{setup.AGM, setup.Gel, setup.Flooded, setup.Lithium}).Draw(t, "chemistry")
			b.Blocks = slices.Clone(b.Blocks)
			for j := range b.Blocks {
				b.Blocks[j].Capacity = setup.AmpHours(rapid.Float64Range(15, 100).Draw(t, "Ah"))
			}
			b.Charger = setup.Amps(rapid.Float64Range(1, 12).Draw(t, "charger"))
			p.Battery = &b
		case p.Converter != nil:
			c := *p.Converter
			c.Latched = rapid.Bool().Draw(t, "latched")
			p.Converter = &c
		}
	}
	return &s
}

// randomPlan is a plan of at most a day.
func randomPlan(t *rapid.T, s *setup.Setup) Plan {
	p := Usual(s, nine)
	p.Celsius = rapid.Float64Range(-15, 45).Draw(t, "celsius")
	p.Load = setup.Watts(rapid.Float64Range(8, 45).Draw(t, "watts"))
	p.Chair.Years = rapid.Float64Range(0, 8).Draw(t, "years")
	for i := range p.Chair.Charges {
		p.Chair.Charges[i] = rapid.Float64Range(0, 1).Draw(t, "block")
	}
	p.Internal.Charge = rapid.Float64Range(0, 1).Draw(t, "inside")
	p.Internal.Years = rapid.Float64Range(0, 3).Draw(t, "tested")
	if rapid.IntRange(0, 3).Draw(t, "faulty") == 0 {
		p.Faults = []setup.Fault{rapid.SampledFrom(s.Faults()).Draw(t, "fault")}
	}
	legs := rapid.IntRange(1, 6).Draw(t, "legs")
	for range legs {
		l := Leg{Kind: rapid.SampledFrom([]Kind{Drive, Stand, Mains}).Draw(t, "leg"), Tilted: rapid.Bool().Draw(t, "tilted")}
		hours := rapid.Float64Range(.02, 24/float64(legs)).Draw(t, "hours")
		switch l.Kind {
		case Drive:
			l.Km = setup.Kilometres(min(hours*float64(s.Drive.Speed), 8))
		case Mains:
			l.Adapter, l.ChairCharger = rapid.Bool().Draw(t, "adapter"), rapid.Bool().Draw(t, "charger")
			fallthrough
		case Stand:
			l.Minutes = setup.Minutes(hours * 60)
		}
		p.Legs = append(p.Legs, l)
	}
	return p
}

func rapidTrack(t *rapid.T, s *setup.Setup, p *Plan, atWorst bool) Track {
	tr, err := ran(s, p, atWorst)
	if err != nil {
		t.Fatal(err)
	}
	return tr
}

// What leaves the pack drives the chair, reaches the ventilator or stays in
// the chain, less what its charger brought: within a thousandth of all of it.
func TestEnergyIsAccountedFor(t *testing.T) {
	all := chairs(t)
	rapid.Check(t, func(t *rapid.T) {
		s := varied(t, all)
		p := randomPlan(t, s)
		e := rapidTrack(t, s, &p, rapid.Bool().Draw(t, "worst")).Energy
		if gone := e.Driven + e.Delivered + e.Lost - e.Charged; math.Abs(e.Pack-gone) > 1e-3*(e.Driven+e.Delivered+e.Lost+e.Charged)+1e-6 {
			t.Fatalf("%.4f Wh left the pack, %.4f are accounted for: %+v", e.Pack, gone, e)
		}
	})
}

// A lithium pack (no Peukert) loses the charge times its open-circuit volts, of
// which its own resistance keeps under a hundredth; the internal battery loses
// what it gave. Neither is read off the flows that they are made of.
func TestChargesFallByWhatWasTaken(t *testing.T) {
	all := chairs(t)
	rapid.Check(t, func(t *rapid.T) {
		s := varied(t, all)
		s.Battery().Chemistry = setup.Lithium
		p := randomPlan(t, s)
		p.Celsius, p.Faults = 25, nil
		p.Legs = slices.DeleteFunc(p.Legs, func(l Leg) bool { return l.Kind == Mains })
		s.Ventilator.Charger.Chair = 0
		e, err := newEngine(s, &p, &typical)
		if err != nil {
			t.Fatal(err)
		}
		before := e.at
		e.out()
		stored := 0.0
		for i := range e.blocks {
			stored += e.capacity[i] * (held(before[i]) - held(e.at[i]))
		}
		if got := e.track.Energy.Pack; got > stored*1.001+.1 || got < stored*.98-.1 {
			t.Fatalf("%.3f Wh left the terminals, %.3f the cells", got, stored)
		}
		if got, want := e.track.Energy.Inside, e.energy*(before[inside]-e.at[inside]); math.Abs(got-want) > 1e-3*want+.01 {
			t.Fatalf("%.3f Wh left the internal battery, its charge says %.3f", got, want)
		}
	})
}

// held is the volt-hours per ampere-hour of label in a lithium block, by hand
// from its volts at 0, 10, 50, 90 and 100 % (M), and steeply
// on below.
func held(charge float64) float64 {
	spent := min(0, charge)
	sum := 10*spent + 28*spentFalls*spent*spent/2
	for _, x := range []struct{ from, to, low, high float64 }{{0, .1, 10, 12.8}, {.1, .5, 12.8, 13.1}, {.5, .9, 13.1, 13.3}, {.9, 1, 13.3, 13.6}} {
		if charge > x.from {
			part := min(charge, x.to) - x.from
			sum += part * (x.low + (x.high-x.low)*part/(x.to-x.from)/2)
		}
	}
	return sum
}

func TestTracksAreInOrderAndInBounds(t *testing.T) {
	all := chairs(t)
	rapid.Check(t, func(t *rapid.T) {
		s := varied(t, all)
		p := randomPlan(t, s)
		a := rapid.SampledFrom([]*assumed{&worst, &typical}).Draw(t, "assumed")
		e, err := newEngine(s, &p, a)
		if err != nil {
			t.Fatal(err)
		}
		e.out()
		tr := e.track
		for i := range e.blocks {
			if e.at[i] < -.03 || e.at[i] > 1+1e-3 {
				t.Fatalf("block %d is at %g", i+1, e.at[i])
			}
		}
		total, last := 0.0, 0.0
		for _, l := range p.Legs {
			total += l.seconds(s)
		}
		for _, x := range tr.Samples {
			if !(x.Chair >= 0 && x.Chair <= 1 && x.Inside >= 0 && x.Inside <= 1 && x.Seconds >= last && x.Seconds <= total+1) {
				t.Fatalf("%+v after %g s of %g", x, last, total)
			}
			last = x.Seconds
		}
		last = 0
		for _, ev := range tr.Events {
			if ev.Seconds < last || ev.Held < 0 || ev.Held > 1 || ev.Leg < 0 || ev.Leg > len(p.Legs) {
				t.Fatalf("%+v after %g s", ev, last)
			}
			last = ev.Seconds
		}
		leaves := slices.IndexFunc(tr.Events, func(ev Event) bool { return ev.What == Leaves })
		end := Arrives
		if !stays(&tr) {
			end = NotThere
		}
		if leaves < 0 || tr.Events[leaves].Seconds != 0 || tr.Events[len(tr.Events)-1].What != end || math.Abs(last-total) > 1e-3 {
			t.Fatalf("%+v, in all %g s", tr.Events, total)
		}
		if !reflect.DeepEqual(tr, rapidTrack(t, s, &p, a == &worst)) {
			t.Fatal("run again, it is another run")
		}
	})
}

// leaving is what standing from the very start has left.
func leaving(t *rapid.T, s *setup.Setup, p Plan, a *assumed) (onChair, all float64) {
	e, err := newEngine(s, &p, a)
	if err != nil {
		t.Fatal(err)
	}
	e.begin(0, Leg{Kind: Stand})
	return e.standing()
}

func TestColderOrOlderNeverLastsLonger(t *testing.T) {
	all := chairs(t)
	rapid.Check(t, func(t *rapid.T) {
		s := varied(t, all)
		p := randomPlan(t, s)
		// A chair that charges the internal battery has less to do for a smaller one.
		s.Ventilator.Charger.Chair = 0
		q := p
		switch rapid.SampledFrom([]string{"colder", "older", "older test", "emptier", "more load"}).Draw(t, "change") {
		case "colder": // cold copper and a cold fuse carry more: it is the battery that is asked about
			p.Faults, q.Faults = nil, nil
			q.Celsius = rapid.Float64Range(-15, p.Celsius).Draw(t, "colder")
		case "older":
			q.Chair.Years += rapid.Float64Range(0, 5).Draw(t, "more years")
		case "older test":
			q.Internal.Years += rapid.Float64Range(0, 5).Draw(t, "more years")
		case "emptier":
			q.Internal.Charge *= rapid.Float64Range(0, 1).Draw(t, "of it")
			q.Chair.Charges = slices.Clone(q.Chair.Charges)
			for i := range q.Chair.Charges {
				q.Chair.Charges[i] *= rapid.Float64Range(0, 1).Draw(t, "of it")
			}
		case "more load":
			q.Load += setup.Watts(rapid.Float64Range(0, 10).Draw(t, "more watts"))
		}
		for _, a := range []*assumed{&worst, &typical} {
			chair, both := leaving(t, s, p, a)
			chairQ, bothQ := leaving(t, s, q, a)
			if chairQ > chair*1.001+.1 || bothQ > both*1.001+.1 {
				t.Fatalf("%.2f min on the chair, %.2f in all; then %.2f and %.2f", chair, both, chairQ, bothQ)
			}
		}
	})
}

func TestWorstNeverLastsLongerThanTypical(t *testing.T) {
	all := chairs(t)
	rapid.Check(t, func(t *rapid.T) {
		s := varied(t, all)
		p := randomPlan(t, s)
		p.Chair.Measured = setup.Minutes(rapid.SampledFrom([]float64{0, 30, 300, 3000}).Draw(t, "measured"))
		p.Internal.Measured = setup.Minutes(rapid.SampledFrom([]float64{0, 30, 120, 600}).Draw(t, "tested minutes"))
		chair, both := leaving(t, s, p, &worst)
		chairT, bothT := leaving(t, s, p, &typical)
		// A chair that charges the internal battery has less to do for a smaller one.
		apart := s.Ventilator.Charger.Chair == 0
		if apart && chair > chairT*1.001+.1 || both > bothT*1.001+.1 {
			t.Fatalf("worst %.2f and %.2f min, typical %.2f and %.2f", chair, both, chairT, bothT)
		}
		f, err := p.Forecast(s)
		if err != nil {
			t.Fatal(err)
		}
		away := !slices.ContainsFunc(p.Legs, func(l Leg) bool { return l.Kind == Mains })
		for _, r := range f.Rows {
			if away && !r.Worst && r.Minutes.Worst > r.Minutes.Typical*1.001+.1 {
				t.Fatalf("%+v", r)
			}
		}
		// A pack that does not carry the ventilator drives further: so only without it.
		p.Faults = []setup.Fault{{Part: "fuse", Mode: setup.Blown}}
		if f, err = p.Forecast(s); err != nil {
			t.Fatal(err)
		}
		for _, r := range f.Rows {
			if away && !r.Worst && r.Km.Worst > r.Km.Typical*1.001+.01 {
				t.Fatalf("%+v", r)
			}
		}
	})
}

// stays tells whether the chair is driven to the end of every leg.
func stays(tr *Track) bool {
	return !slices.ContainsFunc(tr.Events, func(ev Event) bool { return ev.What == Stranded })
}

// Time away from mains takes minutes: a longer leg never leaves more.
func TestALongerLegNeverLeavesMore(t *testing.T) {
	all := chairs(t)
	rapid.Check(t, func(t *rapid.T) {
		s := varied(t, all)
		p := randomPlan(t, s)
		i := rapid.IntRange(0, len(p.Legs)-1).Draw(t, "which")
		if p.Legs[i].Kind == Mains {
			p.Legs[i] = stand(1)
		}
		q := p
		q.Legs = slices.Clone(p.Legs)
		by := rapid.Float64Range(1, 3).Draw(t, "times as long")
		q.Legs[i].Minutes *= setup.Minutes(by)
		q.Legs[i].Km *= setup.Kilometres(by)
		for _, a := range []*assumed{&worst, &typical} {
			var left [2]float64
			for j, pl := range []Plan{p, q} {
				e, err := newEngine(s, &pl, a)
				if err != nil {
					t.Fatal(err)
				}
				e.out()
				if !stays(&e.track) {
					return // a chair that stopped takes nothing for driving any more
				}
				_, left[j] = e.standing()
			}
			if left[1] > left[0]*1.001+.1 {
				t.Fatalf("%.2f min left, after a longer leg %.2f", left[0], left[1])
			}
		}
	})
}

// A leg in two parts is the same leg, but for the steps it is worked out in:
// within four thousandths of a charge, where a pack is spent or full.
func TestSplittingALegChangesNothing(t *testing.T) {
	all := chairs(t)
	rapid.Check(t, func(t *rapid.T) {
		s := varied(t, all)
		p := randomPlan(t, s)
		i := rapid.IntRange(0, len(p.Legs)-1).Draw(t, "which")
		at := rapid.Float64Range(.01, .99).Draw(t, "at")
		a, b := p.Legs[i], p.Legs[i]
		a.Minutes, b.Minutes = a.Minutes*setup.Minutes(at), b.Minutes*setup.Minutes(1-at)
		a.Km, b.Km = a.Km*setup.Kilometres(at), b.Km*setup.Kilometres(1-at)
		q := p
		q.Legs = slices.Concat(p.Legs[:i:i], []Leg{a, b}, p.Legs[i+1:])
		one, two := rapidTrack(t, s, &p, false), rapidTrack(t, s, &q, false)
		x, y := one.Samples[len(one.Samples)-1], two.Samples[len(two.Samples)-1]
		if math.Abs(x.Chair-y.Chair) > 4e-3 || math.Abs(x.Inside-y.Inside) > 4e-3 || x.Source != y.Source {
			t.Fatalf("%+v, split %+v", x, y)
		}
		if u, v := one.Energy, two.Energy; math.Abs(u.Pack-v.Pack) > 4e-3*(u.Driven+u.Delivered+u.Lost+u.Charged)+.2 {
			t.Fatalf("%+v, split %+v", u, v)
		}
	})
}

func TestForecastsAreDeterministicAndLeaveThePlanAlone(t *testing.T) {
	all := chairs(t)
	rapid.Check(t, func(t *rapid.T) {
		s := varied(t, all)
		p := randomPlan(t, s)
		kept := p
		kept.Legs, kept.Chair.Charges = slices.Clone(p.Legs), slices.Clone(p.Chair.Charges)
		a, err := p.Forecast(s)
		if err != nil {
			t.Fatal(err)
		}
		b, err := p.Forecast(s)
		if err != nil || !reflect.DeepEqual(a, b) {
			t.Fatalf("%+v\n%+v, %v", a, b, err)
		}
		if !reflect.DeepEqual(p, kept) {
			t.Fatal("the plan was changed")
		}
		for i := 1; i < len(a.Rows); i++ {
			if a.Rows[i].At.Before(a.Rows[i-1].At) {
				t.Fatalf("rows out of order: %+v", a.Rows)
			}
		}
	})
}

// minute is a time as it is shown.
func minute(at time.Time) time.Time { return at.Truncate(time.Minute) }

// outing is a random plan as people make them, or at its edges: hardly charged
// or empty, one fault or two, measured or not; short ways, so that a good share
// of them is OK.
func outing(t *rapid.T, s *setup.Setup) Plan {
	p := randomPlan(t, s)
	if rapid.Bool().Draw(t, "gentle") {
		p.Celsius = rapid.Float64Range(10, 30).Draw(t, "mild")
		p.Chair.Years = rapid.Float64Range(0, 3).Draw(t, "young")
		p.charge(rapid.Float64Range(.6, 1).Draw(t, "charged"))
		p.Internal.Charge = rapid.Float64Range(.7, 1).Draw(t, "inside charged")
		p.Faults = nil
		for i := range p.Legs {
			p.Legs[i].Km, p.Legs[i].Minutes = min(p.Legs[i].Km, 2), min(p.Legs[i].Minutes, 120)
		}
	}
	switch rapid.IntRange(0, 7).Draw(t, "edge") {
	case 0:
		p.Internal.Charge = 0
	case 1:
		p.charge(0)
	case 2:
		p.charge(1)
		p.Internal.Charge = 1
	case 3:
		p.Faults = append(p.Faults, rapid.SampledFrom(s.Faults()).Draw(t, "another fault"))
	case 4:
		p.Chair.Measured, p.Chair.Since = setup.Minutes(rapid.Float64Range(1, 3000).Draw(t, "measured")), rapid.Float64Range(0, 5).Draw(t, "since")
	}
	return p
}

// foreseen is a random outing and its forecast.
func foreseen(t *rapid.T, all map[string]*setup.Setup) (*setup.Setup, Plan, Forecast) {
	s := varied(t, all)
	p := outing(t, s)
	f, err := p.Forecast(s)
	if err != nil {
		t.Fatal(err)
	}
	return s, p, f
}

// What is called OK stays on mains and chair all the way, drives all the way,
// and sets out no later than it may.
func TestOKIsTrueInTheWorstCase(t *testing.T) {
	all := chairs(t)
	rapid.Check(t, func(t *rapid.T) {
		_, _, f := foreseen(t, all)
		if !f.OK {
			return
		}
		for end, tr := range map[string]*Track{"worst": &f.Worst, "typical": &f.Typical} {
			if tr.any(Stops) || tr.any(Stranded) || tr.any(NotThere) || tr.any(Hunts) || tr.on(setup.Internal) || tr.on(setup.None) {
				t.Fatalf("%s: %+v", end, tr.Events)
			}
		}
		if f.NoMains || !f.StopsAt.IsZero() {
			t.Fatalf("no mains %v, stops at %v", f.NoMains, f.StopsAt)
		}
		for _, st := range f.Stretches {
			if !st.OK || st.Never() || st.Lacks != NoLack || st.LeaveBy.Before(minute(st.Sets)) {
				t.Fatalf("%+v", st)
			}
		}
	})
}

// Whatever the verdict, a stretch is of one mind.
func TestStretchesAreOfOneMind(t *testing.T) {
	all := chairs(t)
	rapid.Check(t, func(t *rapid.T) {
		_, p, f := foreseen(t, all)
		for _, st := range f.Stretches {
			switch {
			case minute(st.LeaveBy).After(st.MainsBy):
				t.Fatalf("leave by %v, on mains by %v: %+v", st.LeaveBy, st.MainsBy, st)
			case st.OK != (st.Lacks == NoLack), st.OK && st.Never(), f.OK && !st.OK:
				t.Fatalf("all %v, %+v", f.OK, st)
			case st.LeaveBy.Before(minute(st.Begins)), st.Sets.Before(st.Begins), st.Sets.After(st.Ends), st.Travel > st.Ends.Sub(st.Begins)+time.Second:
				t.Fatalf("%+v", st)
			}
			if w := st.wait(&p); w >= st.First && p.Legs[w].ChairCharger && st.LeaveBy.After(st.Sets) {
				t.Fatalf("it waits longer than planned on a leg that charges: %+v", st)
			}
		}
	})
}

// Where nothing runs out, there is a source all the way; what runs out first
// does so no later than the worst case loses it, and a stop is told.
func TestWhatRunsOutFirstIsWhatTheWorstCaseLoses(t *testing.T) {
	all := chairs(t)
	rapid.Check(t, func(t *rapid.T) {
		_, p, f := foreseen(t, all)
		tr := &f.Worst
		end := p.When(last(tr.Events).Seconds)
		lost := tr.any(Stops) || tr.any(Stranded) || tr.on(setup.Internal) || tr.on(setup.None)
		// What would end just as the plan does is not lost on the way.
		if lost && (f.First == NothingOut || f.FirstAt.After(end)) || !lost && f.First != NothingOut && f.FirstAt.Before(end) {
			t.Fatalf("lost %v, but %q at %v: %+v", lost, f.First, f.FirstAt, tr.Events)
		}
		if (f.First == NothingOut) != f.FirstAt.IsZero() {
			t.Fatalf("%q at %v", f.First, f.FirstAt)
		}
		if tr.any(Stops) == f.StopsAt.IsZero() || !f.StopsAt.IsZero() && f.StopsAt.Before(f.FirstAt) {
			t.Fatalf("%q at %v, stops at %v: %+v", f.First, f.FirstAt, f.StopsAt, tr.Events)
		}
		for _, ev := range tr.Events {
			bad := ev.What == Stops || ev.What == Stranded || ev.Source == setup.Internal && ev.What == Changed
			if bad && p.When(ev.Seconds).Before(f.FirstAt) {
				t.Fatalf("%q at %v, but %+v", f.First, f.FirstAt, ev)
			}
		}
	})
}

// A ventilator that stopped stays stopped; a stranded chair reaches no leg, no
// mains and no charge.
func TestNothingComesBackByItself(t *testing.T) {
	all := chairs(t)
	rapid.Check(t, func(t *rapid.T) {
		s := varied(t, all)
		p := outing(t, s)
		tr := rapidTrack(t, s, &p, rapid.Bool().Draw(t, "worst"))
		after := func(w What) func(seconds float64) bool {
			at := slices.IndexFunc(tr.Events, func(ev Event) bool { return ev.What == w })
			return func(seconds float64) bool { return at >= 0 && seconds > tr.Events[at].Seconds }
		}
		stopped, stranded := after(Stops), after(Stranded)
		for _, x := range tr.Samples {
			if stopped(x.Seconds) && x.Source != setup.None || stranded(x.Seconds) && x.Source == setup.Mains {
				t.Fatalf("%+v in %+v", x, tr.Events)
			}
		}
		for i, ev := range tr.Events {
			if stranded(ev.Seconds) && (ev.What == LegBegins || ev.What == Arrives || ev.What == Stranded) || ev.What == NotThere && !slices.ContainsFunc(tr.Events[:i], func(ev Event) bool { return ev.What == Stranded }) {
				t.Fatalf("%+v in %+v", ev, tr.Events)
			}
		}
		chair := -1.0
		for _, x := range tr.Samples {
			if stranded(x.Seconds) && chair >= 0 && x.Chair > chair+1e-9 {
				t.Fatalf("a stranded chair charges: %+v after %.4f", x, chair)
			}
			if stranded(x.Seconds) {
				chair = x.Chair
			}
		}
	})
}

// The minutes that a row promises in the worst case are those that come, if
// the plan then goes on standing.
func TestTheMinutesOfARowAreThoseThatCome(t *testing.T) {
	all := chairs(t)
	rapid.Check(t, func(t *rapid.T) {
		s := varied(t, all)
		p := outing(t, s)
		k := rapid.IntRange(0, len(p.Legs)).Draw(t, "from leg")
		p.Legs = append(slices.Clone(p.Legs[:k]), stand(24*30))
		f, err := p.Forecast(s)
		if err != nil {
			t.Fatal(err)
		}
		row := f.Rows[slices.IndexFunc(f.Rows, func(r Row) bool {
			return r.Leg == k && (r.What == Leaves || r.What == LegBegins || r.What == NotThere)
		})]
		starts := 0.0
		for _, l := range p.Legs[:k] {
			starts += l.seconds(s)
		}
		for end, c := range map[string]struct {
			tr      *Track
			minutes float64
		}{"worst": {&f.Worst, row.Minutes.Worst}, "typical": {&f.Typical, row.Minutes.Typical}} {
			i := slices.IndexFunc(c.tr.Events, func(ev Event) bool { return ev.What == Stops })
			if i < 0 {
				t.Fatalf("%s: it never stops: %+v", end, c.tr.Events)
			}
			if comes := max(0, c.tr.Events[i].Seconds-starts) / 60; math.Abs(c.minutes-comes) > .001*comes+.1 {
				t.Fatalf("%s: the row says %.2f min, %.2f come: %+v", end, c.minutes, comes, c.tr.Events)
			}
		}
	})
}

// Standing where mains is, before it is taken, makes no plan OK.
func TestStandingAtTheEndMakesNothingOK(t *testing.T) {
	all := chairs(t)
	rapid.Check(t, func(t *rapid.T) {
		s, p, f := foreseen(t, all)
		p.Legs = append(slices.Clone(p.Legs), stand(rapid.Float64Range(1./60, 1).Draw(t, "hours")))
		if g, err := p.Forecast(s); err != nil || g.OK && !f.OK {
			t.Fatalf("%v: %+v\nthen %+v", err, f.Stretches, g.Stretches)
		}
	})
}

// counted counts the rates worked out until the test ends, by every run of time
// and every look ahead: a fuse is asked each time.
func counted(t *testing.T) (rates *int) {
	rates = new(int)
	for _, a := range []*assumed{&worst, &typical} {
		opens := a.opens
		a.opens = func(times float64) float64 {
			*rates++
			return opens(times)
		}
		t.Cleanup(func() { a.opens = opens })
	}
	return rates
}

// A forecast of the demo set-ups, all its looks ahead included, is worked out
// in a bounded number of steps. Packs that gave less than an hour are left out.
func TestAForecastTakesFewSteps(t *testing.T) {
	all := chairs(t)
	rates := counted(t)
	rapid.Check(t, func(t *rapid.T) {
		s := all[rapid.SampledFrom(setup.DemoNames).Draw(t, "chair")]
		p := outing(t, s)
		if p.Chair.Measured < 60 {
			p.Chair.Measured = 0
		}
		*rates = 0
		f, err := p.Forecast(s)
		if err != nil {
			t.Fatal(err)
		}
		if *rates > 40000 || f.Worst.Steps+f.Typical.Steps > mostSteps || len(f.Rows) > 60 {
			t.Fatalf("%d rates, %d and %d steps, %d rows", *rates, f.Worst.Steps, f.Typical.Steps, len(f.Rows))
		}
	})
	// The most legs that a plan may have, most of the day away from mains.
	for name, s := range all {
		var legs []Leg
		for i := range MostLegs {
			legs = append(legs, []Leg{drive(.5), stand(1), atMains(1, false, true)}[i%3])
		}
		*rates = 0
		if forecast(t, s, fresh(s, legs...)); *rates > 200000 {
			t.Errorf("%s: %d rates for %d legs", name, *rates, MostLegs)
		}
	}
}
