package quiz

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
	"lampwright/quiz/bench"
	"lampwright/quiz/diagnosis"
)

// Advice is what is best done next on a bench, and why.
type Advice struct {
	Action diagnosis.Action
	Why    string // message key
	step   diagnosis.Step
}

// guide asks the diagnosis about benches of one set-up. It thinks once about
// what was told alike.
type guide struct {
	m    *diagnosis.Model
	told map[string]Advice
}

// sure is how often a look on the bench is taken for another, or not told: it
// is drawn, so hardly ever (our own figure).
const sure = .001

func newGuide(m *diagnosis.Model) *guide {
	drawn := *m
	drawn.Misread, drawn.Untold = sure, sure
	return &guide{&drawn, map[string]Advice{}}
}

// Next is what is best done now on a bench.
func Next(m *diagnosis.Model, b *bench.Bench) (Advice, error) { return newGuide(m).next(b) }

func (g *guide) next(b *bench.Bench) (Advice, error) {
	if b.Answers.PersonOK == diagnosis.Yes && b.Answers.BagInHand != diagnosis.Yes {
		return Advice{Action: diagnosis.Action{Verb: diagnosis.Bag}, Why: "quiz.why.bag"}, nil
	}
	return g.think(b)
}

// think is what the diagnosis would do, with the bag in hand. On the bench a
// look is drawn and need not be repeated, so each is told as one that was; and
// before a call the likeliest part is looked at, so that the call can name it.
func (g *guide) think(b *bench.Bench) (Advice, error) {
	told := b.Told()
	key := fmt.Sprintf("%v %v %v %v %v", b.Start.MainsInReach, b.Start.Mains, b.Start.Day, enough(b), told)
	a, ok := g.told[key]
	if !ok {
		var twice []diagnosis.Done
		for _, d := range told {
			twice = append(twice, d)
			if d.Check != "" && d.Check != diagnosis.PersonID {
				twice = append(twice, d)
			}
		}
		minutes := b.Minutes
		mind, err := g.m.Think(diagnosis.Care{MainsInReach: b.Start.MainsInReach, Minutes: &minutes, Night: !b.Start.Day}, twice)
		if err != nil {
			return a, err
		}
		step := mind.Next()
		a = Advice{step.Action, step.Why, step}
		if a.Why == "why.no-looking" && b.Answers.Source == "" {
			a.Why = "quiz.why.unread"
		}
		if part := unseen(b, mind); part != "" {
			look := diagnosis.Action{Verb: diagnosis.Look, Part: part}
			switch {
			case slices.Contains(calls, a.Action.Verb):
				a.Action, a.Why = look, "quiz.why.name"
			case b.Start.Mains && b.Answers.Source != setup.Mains && a.Action.Verb == diagnosis.Untrusted:
				a.Action, a.Why = look, "quiz.why.mains"
			}
		}
		g.told[key] = a
	}
	if g.contacts(a.step.Check) && !b.Out(a.Action.Part) {
		a.Action.Verb = diagnosis.Unplug // they are seen only then
	}
	return a, nil
}

// enough tells whether there are minutes enough to look for the cause: that is
// all that the diagnosis asks of them.
func enough(b *bench.Bench) bool {
	left := b.Minutes
	ok, _ := diagnosis.Allowed(b.Start.Setup, diagnosis.Action{Verb: diagnosis.Look, Part: b.Start.Setup.Chain[0].ID},
		diagnosis.Answers{PersonOK: diagnosis.Yes, PanelSeen: diagnosis.Yes, Source: setup.Internal, Minutes: &left})
	return ok
}

// unseen is a part of the likeliest cause that was not looked at and may be,
// "" if there is none.
func unseen(b *bench.Bench, mind *diagnosis.Mind) string {
	for _, f := range mind.Causes()[0].Faults {
		_, seen := mind.Answers.Looks[f.Part]
		ok, _ := diagnosis.Allowed(b.Start.Setup, diagnosis.Action{Verb: diagnosis.Look, Part: f.Part}, b.Answers)
		if !seen && ok && !onFace(b.Start.Setup, f.Part) {
			return f.Part
		}
	}
	return ""
}

func (g *guide) contacts(check string) bool {
	return slices.ContainsFunc(g.m.Checks, func(c diagnosis.Check) bool { return c.ID == check && c.Contacts })
}

// way is a bench on which the advice was followed to the end.
type way struct {
	bench  *bench.Bench
	advice []Advice
}

// mostSteps is more than any way has.
const mostSteps = 60

var errNoEnd = errors.New("following the diagnosis did not come to an end")

func (g *guide) follow(start bench.Start) (way, error) {
	b, err := bench.New(start)
	w := way{bench: b}
	for err == nil && b.Ending == "" {
		if len(w.advice) == mostSteps {
			return w, errNoEnd
		}
		var a Advice
		if a, err = g.next(b); err == nil {
			w.advice = append(w.advice, a)
			_, err = b.Act(a.Action)
		}
	}
	return w, err
}

// Way is the best way through a start, each step with its reason.
func Way(m *diagnosis.Model, start bench.Start) ([]Advice, error) {
	w, err := newGuide(m).follow(start)
	return w.advice, err
}

// Opening is how a way begins, before the cause is looked for: the person, the
// bag in hand, the panel, a source.
func Opening(m *diagnosis.Model, start bench.Start) ([]Advice, error) {
	list, err := Way(m, start)
	for i, a := range list {
		reads := a.Action.Verb == diagnosis.Look && onFace(start.Setup, a.Action.Part)
		if !reads && !slices.Contains([]diagnosis.Verb{diagnosis.AskPerson, diagnosis.Bag, diagnosis.PlugIn}, a.Action.Verb) {
			return list[:i], err
		}
	}
	return list, err
}

// fairly is how sure the right ending must be for a start to be drawn.
const fairly = .9

// fair tells whether a start can be found out: the advice is allowed all the
// way, the hidden part is seen, and it ends rightly, for sure, with the right
// part sent.
func (g *guide) fair(start bench.Start) bool {
	w, err := g.follow(start)
	if err != nil || !endedRight(w.bench) || !slices.Contains(endings(start), w.bench.Ending) {
		return false
	}
	last := w.advice[len(w.advice)-1].step
	spare := knownOf(start.Setup, start.Faults[0]).Spare
	sent := spare == "" || slices.Contains(last.Spares, spare) || !slices.Contains(calls, w.bench.Ending)
	refused := slices.ContainsFunc(w.bench.Steps, func(s bench.Step) bool { return s.Refused != "" })
	return !refused && last.Right >= fairly && sent
}

// expected is what the best way costs in seconds, on average by their priors,
// over the faults that would show and look like this one from where the panel
// is.
func (g *guide) expected(start bench.Start) (float64, error) {
	s := start.Setup
	now, err := circuit.Solve(s, conditions(start))
	if err != nil {
		return 0, err
	}
	sum, total := 0.0, 0.0
	for _, f := range s.Faults() {
		known := knownOf(s, f)
		alike := start
		alike.Faults = []setup.Fault{f}
		st, err := circuit.Solve(s, conditions(alike))
		if err != nil {
			return 0, err
		}
		if known.Look == setup.LookSound || st.Source != now.Source || st.Kind != now.Kind {
			continue
		}
		w, err := g.follow(alike)
		if errors.Is(err, errNoEnd) {
			continue
		}
		if err != nil {
			return 0, err
		}
		sum, total = sum+known.Prior*w.bench.Seconds, total+known.Prior
	}
	return sum / math.Max(total, math.SmallestNonzeroFloat64), nil
}

// Explain is the steps of a bench, each with what was best to do then.
func Explain(m *diagnosis.Model, b *bench.Bench) ([]StepDebrief, error) {
	return newGuide(m).explain(b)
}

func (g *guide) explain(b *bench.Bench) ([]StepDebrief, error) {
	list := Steps(b)
	again, err := bench.New(b.Start)
	if err != nil {
		return nil, err
	}
	for i := range list {
		st := &list[i]
		best, err := g.think(again)
		if err != nil {
			return nil, err
		}
		// The bag costs nothing: it is asked for only where it must be in hand.
		if ok, _ := diagnosis.Allowed(b.Start.Setup, best.Action, again.Answers); !ok || st.Action.Verb == diagnosis.Bag {
			if best, err = g.next(again); err != nil {
				return nil, err
			}
		}
		st.Best = st.Refused == "" && alike(b.Start.Setup, st.Action, best.Action)
		st.Next, st.Why = best.Action, best.Why
		if _, err := again.Act(st.Action); err != nil {
			return nil, err
		}
	}
	return list, nil
}

// alike tells whether two actions are the same to a bench: the face is read at
// once, the adapter goes in at the wall and the ventilator, and the clinical
// line will do for another call.
func alike(s *setup.Setup, did, best diagnosis.Action) bool {
	switch {
	case did == best:
		return true
	case did.Verb == diagnosis.PlugIn:
		return best.Verb == diagnosis.PlugIn
	case slices.Contains(bench.Endings, did.Verb):
		return does(did.Verb, best.Verb)
	}
	return did.Verb == diagnosis.Look && best.Verb == diagnosis.Look && onFace(s, did.Part) && onFace(s, best.Part)
}

func onFace(s *setup.Setup, part string) bool {
	kind, _ := s.PartKind(part)
	return slices.Contains([]setup.Kind{setup.KindPanel, setup.KindLamp, setup.KindScreen, setup.KindAlarm}, kind)
}
