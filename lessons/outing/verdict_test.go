package outing

import (
	"slices"
	"testing"
	"time"

	"lampwright/lessons/setup"
)

// any tells whether a track has an event of a kind.
func (tr *Track) any(w What) bool {
	return slices.ContainsFunc(tr.Events, func(ev Event) bool { return ev.What == w })
}

// on tells whether a source carried at any sample of a track.
func (tr *Track) on(source setup.Source) bool {
	return slices.ContainsFunc(tr.Samples, func(x Sample) bool { return x.Source == source })
}

// last is how a forecast ends, for those that must.
func last[T any](of []T) T { return of[len(of)-1] }

// Mains that cannot carry is no mains: the outing has nowhere to end, and a
// chair's charger gives nothing in a dead outlet, but is another plug than the
// failed adapter.
func TestMainsThatCannotCarryIsNone(t *testing.T) {
	for _, name := range setup.DemoNames {
		s := demo(t, name)
		p := fresh(s, drive(1), stand(.5), atMains(2, true, true), drive(1))
		if f := forecast(t, s, p); !f.OK || f.NoMains || len(f.Stretches) != 2 || f.Worst.Energy.Charged == 0 {
			t.Fatalf("%s, sound: OK %v, no mains %v, %+v", name, f.OK, f.NoMains, f.Stretches)
		}
		for _, c := range []struct {
			fault   string
			charges bool
		}{
			{"adapter=failed", true},
			{"adapter=wrong-type", true},
			{s.Ventilator.InletFor(setup.Mains).ID + "=not-accepted", true},
			{"cord=half-home", true},
			{"outlet=tripped", false},
			{"outlet=off", false},
		} {
			f := forecast(t, s, p.with(t, s, c.fault))
			if f.OK || !f.NoMains || len(f.Stretches) != 1 || f.Stretches[0].Last != 3 {
				t.Errorf("%s, %s: OK %v, no mains %v, %+v", name, c.fault, f.OK, f.NoMains, f.Stretches)
			}
			if f.Worst.on(setup.Mains) || f.Typical.on(setup.Mains) {
				t.Errorf("%s, %s: on mains", name, c.fault)
			}
			if got := f.Worst.Energy.Charged > 0; got != c.charges {
				t.Errorf("%s, %s: the chair's charger gave %.1f Wh", name, c.fault, f.Worst.Energy.Charged)
			}
			for _, h := range f.Helps {
				if h.What == CarryAdapter {
					t.Errorf("%s, %s: %+v", name, c.fault, h)
				}
			}
		}
	}
}

// An internal battery that holds nothing, whatever the reason, stops the
// ventilator where mains at home is left, and is shown empty; one that holds
// too little is no reserve.
func TestLeavingWithoutAReserve(t *testing.T) {
	for _, name := range setup.DemoNames {
		s := demo(t, name)
		s.Ventilator.Charger.Chair = 0 // it would charge on the way
		// A minute of the internal battery's own, at the worst.
		minute := func(p Plan) float64 {
			return float64(p.Load) * worst.draw / 60 / insideEnergy(s, &p, &worst)
		}
		for situation, c := range map[string]struct {
			change func(*Plan)
			stops  bool
			lacks  Lack
		}{
			"empty":                       {func(p *Plan) { p.Internal.Charge = 0 }, true, LackReserve},
			"dead":                        {func(p *Plan) { p.Faults = []setup.Fault{{Part: setup.InternalID, Mode: setup.Dead}} }, true, LackReserve},
			"flat":                        {func(p *Plan) { p.Faults = []setup.Fault{{Part: setup.InternalID, Mode: setup.Flat}} }, true, LackReserve},
			"29 minutes":                  {func(p *Plan) { p.Internal.Charge = 29 * minute(*p) }, false, LackReserve},
			"31 minutes":                  {func(p *Plan) { p.Internal.Charge = 31 * minute(*p) }, false, NoLack},
			"35, for a way of 36 minutes": {func(p *Plan) { p.Legs[2].Km, p.Internal.Charge = 3, 35*minute(*p) }, false, LackReserve},
			"37, for a way of 36 minutes": {func(p *Plan) { p.Legs[2].Km, p.Internal.Charge = 3, 37*minute(*p) }, false, NoLack},
		} {
			p := fresh(s, drive(.5), stand(.5), drive(.5))
			c.change(&p)
			f := forecast(t, s, p)
			if st := f.Stretches[0]; f.OK != (c.lacks == NoLack) || st.OK != f.OK || st.Lacks != c.lacks {
				t.Errorf("%s, %s: OK %v, %+v", name, situation, f.OK, st)
			}
			if f.StopsAt.IsZero() == c.stops || c.stops && !f.StopsAt.Equal(nine) {
				t.Errorf("%s, %s: stops at %v", name, situation, f.StopsAt)
			}
			for _, r := range f.Rows {
				if c.stops && (r.Inside != Band{} || r.Minutes != Band{} || r.Source != setup.None) {
					t.Errorf("%s, %s: %+v", name, situation, r)
				}
			}
		}
	}
}

// The reserve counts where mains is left, though a chair that charges it on the
// way would have filled it before the last wait.
func TestTheReserveCountsWhereMainsIsLeft(t *testing.T) {
	s := demo(t, "chair-7") // its chair charges the internal battery
	for minutes, want := range map[setup.Minutes]Lack{18: LackReserve, 60: NoLack} {
		p := fresh(s, Leg{Kind: Mains, Minutes: minutes, Adapter: true}, drive(1), stand(2), drive(1))
		p.Internal.Charge = 0
		f := forecast(t, s, p)
		if st := f.Stretches[0]; st.Lacks != want || f.OK != (want == NoLack) || f.Worst.any(Stops) {
			t.Errorf("after %g min at mains: OK %v, %+v", float64(minutes), f.OK, st)
		}
	}
}

// Leaving home is a changeover: with a dead internal battery the ventilator
// stops at once, and nothing starts it again, full chair, charger, mains or not.
func TestLeavingHomeWithADeadInternalBattery(t *testing.T) {
	for _, name := range setup.DemoNames {
		s := demo(t, name)
		f := forecast(t, s, fresh(s, stand(1), atMains(1, true, true), drive(1)).with(t, s, "internal=dead"))
		for end, tr := range map[string]*Track{"worst": &f.Worst, "typical": &f.Typical} {
			if len(tr.Events) < 2 || tr.Events[0].What != Leaves || tr.Events[1].What != Stops || tr.Events[1].Seconds != 0 || tr.Events[1].Source != setup.None {
				t.Errorf("%s, %s: %+v", name, end, tr.Events)
			}
			if tr.on(setup.Chair) || tr.on(setup.Mains) || tr.Energy.Delivered > 0 {
				t.Errorf("%s, %s: it started again: %+v", name, end, tr.Events)
			}
		}
		if f.OK || f.First != InsideOut || !f.FirstAt.Equal(nine) || !f.StopsAt.Equal(nine) || !f.Stretches[0].Never() {
			t.Errorf("%s: OK %v, %s at %v, stops at %v, %+v", name, f.OK, f.First, f.FirstAt, f.StopsAt, f.Stretches)
		}
		// The same dead battery stops nothing while mains is never left.
		if tr := track(t, s, fresh(s, atMains(5, true, false)).with(t, s, "internal=dead"), true); tr.any(Stops) {
			t.Errorf("%s, staying on mains: %+v", name, tr.Events)
		}
	}
}

// A minute at an outlet that only charges the chair, then a long way in an old
// pack: one waits no longer there than planned, however much it charges.
func TestAWaitThatChargesIsNotStretched(t *testing.T) {
	s := demo(t, "chair-7")
	for _, minutes := range []setup.Minutes{1, 30, 240} {
		p := fresh(s, Leg{Kind: Mains, Minutes: minutes, ChairCharger: true}, drive(4))
		p.charge(.99)
		p.Chair.Years = 8
		st := forecast(t, s, p).Stretches[0]
		if st.LeaveBy.After(st.Sets) || st.LeaveBy.After(st.MainsBy) || !st.Sets.Equal(nine.Add(time.Duration(minutes)*time.Minute)) {
			t.Errorf("%g min: %+v", float64(minutes), st)
		}
	}
}

// A spent pack that carries only while the chair's charger lifts it: the supply
// ends as that is unplugged, and nothing is left for finding the next outlet.
func TestASupplyThatEndsWithItsChargerIsNoMargin(t *testing.T) {
	s := demo(t, "chair-12")
	for charge, want := range map[float64]Lack{0: LackMargin, .6: NoLack} {
		p := fresh(s, Leg{Kind: Mains, Minutes: 2, ChairCharger: true}, atMains(1, true, true))
		p.charge(charge)
		f := forecast(t, s, p)
		if st := f.Stretches[0]; f.Worst.on(setup.Internal) || st.Lacks != want || f.OK != (want == NoLack) || f.OK && st.LeaveBy.Before(st.Sets) {
			t.Errorf("charge %g: OK %v, %+v, %+v", charge, f.OK, st, f.Worst.Events)
		}
	}
}

// Standing a minute where mains is changes nothing about the way there.
func TestAMinuteAtTheEndChangesNoVerdict(t *testing.T) {
	seen := map[Lack]int{}
	for _, name := range setup.DemoNames {
		s := demo(t, name)
		for minutes := 8.0; minutes <= 368; minutes += 20 { // 128 among them
			p := fresh(s, drive(2), stand(minutes/60), drive(2))
			p.charge(.5)
			p.Chair.Years = 4
			f := forecast(t, s, p)
			p.Legs = append(p.Legs, stand(1./60))
			g := forecast(t, s, p)
			a, b := f.Stretches[0], g.Stretches[0]
			seen[a.Lacks]++
			if f.OK != g.OK || a.OK != b.OK || a.Lacks != b.Lacks || a.Travel != b.Travel || !a.Sets.Equal(b.Sets) || a.Never() != b.Never() {
				t.Errorf("%s, %g min: OK %v, %+v\nwith a minute after it %v, %+v", name, minutes, f.OK, a, g.OK, b)
			}
			if d := a.LeaveBy.Sub(b.LeaveBy).Abs(); d > 2*time.Minute {
				t.Errorf("%s, %g min: leave-by moves by %v", name, minutes, d)
			}
		}
	}
	if seen[NoLack] == 0 || seen[LackMargin] == 0 || seen[LackSupply] == 0 {
		t.Errorf("no verdict of each sort: %v", seen)
	}
}

// A chair that stops driving on the way never comes to the mains of the plan:
// no row has it there, and nothing charges.
func TestAStrandedChairReachesNoMains(t *testing.T) {
	for _, cutOut := range []setup.Volts{21, 18} { // where the supply ends first, and where driving does
		for _, name := range []string{"chair-12", "chair-21"} {
			s := demo(t, name)
			converter(s).CutOut, converter(s).Restart = cutOut, cutOut+1
			p := fresh(s, drive(6), atMains(3, true, true), drive(1))
			p.charge(.4)
			p.Chair.Years = 4
			f := forecast(t, s, p)
			tr := &f.Worst
			stranded := tr.when(t, Stranded, "")
			if stranded >= 6./5*3600 || tr.on(setup.Mains) || tr.any(Arrives) || tr.Energy.Charged != 0 {
				t.Errorf("%s, cut-out %g V: %+v", name, float64(cutOut), tr.Events)
			}
			for _, r := range f.Rows {
				if r.Leg > 0 && !r.Worst && (r.What != NotThere || r.Source == setup.Mains || r.Km.Worst != 0) {
					t.Errorf("%s, cut-out %g V: %+v", name, float64(cutOut), r)
				}
			}
			out, at := Driving, stranded
			if cutOut == 21 { // the ramp that strands it pulls the converter's input down before
				out, at = ChairSupply, tr.when(t, Changed, setup.Internal)
			}
			if f.OK || f.First != out || !f.FirstAt.Equal(p.When(at)) || f.Stretches[0].Lacks != LackSupply || f.Stretches[1].Lacks != LackSupply {
				t.Errorf("%s, cut-out %g V: OK %v, %s at %v, %+v", name, float64(cutOut), f.OK, f.First, f.FirstAt, f.Stretches)
			}
			if by := f.Stretches[0].MainsBy; by.After(p.When(at)) || p.When(at).Sub(by) > time.Minute {
				t.Errorf("%s, cut-out %g V: mains by %v, it ends %v", name, float64(cutOut), by, p.When(at))
			}
		}
	}
}

// A stranded chair is tilted as the plan has it, and a joint that opens then
// opens there too.
func TestAStrandedChairIsTiltedAllTheSame(t *testing.T) {
	s := demo(t, "chair-12")
	converter(s).CutOut, converter(s).Restart = 12, 13
	p := fresh(s, drive(21), stand(1)).with(t, s, "joint-ventilator=intermittent")
	p.Legs[1].Tilted = true
	tr := track(t, s, p, true)
	begins := tr.when(t, NotThere, "")
	if at := tr.when(t, Changed, setup.Internal); at != begins || tr.when(t, Stranded, setup.Chair) > begins {
		t.Errorf("%+v", tr.Events)
	}
}

// A joint that opens while the chair is tilted, and closes after: be on mains
// by the moment it opens first, not by when the pack would be spent.
func TestMainsByIsTheFirstMomentOffTheChair(t *testing.T) {
	s := demo(t, "chair-12")
	tilted := stand(1)
	tilted.Tilted = true
	opens := nine.Add(12 * time.Minute) // 1 km at 5 km/h
	for situation, legs := range map[string][]Leg{
		"no way after it":       {drive(1), tilted, stand(1)},
		"a way after it":        {drive(1), tilted, stand(1), drive(1)},
		"a way before and none": {drive(1), tilted, drive(.5), stand(1)},
	} {
		f := forecast(t, s, fresh(s, legs...).with(t, s, "joint-ventilator=intermittent"))
		if st := f.Stretches[0]; f.OK || st.Lacks != LackSupply || !st.MainsBy.Equal(opens) || f.First != ChairSupply || !f.FirstAt.Equal(opens) {
			t.Errorf("%s: OK %v, %s at %v, %+v", situation, f.OK, f.First, f.FirstAt, st)
		}
		if back := last(f.Worst.Samples); back.Source != setup.Chair {
			t.Errorf("%s: at the end on %s", situation, back.Source)
		}
	}
}

// Neither chair nor internal battery: something runs out, and at once.
func TestNothingToLiveOnAwayFromMains(t *testing.T) {
	s := demo(t, "chair-12")
	p := fresh(s, drive(1), stand(1)).with(t, s, "inlet-switch=off")
	p.Internal.Charge = 0
	if f := forecast(t, s, p); f.OK || f.First == NothingOut || !f.FirstAt.Equal(nine) || !f.StopsAt.Equal(nine) {
		t.Errorf("OK %v, %s at %v, stops at %v", f.OK, f.First, f.FirstAt, f.StopsAt)
	}
	// With a full one, the supply is missing from the start, and it stops later.
	p.Internal.Charge = 1
	p.Legs = []Leg{stand(10)}
	f := forecast(t, s, p)
	if f.OK || f.First != ChairSupply || !f.FirstAt.Equal(nine) || !f.StopsAt.Equal(p.When(f.Worst.when(t, Stops, setup.None))) {
		t.Errorf("OK %v, %s at %v, stops at %v", f.OK, f.First, f.FirstAt, f.StopsAt)
	}
}

// Legs at mains alone, on which the internal battery carries: never OK.
func TestAtMainsButOnTheInternalBattery(t *testing.T) {
	for _, c := range []struct {
		chair  string
		faults []string
	}{
		{"chair-7", []string{"adapter=failed"}}, // its plug keeps the chair's lead out of the one inlet
		{"chair-7", []string{"outlet=tripped"}},
		{"chair-12", []string{"cord=open", "fuse=blown"}},
		{"chair-21", []string{"adapter=wrong-type", "converter=failed"}},
		{"chair-21", []string{"adapter=failed", "isolator=off", "fuse=missing"}},
	} {
		s := demo(t, c.chair)
		p := fresh(s, atMains(.5, true, true), atMains(.25, true, false)).with(t, s, c.faults...)
		f := forecast(t, s, p)
		if !f.Worst.on(setup.Internal) || f.Worst.on(setup.Mains) || f.Worst.on(setup.Chair) {
			t.Fatalf("%s, %v: %+v", c.chair, c.faults, f.Worst.Events)
		}
		if f.OK || !f.NoMains || f.First != ChairSupply || !f.FirstAt.Equal(nine) || f.Stretches[0].Lacks != LackSupply {
			t.Errorf("%s, %v: OK %v, no mains %v, %s at %v, %+v", c.chair, c.faults, f.OK, f.NoMains, f.First, f.FirstAt, f.Stretches)
		}
	}
}

// A measurement ages from its day: an old one promises less, and with it the
// age of the pack itself no longer counts.
func TestAMeasurementAges(t *testing.T) {
	for _, name := range setup.DemoNames {
		s := demo(t, name)
		minutes := func(measured setup.Minutes, years, since float64) Band {
			p := fresh(s, stand(1))
			p.Chair = Pack{Charges: p.Chair.Charges, Years: years, Measured: measured, Since: since}
			return forecast(t, s, p).Rows[0].OnChair
		}
		for _, measured := range []setup.Minutes{10 * 60, 40 * 60} {
			today, old := minutes(measured, 8, 0), minutes(measured, 8, 3)
			if !(old.Worst < .85*today.Worst && old.Typical < .9*today.Typical) {
				t.Errorf("%s, %g h measured today %v min, three years ago %v", name, float64(measured)/60, today, old)
			}
			if young := minutes(measured, 3, 3); young != old {
				t.Errorf("%s: the pack's age counts beside the measurement's: %v, %v", name, young, old)
			}
		}
	}
}

// Lithium in the heat holds its label and no more; in frost its board takes no
// charge, at mains either.
func TestLithiumInHeatAndFrost(t *testing.T) {
	s := demo(t, "chair-12")
	s.Battery().Chemistry = setup.Lithium
	at := func(celsius float64) Forecast {
		p := fresh(s, stand(1))
		p.Celsius = celsius
		return forecast(t, s, p)
	}
	warm, hot := at(25).Rows[0], at(45).Rows[0]
	if hot.OnChair.Typical > warm.OnChair.Typical || hot.Minutes.Worst > warm.Minutes.Worst {
		t.Errorf("25 °C %+v\n45 °C %+v", warm, hot)
	}
	for celsius, charges := range map[float64]bool{-5: false, -.1: false, 0: true, 20: true} {
		p := fresh(s, atMains(3, true, true))
		p.charge(.4)
		p.Celsius = celsius
		tr := track(t, s, p, false)
		if end := last(tr.Samples).Chair; tr.Energy.Charged > 0 != charges || end > .4+1e-9 != charges {
			t.Errorf("%g °C: %.1f Wh, the pack at %.3f", celsius, tr.Energy.Charged, end)
		}
	}
	// Lead-acid takes its charge in frost too.
	s = demo(t, "chair-12")
	p := fresh(s, atMains(3, true, true))
	p.charge(.4)
	p.Celsius = -5
	if tr := track(t, s, p, false); last(tr.Samples).Chair < .5 {
		t.Errorf("AGM at -5 °C: %+v", last(tr.Samples))
	}
}

// A weak charger against a load near the cut-out takes the chair supply away
// and gives it back every few seconds. Nobody would ride on that, and the run
// stays short.
func TestAChairLostAgainAndAgainIsLost(t *testing.T) {
	s := demo(t, "chair-7")
	for i := range s.Chain {
		if c := s.Chain[i].Converter; c != nil {
			c.Latched = false
		}
	}
	s.Battery().Charger = 1
	p := Usual(s, time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC))
	p.Load, p.Chair.Measured = 40, 200
	p.Legs = []Leg{{Kind: Mains, Minutes: 24 * 60, ChairCharger: true}}
	f := forecast(t, s, p)
	if f.OK || f.First != ChairSupply || len(f.Rows) > 100 || f.Worst.Steps > 20000 {
		t.Errorf("OK %v, %s, %d rows, %d steps %+v", f.OK, f.First, len(f.Rows), f.Worst.Steps, f.Worst.Events[:min(len(f.Worst.Events), 12)])
	}
}
