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
	Intermittent   Mode = "intermittent" // open while the chair is tilted or reclined, sound when upright
	WrongType      Mode = "wrong-type"   // another make, rating or voltage stands in its place
	Pinched        Mode = "pinched"      // crushed: its two conductors touch
	Tripped        Mode = "tripped"      // the house's breaker behind an outlet
	Shorted        Mode = "shorted"      // failed to a plain wire
	CellShorted    Mode = "cell-shorted" // one cell of a block gives nothing
	BoardOff       Mode = "board-off"    // a lithium pack's management board has cut it off
	SenseOpen      Mode = "sense-open"   // the sensing contact does not meet
	NotAccepted    Mode = "not-accepted" // volts are there, the ventilator does not take them
	NotCharging    Mode = "not-charging"
	Silenced       Mode = "silenced" // an alarm that was paused or turned down
	Misread        Mode = "misread"  // nothing is wrong; the panel was read wrongly, or the change was to be expected
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
	LookMismatched  Look = "mismatched" // its label, shape or number is not the right one
	LookSilenced    Look = "silenced"
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
// internal", per part of the kind; the truth lies within Prior/Spread and
// Prior×Spread (common practice, no source). Ohms is the severity used when
// none is given, zero where the mode has no severity.
type Knowledge struct {
	Kind   Kind
	Mode   Mode
	Prior  float64
	Spread float64
	Ohms   Ohms
	Look   Look
	Fixer  Fixer
	Spare  string // what to send, "" for nothing
}

// usually is the spread of most priors; serviced that of what a service leaves
// behind, far more often after one than between two.
const (
	usually  = 3
	serviced = 10
)

// Known lists every mode of every kind.
var Known = []Knowledge{
	{KindBattery, Flat, .06, usually, 0, LookLow, Caregiver, ""},
	{KindBattery, Aged, .03, usually, 0, LookSound, ChairVendor, "battery"},
	{KindBattery, CellShorted, .005, usually, 0, LookLow, ChairVendor, "battery"},
	{KindBattery, BoardOff, .02, usually, 0, LookDark, ChairVendor, ""},
	{KindIsolator, Off, .08, usually, 0, LookOff, Caregiver, ""},
	{KindIsolator, HighResistance, .003, usually, 2, LookDiscoloured, ChairVendor, ""},
	{KindTap, Asleep, .05, usually, 0, LookDark, Caregiver, ""},
	{KindTap, HighResistance, .01, usually, 2, LookDiscoloured, ChairVendor, ""},
	{KindTap, Open, .01, usually, 0, LookApart, ChairVendor, ""},
	{KindLead, Open, .02, usually, 0, LookDamaged, Technologist, "lead"},
	{KindLead, HighResistance, .01, usually, 1, LookDamaged, Technologist, "lead"},
	{KindLead, Intermittent, .01, usually, 0, LookSound, Technologist, "lead"},
	{KindLead, Pinched, .01, usually, 0, LookDamaged, Technologist, "lead"},
	{KindJoint, Open, .06, usually, 0, LookApart, Technologist, ""},
	{KindJoint, HalfHome, .05, usually, 1, LookHalfHome, Technologist, ""},
	{KindJoint, HighResistance, .03, usually, 6, LookDiscoloured, Technologist, "joint"},
	{KindJoint, Intermittent, .02, usually, 0, LookSound, Technologist, "joint"},
	{KindJoint, PushedIn, .01, usually, 0, LookContactIn, Technologist, "joint"},
	{KindJoint, Reversed, .005, serviced, 0, LookReversed, Technologist, "joint"},
	{KindJoint, Crossed, .01, serviced, 0, LookCrossed, Technologist, "joint"},
	{KindJoint, WrongType, .002, serviced, .3, LookMismatched, Technologist, "joint"},
	{KindFuse, Blown, .06, usually, 0, LookBlown, Technologist, "fuse"},
	{KindFuse, Missing, .01, usually, 0, LookEmpty, Technologist, "fuse"},
	{KindFuse, HolderHeated, .025, usually, 5, LookBrowned, Technologist, "fuse-holder"},
	{KindFuse, WrongType, .001, serviced, 0, LookMismatched, Technologist, "fuse"},
	{KindDiode, Open, .005, usually, 0, LookSound, Technologist, "diode"},
	{KindDiode, Shorted, .002, usually, 0, LookSound, Technologist, "diode"},
	{KindConverter, Failed, .03, usually, 0, LookDark, Technologist, "converter"},
	{KindConverter, CutOut, .015, usually, 0, LookDark, Technologist, ""},
	{KindConverter, WrongType, .002, serviced, 0, LookMismatched, Technologist, "converter"},
	{KindSwitch, Off, .12, usually, 0, LookOff, Caregiver, ""},
	{KindPlug, Open, .06, usually, 0, LookApart, Caregiver, ""},
	{KindPlug, HalfHome, .06, usually, 0, LookHalfHome, Caregiver, ""},
	{KindPlug, PushedIn, .05, usually, 0, LookContactIn, Technologist, "plug"},
	{KindPlug, SenseOpen, .01, usually, 0, LookContactIn, Technologist, "plug"},
	{KindPlug, HighResistance, .01, usually, 3, LookDiscoloured, Technologist, "plug"},
	{KindPlug, Intermittent, .01, usually, 0, LookSound, Technologist, "plug"},
	{KindInlet, Failed, .0025, usually, 0, LookSound, Technologist, "ventilator"},
	{KindInlet, NotAccepted, .0025, usually, 0, LookSound, Technologist, "ventilator"},
	{KindOutlet, Off, .04, usually, 0, LookOff, Caregiver, ""},
	{KindOutlet, Tripped, .02, usually, 0, LookSound, Caregiver, ""},
	{KindCord, HalfHome, .03, usually, 0, LookHalfHome, Caregiver, ""},
	{KindCord, Open, .01, usually, 0, LookDamaged, Technologist, "cord"},
	{KindAdapter, Failed, .02, usually, 0, LookDark, Technologist, "adapter"},
	{KindAdapter, WrongType, .005, serviced, 0, LookMismatched, Technologist, "adapter"},
	{KindInternal, Flat, .02, usually, 0, LookLow, Caregiver, ""},
	{KindInternal, Aged, .01, usually, 0, LookSound, Technologist, "ventilator"},
	{KindInternal, NotCharging, .01, usually, 0, LookLow, Technologist, "ventilator"},
	{KindInternal, Dead, .01, usually, 0, LookSound, Technologist, "ventilator"},
	{KindLamp, Dead, .003, usually, 0, LookDark, Technologist, "ventilator"},
	{KindScreen, Dead, .003, usually, 0, LookDark, Technologist, "ventilator"},
	{KindAlarm, Silenced, .01, usually, 0, LookSilenced, Caregiver, ""},
	{KindPanel, Misread, .12, usually, 0, LookSound, Caregiver, ""},
}

// Pair is two faults that come together, with how likely they are to be the
// cause together: data, not the product of their priors (common practice, no
// source).
type Pair struct {
	First, Second struct {
		Kind Kind
		Mode Mode
	}
	Prior, Spread float64
}

func together(k1 Kind, m1 Mode, k2 Kind, m2 Mode, prior float64) Pair {
	p := Pair{Prior: prior, Spread: usually}
	p.First.Kind, p.First.Mode, p.Second.Kind, p.Second.Mode = k1, m1, k2, m2
	return p
}

// KnownPairs lists what comes together.
var KnownPairs = []Pair{
	together(KindLead, Open, KindFuse, Blown, .01),             // crushed through, and the short on the way
	together(KindJoint, Crossed, KindFuse, Blown, .004),        // mated wrongly, and the fuse went at once
	together(KindJoint, Reversed, KindFuse, Blown, .003),       // the same
	together(KindBattery, Aged, KindConverter, CutOut, .006),   // an old pack sags until the converter lets go
	together(KindBattery, Flat, KindInternal, Flat, .01),       // one long day without mains spends both
	together(KindJoint, HighResistance, KindFuse, Blown, .002), // it heated, failed and shorted
	together(KindPlug, PushedIn, KindInlet, Failed, .002),      // a bent contact breaks what it goes into
	together(KindInternal, Aged, KindBattery, Aged, .003),      // bought together, old together
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
// severity.
func (s *Setup) Faults() []Fault {
	var fs []Fault
	for _, id := range s.IDs() {
		kind, _ := s.PartKind(id)
		for _, k := range Known {
			if k.Kind == kind && s.can(id, k.Mode) {
				fs = append(fs, Fault{id, k.Mode, k.Ohms})
			}
		}
	}
	return fs
}

// can is whether a part of this set-up can be wrong in a mode of its kind.
func (s *Setup) can(id string, m Mode) bool {
	p := s.Part(id)
	switch m {
	case Asleep:
		return p.Tap.At == AtPort
	case BoardOff:
		return p.Battery.Chemistry == Lithium
	case CellShorted:
		return p.Battery.Chemistry != Lithium
	case SenseOpen:
		in := s.Ventilator.InletFor(Chair)
		if slices.ContainsFunc(s.Mains, func(q Part) bool { return q.ID == id }) {
			in = s.Ventilator.InletFor(Mains)
		}
		return p.Plug.Sense && in.Sense
	}
	return true
}

// Together is a pair of faults this set-up can have, with its prior.
type Together struct {
	Faults        [2]Fault
	Prior, Spread float64
}

// Pairs lists the pairs of faults that come together in this set-up. A pair's
// prior is shared among the parts that could be meant.
func (s *Setup) Pairs() []Together {
	var out []Together
	for _, k := range KnownPairs {
		first := len(out)
		for _, a := range s.Faults() {
			for _, b := range s.Faults() {
				ka, _ := s.PartKind(a.Part)
				kb, _ := s.PartKind(b.Part)
				if ka == k.First.Kind && a.Mode == k.First.Mode && kb == k.Second.Kind && b.Mode == k.Second.Mode && s.neighbours(a.Part, b.Part) {
					out = append(out, Together{[2]Fault{a, b}, k.Prior, k.Spread})
				}
			}
		}
		for i := first; i < len(out); i++ {
			out[i].Prior /= float64(len(out) - first)
		}
	}
	return out
}

// neighbours: what blows a fuse lies behind it and before the converter, and a
// plug breaks the inlet it goes into.
func (s *Setup) neighbours(a, b string) bool {
	at := func(id string) int { return slices.IndexFunc(s.Chain, func(p Part) bool { return p.ID == id }) }
	if kind, _ := s.PartKind(b); kind == KindInlet {
		side := Chair
		if at(a) < 0 {
			side = Mains
		}
		return s.Ventilator.InletFor(side).ID == b
	}
	if p := s.Part(b); p == nil || p.Fuse == nil {
		return true
	}
	converter := slices.IndexFunc(s.Chain, func(p Part) bool { return p.Converter != nil })
	return at(a) > at(b) && (converter < 0 || at(a) < converter)
}
