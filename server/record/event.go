package record

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"time"

	"lampwright/locales/problem"
)

// Event is something that happened to a sign-off after it was signed. It is
// entered in the log, and never changed.
type Event struct {
	ID, SiteID, SignOffID string
	Kind                  string
	ByID, ByName          string // who did it
	At                    time.Time
	AtLocal               string
	Until                 time.Time // zero for none
	Objective, Why, Data  string
	FormKey               string
}

const eventColumns = `e.id, e.site_id, e.sign_off_id, e.kind, e.by_id, e.by_name, e.at, e.at_local, e.until, e.objective, e.why, e.data, e.form_key`

func readEvent(scan scan) (e Event, err error) {
	var until int64
	err = scan(&e.ID, &e.SiteID, &e.SignOffID, &e.Kind, &e.ByID, &e.ByName, stamp{&e.At}, &e.AtLocal, &until,
		&e.Objective, &e.Why, &e.Data, &e.FormKey)
	if until != 0 {
		e.Until = time.UnixMilli(until).UTC()
	}
	return e, err
}

func (e Event) until() int64 {
	if e.Until.IsZero() {
		return 0
	}
	return e.Until.UnixMilli()
}

// entered is the event as the log holds it: every column of its row.
func (e Event) entered() (entered, error) {
	record, err := json.Marshal(struct {
		ID, Site, SignOff, Kind, By, ByName string
		At                                  int64
		AtLocal                             string
		Until                               int64
		Objective, Why, Data, FormKey       string
	}{e.ID, e.SiteID, e.SignOffID, e.Kind, e.ByID, e.ByName, e.At.UnixMilli(), e.AtLocal, e.until(), e.Objective, e.Why, e.Data, e.FormKey})
	return entered{kindEvent + e.ID, e.At, record}, err
}

// AddEvent records an event and enters it in the log, and is true if it did.
// The same form key from the same person again gives the event that was
// recorded the first time; about something else, it is refused as moved. may
// judges it by what has happened so far, while nothing else can happen.
func (s *Store) AddEvent(ctx context.Context, e Event, may func(SignOff, []Event) error) (added Event, isNew bool, err error) {
	defer problem.In(&err, "record.AddEvent")
	if e.FormKey == "" {
		return Event{}, false, errNoFormKey
	}
	if e.ID == "" {
		e.ID = NewID()
	}
	e.At = time.UnixMilli(e.At.UnixMilli()).UTC()
	err = s.enter(func(tx transaction, next int64) (none []entered, err error) {
		isNew = false
		added, err = readEvent(tx.QueryRowContext(ctx, `
			SELECT `+eventColumns+` FROM sign_off_events e
			WHERE e.site_id = $1 AND e.by_id = $2 AND e.form_key = $3`, e.SiteID, e.ByID, e.FormKey).Scan)
		switch {
		case err == nil && (added.SignOffID != e.SignOffID || added.Kind != e.Kind):
			return none, problem.New(problem.Moved, "problem.moved")
		case !errors.Is(err, sql.ErrNoRows):
			return none, err
		}
		o, err := one(ctx, tx, readSignOff, "problem.unknown-sign-off",
			`SELECT `+signOffColumns+` FROM sign_offs o WHERE o.site_id = $1 AND o.id = $2`, e.SiteID, e.SignOffID)
		if err != nil {
			return none, err
		}
		so, err := events(ctx, tx, e.SiteID, e.SignOffID)
		if err != nil {
			return none, err
		}
		if err := may(o, so); err != nil {
			return none, err
		}
		logged, err := putEvent(ctx, tx, e, next)
		added, isNew = e, err == nil
		return []entered{logged}, err
	})
	if err != nil {
		return Event{}, false, err
	}
	return added, isNew, nil
}

func putEvent(ctx context.Context, tx transaction, e Event, entry int64) (entered, error) {
	if _, err := tx.ExecContext(ctx, `
		INSERT INTO sign_off_events (site_id, id, sign_off_id, kind, by_id, by_name, at, at_local, until, objective, why, data, form_key, entry)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14)`,
		e.SiteID, e.ID, e.SignOffID, e.Kind, e.ByID, e.ByName, e.At.UnixMilli(), e.AtLocal, e.until(),
		e.Objective, e.Why, e.Data, e.FormKey, entry); err != nil {
		return entered{}, err
	}
	return e.entered()
}

func events(ctx context.Context, q querier, siteID, signOffID string) ([]Event, error) {
	return all(ctx, q, readEvent, `
		SELECT `+eventColumns+` FROM sign_off_events e
		WHERE e.site_id = $1 AND e.sign_off_id = $2 ORDER BY e.at, e.rowid`, siteID, signOffID)
}

// Events reads what happened to a sign-off, in the order it was recorded.
func (s *Store) Events(ctx context.Context, siteID, signOffID string) (_ []Event, err error) {
	defer problem.In(&err, "record.Events")
	return events(ctx, s.reader, siteID, signOffID)
}

// SignOff reads a sign-off.
func (s *Store) SignOff(ctx context.Context, siteID, id string) (_ SignOff, err error) {
	defer problem.In(&err, "record.SignOff")
	return one(ctx, s.reader, readSignOff, "problem.unknown-sign-off",
		`SELECT `+signOffColumns+` FROM sign_offs o WHERE o.site_id = $1 AND o.id = $2`, siteID, id)
}

// EventsOf reads what happened to a person's sign-offs, by sign-off, in the
// order it was recorded.
func (s *Store) EventsOf(ctx context.Context, siteID, personID string) (_ map[string][]Event, err error) {
	defer problem.In(&err, "record.EventsOf")
	list, err := all(ctx, s.reader, readEvent, `
		SELECT `+eventColumns+` FROM sign_off_events e
		JOIN sign_offs o ON o.site_id = e.site_id AND o.id = e.sign_off_id
		WHERE e.site_id = $1 AND o.person_id = $2 ORDER BY e.at, e.rowid`, siteID, personID)
	out := map[string][]Event{}
	for _, e := range list {
		out[e.SignOffID] = append(out[e.SignOffID], e)
	}
	return out, err
}

// Again is the last time that a person answered a lesson's question rightly,
// or passed a scenario for the record, on a set-up in whichever version.
type Again struct {
	PersonID, SetupID, Lesson, Scenario string
	At                                  time.Time
}

// Agains reads them for a person.
func (s *Store) Agains(ctx context.Context, siteID, personID string) (_ []Again, err error) {
	defer problem.In(&err, "record.Agains")
	return all(ctx, s.reader, func(scan scan) (a Again, err error) {
		err = scan(&a.PersonID, &a.SetupID, &a.Lesson, &a.Scenario, stamp{&a.At})
		return a, err
	}, `
		SELECT person_id, setup_id, lesson, '', max(done) FROM lessons
		WHERE site_id = $1 AND person_id = $2 AND done IS NOT NULL GROUP BY person_id, setup_id, lesson
		UNION ALL
		SELECT person_id, setup_id, '', scenario, max(ended) FROM runs
		WHERE site_id = $1 AND person_id = $2 AND passed = 1 AND mode = 'quiz' GROUP BY person_id, setup_id, scenario`,
		siteID, personID)
}

// FindSignOff reads a sign-off, whatever its site.
func (s *Store) FindSignOff(ctx context.Context, id string) (_ SignOff, err error) {
	defer problem.In(&err, "record.FindSignOff")
	return one(ctx, s.reader, readSignOff, "problem.unknown-sign-off",
		`SELECT `+signOffColumns+` FROM sign_offs o WHERE o.site_id IN (SELECT site_id FROM sites) AND o.id = $1`, id)
}
