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
	Day          bool    // known to be day: by night nothing is unplugged
	Mains        bool    // the adapter is plugged in already, and everyone knows
}

// Step is one action and what came of it.
type Step struct {
	Action  diagnosis.Action
	Seconds float64 // what it took
	Refused string  // the gate's reason, "" where it allowed the action
	Did     bool    // something changed
	Look    setup.Look
	Heat    circuit.Heat
	Source  setup.Source     // carrying after the step, in truth
	Seen    setup.Source     // what the panel has said so far
	Told    []diagnosis.Done // what it told, as the diagnosis takes it in
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

	world  circuit.Conditions
	pulled []string // plugs taken out by hand
}

// New opens a bench.
func New(start Start) (*Bench, error) {
	b := &Bench{Start: start, Minutes: start.Minutes, world: circuit.Usual(start.Faults...)}
	b.Answers = diagnosis.Answers{MainsInReach: diagnosis.No, Looks: map[string]setup.Look{}, Hot: map[string]bool{}}
	if start.MainsInReach {
		b.Answers.MainsInReach = diagnosis.Yes
	}
	if start.Day {
		b.Answers.Day = diagnosis.Yes
	}
	if start.Mains {
		b.world.Mains, b.Answers.MainsTried = true, diagnosis.Yes
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

// Told is all that the steps told, in order.
func (b *Bench) Told() (all []diagnosis.Done) {
	if b.Start.Mains {
		all = append(all, diagnosis.Done{Action: diagnosis.Action{Verb: diagnosis.PlugIn, Part: b.outlet()}})
	}
	for _, s := range b.Steps {
		all = append(all, s.Told...)
	}
	return all
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
	case setup.KindTap:
		if s.Part(part).Tap.At == setup.AtPort {
			return []diagnosis.Verb{diagnosis.Look, diagnosis.SwitchOn}
		}
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
	step := Step{Action: a, Seconds: diagnosis.Seconds(b.Start.Setup, a)}
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
	switch {
	case step.Did:
		// What the panel showed before the change may not be true any more,
		// but the change is seen at once on the panel beside it.
		b.readPanel(&step)
	case len(step.Told) > 0 && step.Told[0].Check == "":
		step.Told = append(step.Told, b.face()...) // nothing changed: that is seen too
	}
	step.Source, step.Seen = b.State.Source, b.Answers.Source
	b.Steps = append(b.Steps, step)
	return step, nil
}

func (b *Bench) outlet() string {
	side := b.Start.Setup.Mains
	return side[slices.IndexFunc(side, func(p setup.Part) bool { return p.Outlet != nil })].ID
}

func (b *Bench) do(a diagnosis.Action, step *Step) {
	s := b.Start.Setup
	tell := func(d diagnosis.Done) { step.Told = append(step.Told, d) }
	switch a.Verb {
	case diagnosis.AskPerson:
		b.Answers.PersonOK, b.Answers.Running = diagnosis.Yes, diagnosis.Yes
		shows := diagnosis.PersonOK
		if b.State.Source == setup.None {
			b.Answers.PersonOK, b.Answers.Running = diagnosis.No, diagnosis.No
			shows = diagnosis.PersonNotOK
		}
		tell(diagnosis.Done{Check: diagnosis.PersonID, Shows: shows})
	case diagnosis.Bag:
		b.Answers.BagInHand = diagnosis.Yes
	case diagnosis.Look:
		kind, _ := s.PartKind(a.Part)
		if slices.Contains(faceKinds, kind) {
			before := b.Answers.Source
			b.readPanel(step)
			if before == setup.Mains && b.Answers.Source == setup.Mains {
				b.Answers.SecondSign = diagnosis.Yes // read once more, it says the same
			}
			return
		}
		step.Look, step.Told = b.looks(a.Part)
		step.Heat = b.State.Heat(a.Part)
		b.Answers.Looks[a.Part] = step.Look
		b.Answers.Hot[a.Part] = step.Heat != circuit.Cool
		if step.Look == setup.LookSound && slices.Contains(b.pulled, a.Part) {
			b.Answers.Looks[a.Part] = setup.LookApart // it was taken out, and nothing else is wrong with it
		}
	case diagnosis.PlugIn:
		step.Did = !b.world.Mains
		if step.Did {
			tell(diagnosis.Done{Action: diagnosis.Action{Verb: diagnosis.PlugIn, Part: b.outlet()}})
		}
		b.world.Mains, b.Answers.MainsTried = true, diagnosis.Yes
	case diagnosis.SwitchOn:
		step.Did = b.mend(a.Part, setup.Off, setup.Asleep)
		tell(diagnosis.Done{Action: a})
	case diagnosis.PushHome:
		step.Did = b.mend(a.Part, setup.HalfHome, setup.Open)
		b.pulled = slices.DeleteFunc(b.pulled, func(id string) bool { return id == a.Part })
		tell(diagnosis.Done{Action: a})
	case diagnosis.Unplug:
		if step.Did = !b.Out(a.Part); step.Did {
			b.pulled = append(b.pulled, a.Part)
			b.world.Faults = append(slices.Clone(b.world.Faults), setup.Fault{Part: a.Part, Mode: setup.Open})
		}
	default:
		if slices.Contains(Endings, a.Verb) {
			b.Ending = a.Verb
		}
	}
}

// Out tells whether a part is apart, so that a plug's contacts are seen: by
// itself, by hand, or because one shared inlet holds the other plug.
func (b *Bench) Out(part string) bool {
	s, side := b.Start.Setup, b.Start.Setup.Mains
	if b.world.Mains {
		side = s.Chain
	}
	parked := s.Ventilator.Shared() && part == side[len(side)-1].ID
	return parked || slices.Contains(b.pulled, part) || b.State.Look(part) == setup.LookApart
}

// Shown is how a part looks now: a mated plug hides its contacts.
func (b *Bench) Shown(part string) setup.Look {
	look, _ := b.looks(part)
	return look
}

// looks is how a part looks, and what a look tells. What a hand has pulled out
// is told as it was before, and its contacts beside it.
func (b *Bench) looks(part string) (look setup.Look, told []diagnosis.Done) {
	st, out := b.State, b.Out(part)
	pulled := slices.Contains(b.pulled, part)
	if pulled {
		before := b.world
		before.Faults = slices.DeleteFunc(slices.Clone(before.Faults), func(f setup.Fault) bool { return f.Part == part && f.Mode == setup.Open })
		if solved, err := circuit.Solve(b.Start.Setup, before); err == nil {
			st = solved
		}
	}
	for _, c := range diagnosis.Checks(b.Start.Setup) {
		if c.Part != part || c.Contacts && !out {
			continue
		}
		shows := c.Shows(b.Start.Setup, &st)
		done := diagnosis.Done{Check: c.ID, Shows: shows}
		if c.Contacts && shows == diagnosis.Result(setup.LookSound) {
			told = slices.Insert(told, 0, done) // the look of the part itself counts
		} else {
			told = append(told, done)
		}
		switch {
		case shows == diagnosis.Feels:
			look = setup.LookSound // and warm
		case !c.Contacts, pulled, shows != diagnosis.Result(setup.LookSound):
			look = setup.Look(shows)
		}
	}
	return look, told
}

// faceKinds are read all at once, the alarm heard with them.
var faceKinds = []setup.Kind{setup.KindPanel, setup.KindLamp, setup.KindScreen, setup.KindAlarm}

// mend takes a fault away where the part has one of these modes.
func (b *Bench) mend(part string, modes ...setup.Mode) bool {
	kept := slices.DeleteFunc(slices.Clone(b.world.Faults), func(f setup.Fault) bool {
		return f.Part == part && slices.Contains(modes, f.Mode)
	})
	did := len(kept) < len(b.world.Faults)
	b.world.Faults = kept
	return did
}

// face is what the ventilator's face tells: its panel, and its alarm.
func (b *Bench) face() (told []diagnosis.Done) {
	for _, c := range diagnosis.Checks(b.Start.Setup) {
		if kind, _ := b.Start.Setup.PartKind(c.Part); slices.Contains(faceKinds, kind) {
			told = append(told, diagnosis.Done{Check: c.ID, Shows: c.Shows(b.Start.Setup, &b.State)})
		}
	}
	return told
}

// readPanel takes in the panel and whether the alarm agrees with it.
func (b *Bench) readPanel(step *Step) {
	told := b.face()
	step.Told = append(step.Told, told...)
	b.Answers.PanelSeen, b.Answers.Source, b.Answers.SecondSign = diagnosis.Yes, told[0].Shows.Source(), diagnosis.No
	if told[0].Shows == diagnosis.Changes {
		b.Answers.Source = setup.Internal // it falls back on it again and again
	}
	if b.Answers.Source == setup.Internal && b.State.Alarm != setup.NoAlarm {
		b.Answers.SecondSign = diagnosis.Yes
	}
}

// ChairWouldCarry tells whether, with the adapter away, the chair now carries.
func (b *Bench) ChairWouldCarry() bool {
	c := b.world
	c.Mains = false
	st, err := circuit.Solve(b.Start.Setup, c)
	return err == nil && st.Source == setup.Chair && st.Kind == circuit.Steady
}
