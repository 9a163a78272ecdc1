package figure_test

import (
	"strings"
	"testing"

	"lampwright/lessons/figure"
	"lampwright/lessons/setup"
)

// What goes along is the same on every set-up and in every state, and each
// thing stands there with its name, which is said too.
func TestPacked(t *testing.T) {
	for _, language := range []string{"en", "ar", "fr"} {
		words := speaker(t, language)
		for _, name := range setup.DemoNames {
			s := demo(t, name)
			for _, c := range moments() {
				svg := figure.Packed(figure.View{Setup: s, State: solve(t, s, c), Words: words, RTL: language == "ar", ID: "f"})
				sound(t, svg)
				golden(t, "packed-"+language, svg)
				for _, thing := range []string{"bag", "suction", "tube", "adapter", "ventilator", "phone"} {
					name := words("figure.packed." + thing)
					if !strings.Contains(shown(svg), name) || !strings.Contains(svg, name+".") {
						t.Errorf("%s: %q is not there, or not said", language, name)
					}
				}
			}
		}
	}
}
