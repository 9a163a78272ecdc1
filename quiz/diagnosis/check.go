package diagnosis

import (
	"slices"
	"strings"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
)

// Check is something a caregiver may look at: the panel, a part, or a plug's
// contacts once it is out.
type Check struct {
	ID       string
	Part     string
	Contacts bool
}

// Result is what a check shows, in one word.
type Result string

// The results beside the looks of a part. The panel shows a source, changing
// sources, or neither; a part may look sound and feel warm.
const (
	Unclear Result = "unclear" // asked, and not to be told
	Changes Result = "changes" // the panel comes and goes
	Unread  Result = "unread"  // nothing on the panel names a source
	Feels   Result = "warm"
	Ringing Result = "ringing"
	Quiet   Result = "quiet"
)

const contacts = "-contacts"

// looked are the kinds that are looked at one by one; lamps and screens are
// read together, as the panel.
var looked = []setup.Kind{
	setup.KindBattery, setup.KindIsolator, setup.KindTap, setup.KindLead, setup.KindJoint, setup.KindFuse, setup.KindDiode, setup.KindConverter,
	setup.KindPlug, setup.KindOutlet, setup.KindCord, setup.KindAdapter, setup.KindInlet, setup.KindSwitch, setup.KindInternal, setup.KindAlarm,
}

// Checks lists what a caregiver may look at, the panel first.
func Checks(s *setup.Setup) []Check {
	list := []Check{{ID: setup.PanelID, Part: setup.PanelID}}
	for _, id := range s.IDs() {
		kind, _ := s.PartKind(id)
		if slices.Contains(looked, kind) {
			list = append(list, Check{ID: id, Part: id})
		}
		if kind == setup.KindPlug {
			list = append(list, Check{ID: id + contacts, Part: id, Contacts: true})
		}
	}
	return list
}

// inside are looks that a mated plug or joint hides.
var inside = []setup.Look{setup.LookContactIn}

// Shows is what a check shows of a solved set-up.
func (c Check) Shows(s *setup.Setup, st *circuit.State) Result {
	if c.Part == setup.PanelID {
		return reads(s, st)
	}
	kind, _ := s.PartKind(c.Part)
	look := st.Seen(c.Part)
	if kind == setup.KindAlarm && look == setup.LookSound {
		if st.Alarm != setup.NoAlarm {
			return Ringing
		}
		return Quiet
	}
	hidden := slices.Contains(inside, look)
	switch {
	case c.Contacts && hidden, c.Contacts && look == setup.LookDiscoloured:
		return Result(look)
	case c.Contacts:
		return Result(setup.LookSound)
	case hidden && (kind == setup.KindPlug || kind == setup.KindJoint):
		look = setup.LookSound
	case kind == setup.KindFuse && !s.Part(c.Part).Fuse.Cover && look != setup.LookBrowned:
		look = setup.LookSound
	}
	if look == setup.LookSound && st.Heat(c.Part) != circuit.Cool {
		return Feels
	}
	return Result(look)
}

// reads is the panel as a careful person reads it.
func reads(s *setup.Setup, st *circuit.State) Result {
	blank := ""
	for i, in := range st.Panel {
		if in.Flicker {
			return Changes
		}
		if s.Ventilator.Panel[i].Screen != nil && !in.Lit && st.Source != setup.None {
			blank = "-blank"
		}
	}
	if source := Reading(s, st); source != "" {
		return Result(source) + Result(blank)
	}
	return Unread + Result(blank)
}

// Source is the source that a panel's result names, "" where it names none.
func (r Result) Source() setup.Source {
	name := setup.Source(strings.TrimSuffix(string(r), "-blank"))
	if slices.Contains([]setup.Source{setup.Mains, setup.Chair, setup.Internal, setup.None}, name) {
		return name
	}
	return ""
}

// Reading is the source a panel names: by a lamp or by words, and on a panel
// without a lamp for the internal battery by no lamp, a screen that is lit and
// the alarm. It is "" where nothing names one: a dead lamp looks the same.
func Reading(s *setup.Setup, st *circuit.State) setup.Source {
	lit := false
	for i, in := range st.Panel {
		it := s.Ventilator.Panel[i]
		if !in.Lit {
			continue
		}
		lit = true
		if it.Lamp != "" && len(it.LitOn) == 1 {
			return it.LitOn[0]
		}
	}
	switch {
	case lit && wordless(s) && st.Alarm != setup.NoAlarm:
		return setup.Internal
	case lit && wordless(s):
		return ""
	case lit:
		return st.Source
	case st.Source == setup.None:
		return setup.None
	}
	return ""
}

// wordless: the screen says the same whatever carries.
func wordless(s *setup.Setup) bool {
	for _, it := range s.Ventilator.Panel {
		if it.Screen != nil && it.Screen[setup.Mains] != it.Screen[setup.Internal] {
			return false
		}
	}
	return true
}

// What an action costs in seconds, by what it is done on (as fixed for the
// figures; those of parts it does not name are common practice, no source).
var lookSeconds = map[setup.Kind]float64{
	setup.KindPanel: 10, setup.KindLamp: 10, setup.KindScreen: 10, setup.KindAlarm: 10,
	setup.KindOutlet: 15, setup.KindCord: 15, setup.KindAdapter: 15, setup.KindSwitch: 20, setup.KindIsolator: 20,
	setup.KindBattery: 20, setup.KindTap: 20, setup.KindPlug: 20, setup.KindJoint: 30, setup.KindFuse: 45,
	setup.KindConverter: 30, setup.KindLead: 45, setup.KindDiode: 45, setup.KindInlet: 30, setup.KindInternal: 20,
}

// CallSeconds is what a call takes until it helps.
const CallSeconds = 900

// Seconds is what an action costs; looking at the person costs nothing.
func Seconds(s *setup.Setup, a Action) float64 {
	kind, _ := s.PartKind(a.Part)
	switch a.Verb {
	case Look:
		if kind == setup.KindJoint && nearBattery(s, a.Part) {
			return 45 // low at the back of the chair
		}
		return lookSeconds[kind]
	case PlugIn, Unplug:
		return 30
	case SwitchOn:
		return 5
	case PushHome:
		if kind == setup.KindJoint {
			return 30
		}
		return 10
	case OpenHolder, ReplaceFuse, OpenCase, PullWire, Force:
		return 60
	}
	return 0
}

// nearBattery tells on which side of the chain a joint lies: before the
// converter, or, without one, in the first half.
func nearBattery(s *setup.Setup, part string) bool {
	at := slices.IndexFunc(s.Chain, func(p setup.Part) bool { return p.ID == part })
	converter := slices.IndexFunc(s.Chain, func(p setup.Part) bool { return p.Converter != nil })
	if converter < 0 {
		converter = len(s.Chain) / 2
	}
	return at >= 0 && at < converter
}

// seconds of a check: a plug's contacts want a close look, and handling where
// it must be taken out first.
func (c Check) seconds(s *setup.Setup, out bool) float64 {
	switch {
	case c.Contacts && out:
		return 60
	case c.Contacts:
		return 60 + 60
	}
	return Seconds(s, Action{Look, c.Part})
}
