package lessons

import (
	"os"
	"regexp"
	"strings"
	"testing"

	"lampwright/locales/problem"
)

// Whatever a file holds: no panic, errors that say where, and no markup of its
// own on the page.
func FuzzRead(f *testing.F) {
	for _, path := range []string{"content/en/stopped.md", "content/ar/stopped.md"} {
		data, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Add([]byte("---\nid: stopped\n---\n## a\n### b\n> [c](line:clinical)\n<i>\n"))
	f.Add([]byte("---\nid: stopped\ncards:\n !0 #0\n---\n"))
	f.Add([]byte("---\n---\n"))
	ours := regexp.MustCompile(`</?(p|ol|ol start="\d+"|ul|li|em|strong|span|span class="line" data-line="[a-z-]+")>|<br />|<br>`)
	f.Fuzz(func(t *testing.T, data []byte) {
		english := file{name: "en/stopped.md"}
		l, _ := english.readSource(data)
		other := file{name: "ar/stopped.md"}
		shown := other.readTranslation(data, "ar", Lesson{ID: StoppedID, Version: "17554a05b0da8a80", Cards: []Card{{ID: StoppedID}}})
		for _, err := range append(english.problems, other.problems...) {
			if !problem.Is(err, problem.Invalid) || !strings.Contains(err.Error(), "/stopped.md:") {
				t.Fatal(err)
			}
		}
		for _, card := range append(l.Cards, shown.Cards...) {
			if rest := ours.ReplaceAllString(card.HTML, ""); strings.ContainsAny(rest, "<>") {
				t.Fatal(card.HTML)
			}
		}
	})
}
