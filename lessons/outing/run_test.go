package outing

import (
	"math"
	"testing"
	"time"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
)

// nine is a morning on which plans set out.
var nine = time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)

// ran runs a plan, and forecasts nothing, under the typical or the worst assumption.
func ran(s *setup.Setup, p *Plan, atWorst bool) (Track, error) {
	e, err := newEngine(s, p, assumption(atWorst))
	if err != nil {
		return Track{}, err
	}
	e.out()
	return e.track, nil
}

func assumption(atWorst bool) *assumed {
	if atWorst {
		return &worst
	}
	return &typical
}

// out leaves home and runs every leg of the plan.
func (e *engine) out() {
	for i := range e.plan.Legs {
		e.run(e.enter(i), never)
	}
	e.finish()
}

func demo(t testing.TB, name string) *setup.Setup {
	t.Helper()
	s, err := setup.Demo(name)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// fresh is a plan with everything new, full and at 25 °C, so that nothing but
// the situation counts.
func fresh(s *setup.Setup, legs ...Leg) Plan {
	p := Usual(s, nine)
	p.Celsius, p.Legs = 25, legs
	p.charge(1)
	p.Chair.Years, p.Internal.Years, p.Internal.Charge = 0, 0, 1
	return p
}

func (p Plan) with(t testing.TB, s *setup.Setup, faults ...string) Plan {
	t.Helper()
	for _, text := range faults {
		f, err := s.ParseFault(text)
		if err != nil {
			t.Fatal(err)
		}
		p.Faults = append(p.Faults, f)
	}
	return p
}

func track(t testing.TB, s *setup.Setup, p Plan, atWorst bool) Track {
	t.Helper()
	tr, err := ran(s, &p, atWorst)
	if err != nil {
		t.Fatal(err)
	}
	return tr
}

func stand(hours float64) Leg { return Leg{Kind: Stand, Minutes: setup.Minutes(hours * 60)} }
func drive(km float64) Leg    { return Leg{Kind: Drive, Km: setup.Kilometres(km)} }

func atMains(hours float64, adapter, charger bool) Leg {
	return Leg{Kind: Mains, Minutes: setup.Minutes(hours * 60), Adapter: adapter, ChairCharger: charger}
}

// when is the first event of a kind, in seconds; source "" for any.
func (tr *Track) when(t testing.TB, w What, source setup.Source) float64 {
	t.Helper()
	for _, ev := range tr.Events {
		if ev.What == w && (source == "" || ev.Source == source) {
			return ev.Seconds
		}
	}
	t.Fatalf("no %s to %q in %+v", w, source, tr.Events)
	return 0
}

// lossless makes the converter, and all that conducts, give what they take.
func lossless(s *setup.Setup) {
	for i := range s.Chain {
		p := &s.Chain[i]
		switch {
		case p.Converter != nil:
			p.Converter.Idle, p.Converter.Limit = 0, 100
			p.Converter.Efficiency = []setup.Efficiency{{Load: 1000, Ratio: 1}}
		case p.Battery != nil:
			for b := range p.Battery.Blocks {
				p.Battery.Blocks[b].Resistance = 1e-6
			}
		case p.Lead != nil:
			p.Lead.Length = 1e-3
		case p.Joint != nil:
			p.Joint.Contact = 1e-6
		case p.Tap != nil:
			p.Tap.Resistance = 1e-6
		case p.Plug != nil:
			p.Plug.Contact = 1e-6
		case p.Fuse != nil:
			p.Fuse.Cold, p.Fuse.Holder, p.Fuse.Rating = 1e-6, 1e-6, 40
		}
	}
	for i := range s.Ventilator.Inlets {
		s.Ventilator.Inlets[i].Contact = 1e-6
	}
	s.Ventilator.Draw.Peak = s.Ventilator.Draw.High // an even breath
}

func converter(s *setup.Setup) *setup.Converter {
	for i := range s.Chain {
		if c := s.Chain[i].Converter; c != nil {
			return c
		}
	}
	return nil
}

// A lithium block's volts by charge, as lessons/circuit has them from memory,
// give 13.07 V on average: (11.4·.1 + 12.95·.4 + 13.2·.4 + 13.45·.1). Two of 60
// Ah hold 60·2·12.945 Wh; the converter cuts out at 20 V, when they are spent.
func TestLithiumStandsForItsEnergyOverThePower(t *testing.T) {
	s := demo(t, "chair-12")
	lossless(s)
	s.Battery().Chemistry = setup.Lithium
	converter(s).CutOut = 20
	p := fresh(s, stand(200))
	for _, watts := range []setup.Watts{15, 22, 35} {
		p.Load = watts
		tr := track(t, s, p, false)
		average := 11.4*.1 + 12.95*.4 + 13.2*.4 + 13.45*.1
		hours := 60 * 2 * average / float64(watts)
		near(t, "hours", tr.when(t, Changed, setup.Internal)/3600, hours, .01)
		near(t, "Wh from the pack", tr.Energy.Pack, 60*2*average, .01)
	}
}

// At the 20-hour rate or less an AGM pack gives its label; above it, t = Cp/I^k.
// The volts fall from 25.4 V to the cut-out, so that the hours lie between
// those at the two currents, and within a hundredth of summing a thousandth of
// the charge at a time.
func TestAGMAgainstPeukertByHand(t *testing.T) {
	s := demo(t, "chair-12")
	lossless(s)
	p := fresh(s, stand(100))
	const k = 1.10
	peukert := func(amps float64) float64 { return 20 * math.Pow(3/amps, k) } // 60 Ah in 20 h at 3 A
	for _, watts := range []float64{40, 100, 200} {
		p.Load = setup.Watts(watts)
		s.Ventilator.Draw.Peak = s.Ventilator.Draw.High
		tr := track(t, s, p, false)
		hours := tr.when(t, Changed, setup.Internal) / 3600
		if watts == 40 { // 1.6 A: no more than the label
			near(t, "below the 20-hour rate", hours*watts, 60*2*(11.05*.1+11.7*.2+11.95*.2+12.2*.2+12.4*.1+12.6*.2), .01)
			continue
		}
		soonest, latest := peukert(watts/21), peukert(watts/25.4)
		if hours < soonest || hours > latest {
			t.Errorf("%g W: %.3f h, Peukert %.3f to %.3f", watts, hours, soonest, latest)
		}
		sum := 0.0
		for i := range 1000 {
			amps := watts / (2 * circuit.OpenCircuit(setup.AGM, (float64(i)+.5)/1000))
			sum += peukert(amps) / 1000
		}
		near(t, "hours", hours, sum, .01)
	}
}

// Tested today at 210 minutes, at 25 °C and the usual draw, it is expected to
// give 210; the worst case takes 15 % for the test and 18 % for the breath.
func TestInternalBatteryGivesItsTestedMinutes(t *testing.T) {
	s := demo(t, "chair-12")
	p := fresh(s, stand(10)).with(t, s, "fuse=blown")
	for _, c := range []struct {
		situation string
		change    func(*Plan)
		worst     bool
		minutes   float64
	}{
		{"tested today", func(*Plan) {}, false, 210},
		{"tested today, at worst", func(*Plan) {}, true, 210 * .85 * .82},
		{"half full", func(p *Plan) { p.Internal.Charge = .5 }, false, 105},
		{"at half the draw", func(p *Plan) { p.Load = 11 }, false, 420},
		{"tested a year ago", func(p *Plan) { p.Internal.Years = 1 }, false, 210 * .9},
		{"never tested", func(p *Plan) { p.Internal.Measured = 0 }, false, 95 * .8 / 22 * 60},
		{"never tested, at worst", func(p *Plan) { p.Internal.Measured = 0 }, true, 95 * .5 / 22 * 60 * .82},
		{"tested at more than its label holds", func(p *Plan) { p.Internal.Measured = 1000 }, false, 95. / 22 * 60},
		{"at freezing", func(p *Plan) { p.Celsius = 0 }, false, 210 * .8},
		{"in the heat", func(p *Plan) { p.Celsius = 40 }, false, 210},
	} {
		q := p
		c.change(&q)
		tr := track(t, s, q, c.worst)
		near(t, c.situation, tr.when(t, Stops, setup.None)/60, c.minutes, .002)
		draw := float64(q.Load)
		if c.worst {
			draw /= .82
		}
		near(t, c.situation+", Wh", tr.Energy.Inside, draw*c.minutes/60, .002)
	}
}

// 6 A of 60 Ah blocks, 85 % of it kept (M): 60·0.3/(6·0.85) h from a half to
// four fifths. The fuse is out, so that the converter takes nothing meanwhile.
func TestChairChargerBringsThePackUp(t *testing.T) {
	s := demo(t, "chair-12")
	p := fresh(s, atMains(12, true, true)).with(t, s, "fuse=blown")
	p.charge(.5)
	tr := track(t, s, p, false)
	for _, x := range tr.Samples {
		if x.Chair >= .8-1e-6 {
			near(t, "hours to four fifths", x.Seconds/3600, 60*.3/(6*.85), .001)
			break
		}
	}
	last := tr.Samples[len(tr.Samples)-1]
	if last.Chair < .98 || last.Chair > 1 {
		t.Errorf("after twelve hours it is at %.3f", last.Chair)
	}
	// From four fifths on it falls straight to nothing at full, so that what is
	// missing halves every ln 2 · 60·0.2/(6·0.85) h (C).
	for _, x := range tr.Samples {
		if x.Chair >= .9-1e-4 {
			near(t, "hours to nine tenths", x.Seconds/3600, 60*.3/(6*.85)+math.Ln2*60*.2/(6*.85), .002)
			break
		}
	}
}

// At an outlet without the adapter, the chair's charger meets the ventilator's
// load: the pack settles where the two are equal, and stays.
func TestChargerAgainstALoadSettles(t *testing.T) {
	for _, hours := range []float64{6, 12, 24, 48, 100} {
		s := demo(t, "chair-12")
		for i := range s.Battery().Blocks {
			s.Battery().Blocks[i].Capacity = 15
		}
		p := fresh(s, atMains(hours, false, true))
		tr := track(t, s, p, false)
		// 22 W and the losses are some 1 A of the charger's 6: five sixths of the
		// taper from four fifths up.
		for _, x := range tr.Samples[len(tr.Samples)/2:] {
			if x.Chair < .95 || x.Chair > .98 {
				t.Errorf("%g h: at %.0f s it is at %.4f", hours, x.Seconds, x.Chair)
				break
			}
		}
	}
}

// The internal battery's charger: 40 W of mains into 77 Wh, 99 % of it kept.
func TestMainsChargesTheInternalBattery(t *testing.T) {
	s := demo(t, "chair-12")
	p := fresh(s, atMains(3, true, false))
	p.Internal.Charge = .2
	tr := track(t, s, p, false)
	for _, x := range tr.Samples {
		if x.Inside >= .8-1e-6 {
			near(t, "hours to four fifths", x.Seconds/3600, 77*.6/(40*.99), .001)
			return
		}
	}
	t.Error("it never came to four fifths")
}

// A charge comes ever nearer to full, whatever the leg's length, and a block
// that is full before another takes no more.
func TestChargingEndsAtFull(t *testing.T) {
	s := demo(t, "chair-12")
	for _, hours := range []float64{5, 5.1, 7, 24} {
		p := fresh(s, atMains(hours, true, true))
		p.Chair.Charges = []float64{.5, .9}
		p.Internal.Charge = .2
		e, err := newEngine(s, &p, &typical)
		if err != nil {
			t.Fatal(err)
		}
		e.out()
		if got := e.at[inside]; got < .99 || got > 1 {
			t.Errorf("%g h: the internal battery is at %.5f", hours, got)
		}
		for i, got := range e.at[:e.blocks] {
			if got < .8 || got > 1+1e-5 {
				t.Errorf("%g h: block %d is at %.5f", hours, i+1, got)
			}
		}
	}
}

// The chair lets go when the top of a breath pulls the converter's input to
// its cut-out: by hand, with the chain's resistance added up from the file.
func TestCutOutIsWhereTheInputReadsTheCutOutVolts(t *testing.T) {
	s := demo(t, "chair-12")
	p := fresh(s, stand(100))
	tr := track(t, s, p, false)
	at := tr.when(t, Changed, setup.Internal)
	charge, _ := tr.at(at)
	leads := setup.CopperLoop(.4, setup.AWG(14), 25) + setup.CopperLoop(.6, setup.AWG(14), 25)
	ohms := 2*.004 + .001 + .0097 + .001 + float64(leads)
	behind := .001 + .002 + .002 + float64(setup.CopperLoop(.5, setup.AWG(16), 25)+setup.CopperLoop(.6, setup.AWG(16), 25))
	peak := 22 * 60. / 35 // W, the top of a breath at the usual setting
	inlet, _ := circuit.UpperRoot(13.8, behind, peak)
	out := 13.8 * peak / inlet
	// Its losses run straight between 30 W at 88 % and 110 W at 86 %.
	lost := 30*(1/.88-1) + (110*(1/.86-1)-30*(1/.88-1))*(out-30)/80
	input, ok := circuit.UpperRoot(2*circuit.OpenCircuit(setup.AGM, charge), ohms, out+lost)
	if !ok || math.Abs(input-21) > .002 {
		t.Errorf("at %.0f s, charge %.5f, the input reads %.4f V, the cut-out is 21 V", at, charge, input)
	}
}

// A chair stops where a ramp, not the way on the level, pulls its two blocks
// down to 10.5 V each (1.75 V a cell, M): by hand.
func TestAChairIsStrandedByItsRamp(t *testing.T) {
	s := demo(t, "chair-12")
	s.Drive.Ramp = 600
	p := fresh(s, drive(100)).with(t, s, "fuse=blown") // the motors alone
	tr := track(t, s, p, false)
	charge, _ := tr.at(tr.when(t, Stranded, ""))
	volts, ok := circuit.UpperRoot(2*circuit.OpenCircuit(setup.AGM, charge), 2*.004, 600)
	if !ok || math.Abs(volts-21) > .005 {
		t.Errorf("at charge %.5f a ramp pulls the pack to %.4f V", charge, volts)
	}
}

// Whatever its cut-out, a pack gives no more than it holds.
func TestASpentPackGivesNoMore(t *testing.T) {
	for _, cutOut := range []setup.Volts{21, 18, 12, 1} {
		s := demo(t, "chair-12")
		converter(s).CutOut = cutOut
		p := fresh(s, stand(200))
		e, err := newEngine(s, &p, &typical)
		if err != nil {
			t.Fatal(err)
		}
		e.out()
		for i := range e.blocks {
			if e.at[i] < -.02 {
				t.Errorf("cut-out %g V: block %d gave %.1f %% more than it holds", cutOut, i+1, -100*e.at[i])
			}
		}
	}
}

// A converter that only idles cuts out too where driving pulls the pack down,
// and takes nothing from then on: seen at the second, however long the leg is.
func TestAnIdleConverterCutsOut(t *testing.T) {
	s := demo(t, "chair-12")
	whole := fresh(s, drive(10)).with(t, s, "inlet-chair=failed")
	whole.Chair.Charges = []float64{1, .1}
	parts := whole
	parts.Legs = nil
	for range 100 {
		parts.Legs = append(parts.Legs, drive(.1))
	}
	near(t, "Wh lost", track(t, s, whole, false).Energy.Lost, track(t, s, parts, false).Energy.Lost, .01)
}

// The changeover from mains rides on the internal battery: a dead one stops
// the ventilator there, the chair's supply or not.
func TestDeadInternalBatteryStopsItWhereMainsIsLeft(t *testing.T) {
	for _, name := range setup.DemoNames {
		s := demo(t, name)
		p := fresh(s, atMains(.5, true, false), stand(1)).with(t, s, "internal=dead")
		near(t, name, func() float64 { tr := track(t, s, p, true); return tr.when(t, Stops, setup.None) }(), 1800, 1e-6)
		f, err := p.Forecast(s)
		if err != nil {
			t.Fatal(err)
		}
		if f.OK || f.First != InsideOut || !f.FirstAt.Equal(nine.Add(30*time.Minute)) {
			t.Errorf("%s: OK %v, first %s at %v", name, f.OK, f.First, f.FirstAt)
		}
		sound := fresh(s, atMains(.5, true, false), stand(1))
		if tr := track(t, s, sound, true); tr.Samples[len(tr.Samples)-1].Source != setup.Chair {
			t.Errorf("%s, sound: %+v", name, tr.Events)
		}
	}
}

// A latched converter that has cut out stays dark until staff reset it; one
// that restarts by itself comes back when its pack was charged.
func TestLatchedConverterDoesNotComeBack(t *testing.T) {
	for _, latched := range []bool{true, false} {
		s := demo(t, "chair-12")
		converter(s).Latched = latched
		p := fresh(s, stand(14), atMains(10, true, true), stand(1))
		p.charge(.2)
		tr := track(t, s, p, false)
		if at := tr.when(t, Changed, setup.Internal); at >= 14*3600 {
			t.Fatalf("it did not cut out: %+v", tr.Events)
		}
		want := map[bool]setup.Source{true: setup.Internal, false: setup.Chair}[latched]
		if got := tr.Samples[len(tr.Samples)-1]; got.Source != want || got.Chair < .8 {
			t.Errorf("latched %v: at the end on %s with the pack at %.2f, want %s", latched, got.Source, got.Chair, want)
		}
	}
}

// Joint half home at 3 Ω: the top of a breath (38 W) pulls the input below 21 V
// and the converter trips; unloaded it is back above 23.5 V. It lets go after
// the hold-up of 20 ms, stays away for the inlet's delay and the converter's
// 1 s, and then holds until the next breath, 4 s after the last.
func TestHuntingByHand(t *testing.T) {
	for _, c := range []struct {
		delay        setup.Seconds
		period, held float64
	}{
		{3, 4.02, .02},       // away 4 s: back on the very next breath
		{2, 4.02, 1.02},      // away 3 s of 4
		{4, 8.02, 3.02},      // away 5 s: a breath is missed
		{8.5, 12.02, 2.52},   // away 9.5 s of 12
		{11.5, 16.02, 3.52},  // away 12.5 s of 16
		{3.001, 8.02, 4.019}, // just misses the next breath
	} {
		s := demo(t, "chair-12")
		s.Ventilator.InletFor(setup.Chair).Delay = c.delay
		p := fresh(s, stand(1)).with(t, s, "joint-battery=half-home:3")
		tr := track(t, s, p, false)
		last := tr.Events[0]
		if last.What != Leaves || math.Abs(last.Period-c.period) > 1e-9 || math.Abs(last.Held-c.held/c.period) > 1e-9 {
			t.Errorf("delay %g s: %+v, want period %g s, held %g s", c.delay, last, c.period, c.held)
		}
		share := c.held / c.period
		near(t, "Wh from the internal battery", tr.Energy.Inside, 22*(1-share), 1e-6)
		near(t, "Wh from the chair", tr.Energy.Delivered, 22*share, 1e-6)
	}
	// The worst draw trips it on the average already: only the hold-up is left.
	s := demo(t, "chair-12")
	p := fresh(s, stand(1)).with(t, s, "joint-battery=half-home:3")
	if tr := track(t, s, p, true); math.Abs(tr.Events[0].Held-.02/4.02) > 1e-9 || tr.Energy.Delivered != 0 {
		t.Errorf("at worst: %+v, %+v", tr.Events[0], tr.Energy)
	}
}

// A set-up with a 3 A fuse. What flows is a multiple of its rating, and the
// fuse opens when its gates say: soonest at worst, latest in the typical case.
func TestTooSmallAFuseOpensByItsGates(t *testing.T) {
	s := demo(t, "chair-12")
	s.Ventilator.Draw.Peak = s.Ventilator.Draw.High // an even breath
	converter(s).Limit = 20
	s.Part("fuse").Fuse.Rating = 3
	// At 25 °C the next warmer column holds: 3 A carries 2.4 A.
	for _, c := range []struct {
		watts     setup.Watts
		from, to  float64 // multiples of the rating
		low, high gatePair
	}{
		{72, 1.35, 1.60, gatePair{1.35, .75, 600}, gatePair{1.60, .25, 50}},
		{90, 1.60, 2.00, gatePair{1.60, .25, 50}, gatePair{2.00, .15, 5}},
	} {
		p := fresh(s, stand(2))
		p.Load = c.watts
		n, err := circuit.Build(s, p.Faults, 25)
		if err != nil {
			t.Fatal(err)
		}
		var pt circuit.Point
		n.Solve(&circuit.Moment{Load: float64(c.watts), Inside: 1, Blocks: []float64{1, 1}}, &pt)
		times := pt.Amps / 2.4
		if times < c.from || times > c.to {
			t.Fatalf("%g W is %.2f times the rating, not in %g to %g", c.watts, times, c.from, c.to)
		}
		share := math.Log(times/c.low.times) / math.Log(c.high.times/c.low.times)
		latest := math.Pow(c.low.latest, 1-share) * math.Pow(c.high.latest, share)
		tr := track(t, s, p, false)
		at := tr.when(t, FuseOpens, "")
		if math.Abs(at-latest) > 1.1+.05*latest {
			t.Errorf("%g W: opens after %.1f s, its gates say %.1f", c.watts, at, latest)
		}
		if tr.when(t, Changed, setup.Internal) < at {
			t.Errorf("%g W: the source changed before the fuse", c.watts)
		}
		// At worst the draw is higher and the soonest gate counts: within seconds.
		if w := track(t, s, p, true); w.when(t, FuseOpens, "") > 2 {
			t.Errorf("%g W at worst: %g s", c.watts, w.when(t, FuseOpens, ""))
		}
	}
	// What it carries all day it carries all day.
	p := fresh(s, stand(10))
	if tr := track(t, s, p, true); len(tr.Events) != 2 {
		t.Errorf("a small load: %+v", tr.Events)
	}
	// The 30 A fuse that someone put in its place opens for nothing.
	p = fresh(s, stand(2)).with(t, s, "fuse=wrong-type")
	p.Load = 90
	for _, ev := range track(t, s, p, false).Events {
		if ev.What == FuseOpens {
			t.Errorf("a fuse too large opens: %+v", ev)
		}
	}
}

type gatePair struct{ times, soonest, latest float64 }
