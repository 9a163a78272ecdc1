package diagnosis_test

import (
	"testing"

	"pgregory.net/rapid"

	"lampwright/lessons/setup"
	. "lampwright/quiz/diagnosis"
)

func demo(t testing.TB, name string) *setup.Setup {
	t.Helper()
	s, err := setup.Demo(name)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func minutes(m float64) *float64 { return &m }

func TestGate(t *testing.T) {
	ok := Answers{PersonOK: Yes, Running: Yes, PanelSeen: Yes, Source: setup.Internal, MainsInReach: No, Minutes: minutes(120)}
	with := func(change func(*Answers)) Answers {
		in := ok
		change(&in)
		return in
	}
	looked := func(part string, l setup.Look) Answers {
		return with(func(in *Answers) { in.Looks = map[string]setup.Look{part: l} })
	}
	for name, c := range map[string]struct {
		setup string
		do    Action
		in    Answers
		why   string // "" allowed
	}{
		"a call before anything":                    {"chair-12", Action{CallRescue, ""}, Answers{}, ""},
		"bagging before anything":                   {"chair-12", Action{Bag, ""}, Answers{}, ""},
		"the panel before the person":               {"chair-12", Action{Look, PanelID}, Answers{}, "gate.person-first"},
		"the panel when the person is not OK":       {"chair-12", Action{Look, PanelID}, Answers{PersonOK: No}, "gate.person-not-ok"},
		"mains when the person is not OK":           {"chair-12", Action{PlugIn, "outlet"}, with(func(in *Answers) { in.PersonOK = No }), "gate.person-not-ok"},
		"mains on a person not yet looked at":       {"chair-12", Action{PlugIn, "outlet"}, Answers{MainsInReach: Yes}, "gate.person-first"},
		"mains before the panel, two inlets":        {"chair-12", Action{PlugIn, "outlet"}, Answers{PersonOK: Yes, MainsInReach: Yes}, ""},
		"mains before the panel, one inlet":         {"chair-7", Action{PlugIn, "outlet"}, Answers{PersonOK: Yes, MainsInReach: Yes}, "gate.panel-first"},
		"mains when the panel cannot be read":       {"chair-12", Action{PlugIn, "outlet"}, Answers{PersonOK: Yes, PanelSeen: Yes, MainsInReach: Yes}, ""},
		"mains unreadable at the one inlet":         {"chair-7", Action{PlugIn, "outlet"}, Answers{PersonOK: Yes, PanelSeen: Yes, MainsInReach: Yes, BagInHand: Yes}, "gate.one-inlet"},
		"mains at the one inlet on one sign":        {"chair-7", Action{PlugIn, "outlet"}, with(func(in *Answers) { in.MainsInReach, in.BagInHand = Yes, Yes }), "gate.one-inlet"},
		"mains at the one inlet without the bag":    {"chair-7", Action{PlugIn, "outlet"}, with(func(in *Answers) { in.MainsInReach, in.SecondSign = Yes, Yes }), "gate.bag-first"},
		"mains through a cord that shows wires":     {"chair-12", Action{PlugIn, "outlet"}, with(func(in *Answers) { in.MainsInReach = Yes; in.Looks = map[string]setup.Look{"cord": setup.LookDamaged} }), "gate.stays-apart"},
		"mains from a hot outlet":                   {"chair-12", Action{PlugIn, "outlet"}, with(func(in *Answers) { in.MainsInReach = Yes; in.Hot = map[string]bool{"outlet": true} }), "gate.stays-apart"},
		"a part when the panel cannot be read":      {"chair-12", Action{Look, "fuse"}, Answers{PersonOK: Yes, PanelSeen: Yes, MainsInReach: No, Minutes: minutes(120)}, "gate.panel-unreadable"},
		"the outlet with two minutes left":          {"chair-12", Action{Look, "outlet"}, with(func(in *Answers) { in.MainsInReach = Yes; in.Minutes = minutes(2) }), "gate.source-first"},
		"a part after mains was tried, in time":     {"chair-12", Action{Look, "fuse"}, with(func(in *Answers) { in.MainsInReach, in.MainsTried = Yes, Yes }), ""},
		"a part after mains was tried, few minutes": {"chair-12", Action{Look, "fuse"}, with(func(in *Answers) { in.MainsInReach, in.MainsTried = Yes, Yes; in.Minutes = minutes(9) }), "gate.few-minutes"},
		"twenty minutes, a person unaided fifteen":  {"chair-7", Action{Look, "fuse"}, with(func(in *Answers) { in.Minutes = minutes(20) }), ""},
		"twenty minutes, a person unaided none":     {"chair-12", Action{Look, "fuse"}, with(func(in *Answers) { in.Minutes = minutes(20) }), "gate.few-minutes"},
		"a switch beside a joint that was hot": {"chair-12", Action{SwitchOn, "inlet-switch"}, with(func(in *Answers) {
			in.Looks = map[string]setup.Look{"inlet-switch": setup.LookOff}
			in.Hot = map[string]bool{"joint-battery": true}
		}), "gate.stays-apart"},
		"pushing at the plug that carries": {"chair-12", Action{PushHome, "plug"}, with(func(in *Answers) {
			in.Source = setup.Chair
			in.Looks = map[string]setup.Look{"plug": setup.LookHalfHome}
		}), "gate.carrying-push"},
		"unplugging what is hot": {"chair-12", Action{Unplug, "plug"}, with(func(in *Answers) {
			in.Source, in.SecondSign, in.Day, in.BagInHand = setup.Mains, Yes, Yes, Yes
			in.Hot = map[string]bool{"plug": true}
		}), "gate.stays-apart"},
		"a part before the panel":               {"chair-12", Action{Look, "fuse"}, Answers{PersonOK: Yes}, "gate.panel-first"},
		"a part while mains waits in reach":     {"chair-12", Action{Look, "fuse"}, with(func(in *Answers) { in.MainsInReach = Yes }), "gate.source-first"},
		"the outlet while mains waits in reach": {"chair-12", Action{Look, "outlet"}, with(func(in *Answers) { in.MainsInReach = Yes }), ""},
		"a part with time and no mains":         {"chair-12", Action{Look, "fuse"}, ok, ""},
		"a part with ten minutes":               {"chair-12", Action{Look, "fuse"}, with(func(in *Answers) { in.Minutes = minutes(10) }), "gate.few-minutes"},
		"a part with minutes unknown":           {"chair-12", Action{Look, "fuse"}, with(func(in *Answers) { in.Minutes = nil }), "gate.few-minutes"},
		"a ventilator that stopped":             {"chair-12", Action{Look, "fuse"}, with(func(in *Answers) { in.Running = No }), "gate.stopped"},
		"nothing carries":                       {"chair-12", Action{Look, "fuse"}, with(func(in *Answers) { in.Source = setup.None }), "gate.stopped"},
		"another fuse":                          {"chair-12", Action{ReplaceFuse, "fuse"}, ok, "gate.never.replace-fuse"},
		"the holder, by default":                {"chair-12", Action{OpenHolder, "fuse"}, ok, "gate.look-through-cover"},
		"inside the converter":                  {"chair-12", Action{OpenCase, "converter"}, ok, "gate.never.open-case"},
		"a switch not looked at":                {"chair-12", Action{SwitchOn, "inlet-switch"}, ok, "gate.look-first"},
		"a switch seen off":                     {"chair-12", Action{SwitchOn, "inlet-switch"}, looked("inlet-switch", setup.LookOff), ""},
		"a plug seen half home":                 {"chair-12", Action{PushHome, "plug"}, looked("plug", setup.LookHalfHome), ""},
		"a plug with a contact pushed in":       {"chair-12", Action{PushHome, "plug"}, looked("plug", setup.LookContactIn), "gate.stays-apart"},
		"a hot plug": {"chair-12", Action{PushHome, "plug"}, with(func(in *Answers) {
			in.Looks = map[string]setup.Look{"plug": setup.LookHalfHome}
			in.Hot = map[string]bool{"plug": true}
		}), "gate.stays-apart"},
		"a discoloured joint":                        {"chair-12", Action{PushHome, "joint-battery"}, looked("joint-battery", setup.LookDiscoloured), "gate.stays-apart"},
		"a joint half home, programme silent":        {"chair-12", Action{PushHome, "joint-battery"}, looked("joint-battery", setup.LookHalfHome), "gate.joint-not-yours"},
		"unplugging what carries":                    {"chair-12", Action{Unplug, "plug"}, with(func(in *Answers) { in.Source = setup.Chair }), "gate.carrying"},
		"unplugging on the internal battery":         {"chair-12", Action{Unplug, "plug"}, ok, "gate.unplug"},
		"unplugging on one sign of mains":            {"chair-12", Action{Unplug, "plug"}, with(func(in *Answers) { in.Source, in.Day, in.BagInHand = setup.Mains, Yes, Yes }), "gate.unplug"},
		"unplugging on two signs, by day, bag ready": {"chair-12", Action{Unplug, "plug"}, with(func(in *Answers) { in.Source, in.SecondSign, in.Day, in.BagInHand = setup.Mains, Yes, Yes, Yes }), ""},
		"unplugging at the one inlet":                {"chair-7", Action{Unplug, "plug"}, with(func(in *Answers) { in.Source, in.SecondSign, in.Day, in.BagInHand = setup.Mains, Yes, Yes, Yes }), "gate.unplug"},
		"mains into the one inlet on the chair":      {"chair-7", Action{PlugIn, "outlet"}, with(func(in *Answers) { in.Source, in.MainsInReach = setup.Chair, Yes }), "gate.one-inlet"},
		"mains into the one inlet on internal":       {"chair-7", Action{PlugIn, "outlet"}, with(func(in *Answers) { in.MainsInReach, in.SecondSign, in.BagInHand = Yes, Yes, Yes }), ""},
		"the chair plug while mains has the inlet":   {"chair-7", Action{PushHome, "plug"}, with(func(in *Answers) { in.Source = setup.Mains; in.Looks = map[string]setup.Look{"plug": setup.LookApart} }), "gate.one-inlet"},
		"mains out of reach":                         {"chair-12", Action{PlugIn, "outlet"}, ok, "gate.no-mains"},
		"a part of another set-up":                   {"chair-12", Action{Look, "nowhere"}, ok, "gate.unknown"},
	} {
		t.Run(name, func(t *testing.T) {
			allowed, why := Allowed(demo(t, c.setup), c.do, c.in)
			if allowed != (c.why == "") || why != c.why {
				t.Errorf("got %v %q, want %q", allowed, why, c.why)
			}
		})
	}
}

// Whatever was answered: nothing that opens the carrying path, nothing on the
// never list, nothing but care and calls before the person is known to be OK.
func TestGateHolds(t *testing.T) {
	answers := []Answer{NotKnown, Yes, No}
	sources := []setup.Source{"", setup.Mains, setup.Chair, setup.Internal, setup.None}
	verbs := []Verb{Look, PlugIn, SwitchOn, PushHome, Unplug, OpenHolder, ReplaceFuse, OpenCase, PullWire, Force}
	rapid.Check(t, func(t *rapid.T) {
		s, err := setup.Demo(rapid.SampledFrom(setup.DemoNames).Draw(t, "set-up"))
		if err != nil {
			t.Fatal(err)
		}
		draw := func(name string) Answer { return rapid.SampledFrom(answers).Draw(t, name) }
		a := Action{rapid.SampledFrom(verbs).Draw(t, "verb"), rapid.SampledFrom(append(s.IDs(), PanelID)).Draw(t, "part")}
		in := Answers{
			PersonOK: draw("person"), Running: draw("running"), PanelSeen: draw("panel"), MainsTried: draw("tried"), PathDead: draw("path dead"), Source: rapid.SampledFrom(sources).Draw(t, "source"),
			SecondSign: draw("second"), MainsInReach: draw("reach"), Day: draw("day"), BagInHand: draw("bag"),
			Looks: map[string]setup.Look{a.Part: rapid.SampledFrom([]setup.Look{setup.LookSound, setup.LookApart, setup.LookCrossed, setup.LookDiscoloured}).Draw(t, "look")},
		}
		ok, why := Allowed(s, a, in)
		if ok == (why != "") {
			t.Fatalf("%v without the other: %q", ok, why)
		}
		if !ok {
			return
		}
		switch {
		case in.PersonOK != Yes:
			t.Fatal("before the person was seen to be OK")
		case in.Running == No || in.Source == setup.None:
			t.Fatal("on a stopped ventilator")
		case a.Verb == ReplaceFuse || a.Verb == OpenCase || a.Verb == PullWire || a.Verb == Force || a.Verb == OpenHolder:
			t.Fatal("never")
		case a.Verb == Unplug && (in.SecondSign != Yes || in.Source == setup.Internal || s.Ventilator.Shared()):
			t.Fatal("unplugged without two signs of another outside source")
		case a.Verb == PlugIn && s.Ventilator.Shared() && in.Source != setup.Mains && (in.Source != setup.Internal || in.SecondSign != Yes || in.BagInHand != Yes):
			t.Fatal("the one inlet opened without two signs and the bag")
		case in.Source == "" && a.Part != PanelID && a.Verb != PlugIn && a.Verb != Look:
			t.Fatal("touched with the source unknown")
		case a.Verb == PushHome && in.Looks[a.Part] != setup.LookSound && in.Looks[a.Part] != setup.LookApart:
			t.Fatal("mated what must stay apart")
		}
	})
}
