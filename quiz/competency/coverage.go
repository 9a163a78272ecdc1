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

// Held is a sign-off of a person for a set-up.
type Held struct {
	Person, Setup string // ids
	Record        Record
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

// Coverage tells who is there for each set-up, in the order given, by all
// sign-offs for the competency. A person counts once for a set-up, by the
// sign-off that holds longest; one for a set-up that is not named does not
// count. Where fewest is none, FewestCaregivers must be there.
func (c *Competency) Coverage(setups []string, held []Held, fewest int, now time.Time) []Cover {
	if fewest < 1 {
		fewest = FewestCaregivers
	}
	list, at := make([]Cover, len(setups)), make(map[string]int, len(setups))
	for i, id := range setups {
		list[i].Setup, at[id] = id, i
	}
	type pair struct {
		person string
		cover  int
	}
	place := make(map[pair]int) // of a person in a cover's Current
	overridden, let := []pair(nil), make(map[pair]bool)
	for _, h := range held {
		i, named := at[h.Setup]
		if !named {
			continue
		}
		j := c.Stands(h.Record, now)
		who, cover := pair{h.Person, i}, &list[i]
		if j.Standing == Overridden && !let[who] {
			overridden, let[who] = append(overridden, who), true
		}
		if !j.Standing.Holds() {
			continue
		}
		k, counted := place[who]
		if !counted {
			k, place[who] = len(cover.Current), len(cover.Current)
			cover.Current = append(cover.Current, Caregiver{Person: h.Person})
		}
		if one := &cover.Current[k]; j.Until.After(one.Lapses) {
			one.Lapses, one.Within = j.Until, within(j.Until, now)
		}
	}
	for _, who := range overridden {
		if _, current := place[who]; !current {
			list[who.cover].Overridden = append(list[who.cover].Overridden, who.person)
		}
	}
	for i := range list {
		slices.SortFunc(list[i].Current, func(a, b Caregiver) int {
			return cmp.Or(a.Lapses.Compare(b.Lapses), cmp.Compare(a.Person, b.Person))
		})
		list[i].Few = len(list[i].Current) < fewest
	}
	return list
}

func within(lapses, now time.Time) int {
	for _, days := range Within {
		if !now.Before(lapses.Add(-time.Duration(days) * day)) {
			return days
		}
	}
	return 0
}
