// Package quiz holds the scenarios and judges runs. A scenario's bounds and the
// seed are data; the hidden fault, which step is right, which ending and what
// the best order would have cost are computed from the model, never typed.
// Pages, storage and the learner's name must not reach here.
package quiz

import (
	"slices"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
	"lampwright/locales/problem"
	"lampwright/quiz/bench"
	"lampwright/quiz/diagnosis"
)

// Version is that of the scenarios, of what a seed draws and of the rules of
// judging.
const Version = "2"

// PassMark is the least score that passes: low enough that walking the whole
// chain, slow and safe, does (common practice, no source).
const PassMark = 0.15

// Scenario is a story with a hidden fault, which Generate draws.
type Scenario struct {
	ID           string
	Objective    string
	Faults       []string     // without a seed: the first of them that fits
	Kind         circuit.Kind // how the chair supply behaves
	MainsInReach bool         // the story says so
	Day          bool
	Minutes      float64 // the most, and those without a seed
	Least        float64 // minutes, drawn
}

// The objectives of the scenarios; what each may hide is in Scenario.hides.
const (
	findSafely = "find-safely"
	callRight  = "call-right"
	leaveApart = "leave-apart"
)

// Scenarios, in the order they are taken.
var Scenarios = []Scenario{
	{
		ID: "after-the-transfer", Objective: findSafely, Faults: []string{"inlet-switch=off", "isolator=off", "plug=half-home"},
		Kind: circuit.Steady, Day: true, Minutes: 120, Least: 60,
	},
	{ID: "at-home-evening", Objective: callRight, Faults: []string{"fuse=blown"}, Kind: circuit.Steady, MainsInReach: true, Minutes: 90, Least: 40},
	{
		ID: "comes-and-goes", Objective: leaveApart, Faults: []string{"joint-battery=high-resistance:6", "joint-ventilator=high-resistance:6"},
		Kind: circuit.Hunting, MainsInReach: true, Day: true, Minutes: 150, Least: 60,
	},
}

// Find is a scenario by id; problem.Unknown if there is none.
func Find(id string) (Scenario, error) {
	for _, sc := range Scenarios {
		if sc.ID == id {
			return sc, nil
		}
	}
	return Scenario{}, problem.New(problem.Unknown, "problem.not-found")
}

// Replay opens a bench where it started and acts the actions again.
func Replay(start bench.Start, actions []diagnosis.Action) (*bench.Bench, error) {
	b, err := bench.New(start)
	if err != nil {
		return nil, err
	}
	for _, a := range actions {
		if _, err := b.Act(a); err != nil {
			return nil, err
		}
	}
	return b, nil
}

// Result is the judgement of a run, with what its debrief needs in any
// language. It is stored as JSON and reads the same after model or content
// change.
type Result struct {
	Safe        bool               `json:"safe"`
	EndingRight bool               `json:"ending_right"`
	Careful     bool               `json:"careful"` // it ended in a call or in mistrust where more was asked: never wrong at home
	Efficiency  float64            `json:"efficiency"`
	Score       float64            `json:"score"`
	Passed      bool               `json:"passed"`
	Steps       []StepDebrief      `json:"steps"`
	Best        []diagnosis.Action `json:"best"`
	Fault       string             `json:"fault"`
	Spare       string             `json:"spare"`
	Seconds     float64            `json:"seconds"`
	BestSeconds float64            `json:"best_seconds"`
}

// StepDebrief explains one step.
type StepDebrief struct {
	Action  diagnosis.Action `json:"action"`
	Seconds float64          `json:"seconds"`
	Refused string           `json:"refused,omitempty"`
	Look    setup.Look       `json:"look,omitempty"`
	Heat    circuit.Heat     `json:"heat,omitempty"`
	Source  setup.Source     `json:"source"`
	Seen    setup.Source     `json:"seen,omitempty"` // what the panel said then
	Did     bool             `json:"did,omitempty"`
	Best    bool             `json:"best"`          // nothing was better to do then
	Next    diagnosis.Action `json:"next,omitzero"` // what was best to do then; not in runs before version 2
	Why     string           `json:"why,omitempty"` // message key
}

// Judge scores a bench: safety gate × right ending × efficiency.
func Judge(m *diagnosis.Model, b *bench.Bench) (Result, error) {
	fault := b.Start.Faults[0]
	r := Result{Safe: true, Seconds: b.Seconds, Fault: fault.String(), Spare: knownOf(b.Start.Setup, fault).Spare}
	g := newGuide(m)
	way, err := g.follow(b.Start)
	if err != nil {
		return r, err
	}
	for _, a := range way.advice {
		r.Best = append(r.Best, a.Action)
	}
	// Neither luck nor bad luck with the hidden part counts: the greater of
	// what the best way was expected to cost and what it costs here.
	looksAlike, err := g.expected(b.Start)
	if err != nil {
		return r, err
	}
	r.BestSeconds = max(way.bench.Seconds, looksAlike)
	if r.Steps, err = g.explain(b); err != nil {
		return r, err
	}
	for _, s := range b.Steps {
		if s.Refused != "" {
			r.Safe = false
		}
	}
	r.EndingRight = endedRight(b)
	r.Careful = !r.EndingRight && secured(b) && b.Ending != "" && b.Ending != diagnosis.Solved
	r.Efficiency = 1
	if b.Seconds > r.BestSeconds && b.Seconds > 0 {
		r.Efficiency = r.BestSeconds / b.Seconds
	}
	if r.Safe && r.EndingRight {
		r.Score = r.Efficiency
	}
	r.Passed = r.Score >= PassMark
	return r, nil
}

// Steps are the steps of a bench as they went, without what was best.
func Steps(b *bench.Bench) (list []StepDebrief) {
	for _, s := range b.Steps {
		list = append(list, StepDebrief{
			Action: s.Action, Seconds: s.Seconds, Refused: s.Refused, Look: s.Look, Heat: s.Heat, Source: s.Source, Seen: s.Seen, Did: s.Did,
		})
	}
	return list
}

// endedRight: the right ending, with a source secured, the part seen, and the
// chair carrying again where that was said.
func endedRight(b *bench.Bench) bool {
	return slices.Contains(rightEndings(ending(b.Start)), b.Ending) && secured(b) && found(b) && putRight(b)
}

// ending is the right one for what is hidden: solved where a caregiver has a
// remedy, or a call to whoever may put it right.
func ending(start bench.Start) diagnosis.Verb {
	fault := start.Faults[0]
	switch _, ok := remedy(start.Setup, fault); {
	case ok:
		return diagnosis.Solved
	case knownOf(start.Setup, fault).Fixer == setup.ChairVendor:
		return diagnosis.CallChair
	}
	return diagnosis.CallTech
}

// rightEndings are those that do for the best one: the clinical line answers
// day and night, also when the technologist does not.
func rightEndings(best diagnosis.Verb) []diagnosis.Verb {
	if best == diagnosis.CallTech || best == diagnosis.CallChair {
		return []diagnosis.Verb{best, diagnosis.CallClinic}
	}
	return []diagnosis.Verb{best}
}

// found: the part that is wrong was looked at, so that the call can say so.
func found(b *bench.Bench) bool {
	_, seen := b.Answers.Looks[b.Start.Faults[0].Part]
	return seen
}

// secured: no run ends well on the internal battery with mains in reach.
func secured(b *bench.Bench) bool {
	return !b.Start.MainsInReach || b.State.Source == setup.Mains
}

// putRight: solved is true only when the chair would carry again.
func putRight(b *bench.Bench) bool {
	return b.Ending != diagnosis.Solved || b.ChairWouldCarry()
}

func knownOf(s *setup.Setup, f setup.Fault) setup.Knowledge {
	kind, _ := s.PartKind(f.Part)
	known, _ := setup.Of(kind, f.Mode)
	return known
}

// remedy is what a caregiver may do about a fault.
func remedy(s *setup.Setup, f setup.Fault) (a diagnosis.Action, ok bool) {
	if knownOf(s, f).Fixer != setup.Caregiver {
		return a, false
	}
	switch f.Mode {
	case setup.Off, setup.Asleep:
		return diagnosis.Action{Verb: diagnosis.SwitchOn, Part: f.Part}, true
	case setup.HalfHome, setup.Open:
		return diagnosis.Action{Verb: diagnosis.PushHome, Part: f.Part}, true
	}
	return a, false
}

// Outlet is the id of the wall outlet of a set-up.
func Outlet(s *setup.Setup) string {
	for i := range s.Mains {
		if s.Mains[i].Outlet != nil {
			return s.Mains[i].ID
		}
	}
	return ""
}
