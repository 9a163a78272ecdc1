package competency

import (
	"time"

	"lampwright/locales/problem"
)

// What there is while the server knows PowerSources alone, and keeps no events.
var (
	present = Find(PowerSources)

	Checklist        = present.Items
	ChecklistVersion = present.Version
	LowestRating     = present.Rating.Lowest
	PassingRating    = present.Rating.Passing
	HighestRating    = present.Rating.Highest
)

// Signable tells whether an observed demonstration may be signed: everything
// learnt and passed, every critical item seen, the rating high enough. Its
// error says what is in the way.
func Signable(complete bool, seen map[string]bool, rating int) error {
	if !complete {
		return problem.New(problem.Invalid, "problem.evidence-missing")
	}
	return present.shown(seen, rating)
}

// Stands tells how a sign-off for one version of a set-up stands at a moment,
// where any other version counts as another set-up.
func Stands(signedFor, now string, lapses, at time.Time) Standing {
	if standing := byDate(lapses, at); standing == Lapsed || signedFor == now {
		return standing
	}
	return Changed
}
