package bench_test

import (
	"reflect"
	"slices"
	"testing"

	"lampwright/lessons/setup"
	"lampwright/locales/problem"
	"lampwright/quiz/bench"
	"lampwright/quiz/diagnosis"

	"pgregory.net/rapid"
)

func act(verb diagnosis.Verb, part string) diagnosis.Action {
	return diagnosis.Action{Verb: verb, Part: part}
}

var (
	person = act(diagnosis.AskPerson, "")
	panel  = act(diagnosis.Look, diagnosis.PanelID)
)

// starts are stories as quiz tells them: a blown fuse at home, a plug half
// home in the park, a joint that heats.
var starts = []struct {
	fault   string
	mains   bool
	minutes float64
}{{"fuse=blown", true, 90}, {"plug=half-home", false, 120}, {"joint-battery=high-resistance:6", true, 150}}

// open opens one of the starts on a set-up.
func open(t interface{ Fatal(...any) }, s *setup.Setup, i int) *bench.Bench {
	f, err := s.ParseFault(starts[i].fault)
	if err != nil {
		t.Fatal(err)
	}
	b, err := bench.New(bench.Start{Setup: s, Faults: []setup.Fault{f}, MainsInReach: starts[i].mains, Minutes: starts[i].minutes})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// begin opens the evening with a blown fuse on a demo set-up.
func begin(t testing.TB, name string) *bench.Bench {
	t.Helper()
	s, err := setup.Demo(name)
	if err != nil {
		t.Fatal(err)
	}
	return open(t, s, 0)
}

func do(t testing.TB, b *bench.Bench, actions ...diagnosis.Action) (last bench.Step) {
	t.Helper()
	for _, a := range actions {
		var err error
		if last, err = b.Act(a); err != nil {
			t.Fatalf("%v: %v", a, err)
		}
	}
	return last
}

func TestRefusedChangesNothing(t *testing.T) {
	for name, c := range map[string]struct {
		before []diagnosis.Action
		action diagnosis.Action
		why    string
	}{
		"a look before the person": {nil, panel, "gate.person-first"},
		"a part before the panel":  {[]diagnosis.Action{person}, act(diagnosis.Look, "fuse"), "gate.panel-first"},
		"a cause before a source":  {[]diagnosis.Action{person, panel}, act(diagnosis.Look, "fuse"), "gate.source-first"},
		"another fuse":             {[]diagnosis.Action{person, panel}, act(diagnosis.ReplaceFuse, "fuse"), "gate.never.replace-fuse"},
		"a push before a look":     {[]diagnosis.Action{person, panel, act(diagnosis.PlugIn, "outlet")}, act(diagnosis.PushHome, "plug"), "gate.look-first"},
	} {
		t.Run(name, func(t *testing.T) {
			b := begin(t, "chair-12")
			do(t, b, c.before...)
			seconds, minutes, state, answers := b.Seconds, b.Minutes, b.State, len(b.Answers.Looks)
			step := do(t, b, c.action)
			if step.Refused != c.why || step.Did || step.Seconds != 0 {
				t.Errorf("got %+v, expected refused by %s", step, c.why)
			}
			if b.Seconds != seconds || b.Minutes != minutes || !reflect.DeepEqual(b.State, state) || len(b.Answers.Looks) != answers || b.Ending != "" {
				t.Error("it changed something")
			}
			if b.Steps[len(b.Steps)-1].Refused != c.why {
				t.Error("it is not among the steps")
			}
		})
	}
}

func TestUnknownActions(t *testing.T) {
	b := begin(t, "chair-12")
	for _, a := range []diagnosis.Action{
		{},
		act("dance", diagnosis.PanelID), act(diagnosis.Look, "moon"), act(diagnosis.Look, ""), act(diagnosis.AskPerson, "fuse"),
		act(diagnosis.Solved, "fuse"), act(diagnosis.PlugIn, "fuse"), act(diagnosis.SwitchOn, diagnosis.PanelID),
	} {
		if _, err := b.Act(a); !problem.Is(err, problem.Invalid) {
			t.Errorf("%v: got %v, expected it refused as invalid", a, err)
		}
	}
	if len(b.Steps) != 0 {
		t.Errorf("%d of them are steps", len(b.Steps))
	}
}

func TestNothingAfterTheEnd(t *testing.T) {
	for _, end := range bench.Endings {
		if end == diagnosis.Solved || end == diagnosis.Untrusted {
			continue // not while it rides on the internal battery
		}
		b := begin(t, "chair-12")
		do(t, b, act(end, ""))
		if b.Ending != end {
			t.Errorf("ended as %q, expected %q", b.Ending, end)
		}
		if _, err := b.Act(person); !problem.Is(err, problem.Moved) || len(b.Steps) != 1 {
			t.Errorf("after %s: got %v and %d steps", end, err, len(b.Steps))
		}
	}
}

// TestMinutes: they run only on the internal battery.
func TestMinutes(t *testing.T) {
	b := begin(t, "chair-12")
	start := b.Minutes
	do(t, b, person, panel)
	if gone := start - b.Minutes; gone < 10.0/60-1e-9 || gone > 10.0/60+1e-9 {
		t.Errorf("%v minutes went by, expected ten seconds", gone)
	}
	do(t, b, act(diagnosis.PlugIn, "outlet"))
	onMains, seconds := b.Minutes, b.Seconds
	do(t, b, act(diagnosis.Look, "fuse"))
	if b.Minutes != onMains || b.Seconds <= seconds {
		t.Errorf("on mains the minutes ran from %v to %v", onMains, b.Minutes)
	}
	if b.State.Source != setup.Mains || b.Answers.Source != setup.Mains {
		t.Errorf("carried by %s, read as %s", b.State.Source, b.Answers.Source)
	}
}

func TestEmptyInternalBattery(t *testing.T) {
	b := begin(t, "chair-12")
	b.Start.Minutes = 0
	empty, err := bench.New(b.Start)
	if err != nil {
		t.Fatal(err)
	}
	if empty.State.Source != setup.None || empty.Minutes != 0 {
		t.Fatalf("%s carries with %v minutes", empty.State.Source, empty.Minutes)
	}
	do(t, empty, person)
	if empty.Answers.PersonOK != diagnosis.No || empty.Answers.Running != diagnosis.No {
		t.Errorf("the person is said to be well: %+v", empty.Answers)
	}
	if step := do(t, empty, panel); step.Refused == "" {
		t.Error("the panel was looked at before the person was helped")
	}
}

func TestEverythingOfferedIsKnown(t *testing.T) {
	for _, name := range setup.DemoNames {
		b := begin(t, name)
		for _, part := range append(b.Start.Setup.IDs(), diagnosis.PanelID) {
			verbs := bench.Offers(b.Start.Setup, part)
			if !slices.Contains(verbs, diagnosis.Look) {
				t.Errorf("%s %s cannot be looked at", name, part)
			}
			for _, v := range verbs {
				do(t, begin(t, name), act(v, part))
			}
		}
	}
}

// TestSameActionsSameBench: a run read again is the run as it was, and
// whatever is done, time and minutes never run backwards.
func TestSameActionsSameBench(t *testing.T) {
	for _, name := range setup.DemoNames {
		s, err := setup.Demo(name)
		if err != nil {
			t.Fatal(err)
		}
		all := []diagnosis.Action{person, panel, act(diagnosis.Bag, "")}
		for _, part := range s.IDs() {
			for _, v := range bench.Offers(s, part) {
				all = append(all, act(v, part))
			}
		}
		t.Run(name, rapid.MakeCheck(func(t *rapid.T) {
			start := rapid.IntRange(0, len(starts)-1).Draw(t, "start")
			actions := rapid.SliceOfN(rapid.SampledFrom(all), 0, 12).Draw(t, "actions")
			a := open(t, s, start)
			for _, x := range actions {
				seconds, minutes := a.Seconds, a.Minutes
				if _, err := a.Act(x); err != nil {
					t.Fatal(err)
				}
				if a.Seconds < seconds || a.Minutes > minutes || a.Minutes < 0 {
					t.Fatalf("%v: from %v s, %v min to %v s, %v min", x, seconds, minutes, a.Seconds, a.Minutes)
				}
			}
			b := open(t, s, start)
			for _, x := range actions {
				if _, err := b.Act(x); err != nil {
					t.Fatal(err)
				}
			}
			if !reflect.DeepEqual(a, b) {
				t.Fatalf("acted again it is another bench:\n%+v\n%+v", a, b)
			}
		}))
	}
}

// TestAMatedPlugHidesItsContacts: they are seen once it is out, by itself, by
// hand where the gate allows it, or because the one inlet holds the adapter.
func TestAMatedPlugHidesItsContacts(t *testing.T) {
	bag, mains, unplug, look := act(diagnosis.Bag, ""), act(diagnosis.PlugIn, "outlet"), act(diagnosis.Unplug, "plug"), act(diagnosis.Look, "plug")
	secured := []diagnosis.Action{person, bag, panel, mains, panel}
	for name, c := range map[string]struct {
		setup, faults string
		night         bool
		do            []diagnosis.Action
		look          setup.Look
		contacts      diagnosis.Result // "" while they are hidden
	}{
		"mated":                               {"chair-12", "plug=pushed-in", false, append(secured, look), setup.LookSound, ""},
		"taken out by hand":                   {"chair-12", "plug=pushed-in", false, append(secured, unplug, look), setup.LookContactIn, "contact-in"},
		"taken out by hand, nothing wrong":    {"chair-12", "fuse=blown", false, append(secured, unplug, look), setup.LookSound, "sound"},
		"by night it stays in":                {"chair-12", "plug=pushed-in", true, append(secured, unplug, look), setup.LookSound, ""},
		"parked beside the adapter's":         {"chair-7", "plug=pushed-in", false, append(secured, look), setup.LookContactIn, "contact-in"},
		"parked, nothing wrong":               {"chair-7", "fuse=blown", false, append(secured, look), setup.LookApart, "sound"},
		"apart by itself":                     {"chair-12", "plug=open", false, append(secured, look), setup.LookApart, "sound"},
		"taken out, looked at and put back":   {"chair-12", "plug=pushed-in", false, append(secured, unplug, act(diagnosis.Look, "fuse"), look, act(diagnosis.PushHome, "plug"), look), setup.LookContactIn, "contact-in"},
		"sound, taken out, and put back home": {"chair-12", "fuse=blown", false, append(secured, unplug, look, act(diagnosis.PushHome, "plug"), look), setup.LookSound, ""},
	} {
		t.Run(name, func(t *testing.T) {
			s, err := setup.Demo(c.setup)
			if err != nil {
				t.Fatal(err)
			}
			f, err := s.ParseFault(c.faults)
			if err != nil {
				t.Fatal(err)
			}
			b, err := bench.New(bench.Start{Setup: s, Faults: []setup.Fault{f}, MainsInReach: true, Minutes: 90, Day: !c.night})
			if err != nil {
				t.Fatal(err)
			}
			step := do(t, b, c.do...)
			var contacts diagnosis.Result
			for _, d := range step.Told {
				if d.Check == "plug-contacts" {
					contacts = d.Shows
				}
			}
			if step.Look != c.look || contacts != c.contacts || b.Shown("plug") != c.look {
				t.Errorf("it looks %s, its contacts %q, shown %s; expected %s, %q\n%+v", step.Look, contacts, b.Shown("plug"), c.look, c.contacts, b.Steps)
			}
		})
	}
}

// TestWhatAStepTells: in the words of the diagnosis, a refused step nothing.
func TestWhatAStepTells(t *testing.T) {
	mains, fuse := act(diagnosis.PlugIn, "outlet"), act(diagnosis.Look, "fuse")
	b := begin(t, "chair-12")
	for _, c := range []struct {
		do   diagnosis.Action
		told []diagnosis.Done
	}{
		{fuse, nil},
		{person, []diagnosis.Done{{Check: "person", Shows: "ok"}}},
		{panel, []diagnosis.Done{{Check: "panel", Shows: "internal"}, {Check: "alarm", Shows: "ringing"}}},
		{fuse, nil},
		{mains, []diagnosis.Done{{Action: mains}, {Check: "panel", Shows: "mains"}, {Check: "alarm", Shows: "quiet"}}},
		{mains, nil},
		{fuse, []diagnosis.Done{{Check: "fuse", Shows: "blown"}}},
		{act(diagnosis.Look, "inlet-switch"), []diagnosis.Done{{Check: "inlet-switch", Shows: "sound"}}},
		{act(diagnosis.SwitchOn, "inlet-switch"), []diagnosis.Done{{Action: act(diagnosis.SwitchOn, "inlet-switch")}, {Check: "panel", Shows: "mains"}, {Check: "alarm", Shows: "quiet"}}},
	} {
		if step := do(t, b, c.do); !reflect.DeepEqual(step.Told, c.told) {
			t.Errorf("%v tells %v, expected %v", c.do, step.Told, c.told)
		}
	}
}

// A bench may begin with the adapter in and mains not carrying: the chair
// carries where it has an inlet of its own, the internal battery where it
// shares one. What is wrong with mains may then be looked at and mended.
func TestMainsThatFailed(t *testing.T) {
	for name, from := range map[string]setup.Source{"chair-12": setup.Chair, "chair-7": setup.Internal, "chair-21": setup.Chair} {
		s, err := setup.Demo(name)
		if err != nil {
			t.Fatal(err)
		}
		b, err := bench.New(bench.Start{Setup: s, Faults: []setup.Fault{{Part: "cord", Mode: setup.HalfHome}}, Mains: true, MainsInReach: true, Minutes: 60})
		if err != nil {
			t.Fatal(err)
		}
		if b.State.Source != from || b.Answers.MainsTried != diagnosis.Yes || b.Told()[0].Action != act(diagnosis.PlugIn, "outlet") {
			t.Errorf("%s begins on %s, %+v, told %v", name, b.State.Source, b.Answers, b.Told())
		}
		do(t, b, person, act(diagnosis.Bag, ""), panel)
		if again := do(t, b, act(diagnosis.PlugIn, "outlet")); again.Did || b.State.Source != from {
			t.Errorf("%s: plugged in twice: %+v", name, again)
		}
		if looked := do(t, b, act(diagnosis.Look, "cord")); looked.Look != setup.LookHalfHome {
			t.Errorf("%s: %+v", name, looked)
		}
		if pushed := do(t, b, act(diagnosis.PushHome, "cord")); !pushed.Did || pushed.Seen != setup.Mains || b.State.Source != setup.Mains {
			t.Errorf("%s: %+v", name, pushed)
		}
	}
}
