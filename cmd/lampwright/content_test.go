package main

import (
	"regexp"
	"strings"
	"testing"

	"lampwright/locales"
	"lampwright/quiz"
)

// A story is two sentences in every language, none of them long in English,
// and the last one or a third says what is in reach.
func TestStories(t *testing.T) {
	all, err := locales.Load()
	if err != nil {
		t.Fatal(err)
	}
	reach := regexp.MustCompile(`outlet|adapter|prise|adaptateur|مقبس|محوّل`)
	for _, sc := range quiz.Scenarios {
		for _, l := range locales.Languages {
			if err := story(all, l.Tag, sc.ID); err != nil {
				t.Errorf("%s in %s: %v", sc.ID, l.Tag, err)
			}
			list := sentences(all.Speak(l.Tag).T("quiz.scenario." + sc.ID + ".story"))
			if !reach.MatchString(list[len(list)-1]) {
				t.Errorf("%s in %s does not end with what is in reach: %s", sc.ID, l.Tag, list)
			}
			for _, sentence := range list {
				if n := len(strings.Fields(sentence)); l.Tag == "en" && n > 15 {
					t.Errorf("%s: got a sentence of %d words, expected at most 15: %s", sc.ID, n, sentence)
				}
			}
		}
	}
	if err := story(all, "en", "none"); err == nil || !strings.Contains(err.Error(), "quiz.scenario.none") {
		t.Errorf("a scenario without a story: %v", err)
	}
}

func TestSentences(t *testing.T) {
	for text, want := range map[string]int{
		"": 0, "One.": 1, "One. Two.": 2, "One? Two! Three.": 3, "واحدة. اثنتان؟": 2,
	} {
		if got := len(sentences(text)); got != want {
			t.Errorf("%q: got %d sentences, expected %d", text, got, want)
		}
	}
}
