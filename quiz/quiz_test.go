package quiz_test

import (
	"encoding/json"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
	"lampwright/locales/problem"
	"lampwright/quiz"
	"lampwright/quiz/bench"
	"lampwright/quiz/diagnosis"

	"pgregory.net/rapid"
)

// models are those of the demo set-ups, made once.
var models = sync.OnceValue(func() map[string]*diagnosis.Model {
	all := map[string]*diagnosis.Model{}
	for _, name := range setup.DemoNames {
		s, err := setup.Demo(name)
		if err != nil {
			panic(err)
		}
		if all[name], err = diagnosis.NewModel(s, nil); err != nil {
			panic(err)
		}
	}
	return all
})

func eachScenario(t *testing.T, f func(t *testing.T, sc quiz.Scenario, m *diagnosis.Model)) {
	for _, name := range setup.DemoNames {
		for _, sc := range quiz.Scenarios {
			t.Run(name+" "+sc.ID, func(t *testing.T) {
				t.Parallel()
				f(t, sc, models()[name])
			})
		}
	}
}

// few are seeds enough to meet several faults of each scenario.
var few = []uint64{quiz.Fixed, quiz.Worked, 2}

func eachStart(t *testing.T, f func(t *testing.T, m *diagnosis.Model, start bench.Start)) {
	eachScenario(t, func(t *testing.T, sc quiz.Scenario, m *diagnosis.Model) {
		met := map[string]bool{}
		for _, seed := range few {
			start := drawn(t, m, sc, seed)
			if fault := start.Faults[0].String(); !met[fault] {
				met[fault] = true
				f(t, m, start)
			}
		}
	})
}

func drawn(t testing.TB, m *diagnosis.Model, sc quiz.Scenario, seed uint64) bench.Start {
	t.Helper()
	start, err := quiz.Generate(m, sc, seed)
	if err != nil {
		t.Fatalf("seed %d: %v", seed, err)
	}
	return start
}

func replay(t testing.TB, start bench.Start, actions []diagnosis.Action) *bench.Bench {
	t.Helper()
	b, err := quiz.Replay(start, actions)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func run(t testing.TB, m *diagnosis.Model, start bench.Start, actions ...diagnosis.Action) quiz.Result {
	t.Helper()
	r, err := quiz.Judge(m, replay(t, start, actions))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func best(t testing.TB, m *diagnosis.Model, start bench.Start) (list []diagnosis.Action) {
	t.Helper()
	way, err := quiz.Way(m, start)
	if err != nil {
		t.Fatal(err)
	}
	for _, a := range way {
		list = append(list, a.Action)
	}
	return list
}

// TestSeeds: every scenario can be drawn on every set-up, over and over, and
// hides more than one thing. Whatever is drawn can be found out: the advice is
// never refused, the hidden part is seen on the way, and the end is right.
func TestSeeds(t *testing.T) {
	eachScenario(t, func(t *testing.T, sc quiz.Scenario, m *diagnosis.Model) {
		guide := quiz.NewGuide(m)
		drew := map[string]quiz.Result{}
		minutes := map[float64]bool{}
		for seed := range uint64(200) {
			start, err := guide.Generate(sc, seed)
			if err != nil {
				t.Fatalf("seed %d: %v", seed, err)
			}
			if seed%20 == 0 { // asked by itself, it is the same
				if again := drawn(t, m, sc, seed); !reflect.DeepEqual(start, again) {
					t.Fatalf("seed %d starts as %+v, then as %+v", seed, start, again)
				}
			}
			minutes[start.Minutes] = true
			if start.Minutes < sc.Least || start.Minutes > sc.Minutes || start.MainsInReach != sc.MainsInReach || start.Mains != sc.Mains {
				t.Errorf("seed %d is out of the story's bounds: %+v", seed, start)
			}
			fault := start.Faults[0].String()
			if _, known := drew[fault]; known {
				continue
			}
			r, err := guide.Best(start)
			if err != nil {
				t.Fatal(err)
			}
			drew[fault] = r
			if !r.Safe || !r.EndingRight || r.Score != 1 || !r.Passed || r.Seconds > r.BestSeconds || r.Fault != fault {
				t.Errorf("seed %d: %+v", seed, r)
			}
			hides(t, sc, start, r.Best[len(r.Best)-1].Verb)
			if !slices.ContainsFunc(r.Best, func(a diagnosis.Action) bool { return a.Verb == diagnosis.Look && shows(start, a.Part) }) {
				t.Errorf("seed %d: %s is never looked at", seed, fault)
			}
			for _, st := range r.Steps {
				if !st.Best || st.Next != st.Action || st.Why == "" {
					t.Errorf("seed %d, on the best way: %+v", seed, st)
				}
			}
		}
		if len(drew) < causes(sc, m.Setup) || len(minutes) < 4 {
			t.Errorf("200 seeds drew %d faults and %d counts of minutes", len(drew), len(minutes))
		}
	})
}

// causes is how many causes at least a scenario hides on a set-up: two, but
// where the story leaves only one.
func causes(sc quiz.Scenario, s *setup.Setup) int {
	if slices.Contains([]string{"before-you-leave", "long-day-out"}, sc.ID) || sc.ID == "before-bed" && s.Ventilator.Shared() {
		return 1
	}
	return 2
}

// shows tells whether a look at a part is a look at what is hidden: at the
// part itself, at the face, or, where nothing shows of it, at anything.
func shows(start bench.Start, part string) bool {
	hidden := start.Faults[0]
	kind, _ := start.Setup.PartKind(hidden.Part)
	switch {
	case slices.Contains([]setup.Mode{setup.Misread, setup.Intermittent}, hidden.Mode):
		return part != diagnosis.PanelID
	case kind == setup.KindLamp, kind == setup.KindScreen:
		return part == diagnosis.PanelID
	}
	return part == hidden.Part
}

// TestWhatIsTaught: scenarios enough, several for every objective, and every
// kind of cause that a caregiver meets somewhere among what they hide.
func TestWhatIsTaught(t *testing.T) {
	objectives, ids := map[string]int{}, map[string]bool{}
	for _, sc := range quiz.Scenarios {
		objectives[sc.Objective]++
		if ids[sc.ID] {
			t.Errorf("two scenarios are %s", sc.ID)
		}
		ids[sc.ID] = true
	}
	if len(quiz.Scenarios) < 12 || len(objectives) < 4 {
		t.Errorf("%d scenarios for %d objectives", len(quiz.Scenarios), len(objectives))
	}
	for objective, n := range objectives {
		if n < 3 {
			t.Errorf("%d scenarios for %s", n, objective)
		}
	}
	var needed []string
	for _, sc := range quiz.Needed() {
		needed = append(needed, sc.ID)
	}
	if want := []string{"after-the-transfer", "at-home-evening", "comes-and-goes"}; !slices.Equal(needed, want) {
		t.Errorf("a sign-off needs %q, expected %q", needed, want)
	}
	for _, name := range setup.DemoNames {
		t.Run(name, func(t *testing.T) {
			m := models()[name]
			guide := quiz.NewGuide(m)
			met := map[string]bool{}
			for _, sc := range quiz.Scenarios {
				for seed := range uint64(100) {
					start, err := guide.Generate(sc, seed)
					if err != nil {
						t.Fatal(err)
					}
					kind, _ := m.Setup.PartKind(start.Faults[0].Part)
					met[string(kind)+" "+string(start.Faults[0].Mode)] = true
				}
			}
			want := []string{
				"plug half-home", "plug open", "joint open", "joint crossed", "joint high-resistance", "joint intermittent", "fuse blown", "fuse missing",
				"fuse holder-heated", "converter failed", "converter cut-out", "battery flat", "lead open", "outlet off", "cord half-home", "panel misread",
			}
			switch name {
			case "chair-12":
				want = append(want, "switch off", "lamp dead")
			case "chair-7":
				want = append(want, "isolator off", "lamp dead")
			case "chair-21":
				want = append(want, "screen dead")
			}
			for _, w := range want {
				if !met[w] {
					t.Errorf("nobody meets %s", w)
				}
			}
		})
	}
}

// hides holds a start to what the objective asks, by what is right to end with
// and how it looks.
func hides(t *testing.T, sc quiz.Scenario, start bench.Start, end diagnosis.Verb) {
	t.Helper()
	calls := []diagnosis.Verb{diagnosis.CallTech, diagnosis.CallChair}
	ends := map[string][]diagnosis.Verb{"find-safely": {diagnosis.Solved}, "call-right": calls, "leave-apart": calls, "mistrust": {diagnosis.Untrusted}}[sc.Objective]
	switch {
	case sc.Mains: // the person may be let go on mains, and the rest seen to later
		ends = append(ends, diagnosis.Untrusted)
	case sc.ID == "before-you-leave": // no source can be told
		ends = []diagnosis.Verb{diagnosis.CallClinic}
	}
	if !slices.Contains(ends, end) {
		t.Errorf("%s ends with %s", start.Faults[0], end)
	}
	at := circuit.Usual(start.Faults...)
	at.Mains = sc.Mains
	st, err := circuit.Solve(start.Setup, at)
	if err != nil {
		t.Fatal(err)
	}
	from := setup.Internal
	if sc.From != "" || sc.Mains && !start.Setup.Ventilator.Shared() {
		from = setup.Chair
	}
	if st.Source != from || sc.Kind != "" && st.Kind != sc.Kind {
		t.Errorf("%s starts on %s, %s", start.Faults[0], st.Source, st.Kind)
	}
	apart := []setup.Look{setup.LookDiscoloured, setup.LookHalfHome, setup.LookCrossed}
	if look := st.Look(start.Faults[0].Part); sc.Objective == "leave-apart" && !slices.Contains(apart, look) {
		t.Errorf("%s looks %s", start.Faults[0], look)
	}
}

// Without a seed a run starts as it did before seeds were drawn.
func TestTheFixedStarts(t *testing.T) {
	for at, want := range map[string]string{
		"chair-12 after-the-transfer": "inlet-switch=off 120 false", "chair-7 after-the-transfer": "isolator=off 120 false",
		"chair-21 after-the-transfer": "plug=half-home 120 false",
		"chair-12 at-home-evening":    "fuse=blown 90 true", "chair-7 at-home-evening": "fuse=blown 90 true", "chair-21 at-home-evening": "fuse=blown 90 true",
		"chair-12 comes-and-goes": "joint-battery=high-resistance:6 150 true", "chair-7 comes-and-goes": "joint-ventilator=high-resistance:6 150 true",
		"chair-21 comes-and-goes": "joint-battery=high-resistance:6 150 true",
	} {
		name, id, _ := strings.Cut(at, " ")
		sc, err := quiz.Find(id)
		if err != nil {
			t.Fatal(err)
		}
		start := drawn(t, models()[name], sc, quiz.Fixed)
		if got := fmt.Sprint(start.Faults[0], " ", start.Minutes, " ", start.MainsInReach); got != want || start.Day {
			t.Errorf("%s starts as %s, day %v; expected %s", at, got, start.Day, want)
		}
	}
}

func TestSetUpsThatFitNothing(t *testing.T) {
	s, err := setup.Demo("chair-12")
	if err != nil {
		t.Fatal(err)
	}
	m := *models()["chair-12"]
	m.Setup = s
	sc := quiz.Scenarios[0]
	sc.Kind = circuit.Collapsed // no fault of a switch or plug does that
	for _, seed := range []uint64{quiz.Fixed, 7} {
		if _, err := quiz.Generate(&m, sc, seed); !problem.Is(err, problem.Invalid) {
			t.Errorf("seed %d: %v", seed, err)
		}
	}
}

func TestOneUnsafeStepFails(t *testing.T) {
	eachStart(t, func(t *testing.T, m *diagnosis.Model, start bench.Start) {
		way := best(t, m, start)
		way = slices.Insert(way, len(way)-1, diagnosis.Action{Verb: diagnosis.ReplaceFuse, Part: "fuse"})
		if r := run(t, m, start, way...); r.Safe || r.Score != 0 || r.Passed {
			t.Errorf("%+v", r)
		}
	})
}

func TestLookingBeforeThePersonFails(t *testing.T) {
	eachStart(t, func(t *testing.T, m *diagnosis.Model, start bench.Start) {
		if r := run(t, m, start, best(t, m, start)[1:]...); r.Passed {
			t.Error("passed without asking the person")
		}
	})
}

func TestEndings(t *testing.T) {
	m := models()["chair-12"]
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
		"a hot joint left apart, and a call":   {"comes-and-goes", []diagnosis.Action{ask, panel, plug, {Verb: diagnosis.Look, Part: "joint-battery"}, call}, true},
		"everything looked at before the call": {"at-home-evening", []diagnosis.Action{ask, panel, plug, {Verb: diagnosis.Look, Part: "lead-out"}, {Verb: diagnosis.Look, Part: "converter"}, fuse, call}, true},
	} {
		t.Run(name, func(t *testing.T) {
			sc, err := quiz.Find(c.scenario)
			if err != nil {
				t.Fatal(err)
			}
			if r := run(t, m, drawn(t, m, sc, quiz.Fixed), c.do...); !r.Safe || r.EndingRight != c.right {
				t.Errorf("%+v", r)
			}
		})
	}
}

// Nobody says "solved" on the internal battery: nothing outside was seen to
// carry.
func TestSolvedOnTheInternalBatteryIsUnsafe(t *testing.T) {
	sc, err := quiz.Find("after-the-transfer")
	if err != nil {
		t.Fatal(err)
	}
	m := models()["chair-12"]
	ask, panel := diagnosis.Action{Verb: diagnosis.AskPerson}, diagnosis.Action{Verb: diagnosis.Look, Part: diagnosis.PanelID}
	if r := run(t, m, drawn(t, m, sc, quiz.Fixed), ask, panel, diagnosis.Action{Verb: diagnosis.Solved}); r.Safe || r.Passed {
		t.Errorf("%+v", r)
	}
}

// A call too early is not what the scenario asks, but it is never called
// wrong; leaving mains in the bag is.
func TestCarefulIsNotWrong(t *testing.T) {
	eachStart(t, func(t *testing.T, m *diagnosis.Model, start bench.Start) {
		way := []diagnosis.Action{{Verb: diagnosis.AskPerson}, {Verb: diagnosis.Bag}, {Verb: diagnosis.Look, Part: diagnosis.PanelID}}
		call := diagnosis.Action{Verb: diagnosis.CallTech}
		if dark(start) {
			if r := run(t, m, start, append(way, call)...); !r.Passed || r.Steps[3].Why != "quiz.why.unread" {
				t.Errorf("a panel that names no source, and a call at once: %+v", r)
			}
			return
		}
		untried := start.MainsInReach && !start.Mains && from(t, start) == setup.Internal
		early := run(t, m, start, append(slices.Clone(way), call)...)
		if early.Passed || early.Careful == untried {
			t.Errorf("%+v", early)
		}
		if untried {
			way = append(way, diagnosis.Action{Verb: diagnosis.PlugIn, Part: "outlet"})
		}
		if r := run(t, m, start, append(way, call)...); r.Passed || !r.Careful || !r.Safe {
			t.Errorf("%+v", r)
		}
	})
}

// dark tells whether nothing on the panel names a source.
func dark(start bench.Start) bool {
	kind, _ := start.Setup.PartKind(start.Faults[0].Part)
	return kind == setup.KindLamp || kind == setup.KindScreen
}

// from is what carries when a run starts.
func from(t testing.TB, start bench.Start) setup.Source {
	t.Helper()
	b, err := bench.New(start)
	if err != nil {
		t.Fatal(err)
	}
	return b.State.Source
}

func TestReachingForAnOutletThatIsNotThereHarmsNobody(t *testing.T) {
	sc := quiz.Scenarios[0]
	for name, m := range models() {
		start := drawn(t, m, sc, 7)
		way := slices.Insert(best(t, m, start), 3, diagnosis.Action{Verb: diagnosis.PlugIn, Part: "outlet"})
		if r := run(t, m, start, way...); !r.Passed || r.Score != 1 {
			t.Errorf("%s: %+v", name, r)
		}
	}
}

// Walking all of the side that fails is slow and safe, and passes. Where the
// panel names no source there is no walk: nothing but a call is safe.
func TestAWalkAlongTheChainPasses(t *testing.T) {
	eachStart(t, func(t *testing.T, m *diagnosis.Model, start bench.Start) {
		way := best(t, m, start)
		opening, err := quiz.Opening(m, start)
		if err != nil {
			t.Fatal(err)
		}
		at := len(opening)
		walk := slices.Clone(way[:at])
		side := m.Setup.Chain
		if start.Mains {
			side = m.Setup.Mains
		}
		for i := range side {
			walk = append(walk, diagnosis.Action{Verb: diagnosis.Look, Part: side[i].ID})
		}
		for _, a := range way[at:] {
			if a.Verb != diagnosis.Look || !slices.Contains(walk, a) {
				walk = append(walk, a)
			}
		}
		if r := run(t, m, start, walk...); r.Passed == dark(start) || r.Score >= 1 {
			t.Errorf("%s: score %g of %g s against %g s", start.Faults[0], r.Score, r.Seconds, r.BestSeconds)
		}
	})
}

// TestADebriefSaysWhatWasBetter, step by step, with the reason.
func TestADebriefSaysWhatWasBetter(t *testing.T) {
	m := models()["chair-12"]
	start := drawn(t, m, quiz.Scenarios[1], quiz.Fixed)
	look := func(part string) diagnosis.Action { return diagnosis.Action{Verb: diagnosis.Look, Part: part} }
	ask, bag, plug := diagnosis.Action{Verb: diagnosis.AskPerson}, diagnosis.Action{Verb: diagnosis.Bag}, diagnosis.Action{Verb: diagnosis.PlugIn, Part: "outlet"}
	r := run(t, m, start, look("fuse"), ask, look("alarm"), bag, look("fuse"), diagnosis.Action{Verb: diagnosis.PlugIn, Part: "adapter"}, look("fuse"),
		diagnosis.Action{Verb: diagnosis.CallClinic})
	for i, want := range []struct {
		best bool
		next diagnosis.Action
		why  string
	}{
		{false, ask, "why.person"},
		{true, ask, "why.person"},
		{true, look("panel"), "why.panel"},
		{true, bag, "quiz.why.bag"},
		{false, plug, "why.source"},
		{true, plug, "why.source"},
	} {
		if st := r.Steps[i]; st.Best != want.best || st.Next != want.next || st.Why != want.why {
			t.Errorf("step %d, %v: best %v, next %v, %s; expected %+v", i, st.Action, st.Best, st.Next, st.Why, want)
		}
	}
	if end := r.Steps[len(r.Steps)-1]; !end.Best || end.Why != "why.ending" {
		t.Errorf("the clinical line instead of the technologist: %+v", end)
	}
}

// Nothing that is done on a bench is beyond the diagnosis.
func TestEveryBenchIsExplained(t *testing.T) {
	for _, name := range setup.DemoNames {
		m := models()[name]
		actions := []diagnosis.Action{{Verb: diagnosis.AskPerson}, {Verb: diagnosis.Bag}, {Verb: diagnosis.Look, Part: diagnosis.PanelID}}
		for _, part := range m.Setup.IDs() {
			for _, v := range bench.Offers(m.Setup, part) {
				actions = append(actions, diagnosis.Action{Verb: v, Part: part})
			}
		}
		var starts []bench.Start
		for _, sc := range quiz.Scenarios {
			for _, seed := range few {
				starts = append(starts, drawn(t, m, sc, seed))
			}
		}
		t.Run(name, rapid.MakeCheck(func(r *rapid.T) {
			start := rapid.SampledFrom(starts).Draw(r, "start")
			start.Minutes = rapid.SampledFrom([]float64{0, .2, 31, start.Minutes}).Draw(r, "minutes")
			b := replay(t, start, append([]diagnosis.Action{actions[0], actions[1], actions[2]}, rapid.SliceOfN(rapid.SampledFrom(actions), 0, 8).Draw(r, "actions")...))
			steps, err := quiz.Explain(m, b)
			if err != nil {
				r.Fatal(err)
			}
			for _, st := range steps {
				if st.Why == "" || st.Best && st.Refused != "" {
					r.Fatalf("%+v", st)
				}
			}
		}))
	}
}

// A stored result from before seeds and reasons reads as it did.
func TestOldResultsRead(t *testing.T) {
	const old = `{"safe":true,"ending_right":true,"careful":false,"efficiency":1,"score":1,"passed":true,
		"steps":[{"action":{"Verb":"ask-person","Part":""},"seconds":0,"source":"internal","best":true}],
		"best":[{"Verb":"ask-person","Part":""}],"fault":"fuse=blown","spare":"fuse","seconds":105,"best_seconds":105}`
	var r quiz.Result
	if err := json.Unmarshal([]byte(old), &r); err != nil {
		t.Fatal(err)
	}
	if !r.Passed || len(r.Steps) != 1 || !r.Steps[0].Best || r.Steps[0].Why != "" || r.Steps[0].Next.Verb != "" || r.Fault != "fuse=blown" {
		t.Errorf("%+v", r)
	}
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

func TestABenchRefuses(t *testing.T) {
	m := models()["chair-7"]
	start := drawn(t, m, quiz.Scenarios[0], quiz.Fixed)
	for _, a := range []diagnosis.Action{{Verb: "dance"}, {Verb: diagnosis.Look, Part: "nowhere"}, {Verb: diagnosis.SwitchOn, Part: "fuse"}, {Verb: diagnosis.CallTech, Part: "fuse"}} {
		if _, err := quiz.Replay(start, []diagnosis.Action{a}); !problem.Is(err, problem.Invalid) {
			t.Errorf("%v: %v", a, err)
		}
	}
	end := diagnosis.Action{Verb: diagnosis.CallTech}
	if _, err := quiz.Replay(start, []diagnosis.Action{end, end}); !problem.Is(err, problem.Moved) {
		t.Error("acted after the end:", err)
	}
	if _, err := quiz.Find("none"); !problem.Is(err, problem.Unknown) {
		t.Error(err)
	}
}

// Dawdling on the internal battery stops the ventilator; from then on only the
// person and the calls are left.
func TestMinutesRunOut(t *testing.T) {
	start := drawn(t, models()["chair-12"], quiz.Scenarios[0], quiz.Fixed)
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
	m := models()["chair-12"]
	start := drawn(b, m, quiz.Scenarios[1], 7)
	way := best(b, m, start)
	b.ReportAllocs()
	for b.Loop() {
		run(b, m, start, way...)
	}
}

func BenchmarkGenerate(b *testing.B) {
	m := models()["chair-12"]
	seed := uint64(0)
	for b.Loop() {
		seed++
		drawn(b, m, quiz.Scenarios[1], seed)
	}
}
