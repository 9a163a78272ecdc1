package outing

import (
	"math"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
)

// drains is how fast a current empties a battery, in A of its 20-hour
// capacity, by Peukert's law (t = Cp/I^k, with Cp the capacity at one ampere).
// Below the 20-hour rate it holds what its label says, and no more.
func drains(amps, rate20, k float64) float64 {
	return amps * math.Pow(math.Max(1, amps/rate20), k-1)
}

// sizing is the cell-size factor of lead-acid by °F, base 77 °F: how much more
// capacity the same duty wants (IEEE 485 table 1 as remembered; the rows from
// 40 to 120 °F seen in stored copies).
var sizing = [...]struct{ fahrenheit, factor float64 }{
	{25, 1.52},
	{30, 1.43},
	{35, 1.35},
	{40, 1.30},
	{45, 1.25},
	{50, 1.19},
	{55, 1.15},
	{60, 1.11},
	{65, 1.08},
	{68, 1.056},
	{77, 1.00},
	{85, .96},
	{90, .94},
	{95, .93},
	{100, .91},
	{105, .89},
	{110, .88},
	{115, .87},
	{120, .86},
	{125, .85},
}

// TemperatureFactor is how much more capacity a duty wants at a temperature
// than at 25 °C. Between the table's rows it runs straight, and beyond them on
// as it did. Lithium's is a straight line (common practice, no source).
func TemperatureFactor(c setup.Chemistry, celsius float64) float64 {
	if c == setup.Lithium {
		return 1 / min(1, max(.3, 1-.008*(25-celsius)))
	}
	f := celsius*9/5 + 32
	i := 1
	for i < len(sizing)-1 && f > sizing[i].fahrenheit {
		i++
	}
	a, b := sizing[i-1], sizing[i]
	return a.factor + (b.factor-a.factor)*(f-a.fahrenheit)/(b.fahrenheit-a.fahrenheit)
}

// assumed is one end of the band.
type assumed struct {
	draw     float64 // on what breathing takes
	drive    float64 // on what driving takes
	peukert  map[setup.Chemistry]float64
	chair    func(years float64) float64 // share of the pack's label
	inside   func(years float64) float64 // share of the internal battery's tested runtime
	untested float64                     // share of its label where it was never tested
	measured float64                     // share of what was measured
	opens    func(times float64) float64 // seconds until the fuse opens, by multiples of its rating
}

// Typical is what is to be expected; Worst is what to plan by. Exponents are
// the middle and the top of the ranges of AGM 1.05 to 1.15, gel 1.10 to 1.25
// and flooded 1.20 to 1.60 (there 1.40: secondary copies). A faster or leaking
// breath costs 18 % of battery life (Falaize, Respir Care 2014;59:1048), so
// that the worst draw is 1/(1−0.18). Driving takes 25 to 45 Wh/km (from
// memory). Old packs at 50 to 70 % of the label are ordinary; the rest is
// common practice, no source.
var (
	typical = assumed{
		draw: 1, drive: 1, peukert: map[setup.Chemistry]float64{setup.AGM: 1.10, setup.Gel: 1.15, setup.Flooded: 1.25, setup.Lithium: 1},
		chair:    func(y float64) float64 { return max(.5, 1-.07*y) },
		inside:   func(y float64) float64 { return max(.5, 1-.1*y) },
		untested: .8, measured: 1, opens: latest,
	}
	worst = assumed{
		draw: 1 / (1 - .18), drive: 1.3, peukert: map[setup.Chemistry]float64{setup.AGM: 1.15, setup.Gel: 1.25, setup.Flooded: 1.40, setup.Lithium: 1},
		chair:    func(y float64) float64 { return max(.4, .9-.1*y) },
		inside:   func(y float64) float64 { return max(.3, .85-.2*y) },
		untested: .5, measured: .8, opens: soonest,
	}
)

// agedShare of the label is left in a battery whose fault is its age.
const agedShare = .6

// gates are the opening times of a blade fuse by multiples of its rating:
// from the soonest to the latest second (maker data referring to ISO 8820-3;
// 1.10 and 1.35 from memory for 10 A).
var gates = [...]struct{ times, soonest, latest float64 }{
	{1.10, 360000, math.Inf(1)},
	{1.35, .75, 600},
	{1.60, .25, 50},
	{2.00, .15, 5},
	{3.50, .08, .5},
	{6.00, .02, .15},
}

// soonest a fuse may open, in seconds, at multiples of its rating: between two
// gates it runs straight in logarithms; below the first it does not open.
func soonest(times float64) float64 {
	return gate(times, func(i int) float64 { return gates[i].soonest })
}

// latest a fuse opens. The 110 % gate has no latest: it runs on from the 135 %
// gate.
func latest(times float64) float64 {
	return gate(times, func(i int) float64 {
		if i == 0 {
			return gates[0].soonest
		}
		return gates[i].latest
	})
}

func gate(times float64, seconds func(i int) float64) float64 {
	if times < gates[0].times {
		return math.Inf(1)
	}
	for i := 1; i < len(gates); i++ {
		if times <= gates[i].times {
			share := math.Log(times/gates[i-1].times) / math.Log(gates[i].times/gates[i-1].times)
			return math.Exp((1-share)*math.Log(seconds(i-1)) + share*math.Log(seconds(i)))
		}
	}
	return seconds(len(gates) - 1)
}

// taper is the share of its full current that a charger gives at a charge: all
// of it up to four fifths, then falling straight to nothing at full (common
// practice, no source).
func taper(charge float64) float64 {
	if charge > 1-settled {
		return 0
	}
	return math.Min(1, (1-charge)/(1-tapers))
}

const (
	tapers  = .8
	settled = 1e-4 // a share so small that nothing changes any more
)

// stored is the share of what a charger gives that stays (from memory).
func stored(c setup.Chemistry) float64 {
	if c == setup.Lithium {
		return .99
	}
	return .85
}

// bends are the charges, rising, at which a battery's rates change slope:
// those of its open-circuit volts, and those that halve a tapering charge.
func bends(c setup.Chemistry) []float64 {
	var at []float64
	for _, b := range circuit.Bends(c) {
		if b < tapers {
			at = append(at, b)
		}
	}
	return append(at, taperBends...)
}

var taperBends = []float64{tapers, .9, .95, .975, 1}
