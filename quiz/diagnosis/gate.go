// Package diagnosis reasons about a set-up from what has been seen. Here
// stands the safety gate, Allowed, outside every policy and page: nothing is
// offered, and nothing scores, that it refuses. Behind it, a Model knows what
// every check would show under every cause, a Mind what follows from what was
// answered, and Next the step of least expected cost to an ending. It is pure:
// what was answered goes in, a verdict comes out. What is truly wrong with a
// set-up must not reach it; pages, storage and scenarios must not live here.
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
	always = []Verb{AskPerson, Bag, CallRescue, CallClinic, CallTech, CallChair}
	never  = []Verb{ReplaceFuse, OpenCase, PullWire, Force}
)

// Action is a verb on a part; the panel is the part PanelID.
type Action struct {
	Verb Verb
	Part string
}

// PanelID stands for the ventilator's whole face.
const PanelID = setup.PanelID

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
	PanelSeen    Answer       // the panel was looked at, readable or not
	Source       setup.Source // as the panel was read, "" before, or where it cannot be read
	SecondSign   Answer       // another, independent sign agrees with the panel: an alarm with the internal battery, with mains the panel read once more
	MainsInReach Answer
	MainsTried   Answer   // the adapter was plugged in
	Minutes      *float64 // left on the internal battery; nil counts as few
	Day          Answer
	BagInHand    Answer
	PathDead     Answer                // known to be without power, at both ends
	Looks        map[string]setup.Look // of parts looked at
	Hot          map[string]bool       // parts felt warm or hot, wet or smelling
}

// FewMinutes is too few to go on looking without an outside source, for a
// person who cannot breathe unaided at all (our own margin, common practice,
// no source).
const FewMinutes = 30

// few takes the person's dependence into account: minutes unaided count, up to
// twenty of them.
func few(s *setup.Setup, in Answers) bool {
	return in.Minutes == nil || *in.Minutes <= FewMinutes-min(float64(s.Dependence.Unaided), 20)
}

// staysApart are the looks of a part that must not be touched, mated or fed again.
var staysApart = []setup.Look{
	setup.LookCrossed, setup.LookReversed, setup.LookDiscoloured, setup.LookDamaged, setup.LookContactIn, setup.LookBrowned, setup.LookMismatched,
}

// Allowed is the gate. Where it refuses, why is the message key of the reason.
func Allowed(s *setup.Setup, a Action, in Answers) (ok bool, why string) {
	kind, known := s.PartKind(a.Part)
	panel := slices.Contains([]setup.Kind{setup.KindPanel, setup.KindLamp, setup.KindScreen, setup.KindAlarm}, kind)
	switch {
	case slices.Contains(always, a.Verb):
		return true, ""
	case slices.Contains(never, a.Verb):
		return false, "gate.never." + string(a.Verb)
	case a.Verb == Solved, a.Verb == Untrusted: // both say that it works
		switch {
		case in.PersonOK == No || in.Running == No || in.Source == setup.None:
			return false, "gate.stopped"
		case in.PersonOK != Yes || in.PanelSeen != Yes || in.Source != setup.Mains && in.Source != setup.Chair:
			return false, "gate.not-seen"
		case hurtOn(s, in.Source, in): // it rides through what must not be fed
			return false, "gate.stays-apart"
		}
		return true, ""
	case in.PersonOK == No:
		return false, "gate.person-not-ok"
	case in.PersonOK != Yes:
		return false, "gate.person-first"
	case in.Running == No, in.Source == setup.None:
		return false, "gate.stopped"
	case a.Verb == Look && panel:
		return true, ""
	case !known || panel:
		return false, "gate.unknown"
	case a.Verb == PlugIn:
		return mayPlugIn(s, in)
	case in.PanelSeen != Yes:
		return false, "gate.panel-first"
	}
	if in.Source == setup.Internal || in.Source == "" { // a panel that cannot be read counts as internal, and as few minutes
		tooFew := few(s, in) || in.Source == ""
		untried := in.MainsInReach == Yes && in.MainsTried != Yes
		switch {
		case untried && (tooFew || !onMainsSide(s, a.Part)):
			return false, "gate.source-first"
		case !untried && in.Source == "":
			return false, "gate.panel-unreadable"
		case !untried && tooFew:
			return false, "gate.few-minutes"
		}
	}
	switch a.Verb {
	case Look:
		return true, ""
	case OpenHolder:
		if kind != setup.KindFuse || !s.Policy.OpenHolder || in.PathDead != Yes || in.Source != setup.Mains || in.SecondSign != Yes || dangerous(in, a.Part) {
			return false, "gate.look-through-cover"
		}
		return true, ""
	case SwitchOn:
		if !slices.Contains(switched, kind) {
			return false, "gate.unknown"
		}
		return mayRemedy(s, a.Part, in)
	case PushHome:
		return mayPush(s, kind, a.Part, in)
	case Unplug:
		return mayUnplug(s, kind, a.Part, in)
	}
	return false, "gate.unknown"
}

// mayPlugIn: nothing damaged or hot on the mains side; and where one inlet is
// shared, so that the chair's plug must come out first, only when two signs
// say that the chair does not carry, with the bag in hand.
func mayPlugIn(s *setup.Setup, in Answers) (bool, string) {
	switch {
	case in.MainsInReach != Yes:
		return false, "gate.no-mains"
	case hurtOn(s, setup.Mains, in):
		return false, "gate.stays-apart"
	case !s.Ventilator.Shared():
		return true, ""
	case in.PanelSeen != Yes:
		return false, "gate.panel-first"
	case in.Source != setup.Internal || in.SecondSign != Yes:
		return false, "gate.one-inlet"
	case in.BagInHand != Yes:
		return false, "gate.bag-first"
	}
	return true, ""
}

// dangerous is a part that must not be touched, or fed again.
func dangerous(in Answers, part string) bool {
	return slices.Contains(staysApart, in.Looks[part]) || in.Hot[part]
}

func onMainsSide(s *setup.Setup, part string) bool {
	return slices.ContainsFunc(s.Mains, func(p setup.Part) bool { return p.ID == part })
}

// hurtOn tells whether something on a source's way, inlet included, must not be
// touched or fed.
func hurtOn(s *setup.Setup, source setup.Source, in Answers) bool {
	side, inlet := s.Chain, s.Ventilator.InletFor(source)
	if source == setup.Mains {
		side = s.Mains
	}
	return dangerous(in, inlet.ID) || inlet.Switch != "" && dangerous(in, inlet.Switch) ||
		slices.ContainsFunc(side, func(p setup.Part) bool { return dangerous(in, p.ID) })
}

// switched are the kinds with something a caregiver may switch on.
var switched = []setup.Kind{setup.KindSwitch, setup.KindIsolator, setup.KindOutlet, setup.KindTap}

// mayRemedy: a remedy follows a look, never a guess, and never feeds a path on
// which something hot or damaged was found.
func mayRemedy(s *setup.Setup, part string, in Answers) (bool, string) {
	if _, seen := in.Looks[part]; !seen {
		return false, "gate.look-first"
	}
	both := s.Ventilator.Shared() && part == s.Ventilator.InletFor(setup.Chair).Switch
	if dangerous(in, part) || hurtOn(s, carriedBy(s, part), in) || both && hurtOn(s, setup.Mains, in) {
		return false, "gate.stays-apart"
	}
	return true, ""
}

func mayPush(s *setup.Setup, kind setup.Kind, part string, in Answers) (bool, string) {
	if ok, why := mayRemedy(s, part, in); !ok {
		return ok, why
	}
	gap := in.Looks[part] == setup.LookHalfHome || in.Looks[part] == setup.LookApart
	switch {
	case kind != setup.KindJoint && kind != setup.KindPlug && kind != setup.KindCord:
		return false, "gate.unknown"
	case kind == setup.KindJoint && !s.Policy.RemateJoint:
		return false, "gate.joint-not-yours"
	case in.Source == carriedBy(s, part):
		return false, "gate.carrying-push"
	case !gap:
		return false, "gate.no-gap"
	case kind == setup.KindPlug && s.Ventilator.Shared() && onMainsSide(s, part):
		return mayPlugIn(s, in)
	case kind == setup.KindPlug && s.Ventilator.Shared() && (in.Source != setup.Internal || in.SecondSign != Yes):
		return false, "gate.one-inlet"
	case kind == setup.KindJoint && in.SecondSign != Yes: // half home it may carry all the same
		return false, "gate.carrying-push"
	}
	return true, ""
}

// carriedBy is the source whose path a part is in.
func carriedBy(s *setup.Setup, part string) setup.Source {
	if onMainsSide(s, part) {
		return setup.Mains
	}
	return setup.Chair
}

// mayUnplug: only what is not carrying, with another outside source seen to
// carry by two independent signs, by day, with the bag in hand.
func mayUnplug(s *setup.Setup, kind setup.Kind, part string, in Answers) (bool, string) {
	switch {
	case kind == setup.KindJoint && !s.Policy.RemateJoint:
		return false, "gate.joint-not-yours"
	case kind != setup.KindPlug && kind != setup.KindCord && kind != setup.KindJoint:
		return false, "gate.unknown"
	case in.Source == carriedBy(s, part):
		return false, "gate.carrying"
	case dangerous(in, part):
		return false, "gate.stays-apart"
	case in.Source == setup.Internal, in.Source == "", s.Ventilator.Shared(), in.SecondSign != Yes, in.Day != Yes, in.BagInHand != Yes:
		return false, "gate.unplug"
	}
	return true, ""
}
