package record

import (
	"context"
	"database/sql"
	"time"

	"lampwright/locales/problem"
)

// Role is what a person may do here.
type Role string

// The roles.
const (
	Learner  Role = "learner"
	Educator Role = "educator"
)

// Person is someone who learns or teaches; never the person on the ventilator.
type Person struct {
	ID, SiteID, Name string
	Role             Role
	Card             string // a learner's card code, one of its kind in a site; "" for none
	Username         string // one of its kind in a site; "" for none
	Secret           string // the hash of a PIN or password, in PHC form
	Language         string
	SetupID          string // "" for none
}

const personColumns = `p.id, p.site_id, p.name, p.role, p.card, p.username, p.secret, p.language, p.setup_id`

func (p *Person) columns() []any {
	return []any{&p.ID, &p.SiteID, &p.Name, &p.Role, maybe(&p.Card), maybe(&p.Username), &p.Secret, &p.Language, maybe(&p.SetupID)}
}

func readPerson(scan scan) (p Person, err error) {
	err = scan(p.columns()...)
	return p, err
}

// PutPerson adds a person, or changes all there is of one already known by id.
// An empty id is given one.
func (s *Store) PutPerson(ctx context.Context, p Person, at time.Time) (err error) {
	defer problem.In(&err, "record.PutPerson")
	if p.ID == "" {
		p.ID = NewID()
	}
	return s.change(ctx, `
		INSERT INTO people (site_id, id, name, role, card, username, secret, language, setup_id, changed)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)
		ON CONFLICT (site_id, id) DO UPDATE SET name = excluded.name, role = excluded.role, card = excluded.card,
			username = excluded.username, secret = excluded.secret, language = excluded.language,
			setup_id = excluded.setup_id, changed = excluded.changed`,
		p.SiteID, p.ID, p.Name, p.Role, orNull(p.Card), orNull(p.Username), p.Secret, p.Language,
		orNull(p.SetupID), at.UnixMilli())
}

// PersonByCard finds a person by card code, letter for letter.
func (s *Store) PersonByCard(ctx context.Context, siteID, card string) (_ Person, err error) {
	defer problem.In(&err, "record.PersonByCard")
	return one(ctx, s.reader, readPerson, "problem.unknown-card",
		`SELECT `+personColumns+` FROM people p WHERE p.site_id = $1 AND p.card = $2`, siteID, card)
}

// PersonByUsername finds a person by user name, letter for letter.
func (s *Store) PersonByUsername(ctx context.Context, siteID, username string) (_ Person, err error) {
	defer problem.In(&err, "record.PersonByUsername")
	return one(ctx, s.reader, readPerson, "problem.unknown-person",
		`SELECT `+personColumns+` FROM people p WHERE p.site_id = $1 AND p.username = $2`, siteID, username)
}

// Person reads a person.
func (s *Store) Person(ctx context.Context, siteID, id string) (_ Person, err error) {
	defer problem.In(&err, "record.Person")
	return one(ctx, s.reader, readPerson, "problem.unknown-person",
		`SELECT `+personColumns+` FROM people p WHERE p.site_id = $1 AND p.id = $2`, siteID, id)
}

// Attempt counts one attempt at a key (an account, a place it comes from), and
// is false once limit attempts fall in the window: that one is not counted, so
// that waiting helps. Ask before hashing, or a throttle costs what it saves.
func (s *Store) Attempt(ctx context.Context, siteID, key string, limit int, window time.Duration, at time.Time) (ok bool, err error) {
	defer problem.In(&err, "record.Attempt")
	err = s.write(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, `DELETE FROM attempts WHERE site_id = $1 AND until <= $2`,
			siteID, at.UnixMilli()); err != nil {
			return err
		}
		var count int
		if err := tx.QueryRowContext(ctx, `SELECT count(*) FROM attempts WHERE site_id = $1 AND key = $2`,
			siteID, key).Scan(&count); err != nil || count >= limit {
			return err
		}
		ok = true
		_, err := tx.ExecContext(ctx, `INSERT INTO attempts (site_id, key, until) VALUES ($1, $2, $3)`,
			siteID, key, at.Add(window).UnixMilli())
		return err
	})
	return ok && err == nil, err
}

// ClearAttempts forgets a key's attempts: whoever it was is who they say.
func (s *Store) ClearAttempts(ctx context.Context, siteID, key string) (err error) {
	defer problem.In(&err, "record.ClearAttempts")
	return s.change(ctx, `DELETE FROM attempts WHERE site_id = $1 AND key = $2`, siteID, key)
}

// Session is a person signed in at one browser.
type Session struct {
	ID                          string // the hash of the cookie's token
	SiteID, PersonID, FormToken string
	Created, Seen               time.Time
}

// How often being seen is written down, and how long a session that nobody
// ended is kept.
const (
	seenWrites   = time.Minute
	sessionsKept = 30 * 24 * time.Hour
)

// PutSession begins a session, and sweeps away those long unseen.
func (s *Store) PutSession(ctx context.Context, session Session) (err error) {
	defer problem.In(&err, "record.PutSession")
	return s.write(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, `DELETE FROM sessions WHERE seen < $1`,
			session.Seen.Add(-sessionsKept).UnixMilli()); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, `
			INSERT INTO sessions (id, site_id, person_id, form_token, created, seen) VALUES ($1, $2, $3, $4, $5, $6)`,
			session.ID, session.SiteID, session.PersonID, session.FormToken,
			session.Created.UnixMilli(), session.Seen.UnixMilli())
		return err
	})
}

// Session reads a session and whose it is. It is over when it was ended, not
// seen for idle, or begun absolute ago. Being seen is written at most once a
// minute; that it cannot be written keeps nobody out, the session only ends
// the sooner.
func (s *Store) Session(ctx context.Context, id string, now time.Time, idle, absolute time.Duration) (_ Session, _ Person, err error) {
	defer problem.In(&err, "record.Session")
	var person Person
	session, err := one(ctx, s.reader, func(scan scan) (v Session, err error) {
		err = scan(append(person.columns(), &v.ID, &v.SiteID, &v.PersonID, &v.FormToken, stamp{&v.Created}, stamp{&v.Seen})...)
		return v, err
	}, "problem.session-ended", `
		SELECT `+personColumns+`, s.id, s.site_id, s.person_id, s.form_token, s.created, s.seen
		FROM sessions s JOIN people p ON p.site_id = s.site_id AND p.id = s.person_id WHERE s.id = $1`, id)
	switch {
	case problem.Is(err, problem.Unknown):
		return Session{}, Person{}, problem.Wrap(err, problem.SignIn, "problem.session-ended")
	case err != nil:
		return Session{}, Person{}, err
	case now.Sub(session.Seen) >= idle, now.Sub(session.Created) >= absolute:
		return Session{}, Person{}, problem.New(problem.SignIn, "problem.session-ended")
	}
	if now.Sub(session.Seen) >= seenWrites {
		err := s.change(ctx, `UPDATE sessions SET seen = $1 WHERE id = $2 AND seen < $1`, now.UnixMilli(), id)
		switch {
		case err == nil:
			session.Seen = time.UnixMilli(now.UnixMilli()).UTC()
		case !problem.Is(err, problem.Unavailable):
			return Session{}, Person{}, err
		}
	}
	return session, person, nil
}

// DeleteSession ends a session; one that is not there is ended already.
func (s *Store) DeleteSession(ctx context.Context, id string) (err error) {
	defer problem.In(&err, "record.DeleteSession")
	return s.change(ctx, `DELETE FROM sessions WHERE id = $1`, id)
}
