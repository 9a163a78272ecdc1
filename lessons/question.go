package lessons

import (
	"fmt"
	"slices"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
	"lampwright/locales/problem"
)

// Question closes a lesson. Its texts are messages: lessons.question.<lesson>
// with .prompt, .<option> and .<option>.why.
type Question struct {
	Ask     string   `yaml:"ask"`
	Figure  Figure   `yaml:"figure"`
	Options []string `yaml:"options"`
}

// What a question may ask. First and ending do not follow from the circuit:
// safety ranks their options. The others are computed.
const (
	AskFirst  = "first"  // what comes first
	AskEnding = "ending" // how it ends
	AskSource = "source" // which source carries the ventilator
	AskPart   = "part"   // which kind of part is at fault
	AskLook   = "look"   // what the figure's part shows
	AskHands  = "hands"  // who may put it right
	AskGo     = "go"     // go out or stay
)

// options are those of each ask. Of what safety ranks, the first on the list
// that is offered is right (the person before a source before a look; the most
// careful ending).
var options = map[string][]string{
	AskFirst:  {"person", "source", "look", "report"},
	AskEnding: {"emergency", "call", "working-not-trusted", "solved"},
	AskSource: {string(setup.Mains), string(setup.Chair), string(setup.Internal), string(setup.None)},
	AskPart: names(setup.KindBattery, setup.KindIsolator, setup.KindTap, setup.KindLead, setup.KindJoint, setup.KindFuse, setup.KindConverter,
		setup.KindPlug, setup.KindInlet, setup.KindSwitch, setup.KindOutlet, setup.KindCord, setup.KindAdapter),
	AskLook: names(setup.LookSound, setup.LookOff, setup.LookApart, setup.LookHalfHome, setup.LookDiscoloured, setup.LookReversed, setup.LookCrossed,
		setup.LookContactIn, setup.LookBlown, setup.LookEmpty, setup.LookBrowned, setup.LookDamaged, setup.LookDark, setup.LookLow, setup.LookMismatched),
	AskHands: {"you", "technologist", "chair-vendor"},
	AskGo:    {"go", "stay"},
}

func names[T ~string](list ...T) []string {
	var out []string
	for _, x := range list {
		out = append(out, string(x))
	}
	return out
}

// OfLooks tells whether the answer is in how parts look.
func (q *Question) OfLooks() bool { return slices.Contains([]string{AskPart, AskLook, AskGo}, q.Ask) }

// Key is the right option for a set-up.
func (q *Question) Key(s *setup.Setup) (string, error) {
	key, err := q.key(s)
	if err == nil && !slices.Contains(q.Options, key) {
		return "", bad("options", q.Options, "what is right, "+key+", among them")
	}
	return key, err
}

func (q *Question) key(s *setup.Setup) (string, error) {
	if q.Ask == AskFirst || q.Ask == AskEnding {
		for _, option := range options[q.Ask] {
			if slices.Contains(q.Options, option) {
				return option, nil
			}
		}
		return "", bad("options", q.Options, "options of "+q.Ask)
	}
	c, err := q.Figure.Conditions(s)
	if err != nil {
		return "", err
	}
	state, err := circuit.Solve(s, c)
	if err != nil {
		return "", err
	}
	switch q.Ask {
	case AskSource:
		return string(state.Source), nil
	case AskLook:
		return string(state.Seen(q.Figure.On(s).Part)), nil
	case AskGo:
		if state.Source == setup.Chair && len(state.Looks) == 0 && len(state.Heats) == 0 {
			return "go", nil
		}
		return "stay", nil
	}
	if len(c.Faults) != 1 {
		return "", bad("faults", q.Figure.Faults, "one fault")
	}
	kind, _ := s.PartKind(c.Faults[0].Part)
	switch q.Ask {
	case AskPart:
		return string(kind), nil
	case AskHands:
		return hands(s, kind, c.Faults[0].Mode), nil
	}
	return "", bad("ask", q.Ask, "one of first, ending, source, part, look, hands, go")
}

// hands is who may put a fault right here: a caregiver mates a joint only where
// the programme lets them.
func hands(s *setup.Setup, kind setup.Kind, mode setup.Mode) string {
	known, _ := setup.Of(kind, mode)
	let := kind == setup.KindJoint && s.Policy.RemateJoint && (mode == setup.HalfHome || mode == setup.Open)
	switch {
	case let, known.Fixer == setup.Caregiver:
		return "you"
	case known.Fixer == setup.ChairVendor:
		return "chair-vendor"
	}
	return "technologist"
}

func bad(field string, value any, wanted string) error {
	return problem.Wrap(fmt.Errorf("%s: got %v, expected %s", field, value, wanted),
		problem.Invalid, "problem.value", "Field", field, "Value", value, "Expected", wanted)
}
