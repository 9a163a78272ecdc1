package figure_test

import (
	"strings"
	"testing"

	"lampwright/lessons/figure"
	"lampwright/lessons/setup"
)

// The person is the same on every set-up: with the four signs while a source
// carries the ventilator, off it and on the bag when none does.
func TestPerson(t *testing.T) {
	for language, rtl := range languages() {
		words := speaker(t, language)
		for _, name := range setup.DemoNames {
			s := demo(t, name)
			for moment, c := range moments() {
				t.Run(name+" "+moment+" "+language, func(t *testing.T) {
					svg := figure.Person(figure.View{Setup: s, State: solve(t, s, c), Words: words, RTL: rtl, ID: "f"})
					sound(t, svg)
					what := "signs"
					if moment == "stopped" {
						what = "stopped"
					}
					golden(t, "person-"+what+"-"+language, svg)
				})
			}
		}
	}
}

// Each number stands once in the picture and once beside its words.
func TestPersonNumbers(t *testing.T) {
	s := demo(t, "chair-12")
	for moment, want := range map[string][]string{
		"chair":   {"1 The chest", "2 Breathing", "3 Lips and gums", "4 The oximeter"},
		"stopped": {"1 Off the ventilator", "2 Give breaths", "3 Check the tube", "4 Emergency number"},
	} {
		svg := figure.Person(figure.View{Setup: s, State: solve(t, s, moments()[moment]), Words: speaker(t, "en"), ID: "f"})
		if got := strings.Count(svg, `class="fig-number"`); got != 2*len(want) {
			t.Errorf("%s: %d numbers", moment, got)
		}
		for _, w := range want {
			if !strings.Contains(shown(svg), w) || !strings.Contains(svg, strings.Replace(w, " ", ". ", 1)) {
				t.Errorf("%s: %q is not there, or not said", moment, w)
			}
		}
	}
}
