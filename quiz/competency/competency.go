// Package competency is what makes a sign-off and when it lapses: competencies
// as data, and pure rules over plain values; ids are strings. Storage, pages,
// clocks and the form of a signature must not live here.
package competency

import (
	_ "embed"
	"slices"
)

// PowerSources is the competency of this programme: tell the source, find out
// safely why it changed, call right.
const PowerSources = "power-sources"

// Competency is a group of objectives that is observed and signed for as one.
type Competency struct {
	ID                 string
	Objectives         []Objective // the critical ones first
	Lessons, Scenarios []string    // needed on the set-up before the demonstration
	Version            string      // of the demonstration's checklist; it stands on each sign-off
	Items              []Item
	Rating             Rating
	ValidDays          int // the most; a programme may have fewer
	Refresh            Refresh
	Parts              []string  // kinds of part it depends on
	Matters            []Feature // of a set-up: when one changes, it must be shown again
}

// Name is the key of its name.
func (c *Competency) Name() string { return "competency.name." + c.ID }

// Objective is one thing to be able to do.
type Objective struct {
	ID       string
	Critical bool // it is refreshed in time, or the sign-off is suspended
}

// Item is one thing to be seen in the demonstration, on a spare ventilator and
// test lung. Its message is page.item.<id>.
type Item struct {
	ID       string
	Critical bool // one miss and nothing is signed
	Anchor   string
}

// SeenWhen is the key of what counts as seen, and what as missed.
func (it Item) SeenWhen() string { return "competency.anchor." + it.Anchor }

// Rating is the scale of the global rating, beside the checklist, and the
// least on it that is signed.
type Rating struct{ Lowest, Passing, Highest int }

// Refresh is after how many days an objective is to be refreshed, by whether
// it is critical, and how many more a critical one may wait.
type Refresh struct{ Critical, Other, Grace int }

// File is the name of the embedded competencies' file.
const File = "competencies.yaml"

//go:embed competencies.yaml
var embedded []byte

var own = func() []Competency {
	list, err := Read(File, embedded)
	if err != nil {
		panic(err) // as with a pattern that does not compile, the tests would not pass
	}
	return list
}()

// All are the embedded competencies. They are shared, and not to be changed.
func All() []Competency { return own }

// Find is an embedded competency by id, nil if there is none.
func Find(id string) *Competency {
	if i := slices.IndexFunc(own, func(c Competency) bool { return c.ID == id }); i >= 0 {
		return &own[i]
	}
	return nil
}

// Evidence is what a learner has done on the present version of a set-up.
type Evidence struct{ Lessons, Scenarios []string }

// Missing is what of the needed is not in the evidence.
func (e Evidence) Missing(lessons, scenarios []string) (l, s []string) {
	for _, id := range lessons {
		if !slices.Contains(e.Lessons, id) {
			l = append(l, id)
		}
	}
	for _, id := range scenarios {
		if !slices.Contains(e.Scenarios, id) {
			s = append(s, id)
		}
	}
	return l, s
}
