package setup_test

import (
	"math"
	"testing"

	"lampwright/lessons/setup"
)

// The values below stand in the reference; the word beside each says how it
// was seen: S in a stored secondary copy, M from memory, C computed.

const metresPer1000ft = 304.8

// one is the resistance of a single conductor of this many metres, in Ω.
func one(metres setup.Metres, size setup.SquareMM, celsius float64) float64 {
	return float64(setup.CopperLoop(metres, size, celsius)) / 2
}

func off(got, want float64) float64 { return math.Abs(got/want - 1) }

// American gauges at 20 °C.
func TestAWGTable(t *testing.T) {
	for _, row := range []struct {
		gauge     int
		per1000ft float64 // Ω (S, public wire tables)
		milliohms float64 // per m (C)
	}{
		{10, .9989, 3.277},
		{12, 1.588, 5.211},
		{14, 2.525, 8.285},
		{16, 4.016, 13.174},
		{18, 6.385, 20.948},
		{20, 10.15, 33.308},
		{22, 16.14, 52.962},
	} {
		if got := one(metresPer1000ft, setup.AWG(row.gauge), 20); off(got, row.per1000ft) > 3e-4 {
			t.Errorf("AWG %d: %.4f Ω per 1000 ft, table %g", row.gauge, got, row.per1000ft)
		}
		if got := 1000 * one(1, setup.AWG(row.gauge), 20); off(got, row.milliohms) > 1e-4 {
			t.Errorf("AWG %d: %.4f mΩ/m, table %g", row.gauge, got, row.milliohms)
		}
	}
}

// NEC chapter 9 table 8: direct current, uncoated stranded copper at 75 °C (S).
// Ours is a solid wire of the same area; strands lie in a helix and are about
// 2 % longer than the lead, so the table is above ours, and by no more than 4 %.
func TestNECTable(t *testing.T) {
	for gauge, per1000ft := range map[int]float64{10: 1.24, 12: 1.98, 14: 3.14, 16: 4.99, 18: 7.95} {
		got := one(metresPer1000ft, setup.AWG(gauge), 75)
		if above := per1000ft / got; above < 1 || above > 1.04 {
			t.Errorf("AWG %d at 75 °C: %.3f Ω per 1000 ft, table %g, %.1f %% above", gauge, got, per1000ft, 100*(above-1))
		}
	}
}

// IEC 60228's correction to 20 °C (S) follows 1/(1 + .004·ΔT) (S): our
// coefficient, .00393 (M), rounded up. They stay within .5 %.
func TestIECTemperatureCorrection(t *testing.T) {
	for celsius, factor := range map[float64]float64{25: .980, 40: .926, 70: .833} {
		if rule := 1 / (1 + .004*(celsius-20)); math.Abs(rule-factor) > 5.1e-4 {
			t.Errorf("%g °C: the table says %g, its rule %.4f", celsius, factor, rule)
		}
		if got := one(1, 1, 20) / one(1, 1, celsius); off(got, factor) > .005 {
			t.Errorf("%g °C: %.4f, table %g", celsius, got, factor)
		}
	}
	for celsius := -20.0; celsius <= 70; celsius += 5 {
		if got, rule := one(1, 1, 20)/one(1, 1, celsius), 1/(1+.004*(celsius-20)); off(got, rule) > .005 {
			t.Errorf("%g °C: %.5f, rule %.5f", celsius, got, rule)
		}
	}
}

// IEC 60228's maxima at 20 °C, plain copper (S). They exceed ρ/A (C) on
// purpose: a nominal area is a name, and the maximum is what is measured.
func TestIECMaxima(t *testing.T) {
	for _, row := range []struct {
		size           setup.SquareMM
		ours           float64 // ρ/A, Ω/km (C)
		solid, flexing float64 // class 1 and 2, class 5, Ω/km (S)
	}{
		{1.5, 11.49, 12.1, 13.3},
		{2.5, 6.90, 7.41, 7.98},
		{4, 4.31, 4.61, 4.95},
	} {
		got := one(1000, row.size, 20)
		if off(got, row.ours) > 1e-3 {
			t.Errorf("%g mm²: %.3f Ω/km, ρ/A %g", row.size, got, row.ours)
		}
		for _, most := range []float64{row.solid, row.flexing} {
			if above := most / got; above < 1.05 || above > 1.17 {
				t.Errorf("%g mm²: a maximum of %g Ω/km is %.1f %% above ours", row.size, most, 100*(above-1))
			}
		}
	}
}
