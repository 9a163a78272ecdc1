package diagnosis

import (
	"testing"

	"pgregory.net/rapid"

	"lampwright/lessons/setup"
)

// What must come next when answers do not agree, or are too few to be relied
// on. Each was once got wrong.
func TestWhatComesNext(t *testing.T) {
	ok := Done{Check: PersonID, Shows: PersonOK}
	saw := func(check string, shows ...Result) (out []Done) {
		for _, r := range shows {
			out = append(out, Done{Check: check, Shows: r})
		}
		return out
	}
	join := func(parts ...[]Done) (out []Done) {
		for _, p := range parts {
			out = append(out, p...)
		}
		return out
	}
	did := func(verb Verb, part string) []Done { return []Done{{Action: Action{verb, part}}} }
	first, reach := []Done{ok}, steady(Care{MainsInReach: true})
	half := 30.0
	look := func(part string) Action { return Action{Look, part} }
	end := func(verb Verb) Action { return Action{Verb: verb} }
	for name, tt := range map[string]struct {
		setup string
		care  Care
		done  []Done
		want  Action
	}{
		"told hurt, then apart: a third look before any hand": {
			"chair-7", steady(Care{}), join(first, saw("panel", "internal"), saw("converter", "sound", "sound"), saw("plug", "discoloured", "apart")), look("plug"),
		},
		"hurt in two of three: it stays apart": {
			"chair-12", steady(Care{}), join(first, saw("panel", "chair", "chair"), saw("isolator", "discoloured", "off", "discoloured")), end(CallChair),
		},
		"hurt in two ways: it stays apart": {
			"chair-7", steady(Care{}), join(first, saw("panel", "internal"), saw("joint-battery", "discoloured", "crossed")), end(CallTech),
		},
		"told hurt, then not to be told: once more": {
			"chair-7", reach, join(first, saw("panel", "chair", "chair"), saw("lead-out", "damaged", Unclear)), look("lead-out"),
		},
		"hurt, and never settled: it stays apart": {
			"chair-7", reach, join(first, saw("panel", "chair", "chair"), saw("lead-out", "damaged", Unclear, Unclear)), end(CallTech),
		},
		"chair once after a remedy: read it again": {
			"chair-12", steady(Care{}), join(first, saw("panel", "internal"), saw("inlet-switch", "off", "off"), did(SwitchOn, "inlet-switch"), saw("panel", "chair")), look(setup.PanelID),
		},
		"chair once at one inlet: read it again": {"chair-7", reach, join(first, saw("panel", "chair")), look(setup.PanelID)},
		"chair once after it could not be read":  {"chair-12", steady(Care{}), join(first, saw("panel", Unclear, "chair")), look(setup.PanelID)},
		"mains though no outlet is in reach":     {"chair-12", steady(Care{}), join(first, saw("panel", "mains")), look(setup.PanelID)},
		"few minutes left: a call, whatever was seen": {
			"chair-12", Care{Minutes: &half}, join(first, saw("panel", "internal"), saw("joint-battery", "discoloured")), end(CallClinic),
		},
		"a dark panel stays an emergency": {"chair-12", steady(Care{}), join(saw("panel", "none"), first), end(CallRescue)},
		"no bag, one inlet: no alarm to hear": {
			"chair-7", steady(Care{MainsInReach: true, NoBag: true}), join(first, saw("panel", "internal")), end(CallClinic),
		},
	} {
		t.Run(name, func(t *testing.T) {
			d, err := demoModel(t, tt.setup).Think(tt.care, tt.done)
			if err != nil {
				t.Fatal(err)
			}
			if got := d.Next(); got.Action != tt.want {
				t.Errorf("next is %+v, expected %+v", got, tt.want)
			}
		})
	}
}

func demoModel(t testing.TB, name string) *Model {
	t.Helper()
	for _, j := range judgedDemos() {
		if j.name == name {
			return j.Model
		}
	}
	t.Fatalf("no set-up %s", name)
	return nil
}

// A warm part that is sound when felt twice more is no part that stays apart.
func TestWarmCanBeTakenBack(t *testing.T) {
	m, err := NewModel(drawn()[3].Setup, nil)
	if err != nil {
		t.Fatal(err)
	}
	seen := func(shows ...Result) *Mind {
		done := []Done{{Check: PersonID, Shows: PersonOK}, {Check: setup.PanelID, Shows: "chair"}, {Check: setup.PanelID, Shows: "chair"}}
		for _, r := range shows {
			done = append(done, Done{Check: "diode", Shows: r})
		}
		return think(t, m, done...)
	}
	if d := seen(Feels, "sound"); !d.hurt("diode") || !d.Answers.Hot["diode"] {
		t.Error("one sound look took a warm one back")
	}
	if d := seen(Feels, "sound", "sound"); d.hurt("diode") || d.Answers.Hot["diode"] || d.Next().Why == "why.stays-apart" {
		t.Error("two sound looks did not take a warm one back")
	}
	if d := seen(Feels, Feels); d.Next().Why != "why.stays-apart" {
		t.Errorf("warm twice: next is %+v", d.Next())
	}
}

// Into the one inlet goes one plug: pushing the chair's home takes mains away.
func TestTheOneInletHoldsOnePlug(t *testing.T) {
	m := demoModel(t, "chair-7")
	done := []Done{
		{Check: PersonID, Shows: PersonOK},
		{Check: setup.PanelID, Shows: "internal"},
		{Check: setup.AlarmID, Shows: Ringing},
		{Action: Action{PlugIn, "outlet"}},
		{Check: setup.PanelID, Shows: "mains"},
	}
	d := think(t, m, done...)
	if !d.out("plug") {
		t.Error("mains is in the one inlet, and the chair's plug is not out")
	}
	done[4].Shows = "internal"
	done = append(done, Done{Check: setup.AlarmID, Shows: Ringing}, Done{Check: "plug", Shows: "apart"}, Done{Action: Action{PushHome, "plug"}}, Done{Check: setup.PanelID, Shows: "mains"})
	if d := think(t, m, done...); d.out("plug") || d.plugged {
		t.Error("the chair's plug was pushed home, and counts as out")
	}
	if d := think(t, m, done[:len(done)-1]...); d.world != away {
		t.Error("mains still counts as in")
	}
	done[len(done)-1].Shows = "internal"
	if d := think(t, m, done...); d.Answers.SecondSign == Yes {
		t.Error("an alarm heard before a remedy counts after it")
	}
}

// Whatever is answered, however it contradicts itself, it ends, and before the
// pages give up.
func TestAnyAnswersEnd(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		j := rapid.SampledFrom(judgedDemos()).Draw(t, "set-up")
		care := steady(Care{MainsInReach: rapid.Bool().Draw(t, "mains in reach"), Night: rapid.Bool().Draw(t, "night"), NoBag: rapid.Bool().Draw(t, "no bag")})
		var done []Done
		for range 32 {
			d, err := j.Think(care, done)
			if err != nil {
				t.Fatal(err)
			}
			st := d.Next()
			if ok, why := Allowed(j.named.Setup, st.Action, d.Answers); !ok {
				t.Fatalf("%v after %v: the gate refuses %s", st.Action, done, why)
			}
			switch {
			case ends(st.Action.Verb):
				return
			case st.Action.Verb == AskPerson:
				done = append(done, Done{Check: PersonID, Shows: PersonOK})
			case st.Action.Verb == Look:
				done = append(done, Done{Check: st.Check, Shows: rapid.SampledFrom(append(j.Results(j.check(st.Check)), Unclear)).Draw(t, st.Check)})
			default:
				done = append(done, Done{Action: st.Action})
			}
		}
		t.Fatalf("no end after %v", done)
	})
}

// Minutes run while someone looks: when few are left, nothing more is offered
// but the call.
func TestMinutesRunOut(t *testing.T) {
	for _, j := range judgedDemos() {
		var done []Done
		for step := range 30 {
			left := 120 - 15*float64(step)
			d, err := j.Think(Care{Minutes: &left}, done)
			if err != nil {
				t.Fatal(err)
			}
			st := d.Next()
			if ok, why := Allowed(j.named.Setup, st.Action, d.Answers); !ok {
				t.Errorf("%s with %g minutes: %v, and the gate refuses %s", j.name, left, st.Action, why)
			}
			if ends(st.Action.Verb) {
				break
			}
			x := Done{Check: st.Check, Shows: "sound"}
			switch st.Check {
			case PersonID:
				x.Shows = PersonOK
			case setup.PanelID:
				x.Shows = "internal"
			case setup.AlarmID:
				x.Shows = Ringing
			case "joint-battery":
				x.Shows = "discoloured"
			}
			done = append(done, x)
		}
	}
}

func TestThereIsRoomForEverySpare(t *testing.T) {
	names := map[string]bool{}
	for _, k := range setup.Known {
		names[k.Spare] = true
	}
	if len(names) > kinds {
		t.Errorf("%d spares, room for %d", len(names), kinds)
	}
}
