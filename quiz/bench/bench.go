// Package bench is a scenario being acted on: the true set-up with its hidden
// fault, what the learner has found out, and the clock. A bench is rebuilt by
// acting again: the same start and actions always give the same bench. Whether
// a run was good is judged in quiz; nothing here scores, draws or stores.
package bench

import (
	"math"
	"slices"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
	"lampwright/locales/problem"
	"lampwright/quiz/diagnosis"
)

// Start is where a scenario begins.
type Start struct {
	Setup        *setup.Setup
	Faults       []setup.Fault // hidden
	MainsInReach bool
	Minutes      float64 // left on the internal battery, known to the learner
}

// Step is one action and what came of it.
type Step struct {
	Action  diagnosis.Action
	Seconds float64 // what it took
	Refused string  // the gate's reason, "" where it allowed the action
	Did     bool    // something changed
	Look    setup.Look
	Heat    circuit.Heat
	Source  setup.Source // carrying after the step, in truth
	Seen    setup.Source // what the panel has said so far
}

// Bench is a scenario under way.
type Bench struct {
	Start   Start
	Answers diagnosis.Answers
	Steps   []Step
	Seconds float64        // gone by
	Minutes float64        // left on the internal battery
	Ending  diagnosis.Verb // what ended it, "" while it goes on
	State   circuit.State

	world circuit.Conditions
}

// New opens a bench.
func New(start Start) (*Bench, error) {
	b := &Bench{Start: start, Minutes: start.Minutes, world: circuit.Usual(start.Faults...)}
	b.Answers = diagnosis.Answers{MainsInReach: diagnosis.No, Looks: map[string]setup.Look{}, Hot: map[string]bool{}}
	if start.MainsInReach {
		b.Answers.MainsInReach = diagnosis.Yes
	}
	return b, b.settle(0)
}

// settle lets seconds pass, then solves again.
func (b *Bench) settle(seconds float64) error {
	b.Seconds += seconds
	if b.State.Source == setup.Internal {
		b.Minutes = math.Max(0, b.Minutes-seconds/60)
	}
	left := b.Minutes
	b.Answers.Minutes = &left
	inside := 0.0
	if tested := float64(b.Start.Setup.Ventilator.Internal.Tested); tested > 0 {
		inside = math.Min(1, b.Minutes/tested)
	}
	b.world.Inside = &inside
	b.world.From = b.State.Source
	st, err := circuit.Solve(b.Start.Setup, b.world)
	if err != nil {
		return err
	}
	b.State = st
	if st.Kind == circuit.Collapsed {
		b.world.Tripped = true // off until staff reset it, or volts enough come back
	}
	return nil
}

// seconds an action takes, by what it is done on (common practice, no source).
var lookSeconds = map[setup.Kind]float64{
	setup.KindOutlet: 15, setup.KindCord: 15, setup.KindAdapter: 15, setup.KindSwitch: 20, setup.KindIsolator: 20,
	setup.KindBattery: 20, setup.KindTap: 45, setup.KindPlug: 20, setup.KindJoint: 30, setup.KindFuse: 45,
	setup.KindConverter: 30, setup.KindLead: 45, setup.KindInlet: 30, setup.KindInternal: 20,
}

// Cost is the seconds an action takes; looking at the person costs nothing,
// and endings cost nothing here.
func Cost(s *setup.Setup, a diagnosis.Action) float64 {
	kind, _ := s.PartKind(a.Part)
	switch a.Verb {
	case diagnosis.Look:
		if c, ok := lookSeconds[kind]; ok {
			if a.Part == "joint-battery" {
				return 45 // low at the back of the chair
			}
			return c
		}
		return 10 // the panel
	case diagnosis.PlugIn, diagnosis.Unplug:
		return 30
	case diagnosis.SwitchOn:
		return 5
	case diagnosis.PushHome:
		if kind == setup.KindJoint {
			return 30
		}
		return 10
	case diagnosis.OpenHolder, diagnosis.ReplaceFuse, diagnosis.OpenCase, diagnosis.PullWire, diagnosis.Force:
		return 60
	}
	return 0
}

// Endings are the verbs that end a run.
var Endings = []diagnosis.Verb{diagnosis.Solved, diagnosis.Untrusted, diagnosis.CallTech, diagnosis.CallChair, diagnosis.CallClinic, diagnosis.CallRescue}

// Offers lists what can be tried on a part, the tempting and wrong included.
func Offers(s *setup.Setup, part string) []diagnosis.Verb {
	kind, _ := s.PartKind(part)
	switch kind {
	case setup.KindOutlet:
		return []diagnosis.Verb{diagnosis.Look, diagnosis.PlugIn, diagnosis.SwitchOn}
	case setup.KindAdapter:
		return []diagnosis.Verb{diagnosis.Look, diagnosis.PlugIn}
	case setup.KindCord:
		return []diagnosis.Verb{diagnosis.Look, diagnosis.PushHome}
	case setup.KindFuse:
		return []diagnosis.Verb{diagnosis.Look, diagnosis.OpenHolder, diagnosis.ReplaceFuse}
	case setup.KindJoint, setup.KindPlug:
		return []diagnosis.Verb{diagnosis.Look, diagnosis.PushHome, diagnosis.Force, diagnosis.Unplug}
	case setup.KindSwitch, setup.KindIsolator:
		return []diagnosis.Verb{diagnosis.Look, diagnosis.SwitchOn}
	case setup.KindConverter:
		return []diagnosis.Verb{diagnosis.Look, diagnosis.OpenCase}
	case setup.KindLead:
		return []diagnosis.Verb{diagnosis.Look, diagnosis.PullWire}
	case "":
		return nil
	}
	return []diagnosis.Verb{diagnosis.Look}
}

func (b *Bench) known(a diagnosis.Action) bool {
	if slices.Contains(Endings, a.Verb) || a.Verb == diagnosis.AskPerson || a.Verb == diagnosis.Bag {
		return a.Part == ""
	}
	return slices.Contains(Offers(b.Start.Setup, a.Part), a.Verb)
}

// Act does an action. A refused one is recorded with its reason and changes
// nothing. Its errors are problem.Invalid for an action the bench does not
// know, problem.Moved once the run has ended.
func (b *Bench) Act(a diagnosis.Action) (Step, error) {
	if b.Ending != "" {
		return Step{}, problem.New(problem.Moved, "problem.run-ended")
	}
	if !b.known(a) {
		return Step{}, problem.New(problem.Invalid, "problem.unknown-action")
	}
	step := Step{Action: a, Seconds: Cost(b.Start.Setup, a)}
	switch ok, why := diagnosis.Allowed(b.Start.Setup, a, b.Answers); {
	case why == "gate.no-mains":
		step.Seconds = 0 // reaching for an outlet that is not there harms nobody
	case !ok:
		step.Refused, step.Seconds = why, 0
	default:
		b.do(a, &step)
	}
	if err := b.settle(step.Seconds); err != nil {
		return Step{}, err
	}
	if step.Did {
		// What the panel showed before the change may not be true any more,
		// but the change is seen at once on the panel beside it.
		b.readPanel()
	}
	step.Source, step.Seen = b.State.Source, b.Answers.Source
	b.Steps = append(b.Steps, step)
	return step, nil
}

func (b *Bench) do(a diagnosis.Action, step *Step) {
	s := b.Start.Setup
	switch a.Verb {
	case diagnosis.AskPerson:
		b.Answers.PersonOK, b.Answers.Running = diagnosis.Yes, diagnosis.Yes
		if b.State.Source == setup.None {
			b.Answers.PersonOK, b.Answers.Running = diagnosis.No, diagnosis.No
		}
	case diagnosis.Bag:
		b.Answers.BagInHand = diagnosis.Yes
	case diagnosis.Look:
		kind, _ := s.PartKind(a.Part)
		if slices.Contains(face, kind) {
			b.readPanel()
			return
		}
		step.Look, step.Heat = b.State.Seen(a.Part), b.State.Heat(a.Part)
		b.Answers.Looks[a.Part] = step.Look
		b.Answers.Hot[a.Part] = step.Heat != circuit.Cool
		if kind == setup.KindAdapter && step.Look == setup.LookSound && b.Answers.Source == setup.Mains {
			b.Answers.SecondSign = diagnosis.Yes // its light agrees with the panel
		}
	case diagnosis.PlugIn:
		step.Did = !b.world.Mains
		b.world.Mains, b.Answers.MainsTried = true, diagnosis.Yes
	case diagnosis.SwitchOn:
		step.Did = b.mend(a.Part, setup.Off)
	case diagnosis.PushHome:
		step.Did = b.mend(a.Part, setup.HalfHome, setup.Open)
	case diagnosis.Unplug:
		step.Did = true
		b.world.Faults = append(slices.Clone(b.world.Faults), setup.Fault{Part: a.Part, Mode: setup.Open})
	default:
		if slices.Contains(Endings, a.Verb) {
			b.Ending = a.Verb
		}
	}
}

// face is what is read all at once, the alarm that is heard with it.
var face = []setup.Kind{setup.KindPanel, setup.KindLamp, setup.KindScreen, setup.KindAlarm}

// mend takes a fault away where the part has one of these modes.
func (b *Bench) mend(part string, modes ...setup.Mode) bool {
	kept := slices.DeleteFunc(slices.Clone(b.world.Faults), func(f setup.Fault) bool {
		return f.Part == part && slices.Contains(modes, f.Mode)
	})
	did := len(kept) < len(b.world.Faults)
	b.world.Faults = kept
	return did
}

// panelSays reads the panel as a careful person would: a lamp or words for a
// source, and for a panel without a lamp for the internal battery, no lamp but
// a screen that is lit and the alarm.
func (b *Bench) panelSays() setup.Source {
	lit := false
	for i, in := range b.State.Panel {
		it := b.Start.Setup.Ventilator.Panel[i]
		if !in.Lit {
			continue
		}
		lit = true
		if it.Lamp != "" && len(it.LitOn) == 1 {
			return it.LitOn[0]
		}
	}
	switch {
	case lit && wordless(b.Start.Setup) && b.State.Alarm != setup.NoAlarm:
		return setup.Internal
	case lit && wordless(b.Start.Setup):
		return "" // no lamp and no alarm: a dead lamp looks the same
	case lit:
		return b.State.Source
	case b.State.Source == setup.None:
		return setup.None
	}
	return ""
}

// readPanel takes in the panel and whether the alarm agrees with it.
func (b *Bench) readPanel() {
	b.Answers.PanelSeen, b.Answers.Source, b.Answers.SecondSign = diagnosis.Yes, b.panelSays(), diagnosis.No
	if b.Answers.Source == setup.Internal && b.State.Alarm != setup.NoAlarm {
		b.Answers.SecondSign = diagnosis.Yes
	}
}

// wordless: the screen says the same whatever carries.
func wordless(s *setup.Setup) bool {
	for _, it := range s.Ventilator.Panel {
		if it.Screen != nil && (it.Screen[setup.Mains] != it.Screen[setup.Internal]) {
			return false
		}
	}
	return true
}

// ChairWouldCarry tells whether, with the adapter away, the chair now carries.
func (b *Bench) ChairWouldCarry() bool {
	c := b.world
	c.Mains = false
	st, err := circuit.Solve(b.Start.Setup, c)
	return err == nil && st.Source == setup.Chair && st.Kind == circuit.Steady
}
