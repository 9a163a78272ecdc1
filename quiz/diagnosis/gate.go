// Package diagnosis reasons about a set-up from what has been seen. Here
// stands the safety gate, Allowed, outside every policy and page: nothing is
// offered, and nothing scores, that it refuses. It is pure: what was answered
// goes in, a verdict comes out. What is truly wrong with a set-up must not
// reach it.
package diagnosis

import (
	"slices"

	"lampwright/lessons/setup"
)

// Verb is something a person does.
type Verb string

// The verbs. Those from ReplaceFuse on are never offered to a caregiver; the
// bench knows them so that a learner can find out why.
const (
	AskPerson  Verb = "ask-person" // chest moving, breathing easy, lips and gums
	Bag        Verb = "bag"        // off the ventilator and bag
	CallRescue Verb = "call-rescue"
	CallClinic Verb = "call-clinic"
	CallTech   Verb = "call-technologist"
	CallChair  Verb = "call-chair-vendor"
	Solved     Verb = "say-solved"
	Untrusted  Verb = "say-untrusted" // working, not trusted
	Look       Verb = "look"
	PlugIn     Verb = "plug-in" // the mains adapter: wall outlet and ventilator
	SwitchOn   Verb = "switch-on"
	PushHome   Verb = "push-home"
	Unplug     Verb = "unplug"
	OpenHolder Verb = "open-holder"

	ReplaceFuse Verb = "replace-fuse"
	OpenCase    Verb = "open-case"
	PullWire    Verb = "pull-wire"
	Force       Verb = "force"
)

var (
	always = []Verb{AskPerson, Bag, CallRescue, CallClinic, CallTech, CallChair, Solved, Untrusted}
	never  = []Verb{ReplaceFuse, OpenCase, PullWire, Force}
)

// Action is a verb on a part; the panel is the part PanelID.
type Action struct {
	Verb Verb
	Part string
}

// PanelID stands for the ventilator's whole face.
const PanelID = "panel"

// Answer is yes, no, or not known.
type Answer string

// The answers.
const (
	NotKnown Answer = ""
	Yes      Answer = "yes"
	No       Answer = "no"
)

// Answers are what is known so far, as answered; never the truth behind it.
type Answers struct {
	PersonOK     Answer
	Running      Answer       // the ventilator
	Source       setup.Source // as the panel was read, "" before
	SecondSign   Answer       // another, independent sign agrees with the panel
	MainsInReach Answer
	Minutes      *float64 // left on the internal battery; nil counts as few
	Day          Answer
	BagInHand    Answer
	Looks        map[string]setup.Look // of parts looked at
	Hot          map[string]bool       // parts felt hot, wet or smelling
}

// FewMinutes is too few to go on looking without an outside source (our own
// margin, common practice, no source).
const FewMinutes = 30

// staysApart are the looks of a joint or plug that must not be mated again.
var staysApart = []setup.Look{
	setup.LookCrossed, setup.LookReversed, setup.LookDiscoloured, setup.LookDamaged, setup.LookContactIn, setup.LookBrowned,
}

// Allowed is the gate. Where it refuses, why is the message key of the reason.
func Allowed(s *setup.Setup, a Action, in Answers) (ok bool, why string) {
	kind, known := s.PartKind(a.Part)
	panel := a.Part == PanelID || kind == setup.KindLamp || kind == setup.KindScreen
	switch {
	case slices.Contains(always, a.Verb):
		return true, ""
	case slices.Contains(never, a.Verb):
		return false, "gate.never." + string(a.Verb)
	case in.PersonOK == No:
		return false, "gate.person-not-ok"
	case in.PersonOK != Yes:
		return false, "gate.person-first"
	case in.Running == No, in.Source == setup.None:
		return false, "gate.stopped"
	case a.Verb == Look && panel:
		return true, ""
	case in.Source == "":
		return false, "gate.panel-first"
	case !known || panel:
		return false, "gate.unknown"
	}
	if a.Verb == PlugIn {
		switch {
		case in.MainsInReach != Yes:
			return false, "gate.no-mains"
		case s.Ventilator.Shared() && in.Source == setup.Chair:
			return false, "gate.one-inlet"
		}
		return true, ""
	}
	if in.Source == setup.Internal {
		switch {
		case in.MainsInReach == Yes && !onMainsSide(s, a.Part):
			return false, "gate.source-first"
		case in.MainsInReach != Yes && (in.Minutes == nil || *in.Minutes <= FewMinutes):
			return false, "gate.few-minutes"
		}
	}
	switch a.Verb {
	case Look:
		return true, ""
	case OpenHolder:
		if !s.Policy.OpenHolder || in.Source == setup.Chair {
			return false, "gate.look-through-cover"
		}
		return true, ""
	case SwitchOn:
		return seenFirst(in, a.Part)
	case PushHome:
		return mayPush(s, kind, a.Part, in)
	case Unplug:
		return mayUnplug(s, a.Part, in)
	}
	return false, "gate.unknown"
}

func onMainsSide(s *setup.Setup, part string) bool {
	return slices.ContainsFunc(s.Mains, func(p setup.Part) bool { return p.ID == part })
}

// seenFirst: a remedy follows a look, never a guess.
func seenFirst(in Answers, part string) (bool, string) {
	if _, seen := in.Looks[part]; !seen {
		return false, "gate.look-first"
	}
	return true, ""
}

func mayPush(s *setup.Setup, kind setup.Kind, part string, in Answers) (bool, string) {
	if ok, why := seenFirst(in, part); !ok {
		return ok, why
	}
	switch {
	case slices.Contains(staysApart, in.Looks[part]) || in.Hot[part]:
		return false, "gate.stays-apart"
	case kind == setup.KindJoint && !s.Policy.RemateJoint:
		return false, "gate.joint-not-yours"
	case kind == setup.KindPlug && s.Ventilator.Shared() && in.Source != setup.Internal:
		return false, "gate.one-inlet"
	}
	return true, ""
}

// mayUnplug: only what is not carrying, with another outside source seen to
// carry by two independent signs, by day, with the bag in hand.
func mayUnplug(s *setup.Setup, part string, in Answers) (bool, string) {
	carrying := setup.Chair
	if onMainsSide(s, part) {
		carrying = setup.Mains
	}
	switch {
	case in.Source == carrying:
		return false, "gate.carrying"
	case in.Source == setup.Internal, s.Ventilator.Shared(), in.SecondSign != Yes, in.Day != Yes, in.BagInHand != Yes:
		return false, "gate.unplug"
	}
	return true, ""
}
