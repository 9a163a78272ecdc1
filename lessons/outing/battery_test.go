package outing

import (
	"math"
	"testing"

	"lampwright/lessons/setup"
)

// near fails a test where a value is further than a share from what it should be.
func near(t *testing.T, what string, got, want, share float64) {
	t.Helper()
	if !(math.Abs(got-want) <= share*math.Abs(want)) {
		t.Errorf("%s: got %.6g, want %.6g within %g %%", what, got, want, share*100)
	}
}

// hours that a pack lasts, by how fast production drains it.
func hours(ah, k, amps float64) float64 { return ah / drains(amps, ah/20, k) }

func TestPeukertAgreesWithThePrintedExample(t *testing.T) {
	// Cp = 100 at one ampere, k 1.2: by t = Cp/I^k it holds 20·I at the current I
	// that it gives for 20 hours, 20·I^1.2 = 100 (C).
	label := 20 * math.Pow(100./20, 1/1.2)
	got := hours(label, 1.2, 5)
	near(t, "computed", got, 14.4956, 5e-6) // C
	if math.Round(got*10)/10 != 14.5 {      // S
		t.Errorf("printed 14.5 h, got %.4f", got)
	}
	// Below the 20-hour rate it holds its label, and no more.
	near(t, "at 1 A", hours(label, 1.2, 1), label, 1e-12)
}

// The 20-hour capacity and the reserve minutes at 25 A, a printed k (S: a
// secondary copy, see the reference) and the one computed from them (C): with
// the k, 25 A spend the battery in the reserve minutes. k is given to a
// thousandth or a hundredth, and the minutes are as sharp as that: by
// (25 A over the 20-hour rate)^(half its last digit).
func TestReserveMinutesFromThePeukertExponents(t *testing.T) {
	for _, c := range []struct {
		battery                        string
		ah, minutes, printed, computed float64
	}{
		{"gel 70 Ah", 70, 130, 1.13, 1.130},
		{"gel 86 Ah", 86, 167, 1.12, 1.120},
		{"gel 225 Ah", 225, 500, 1.10, 1.096},
		{"flooded 85 Ah", 85, 135, 1.23, 1.233},
		{"flooded 130 Ah", 130, 225, 1.24, 1.243},
		{"flooded 216 Ah", 216, 450, 1.17, 1.169},
	} {
		sharp := func(digit float64) float64 { return math.Pow(25/(c.ah/20), digit/2) - 1 }
		near(t, c.battery+", computed k", hours(c.ah, c.computed, 25)*60, c.minutes, sharp(.001))
		near(t, c.battery+", printed k", hours(c.ah, c.printed, 25)*60, c.minutes, sharp(.01))
	}
}

// The exponents assumed lie in the ranges of AGM 1.05 to 1.15, gel 1.10 to
// 1.25, flooded 1.20 to 1.60 (S).
func TestAssumedExponentsLieInTheirRanges(t *testing.T) {
	for c, r := range map[setup.Chemistry][2]float64{setup.AGM: {1.05, 1.15}, setup.Gel: {1.10, 1.25}, setup.Flooded: {1.20, 1.60}, setup.Lithium: {1, 1}} {
		mid, top := typical.peukert[c], worst.peukert[c]
		if mid < r[0] || top > r[1] || mid > top {
			t.Errorf("%s: typical %g, worst %g, range %v", c, mid, top, r)
		}
	}
}

// Cell-size factors by °F, base 77 °F: the rows 40 to 120 °F S, the others M
// (IEEE 485 table 1 as remembered).
func TestTemperatureFactorsAgreeWithTheTable(t *testing.T) {
	for fahrenheit, want := range map[float64]float64{
		25: 1.520, 30: 1.430, 35: 1.350, 40: 1.300, 45: 1.250, 50: 1.190, 55: 1.150, 60: 1.110, 65: 1.080, 68: 1.056, 77: 1,
		85: .960, 90: .940, 95: .930, 100: .910, 105: .890, 110: .880, 115: .870, 120: .860, 125: .850,
	} {
		for _, c := range []setup.Chemistry{setup.AGM, setup.Gel, setup.Flooded} {
			if got := TemperatureFactor(c, (fahrenheit-32)*5/9); math.Abs(got-want) > 1e-9 {
				t.Errorf("%s at %g °F: %.4f, the table has %.3f", c, fahrenheit, got, want)
			}
		}
	}
	// Midway between two rows (C), and beyond the last ones, on as it went (C).
	for celsius, want := range map[float64]float64{(42.5 - 32) / 1.8: 1.275, (20. - 32) / 1.8: 1.61, (130. - 32) / 1.8: .84} {
		if got := TemperatureFactor(setup.AGM, celsius); math.Abs(got-want) > 1e-9 {
			t.Errorf("at %.2f °C: %.4f, want %.4f", celsius, got, want)
		}
	}
	// Lithium: 0.8 % of the capacity at 25 °C a kelvin, and no more than the label
	// in the warm (common practice, no source).
	for celsius, left := range map[float64]float64{25: 1, 0: .8, -40: .48, 45: 1, 85: 1} {
		if got := 1 / TemperatureFactor(setup.Lithium, celsius); math.Abs(got-left) > 1e-9 {
			t.Errorf("lithium at %g °C: %.4f of its capacity, want %.4f", celsius, got, left)
		}
	}
}

// Opening times by multiples of the rating. 200 %, 350 % and 600 % as printed
// for 35 to 40 A, 160 % for 10 A (S: maker data referring to ISO 8820-3); 110
// and 135 % for 10 A M.
func TestFuseGates(t *testing.T) {
	for _, c := range []struct {
		times, soonest, latest float64
		source                 string
	}{
		{1.35, .75, 600, "M for 10 A, S for 35 to 40 A"},
		{1.60, .25, 50, "S"},
		{2.00, .15, 5, "S"},
		{3.50, .08, .5, "S for 35 to 40 A"},
	} {
		if a, b := soonest(c.times), latest(c.times); math.Abs(a/c.soonest-1) > 1e-9 || math.Abs(b/c.latest-1) > 1e-9 {
			t.Errorf("%g times the rating: %g to %g s, want %g to %g (%s)", c.times, a, b, c.soonest, c.latest, c.source)
		}
	}
	if soonest(1.10) < 360000*(1-1e-9) { // M for 10 A
		t.Errorf("110 %% opens after %g s", soonest(1.10))
	}
	if latest(6) > .15*(1+1e-9) { // S for 35 to 40 A
		t.Errorf("600 %% takes up to %g s", latest(6))
	}
	if !math.IsInf(soonest(1.099), 1) || !math.IsInf(latest(1), 1) {
		t.Error("a fuse below 110 % opened")
	}
	for x := 1.10; x < 12; x += .01 {
		if soonest(x) > latest(x) || soonest(x+.01) > soonest(x)*(1+1e-9) || latest(x+.01) > latest(x)*(1+1e-9) {
			t.Fatalf("at %.2f: %g to %g s, then %g to %g", x, soonest(x), latest(x), soonest(x+.01), latest(x+.01))
		}
	}
	// Halfway between two gates in logarithms: their geometric means (C).
	near(t, "between 160 and 200 %", latest(math.Sqrt(1.6*2)), math.Sqrt(50*5), 1e-9)
}

// km = C·D/(1000·E) (M: the method of ISO 7176-4). A test drive of a lithium
// pack (no Peukert) about its middle, where its volts are near their mean,
// foretells the range from full until the chair stops, within one and a half
// per cent.
func TestRangeByTheTestDrive(t *testing.T) {
	s := demo(t, "chair-12")
	lossless(s)
	s.Battery().Chemistry = setup.Lithium
	converter(s).CutOut, converter(s).Restart = 12, 13 // the supply outlasts the drive
	const metres = 2500.
	// 60 Ah to nothing, and 10.5 V, where the chair stops, a little before it: its
	// volts go from 10 to 12.8 over the first tenth (M).
	const label, capacity = 60, 60 * (1 - .1*.5/2.8)
	test := fresh(s, drive(metres/1000))
	test.charge(.5)
	after := track(t, s, test, false)
	used := label * (.5 - after.Samples[len(after.Samples)-1].Chair)
	full := track(t, s, fresh(s, drive(300)), false)
	near(t, "km", full.when(t, Stranded, "")/3600*float64(s.Drive.Speed), capacity*metres/(1000*used), .015)
}

// Old packs at 50 to 70 % of the label are ordinary (the design; common
// practice, no source): so is a pack of five years in both assumptions, and
// one whose fault is its age.
func TestAgedPacksAreAtHalfToSeventyPercent(t *testing.T) {
	if share := typical.chair(5); share < .5 || share > .7 {
		t.Errorf("typical at 5 years: %g", share)
	}
	if agedShare < .5 || agedShare > .7 {
		t.Errorf("aged: %g", agedShare)
	}
	for y := 0.0; y < 30; y += .25 {
		for _, of := range []func(*assumed) float64{
			func(a *assumed) float64 { return a.chair(y) },
			func(a *assumed) float64 { return a.inside(y) },
		} {
			if w, u := of(&worst), of(&typical); !(w > 0 && w <= u && u <= 1) {
				t.Errorf("at %g years: worst %g, typical %g", y, w, u)
			}
		}
	}
}
