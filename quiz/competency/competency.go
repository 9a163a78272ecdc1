// Package competency is what makes a sign-off and when it lapses: pure rules
// over plain values. Storage, pages and signatures' form must not live here.
package competency

import (
	"slices"
	"time"

	"lampwright/locales/problem"
)

// PowerSources is the competency of this programme: tell the source, find out
// safely why it changed, call right.
const PowerSources = "power-sources"

// ValidMonths is how long a sign-off lasts; critical objectives are refreshed
// well before (common practice, no source).
const ValidMonths = 12

// ChecklistVersion names this form of the checklist on each sign-off.
const ChecklistVersion = "1"

// Item is one thing to be seen in the demonstration.
type Item struct {
	ID       string
	Critical bool // one miss and nothing is signed
}

// Checklist of the observed demonstration, on a spare ventilator and test lung.
var Checklist = []Item{
	{"person-first", true},
	{"names-source", true},
	{"mains-before-cause", true},
	{"hands-off-never-list", true},
	{"leaves-hot-joint-apart", true},
	{"says-when-to-call", true},
	{"bag-ready", true},
	{"shows-numbers", false},
	{"explains-minutes", false},
}

// The global rating, beside the checklist, and the least that is signed.
const (
	LowestRating  = 1
	PassingRating = 3
	HighestRating = 5
)

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

// Signable tells whether an observed demonstration may be signed: everything
// learnt and passed, every critical item seen, the rating high enough. Its
// error says what is in the way.
func Signable(complete bool, seen map[string]bool, rating int) error {
	if !complete {
		return problem.New(problem.Invalid, "problem.evidence-missing")
	}
	for _, it := range Checklist {
		if it.Critical && !seen[it.ID] {
			return problem.New(problem.Invalid, "problem.critical-missed")
		}
	}
	switch {
	case rating < LowestRating || rating > HighestRating:
		return problem.New(problem.Invalid, "problem.rating-missing")
	case rating < PassingRating:
		return problem.New(problem.Invalid, "problem.rating-low")
	}
	return nil
}

// Lapses is the first moment a sign-off is no longer valid: the end of the
// local day, months after it was signed, in the site's zone. A day that the
// later month lacks becomes its last.
func Lapses(signed time.Time, months int, zone *time.Location) time.Time {
	local := signed.In(zone)
	y, m, d := local.Date()
	last := time.Date(y, m+time.Month(months)+1, 0, 0, 0, 0, 0, zone).Day()
	return time.Date(y, m+time.Month(months), min(d, last)+1, 0, 0, 0, 0, zone)
}

// LastDay is the last local day on which it is valid.
func LastDay(lapses time.Time, zone *time.Location) time.Time {
	return lapses.In(zone).AddDate(0, 0, -1)
}

// Standing is how a sign-off stands today.
type Standing string

// The standings.
const (
	Never   Standing = "never"
	Current Standing = "current"
	Soon    Standing = "soon"    // lapses within SoonDays
	Lapsed  Standing = "lapsed"  // by date
	Changed Standing = "changed" // the set-up is not the one it was signed for
)

// SoonDays before its end a sign-off is shown as lapsing soon.
const SoonDays = 30

// Stands tells how a sign-off for one version of a set-up stands at a moment.
func Stands(signedFor, present string, lapses, now time.Time) Standing {
	switch {
	case !now.Before(lapses):
		return Lapsed
	case signedFor != present:
		return Changed
	case !now.Before(lapses.AddDate(0, 0, -SoonDays)):
		return Soon
	}
	return Current
}
