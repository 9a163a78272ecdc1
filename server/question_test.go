package server_test

import (
	"html"
	"strings"
	"testing"

	"lampwright/lessons"
	"lampwright/lessons/setup"
)

// A question about how a part looks leaves it to the picture, and to what the
// picture's description says is there; the answer comes with the answer.
func TestQuestionOfALookDoesNotTellIt(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	catalogue, err := lessons.Load()
	must(t, err)
	asked := 0
	for name, who := range map[string][2]string{"chair-12": rowan, "chair-7": samira, "chair-21": jules} {
		s, err := setup.Demo(name)
		must(t, err)
		inEach(t, func(t *testing.T, language string) {
			r := h.learner(t, who, language)
			say := r.speaker()
			for _, id := range catalogue.IDs() {
				l, _ := catalogue.Lesson(id, language)
				if l.Question.Ask != lessons.AskLook {
					continue
				}
				asked++
				key, err := l.Question.Key(s)
				must(t, err)
				at := "/lessons/" + id + "/question"
				drawn := func(a answer) string {
					_, after, _ := strings.Cut(a.wants(t, 200).body, "<figure")
					figure, _, _ := strings.Cut(after, "</figure>")
					return html.UnescapeString(figure)
				}
				before := r.get(at)
				figure := drawn(before)
				if !strings.Contains(figure, say.T("figure.shows."+key)) {
					t.Errorf("%s: nobody is told what is to be seen: %s", id, figure)
				}
				for _, option := range l.Question.Options {
					for _, words := range []string{say.T("lessons.question." + id + "." + option), say.T("figure.look." + option), say.T("figure.seen." + option)} {
						if strings.Contains(strings.ToLower(figure), strings.ToLower(words)) {
							t.Errorf("%s: the figure says %q", id, words)
						}
					}
				}
				form := with(before.form(t, at), "option", key)
				if after := drawn(r.post(at, form)); !strings.Contains(after, say.T("figure.seen."+key)) {
					t.Errorf("%s: answered, the figure says nothing: %s", id, after)
				}
			}
		})
	}
	if asked == 0 {
		t.Error("no lesson asks for a look")
	}
}

// Before the answer a question's page does not name its lesson, whose title may
// be the answer.
func TestQuestionDoesNotNameItsLesson(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	catalogue, err := lessons.Load()
	must(t, err)
	inEach(t, func(t *testing.T, language string) {
		r := h.learner(t, rowan, language)
		say := r.speaker()
		heads := func(a answer) string {
			p := readPage(t, a.wants(t, 200))
			if len(p.all("h1")) != 1 {
				t.Errorf("%s: %d headings", p.at, len(p.all("h1")))
			}
			return p.all("title")[0].words() + " / " + p.all("main")[0].all("p")[0].words()
		}
		for _, id := range catalogue.IDs() {
			l, _ := catalogue.Lesson(id, language)
			at := "/lessons/" + id + "/question"
			before := r.get(at)
			if got, want := heads(before), say.T("page.question")+" · "+say.T("page.name")+" / "+say.T("page.question")+" · Chair 12"; got != want {
				t.Errorf("%s: over it stands %q, want %q", id, got, want)
			}
			after := heads(r.post(at, with(before.form(t, at), "option", l.Question.Options[0])))
			if want := l.Title + " · " + say.T("page.name") + " / " + l.Title + " · Chair 12"; after != want {
				t.Errorf("%s: answered, over it stands %q, want %q", id, after, want)
			}
		}
	})
}

// A question that the looks of parts answer marks none of them; the answer does.
func TestQuestionMarksNothing(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	catalogue, err := lessons.Load()
	must(t, err)
	r := h.learner(t, rowan, "en")
	chains := 0
	for _, id := range catalogue.IDs() {
		l, _ := catalogue.Lesson(id, "en")
		if l.Question.Figure.Kind != lessons.Chain {
			continue
		}
		chains++
		at := "/lessons/" + id + "/question"
		before := r.get(at).wants(t, 200)
		for _, class := range []string{"fig-mark", "fig-wrong", "fig-bad", "fig-live", "fig-dead"} {
			if strings.Contains(before.body, class) {
				t.Errorf("%s: a %s in the question", id, class)
			}
		}
		if after := r.post(at, with(before.form(t, at), "option", l.Question.Options[0])); !strings.Contains(after.wants(t, 200).body, "fig-mark") {
			t.Errorf("%s: no mark in the answer", id)
		}
	}
	if chains == 0 {
		t.Error("no lesson asks about a chain")
	}
}
