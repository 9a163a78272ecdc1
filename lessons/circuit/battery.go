package circuit

import (
	"math"

	"lampwright/lessons/setup"
)

// UpperRoot is the operating point of a constant-power load behind a
// resistance: V = (E + √(E² − 4RP))/2. ok is false where there is none,
// above P = E²/4R.
func UpperRoot(emf, ohms, watts float64) (volts float64, ok bool) {
	d := emf*emf - 4*ohms*watts
	if d < 0 || emf <= 0 {
		return 0, false
	}
	return (emf + math.Sqrt(d)) / 2, true
}

// rest is a block's open-circuit volts at a charge.
type rest struct{ charge, volts float64 }

// blockVolts is a 12 V block's open-circuit voltage by charge. AGM, gel and
// flooded down to a tenth: sources named in the reference as weak; the last
// point (1.75 V a cell) and lithium's are from memory.
var blockVolts = map[setup.Chemistry][]rest{
	setup.AGM:     {{0, 10.5}, {.1, 11.6}, {.3, 11.8}, {.5, 12.1}, {.7, 12.3}, {.8, 12.5}, {1, 12.7}},
	setup.Gel:     {{0, 10.5}, {.1, 11.6}, {.3, 11.8}, {.5, 12.1}, {.7, 12.3}, {.8, 12.5}, {1, 12.7}},
	setup.Flooded: {{0, 10.5}, {.25, 12.0}, {.5, 12.2}, {.75, 12.4}, {1, 12.6}},
	setup.Lithium: {{0, 10}, {.1, 12.8}, {.5, 13.1}, {.9, 13.3}, {1, 13.6}},
}

// OpenCircuit is a 12 V block's open-circuit voltage at a charge from 0 to 1.
func OpenCircuit(c setup.Chemistry, charge float64) float64 { return along(blockVolts[c], charge) }

func along(pts []rest, charge float64) float64 {
	for i := 1; i < len(pts); i++ {
		if charge <= pts[i].charge {
			a, b := &pts[i-1], &pts[i]
			return a.volts + (b.volts-a.volts)*(charge-a.charge)/(b.charge-a.charge)
		}
	}
	return pts[len(pts)-1].volts
}

// Bends are the charges at which a block's open-circuit volts change slope,
// rising.
func Bends(c setup.Chemistry) []float64 {
	var at []float64
	for _, p := range blockVolts[c] {
		at = append(at, p.charge)
	}
	return at
}

const (
	flatCharge  = 0.0  // of a battery called flat: a chair's is spent to 1.75 V a cell
	agedOhms    = 4    // an aged block's resistance against a new one's (common practice, no source)
	cellVolts   = 2.1  // of a lead-acid cell (from memory)
	coldOhms    = .012 // a block's resistance rises by this per kelvin below 20 °C (common practice, no source)
	chargeVolts = 1.6  // a lead-acid block on charge stands this far above rest, to the usual 28 to 29 V of a chair on charge
	lithiumRise = .3   // and a lithium one this far (from memory)
)

// blockOhms is a block's resistance at a temperature.
func blockOhms(b setup.Block, celsius float64) float64 {
	return float64(b.Resistance) * (1 + coldOhms*max(0, 20-celsius))
}

// InputWatts is what a converter takes for an output: its idle watts with no
// load, and between the points of its curve the losses run straight.
func InputWatts(c *setup.Converter, out float64) float64 { return out + loss(c, out) }

func loss(c *setup.Converter, out float64) float64 {
	x0, y0 := 0.0, float64(c.Idle)
	slope := 0.0
	for i := range c.Efficiency {
		e := &c.Efficiency[i]
		x1 := float64(e.Load)
		y1 := x1 * (1/e.Ratio - 1)
		slope = (y1 - y0) / (x1 - x0)
		if out <= x1 {
			return y0 + slope*(out-x0)
		}
		x0, y0 = x1, y1
	}
	return y0 + math.Max(0, slope)*(out-x0) // beyond its curve it loses no less
}
