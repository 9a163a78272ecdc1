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
const Version = "3"

// PassMark is the least score that passes: low enough that walking the whole
// chain, slow and safe, does (common practice, no source).
const PassMark = 0.15

// Scenario is a story with a hidden fault, which Generate draws: one for its
// objective, in the kinds of part it names.
type Scenario struct {
	ID           string
	Objective    string
	Record       bool         // a sign-off needs it; the others are for practice
	Faults       []string     // without a seed: the first of them that fits; only for runs from before seeds
	Parts        []setup.Kind // that may be at fault, nil for any
	From         setup.Source // what carries when it begins, "" for the internal battery
	Kind         circuit.Kind // how the chair supply behaves, "" for any way
	Mains        bool         // the adapter is plugged in when it begins, and mains does not carry
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
	mistrust   = "mistrust"
)

// slackening are the kinds that may have come and gone by themselves, the face
// that was read among them.
var slackening = []setup.Kind{setup.KindPanel, setup.KindJoint, setup.KindLead}

// Scenarios, in the order they are taken: those that a sign-off needs, then
// more to practise, by objective.
var Scenarios = []Scenario{
	{
		ID: "after-the-transfer", Objective: findSafely, Record: true, Faults: []string{"inlet-switch=off", "isolator=off", "plug=half-home"},
		Kind: circuit.Steady, Day: true, Minutes: 120, Least: 60,
	},
	{
		ID: "at-home-evening", Objective: callRight, Record: true, Faults: []string{"fuse=blown"},
		Kind: circuit.Steady, MainsInReach: true, Minutes: 90, Least: 40,
	},
	{
		ID: "comes-and-goes", Objective: leaveApart, Record: true, Faults: []string{"joint-battery=high-resistance:6", "joint-ventilator=high-resistance:6"},
		Kind: circuit.Hunting, MainsInReach: true, Day: true, Minutes: 150, Least: 60,
	},

	{ID: "out-of-the-van", Objective: findSafely, Day: true, Minutes: 90, Least: 45},
	{ID: "before-bed", Objective: findSafely, MainsInReach: true, Minutes: 75, Least: 40},
	{ID: "furniture-moved", Objective: findSafely, Parts: []setup.Kind{setup.KindOutlet, setup.KindCord}, Mains: true, MainsInReach: true, Day: true, Minutes: 120, Least: 60},
	{ID: "bedside-at-night", Objective: findSafely, Parts: []setup.Kind{setup.KindCord, setup.KindPlug}, Mains: true, MainsInReach: true, Minutes: 90, Least: 45},

	{ID: "at-the-bus-stop", Objective: callRight, Kind: circuit.Steady, Day: true, Minutes: 110, Least: 50},
	{ID: "at-the-market", Objective: callRight, Parts: []setup.Kind{setup.KindConverter}, Day: true, Minutes: 100, Least: 50},
	{ID: "up-the-ramp", Objective: callRight, Parts: []setup.Kind{setup.KindFuse}, MainsInReach: true, Day: true, Minutes: 120, Least: 50},
	{ID: "few-minutes", Objective: callRight, Kind: circuit.Steady, MainsInReach: true, Minutes: 25, Least: 10},
	{ID: "before-you-leave", Objective: callRight, Parts: []setup.Kind{setup.KindLamp, setup.KindScreen}, From: setup.Chair, Day: true, Minutes: 120, Least: 60},

	{ID: "from-the-workshop", Objective: leaveApart, Parts: []setup.Kind{setup.KindJoint}, Kind: circuit.Steady, MainsInReach: true, Day: true, Minutes: 120, Least: 60},
	{ID: "at-the-clinic", Objective: leaveApart, Kind: circuit.Hunting, MainsInReach: true, Day: true, Minutes: 110, Least: 40},
	{ID: "at-the-table", Objective: leaveApart, Parts: []setup.Kind{setup.KindJoint, setup.KindPlug}, MainsInReach: true, Minutes: 100, Least: 45},

	{ID: "it-came-back", Objective: mistrust, Parts: slackening, From: setup.Chair, Day: true, Minutes: 120, Least: 60},
	{ID: "at-handover", Objective: mistrust, Parts: slackening, From: setup.Chair, MainsInReach: true, Minutes: 120, Least: 60},
	{ID: "long-day-out", Objective: mistrust, MainsInReach: true, Minutes: 90, Least: 40},
}

// Needed are the scenarios that a sign-off needs.
func Needed() (list []Scenario) {
	for _, sc := range Scenarios {
		if sc.Record {
			list = append(list, sc)
		}
	}
	return list
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
func Judge(m *diagnosis.Model, b *bench.Bench) (Result, error) { return newGuide(m).judge(b) }

func (g *guide) judge(b *bench.Bench) (Result, error) {
	fault := b.Start.Faults[0]
	r := Result{Safe: true, Seconds: b.Seconds, Fault: fault.String(), Spare: knownOf(b.Start.Setup, fault).Spare}
	if endings(b.Start)[0] == diagnosis.CallChair {
		r.Spare = "" // the technologist sends none
	}
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

// endedRight: the right ending, with a source secured, the part seen, and what
// failed carrying again where that was said.
func endedRight(b *bench.Bench) bool {
	right := slices.ContainsFunc(endings(b.Start), func(v diagnosis.Verb) bool { return does(b.Ending, v) })
	return right && secured(b) && found(b) && putRight(b)
}

// endings are the right ones for what is hidden, the best first.
func endings(start bench.Start) []diagnosis.Verb {
	fault := start.Faults[0]
	kind, _ := start.Setup.PartKind(fault.Part)
	_, mended := remedy(start.Setup, fault)
	switch {
	case mended && start.Mains: // why mains failed may be mended, and the rest not trusted yet
		return []diagnosis.Verb{diagnosis.Solved, diagnosis.Untrusted}
	case mended:
		return []diagnosis.Verb{diagnosis.Solved}
	case passing(fault): // no cause was found: nobody says solved
		return []diagnosis.Verb{diagnosis.Untrusted, diagnosis.CallTech}
	case kind == setup.KindBattery && fault.Mode == setup.Flat && start.MainsInReach: // it is charged first
		return []diagnosis.Verb{diagnosis.Untrusted, diagnosis.CallTech, diagnosis.CallChair}
	case kind == setup.KindBattery && fault.Mode == setup.Flat:
		return []diagnosis.Verb{diagnosis.CallTech, diagnosis.CallChair}
	case onFace(start.Setup, fault.Part): // no source can be told
		return []diagnosis.Verb{diagnosis.CallClinic, diagnosis.CallTech}
	case knownOf(start.Setup, fault).Fixer == setup.ChairVendor:
		return []diagnosis.Verb{diagnosis.CallChair}
	}
	return []diagnosis.Verb{diagnosis.CallTech}
}

// passing is a fault that is over, or was never there, when one looks.
func passing(f setup.Fault) bool { return f.Mode == setup.Misread || f.Mode == setup.Intermittent }

// calls are the endings that call someone who sees to the equipment.
var calls = []diagnosis.Verb{diagnosis.CallTech, diagnosis.CallChair}

// does tells whether an ending does for a right one: the clinical line answers
// day and night, also when the technologist does not.
func does(ended, right diagnosis.Verb) bool {
	return ended == right || ended == diagnosis.CallClinic && slices.Contains(calls, right)
}

// found: the part that is wrong was looked at, so that the call can say so;
// where nothing shows, something was.
func found(b *bench.Bench) bool {
	fault := b.Start.Faults[0]
	switch _, seen := b.Answers.Looks[fault.Part]; {
	case passing(fault):
		return len(b.Answers.Looks) > 0
	case onFace(b.Start.Setup, fault.Part):
		return b.Answers.PanelSeen == diagnosis.Yes
	default:
		return seen
	}
}

// secured: no run ends well on the internal battery with mains in reach that
// was not tried.
func secured(b *bench.Bench) bool {
	return !b.Start.MainsInReach || b.Start.Mains || b.State.Source == setup.Mains || b.State.Source == setup.Chair
}

// putRight: nobody says that it works before what failed carries again, and
// solved only when the chair would, too.
func putRight(b *bench.Bench) bool {
	carries := !b.Start.Mains || b.State.Source == setup.Mains
	switch b.Ending {
	case diagnosis.Solved:
		return carries && b.ChairWouldCarry()
	case diagnosis.Untrusted:
		return carries
	}
	return true
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
