package outing

import (
	"fmt"
	"slices"
	"strconv"
	"time"

	"github.com/goccy/go-yaml/ast"

	"lampwright/lessons/setup"
	"lampwright/locales/problem"
)

// Bounds of a plan.
const (
	MostLegs    = 24
	MostMinutes = 7 * 24 * 60 // of all legs together
)

// file is a plan as it is written.
type file struct {
	Schema      int           `yaml:"schema"`
	Setup       string        `yaml:"set-up"`
	Leaves      string        `yaml:"leaves"`
	Zone        string        `yaml:"zone"`
	Setting     setting       `yaml:"setting"`
	Temperature setup.Celsius `yaml:"temperature"`
	Chair       struct {
		Charge   *float64      `yaml:"charge"`
		Years    *float64      `yaml:"years"`
		Measured setup.Minutes `yaml:"measured"`
		On       string        `yaml:"on"`
	} `yaml:"chair"`
	Internal struct {
		Charge   *float64      `yaml:"charge"`
		Measured setup.Minutes `yaml:"measured"`
		On       string        `yaml:"on"`
	} `yaml:"internal"`
	Faults []string `yaml:"faults"`
	Legs   []leg    `yaml:"legs"`
}

type leg struct {
	Drive   setup.Kilometres `yaml:"drive"`
	Stand   setup.Minutes    `yaml:"stand"`
	Mains   setup.Minutes    `yaml:"mains"`
	Carried []string         `yaml:"carried"`
	Tilted  bool             `yaml:"tilted"`
}

// setting is low, usual, high, or watts with their unit.
type setting struct {
	name  string
	watts setup.Watts
}

// UnmarshalYAML reads a setting.
func (v *setting) UnmarshalYAML(n ast.Node) error {
	if s, ok := n.(*ast.StringNode); ok && slices.Contains([]string{"low", "usual", "high"}, s.Value) {
		v.name = s.Value
		return nil
	}
	v.name = "watts"
	return v.watts.UnmarshalYAML(n)
}

// The form of a time of leaving, on the site's clock.
const leavesForm = "2006-01-02 15:04"

// File is a plan that still wants the set-up it is for.
type File struct {
	Setup    string // the set-up file it names, from the plan's own folder
	document *setup.Document
	file     file
}

// Read reads a plan from YAML. name is the file's, for errors. Every error is
// a problem.Invalid whose text names file, line, what stands there and what
// was expected.
func Read(name string, data []byte) (*File, error) {
	f := &File{file: file{Temperature: 20, Setting: setting{name: "usual"}}}
	var err error
	if f.document, err = setup.Decode(name, data, "plan of an outing", &f.file); err != nil {
		return nil, err
	}
	f.Setup = f.file.Setup
	if f.file.Schema != 1 {
		return nil, f.document.Wrong("$.schema", strconv.Itoa(f.file.Schema), "1")
	}
	return f, nil
}

// For is the plan for a set-up. Errors as Read.
func (f *File) For(s *setup.Setup) (Plan, error) {
	wrong := f.document.Wrong
	leaves, err := f.leaves()
	if err != nil {
		return Plan{}, err
	}
	p := Usual(s, leaves)
	p.Celsius = float64(f.file.Temperature)
	switch f.file.Setting.name {
	case "low":
		p.Load = s.Ventilator.Draw.Low
	case "high":
		p.Load = s.Ventilator.Draw.High
	case "watts":
		d := s.Ventilator.Draw
		if p.Load = f.file.Setting.watts; p.Load < d.Low/2 || p.Load > d.Peak {
			return Plan{}, wrong("$.setting", fmt.Sprintf("%g W", p.Load), fmt.Sprintf("low, usual, high, or watts from %g to %g", d.Low/2, d.Peak))
		}
	}
	share := func(path string, v *float64, put func(float64)) error {
		if v == nil {
			return nil
		}
		if !(*v >= 0 && *v <= 1) {
			return wrong(path, strconv.FormatFloat(*v, 'g', -1, 64), "a number from 0 to 1")
		}
		put(*v)
		return nil
	}
	if err := share("$.chair.charge", f.file.Chair.Charge, p.charge); err != nil {
		return Plan{}, err
	}
	if err := share("$.internal.charge", f.file.Internal.Charge, func(v float64) { p.Internal.Charge = v }); err != nil {
		return Plan{}, err
	}
	if y := f.file.Chair.Years; y != nil {
		if !(*y >= 0 && *y <= 30) {
			return Plan{}, wrong("$.chair.years", fmt.Sprint(*y), "years from 0 to 30")
		}
		p.Chair.Years = *y
	}
	if f.file.Chair.Measured > 0 || f.file.Chair.On != "" {
		p.Chair.Measured = f.file.Chair.Measured
		if p.Chair.Since, err = f.since("$.chair", f.file.Chair.Measured, f.file.Chair.On, leaves); err != nil {
			return Plan{}, err
		}
	}
	if f.file.Internal.Measured > 0 || f.file.Internal.On != "" {
		p.Internal.Measured = f.file.Internal.Measured
		if p.Internal.Years, err = f.since("$.internal", f.file.Internal.Measured, f.file.Internal.On, leaves); err != nil {
			return Plan{}, err
		}
	}
	for i, text := range f.file.Faults {
		fault, err := s.ParseFault(text)
		if err != nil {
			return Plan{}, wrong(fmt.Sprintf("$.faults[%d]", i), strconv.Quote(text), "a fault of "+s.Tag+", PART=MODE or PART=MODE:OHMS")
		}
		p.Faults = append(p.Faults, fault)
	}
	return p, f.legs(s, &p)
}

func (f *File) leaves() (time.Time, error) {
	zone, err := time.LoadLocation(f.file.Zone)
	if f.file.Zone == "" || f.file.Zone == "Local" || err != nil {
		return time.Time{}, f.document.Wrong("$.zone", strconv.Quote(f.file.Zone), "a zone such as Europe/Paris")
	}
	t, err := LocalTime(f.file.Leaves, zone)
	if err != nil {
		return t, f.document.Wrong("$.leaves", strconv.Quote(f.file.Leaves), problem.Of(err).Cause.Error())
	}
	return t, nil
}

// LocalTime reads "2026-11-25 09:30" on a zone's clock. A time that a clock
// change skips is refused; of one that it repeats, the first is meant.
func LocalTime(text string, zone *time.Location) (time.Time, error) {
	t, err := time.ParseInLocation(leavesForm, text, zone)
	if err != nil || t.Year() < 2000 || t.Year() > 2200 {
		return t, problem.Wrap(fmt.Errorf("a time such as %q", "2026-11-25 09:30"), problem.Invalid, "problem.leaves-form")
	}
	if t.Format(leavesForm) != text {
		return t, problem.Wrap(fmt.Errorf("a time that exists: the clocks go forward then"), problem.Invalid, "problem.leaves-skipped")
	}
	for _, back := range []time.Duration{30 * time.Minute, time.Hour, 2 * time.Hour} {
		if earlier := t.Add(-back); earlier.Format(leavesForm) == text {
			return earlier, nil
		}
	}
	return t, nil
}

// since is the years between a measurement and leaving.
func (f *File) since(path string, measured setup.Minutes, on string, leaves time.Time) (float64, error) {
	if measured == 0 {
		return 0, f.document.Wrong(path+".measured", "0 min", "the minutes measured on that day")
	}
	day, err := time.ParseInLocation(time.DateOnly, on, leaves.Location())
	if err != nil || day.After(leaves) {
		return 0, f.document.Wrong(path+".on", strconv.Quote(on), "the day of the measurement, before leaving, such as 2026-08-01")
	}
	return years(day, leaves), nil
}

func (f *File) legs(s *setup.Setup, p *Plan) error {
	if n := len(f.file.Legs); n < 1 || n > MostLegs {
		return f.document.Wrong("$.legs", fmt.Sprintf("%d legs", n), fmt.Sprintf("1 to %d legs", MostLegs))
	}
	for i, l := range f.file.Legs {
		at := fmt.Sprintf("$.legs[%d]", i)
		out := Leg{Km: l.Drive, Minutes: l.Stand + l.Mains, Tilted: l.Tilted}
		given := 0
		for _, k := range []struct {
			kind  Kind
			given bool
		}{{Drive, l.Drive > 0}, {Stand, l.Stand > 0}, {Mains, l.Mains > 0}} {
			if k.given {
				out.Kind = k.kind
				given++
			}
		}
		if given != 1 {
			return f.document.Wrong(at, fmt.Sprintf("%d of drive, stand and mains above zero", given), "exactly one")
		}
		for _, c := range l.Carried {
			switch {
			case out.Kind != Mains:
				return f.document.Wrong(at+".carried", c, "nothing: it is of use only at mains")
			case c == "adapter":
				out.Adapter = true
			case c == "chair-charger":
				out.ChairCharger = true
			default:
				return f.document.Wrong(at+".carried", strconv.Quote(c), "adapter or chair-charger")
			}
		}
		p.Legs = append(p.Legs, out)
	}
	return p.bounded(s, func(minutes float64) error {
		return f.document.Wrong("$.legs", fmt.Sprintf("%.0f minutes together", minutes), fmt.Sprintf("at most %d", MostMinutes))
	})
}

func (p *Plan) bounded(s *setup.Setup, tooLong func(minutes float64) error) error {
	seconds := 0.0
	for _, l := range p.Legs {
		seconds += l.seconds(s)
	}
	if seconds > MostMinutes*60 {
		return tooLong(seconds / 60)
	}
	return nil
}
