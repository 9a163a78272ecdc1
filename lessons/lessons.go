// Package lessons is the lesson catalogue: cards, their versions and their
// translations, as Markdown with front matter, embedded and rendered once.
// A right answer is computed from the set-up, never typed into a file.
// Drawing, people's progress and the judging of runs must not live here.
package lessons

import (
	"embed"
	"fmt"
	"io/fs"
	"slices"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
)

//go:embed content
var content embed.FS

// StoppedID is the emergency card's lesson: reached from every page, listed
// with no other lesson, and without a question.
const StoppedID = "stopped"

// English is the language the lessons are written in; the others translate it.
const English = "en"

// Objectives lists every one thing to be able to do that a card can teach;
// its message is lessons.objective.<id>.
var Objectives = []string{
	"person-first", "judge-breathing", "act-when-stopped", "name-sources", "read-panel",
	"notice-change", "secure-source", "leave-alone", "choose-call", "end-plainly",
	"follow-chain", "try-simple", "care-for-joint", "read-fuse", "handle-plug", "go-out-ready", "power-cut",
}

// Notice is why a lesson is shown in English to someone who asked for another
// language; its message is lessons.notice.<notice>.
type Notice string

// The notices, none of them "".
const (
	Missing  Notice = "missing"  // no translation, or one nobody has reviewed
	Outdated Notice = "outdated" // made from an earlier English text
)

// Lesson is one lesson in the language that is shown.
type Lesson struct {
	ID, Title     string
	Language, Dir string // of the text in Title and Cards, not of what was asked for
	Version       string // content hash of the English file
	Notice        Notice
	Cards         []Card
	Question      *Question // nil in the emergency card
}

// Taught are the objectives that its cards teach, each once.
func (l Lesson) Taught() (out []string) {
	for _, c := range l.Cards {
		if !slices.Contains(out, c.Objective) {
			out = append(out, c.Objective)
		}
	}
	return out
}

// Card is one idea with its figure. HTML may name phone lines and facts of the
// set-up: see Lines and Facts.
type Card struct {
	ID, Objective, Title, HTML string
	Figure                     Figure
	When                       []string // conditions of a set-up that shows it; see Applies
}

// Figure is a picture of the learner's own set-up in a state.
type Figure struct {
	Kind   string   `yaml:"kind"` // Panel to Packed
	Part   string   `yaml:"part"` // of a close-up: an id, or a kind the set-up has under another id
	Faults []string `yaml:"faults"`
	Mains  bool     `yaml:"mains"`
	Asked  bool     `yaml:"asked"` // the reader is to find what is wrong: nothing names or marks it
}

// The kinds of figure.
const (
	Panel   = "panel"
	Chain   = "chain"
	CloseUp = "close-up"
	Back    = "chair-back" // where everything sits
	Person  = "person"     // with the bag in hand
	Packed  = "packed"     // what goes along on a way out
)

// On is the figure with its parts as this set-up calls them.
func (f Figure) On(s *setup.Setup) Figure {
	f.Part = partIn(s, f.Part)
	f.Faults = slices.Clone(f.Faults)
	for i, text := range f.Faults {
		if part, mode, ok := cutFault(text); ok {
			f.Faults[i] = partIn(s, part) + "=" + mode
		}
	}
	return f
}

// Conditions is the state the figure shows, on a set-up.
func (f Figure) Conditions(s *setup.Setup) (circuit.Conditions, error) {
	c := circuit.Usual()
	c.Mains = f.Mains
	for _, text := range f.On(s).Faults {
		fault, err := s.ParseFault(text)
		if err != nil {
			return circuit.Conditions{}, err
		}
		c.Faults = append(c.Faults, fault)
	}
	return c, nil
}

// partIn finds a part by id, else the first of the kind it names, the chain's
// before the mains side's; what is not found stays as it is.
func partIn(s *setup.Setup, part string) string {
	if _, ok := s.PartKind(part); ok {
		return part
	}
	for _, parts := range [][]setup.Part{s.Chain, s.Mains} {
		for i := range parts {
			if string(parts[i].Kind()) == part {
				return parts[i].ID
			}
		}
	}
	return part
}

// Catalogue holds every lesson in every language, rendered.
type Catalogue struct {
	order   []string
	lessons map[string]map[string]Lesson // by id, then language
	version string
}

// Load reads the embedded content.
func Load() (*Catalogue, error) {
	root, err := fs.Sub(content, "content")
	if err != nil {
		return nil, fmt.Errorf("lessons: %w", err)
	}
	return LoadFS(root)
}

// IDs lists the lessons in the order they are taught, without the emergency card.
func (c *Catalogue) IDs() []string { return slices.Clone(c.order) }

// Version is a hash over every English file.
func (c *Catalogue) Version() string { return c.version }

// Lesson is a lesson in a language, or in English with a notice: never blank.
func (c *Catalogue) Lesson(id, language string) (Lesson, bool) {
	in, ok := c.lessons[id]
	if !ok {
		return Lesson{}, false
	}
	shown, ok := in[language]
	switch {
	case !ok:
		shown, shown.Notice = in[English], Missing
	case shown.Notice != "":
		notice := shown.Notice
		shown, shown.Notice = in[English], notice
	}
	shown.Cards = slices.Clone(shown.Cards)
	return shown, true
}

// rightToLeft are the languages written so among those a programme may add.
var rightToLeft = []string{"ar", "fa", "he", "ur"}

func direction(language string) string {
	if slices.Contains(rightToLeft, language) {
		return "rtl"
	}
	return "ltr"
}
