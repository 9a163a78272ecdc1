// Package quiz holds the scenarios and judges runs. The hidden fault and the
// start are data; which step is right, which ending and what the best order
// would have cost are computed from the model, never typed. Pages, storage
// and the learner's name must not reach here.
package quiz

import (
	"cmp"
	"slices"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
	"lampwright/locales/problem"
	"lampwright/quiz/bench"
	"lampwright/quiz/diagnosis"
)

// Version is that of the scenarios and of the rules of judging.
const Version = "1"

// PassMark is the least score that passes: low enough that walking the whole
// chain, slow and safe, does (common practice, no source).
const PassMark = 0.15

// Scenario is a story with a hidden fault. Its fault is the first of Faults
// that this set-up can have and that takes the chair supply away in the way
// of the story.
type Scenario struct {
	ID           string
	Objective    string
	Faults       []string
	Kind         circuit.Kind // how the chair supply behaves
	MainsInReach bool
	Minutes      float64
}

// Scenarios, in the order they are taken.
var Scenarios = []Scenario{
	{ID: "after-the-transfer", Objective: "find-safely", Faults: []string{"inlet-switch=off", "isolator=off", "plug=half-home"}, Kind: circuit.Steady, Minutes: 120},
	{ID: "at-home-evening", Objective: "call-right", Faults: []string{"fuse=blown"}, Kind: circuit.Steady, MainsInReach: true, Minutes: 90},
	{ID: "comes-and-goes", Objective: "leave-apart", Faults: []string{"joint-battery=high-resistance:6", "joint-ventilator=high-resistance:6"}, Kind: circuit.Hunting, MainsInReach: true, Minutes: 150},
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

// Start opens the scenario on a set-up.
func (sc Scenario) Start(s *setup.Setup) (bench.Start, error) {
	for _, text := range sc.Faults {
		f, err := s.ParseFault(text)
		if err != nil {
			continue // not a part of this set-up
		}
		st, err := circuit.Solve(s, circuit.Usual(f))
		if err != nil {
			return bench.Start{}, err
		}
		if st.Source == setup.Internal && st.Kind == sc.Kind {
			return bench.Start{Setup: s, Faults: []setup.Fault{f}, MainsInReach: sc.MainsInReach, Minutes: sc.Minutes}, nil
		}
	}
	return bench.Start{}, problem.New(problem.Invalid, "problem.scenario-unfit")
}

// Replay opens the scenario and acts the actions again.
func (sc Scenario) Replay(s *setup.Setup, actions []diagnosis.Action) (*bench.Bench, error) {
	start, err := sc.Start(s)
	if err != nil {
		return nil, err
	}
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
	Best    bool             `json:"best"` // it was on the best way
}

// Judge scores a bench: safety gate × right ending × efficiency.
func Judge(b *bench.Bench) Result {
	best := Best(b.Start)
	fault := b.Start.Faults[0]
	r := Result{Safe: true, Best: best, Seconds: b.Seconds, Fault: fault.String(), Spare: knownOf(b.Start.Setup, fault).Spare}
	// Neither luck nor bad luck with the hidden part counts: the greater of
	// what the best way was expected to cost and what it costs here.
	for _, a := range best {
		r.BestSeconds += bench.Cost(b.Start.Setup, a)
	}
	r.BestSeconds = max(r.BestSeconds, expected(b.Start))
	for _, s := range b.Steps {
		if s.Refused != "" {
			r.Safe = false
		}
		r.Steps = append(r.Steps, StepDebrief{s.Action, s.Seconds, s.Refused, s.Look, s.Heat, s.Source, s.Seen, s.Did, slices.Contains(best, s.Action)})
	}
	right := rightEndings(best[len(best)-1].Verb)
	r.EndingRight = slices.Contains(right, b.Ending) && secured(b) && found(b) && putRight(b)
	r.Careful = !r.EndingRight && secured(b) && b.Ending != "" && b.Ending != diagnosis.Solved
	r.Efficiency = 1
	if b.Seconds > r.BestSeconds && b.Seconds > 0 {
		r.Efficiency = r.BestSeconds / b.Seconds
	}
	if r.Safe && r.EndingRight {
		r.Score = r.Efficiency
	}
	r.Passed = r.Score >= PassMark
	return r
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

// Best is the way of least cost for this start: the person, the bag in hand,
// the panel, a source, then the checks in ascending cost over probability
// (optimal for one fault and perfect checks: Kadane and Simon) up to the one
// that shows the cause, the remedy where the caregiver may use one, the ending.
func Best(start bench.Start) []diagnosis.Action {
	s := start.Setup
	way := opening(start)
	fault := start.Faults[0]
	for _, c := range checks(start) {
		way = append(way, diagnosis.Action{Verb: diagnosis.Look, Part: c.part})
		if c.part == fault.Part {
			break
		}
	}
	if a, ok := remedy(s, fault); ok {
		return append(way, a, diagnosis.Action{Verb: diagnosis.Solved})
	}
	if knownOf(s, fault).Fixer == setup.ChairVendor {
		return append(way, diagnosis.Action{Verb: diagnosis.CallChair})
	}
	return append(way, diagnosis.Action{Verb: diagnosis.CallTech})
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
	case setup.Off:
		return diagnosis.Action{Verb: diagnosis.SwitchOn, Part: f.Part}, true
	case setup.HalfHome, setup.Open:
		return diagnosis.Action{Verb: diagnosis.PushHome, Part: f.Part}, true
	}
	return a, false
}

// opening is how every way begins.
func opening(start bench.Start) []diagnosis.Action {
	way := []diagnosis.Action{{Verb: diagnosis.AskPerson}, {Verb: diagnosis.Bag}, {Verb: diagnosis.Look, Part: diagnosis.PanelID}}
	if start.MainsInReach {
		way = append(way, diagnosis.Action{Verb: diagnosis.PlugIn, Part: Outlet(start.Setup)})
	}
	return way
}

// expected is the least expected cost in seconds over the causes that look
// like this one: the opening, then each check's cost by the chance that it is
// still needed (Σ cᵢ·(1 − Σ_{j<i} pⱼ)), then the remedy.
func expected(start bench.Start) float64 {
	seconds, total, left := 0.0, 0.0, 1.0
	for _, a := range opening(start) {
		seconds += bench.Cost(start.Setup, a)
	}
	list := checks(start)
	for _, c := range list {
		total += c.p
	}
	for _, c := range list {
		seconds += left * bench.Cost(start.Setup, diagnosis.Action{Verb: diagnosis.Look, Part: c.part})
		left -= c.p / total
	}
	if a, ok := remedy(start.Setup, start.Faults[0]); ok {
		seconds += bench.Cost(start.Setup, a)
	}
	return seconds
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

type check struct {
	part  string
	p     float64
	ratio float64
}

// checks are the parts worth a look, best first: those with a fault that
// shows at the part and would give the same panel as now.
func checks(start bench.Start) []check {
	s := start.Setup
	now, err := circuit.Solve(s, circuit.Usual(start.Faults...))
	if err != nil {
		return nil
	}
	p := map[string]float64{}
	for _, f := range s.Faults() {
		known := knownOf(s, f)
		st, err := circuit.Solve(s, circuit.Usual(f))
		parked := known.Kind == setup.KindPlug && s.Ventilator.Shared() && start.MainsInReach // out already: tells nothing
		if err == nil && !parked && known.Look != setup.LookSound && st.Source == now.Source && st.Kind == now.Kind && slices.Contains(bench.Offers(s, f.Part), diagnosis.Look) {
			p[f.Part] += known.Prior
		}
	}
	var out []check
	for _, id := range s.IDs() { // in chain order, so that ties are stable
		if p[id] > 0 {
			out = append(out, check{id, p[id], bench.Cost(s, diagnosis.Action{Verb: diagnosis.Look, Part: id}) / p[id]})
		}
	}
	slices.SortStableFunc(out, func(a, b check) int { return cmp.Compare(a.ratio, b.ratio) })
	return out
}
