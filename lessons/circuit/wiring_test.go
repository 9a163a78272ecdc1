package circuit_test

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
	"lampwright/locales/problem"
)

func wiring(t testing.TB, s *setup.Setup, celsius float64) circuit.WiringReport {
	t.Helper()
	r, err := circuit.Wiring(s, celsius)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// row is the one row about something.
func row(t testing.TB, r circuit.WiringReport, what string) circuit.WiringRow {
	t.Helper()
	i := slices.IndexFunc(r.Rows, func(r circuit.WiringRow) bool { return r.What == what })
	if i < 0 {
		t.Fatalf("no row %s in %+v", what, r.Rows)
	}
	return r.Rows[i]
}

// rating is what was found of one rating, and what it fails by.
func rating(t testing.TB, r circuit.WiringReport, amps setup.Amps) (ok bool, by []string) {
	t.Helper()
	for _, f := range r.Ratings {
		if f.Amps == amps {
			return f.OK, whats(f.Failed)
		}
	}
	t.Fatalf("no rating %g", amps)
	return false, nil
}

func whats(rows []circuit.WiringRow) []string {
	var all []string
	for _, row := range rows {
		all = append(all, row.What)
	}
	return all
}

func failing(rows []circuit.WiringRow) []circuit.WiringRow {
	var all []circuit.WiringRow
	for _, row := range rows {
		if !row.OK {
			all = append(all, row)
		}
	}
	return all
}

// straight is Chair 12 with no converter: the inlet lets go below 20 V, so a
// load of 20 W takes 1 A in the worst case. What it breathes is set to take
// these amps, and its joints, plug and holder carry anything.
func straight(t testing.TB, amps, peak float64) *setup.Setup {
	s := demo(t, "chair-12")
	s.Chain = slices.DeleteFunc(s.Chain, func(p setup.Part) bool { return p.Converter != nil })
	in := s.Ventilator.InletFor(setup.Chair)
	in.Low, in.High = 20, 30
	s.Ventilator.Draw.High, s.Ventilator.Draw.Peak = setup.Watts(20*amps), setup.Watts(20*peak)
	for i := range s.Chain {
		switch p := &s.Chain[i]; {
		case p.Joint != nil:
			p.Joint.Rating = 100
		case p.Plug != nil:
			p.Plug.Rating = 100
		case p.Fuse != nil:
			p.Fuse.Most = 100
		}
	}
	return s
}

func leads(s *setup.Setup, size setup.SquareMM) {
	for i := range s.Chain {
		if l := s.Chain[i].Lead; l != nil {
			l.Conductor = size
		}
	}
}

// By hand, at 65 °C, where copper has 1.177 times its resistance at 20 °C:
//
// Chair 12: 35 W and 60 W. Behind the converter 2 × 1.1 m × 13.174 mΩ/m × 1.177
// = 34.1 mΩ and 1 + 2 + 2 mΩ of contacts. 35 W / 13.700 V = 2.555 A, 35.26 W;
// lost 4.091 + 5.26 × (17.907 − 4.091)/80 = 5.00 W; 40.26 W / 21 V = 1.917 A.
// 60 W / 13.628 V = 4.403 A, 60.76 W; lost 9.40 W; 70.16 W / 21 V = 3.341 A.
// Least: 3.341/0.8 = 4.18, 1.917/0.75 = 2.56, so 5 A. Most: wire 18 A, joint 15 A, holder 20 A: 15 A.
//
// Chair 21: 28 W and 45 W, the same chain. 2.041 A, 28.16 W, lost 2.195 + 18.16
// × (4.091 − 2.195)/20 = 3.92 W; 32.08 W / 21 V = 1.528 A. 3.292 A, 45.42 W,
// lost 6.75 W; 52.18 W / 21 V = 2.485 A. Least: 3.11, 2.04, so 4 A.
//
// Chair 7: 30 W and 50 W with 15 W of charging. Behind the converter 2 × 0.8 m
// × 11.494 mΩ/m × 1.177 = 21.6 mΩ and 5 mΩ. 45 W / 23.95 V = 1.879 A, 45.09 W;
// lost 4.444 + 5.09 × (14.345 − 4.444)/56 = 5.35 W; 50.44 W / 10.5 V = 4.804 A.
// 65 W: 2.717 A, 65.20 W, lost 8.90 W; 74.10 W / 10.5 V = 7.057 A. Least: 8.82,
// 6.41, so 10 A. Most: 2.5 mm² counts as 14 AWG, 18 A; joint 15 A: 15 A.
//
// That 10 A is the usual fuse is common practice, no source.
func TestWiringOfTheDemoSetUps(t *testing.T) {
	for name, want := range map[string]struct {
		volts       setup.Volts
		amps, peak  float64
		least, most setup.Amps
	}{
		"chair-12": {21, 1.917, 3.341, 5, 15},
		"chair-21": {21, 1.528, 2.485, 4, 15},
		"chair-7":  {10.5, 4.804, 7.057, 10, 15},
	} {
		t.Run(name, func(t *testing.T) {
			r := wiring(t, demo(t, name), 65)
			w := r.Worst
			if w.Volts != want.volts || math.Abs(float64(w.Amps)-want.amps) > .001 || math.Abs(float64(w.PeakAmps)-want.peak) > .001 || w.Column != 65 {
				t.Errorf("worst case %+v", w)
			}
			if r.Least != want.least || r.Most != want.most || r.Fitted != 10 {
				t.Errorf("window %g to %g A, fitted %g A", r.Least, r.Most, r.Fitted)
			}
			if ok, by := rating(t, r, 10); !ok || len(failing(r.Rows)) > 0 || !r.OK {
				t.Errorf("10 A fails by %v, the chain by %+v", by, failing(r.Rows))
			}
			if ok, by := rating(t, r, 2); ok || !slices.Contains(by, "share") || slices.Contains(by, "wire") {
				t.Errorf("2 A: %t by %v", ok, by)
			}
			if ok, by := rating(t, r, 30); ok || !slices.Equal(by, []string{"wire", "joint", "holder"}) {
				t.Errorf("30 A: %t by %v", ok, by)
			}
			for _, f := range r.Ratings {
				if f.OK != (f.Amps >= r.Least && f.Amps <= r.Most) {
					t.Errorf("%g A: %t, in a window of %g to %g A", f.Amps, f.OK, r.Least, r.Most)
				}
			}
		})
	}
}

func TestThreeAmpsIsTooLittle(t *testing.T) {
	for name, want := range map[string][]string{
		"chair-12": {"warm"}, // 3.341 A of 2.4 A
		"chair-21": {"warm"}, // 2.485 A of 2.4 A
		"chair-7":  {"warm", "share"},
	} {
		if ok, by := rating(t, wiring(t, demo(t, name), 65), 3); ok || !slices.Equal(by, want) {
			t.Errorf("%s: %t by %v, want %v", name, ok, by, want)
		}
	}
	// In a cool holder it carries 3 A: the 2.485 A of Chair 21 still go.
	if _, by := rating(t, wiring(t, demo(t, "chair-21"), 20), 3); slices.Contains(by, "warm") {
		t.Errorf("at 20 °C by %v", by)
	}
}

// The ratings of the reference (S), and the fitted one among them.
func TestRatingsTried(t *testing.T) {
	s := demo(t, "chair-12")
	want := []setup.Amps{1, 2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30, 35, 40}
	tried := func() (all []setup.Amps) {
		for _, f := range wiring(t, s, 65).Ratings {
			all = append(all, f.Amps)
		}
		return all
	}
	if got := tried(); !slices.Equal(got, want) {
		t.Errorf("tried %v", got)
	}
	fuse := s.Part("fuse").Fuse
	fuse.Rating = 12
	if got := tried(); !slices.Equal(got, slices.Insert(slices.Clone(want), 7, 12)) {
		t.Errorf("with 12 A tried %v", got)
	}
	if r := wiring(t, s, 65); r.Fitted != 12 || r.Least != 5 || r.Most != 15 {
		t.Errorf("fitted %g A, window %g to %g A", r.Fitted, r.Least, r.Most)
	}
}

// What a fuse carries all day by the warmth of its holder: the reference's
// 10 A fuse (S), other ratings in proportion, between columns the warmer.
func TestWarmHolder(t *testing.T) {
	for _, c := range []struct{ celsius, rating, carries float64 }{
		{20, 10, 10},
		{65, 10, 8},
		{85, 10, 7}, // S
		{-10, 10, 10},
		{20.5, 10, 8},
		{40, 10, 8},
		{65.5, 10, 7},
		{20, 7.5, 7.5},
		{65, 7.5, 6},
		{85, 20, 14},
	} {
		s := straight(t, c.carries, c.carries)
		s.Part("fuse").Fuse.Rating = setup.Amps(c.rating)
		got := row(t, wiring(t, s, c.celsius), "warm")
		if math.Abs(got.Limit-c.carries) > 1e-9 || !got.OK {
			t.Errorf("%g A at %g °C carries %+v, want %g A", c.rating, c.celsius, got, c.carries)
		}
		s.Ventilator.Draw.Peak *= 1.001
		if row(t, wiring(t, s, c.celsius), "warm").OK {
			t.Errorf("%g A at %g °C carries more than %g A", c.rating, c.celsius, c.carries)
		}
	}
	// The rule of thumb (S): at most three quarters of the rating.
	for amps, ok := range map[float64]bool{7.5: true, 7.51: false} {
		if got := row(t, wiring(t, straight(t, amps, amps), 20), "share"); got.OK != ok || got.Limit != 7.5 {
			t.Errorf("%g A: %+v", amps, got)
		}
	}
}

// The reference's gates: the highest draw just under one is let pass only
// where the fuse holds it for at least 360 000 s, breath or no breath.
func TestFuseGates(t *testing.T) {
	for _, gate := range []struct {
		percent, least float64 // s before it may open
		mark           string
	}{
		{100, 360000, "S, 35 to 40 A"},
		{110, 360000, "M"},
		{135, .75, "M; S for 35 to 40 A"},
		{160, .25, "S"},
		{200, .15, "S"},
		{350, .08, "S, 35 to 40 A"},
		{600, 0, "S, 35 to 40 A"},
	} {
		peak := 10 * gate.percent / 100 * .9999
		if got := row(t, wiring(t, straight(t, 5, peak), 20), "warm"); got.OK != (gate.percent <= 100) || got.OK && gate.least < 360000 {
			t.Errorf("just under %g %% (%s): %+v", gate.percent, gate.mark, got)
		}
	}
}

// What a cord carries: the reference's table (NEC 400.5(A)(1), M), and sizes
// in mm² as the next thinner gauge. The most is the standard rating below.
func TestFuseProtectsTheWire(t *testing.T) {
	for name, c := range map[string]struct {
		size    setup.SquareMM
		carries float64
		most    setup.Amps
	}{
		"18 AWG": {setup.AWG(18), 10, 10}, // M
		"16 AWG": {setup.AWG(16), 13, 10}, // M
		"14 AWG": {setup.AWG(14), 18, 15}, // M
		"12 AWG": {setup.AWG(12), 25, 25}, // M
		"10 AWG": {setup.AWG(10), 30, 30}, // M

		"1 mm², at least 18 AWG (0.823)":   {1, 10, 10},
		"1.5 mm², at least 16 AWG (1.309)": {1.5, 13, 10},
		"2 mm², just below 14 AWG (2.081)": {2, 13, 10},
		"2.5 mm², at least 14 AWG":         {2.5, 18, 15},
		"4 mm², at least 12 AWG (3.309)":   {4, 25, 25},
		"6 mm², at least 10 AWG (5.261)":   {6, 30, 30},
		"16 mm², past the table":           {16, 30, 30},
	} {
		s := straight(t, 1, 2)
		leads(s, c.size)
		r := wiring(t, s, 20)
		if got := row(t, r, "wire"); got.Limit != c.carries || got.Value != 10 || !got.OK {
			t.Errorf("%s: %+v", name, got)
		}
		if r.Most != c.most {
			t.Errorf("%s: at most %g A, want %g", name, r.Most, c.most)
		}
	}
	for name, size := range map[string]setup.SquareMM{"20 AWG": setup.AWG(20), "0.75 mm²": .75} {
		s := straight(t, 1, 2)
		s.Part("lead-middle").Lead.Conductor = size
		r := wiring(t, s, 20)
		if got := row(t, r, "thin"); got.OK || got.Part != "lead-middle" || got.Unit != "mm²" || got.Value != float64(size) {
			t.Errorf("%s: %+v", name, got)
		}
		if r.Most != 0 || r.Least != 2 {
			t.Errorf("%s: window %g to %g A, want no most", name, r.Least, r.Most)
		}
	}
}

func TestWiringFinds(t *testing.T) {
	chair12 := func(t *testing.T) *setup.Setup { return demo(t, "chair-12") }
	bare := func(t *testing.T) *setup.Setup { return straight(t, 1, 2) }
	move := func(s *setup.Setup, id, after string) {
		i := slices.IndexFunc(s.Chain, func(p setup.Part) bool { return p.ID == id })
		p := s.Chain[i]
		s.Chain = slices.Delete(s.Chain, i, i+1)
		i = slices.IndexFunc(s.Chain, func(p setup.Part) bool { return p.ID == after })
		s.Chain = slices.Insert(s.Chain, i+1, p)
	}
	for name, c := range map[string]struct {
		of     func(*testing.T) *setup.Setup
		change func(*setup.Setup)
		fails  []string
		part   string
		value  float64
	}{
		"no converter, all sound": {of: bare, change: func(*setup.Setup) {}},
		"no fuse": {chair12, func(s *setup.Setup) {
			s.Chain = slices.DeleteFunc(s.Chain, func(p setup.Part) bool { return p.Fuse != nil })
		}, []string{"no-fuse"}, "tap", 0},
		"a fuse far from the tap":    {chair12, func(s *setup.Setup) { move(s, "fuse", "lead-battery") }, []string{"place"}, "fuse", .4},
		"a fuse near enough":         {chair12, func(s *setup.Setup) { s.Part("lead-battery").Lead.Length = .18; move(s, "fuse", "lead-battery") }, nil, "", 0},
		"a fuse behind the way down": {chair12, func(s *setup.Setup) { move(s, "fuse", "converter") }, []string{"plug", "behind"}, "plug", 10},
		"a thin lead before the fuse": {chair12, func(s *setup.Setup) {
			s.Part("lead-battery").Lead.Length, s.Part("lead-battery").Lead.Conductor = .18, .5
			move(s, "fuse", "lead-battery")
		}, []string{"thin"}, "lead-battery", .5},
		// 16 AWG carries 13 A.
		"a thinner lead before the fuse": {chair12, func(s *setup.Setup) {
			s.Part("lead-battery").Lead.Length, s.Part("lead-battery").Lead.Conductor = .18, setup.AWG(16)
			s.Part("fuse").Fuse.Rating = 15
			move(s, "fuse", "lead-battery")
		}, []string{"wire"}, "lead-battery", 15},
		"a small joint before the fuse": {chair12, func(s *setup.Setup) {
			s.Part("lead-battery").Lead.Length, s.Part("joint-battery").Joint.Rating = .18, 7.5
			move(s, "fuse", "joint-battery")
		}, []string{"joint"}, "joint-battery", 10},
		// 2 × (12.7 + 1.6 V) and 6 A through 2 × 4 mΩ: 28.648 V.
		"a fuse for low volts":              {chair12, func(s *setup.Setup) { s.Part("fuse").Fuse.Volts = 28 }, []string{"fuse-volts"}, "fuse", 28.648},
		"a fuse of 30 A":                    {chair12, func(s *setup.Setup) { s.Part("fuse").Fuse.Rating = 30 }, []string{"wire", "joint", "holder"}, "lead-battery", 30},
		"a small holder":                    {chair12, func(s *setup.Setup) { s.Part("fuse").Fuse.Most = 7.5 }, []string{"holder"}, "fuse", 10},
		"a small joint":                     {chair12, func(s *setup.Setup) { s.Part("joint-battery").Joint.Rating = 7.5 }, []string{"joint"}, "joint-battery", 10},
		"a small plug and no converter":     {bare, func(s *setup.Setup) { s.Part("plug").Plug.Rating = 7.5 }, []string{"plug"}, "plug", 10},
		"a thin wire behind the converter":  {chair12, func(s *setup.Setup) { s.Part("lead-out").Lead.Conductor = .5 }, []string{"thin"}, "lead-out", .5},
		"a small joint behind it":           {chair12, func(s *setup.Setup) { s.Part("joint-ventilator").Joint.Rating = 2 }, []string{"output"}, "joint-ventilator", 2.555},
		"a converter too small for breaths": {chair12, func(s *setup.Setup) { s.Part("converter").Converter.Limit = 4 }, []string{"limit"}, "converter", 4.403},
		"an inlet that wants more":          {chair12, func(s *setup.Setup) { s.Ventilator.InletFor(setup.Chair).Low = 13.7 }, []string{"inlet-low"}, "inlet-chair", 13.628},
		"an inlet that bears less":          {chair12, func(s *setup.Setup) { s.Ventilator.InletFor(setup.Chair).High = 13.5 }, []string{"inlet-high"}, "inlet-chair", 13.8},
		"charging above the inlet":          {bare, func(s *setup.Setup) { s.Ventilator.InletFor(setup.Chair).High = 28 }, []string{"inlet-high"}, "inlet-chair", 28.648},
		// Spent, 2 × 10.5 V behind 8 + 1 + 9.7 + 1 + 1 + 2 + 2 = 24.7 mΩ, and leads of 1.177 × (2 × 1.0 m × 8.285
		// + 2 × 1.1 m × 13.174 mΩ/m) = 53.6 mΩ: (21 + √(21² − 4 × 0.0783 Ω × 40 W))/2 = 20.850 V.
		"a spent battery and no converter": {bare, func(s *setup.Setup) { s.Ventilator.InletFor(setup.Chair).Low = 20.9 }, []string{"inlet-low"}, "inlet-chair", 20.850},
		// 2 × 25 m of 14 AWG, 8.285 mΩ/m × 1.177: 487.5 mΩ; 0.6 m more: 11.7 mΩ. 3.341 A × 499.2 mΩ = 1.668 V of 21 V, 7.942 %.
		"a long lead in": {chair12, func(s *setup.Setup) { s.Part("lead-battery").Lead.Length = 25 }, []string{"drop", "drop-all"}, "lead-battery", 7.942},
		// 2 × 200 m of 16 AWG and 60 W: 13.8² / (4 × 6.22 Ω) = 7.7 W at most. The converter then gives its 8 A, too much for
		// the plug.
		"a lead that nothing comes through": {chair12, func(s *setup.Setup) { s.Part("lead-out").Lead.Length = 200 }, []string{"output", "collapse", "drop-all"}, "plug", 8},
	} {
		t.Run(name, func(t *testing.T) {
			s := c.of(t)
			c.change(s)
			r := wiring(t, s, 65)
			found := failing(r.Rows)
			if !slices.Equal(whats(found), c.fails) {
				t.Fatalf("fails by %+v, want %v", found, c.fails)
			}
			if len(found) > 0 && (found[0].Part != c.part || math.Abs(found[0].Value-c.value) > .001) {
				t.Errorf("got %+v, want %s at %g", found[0], c.part, c.value)
			}
			advice := func(what string) bool { return what == "drop" || what == "drop-all" }
			if want := !slices.ContainsFunc(c.fails, func(what string) bool { return !advice(what) }); r.OK != want {
				t.Errorf("the verdict is %t", r.OK)
			}
			for _, row := range r.Rows {
				if row.Advice != advice(row.What) {
					t.Errorf("advice %t: %+v", row.Advice, row)
				}
				if math.IsNaN(row.Value) || math.IsInf(row.Value, 0) || row.Why == "" {
					t.Errorf("%+v", row)
				}
			}
		})
	}
}

func TestTapsThatSwitchOffAreNoted(t *testing.T) {
	s := demo(t, "chair-12")
	for at, why := range map[setup.TapAt]string{setup.AtIsolator: "wiring.note.isolator", setup.AtPort: "wiring.note.port"} {
		s.Tap().At = at
		if got := row(t, wiring(t, s, 65), "tap"); !got.OK || got.Why != why || got.Part != "tap" {
			t.Errorf("%s: %+v", at, got)
		}
	}
	s.Tap().At = setup.AtPosts
	if slices.Contains(whats(wiring(t, s, 65).Rows), "tap") {
		t.Error("a tap at the posts is noted")
	}
}

func TestAConverterThatDoesNotIsolateIsNoted(t *testing.T) {
	for name, isolated := range map[string]bool{"chair-12": true, "chair-7": false} {
		s := demo(t, name)
		r := wiring(t, s, 65)
		if slices.Contains(whats(r.Rows), "isolation") == isolated {
			t.Errorf("%s: %v", name, whats(r.Rows))
		}
		s.Part("converter").Converter.Isolated = false
		if got := row(t, wiring(t, s, 65), "isolation"); !got.OK || got.Unit != "" || got.Part != "converter" || got.Why != "wiring.note.not-isolated" {
			t.Errorf("%s: %+v", name, got)
		}
	}
}

// The table of cords is for about 30 °C around them (M): the holder's warmth
// changes what the fuse carries, not what they do.
func TestCordsAreNotReadAtTheHoldersWarmth(t *testing.T) {
	for _, celsius := range []float64{-10, 20, 65, 85} {
		r := wiring(t, demo(t, "chair-12"), celsius)
		if got := row(t, r, "wire"); got.Limit != 18 || r.Worst.Around != 30 || r.Worst.Celsius != celsius {
			t.Errorf("%g °C: %g A, %+v", celsius, got.Limit, r.Worst)
		}
	}
}

func TestWiringRefuses(t *testing.T) {
	for _, celsius := range []float64{-41, 86, math.NaN(), math.Inf(1)} {
		if _, err := circuit.Wiring(demo(t, "chair-12"), celsius); !problem.Is(err, problem.Invalid) {
			t.Errorf("%g °C: %v", celsius, err)
		}
	}
}

// more puts "no rating" above every rating.
func more(least setup.Amps) float64 {
	if least == 0 {
		return math.Inf(1)
	}
	return float64(least)
}

func TestMoreDrawNeverAllowsASmallerFuse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.SampledFrom(setup.DemoNames).Draw(t, "set-up")
		celsius := rapid.Float64Range(-40, 85).Draw(t, "celsius")
		least := func(factor float64) float64 {
			s, err := setup.Demo(name)
			if err != nil {
				t.Fatal(err)
			}
			d := &s.Ventilator.Draw
			d.High, d.Peak = d.High*setup.Watts(factor), d.Peak*setup.Watts(factor)
			r, err := circuit.Wiring(s, celsius)
			if err != nil {
				t.Fatal(err)
			}
			return more(r.Least)
		}
		a := rapid.Float64Range(.1, 8).Draw(t, "draw")
		b := a * rapid.Float64Range(1, 4).Draw(t, "more")
		if least(b) < least(a) {
			t.Fatalf("%g times the draw: %g A, %g times: %g A", a, least(a), b, least(b))
		}
	})
}

func TestThinnerWireNeverAllowsALargerFuse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.SampledFrom(setup.DemoNames).Draw(t, "set-up")
		joints := setup.Amps(rapid.Float64Range(1, 60).Draw(t, "joints"))
		most := func(size float64) setup.Amps {
			s, err := setup.Demo(name)
			if err != nil {
				t.Fatal(err)
			}
			s.Part("lead-battery").Lead.Conductor = setup.SquareMM(size)
			s.Part("joint-battery").Joint.Rating = joints
			r, err := circuit.Wiring(s, 65)
			if err != nil {
				t.Fatal(err)
			}
			return r.Most
		}
		a := rapid.Float64Range(.1, 10).Draw(t, "mm²")
		b := a * rapid.Float64Range(.1, 1).Draw(t, "thinner")
		if most(b) > most(a) {
			t.Fatalf("%g mm²: %g A, %g mm²: %g A", a, most(a), b, most(b))
		}
	})
}
