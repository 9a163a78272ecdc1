package record

import (
	"context"
	"database/sql"
	"time"

	"lampwright/locales/problem"
)

// The kinds of deed.
const (
	DeedLesson  = "lesson"   // a lesson's question was answered rightly
	DeedRun     = "run"      // a scenario was ended for the record
	DeedSignOff = "sign-off" // a competency was signed off
	DeedVoid    = "event"    // a sign-off was revoked or superseded
)

// Deed is one thing in the records that a receiver of statements is told.
type Deed struct {
	Record       string // names what is recorded: no other deed is called the same, ever
	Kind         string
	PersonID     string
	ByID         string // of a DeedVoid, who did it
	Object       string // the lesson, scenario or competency; of a DeedVoid, the Record of the sign-off
	SetupVersion string
	Language     string // "" where it was not kept
	At           time.Time
	Took         time.Duration
	Passed       bool
	Score        float64
}

func readDeed(scan scan) (d Deed, err error) {
	var took int64
	err = scan(&d.Record, &d.Kind, &d.PersonID, &d.ByID, &d.Object, &d.SetupVersion, &d.Language, stamp{&d.At}, &took, &d.Passed, &d.Score)
	d.Took = time.Duration(took) * time.Millisecond
	return d, err
}

// selectDeeds is every deed of a site. A lesson's row keeps the last time it
// was done: done again, it is another deed. What is over cannot be taken back
// again.
const selectDeeds = `
	SELECT * FROM (
		SELECT 'lesson/' || person_id || '/' || setup_id || '/' || setup_version || '/' || lesson || '/' || lesson_version || '/' || done AS record,
			'lesson', person_id, '', lesson, setup_version, '', done AS at, 0, 1, 0.0
		FROM lessons WHERE site_id = $1 AND done IS NOT NULL
		UNION ALL
		SELECT 'run/' || id, 'run', person_id, '', scenario, setup_version, language, ended, ended - started, passed, score
		FROM runs WHERE site_id = $1 AND mode = 'quiz' AND ended IS NOT NULL
		UNION ALL
		SELECT 'sign-off/' || id, 'sign-off', person_id, '', competency, setup_version, language, signed, 0, 1, 0.0
		FROM sign_offs WHERE site_id = $1
		UNION ALL
		SELECT 'event/' || e.id, 'event', o.person_id, e.by_id, 'sign-off/' || o.id, o.setup_version, '', e.at, 0, 0, 0.0
		FROM sign_off_events e JOIN sign_offs o ON o.site_id = e.site_id AND o.id = e.sign_off_id
		WHERE e.site_id = $1 AND e.kind IN ('revoked', 'superseded') AND NOT EXISTS (
			SELECT 1 FROM sign_off_events f WHERE f.site_id = e.site_id AND f.sign_off_id = e.sign_off_id
			AND f.kind IN ('revoked', 'superseded') AND f.rowid < e.rowid)
	) d`

// Deeds reads every deed of a site, oldest first.
func (s *Store) Deeds(ctx context.Context, siteID string) (_ []Deed, err error) {
	defer problem.In(&err, "record.Deeds")
	return all(ctx, s.reader, readDeed, selectDeeds+` ORDER BY at, record`, siteID)
}

// NewDeeds reads the oldest deeds that were not put into the outbox yet, at
// most so many. It goes by what is there and not by the time: what was recorded
// late, or by a clock that was wrong, is told too.
func (s *Store) NewDeeds(ctx context.Context, siteID string, most int) (_ []Deed, err error) {
	defer problem.In(&err, "record.NewDeeds")
	return all(ctx, s.reader, readDeed, selectDeeds+`
		WHERE NOT EXISTS (SELECT 1 FROM outbox b WHERE b.site_id = $1 AND b.record = d.record)
		ORDER BY at, record LIMIT $2`, siteID, most)
}

// Letter is a statement on its way to the receiver.
type Letter struct {
	Record, ID, PersonID string
	Statement            []byte // JSON
	Tries                int
}

// PutLetters puts statements into the outbox; one that was put before, or
// whose person was erased meanwhile, is left out.
func (s *Store) PutLetters(ctx context.Context, siteID string, letters []Letter, at time.Time) (err error) {
	defer problem.In(&err, "record.PutLetters")
	if len(letters) == 0 {
		return nil
	}
	return s.write(ctx, func(tx *sql.Tx) error {
		for _, l := range letters {
			if _, err := tx.ExecContext(ctx, `
				INSERT INTO outbox (site_id, record, id, person_id, statement, made, next)
				SELECT $1, $2, $3, $4, $5, $6, $6
				WHERE EXISTS (SELECT 1 FROM people WHERE site_id = $1 AND id = $4 AND erased IS NULL)
				ON CONFLICT (site_id, record) DO NOTHING`,
				siteID, l.Record, l.ID, l.PersonID, string(l.Statement), at.UnixMilli()); err != nil {
				return err
			}
		}
		return nil
	})
}

// DueLetters reads what may be sent now, in the order it was put, at most so
// many.
func (s *Store) DueLetters(ctx context.Context, siteID string, now time.Time, most int) (_ []Letter, err error) {
	defer problem.In(&err, "record.DueLetters")
	return all(ctx, s.reader, func(scan scan) (l Letter, err error) {
		err = scan(&l.Record, &l.ID, &l.PersonID, &l.Statement, &l.Tries)
		return l, err
	}, `
		SELECT record, id, person_id, statement, tries FROM outbox
		WHERE site_id = $1 AND sent IS NULL AND next <= $2 ORDER BY rowid LIMIT $3`, siteID, now.UnixMilli(), most)
}

// LettersSent notes that the receiver has these.
func (s *Store) LettersSent(ctx context.Context, siteID string, letters []Letter, at time.Time) (err error) {
	defer problem.In(&err, "record.LettersSent")
	return s.write(ctx, func(tx *sql.Tx) error {
		for _, l := range letters {
			if _, err := tx.ExecContext(ctx, `
				UPDATE outbox SET sent = $1, statement = '' WHERE site_id = $2 AND record = $3`, at.UnixMilli(), siteID, l.Record); err != nil {
				return err
			}
		}
		return nil
	})
}

// LettersFailed notes that these could not be delivered, and when each may be
// tried again.
func (s *Store) LettersFailed(ctx context.Context, siteID string, letters []Letter, next func(tries int) time.Time) (err error) {
	defer problem.In(&err, "record.LettersFailed")
	return s.write(ctx, func(tx *sql.Tx) error {
		for _, l := range letters {
			if _, err := tx.ExecContext(ctx, `
				UPDATE outbox SET tries = $1, next = $2 WHERE site_id = $3 AND record = $4 AND sent IS NULL`,
				l.Tries+1, next(l.Tries+1).UnixMilli(), siteID, l.Record); err != nil {
				return err
			}
		}
		return nil
	})
}

// LettersWaiting counts what the receiver does not have yet.
func (s *Store) LettersWaiting(ctx context.Context, siteID string) (n int, err error) {
	defer problem.In(&err, "record.LettersWaiting")
	err = s.reader.QueryRowContext(ctx, `SELECT count(*) FROM outbox WHERE site_id = $1 AND sent IS NULL`, siteID).Scan(&n)
	return n, understood(err)
}
