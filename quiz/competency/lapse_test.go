package competency

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

// moment is a time of day in UTC.
func moment(text string) time.Time {
	at, err := time.Parse("2006-01-02 15:04", text)
	if err != nil {
		panic(err)
	}
	return at
}

func zone(t interface{ Fatal(args ...any) }, name string) *time.Location {
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

func TestLapsesAtTheEndOfTheLocalDay(t *testing.T) {
	for name, c := range map[string]struct {
		zone, signed string // in UTC
		days         int
		last, lapses string // the first in the zone, the second in UTC
	}{
		"late in the evening":               {"America/Vancouver", "2026-11-26 07:30", 365, "2027-11-25", "2027-11-26 08:00"},
		"a minute before midnight":          {"America/Vancouver", "2026-11-26 07:59", 365, "2027-11-25", "2027-11-26 08:00"},
		"at midnight":                       {"America/Vancouver", "2026-11-26 08:00", 365, "2027-11-26", "2027-11-27 08:00"},
		"on a leap day":                     {"America/Vancouver", "2028-02-29 20:00", 365, "2029-02-28", "2029-03-01 08:00"},
		"east of Greenwich, a day ahead":    {"Asia/Riyadh", "2026-12-31 22:00", 365, "2028-01-01", "2028-01-01 21:00"},
		"from winter into summer":           {"America/Vancouver", "2026-03-02 17:00", 180, "2026-08-29", "2026-08-30 07:00"},
		"on the day the clock goes forward": {"America/Vancouver", "2026-03-07 17:00", 1, "2026-03-08", "2026-03-09 07:00"},
		"half an hour of summer":            {"Australia/Lord_Howe", "2026-04-03 12:00", 1, "2026-04-04", "2026-04-04 13:00"},

		"Santiago goes forward over midnight":      {"America/Santiago", "2026-09-04 15:00", 1, "2026-09-05", "2026-09-06 04:00"},
		"Santiago goes back over midnight":         {"America/Santiago", "2026-04-03 15:00", 1, "2026-04-04", "2026-04-05 04:00"},
		"Cairo goes forward over midnight":         {"Africa/Cairo", "2026-04-22 10:00", 1, "2026-04-23", "2026-04-23 22:00"},
		"Cairo goes back over midnight":            {"Africa/Cairo", "2026-10-28 10:00", 1, "2026-10-29", "2026-10-29 22:00"},
		"Beirut goes forward over midnight":        {"Asia/Beirut", "2026-03-27 10:00", 1, "2026-03-28", "2026-03-28 22:00"},
		"Beirut goes back over midnight":           {"Asia/Beirut", "2026-10-23 10:00", 1, "2026-10-24", "2026-10-24 22:00"},
		"Havana goes forward over midnight":        {"America/Havana", "2026-03-06 15:00", 1, "2026-03-07", "2026-03-08 05:00"},
		"Havana has midnight twice":                {"America/Havana", "2026-10-30 15:00", 1, "2026-10-31", "2026-11-01 04:00"},
		"Apia is about to skip a day":              {"Pacific/Apia", "2011-12-28 20:00", 1, "2011-12-29", "2011-12-30 10:00"},
		"Apia has no such day":                     {"Pacific/Apia", "2011-12-28 20:00", 2, "2011-12-29", "2011-12-30 10:00"},
		"Apia is past it":                          {"Pacific/Apia", "2011-12-28 20:00", 3, "2011-12-31", "2011-12-31 10:00"},
		"St. John's once went back after midnight": {"America/St_Johns", "2010-11-05 15:00", 1, "2010-11-06", "2010-11-07 03:30"},
	} {
		t.Run(name, func(t *testing.T) {
			z := zone(t, c.zone)
			lapses := Lapses(moment(c.signed), c.days, z)
			if !lapses.Equal(moment(c.lapses)) {
				t.Errorf("lapses %v, expected %v", lapses, moment(c.lapses).In(z))
			}
			if got := LastDay(lapses.UTC(), z).Format(time.DateOnly); got != c.last {
				t.Errorf("last day %s, expected %s", got, c.last)
			}
		})
	}
}

var zones = []string{
	"America/Vancouver", "Europe/London", "Australia/Lord_Howe", "UTC", "America/Santiago", "Africa/Cairo", "Asia/Beirut",
	"America/Havana", "Pacific/Apia", "Pacific/Kiritimati", "America/St_Johns", "Asia/Kathmandu", "Africa/Casablanca", "Asia/Gaza", "Antarctica/Troll",
}

// Whatever clocks do: a sign-off is valid for the whole of its last local day,
// and never on a later one.
func TestLapseProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.SampledFrom(zones).Draw(t, "zone")
		z := zone(t, name)
		signed := time.Unix(rapid.Int64Range(9.4e8, 2.2e9).Draw(t, "signed"), 0)
		days := rapid.IntRange(0, 366).Draw(t, "days")
		lapses := Lapses(signed, days, z)
		y, m, d := signed.In(z).Date()
		last := time.Date(y, m, d+days, 0, 0, 0, 0, time.UTC).Format(time.DateOnly)
		date := func(at time.Time) string { return at.In(z).Format(time.DateOnly) }

		skipped := name == "Pacific/Apia" && last == "2011-12-30"
		if before := date(lapses.Add(-time.Nanosecond)); before > last || before != last && !skipped || LastDay(lapses, z).Format(time.DateOnly) != before {
			t.Fatalf("it lapses on %s, its last day is %s", before, last)
		}
		after := time.Duration(rapid.Int64Range(0, int64(3*day)).Draw(t, "after"))
		for _, at := range []time.Duration{0, time.Minute, time.Hour - 1, time.Hour, 2 * time.Hour, after} {
			if date(lapses.Add(at)) <= last {
				t.Fatalf("%v after it lapsed it is %s, its last day %s", at, date(lapses.Add(at)), last)
			}
		}
		if !signed.Before(lapses) {
			t.Fatal("it lapses before it was signed")
		}
	})
}

func BenchmarkLapses(b *testing.B) {
	z := zone(b, "America/Santiago")
	signed := moment("2026-09-04 15:00")
	for b.Loop() {
		Lapses(signed, 365, z)
	}
}
