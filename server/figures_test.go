package server_test

import (
	"regexp"
	"strings"
	"testing"
)

// Every figure stands there with a caption, in both languages, and no two
// share an id.
func TestEveryFigure(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	id := regexp.MustCompile(` id="([^"]+)"`)
	for _, language := range []string{"en", "ar"} {
		r := h.reader(t, language)
		for setup, states := range map[string][]string{
			"chair-12": {"mains", "chair", "internal", "comes-and-goes", "silenced", "none"},
			"chair-7":  {"mains", "chair", "internal", "silenced", "none"}, // latched: it does not hunt
			"chair-21": {"mains", "chair", "internal", "comes-and-goes", "silenced", "none"},
		} {
			a := r.get("/figures/"+setup).wants(t, 200)
			say := h.speak.Speak(language)
			for _, state := range states {
				a.holds(t, "<figcaption>"+say.T("page.figures.when."+state)+"</figcaption>")
			}
			for _, class := range []string{"fig-panel", "fig-person", "fig-packed", "fig-back", "fig-chain", "fig-close-up"} {
				a.holds(t, `class="fig `+class+`"`)
			}
			figures, captions := strings.Count(a.body, "<svg"), strings.Count(a.body, "<figcaption>")
			if figures < 60 || figures != captions {
				t.Errorf("%s %s: %d figures, %d captions", setup, language, figures, captions)
			}
			seen := map[string]bool{}
			for _, m := range id.FindAllStringSubmatch(a.body, -1) {
				if seen[m[1]] {
					t.Errorf("%s: id %s twice", setup, m[1])
				}
				seen[m[1]] = true
			}
		}
		r.get("/figures/none").says(t, h.speak.Speak(language), 404, "problem.unknown-setup")
	}
}
