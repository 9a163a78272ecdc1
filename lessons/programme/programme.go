// Package programme is what a programme decides for all its set-ups: whom to
// call and when, what a caregiver may do, its joints' colours, its own words.
// What one set-up is made of, who may sign, how pages look must not live here.
package programme

import (
	_ "embed"
	"errors"
	"fmt"
	"slices"
	"strings"

	"lampwright/lessons/setup"
)

// English stands in for what a programme does not say in another language.
const English = "en"

// Always is the hours of a line that answers day and night.
const Always = "always"

// Programme is what one programme decides, as it was read.
type Programme struct {
	Name, Zone                                     string
	Emergency, Clinical, Technologist, ChairVendor Line // the last is empty where every chair has its own
	Policies                                       Policies
	Joints                                         Joints
	text                                           map[string]string   // by language
	cautions                                       map[string][]string // by language
}

// Line is a phone line: its number, and when it answers on the programme's
// clock, as 08:00–18:00, or Always.
type Line struct{ Number, Hours string }

// Policies are what holds for every caregiver and set-up of the programme.
type Policies struct {
	RemateJoint      bool // a caregiver may re-mate a joint, where the set-up says so too
	OpenHolder       bool // and open a fuse holder
	SignOffDays      int  // that a sign-off is valid
	FewestCaregivers int  // who are current, for each set-up
	OneTimeCodes     bool // staff sign in with one beside their password
	KeepRunsDays     int  // that runs are kept which no sign-off rests on
}

// Usual are the policies of a programme that says nothing (common practice, no
// source).
var Usual = Policies{SignOffDays: 365, FewestCaregivers: 2, OneTimeCodes: true, KeepRunsDays: 730}

// Joints are the colours of joints by side of the converter: each one of
// setup.Colours, none on both sides. Where there are none, any will do.
type Joints struct{ Battery, Ventilator []string }

// Words are what a programme says beside its numbers, in one language.
type Words struct {
	Language, Text string
	Cautions       []string
}

// Empty tells whether there is nothing to say.
func (w Words) Empty() bool { return w.Text == "" && len(w.Cautions) == 0 }

// In is what it says in a language, and in English where it does not speak it.
func (p *Programme) In(language string) Words {
	w := Words{language, p.text[language], p.cautions[language]}
	if w.Empty() {
		w = Words{English, p.text[English], p.cautions[English]}
	}
	return w
}

// Breach is something in a set-up that goes against the programme: where in
// its file, what stands there, and what the programme wants.
type Breach struct{ Path, Got, Wanted string }

// Permits names what in a set-up goes against the programme.
func (p *Programme) Permits(s *setup.Setup) (against []Breach) {
	if s.Policy.RemateJoint && !p.Policies.RemateJoint {
		against = append(against, Breach{"$.policy.re-mate-joint", "true", "false: the programme lets no caregiver re-mate a joint"})
	}
	if s.Policy.OpenHolder && !p.Policies.OpenHolder {
		against = append(against, Breach{"$.policy.open-fuse-holder", "true", "false: the programme lets no caregiver open a fuse holder"})
	}
	converter := slices.IndexFunc(s.Chain, func(p setup.Part) bool { return p.Converter != nil })
	if converter < 0 {
		return against // there are no two sides
	}
	for i := range s.Chain {
		side, colours := "battery", p.Joints.Battery
		if i > converter {
			side, colours = "ventilator", p.Joints.Ventilator
		}
		if j := s.Chain[i].Joint; j != nil && len(colours) > 0 && !slices.Contains(colours, j.Colour) {
			against = append(against, Breach{
				fmt.Sprintf("$.chain[%d].joint.colour", i), fmt.Sprintf("%q", j.Colour),
				strings.Join(colours, " or ") + ", the programme's on the " + side + " side",
			})
		}
	}
	return against
}

// ReadSetup reads a set-up as setup.Read does, and refuses one that goes
// against the programme; each such problem names file and line.
func (p *Programme) ReadSetup(name string, data []byte) (*setup.Setup, error) {
	s, err := setup.Read(name, data)
	if err != nil {
		return nil, err
	}
	against := p.Permits(s)
	if len(against) == 0 {
		return s, nil
	}
	d, err := setup.Decode(name, data, "set-up", &setup.Setup{})
	if err != nil {
		return nil, err
	}
	var errs []error
	for _, b := range against {
		errs = append(errs, d.Wrong(b.Path, b.Got, b.Wanted))
	}
	return nil, errors.Join(errs...)
}

//go:embed demo.yaml
var demo []byte

// DemoName is the name of the demo programme's file.
const DemoName = "demo.yaml"

// Demo reads the demo programme.
func Demo() (*Programme, error) { return Read(DemoName, demo) }

// DemoFile is the demo programme's YAML as it stands.
func DemoFile() []byte { return slices.Clone(demo) }
