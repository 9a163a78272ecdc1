package setup

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"lampwright/locales/problem"
)

// Mode is a way a part can be wrong.
type Mode string

// The modes; ModesOf says which kinds know which.
const (
	Off            Mode = "off"             // a switch, isolator or outlet that does not pass
	Asleep         Mode = "asleep"          // an accessory port while the chair is off
	Open           Mode = "open"            // apart, or broken through
	HalfHome       Mode = "half-home"       // in, but not fully
	HighResistance Mode = "high-resistance" // carries, and heats
	Reversed       Mode = "reversed"        // plus and minus swapped
	Crossed        Mode = "crossed"         // mated with the wrong partner
	PushedIn       Mode = "pushed-in"       // a contact pushed back into its shell
	Blown          Mode = "blown"
	Missing        Mode = "missing"
	HolderHeated   Mode = "holder-heated" // a fuse holder that has been hot
	Flat           Mode = "flat"
	Aged           Mode = "aged"
	CutOut         Mode = "cut-out" // tripped, and waiting for a reset
	Failed         Mode = "failed"
	Dead           Mode = "dead"
)

// Look is what a person sees at a part; "sound" where nothing is wrong with it.
type Look string

// The looks.
const (
	LookSound       Look = "sound"
	LookOff         Look = "off"
	LookApart       Look = "apart"
	LookHalfHome    Look = "half-home"
	LookDiscoloured Look = "discoloured"
	LookReversed    Look = "reversed"
	LookCrossed     Look = "crossed"
	LookContactIn   Look = "contact-in"
	LookBlown       Look = "blown"
	LookEmpty       Look = "empty"
	LookBrowned     Look = "browned"
	LookDamaged     Look = "damaged"
	LookDark        Look = "dark"
	LookLow         Look = "low"
)

// Fixer is who may put a fault right.
type Fixer string

// The fixers.
const (
	Caregiver    Fixer = "caregiver"
	Technologist Fixer = "technologist"
	ChairVendor  Fixer = "chair-vendor"
)

// Knowledge is what the trade knows of one mode of one kind of part.
//
// Prior is how likely it is the cause when a caller says "running on
// internal", per part of the kind, with a factor of three either way (common
// practice, no source). Ohms is the severity used when none is given, zero
// where the mode has no severity.
type Knowledge struct {
	Kind  Kind
	Mode  Mode
	Prior float64
	Ohms  Ohms
	Look  Look
	Fixer Fixer
	Spare string // what to send, "" for nothing
}

// PriorFactor is the uncertainty of every prior: true within ÷3 to ×3.
const PriorFactor = 3

// Known lists every mode of every kind.
var Known = []Knowledge{
	{KindBattery, Flat, .06, 0, LookLow, Caregiver, ""},
	{KindBattery, Aged, .04, 0, LookSound, ChairVendor, "battery"},
	{KindIsolator, Off, .08, 0, LookOff, Caregiver, ""},
	{KindTap, Asleep, .05, 0, LookDark, Caregiver, ""},
	{KindTap, HighResistance, .01, 2, LookDiscoloured, ChairVendor, ""},
	{KindLead, Open, .02, 0, LookDamaged, Technologist, "lead"},
	{KindLead, HighResistance, .01, 1, LookDamaged, Technologist, "lead"},
	{KindJoint, Open, .06, 0, LookApart, Technologist, ""},
	{KindJoint, HalfHome, .05, 2, LookHalfHome, Technologist, ""},
	{KindJoint, HighResistance, .03, 6, LookDiscoloured, Technologist, "joint"},
	{KindJoint, Reversed, .005, 0, LookReversed, Technologist, "joint"},
	{KindJoint, Crossed, .01, 0, LookCrossed, Technologist, "joint"},
	{KindFuse, Blown, .06, 0, LookBlown, Technologist, "fuse"},
	{KindFuse, Missing, .01, 0, LookEmpty, Technologist, "fuse"},
	{KindFuse, HolderHeated, .025, 5, LookBrowned, Technologist, "fuse-holder"},
	{KindConverter, Failed, .03, 0, LookDark, Technologist, "converter"},
	{KindConverter, CutOut, .015, 0, LookDark, Technologist, ""},
	{KindSwitch, Off, .12, 0, LookOff, Caregiver, ""},
	{KindPlug, Open, .06, 0, LookApart, Caregiver, ""},
	{KindPlug, HalfHome, .06, 0, LookHalfHome, Caregiver, ""},
	{KindPlug, PushedIn, .05, 0, LookContactIn, Technologist, "plug"},
	{KindInlet, Failed, .01, 0, LookSound, Technologist, "ventilator"},
	{KindOutlet, Off, .06, 0, LookOff, Caregiver, ""},
	{KindCord, HalfHome, .03, 0, LookHalfHome, Caregiver, ""},
	{KindCord, Open, .01, 0, LookDamaged, Technologist, "cord"},
	{KindAdapter, Failed, .02, 0, LookDark, Technologist, "adapter"},
	{KindInternal, Flat, .03, 0, LookLow, Caregiver, ""},
	{KindInternal, Dead, .01, 0, LookSound, Technologist, "ventilator"},
	{KindLamp, Dead, .003, 0, LookDark, Technologist, "ventilator"},
}

// Of is what is known of a kind's mode.
func Of(k Kind, m Mode) (Knowledge, bool) {
	i := slices.IndexFunc(Known, func(e Knowledge) bool { return e.Kind == k && e.Mode == m })
	if i < 0 {
		return Knowledge{}, false
	}
	return Known[i], true
}

// ModesOf lists the modes of a kind.
func ModesOf(k Kind) []Mode {
	var ms []Mode
	for _, e := range Known {
		if e.Kind == k {
			ms = append(ms, e.Mode)
		}
	}
	return ms
}

// Fault is one part in one mode. Ohms is its severity, in a mode that has one.
type Fault struct {
	Part string
	Mode Mode
	Ohms Ohms
}

func (f Fault) String() string {
	s := f.Part + "=" + string(f.Mode)
	if f.Ohms > 0 {
		s += ":" + strconv.FormatFloat(float64(f.Ohms), 'g', -1, 64)
	}
	return s
}

// The range of a fault's severity: from a healthy contact to what no longer
// carries anything.
const (
	LeastOhms Ohms = 1e-3
	MostOhms  Ohms = 1e6
)

// ParseFault reads PART=MODE or PART=MODE:OHMS against a set-up, and fills in
// the usual severity where none is given.
func (s *Setup) ParseFault(text string) (Fault, error) {
	bad := func(got, wanted string) (Fault, error) {
		return Fault{}, problem.Wrap(fmt.Errorf("fault %q: got %s, expected %s", text, got, wanted),
			problem.Invalid, "problem.fault", "Fault", text, "Expected", wanted)
	}
	part, rest, ok := strings.Cut(text, "=")
	if !ok {
		return bad("no equals sign", "PART=MODE or PART=MODE:OHMS")
	}
	mode, severity, severe := strings.Cut(rest, ":")
	kind, ok := s.PartKind(part)
	if !ok {
		return bad("part "+strconv.Quote(part), "one of "+strings.Join(s.IDs(), ", "))
	}
	known, ok := Of(kind, Mode(mode))
	if !ok {
		return bad("mode "+strconv.Quote(mode), "for a "+string(kind)+" one of "+join(ModesOf(kind)))
	}
	f := Fault{Part: part, Mode: known.Mode, Ohms: known.Ohms}
	if severe {
		v, err := strconv.ParseFloat(severity, 64)
		switch {
		case known.Ohms == 0:
			return bad("ohms", "no ohms: this mode has no severity")
		case err != nil || !(Ohms(v) >= LeastOhms && Ohms(v) <= MostOhms):
			return bad("severity "+strconv.Quote(severity), "ohms from 0.001 to 1000000")
		}
		f.Ohms = Ohms(v)
	}
	return f, nil
}

// Faults lists every single fault this set-up can have, each at its usual
// severity; a port can sleep only where the tap is one.
func (s *Setup) Faults() []Fault {
	var fs []Fault
	for _, id := range s.IDs() {
		kind, _ := s.PartKind(id)
		for _, k := range Known {
			if k.Kind == kind && !(k.Mode == Asleep && s.tapAt() != AtPort) {
				fs = append(fs, Fault{id, k.Mode, k.Ohms})
			}
		}
	}
	return fs
}

func (s *Setup) tapAt() TapAt {
	for i := range s.Chain {
		if t := s.Chain[i].Tap; t != nil {
			return t.At
		}
	}
	return ""
}
