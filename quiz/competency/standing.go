package competency

import (
	"slices"
	"strings"
	"time"

	"lampwright/locales/problem"
)

const day = 24 * time.Hour

// Lapses is the first moment a sign-off is no longer valid: the end of the
// local day, so many days after it was signed, in the site's zone.
func Lapses(signed time.Time, days int, zone *time.Location) time.Time {
	y, m, d := signed.In(zone).Date()
	return begins(y, m, d+days+1, zone)
}

// begins is the moment from which it is a local day, or a later one, for good.
// That is not always its midnight: clocks go forward over midnight, or back,
// and islands have skipped a day.
func begins(y int, m time.Month, d int, zone *time.Location) (moment time.Time) {
	midnight := time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
	at, last := midnight.Add(-day), midnight.Add(day) // no zone is a day from UTC
	for at.Before(last) {
		local := at.In(zone)
		_, offset := local.Zone()
		_, end := local.ZoneBounds()
		if end.IsZero() || end.After(last) {
			end = last
		}
		if start := midnight.Add(-time.Duration(offset) * time.Second); at.Before(start) {
			moment = start
			if end.Before(start) {
				moment = end
			}
		}
		at = end
	}
	return moment.In(zone)
}

// LastDay is the last local day on which it is valid.
func LastDay(lapses time.Time, zone *time.Location) time.Time {
	return lapses.Add(-time.Nanosecond).In(zone)
}

// Standing is how a sign-off stands today.
type Standing string

// The standings.
const (
	Never      Standing = "never"
	Current    Standing = "current"
	Soon       Standing = "soon"       // lapses within SoonDays
	Lapsed     Standing = "lapsed"     // by date
	Changed    Standing = "changed"    // the set-up is not the one it was signed for
	Suspended  Standing = "suspended"  // by an educator, or a critical refresher was missed
	Overridden Standing = "overridden" // suspended, and let care by someone on call for some hours
	Superseded Standing = "superseded" // another entry stands in its place
	Revoked    Standing = "revoked"
)

// SoonDays before its end a sign-off is shown as lapsing soon.
const SoonDays = 30

// Holds tells whether it is valid today. An override is none: it lets someone
// care for some hours, and no roster may count on it.
func (s Standing) Holds() bool { return s == Current || s == Soon }

// Key is the key of its message.
func (s Standing) Key() string { return "page.standing." + string(s) }

// byDate is how it stands if nothing but the date counts.
func byDate(lapses, now time.Time) Standing {
	switch {
	case !now.Before(lapses):
		return Lapsed
	case !now.Before(lapses.Add(-SoonDays * day)):
		return Soon
	}
	return Current
}

// Record is a sign-off and what has happened to it. Zero is none.
type Record struct {
	Signed, Lapses time.Time
	Zone           *time.Location // the site's, whose days count; nil for UTC
	Then, Now      *Features      // of the set-up as it was signed for and as it is
	Events         []Event        // in the order they were recorded
}

// Event is something that happened to a sign-off.
type Event struct {
	Kind      Kind
	At        time.Time
	Until     time.Time // of a suspension, zero for one that somebody must lift, and of an override
	Objective string    // that was refreshed
	Why       string    // in the words of who decided it
}

// Kind of event.
type Kind string

// The kinds.
const (
	KindRefreshed  Kind = "refreshed"  // an objective, by a refresher passed on this set-up
	KindSuspended  Kind = "suspended"  // by an educator
	KindLifted     Kind = "lifted"     // every suspension by an educator so far
	KindOverridden Kind = "overridden" // the suspension there is, by someone on call
	KindSuperseded Kind = "superseded" // corrected or signed anew
	KindRevoked    Kind = "revoked"    // it should not have been signed
)

// LongestOverride is for how long a suspension can be overridden: over the
// longest shift, a night or a day and a night, and not into a second night on
// which nobody has looked at it anew (common practice, no source).
const LongestOverride = 24 * time.Hour

// Check tells what is wrong with an event before it is recorded.
func (e Event) Check() error {
	said := strings.TrimSpace(e.Why) != ""
	switch e.Kind {
	case KindRefreshed:
		if e.Objective == "" {
			return problem.New(problem.Invalid, "problem.form")
		}
	case KindSuspended:
		if !said {
			return problem.New(problem.Invalid, "problem.no-reason")
		}
		if !e.Until.IsZero() && !e.Until.After(e.At) {
			return problem.New(problem.Invalid, "problem.ends-before")
		}
	case KindOverridden:
		if !said {
			return problem.New(problem.Invalid, "problem.no-reason")
		}
		if !e.Until.After(e.At) || e.Until.Sub(e.At) > LongestOverride {
			return problem.New(problem.Invalid, "problem.override-too-long")
		}
	case KindRevoked:
		if !said {
			return problem.New(problem.Invalid, "problem.no-reason")
		}
	case KindLifted, KindSuperseded:
	default:
		return problem.New(problem.Invalid, "problem.form")
	}
	return nil
}

// Judgement is how a sign-off stands, and why.
type Judgement struct {
	Standing Standing
	Changes  []Feature // where the set-up changed
	Missed   []string  // critical objectives not refreshed, where that suspends it
	Why      string    // in the words of who suspended, overrode or revoked it
	Until    time.Time // when this ends by itself if nothing more is recorded; zero where it does not
}

// Stands tells how a sign-off stands at a moment, by a clock that never runs
// backwards: the records'. Should a date be later than that all the same, as
// after a clock that was ahead, then what speaks against the sign-off counts
// already, and what speaks for it not yet. To ask about the past, leave out
// what was recorded since.
//
// What ends it comes first, whatever else there is: revoked, superseded, lapsed.
// Then a changed set-up, on which nobody has seen the person: it cannot be
// overridden. Then a suspension, which can.
func (c *Competency) Stands(r Record, now time.Time) Judgement {
	if r.Signed.IsZero() || now.Before(r.Signed) {
		return Judgement{Standing: Never}
	}
	var superseded bool
	for i := range r.Events {
		switch r.Events[i].Kind {
		case KindRevoked:
			return Judgement{Standing: Revoked, Why: r.Events[i].Why}
		case KindSuperseded:
			superseded = true
		}
	}
	standing := byDate(r.Lapses, now)
	switch {
	case superseded:
		return Judgement{Standing: Superseded}
	case standing == Lapsed:
		return Judgement{Standing: Lapsed}
	}
	if changes := c.Material(r.Then, r.Now); len(changes) > 0 {
		return Judgement{Standing: Changed, Changes: changes}
	}
	if j, suspended := c.suspended(r, now); suspended {
		return j
	}
	return Judgement{Standing: standing, Until: r.Lapses}
}

// suspended judges a sign-off that is valid but for a suspension.
func (c *Competency) suspended(r Record, now time.Time) (j Judgement, is bool) {
	j.Standing = Suspended
	by := -1 // the latest suspension in force
	for i, e := range r.Events {
		switch {
		case e.Kind == KindLifted && !e.At.After(now):
			by, j.Until, j.Why = -1, time.Time{}, ""
		case e.Kind == KindSuspended && (e.Until.IsZero() || now.Before(e.Until)):
			if by < 0 || e.Until.IsZero() || !j.Until.IsZero() && e.Until.After(j.Until) { // the longest of them
				j.Until = e.Until
			}
			by, j.Why = i, e.Why
		}
	}
	var since time.Time
	if j.Missed, since = c.missed(r, now); len(j.Missed) > 0 {
		j.Until = time.Time{}
	} else if by < 0 {
		return j, false
	}
	for _, e := range r.Events[by+1:] { // whoever overrides knows of what came before
		if e.Kind != KindOverridden || e.At.Before(since) || e.At.After(now) {
			continue
		}
		end := e.Until
		if longest := e.At.Add(LongestOverride); end.After(longest) {
			end = longest
		}
		if end.After(r.Lapses) {
			end = r.Lapses
		}
		if now.Before(end) && (j.Standing == Suspended || end.After(j.Until)) {
			j.Standing, j.Why, j.Until = Overridden, e.Why, end
		}
	}
	return j, true
}

// Refresher is by when an objective is to be refreshed.
type Refresher struct {
	Objective string
	Critical  bool
	Due       time.Time // the end of a local day
	Missed    time.Time // when it suspends the sign-off; zero where it never does
}

// Refreshers are by when each objective of a sign-off is to be refreshed, the
// first due first. The recall of a person may ask for one sooner, never later.
func (c *Competency) Refreshers(r Record, now time.Time) (list []Refresher) {
	for _, o := range c.Objectives {
		last := r.refreshed(o.ID, now)
		next := Refresher{Objective: o.ID, Critical: o.Critical, Due: Lapses(last, c.Refresh.Other, r.zone())}
		if o.Critical {
			next.Due, next.Missed = Lapses(last, c.Refresh.Critical, r.zone()), c.missedAfter(last, r.zone())
		}
		list = append(list, next)
	}
	slices.SortStableFunc(list, func(a, b Refresher) int { return a.Due.Compare(b.Due) })
	return list
}

func (r *Record) zone() *time.Location {
	if r.Zone == nil {
		return time.UTC
	}
	return r.Zone
}

// refreshed is when an objective was last done: at the demonstration at least.
func (r *Record) refreshed(objective string, now time.Time) time.Time {
	for i := len(r.Events) - 1; i >= 0; i-- {
		e := &r.Events[i]
		if e.Kind == KindRefreshed && e.Objective == objective && e.At.After(r.Signed) && !e.At.After(now) {
			return e.At
		}
	}
	return r.Signed
}

func (c *Competency) missedAfter(last time.Time, zone *time.Location) time.Time {
	return Lapses(last, c.Refresh.Critical+c.Refresh.Grace, zone)
}

// missed are the critical objectives whose refresher was missed, and since
// when the latest of them is.
func (c *Competency) missed(r Record, now time.Time) (list []string, since time.Time) {
	for _, o := range c.Objectives {
		if !o.Critical {
			continue
		}
		last := r.refreshed(o.ID, now)
		if now.Sub(last) < time.Duration(c.Refresh.Critical)*day { // no need to ask the calendar
			continue
		}
		if at := c.missedAfter(last, r.zone()); !now.Before(at) {
			list = append(list, o.ID)
			if at.After(since) {
				since = at
			}
		}
	}
	return list, since
}
