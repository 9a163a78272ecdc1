package competency

import (
	"slices"

	"lampwright/locales/problem"
)

// EducatorRole is the only role that signs: nobody else does, whatever else
// they may do here.
const EducatorRole = "educator"

// Demonstration is what an educator has seen of a learner on a set-up.
type Demonstration struct {
	Learner, Educator string // ids of persons
	Role              string // of who signs
	Done              Evidence
	Version           string // of the checklist that was filled in
	Spare, TestLung   bool   // it was said that these were used
	Seen              map[string]bool
	Rating            int
}

// Signable tells whether a demonstration may be signed. Its error is the first
// thing in the way: who signs, what was not learnt yet, the form, on what it
// was shown, a critical item missed, the rating.
func (c *Competency) Signable(d Demonstration) error {
	lessons, scenarios := d.Done.Missing(c.Lessons, c.Scenarios)
	switch {
	case d.Role != EducatorRole || d.Educator == "":
		return problem.New(problem.Forbidden, "problem.educator-only")
	case d.Educator == d.Learner:
		return problem.New(problem.Forbidden, "problem.signs-self")
	case len(lessons)+len(scenarios) > 0:
		return problem.New(problem.Invalid, "problem.evidence-missing")
	case d.Version != c.Version:
		return problem.New(problem.Moved, "problem.checklist-moved")
	}
	for id := range d.Seen {
		if !slices.ContainsFunc(c.Items, func(it Item) bool { return it.ID == id }) {
			return problem.New(problem.Invalid, "problem.form")
		}
	}
	if !d.Spare || !d.TestLung {
		return problem.New(problem.Invalid, "problem.spare")
	}
	return c.shown(d.Seen, d.Rating)
}

// shown judges what was seen alone.
func (c *Competency) shown(seen map[string]bool, rating int) error {
	for _, it := range c.Items {
		if it.Critical && !seen[it.ID] {
			return problem.New(problem.Invalid, "problem.critical-missed")
		}
	}
	switch {
	case rating < c.Rating.Lowest || rating > c.Rating.Highest:
		return problem.New(problem.Invalid, "problem.rating-missing")
	case rating < c.Rating.Passing:
		return problem.New(problem.Invalid, "problem.rating-low")
	}
	return nil
}
