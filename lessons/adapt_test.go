package lessons_test

import (
	"slices"
	"strings"
	"testing"

	"lampwright/lessons"
	"lampwright/locales/problem"
)

// Each condition and its opposite part the demo set-ups as their files do.
func TestCardsApply(t *testing.T) {
	for name, on := range map[string]string{
		"one-inlet": "Chair 7", "two-inlets": "Chair 12 Chair 21",
		"converter": "Chair 7 Chair 12 Chair 21", "no-converter": "",
		"isolator": "Chair 7 Chair 12 Chair 21", "no-isolator": "",
		"inlet-switch": "Chair 12", "no-inlet-switch": "Chair 7 Chair 21",
		"lamp-for-internal": "Chair 12", "no-lamp-for-internal": "Chair 7 Chair 21", "words-on-screen": "Chair 21", "no-words-on-screen": "Chair 7 Chair 12",
		"one-block": "Chair 7", "whole-pack": "Chair 12 Chair 21", "port": "", "posts": "Chair 12 Chair 21",
		"unaided": "Chair 7", "not-unaided": "Chair 12 Chair 21",
		"may-not-re-mate": "Chair 7 Chair 12 Chair 21", "may-re-mate": "",
		"may-open-holder": "", "may-not-open-holder": "Chair 7 Chair 12 Chair 21",
		"clear-cover": "Chair 7 Chair 12 Chair 21", "opaque-cover": "",
	} {
		var got []string
		for _, s := range demos(t) {
			if (lessons.Card{When: []string{name}}).Applies(s) {
				got = append(got, s.Tag)
			}
		}
		slices.Sort(got)
		want := []string{}
		for _, tag := range []string{"Chair 12", "Chair 21", "Chair 7"} {
			if strings.Contains(on+" ", tag+" ") {
				want = append(want, tag)
			}
		}
		if !slices.Equal(got, want) && len(got)+len(want) > 0 {
			t.Errorf("%s: shown on %v, expected on %v", name, got, want)
		}
	}
	for _, name := range lessons.Conditions() {
		if opposite := "no-" + name; slices.Contains(lessons.Conditions(), opposite) {
			for _, s := range demos(t) {
				if (lessons.Card{When: []string{name}}).Applies(s) == (lessons.Card{When: []string{opposite}}).Applies(s) {
					t.Errorf("%s: both or neither of %s and %s", s.Tag, name, opposite)
				}
			}
		}
	}
}

func TestALessonOnASetupHasItsCards(t *testing.T) {
	l := lessons.Lesson{Cards: []lessons.Card{{ID: "all"}, {ID: "one", When: []string{"one-inlet"}}, {ID: "two", When: []string{"two-inlets", "converter"}}}}
	for _, s := range demos(t) {
		want := map[bool]string{true: "one", false: "two"}[s.Ventilator.Shared()]
		on := l.On(s)
		if len(on.Cards) != 2 || on.Cards[1].ID != want || len(l.Cards) != 3 {
			t.Errorf("%s: %v", s.Tag, on.Cards)
		}
	}
}

func TestFactsFollowTheirWords(t *testing.T) {
	l := lessons.Lesson{Cards: []lessons.Card{{HTML: `<p>Look at <span class="fact" data-fact="tag">this chair</span>.</p>`}}}
	if got := l.WithFacts(map[string]string{"tag": "Chair <7>"}).Cards[0].HTML; got != `<p>Look at <span class="fact" data-fact="tag">this chair <bdi>Chair &lt;7&gt;</bdi></span>.</p>` {
		t.Error(got)
	}
	if got := l.WithFacts(nil).Cards[0].HTML; got != l.Cards[0].HTML {
		t.Error("without facts the words stand alone")
	}
}

// The answers are those of the circuit, the look, the fixer and the policy.
func TestComputedKeys(t *testing.T) {
	figure := func(part string, faults ...string) lessons.Figure {
		return lessons.Figure{Kind: lessons.CloseUp, Part: part, Faults: faults}
	}
	who, go_ := []string{"you", "technologist", "chair-vendor"}, []string{"go", "stay"}
	for name, tt := range map[string]struct {
		q    lessons.Question
		want map[string]string // by tag, "" for all
	}{
		"the part at fault":         {lessons.Question{Ask: lessons.AskPart, Figure: figure("", "fuse=blown"), Options: []string{"joint", "fuse"}}, map[string]string{"": "fuse"}},
		"a look through the cover":  {lessons.Question{Ask: lessons.AskLook, Figure: figure("fuse", "fuse=blown"), Options: []string{"sound", "blown"}}, map[string]string{"": "blown"}},
		"a sound one":               {lessons.Question{Ask: lessons.AskLook, Figure: figure("fuse", "plug=half-home"), Options: []string{"sound", "blown"}}, map[string]string{"": "sound"}},
		"a switch is yours":         {lessons.Question{Ask: lessons.AskHands, Figure: figure("", "isolator=off"), Options: who}, map[string]string{"": "you"}},
		"a fuse is not":             {lessons.Question{Ask: lessons.AskHands, Figure: figure("", "fuse=blown"), Options: who}, map[string]string{"": "technologist"}},
		"a joint where it is not":   {lessons.Question{Ask: lessons.AskHands, Figure: figure("", "joint-battery=open"), Options: who}, map[string]string{"": "technologist"}},
		"a cell is the vendor's":    {lessons.Question{Ask: lessons.AskHands, Figure: figure("", "battery=cell-shorted"), Options: who}, map[string]string{"": "chair-vendor"}},
		"the chair carries: go":     {lessons.Question{Ask: lessons.AskGo, Figure: lessons.Figure{Kind: lessons.Panel}, Options: go_}, map[string]string{"": "go"}},
		"it is warm: stay":          {lessons.Question{Ask: lessons.AskGo, Figure: figure("", "joint-battery=high-resistance"), Options: go_}, map[string]string{"": "stay"}},
		"it rides on its own: stay": {lessons.Question{Ask: lessons.AskGo, Figure: figure("", "fuse=blown"), Options: go_}, map[string]string{"": "stay"}},
	} {
		for _, s := range demos(t) {
			want, ok := tt.want[s.Tag]
			if !ok {
				want = tt.want[""]
			}
			if got, err := tt.q.Key(s); err != nil || got != want {
				t.Errorf("%s on %s: %q, %v, expected %q", name, s.Tag, got, err, want)
			}
		}
	}
	let := demos(t)[0]
	let.Policy.RemateJoint = true
	joint := lessons.Question{Ask: lessons.AskHands, Figure: figure("", "joint-battery=open"), Options: who}
	if key, err := joint.Key(let); err != nil || key != "you" {
		t.Errorf("a joint where it is let: %q, %v", key, err)
	}
	two := lessons.Question{Ask: lessons.AskPart, Figure: figure("", "fuse=blown", "isolator=off"), Options: []string{"fuse"}}
	if key, err := two.Key(demos(t)[0]); !problem.Is(err, problem.Invalid) {
		t.Errorf("which of two: %q, %v", key, err)
	}
}
