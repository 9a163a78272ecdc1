package quiz_test

import (
	"slices"
	"testing"

	"lampwright/lessons/setup"
	"lampwright/locales/problem"
	"lampwright/quiz"
	"lampwright/quiz/bench"
	"lampwright/quiz/diagnosis"
)

func eachScenario(t *testing.T, f func(t *testing.T, sc quiz.Scenario, s *setup.Setup)) {
	for _, name := range setup.DemoNames {
		s, err := setup.Demo(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, sc := range quiz.Scenarios {
			t.Run(name+" "+sc.ID, func(t *testing.T) { f(t, sc, s) })
		}
	}
}

func run(t *testing.T, sc quiz.Scenario, s *setup.Setup, actions ...diagnosis.Action) quiz.Result {
	t.Helper()
	b, err := sc.Replay(s, actions)
	if err != nil {
		t.Fatal(err)
	}
	return quiz.Judge(b)
}

func best(t *testing.T, sc quiz.Scenario, s *setup.Setup) []diagnosis.Action {
	t.Helper()
	start, err := sc.Start(s)
	if err != nil {
		t.Fatal(err)
	}
	return quiz.Best(start)
}

func TestTheBestWayIsSafeAndScoresFull(t *testing.T) {
	eachScenario(t, func(t *testing.T, sc quiz.Scenario, s *setup.Setup) {
		r := run(t, sc, s, best(t, sc, s)...)
		if !r.Safe || !r.EndingRight || r.Score != 1 || !r.Passed {
			t.Errorf("%+v", r)
		}
	})
}

func TestOneUnsafeStepFails(t *testing.T) {
	eachScenario(t, func(t *testing.T, sc quiz.Scenario, s *setup.Setup) {
		way := best(t, sc, s)
		way = slices.Insert(way, len(way)-1, diagnosis.Action{Verb: diagnosis.ReplaceFuse, Part: "fuse"})
		if r := run(t, sc, s, way...); r.Safe || r.Score != 0 || r.Passed {
			t.Errorf("%+v", r)
		}
	})
}

func TestLookingBeforeThePersonFails(t *testing.T) {
	eachScenario(t, func(t *testing.T, sc quiz.Scenario, s *setup.Setup) {
		if r := run(t, sc, s, best(t, sc, s)[1:]...); r.Passed {
			t.Error("passed without asking the person")
		}
	})
}

func TestEndings(t *testing.T) {
	s, err := setup.Demo("chair-12")
	if err != nil {
		t.Fatal(err)
	}
	ask, panel := diagnosis.Action{Verb: diagnosis.AskPerson}, diagnosis.Action{Verb: diagnosis.Look, Part: diagnosis.PanelID}
	plug := diagnosis.Action{Verb: diagnosis.PlugIn, Part: "outlet"}
	fuse := diagnosis.Action{Verb: diagnosis.Look, Part: "fuse"}
	call := diagnosis.Action{Verb: diagnosis.CallTech}
	for name, c := range map[string]struct {
		scenario string
		do       []diagnosis.Action
		right    bool
	}{
		"the technologist for a blown fuse":    {"at-home-evening", []diagnosis.Action{ask, panel, plug, fuse, call}, true},
		"the clinical line, day and night":     {"at-home-evening", []diagnosis.Action{ask, panel, plug, fuse, {Verb: diagnosis.CallClinic}}, true},
		"a call without having looked":         {"at-home-evening", []diagnosis.Action{ask, panel, plug, call}, false},
		"a call with mains left in the bag":    {"at-home-evening", []diagnosis.Action{ask, panel, call}, false},
		"solved, while the fuse is blown":      {"at-home-evening", []diagnosis.Action{ask, panel, plug, fuse, {Verb: diagnosis.Solved}}, false},
		"the chair vendor for a blown fuse":    {"at-home-evening", []diagnosis.Action{ask, panel, plug, fuse, {Verb: diagnosis.CallChair}}, false},
		"a call instead of a switch":           {"after-the-transfer", []diagnosis.Action{ask, panel, call}, false},
		"solved, with the switch still off":    {"after-the-transfer", []diagnosis.Action{ask, panel, {Verb: diagnosis.Solved}}, false},
		"a hot joint left apart, and a call":   {"comes-and-goes", []diagnosis.Action{ask, panel, plug, {Verb: diagnosis.Look, Part: "joint-battery"}, call}, true},
		"everything looked at before the call": {"at-home-evening", []diagnosis.Action{ask, panel, plug, {Verb: diagnosis.Look, Part: "lead-out"}, {Verb: diagnosis.Look, Part: "converter"}, fuse, call}, true},
	} {
		t.Run(name, func(t *testing.T) {
			sc, err := quiz.Find(c.scenario)
			if err != nil {
				t.Fatal(err)
			}
			if r := run(t, sc, s, c.do...); !r.Safe || r.EndingRight != c.right {
				t.Errorf("%+v", r)
			}
		})
	}
}

// A call too early is not what the scenario asks, but it is never called
// wrong; leaving mains in the bag is.
func TestCarefulIsNotWrong(t *testing.T) {
	eachScenario(t, func(t *testing.T, sc quiz.Scenario, s *setup.Setup) {
		way := []diagnosis.Action{{Verb: diagnosis.AskPerson}, {Verb: diagnosis.Bag}, {Verb: diagnosis.Look, Part: diagnosis.PanelID}}
		call := diagnosis.Action{Verb: diagnosis.CallTech}
		early := run(t, sc, s, append(slices.Clone(way), call)...)
		if early.Passed || early.Careful == sc.MainsInReach {
			t.Errorf("%+v", early)
		}
		if sc.MainsInReach {
			way = append(way, diagnosis.Action{Verb: diagnosis.PlugIn, Part: "outlet"})
		}
		if r := run(t, sc, s, append(way, call)...); r.Passed || !r.Careful || !r.Safe {
			t.Errorf("%+v", r)
		}
	})
}

func TestReachingForAnOutletThatIsNotThereHarmsNobody(t *testing.T) {
	sc := quiz.Scenarios[0]
	for _, name := range setup.DemoNames {
		s, err := setup.Demo(name)
		if err != nil {
			t.Fatal(err)
		}
		way := slices.Insert(best(t, sc, s), 3, diagnosis.Action{Verb: diagnosis.PlugIn, Part: "outlet"})
		if r := run(t, sc, s, way...); !r.Passed || r.Score != 1 {
			t.Errorf("%s: %+v", name, r)
		}
	}
}

// Walking the whole chain is slow and safe, and passes.
func TestAWalkAlongTheChainPasses(t *testing.T) {
	eachScenario(t, func(t *testing.T, sc quiz.Scenario, s *setup.Setup) {
		way := best(t, sc, s)
		at := 3
		if sc.MainsInReach {
			at = 4
		}
		walk := slices.Clone(way[:at])
		for i := range s.Chain {
			walk = append(walk, diagnosis.Action{Verb: diagnosis.Look, Part: s.Chain[i].ID})
		}
		for _, a := range way[at:] {
			if a.Verb != diagnosis.Look || !slices.Contains(walk, a) {
				walk = append(walk, a)
			}
		}
		if r := run(t, sc, s, walk...); !r.Passed || r.Score >= 1 {
			t.Errorf("score %g of %g s against %g s", r.Score, r.Seconds, r.BestSeconds)
		}
	})
}

// On a shared inlet a dead lamp looks like the internal battery; the silent
// alarm tells them apart, and the carrying lead is not pulled.
func TestADeadLampDoesNotPullTheCarryingLead(t *testing.T) {
	s, err := setup.Demo("chair-7")
	if err != nil {
		t.Fatal(err)
	}
	b, err := bench.New(bench.Start{Setup: s, Faults: []setup.Fault{{Part: "lamp-chair", Mode: setup.Dead}}, MainsInReach: true, Minutes: 90})
	if err != nil {
		t.Fatal(err)
	}
	var last bench.Step
	for _, a := range []diagnosis.Action{{Verb: diagnosis.AskPerson}, {Verb: diagnosis.Bag}, {Verb: diagnosis.Look, Part: diagnosis.PanelID}, {Verb: diagnosis.PlugIn, Part: "outlet"}} {
		if last, err = b.Act(a); err != nil {
			t.Fatal(err)
		}
	}
	if last.Refused != "gate.one-inlet" || b.State.Source != setup.Chair {
		t.Errorf("%+v, on %s", last, b.State.Source)
	}
}

func TestScenariosTakeTheChairAway(t *testing.T) {
	eachScenario(t, func(t *testing.T, sc quiz.Scenario, s *setup.Setup) {
		start, err := sc.Start(s)
		if err != nil {
			t.Fatal(err)
		}
		b, err := bench.New(start)
		if err != nil {
			t.Fatal(err)
		}
		if b.State.Source != setup.Internal {
			t.Errorf("starts on %s", b.State.Source)
		}
	})
}

func TestABenchRefuses(t *testing.T) {
	s, err := setup.Demo("chair-7")
	if err != nil {
		t.Fatal(err)
	}
	sc := quiz.Scenarios[0]
	for _, a := range []diagnosis.Action{{Verb: "dance"}, {Verb: diagnosis.Look, Part: "nowhere"}, {Verb: diagnosis.SwitchOn, Part: "fuse"}, {Verb: diagnosis.CallTech, Part: "fuse"}} {
		if _, err := sc.Replay(s, []diagnosis.Action{a}); !problem.Is(err, problem.Invalid) {
			t.Errorf("%v: %v", a, err)
		}
	}
	end := diagnosis.Action{Verb: diagnosis.CallTech}
	if _, err := sc.Replay(s, []diagnosis.Action{end, end}); !problem.Is(err, problem.Moved) {
		t.Error("acted after the end:", err)
	}
	if _, err := quiz.Find("none"); !problem.Is(err, problem.Unknown) {
		t.Error(err)
	}
}

// Dawdling on the internal battery stops the ventilator; from then on only the
// person and the calls are left.
func TestMinutesRunOut(t *testing.T) {
	s, err := setup.Demo("chair-12")
	if err != nil {
		t.Fatal(err)
	}
	start, err := quiz.Scenarios[0].Start(s)
	if err != nil {
		t.Fatal(err)
	}
	start.Minutes = 30.5
	b, err := bench.New(start)
	if err != nil {
		t.Fatal(err)
	}
	acts := []diagnosis.Action{{Verb: diagnosis.AskPerson}, {Verb: diagnosis.Look, Part: diagnosis.PanelID}, {Verb: diagnosis.Look, Part: "fuse"}, {Verb: diagnosis.Look, Part: "converter"}}
	var last bench.Step
	for _, a := range acts {
		if last, err = b.Act(a); err != nil {
			t.Fatal(err)
		}
	}
	if last.Refused != "gate.few-minutes" || b.Minutes >= 30 {
		t.Errorf("%+v with %g minutes left", last, b.Minutes)
	}
}

func BenchmarkJudge(b *testing.B) {
	s, err := setup.Demo("chair-12")
	if err != nil {
		b.Fatal(err)
	}
	start, err := quiz.Scenarios[1].Start(s)
	if err != nil {
		b.Fatal(err)
	}
	way := quiz.Best(start)
	b.ReportAllocs()
	for b.Loop() {
		bn, err := quiz.Scenarios[1].Replay(s, way)
		if err != nil {
			b.Fatal(err)
		}
		quiz.Judge(bn)
	}
}
