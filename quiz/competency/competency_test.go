package competency

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"lampwright/locales/problem"
)

func all() map[string]bool {
	seen := map[string]bool{}
	for _, it := range Checklist {
		seen[it.ID] = true
	}
	return seen
}

func TestOneMissedCriticalItemIsNotSigned(t *testing.T) {
	if err := Signable(true, all(), PassingRating); err != nil {
		t.Fatal(err)
	}
	for _, it := range Checklist {
		seen := all()
		delete(seen, it.ID)
		if err := Signable(true, seen, HighestRating); (err != nil) != it.Critical {
			t.Errorf("%s missed: %v", it.ID, err)
		}
	}
	for name, err := range map[string]error{
		"lessons missing": Signable(false, all(), 5), "no rating": Signable(true, all(), 0),
		"low rating": Signable(true, all(), 2), "rating off the scale": Signable(true, all(), 9),
	} {
		if !problem.Is(err, problem.Invalid) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestMissing(t *testing.T) {
	l, s := Evidence{Lessons: []string{"a"}}.Missing([]string{"a", "b"}, []string{"x"})
	if len(l) != 1 || l[0] != "b" || len(s) != 1 {
		t.Error(l, s)
	}
}

// The end of the local day, across clock changes and short months.
func TestLapsesAtTheEndOfTheLocalDay(t *testing.T) {
	for _, c := range []struct{ zone, signed, last string }{
		{"America/Vancouver", "2026-11-25T23:30:00-08:00", "2027-11-25"},
		{"America/Vancouver", "2026-11-26T07:59:00Z", "2027-11-25"},
		{"America/Vancouver", "2028-02-29T12:00:00-08:00", "2029-02-28"},
		{"Asia/Riyadh", "2026-12-31T22:00:00Z", "2028-01-01"},
	} {
		zone, err := time.LoadLocation(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		signed, err := time.Parse(time.RFC3339, c.signed)
		if err != nil {
			t.Fatal(err)
		}
		lapses := Lapses(signed, 12, zone)
		if got := LastDay(lapses, zone).Format(time.DateOnly); got != c.last {
			t.Errorf("%s: last day %s, want %s", c.signed, got, c.last)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		zone, err := time.LoadLocation(rapid.SampledFrom([]string{"America/Vancouver", "Europe/London", "Australia/Lord_Howe", "UTC"}).Draw(t, "zone"))
		if err != nil {
			t.Fatal(err)
		}
		signed := time.Unix(rapid.Int64Range(1.7e9, 2.2e9).Draw(t, "signed"), 0)
		lapses := Lapses(signed, 12, zone)
		h, m, s := lapses.In(zone).Clock()
		days := lapses.Sub(signed).Hours() / 24
		if h+m+s != 0 || days < 364 || days > 367.1 {
			t.Fatalf("%v lapses %v", signed.In(zone), lapses.In(zone))
		}
	})
}

func TestStands(t *testing.T) {
	end := time.Date(2027, 11, 26, 8, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		version string
		now     time.Time
		want    Standing
	}{
		{"v1", end.AddDate(0, -6, 0), Current},
		{"v1", end.AddDate(0, 0, -30), Soon},
		{"v1", end.Add(-time.Second), Soon},
		{"v1", end, Lapsed},
		{"v2", end.AddDate(0, -6, 0), Changed},
		{"v2", end, Lapsed},
	} {
		if got := Stands("v1", c.version, end, c.now); got != c.want {
			t.Errorf("%s at %v: %s, want %s", c.version, c.now, got, c.want)
		}
	}
}
