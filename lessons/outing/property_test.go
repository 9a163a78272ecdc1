package outing

import (
	"math"
	"reflect"
	"slices"
	"testing"

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
	tr, err := Run(s, p, atWorst)
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
		if leaves < 0 || tr.Events[leaves].Seconds != 0 || tr.Events[len(tr.Events)-1].What != Arrives || math.Abs(last-total) > 1e-3 {
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
		if chair > chairT*1.001+.1 || both > bothT*1.001+.1 {
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
		if math.Abs(x.Chair-y.Chair) > 1e-3 || math.Abs(x.Inside-y.Inside) > 1e-3 || x.Source != y.Source {
			t.Fatalf("%+v, split %+v", x, y)
		}
		if u, v := one.Energy, two.Energy; math.Abs(u.Pack-v.Pack) > 1e-3*(u.Driven+u.Delivered+u.Lost+u.Charged)+.1 {
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
