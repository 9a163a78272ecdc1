package outing

import (
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // the zones, on any machine

	"lampwright/lessons/setup"
	"lampwright/locales/problem"
)

const good = `# A day out.
schema: 1
set-up: chair-12.yaml
leaves: 2026-11-25 09:30
zone: America/Vancouver
setting: high
temperature: -5 °C
chair: {charge: 0.8, years: 3, measured: 10 h, on: 2026-06-01}
internal: {charge: 0.9, measured: 180 min, on: 2026-08-01}
faults: [joint-battery=half-home:0.3, lamp-chair=dead]
legs:
  - {drive: 2.5 km}
  - {mains: 90 min, carried: [adapter, chair-charger]}
  - {stand: 2 h, tilted: true}
  - {drive: 500 m}
`

func read(s *setup.Setup, data string) (Plan, error) {
	f, err := Read("f.yaml", []byte(data))
	if err != nil {
		return Plan{}, err
	}
	return f.For(s)
}

func TestReadGood(t *testing.T) {
	s := demo(t, "chair-12")
	got, err := read(s, good)
	if err != nil {
		t.Fatal(err)
	}
	zone, err := time.LoadLocation("America/Vancouver")
	if err != nil {
		t.Fatal(err)
	}
	leaves := time.Date(2026, 11, 25, 9, 30, 0, 0, zone)
	since := func(month time.Month) float64 {
		return leaves.Sub(time.Date(2026, month, 1, 0, 0, 0, 0, zone)).Hours() / 24 / 365.25
	}
	want := Plan{
		Leaves: leaves, Load: s.Ventilator.Draw.High, Celsius: -5,
		Chair:    Pack{Charges: []float64{.8, .8}, Years: 3, Measured: 600, Since: since(6)},
		Internal: Reserve{Charge: .9, Measured: 180, Years: since(8)},
		Faults:   []setup.Fault{{Part: "joint-battery", Mode: setup.HalfHome, Ohms: .3}, {Part: "lamp-chair", Mode: setup.Dead}},
		Legs:     []Leg{drive(2.5), atMains(1.5, true, true), {Kind: Stand, Minutes: 120, Tilted: true}, drive(.5)},
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
}

// What a file leaves out is as the set-up says.
func TestReadFillsInFromTheSetup(t *testing.T) {
	s := demo(t, "chair-12")
	got, err := read(s, "schema: 1\nset-up: x\nleaves: 2026-11-25 09:30\nzone: UTC\nlegs: [{stand: 1 min}]\n")
	if err != nil {
		t.Fatal(err)
	}
	want := Usual(s, time.Date(2026, 11, 25, 9, 30, 0, 0, time.UTC))
	want.Legs = []Leg{{Kind: Stand, Minutes: 1}}
	if !reflect.DeepEqual(got, want) || got.Load != 22 || got.Celsius != 20 || got.Chair.Years != 1 || got.Internal.Measured != 210 {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
	if days := got.Internal.Years * 365.25; days < 85 || days > 86 { // from 1 September
		t.Errorf("the test is %.1f days old", days)
	}
}

func TestReadSettings(t *testing.T) {
	s := demo(t, "chair-12")
	for text, watts := range map[string]setup.Watts{"low": 14, "usual": 22, "high": 35, "31.5 W": 31.5, "7 W": 7, "60 W": 60} {
		p, err := read(s, strings.Replace(good, "setting: high", "setting: "+text, 1))
		if err != nil || p.Load != watts {
			t.Errorf("%s: %g W, %v", text, p.Load, err)
		}
	}
}

// A change to a good file, and what the error must say.
func TestReadRefuses(t *testing.T) {
	s := demo(t, "chair-12")
	for name, c := range map[string]struct{ old, new, want string }{
		"unknown key":                 {"setting: high", "setting: high\ncolour: red", "f.yaml:7: "},
		"unknown key in a leg":        {"{drive: 2.5 km}", "{drive: 2.5 km, by: bus}", "f.yaml:12: "},
		"another schema":              {"schema: 1", "schema: 2", "f.yaml:2: got schema 2, expected 1"},
		"schema left out":             {"schema: 1\n", "", "f.yaml:1: got schema 0, expected 1"},
		"leaves in another form":      {"2026-11-25 09:30", "25/11/2026 9:30", `f.yaml:4: got leaves "25/11/2026 9:30", expected a time such as "2026-11-25 09:30"`},
		"leaves with seconds":         {"09:30", "09:30:00", "f.yaml:4: "},
		"leaves without a nought":     {"09:30", "9:30", "f.yaml:4: "},
		"a day that is none":          {"2026-11-25", "2026-02-29", "f.yaml:4: "},
		"a year far off":              {"2026-11-25 09:30", "9999-11-25 09:30", "f.yaml:4: "},
		"leaves left out":             {"leaves: 2026-11-25 09:30\n", "", `f.yaml:1: got leaves "", expected a time such as`},
		"leaves in a skipped hour":    {"2026-11-25 09:30", "2026-03-08 02:30", `f.yaml:4: got leaves "2026-03-08 02:30", expected a time that exists`},
		"no such zone":                {"America/Vancouver", "Alder/Bay", `f.yaml:5: got zone "Alder/Bay", expected a zone such as Europe/Paris`},
		"zone left out":               {"zone: America/Vancouver\n", "", `got zone "", expected a zone`},
		"the zone of whoever runs it": {"America/Vancouver", "Local", `f.yaml:5: got zone "Local"`},
		"a zone that climbs folders":  {"America/Vancouver", "../../etc/passwd", "f.yaml:5: "},
		"no such setting":             {"setting: high", "setting: highest", `f.yaml:6: got "highest", expected`},
		"a setting of nothing":        {"setting: high", "setting: 0 W", "f.yaml:6: got setting 0 W, expected low, usual, high, or watts from 7 to 60"},
		"a setting above its peak":    {"setting: high", "setting: 60.1 W", "f.yaml:6: got setting 60.1 W, expected low, usual, high, or watts from 7 to 60"},
		"a setting below half of low": {"setting: high", "setting: 6.9 W", "f.yaml:6: got setting 6.9 W"},
		"a temperature without unit":  {"-5 °C", "-5", `f.yaml:7: got "-5", expected a temperature from -40 to 85`},
		"fahrenheit":                  {"-5 °C", "23 °F", "f.yaml:7: "},
		"a temperature beyond bounds": {"-5 °C", "-41 °C", "f.yaml:7: "},
		"a temperature not a number":  {"-5 °C", "NaN °C", "f.yaml:7: "},
		"a charge above full":         {"charge: 0.8", "charge: 80", "f.yaml:8: got chair.charge 80, expected a number from 0 to 1"},
		"a charge not a number":       {"charge: 0.8", "charge: .nan", "f.yaml:8: "},
		"a charge below nothing":      {"charge: 0.9", "charge: -0.1", "f.yaml:9: got internal.charge -0.1"},
		"years ahead":                 {"years: 3", "years: -1", "f.yaml:8: got chair.years -1, expected years from 0 to 30"},
		"years not a number":          {"years: 3", "years: .inf", "f.yaml:8: "},
		"measured without unit":       {"measured: 10 h", "measured: 10", `f.yaml:8: got "10", expected a number, a space and a unit`},
		"measured in volts":           {"measured: 180 min", "measured: 180 V", `f.yaml:9: got "180 V"`},
		"measured without its day":    {", on: 2026-08-01", "", `f.yaml:9: got internal.on "", expected the day of the measurement`},
		"a day without what it gave":  {"measured: 180 min, ", "", "f.yaml:9: got internal.measured 0 min, expected the minutes measured on that day"},
		"measured after leaving":      {"2026-08-01", "2026-11-26", `f.yaml:9: got internal.on "2026-11-26", expected the day`},
		"a pack without its day":      {", on: 2026-06-01", "", `f.yaml:8: got chair.on "", expected the day of the measurement`},
		"a pack's day without it":     {"measured: 10 h, ", "", "f.yaml:8: got chair.measured 0 min, expected the minutes measured on that day"},
		"a pack measured tomorrow":    {"2026-06-01", "2026-11-26", `f.yaml:8: got chair.on "2026-11-26", expected the day`},
		"a pack's day in words":       {"2026-06-01", "June", `f.yaml:8: got chair.on "June", expected the day`},
		"a fault that is none":        {"lamp-chair=dead", "lamp-chair=blue", `f.yaml:10: got faults[1] "lamp-chair=blue", expected a fault of Chair 12`},
		"a part of another chair":     {"lamp-chair=dead", "lamp-boat=dead", "f.yaml:10: "},
		"no legs":                     {good[strings.Index(good, "legs:"):], "legs: []\n", "f.yaml:11: got legs 0 legs, expected 1 to 24 legs"},
		"legs left out":               {good[strings.Index(good, "legs:"):], "", "got legs 0 legs, expected 1 to 24 legs"},
		"too many legs":               {"  - {drive: 500 m}\n", strings.Repeat("  - {drive: 500 m}\n", 22), "got legs 25 legs, expected 1 to 24 legs"},
		"a leg of two kinds":          {"{drive: 2.5 km}", "{drive: 2.5 km, stand: 5 min}", "f.yaml:12: got legs[0] 2 of drive, stand and mains above zero, expected exactly one"},
		"a leg of no kind":            {"{drive: 2.5 km}", "{tilted: true}", "f.yaml:12: got legs[0] 0 of drive"},
		"a leg of nothing":            {"stand: 2 h", "stand: 0 h", "f.yaml:14: got legs[2] 0 of drive"},
		"a leg backwards":             {"drive: 2.5 km", "drive: -2.5 km", `f.yaml:12: got "-2.5 km", expected a value that is not negative`},
		"a drive in minutes":          {"drive: 2.5 km", "drive: 20 min", `f.yaml:12: got "20 min"`},
		"a drive around the world":    {"drive: 2.5 km", "drive: 40000 km", "f.yaml:12: "},
		"an endless leg":              {"drive: 2.5 km", "drive: Inf km", "f.yaml:12: "},
		"a drive of more than a week": {"drive: 2.5 km", "drive: 900 km", "f.yaml:12: got legs 11016 minutes together, expected at most 10080"},
		"carried where there is none": {"{stand: 2 h, tilted: true}", "{stand: 2 h, carried: [adapter]}", "f.yaml:14: got legs[2].carried adapter, expected nothing: it is of use only at mains"},
		"carrying something else":     {"chair-charger]", "kettle]", `f.yaml:13: got legs[1].carried "kettle", expected adapter or chair-charger`},
		"tilted by a number":          {"tilted: true", "tilted: 30", "f.yaml:14: "},
		"a list where a map stands":   {"chair: {charge: 0.8, years: 3, measured: 10 h, on: 2026-06-01}", "chair: [1]", "f.yaml:8: "},
		"a map where a value stands":  {"drive: 2.5 km", "drive: {a: 1}", "f.yaml:12: "},
		"broken yaml":                 {"legs:", "legs: [", "f.yaml:"},
		"a value twice":               {"setting: high", "setting: high\nsetting: low", "f.yaml:7: "},
	} {
		t.Run(name, func(t *testing.T) {
			text := strings.Replace(good, c.old, c.new, 1)
			if text == good {
				t.Fatalf("%q is not in the file", c.old)
			}
			_, err := read(s, text)
			if err == nil {
				t.Fatal("it was read")
			}
			if !problem.Is(err, problem.Invalid) || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got  %v\nwant %s", err, c.want)
			}
		})
	}
	for name, text := range map[string]string{"empty": "", "two documents": good + "---\n" + good, "a list": "- 1\n", "too long": good + strings.Repeat("#", setup.MaxFile)} {
		if _, err := read(s, text); !problem.Is(err, problem.Invalid) {
			t.Errorf("%s: got %v", name, err)
		}
	}
}

func TestLocalTime(t *testing.T) {
	for _, c := range []struct{ situation, text, zone, utc string }{
		{"an ordinary morning", "2026-11-25 09:30", "America/Vancouver", "2026-11-25T17:30:00Z"},
		{"the last minute before the clocks go forward", "2026-03-08 01:59", "America/Vancouver", "2026-03-08T09:59:00Z"},
		{"the first minute after", "2026-03-08 03:00", "America/Vancouver", "2026-03-08T10:00:00Z"},
		{"skipped", "2026-03-08 02:30", "America/Vancouver", ""},
		{"skipped at its start", "2026-03-08 02:00", "America/Vancouver", ""},
		{"repeated: the first", "2026-11-01 01:30", "America/Vancouver", "2026-11-01T08:30:00Z"},
		{"before the repeated hour", "2026-11-01 00:59", "America/Vancouver", "2026-11-01T07:59:00Z"},
		{"after it", "2026-11-01 02:00", "America/Vancouver", "2026-11-01T10:00:00Z"},
		{"skipped in Paris", "2026-03-29 02:30", "Europe/Paris", ""},
		{"after it in Paris", "2026-03-29 03:00", "Europe/Paris", "2026-03-29T01:00:00Z"},
		{"repeated in Paris: the first", "2026-10-25 02:30", "Europe/Paris", "2026-10-25T00:30:00Z"},
		{"its first minute", "2026-10-25 02:00", "Europe/Paris", "2026-10-25T00:00:00Z"},
		{"after it in Paris, once", "2026-10-25 03:00", "Europe/Paris", "2026-10-25T02:00:00Z"},
		{"half an hour repeated", "2026-04-05 01:45", "Australia/Lord_Howe", "2026-04-04T14:45:00Z"},
		{"half an hour skipped", "2026-10-04 02:15", "Australia/Lord_Howe", ""},
		{"a day that was skipped", "2011-12-30 12:00", "Pacific/Apia", ""},
		{"no form", "now", "UTC", ""},
		{"before all this", "1999-12-31 12:00", "UTC", ""},
	} {
		zone, err := time.LoadLocation(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		got, err := LocalTime(c.text, zone)
		if c.utc == "" {
			if !problem.Is(err, problem.Invalid) {
				t.Errorf("%s: %v, %v", c.situation, got, err)
			}
			continue
		}
		if err != nil || got.UTC().Format(time.RFC3339) != c.utc || got.Format(leavesForm) != c.text {
			t.Errorf("%s: %s is %v (%v UTC), want %s; %v", c.situation, c.text, got, got.UTC(), c.utc, err)
		}
	}
}

// A leg lasts as long as it lasts, whatever the clocks do meanwhile.
func TestLegsAreAbsoluteAcrossMidnightAndClockChanges(t *testing.T) {
	s := demo(t, "chair-12")
	for _, c := range []struct{ situation, zone, leaves, arrives string }{
		{"across midnight", "America/Vancouver", "2026-11-25 23:00", "2026-11-26 01:00 PST"},
		{"across new year", "Europe/Paris", "2026-12-31 23:00", "2027-01-01 01:00 CET"},
		{"forward", "America/Vancouver", "2026-03-08 01:30", "2026-03-08 04:30 PDT"},
		{"back", "America/Vancouver", "2026-11-01 00:30", "2026-11-01 01:30 PST"},
		{"back, leaving in the repeated hour", "America/Vancouver", "2026-11-01 01:30", "2026-11-01 02:30 PST"},
		{"forward in Paris", "Europe/Paris", "2026-03-29 01:30", "2026-03-29 04:30 CEST"},
		{"back in Paris", "Europe/Paris", "2026-10-25 01:30", "2026-10-25 02:30 CET"},
	} {
		zone, err := time.LoadLocation(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		leaves, err := LocalTime(c.leaves, zone)
		if err != nil {
			t.Fatal(err)
		}
		p := fresh(s, drive(2.5), stand(1), drive(2.5)) // half an hour each way
		p.Leaves = leaves
		f := forecast(t, s, p)
		last := f.Rows[len(f.Rows)-1]
		if got := last.At.Format("2006-01-02 15:04 MST"); got != c.arrives || last.At.Sub(leaves) != 2*time.Hour {
			t.Errorf("%s: arrives at %s after %v, want %s", c.situation, got, last.At.Sub(leaves), c.arrives)
		}
		st := f.Stretches[0]
		if st.Sets.Sub(leaves) != 90*time.Minute || st.Travel != 30*time.Minute || st.LeaveBy.Location() != zone || f.FirstAt.Location() != zone {
			t.Errorf("%s: %+v", c.situation, st)
		}
		// The same plan elsewhere on the clock forecasts the same minutes.
		q := p
		q.Leaves = nine
		g := forecast(t, s, q)
		if f.Rows[0].Minutes != g.Rows[0].Minutes || !reflect.DeepEqual(f.Worst, g.Worst) {
			t.Errorf("%s: the clock changed the minutes", c.situation)
		}
	}
}

// FuzzRead: no panic; every error names file and line; what reads and fits a
// demo set-up forecasts in a bounded number of steps.
func FuzzRead(f *testing.F) {
	f.Add([]byte(good))
	files, err := filepath.Glob("demo/*.yaml")
	if err != nil {
		f.Fatal(err)
	}
	for _, name := range files {
		data, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	for _, change := range [][2]string{
		{"chair: {charge: 0.8", "chair: {charge: 0"},
		{"internal: {charge: 0.9", "internal: {charge: 0"},
		{"setting: high", "setting: 60 W"},
		{"setting: high", "setting: 7 W"},
		{"half-home:0.3", "half-home:3"},
		{"lamp-chair=dead", "internal=dead"},
		{"2 h", "99 h"},
		{"-5 °C", "85 °C"},
		{"measured: 10 h", "measured: 1 min"},
		{"measured: 180 min", "measured: 0.001 min"},
		{"drive: 500 m", "drive: 0.000001 m"},
		{"lamp-chair=dead", "fuse=wrong-type"},
	} {
		f.Add([]byte(strings.Replace(good, change[0], change[1], 1)))
	}
	f.Add([]byte("legs: !!int x[mains, chair]")) // the library panics
	f.Fuzz(func(t *testing.T, data []byte) {
		plan, err := Read("f.yaml", data)
		bad := func(err error) {
			if !problem.Is(err, problem.Invalid) || !strings.Contains(err.Error(), "f.yaml:") {
				t.Fatalf("an error without file and line: %v", err)
			}
		}
		if err != nil {
			bad(err)
			return
		}
		for _, name := range setup.DemoNames {
			s := demo(t, name)
			p, err := plan.For(s)
			if err != nil {
				bad(err)
				continue
			}
			fc, err := p.Forecast(s)
			if err != nil {
				t.Fatalf("it reads, but does not forecast: %v", err)
			}
			if steps := fc.Worst.Steps + fc.Typical.Steps; steps > mostSteps {
				t.Fatalf("%d steps", steps)
			}
			if len(fc.Rows) < len(p.Legs)+1 {
				t.Fatal(fmt.Sprint(fc.Rows))
			}
		}
	})
}

// mostSteps bounds both ends' runs of a plan of at most a week and 24 legs.
const mostSteps = 10000
