package setup

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml/ast"
)

// Quantities, each in the SI unit of its name; in a file they carry a unit.
type (
	Volts     float64 // V
	Amps      float64 // A
	Ohms      float64 // Ω
	Watts     float64 // W
	Metres    float64 // m
	SquareMM  float64 // mm² of copper; AWG gauges are converted
	AmpHours  float64 // Ah
	WattHours float64 // Wh
	Seconds   float64 // s
	Minutes   float64 // min

	WattHoursPerKm float64 // Wh/km
	KmPerHour      float64 // km/h
	Kilometres     float64 // km
	Celsius        float64 // °C
)

// dimension is how one kind of quantity is written: its units with their
// factors, an example for the error, and the largest value that makes sense.
type dimension struct {
	units   map[string]float64
	example string
	most    float64
}

var (
	volts     = dimension{map[string]float64{"V": 1, "mV": 1e-3}, "24 V", 1000}
	amps      = dimension{map[string]float64{"A": 1, "mA": 1e-3}, "10 A", 1000}
	ohms      = dimension{map[string]float64{"Ω": 1, "\u2126": 1, "ohm": 1, "mΩ": 1e-3, "m\u2126": 1e-3, "mohm": 1e-3}, "1 mΩ", 1e6}
	watts     = dimension{map[string]float64{"W": 1, "mW": 1e-3}, "20 W", 5000}
	metres    = dimension{map[string]float64{"m": 1, "cm": 1e-2, "mm": 1e-3}, "1.2 m", 100}
	ampHours  = dimension{map[string]float64{"Ah": 1, "mAh": 1e-3}, "60 Ah", 10000}
	wattHours = dimension{map[string]float64{"Wh": 1}, "90 Wh", 100000}
	seconds   = dimension{map[string]float64{"s": 1, "ms": 1e-3, "min": 60}, "2 s", 86400}
	perKm     = dimension{map[string]float64{"Wh/km": 1}, "35 Wh/km", 1000}
	speed     = dimension{map[string]float64{"km/h": 1}, "5 km/h", 30}
	kilometre = dimension{map[string]float64{"km": 1, "m": 1e-3}, "1.5 km", 1000}
	minutes   = dimension{map[string]float64{"min": 1, "h": 60}, "30 min", 14400}
)

// valueError is a value of the wrong form, with the line it stands on.
type valueError struct {
	line        int
	got, wanted string
}

func (e *valueError) Error() string {
	return fmt.Sprintf("line %d: got %s, expected %s", e.line, e.got, e.wanted)
}

func scalar(n ast.Node) (text string, line int) {
	line = 1
	if t := n.GetToken(); t != nil {
		line, text = t.Position.Line, t.Value
	}
	if s, ok := n.(*ast.StringNode); ok {
		text = s.Value
	} else if _, ok := n.(ast.ScalarNode); !ok {
		text = n.Type().String()
	}
	return text, line
}

func (d dimension) parse(n ast.Node) (float64, error) {
	text, line := scalar(n)
	v, err := d.value(text)
	if err != nil {
		return 0, &valueError{line: line, got: strconv.Quote(text), wanted: err.Error()}
	}
	return v, nil
}

// value reads "1.2 m". Its error says what was expected.
func (d dimension) value(text string) (float64, error) {
	number, unit, found := strings.Cut(strings.TrimSpace(text), " ")
	if !found {
		return 0, fmt.Errorf("a number, a space and a unit, as in %q", d.example)
	}
	factor, ok := d.units[strings.TrimSpace(unit)]
	if !ok {
		return 0, fmt.Errorf("a unit such as in %q", d.example)
	}
	v, err := strconv.ParseFloat(number, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("a plain number before the unit, as in %q", d.example)
	}
	if v < 0 {
		return 0, fmt.Errorf("a value that is not negative, as in %q", d.example)
	}
	if v*factor > d.most {
		return 0, fmt.Errorf("at most %g %s", d.most, strings.Fields(d.example)[1])
	}
	return v * factor, nil
}

func set[T ~float64](to *T, d dimension, n ast.Node) error {
	v, err := d.parse(n)
	*to = T(v)
	return err
}

// The UnmarshalYAML methods read a quantity with its unit.

func (v *Volts) UnmarshalYAML(n ast.Node) error     { return set(v, volts, n) }
func (v *Amps) UnmarshalYAML(n ast.Node) error      { return set(v, amps, n) }
func (v *Ohms) UnmarshalYAML(n ast.Node) error      { return set(v, ohms, n) }
func (v *Watts) UnmarshalYAML(n ast.Node) error     { return set(v, watts, n) }
func (v *Metres) UnmarshalYAML(n ast.Node) error    { return set(v, metres, n) }
func (v *AmpHours) UnmarshalYAML(n ast.Node) error  { return set(v, ampHours, n) }
func (v *WattHours) UnmarshalYAML(n ast.Node) error { return set(v, wattHours, n) }
func (v *Seconds) UnmarshalYAML(n ast.Node) error   { return set(v, seconds, n) }
func (v *Minutes) UnmarshalYAML(n ast.Node) error   { return set(v, minutes, n) }

func (v *WattHoursPerKm) UnmarshalYAML(n ast.Node) error { return set(v, perKm, n) }
func (v *KmPerHour) UnmarshalYAML(n ast.Node) error      { return set(v, speed, n) }
func (v *Kilometres) UnmarshalYAML(n ast.Node) error     { return set(v, kilometre, n) }

// UnmarshalYAML reads a temperature, "-5 °C".
func (v *Celsius) UnmarshalYAML(n ast.Node) error {
	text, line := scalar(n)
	number, unit, _ := strings.Cut(strings.TrimSpace(text), " ")
	x, err := strconv.ParseFloat(number, 64)
	if unit = strings.TrimSpace(unit); err != nil || !(x >= -40 && x <= 85) || unit != "°C" && unit != "C" {
		return &valueError{line: line, got: strconv.Quote(text), wanted: `a temperature from -40 to 85 such as "-5 °C"`}
	}
	*v = Celsius(x)
	return nil
}

// UnmarshalYAML reads a conductor's size, "2.5 mm²" or "14 AWG".
func (v *SquareMM) UnmarshalYAML(n ast.Node) error {
	text, line := scalar(n)
	number, unit, _ := strings.Cut(strings.TrimSpace(text), " ")
	x, err := strconv.ParseFloat(number, 64)
	switch strings.TrimSpace(unit) {
	case "AWG":
		if err == nil && x == math.Trunc(x) && x >= 0 && x <= 36 {
			*v = AWG(int(x))
			return nil
		}
	case "mm²", "mm2":
		if err == nil && x > 0 && x <= 100 {
			*v = SquareMM(x)
			return nil
		}
	}
	return &valueError{line: line, got: strconv.Quote(text), wanted: `a conductor size such as "14 AWG" or "2.5 mm²"`}
}

// AWG is the copper area of a gauge: the diameter is 0.127 mm × 92^((36−n)/39)
// (ASTM B258 form).
func AWG(n int) SquareMM {
	d := 0.127 * math.Pow(92, float64(36-n)/39)
	return SquareMM(math.Pi / 4 * d * d)
}

const (
	copperResistivity = 1.7241e-8 // Ω·m at 20 °C (IEC 60228 note)
	copperCoefficient = 0.00393   // per kelvin at 20 °C (from memory)
)

// CopperLoop is the resistance of a lead's two conductors of this length and
// size at this temperature in °C.
func CopperLoop(length Metres, size SquareMM, celsius float64) Ohms {
	if size <= 0 {
		return 0
	}
	return Ohms(2 * float64(length) * copperResistivity / (float64(size) * 1e-6) * (1 + copperCoefficient*(celsius-20)))
}
