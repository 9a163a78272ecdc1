package outing

import (
	"cmp"
	"math"
	"slices"
	"testing"
	"time"

	"lampwright/lessons/setup"
)

func forecast(t testing.TB, s *setup.Setup, p Plan) Forecast {
	t.Helper()
	f, err := p.Forecast(s)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// Only an outlet with the ventilator's own adapter ends a stretch; the way to
// mains is what is driven last, and standing after it is no way out of it.
func TestStretchesAreCutWhereMainsIsFound(t *testing.T) {
	s := demo(t, "chair-12") // 5 km/h: 1 km is 12 min
	f := forecast(t, s, fresh(s,
		drive(1), stand(1), atMains(.5, false, true), drive(.5), drive(1), // no adapter: still away
		atMains(1, true, false),
		drive(1), stand(.25),
		atMains(1, true, true), atMains(1, true, false),
	))
	at := func(minutes float64) time.Time { return nine.Add(time.Duration(minutes * float64(time.Minute))) }
	want := []Stretch{
		{First: 0, Last: 4, Begins: at(0), Ends: at(120), Travel: 18 * time.Minute, Sets: at(102)},
		{First: 6, Last: 7, Begins: at(180), Ends: at(207), Travel: 12 * time.Minute, Sets: at(180)},
	}
	if len(f.Stretches) != len(want) {
		t.Fatalf("%d stretches: %+v", len(f.Stretches), f.Stretches)
	}
	for i, got := range f.Stretches {
		if !got.OK || got.Lacks != NoLack {
			t.Errorf("stretch %d: %+v", i, got)
		}
		got.LeaveBy, got.MainsBy, got.OK, got.spares = time.Time{}, time.Time{}, false, 0
		if got != want[i] {
			t.Errorf("stretch %d: %+v\nwant %+v", i, got, want[i])
		}
	}
}

// evenings are plans that wait somewhere and drive to mains, in several
// states; the wait is the leg at index wait.
func evenings(t *testing.T, each func(t *testing.T, s *setup.Setup, p Plan, wait int)) {
	for name, c := range map[string]struct {
		setup string
		plan  func(s *setup.Setup) (Plan, int)
	}{
		"a new pack": {"chair-12", func(s *setup.Setup) (Plan, int) {
			return fresh(s, drive(2), stand(2), drive(2)), 1
		}},
		"an old pack in the cold": {"chair-21", func(s *setup.Setup) (Plan, int) {
			p := fresh(s, drive(1), stand(1), drive(1))
			p.Celsius, p.Chair.Years = 0, 5
			return p, 1
		}},
		"one block, the other one full": {"chair-7", func(s *setup.Setup) (Plan, int) {
			p := fresh(s, drive(.5), stand(1), drive(1.5))
			p.Chair.Charges[0] = .8
			return p, 1
		}},
		"charged on the way": {"chair-12", func(s *setup.Setup) (Plan, int) {
			p := fresh(s, stand(3), atMains(2, true, true), drive(1), stand(1), drive(2))
			p.charge(.6)
			return p, 3
		}},
		"where it leaves from at once": {"chair-21", func(s *setup.Setup) (Plan, int) {
			return fresh(s, stand(2), drive(2)), 0
		}},
	} {
		t.Run(name, func(t *testing.T) {
			s := demo(t, c.setup)
			p, wait := c.plan(s)
			each(t, s, p, wait)
		})
	}
}

// Staying until leave-by and driving then, the chair carries for twice the way
// from setting out: by running it.
func TestLeaveByLeavesTwiceTheWay(t *testing.T) {
	evenings(t, func(t *testing.T, s *setup.Setup, p Plan, wait int) {
		f := forecast(t, s, p)
		st := f.Stretches[len(f.Stretches)-1]
		legs := func(until time.Time) Plan {
			q := p
			q.Legs = slices.Clone(p.Legs)
			begins := p.Leaves
			for _, l := range p.Legs[:wait] {
				begins = begins.Add(time.Duration(l.seconds(s) * 1e9))
			}
			q.Legs[wait] = stand(until.Sub(begins).Hours())
			return q
		}
		q := legs(st.LeaveBy)
		q.Legs = append(q.Legs, stand(100))
		tr := track(t, s, q, true)
		off := 0.0
		for _, ev := range tr.Events {
			if ev.Seconds > st.LeaveBy.Sub(nine).Seconds() && (ev.What == Changed || ev.What == Hunts) {
				off = ev.Seconds
				break
			}
		}
		left := nine.Add(time.Duration(off * 1e9)).Sub(st.LeaveBy)
		if d := left - 2*st.Travel; d < 0 || d > 2*time.Minute {
			// Unless, leaving any later, its ramps end the supply, or the drive, on the way.
			q = legs(st.LeaveBy.Add(2 * time.Minute))
			arrives := st.LeaveBy.Add(2*time.Minute + st.Travel).Sub(nine).Seconds()
			later := track(t, s, q, true)
			if ends := slices.IndexFunc(later.Events, func(ev Event) bool { return ev.What == Stranded || ev.Source == setup.Internal }); d < 0 || ends < 0 || later.Events[ends].Seconds > arrives {
				t.Errorf("leaving at %v, the chair carries %v more, twice the way is %v", st.LeaveBy, left, 2*st.Travel)
			}
		}
		// Five minutes before it the margin is kept, five minutes after it is not.
		for minutes, want := range map[time.Duration]bool{-5: true, 5: false} {
			g := forecast(t, s, legs(st.LeaveBy.Add(minutes*time.Minute)))
			last := g.Stretches[len(g.Stretches)-1]
			if last.OK != want || g.OK != want {
				t.Errorf("leaving %d min from leave-by: the stretch %v, all %v, want %v", minutes, last.OK, g.OK, want)
			}
			// Leave-by does not depend on when it is planned to leave.
			if d := last.LeaveBy.Sub(st.LeaveBy).Abs(); d > time.Minute {
				t.Errorf("leave-by moved by %v", d)
			}
		}
	})
}

// Mains-by is when the chair supply ends in the worst case, if one stays
// standing where the stretch ends.
func TestMainsByIsTheEndOfTheChairSupply(t *testing.T) {
	evenings(t, func(t *testing.T, s *setup.Setup, p Plan, _ int) {
		st := forecast(t, s, p).Stretches
		last := st[len(st)-1]
		p.Legs = append(p.Legs, stand(100))
		tr := track(t, s, p, true)
		for _, ev := range tr.Events {
			if ev.Seconds > last.Begins.Sub(nine).Seconds() && ev.Source == setup.Internal {
				if d := nine.Add(time.Duration(ev.Seconds * 1e9)).Sub(last.MainsBy); d < 0 || d > time.Minute+time.Second {
					t.Errorf("the chair supply ends %v after mains-by", d)
				}
				return
			}
		}
		t.Error("the chair supply never ended")
	})
}

// Where not even leaving at once leaves twice the way, leave-by is when the
// stretch begins, or the wait in it, and nothing is OK.
func TestNoTimeToLeaveIsEarlyEnough(t *testing.T) {
	s := demo(t, "chair-12")
	p := fresh(s, stand(1), drive(10))
	p.charge(.3)
	f := forecast(t, s, p)
	if st := f.Stretches[0]; st.OK || f.OK || st.LeaveBy.After(st.Begins) {
		t.Errorf("%+v", st)
	}
}

func TestWhatRunsOutFirst(t *testing.T) {
	const onTheWay, later = -1, -2 // during the plan, after it
	for situation, c := range map[string]struct {
		plan func(s *setup.Setup) Plan
		out  Out
		at   time.Duration // after leaving; or onTheWay, later
		ok   bool
	}{
		"a short way: the chair supply, long after it": {func(s *setup.Setup) Plan { return fresh(s, drive(1), stand(1), drive(1)) }, ChairSupply, later, true},
		"standing all day": {func(s *setup.Setup) Plan {
			p := fresh(s, stand(48))
			return p
		}, ChairSupply, onTheWay, false},
		"a converter that bears low volts: the chair stops driving before": {func(s *setup.Setup) Plan {
			converter(s).CutOut, converter(s).Restart = 12, 13
			return fresh(s, drive(100))
		}, Driving, onTheWay, false},
		"a dead internal battery, at the changeover": {func(s *setup.Setup) Plan {
			p := fresh(s, atMains(1, true, false), stand(1))
			p.Faults = []setup.Fault{{Part: setup.InternalID, Mode: setup.Dead}}
			return p
		}, InsideOut, time.Hour, false},
		"a cord out at home, the fuse blown: on the internal battery from the start": {func(s *setup.Setup) Plan {
			p := fresh(s, atMains(24, true, false))
			p.Faults = []setup.Fault{{Part: "cord", Mode: setup.Open}, {Part: "fuse", Mode: setup.Blown}}
			return p
		}, ChairSupply, 0, false},
	} {
		t.Run(situation, func(t *testing.T) {
			s := demo(t, "chair-12")
			p := c.plan(s)
			f := forecast(t, s, p)
			if f.First != c.out || f.OK != c.ok {
				t.Fatalf("%s at %v, OK %v; want %s, %v", f.First, f.FirstAt, f.OK, c.out, c.ok)
			}
			end := f.Rows[len(f.Rows)-1].At
			switch {
			case c.at == later && !f.FirstAt.After(end), c.at == onTheWay && !(f.FirstAt.Before(end) && f.FirstAt.After(nine)),
				c.at >= 0 && !f.FirstAt.Equal(nine.Add(c.at)):
				t.Errorf("at %v, the plan is from %v to %v", f.FirstAt, nine, end)
			}
		})
	}
}

// fewest is the least minutes of breathing at the end of any leg that is not
// spent on mains, as the rows have it.
func fewest(f *Forecast, p Plan) float64 {
	least := math.Inf(1)
	for _, r := range f.Rows {
		border := r.What == LegBegins || r.What == Arrives
		if border && (r.Leg == len(p.Legs) || !p.Legs[r.Leg-1].plugged()) {
			least = min(least, r.Minutes.Worst)
		}
	}
	return least
}

// Each help is applied to the plan, which is run again.
func TestHelpsAreTrue(t *testing.T) {
	s := demo(t, "chair-12")
	p := fresh(s, drive(3), atMains(1, false, false), stand(4), atMains(1, true, false), stand(2), drive(2))
	p.charge(.7)
	p.Internal.Charge, p.Celsius, p.Chair.Years = .6, 10, 2
	f := forecast(t, s, p)
	base := fewest(&f, p)
	seen := map[HelpWhat]bool{}
	if !slices.IsSortedFunc(f.Helps, func(a, b Help) int { return cmp.Compare(b.Minutes, a.Minutes) }) {
		t.Errorf("not the most first: %+v", f.Helps)
	}
	for _, h := range f.Helps {
		if seen[h.What] || h.Minutes < 1 {
			t.Errorf("%+v", h)
		}
		seen[h.What] = true
		q := p
		q.Legs = slices.Clone(p.Legs)
		q.Chair.Charges = slices.Clone(p.Chair.Charges)
		switch h.What {
		case ChargeFull:
			q.charge(1)
			q.Internal.Charge = 1
		case ShorterLeg:
			q.Legs[h.Leg].Km /= 2
			q.Legs[h.Leg].Minutes /= 2
		case CarryAdapter:
			q.Legs[h.Leg].Adapter = true
		case CarryCharger:
			q.Legs[h.Leg].ChairCharger = true
		case SpareBattery: // at most what it holds, over the worst draw
			if most := 60 * insideEnergy(s, &p, &worst) / (22 / .82); h.Minutes > most*1.001 {
				t.Errorf("a spare of %.0f min adds %.0f", most, h.Minutes)
			}
			continue
		}
		g := forecast(t, s, q)
		if gain := fewest(&g, q) - base; math.Abs(gain-h.Minutes) > .05 {
			t.Errorf("%+v, but running it again gives %.2f min more", h, gain)
		}
	}
	for _, w := range []HelpWhat{ChargeFull, SpareBattery, ShorterLeg, CarryAdapter, CarryCharger} {
		if !seen[w] {
			t.Errorf("%s was not offered: %+v", w, f.Helps)
		}
	}
}

// Without mains on the way, a spare adds all that it holds.
func TestASpareBatteryAddsWhatItHolds(t *testing.T) {
	s := demo(t, "chair-12")
	p := fresh(s, drive(1), stand(1))
	for _, h := range forecast(t, s, p).Helps {
		if h.What == SpareBattery {
			near(t, "minutes", h.Minutes, 210*.85*.82, .001)
			return
		}
	}
	t.Error("it was not offered")
}

// What is done already helps no more.
func TestNoHelpThatIsDoneAlready(t *testing.T) {
	s := demo(t, "chair-12")
	p := fresh(s, stand(1), atMains(1, true, true))
	for _, h := range forecast(t, s, p).Helps {
		if h.What == ChargeFull || h.What == CarryAdapter || h.What == CarryCharger {
			t.Errorf("%+v", h)
		}
	}
}

// A row's minutes are those that come, where the plan then stands until the end.
func TestRowsForeseeWhatComes(t *testing.T) {
	s := demo(t, "chair-21")
	p := fresh(s, drive(2), stand(60))
	p.charge(.6)
	f := forecast(t, s, p)
	row := f.Rows[slices.IndexFunc(f.Rows, func(r Row) bool { return r.What == LegBegins })]
	for name, c := range map[string]struct {
		run  *Track
		band func(Band) float64
	}{"worst": {&f.Worst, func(b Band) float64 { return b.Worst }}, "typical": {&f.Typical, func(b Band) float64 { return b.Typical }}} {
		from := row.At.Sub(nine).Seconds()
		near(t, name+" on the chair", c.band(row.OnChair), (c.run.when(t, Changed, setup.Internal)-from)/60, 1e-4)
		near(t, name+" in all", c.band(row.Minutes), (c.run.when(t, Stops, setup.None)-from)/60, 1e-4)
	}
	// The km are those after which it is stranded, or the supply's converter lets go first.
	q := fresh(s, drive(2), drive(200))
	q.charge(.6)
	tr := track(t, s, q, false)
	near(t, "km", row.Km.Typical, (tr.when(t, Stranded, "")-from(row))/3600*5, 1e-3)
}

func from(r Row) float64 { return r.At.Sub(nine).Seconds() }

// The changeover itself rides on the internal battery: with a dead one, going
// off mains stops the ventilator, and no row may promise minutes before it.
func TestADeadInternalBatteryPromisesNothing(t *testing.T) {
	s := demo(t, "chair-12")
	p := Usual(s, time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC))
	p.Faults = []setup.Fault{{Part: setup.InternalID, Mode: setup.Dead}}
	p.Legs = []Leg{{Kind: Mains, Minutes: 30, Adapter: true}, {Kind: Stand, Minutes: 30}, {Kind: Mains, Minutes: 30, Adapter: true}}
	f := forecast(t, s, p)
	if f.OK || f.First != InsideOut || len(f.Stretches) != 1 || f.Stretches[0].OK || f.Rows[0].Minutes.Typical != 0 {
		t.Errorf("%+v", f)
	}
	if last := f.Rows[len(f.Rows)-1]; last.Source != setup.None {
		t.Errorf("it started again by itself: %+v", last)
	}
}

// An intermittent joint opens while the chair is tilted: the wait of the plan
// is tilted, so the margin is not kept.
func TestATiltedWaitCounts(t *testing.T) {
	s := demo(t, "chair-12")
	p := Usual(s, time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC))
	p.Faults = []setup.Fault{{Part: "joint-battery", Mode: setup.Intermittent}}
	p.Legs = []Leg{{Kind: Drive, Km: 1}, {Kind: Stand, Minutes: 30, Tilted: true}, {Kind: Drive, Km: 1}}
	if f := forecast(t, s, p); f.OK || f.Stretches[0].OK || f.First != ChairSupply {
		t.Errorf("%+v", f.Stretches)
	}
	p.Legs[1].Tilted = false
	if f := forecast(t, s, p); !f.OK {
		t.Errorf("upright: %+v", f.Stretches)
	}
}

// Where the second stand is too much, leaving during the first still keeps the
// margin.
func TestLeavingEarlierMayKeepTheMargin(t *testing.T) {
	s := demo(t, "chair-7")
	p := Usual(s, time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC))
	p.Legs = []Leg{{Kind: Stand, Minutes: 400}, {Kind: Drive, Km: 2}, {Kind: Stand, Minutes: 500}, {Kind: Drive, Km: 2}}
	f := forecast(t, s, p)
	st := f.Stretches[0]
	if f.OK || !st.LeaveBy.After(st.Begins) || st.LeaveBy.After(st.MainsBy) {
		t.Errorf("%+v", st)
	}
}
