package competency

import (
	"cmp"
	"slices"
	"time"
)

// FewestCaregivers is how many current caregivers a set-up needs, where the
// programme does not say.
const FewestCaregivers = 2

// Within are the days, ahead of a lapse, that a roster groups by.
var Within = [...]int{SoonDays, 60, 90}

// Held is how a sign-off of a person for a set-up stands.
type Held struct {
	Person, Setup string // ids
	Judgement
}

// Cover is who is there for a set-up.
type Cover struct {
	Setup      string
	Current    []Caregiver // whose sign-off holds, the first to lapse first
	Overridden []string    // persons let care for some hours; nobody counts on them
	Few        bool        // fewer are current than there must be
}

// Caregiver is a person whose sign-off for a set-up holds.
type Caregiver struct {
	Person string
	Lapses time.Time
	Within int // the least of Within in days; 0 for later than all of them
}

// Coverage tells who is there for each set-up, in the order given, by how all
// sign-offs for a competency stand. A person counts once for a set-up, by the
// sign-off that holds longest; one for a set-up that is not named does not
// count. Where fewest is none, FewestCaregivers must be there.
func Coverage(setups []string, held []Held, fewest int, now time.Time) []Cover {
	if fewest < 1 {
		fewest = FewestCaregivers
	}
	list, at := make([]Cover, len(setups)), make(map[string]int, len(setups))
	for i, id := range setups {
		list[i].Setup, at[id] = id, i
	}
	for _, h := range held {
		i, named := at[h.Setup]
		switch {
		case !named:
		case h.Standing.Holds():
			list[i].Current = append(list[i].Current, Caregiver{h.Person, h.Until, within(h.Until, now)})
		case h.Standing == Overridden:
			list[i].Overridden = append(list[i].Overridden, h.Person)
		}
	}
	for i := range list {
		list[i].once()
		list[i].Few = len(list[i].Current) < fewest
	}
	return list
}

// once leaves each person in it once, and whose sign-off holds not overridden.
func (c *Cover) once() {
	slices.SortFunc(c.Current, func(a, b Caregiver) int {
		return cmp.Or(cmp.Compare(a.Person, b.Person), b.Lapses.Compare(a.Lapses))
	})
	c.Current = slices.CompactFunc(c.Current, func(a, b Caregiver) bool { return a.Person == b.Person })
	overridden := c.Overridden
	c.Overridden = nil
	slices.Sort(overridden)
	for _, person := range slices.Compact(overridden) {
		if _, current := slices.BinarySearchFunc(c.Current, person, func(a Caregiver, b string) int { return cmp.Compare(a.Person, b) }); !current {
			c.Overridden = append(c.Overridden, person)
		}
	}
	slices.SortStableFunc(c.Current, func(a, b Caregiver) int { return a.Lapses.Compare(b.Lapses) })
}

func within(lapses, now time.Time) int {
	for _, days := range Within {
		if !now.Before(lapses.Add(-time.Duration(days) * day)) {
			return days
		}
	}
	return 0
}
