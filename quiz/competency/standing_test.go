package competency

import (
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"lampwright/locales/problem"
)

// signed is a sign-off of a spring morning on a set-up that did not change.
func signed(events ...Event) Record {
	f := heron()
	at := moment("2026-03-02 17:00")
	return Record{Signed: at, Lapses: Lapses(at, 365, vancouver), Zone: vancouver, Then: &f, Now: &f, Events: events}
}

var vancouver = func() *time.Location {
	z, err := time.LoadLocation("America/Vancouver")
	if err != nil {
		panic(err)
	}
	return z
}()

// refreshed is every critical objective, refreshed at a moment.
func refreshed(c *Competency, at string) (list []Event) {
	for _, o := range c.Objectives {
		if o.Critical {
			list = append(list, Event{Kind: KindRefreshed, At: moment(at), Objective: o.ID})
		}
	}
	return list
}

// kept is one always refreshed in time, and what else happened.
func kept(events ...Event) Record {
	for _, at := range []string{"2026-05-20 17:00", "2026-08-10 17:00", "2026-11-01 17:00", "2027-01-20 17:00"} {
		events = append(events, refreshed(present, at)...)
	}
	return signed(events...)
}

func changed(change func(*Features)) Record {
	r := kept()
	f := *r.Now
	change(&f)
	r.Now = &f
	return r
}

func suspension(at, until string) Event {
	e := Event{Kind: KindSuspended, At: moment(at), Why: "saw the adapter pulled"}
	if until != "" {
		e.Until = moment(until)
	}
	return e
}

func override(at, until string) Event {
	return Event{Kind: KindOverridden, At: moment(at), Until: moment(until), Why: "nobody else tonight"}
}

func happened(kind Kind, at string) Event { return Event{Kind: kind, At: moment(at), Why: "a slip"} }

// The lapse of signed is 2027-03-03 08:00 in UTC, midnight in Vancouver; its
// critical refreshers are missed from 2026-06-15 07:00 on.
func TestStands(t *testing.T) {
	allButOne := func(r Record, at string) Record {
		r.Events = append(r.Events, refreshed(present, at)[1:]...)
		return r
	}
	for name, c := range map[string]struct {
		record Record
		now    string
		want   Standing
		until  string // "" for none
	}{
		"nobody signed":               {Record{}, "2026-03-03 12:00", Never, ""},
		"before it was signed":        {signed(), "2026-03-02 16:59", Never, ""},
		"just signed":                 {signed(), "2026-03-02 17:00", Current, "2027-03-03 08:00"},
		"31 days to go":               {kept(), "2027-01-31 08:00", Current, "2027-03-03 08:00"},
		"30 days to go":               {kept(), "2027-02-01 08:00", Soon, "2027-03-03 08:00"},
		"the last minute":             {kept(), "2027-03-03 07:59", Soon, "2027-03-03 08:00"},
		"the end of the last day":     {kept(), "2027-03-03 08:00", Lapsed, ""},
		"long after, and refreshed":   {kept(refreshed(present, "2027-03-10 08:00")...), "2027-04-01 08:00", Lapsed, ""},
		"lapsed, and suspended too":   {kept(suspension("2026-12-01 08:00", "")), "2027-03-03 08:00", Lapsed, ""},
		"lapsed under an override":    {kept(suspension("2027-03-01 08:00", ""), override("2027-03-03 00:00", "2027-03-03 20:00")), "2027-03-03 08:00", Lapsed, ""},
		"an override ends by a lapse": {kept(suspension("2027-03-01 08:00", ""), override("2027-03-03 00:00", "2027-03-03 20:00")), "2027-03-03 07:59", Overridden, "2027-03-03 08:00"},

		"another panel":                     {changed(func(f *Features) { f.Panel.Internal = "" }), "2026-04-01 08:00", Changed, ""},
		"an equivalent loaner":              {changed(func(*Features) {}), "2026-04-01 08:00", Current, "2027-03-03 08:00"},
		"a person less dependent now":       {changed(func(f *Features) { f.Unaided = 30 }), "2026-04-01 08:00", Current, "2027-03-03 08:00"},
		"a set-up that nobody can describe": {Record{Signed: signed().Signed, Lapses: signed().Lapses}, "2026-04-01 08:00", Changed, ""},
		"another panel, and lapsed":         {changed(func(f *Features) { f.Panel.Internal = "" }), "2027-03-03 08:00", Lapsed, ""},
		"another panel cannot be overridden": {func() Record {
			r := changed(func(f *Features) { f.Tap = "port" })
			r.Events = append(r.Events, override("2027-02-01 08:00", "2027-02-02 08:00"))
			return r
		}(), "2027-02-01 12:00", Changed, ""},
		"refreshers do until the grace is over": {signed(), "2026-06-15 06:59", Current, "2027-03-03 08:00"},
		"a critical refresher missed":           {signed(), "2026-06-15 07:00", Suspended, ""},
		"one critical refresher of all missed":  {allButOne(signed(), "2026-05-20 17:00"), "2026-06-15 07:00", Suspended, ""},
		"refreshed within the grace":            {signed(refreshed(present, "2026-06-14 20:00")...), "2026-06-15 07:00", Current, "2027-03-03 08:00"},
		"refreshed after it was missed":         {signed(refreshed(present, "2026-07-01 20:00")...), "2026-07-01 20:00", Current, "2027-03-03 08:00"},
		"missed again":                          {signed(refreshed(present, "2026-05-20 17:00")...), "2026-09-02 07:00", Suspended, ""},
		"refreshed before it was signed":        {signed(refreshed(present, "2026-01-01 17:00")...), "2026-06-15 06:59", Current, "2027-03-03 08:00"},
		"a refresher never moves the end":       {kept(refreshed(present, "2027-03-02 17:00")...), "2027-03-03 08:00", Lapsed, ""},

		"suspended":                                 {kept(suspension("2026-04-01 08:00", "")), "2026-04-01 08:00", Suspended, ""},
		"suspended while the clock was ahead":       {kept(suspension("2026-04-02 08:00", "")), "2026-04-01 08:00", Suspended, ""},
		"and lifted by a clock that is right":       {kept(suspension("2026-04-02 08:00", ""), happened(KindLifted, "2026-04-01 08:00")), "2026-04-01 08:00", Current, "2027-03-03 08:00"},
		"lifted tomorrow":                           {kept(suspension("2026-04-01 08:00", ""), happened(KindLifted, "2026-04-02 08:00")), "2026-04-01 08:00", Suspended, ""},
		"overridden tomorrow":                       {kept(suspension("2026-04-01 08:00", ""), override("2026-04-02 08:00", "2026-04-02 20:00")), "2026-04-01 20:00", Suspended, ""},
		"refreshed tomorrow":                        {signed(refreshed(present, "2026-06-16 08:00")...), "2026-06-15 08:00", Suspended, ""},
		"suspended for a week":                      {kept(suspension("2026-04-01 08:00", "2026-04-08 08:00")), "2026-04-08 07:59", Suspended, "2026-04-08 08:00"},
		"the week is over":                          {kept(suspension("2026-04-01 08:00", "2026-04-08 08:00")), "2026-04-08 08:00", Current, "2027-03-03 08:00"},
		"suspended for a week, and for good":        {kept(suspension("2026-04-01 08:00", ""), suspension("2026-04-02 08:00", "2026-04-08 08:00")), "2026-04-09 08:00", Suspended, ""},
		"suspended for good, and for a week":        {kept(suspension("2026-04-01 08:00", "2026-04-08 08:00"), suspension("2026-04-02 08:00", "")), "2026-04-03 08:00", Suspended, ""},
		"suspended for two weeks, the longer first": {kept(suspension("2026-04-01 08:00", "2026-04-15 08:00"), suspension("2026-04-02 08:00", "2026-04-08 08:00")), "2026-04-03 08:00", Suspended, "2026-04-15 08:00"},
		"lifted":                             {kept(suspension("2026-04-01 08:00", ""), happened(KindLifted, "2026-04-03 08:00")), "2026-04-03 08:00", Current, "2027-03-03 08:00"},
		"lifted, and suspended again":        {kept(suspension("2026-04-01 08:00", ""), happened(KindLifted, "2026-04-03 08:00"), suspension("2026-04-04 08:00", "2026-04-09 08:00")), "2026-04-05 08:00", Suspended, "2026-04-09 08:00"},
		"suspended and lifted in one moment": {kept(suspension("2026-04-01 08:00", ""), happened(KindLifted, "2026-04-01 08:00")), "2026-04-01 08:00", Current, "2027-03-03 08:00"},
		"lifted and suspended in one moment": {kept(happened(KindLifted, "2026-04-01 08:00"), suspension("2026-04-01 08:00", "")), "2026-04-01 08:00", Suspended, ""},
		"nobody lifts a missed refresher":    {signed(happened(KindLifted, "2026-06-16 07:00")), "2026-06-17 07:00", Suspended, ""},
		"suspended and a refresher missed":   {signed(suspension("2026-06-14 08:00", "2026-06-20 08:00")), "2026-06-16 07:00", Suspended, ""},

		"overridden for a night":                      {kept(suspension("2026-04-01 08:00", ""), override("2026-04-03 20:00", "2026-04-04 08:00")), "2026-04-04 07:59", Overridden, "2026-04-04 08:00"},
		"the night is over":                           {kept(suspension("2026-04-01 08:00", ""), override("2026-04-03 20:00", "2026-04-04 08:00")), "2026-04-04 08:00", Suspended, ""},
		"overridden for a week":                       {kept(suspension("2026-04-01 08:00", ""), override("2026-04-03 20:00", "2026-04-10 20:00")), "2026-04-04 19:59", Overridden, "2026-04-04 20:00"},
		"the week is cut to a day":                    {kept(suspension("2026-04-01 08:00", ""), override("2026-04-03 20:00", "2026-04-10 20:00")), "2026-04-04 20:00", Suspended, ""},
		"overridden without an end":                   {kept(suspension("2026-04-01 08:00", ""), Event{Kind: KindOverridden, At: moment("2026-04-03 20:00")}), "2026-04-03 21:00", Suspended, ""},
		"overridden twice, the longer counts":         {kept(suspension("2026-04-01 08:00", ""), override("2026-04-03 20:00", "2026-04-04 08:00"), override("2026-04-03 21:00", "2026-04-03 23:00")), "2026-04-03 22:00", Overridden, "2026-04-04 08:00"},
		"suspended anew under an override":            {kept(suspension("2026-04-01 08:00", ""), override("2026-04-03 20:00", "2026-04-04 08:00"), suspension("2026-04-03 22:00", "")), "2026-04-03 23:00", Suspended, ""},
		"overridden before it was suspended":          {kept(override("2026-04-01 07:00", "2026-04-01 20:00"), suspension("2026-04-01 08:00", "")), "2026-04-01 09:00", Suspended, ""},
		"overridden, and nothing is suspended":        {kept(override("2026-04-01 07:00", "2026-04-01 20:00")), "2026-04-01 09:00", Current, "2027-03-03 08:00"},
		"a missed refresher overridden":               {signed(override("2026-06-15 20:00", "2026-06-16 08:00")), "2026-06-16 07:00", Overridden, "2026-06-16 08:00"},
		"a second refresher missed under an override": {signed(refreshed(present, "2026-03-03 17:00")[0], override("2026-06-15 20:00", "2026-06-16 20:00")), "2026-06-16 07:00", Suspended, ""},
		"overridden before one was missed":            {signed(suspension("2026-06-14 08:00", ""), override("2026-06-14 20:00", "2026-06-15 20:00")), "2026-06-15 07:00", Suspended, ""},

		"superseded":                           {kept(happened(KindSuperseded, "2026-04-01 08:00")), "2026-04-01 08:00", Superseded, ""},
		"superseded, and lapsed since":         {kept(happened(KindSuperseded, "2026-04-01 08:00")), "2028-04-01 08:00", Superseded, ""},
		"superseded while the clock was ahead": {kept(happened(KindSuperseded, "2026-04-02 08:00")), "2026-04-01 08:00", Superseded, ""},
		"revoked while the clock was ahead":    {kept(happened(KindRevoked, "2026-04-02 08:00")), "2026-04-01 08:00", Revoked, ""},
		"superseded, and revoked":              {kept(happened(KindSuperseded, "2026-04-01 08:00"), happened(KindRevoked, "2026-04-02 08:00")), "2026-04-03 08:00", Revoked, ""},
		"revoked":                              {kept(happened(KindRevoked, "2026-04-01 08:00")), "2026-04-01 08:00", Revoked, ""},
		"revoked, and overridden":              {kept(happened(KindRevoked, "2026-04-01 08:00"), override("2026-04-01 09:00", "2026-04-01 20:00")), "2026-04-01 10:00", Revoked, ""},
		"revoked, and lifted":                  {kept(happened(KindRevoked, "2026-04-01 08:00"), happened(KindLifted, "2026-04-01 09:00")), "2026-04-01 10:00", Revoked, ""},
		"revoked after it lapsed":              {kept(happened(KindRevoked, "2027-04-01 08:00")), "2027-04-02 08:00", Revoked, ""},
		"a zone that nobody said":              {func() Record { r := signed(); r.Zone = nil; return r }(), "2026-06-15 00:00", Suspended, ""},
		"not missed in UTC at that point":      {func() Record { r := signed(); r.Zone = nil; return r }(), "2026-06-14 23:59", Current, "2027-03-03 08:00"},
	} {
		t.Run(name, func(t *testing.T) {
			got := present.Stands(c.record, moment(c.now))
			if got.Standing != c.want {
				t.Errorf("got %+v, expected %s", got, c.want)
			}
			if c.until == "" && !got.Until.IsZero() || c.until != "" && !got.Until.Equal(moment(c.until)) {
				t.Errorf("until %v, expected %q", got.Until, c.until)
			}
		})
	}
}

func TestWhy(t *testing.T) {
	now := moment("2026-04-03 22:00")
	suspended, revoked := suspension("2026-04-01 08:00", ""), happened(KindRevoked, "2026-04-02 08:00")
	for name, c := range map[string]struct {
		record Record
		want   Judgement
	}{
		"suspended": {kept(suspended), Judgement{Standing: Suspended, Why: suspended.Why}},
		"suspended and lifted, then anew for another reason": {
			kept(suspended, happened(KindLifted, "2026-04-01 09:00"), Event{Kind: KindSuspended, At: now, Why: "left the bag"}),
			Judgement{Standing: Suspended, Why: "left the bag"},
		},
		"overridden": {
			kept(suspended, override("2026-04-03 20:00", "2026-04-04 08:00")),
			Judgement{Standing: Overridden, Why: "nobody else tonight", Until: moment("2026-04-04 08:00")},
		},
		"revoked": {kept(revoked), Judgement{Standing: Revoked, Why: "a slip"}},
		"changed": {
			changed(func(f *Features) { f.Tap, f.Ventilator = "port", "Plover" }),
			Judgement{Standing: Changed, Changes: []Feature{VentilatorModel, TapPlace}},
		},
	} {
		t.Run(name, func(t *testing.T) {
			if got := present.Stands(c.record, now); !reflect.DeepEqual(got, c.want) {
				t.Errorf("\ngot  %+v\nwant %+v", got, c.want)
			}
		})
	}
	r := signed(suspension("2026-04-01 08:00", "2026-08-01 08:00"), happened(KindLifted, "2026-04-01 09:00"))
	r.Events = append(r.Events, refreshed(present, "2026-05-20 17:00")[2:]...)
	if got := present.Stands(r, moment("2026-06-16 08:00")); got.Standing != Suspended || !slices.Equal(got.Missed, []string{"person-first", "judge-breathing"}) || got.Why != "" || !got.Until.IsZero() {
		t.Errorf("missed: %+v", got)
	}
}

func TestRefreshers(t *testing.T) {
	r := signed(Event{Kind: KindRefreshed, At: moment("2026-04-01 17:00"), Objective: "person-first"}, Event{Kind: KindRefreshed, At: moment("2026-04-02 17:00"), Objective: "read-fuse"})
	list := present.Refreshers(r, moment("2026-04-01 18:00"))
	if len(list) != len(present.Objectives) || !slices.IsSortedFunc(list, func(a, b Refresher) int { return a.Due.Compare(b.Due) }) {
		t.Fatalf("got %+v", list)
	}
	for _, c := range []struct{ id, due, missed string }{
		{"person-first", "2026-07-01 07:00", "2026-07-15 07:00"},
		{"leave-alone", "2026-06-01 07:00", "2026-06-15 07:00"},
		{"read-fuse", "2026-08-30 07:00", ""}, // the refresher of tomorrow does not count yet
	} {
		got := list[slices.IndexFunc(list, func(n Refresher) bool { return n.Objective == c.id })]
		if !got.Due.Equal(moment(c.due)) || got.Critical != (c.missed != "") || got.Critical && !got.Missed.Equal(moment(c.missed)) || got.Missed.IsZero() == got.Critical {
			t.Errorf("%s: got %+v", c.id, got)
		}
	}
}

func TestCheckEvent(t *testing.T) {
	at := moment("2026-04-01 08:00")
	for name, c := range map[string]struct {
		event Event
		key   string
	}{
		"a refresher":                     {Event{Kind: KindRefreshed, At: at, Objective: "person-first"}, ""},
		"a refresher of nothing":          {Event{Kind: KindRefreshed, At: at}, "problem.form"},
		"a suspension":                    {suspension("2026-04-01 08:00", ""), ""},
		"a suspension for an hour":        {suspension("2026-04-01 08:00", "2026-04-01 09:00"), ""},
		"a suspension that never was":     {suspension("2026-04-01 08:00", "2026-04-01 08:00"), "problem.ends-before"},
		"a suspension without a reason":   {Event{Kind: KindSuspended, At: at, Why: " \t"}, "problem.no-reason"},
		"lifted":                          {Event{Kind: KindLifted, At: at}, ""},
		"an override for a day":           {override("2026-04-01 08:00", "2026-04-02 08:00"), ""},
		"an override for more":            {override("2026-04-01 08:00", "2026-04-02 08:01"), "problem.override-too-long"},
		"an override that has ended":      {override("2026-04-01 08:00", "2026-04-01 07:00"), "problem.override-too-long"},
		"an override without an end":      {Event{Kind: KindOverridden, At: at, Why: "x"}, "problem.override-too-long"},
		"an override without a reason":    {Event{Kind: KindOverridden, At: at, Until: at.Add(time.Hour)}, "problem.no-reason"},
		"superseded":                      {Event{Kind: KindSuperseded, At: at}, ""},
		"revoked":                         {Event{Kind: KindRevoked, At: at, Why: "x"}, ""},
		"revoked without a reason":        {Event{Kind: KindRevoked, At: at}, "problem.no-reason"},
		"something that is none of these": {Event{Kind: "forgotten", At: at, Why: "x"}, "problem.form"},
	} {
		t.Run(name, func(t *testing.T) {
			err := c.event.Check()
			if (err == nil) != (c.key == "") || err != nil && (problem.Of(err).Key != c.key || !problem.Is(err, problem.Invalid)) {
				t.Errorf("got %v, expected %q", err, c.key)
			}
		})
	}
}

// drawn is any sign-off with any events, whatever the clock said at each.
func drawn(t *rapid.T, c *Competency) Record {
	r := signed()
	r.Zone = zone(t, rapid.SampledFrom(zones).Draw(t, "zone"))
	r.Lapses = Lapses(r.Signed, rapid.IntRange(1, 366).Draw(t, "days"), r.Zone)
	if rapid.IntRange(0, 9).Draw(t, "changed") == 0 {
		r.Now = drawFeatures(t, "now")
	}
	kinds := []Kind{KindSuspended, KindSuspended, KindLifted, KindOverridden, KindOverridden, KindRefreshed, KindRefreshed, KindSuperseded, KindRevoked}
	for range rapid.IntRange(0, 12).Draw(t, "events") {
		e := Event{Kind: rapid.SampledFrom(kinds).Draw(t, "kind"), At: drawMoment(t, "at")}
		if e.Kind == KindRefreshed && rapid.Bool().Draw(t, "all") {
			for _, o := range c.Objectives {
				e.Objective = o.ID
				r.Events = append(r.Events, e)
			}
			continue
		}
		e.Objective = rapid.SampledFrom(c.Objectives).Draw(t, "objective").ID
		if rapid.Bool().Draw(t, "ends") {
			e.Until = e.At.Add(time.Duration(rapid.IntRange(-10, 400).Draw(t, "hours")) * time.Hour)
		}
		r.Events = append(r.Events, e)
	}
	return r
}

func drawMoment(t *rapid.T, name string) time.Time {
	return moment("2026-03-01 00:00").Add(time.Duration(rapid.IntRange(0, 400*24*60).Draw(t, name)) * time.Minute)
}

// final are the standings from which there is no way back, each only on to one
// further left.
var final = []Standing{Revoked, Superseded, Lapsed}

// against are the events that speak against a sign-off.
var against = []Kind{KindSuspended, KindSuperseded, KindRevoked}

func TestStandsProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := &All()[rapid.IntRange(0, len(All())-1).Draw(t, "competency")]
		r, now := drawn(t, c), drawMoment(t, "now")
		got := c.Stands(r, now)

		// What speaks for it and is later does not count yet.
		sofar := r
		sofar.Events = slices.DeleteFunc(slices.Clone(r.Events), func(e Event) bool { return e.At.After(now) && !slices.Contains(against, e.Kind) })
		if again := c.Stands(sofar, now); !reflect.DeepEqual(got, again) {
			t.Fatalf("got %+v, and %+v", got, again)
		}
		// What speaks against it counts, whatever its date.
		worse := r
		worse.Events = append(slices.Clone(r.Events), Event{Kind: rapid.SampledFrom(against).Draw(t, "against"), At: drawMoment(t, "then")})
		if then := c.Stands(worse, now).Standing; then.Holds() || then == Overridden {
			t.Fatalf("%s, although %+v", then, worse.Events[len(r.Events)])
		}
		// Once at an end, always at an end.
		later := now.Add(time.Duration(rapid.IntRange(0, 200*24).Draw(t, "hours")) * time.Hour)
		if i := slices.Index(final, got.Standing); i >= 0 {
			if then := slices.Index(final, c.Stands(r, later).Standing); then < 0 || then > i {
				t.Fatalf("%s, and later %s", got.Standing, c.Stands(r, later).Standing)
			}
		}
		if !now.Before(r.Lapses) && !slices.Contains(final, got.Standing) {
			t.Fatalf("it has lapsed, and is %s", got.Standing)
		}
		// It ends when it says, and not before, if nothing more is recorded.
		if !got.Until.IsZero() {
			if !got.Until.After(now) || got.Until.After(r.Lapses) && got.Standing != Suspended {
				t.Fatalf("until %v", got.Until)
			}
			at := c.Stands(sofar, got.Until)
			if at.Standing.Holds() && got.Standing != Suspended || at.Standing == Overridden || at.Standing == Suspended && got.Standing == Suspended && len(at.Missed) == 0 {
				t.Fatalf("%+v ends, and is %+v", got, at)
			}
		}
		switch got.Standing {
		case Overridden:
			if got.Until.Sub(now) > LongestOverride {
				t.Fatalf("overridden until %v", got.Until)
			}
			bare := sofar
			bare.Events = slices.DeleteFunc(slices.Clone(sofar.Events), func(e Event) bool { return e.Kind == KindOverridden })
			if without := c.Stands(bare, now); without.Standing != Suspended || !slices.Equal(without.Missed, got.Missed) {
				t.Fatalf("%s was overridden", without.Standing)
			}
		case Current, Soon:
			if !got.Until.Equal(r.Lapses) || (now.Sub(r.Lapses) >= -SoonDays*day) != (got.Standing == Soon) {
				t.Fatalf("%s until %v", got.Standing, got.Until)
			}
			fallthrough
		case Suspended:
			missed := map[string]bool{}
			for _, next := range c.Refreshers(r, now) {
				if next.Critical && next.Due.Sub(next.Missed) > -13*day {
					t.Fatalf("due %v, missed %v", next.Due, next.Missed)
				}
				if next.Critical && !now.Before(next.Missed) {
					missed[next.Objective] = true
				}
			}
			if len(missed) != len(got.Missed) || slices.ContainsFunc(got.Missed, func(id string) bool { return !missed[id] }) {
				t.Fatalf("missed %v, said %q", missed, got.Missed)
			}
		}
	})
}

func TestKeys(t *testing.T) {
	for _, key := range []string{Never.Key(), present.Name(), present.Items[0].SeenWhen(), PanelShows.ChangeKey()} {
		if strings.Count(key, ".") != 2 {
			t.Error(key)
		}
	}
}
