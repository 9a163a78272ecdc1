package lessons

import (
	"html"
	"regexp"
	"slices"

	"lampwright/lessons/setup"
)

// conditions are what a card may ask of a set-up before it is shown there.
var conditions = map[string]func(*setup.Setup) bool{
	"one-inlet":            func(s *setup.Setup) bool { return s.Ventilator.Shared() },
	"two-inlets":           func(s *setup.Setup) bool { return !s.Ventilator.Shared() },
	"converter":            has(func(p *setup.Part) bool { return p.Converter != nil }),
	"no-converter":         hasNo(func(p *setup.Part) bool { return p.Converter != nil }),
	"isolator":             has(func(p *setup.Part) bool { return p.Isolator != nil }),
	"no-isolator":          hasNo(func(p *setup.Part) bool { return p.Isolator != nil }),
	"clear-cover":          has(func(p *setup.Part) bool { return p.Fuse != nil && p.Fuse.Cover }),
	"opaque-cover":         has(func(p *setup.Part) bool { return p.Fuse != nil && !p.Fuse.Cover }),
	"inlet-switch":         func(s *setup.Setup) bool { return s.Ventilator.InletFor(setup.Chair).Switch != "" },
	"no-inlet-switch":      func(s *setup.Setup) bool { return s.Ventilator.InletFor(setup.Chair).Switch == "" },
	"port":                 func(s *setup.Setup) bool { return s.Tap().At == setup.AtPort },
	"posts":                func(s *setup.Setup) bool { return s.Tap().At == setup.AtPosts },
	"one-block":            func(s *setup.Setup) bool { return s.Tap().Block > 0 },
	"whole-pack":           func(s *setup.Setup) bool { return s.Tap().Block == 0 },
	"may-re-mate":          func(s *setup.Setup) bool { return s.Policy.RemateJoint },
	"may-not-re-mate":      func(s *setup.Setup) bool { return !s.Policy.RemateJoint },
	"may-open-holder":      func(s *setup.Setup) bool { return s.Policy.OpenHolder },
	"may-not-open-holder":  func(s *setup.Setup) bool { return !s.Policy.OpenHolder },
	"lamp-for-internal":    lampForInternal,
	"no-lamp-for-internal": func(s *setup.Setup) bool { return !lampForInternal(s) },
	"words-on-screen":      func(s *setup.Setup) bool { return words(s, setup.Internal) != words(s, setup.Mains) },
	"no-words-on-screen":   func(s *setup.Setup) bool { return words(s, setup.Internal) == words(s, setup.Mains) },
	"unaided":              func(s *setup.Setup) bool { return s.Dependence.Unaided > 0 },
	"not-unaided":          func(s *setup.Setup) bool { return s.Dependence.Unaided == 0 },
}

func has(is func(*setup.Part) bool) func(*setup.Setup) bool {
	return func(s *setup.Setup) bool {
		for i := range s.Chain {
			if is(&s.Chain[i]) {
				return true
			}
		}
		return false
	}
}

func hasNo(is func(*setup.Part) bool) func(*setup.Setup) bool {
	return func(s *setup.Setup) bool { return !has(is)(s) }
}

func lampForInternal(s *setup.Setup) bool {
	return slices.ContainsFunc(s.Ventilator.Panel, func(it setup.Item) bool {
		return it.Lamp != "" && slices.Contains(it.LitOn, setup.Internal)
	})
}

// words are what the screen says on a source, "" without a screen.
func words(s *setup.Setup, source setup.Source) string {
	for _, it := range s.Ventilator.Panel {
		if it.Screen != nil {
			return it.Screen[source]
		}
	}
	return ""
}

// Conditions lists what a card may ask of a set-up, by name.
func Conditions() []string {
	var out []string
	for name := range conditions {
		out = append(out, name)
	}
	slices.Sort(out)
	return out
}

// Applies tells whether a card is shown on a set-up: where all it asks holds.
func (c Card) Applies(s *setup.Setup) bool {
	return !slices.ContainsFunc(c.When, func(name string) bool { return !conditions[name](s) })
}

// On is the lesson as a set-up shows it: without the cards that do not apply.
func (l Lesson) On(s *setup.Setup) Lesson {
	l.Cards = slices.DeleteFunc(slices.Clone(l.Cards), func(c Card) bool { return !c.Applies(s) })
	return l
}

// Facts are what a text can name of the set-up, as [words](fact:tag); the
// words stand alone where it has none.
var Facts = []string{"tag", "model", "joint-colours", "unaided", "words-mains", "words-chair", "words-internal"}

var factual = regexp.MustCompile(`(<span class="fact" data-fact="([a-z-]+)">[^<]*)</span>`)

// WithFacts is the lesson with what is true of a set-up after the words that
// name it.
func (l Lesson) WithFacts(facts map[string]string) Lesson {
	return l.filled(factual, facts, "<bdi>")
}

// filled puts values after the words of the spans that name them.
func (l Lesson) filled(spans *regexp.Regexp, values map[string]string, open string) Lesson {
	l.Cards = slices.Clone(l.Cards)
	for i := range l.Cards {
		l.Cards[i].HTML = spans.ReplaceAllStringFunc(l.Cards[i].HTML, func(span string) string {
			m := spans.FindStringSubmatch(span)
			if values[m[2]] == "" {
				return span
			}
			return m[1] + " " + open + html.EscapeString(values[m[2]]) + "</bdi></span>"
		})
	}
	return l
}
