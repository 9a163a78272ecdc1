package competency

import (
	"fmt"
	"reflect"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// ends is a sign-off, refreshed a moment ago, that lapses at a moment.
func ends(now time.Time, lapses string, events ...Event) Record {
	r := signed(events...)
	r.Signed, r.Lapses = now.Add(-time.Hour), moment(lapses)
	return r
}

// stands is how such a one stands.
func stands(now time.Time, lapses string, events ...Event) Judgement {
	return present.Stands(ends(now, lapses, events...), now)
}

func TestCoverage(t *testing.T) {
	now := moment("2026-12-01 12:00")
	const long = "2027-11-01 08:00"
	suspended := Event{Kind: KindSuspended, At: now.Add(-time.Minute)}
	overridden := Event{Kind: KindOverridden, At: now, Until: now.Add(time.Hour)}
	for name, c := range map[string]struct {
		held   []Held
		fewest int
		want   []Cover
	}{
		"nobody": {nil, 1, []Cover{{Setup: "chair-12", Few: true}, {Setup: "chair-7", Few: true}}},
		"one for each, and one will do": {
			[]Held{{"rowan", "chair-12", stands(now, long)}, {"asa", "chair-7", stands(now, long)}},
			1,
			[]Cover{
				{Setup: "chair-12", Current: []Caregiver{{"rowan", moment(long), 0}}},
				{Setup: "chair-7", Current: []Caregiver{{"asa", moment(long), 0}}},
			},
		},
		"one for each, and nobody said how many": {
			[]Held{{"rowan", "chair-12", stands(now, long)}, {"asa", "chair-7", stands(now, long)}, {"noor", "chair-7", stands(now, long)}},
			0,
			[]Cover{
				{Setup: "chair-12", Current: []Caregiver{{"rowan", moment(long), 0}}, Few: true},
				{Setup: "chair-7", Current: []Caregiver{{"asa", moment(long), 0}, {"noor", moment(long), 0}}},
			},
		},
		"by when they lapse": {
			[]Held{
				{"later", "chair-12", stands(now, "2027-03-01 12:01")},
				{"in 90", "chair-12", stands(now, "2027-03-01 12:00")},
				{"in 61", "chair-12", stands(now, "2027-01-30 12:01")},
				{"in 60", "chair-12", stands(now, "2027-01-30 12:00")},
				{"in 31", "chair-12", stands(now, "2026-12-31 12:01")},
				{"in 30", "chair-12", stands(now, "2026-12-31 12:00")},
				{"in a minute", "chair-12", stands(now, "2026-12-01 12:01")},
				{"now", "chair-12", stands(now, "2026-12-01 12:00")},
			},
			7,
			[]Cover{{Setup: "chair-12", Current: []Caregiver{
				{"in a minute", moment("2026-12-01 12:01"), 30},
				{"in 30", moment("2026-12-31 12:00"), 30},
				{"in 31", moment("2026-12-31 12:01"), 60},
				{"in 60", moment("2027-01-30 12:00"), 60},
				{"in 61", moment("2027-01-30 12:01"), 90},
				{"in 90", moment("2027-03-01 12:00"), 90},
				{"later", moment("2027-03-01 12:01"), 0},
			}}, {Setup: "chair-7", Few: true}},
		},
		"someone signed for twice counts once": {
			[]Held{{"rowan", "chair-12", stands(now, "2026-12-15 08:00")}, {"rowan", "chair-12", stands(now, long)}, {"rowan", "chair-12", stands(now, "2026-12-20 08:00")}},
			2,
			[]Cover{{Setup: "chair-12", Current: []Caregiver{{"rowan", moment(long), 0}}, Few: true}, {Setup: "chair-7", Few: true}},
		},
		"an earlier one lapsed": {
			[]Held{{"rowan", "chair-12", stands(now, long)}, {"rowan", "chair-12", stands(now, "2026-11-01 08:00")}},
			1,
			[]Cover{{Setup: "chair-12", Current: []Caregiver{{"rowan", moment(long), 0}}}, {Setup: "chair-7", Few: true}},
		},
		"suspended, and overridden for some hours": {
			[]Held{
				{"rowan", "chair-12", stands(now, long, suspended)},
				{"asa", "chair-12", stands(now, long, suspended, overridden)},
				{"asa", "chair-12", stands(now, long, suspended, overridden)},
				{"noor", "chair-7", stands(now, long, suspended, overridden)},
				{"noor", "chair-7", stands(now, long)},
			},
			1,
			[]Cover{{Setup: "chair-12", Overridden: []string{"asa"}, Few: true}, {Setup: "chair-7", Current: []Caregiver{{"noor", moment(long), 0}}}},
		},
		"a set-up that is not there any more": {
			[]Held{{"rowan", "chair-1", stands(now, long)}},
			1,
			[]Cover{{Setup: "chair-12", Few: true}, {Setup: "chair-7", Few: true}},
		},
	} {
		t.Run(name, func(t *testing.T) {
			if got := Coverage([]string{"chair-12", "chair-7"}, c.held, c.fewest, now); !reflect.DeepEqual(got, c.want) {
				t.Errorf("\ngot  %+v\nwant %+v", got, c.want)
			}
		})
	}
	if got := Coverage(nil, []Held{{"rowan", "chair-12", stands(now, long)}}, 2, now); len(got) != 0 {
		t.Errorf("got %+v", got)
	}
}

// Counted one by one, it is the same.
func TestCoverageProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		now := drawMoment(t, "now")
		setups, people := []string{"a", "b", "c"}, []string{"x", "y", "z", "w"}
		var held []Held
		for range rapid.IntRange(0, 12).Draw(t, "held") {
			held = append(held, Held{rapid.SampledFrom(people).Draw(t, "person"), rapid.SampledFrom(append(setups, "gone")).Draw(t, "setup"), present.Stands(drawn(t, present), now)})
		}
		fewest := rapid.IntRange(0, 3).Draw(t, "fewest")
		covers := Coverage(setups, held, fewest, now)
		for i, cover := range covers {
			var current, overridden []string
			for _, person := range people {
				holds, let := false, false
				for _, h := range held {
					if h.Person == person && h.Setup == setups[i] {
						holds, let = holds || h.Standing.Holds(), let || h.Standing == Overridden
					}
				}
				if holds {
					current = append(current, person)
				} else if let {
					overridden = append(overridden, person)
				}
			}
			var got []string
			for _, one := range cover.Current {
				got = append(got, one.Person)
				if (one.Within == SoonDays) != (byDate(one.Lapses, now) == Soon) {
					t.Fatalf("%+v at %v", one, now)
				}
			}
			slices.Sort(got)
			slices.Sort(current)
			slices.Sort(overridden)
			slices.Sort(cover.Overridden)
			if cover.Setup != setups[i] || !slices.Equal(got, current) || !slices.Equal(cover.Overridden, overridden) {
				t.Fatalf("got %+v, expected %q and %q", cover, current, overridden)
			}
			least := fewest
			if least == 0 {
				least = FewestCaregivers
			}
			if cover.Few != (len(current) < least) {
				t.Fatalf("%d are current of %d: %+v", len(current), least, cover)
			}
		}
	})
}

// A programme of 10,000 people and 200 set-ups: each person signed for some of
// the set-ups, with the refreshers of a year; and each for all of them.
func BenchmarkCoverage(b *testing.B) {
	now := moment("2027-01-25 12:00")
	setups := make([]string, 200)
	for i := range setups {
		setups[i] = fmt.Sprintf("chair-%d", i)
	}
	judged := present.Stands(kept(), now)
	for _, c := range []struct {
		name string
		each int
	}{{"4 set-ups each", 4}, {"200 set-ups each", len(setups)}} {
		b.Run(c.name, func(b *testing.B) {
			var held []Held
			for i := range 10_000 {
				person := fmt.Sprintf("person-%d", i)
				for k := range c.each {
					held = append(held, Held{person, setups[(i*7+k)%len(setups)], judged})
				}
			}
			b.ReportAllocs()
			for b.Loop() {
				Coverage(setups, held, 2, now)
			}
		})
	}
}

func BenchmarkStands(b *testing.B) {
	r, now := kept(), moment("2027-01-25 12:00")
	b.ReportAllocs()
	for b.Loop() {
		present.Stands(r, now)
	}
}
