package record

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"time"

	"lampwright/locales/problem"
)

// Role is what a person may do here.
type Role string

// The roles.
const (
	Learner       Role = "learner"
	Educator      Role = "educator"
	Technologist  Role = "technologist"
	Administrator Role = "administrator"
)

// Roles are all there are.
var Roles = []Role{Learner, Educator, Technologist, Administrator}

// Person is someone who learns, teaches or keeps things in order; never the
// person on the ventilator.
type Person struct {
	ID, SiteID, Name string
	Role             Role
	Card             string // a learner's card code, one of its kind; "" for none
	Username         string // of staff, one of its kind; "" for none
	Secret           string // the hash of a PIN or password, in PHC form; "" until there is one
	Language         string
	SetupID          string // "" for none
	ExternalID       string // what the agency's own list calls them; "" for none
	Email, Team      string
	Starts           string // a local day, as 2026-11-27; "" for at once
	Away             bool   // nobody signs in as them
	CodeKey          string // of one-time codes; "" for none
	CodeUsed         int64  // the step of the last code taken
	Erased           bool
	Home             string // the site at which they sign in; "" where this is it
}

const personColumns = `p.id, p.site_id, p.name, p.role, p.card, p.username, p.secret, p.language, p.setup_id,
	p.external_id, p.email, p.team, p.starts, p.active = 0, p.code_key, p.code_used, p.erased IS NOT NULL, p.home`

func (p *Person) columns() []any {
	return []any{
		&p.ID, &p.SiteID, &p.Name, &p.Role, maybe(&p.Card), maybe(&p.Username), &p.Secret, &p.Language, maybe(&p.SetupID),
		maybe(&p.ExternalID), &p.Email, &p.Team, &p.Starts, &p.Away, &p.CodeKey, &p.CodeUsed, &p.Erased, &p.Home,
	}
}

func readPerson(scan scan) (p Person, err error) {
	err = scan(p.columns()...)
	return p, err
}

// audited is what the audit trail says of a person: no secret, only whether
// there is one.
func (p Person) audited() any {
	return struct {
		Name, Card, Username, Language, Setup, External, Email, Team, Starts, Home string `json:",omitempty"`
		Role                                                                       Role
		Away, Secret, Code                                                         bool `json:",omitempty"`
	}{
		p.Name, p.Card, p.Username, p.Language, p.SetupID, p.ExternalID, p.Email, p.Team, p.Starts, p.Home,
		p.Role, p.Away, p.Secret != "", p.CodeKey != "",
	}
}

// PutPerson adds a person, or changes all there is of one already known by id.
// An empty id is given one.
func (s *Store) PutPerson(ctx context.Context, p Person, at time.Time) (err error) {
	defer problem.In(&err, "record.PutPerson")
	if p.ID == "" {
		p.ID = NewID()
	}
	return s.write(ctx, func(tx *sql.Tx) error { return putPerson(ctx, tx, p, at) })
}

func putPerson(ctx context.Context, tx *sql.Tx, p Person, at time.Time) error {
	var before any
	old, err := readPerson(tx.QueryRowContext(ctx, `SELECT `+personColumns+` FROM people p WHERE p.site_id = $1 AND p.id = $2`, p.SiteID, p.ID).Scan)
	switch {
	case err == nil:
		before = old.audited()
	case !errors.Is(err, sql.ErrNoRows):
		return err
	}
	if _, err := tx.ExecContext(ctx, `
		INSERT INTO people (site_id, id, name, role, card, username, secret, language, setup_id,
			external_id, email, team, starts, active, code_key, code_used, home, changed)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18)
		ON CONFLICT (site_id, id) DO UPDATE SET name = excluded.name, role = excluded.role, card = excluded.card,
			username = excluded.username, secret = excluded.secret, language = excluded.language,
			setup_id = excluded.setup_id, external_id = excluded.external_id, email = excluded.email,
			team = excluded.team, starts = excluded.starts, active = excluded.active, code_key = excluded.code_key,
			code_used = excluded.code_used, changed = excluded.changed`,
		p.SiteID, p.ID, p.Name, p.Role, orNull(p.Card), orNull(p.Username), p.Secret, p.Language, orNull(p.SetupID),
		orNull(p.ExternalID), p.Email, p.Team, p.Starts, !p.Away, p.CodeKey, p.CodeUsed, p.Home, at.UnixMilli()); err != nil {
		return err
	}
	if err := audit(ctx, tx, p.SiteID, "person", p.ID, before, p.audited(), at); err != nil || p.Home != "" {
		return err
	}
	return nameElsewhere(ctx, tx, p, at)
}

// nameElsewhere has someone go by one name at every site that let them in.
func nameElsewhere(ctx context.Context, tx *sql.Tx, p Person, at time.Time) error {
	others, err := all(ctx, tx, readPerson, `
		SELECT `+personColumns+` FROM people p WHERE p.id = $1 AND p.home = $2 AND p.name <> $3 AND p.erased IS NULL`, p.ID, p.SiteID, p.Name)
	for _, other := range others {
		if err == nil {
			other.Name = p.Name
			err = putPerson(ctx, tx, other, at)
		}
	}
	return err
}

// PersonByCard finds a person by card code, letter for letter.
func (s *Store) PersonByCard(ctx context.Context, card string) (_ Person, err error) {
	defer problem.In(&err, "record.PersonByCard")
	return one(ctx, s.reader, readPerson, "problem.unknown-card",
		`SELECT `+personColumns+` FROM people p WHERE p.card = $1`, card)
}

// PersonByUsername finds a person by user name, letter for letter.
func (s *Store) PersonByUsername(ctx context.Context, username string) (_ Person, err error) {
	defer problem.In(&err, "record.PersonByUsername")
	return one(ctx, s.reader, readPerson, "problem.unknown-person",
		`SELECT `+personColumns+` FROM people p WHERE p.username = $1`, username)
}

// Person reads a person.
func (s *Store) Person(ctx context.Context, siteID, id string) (_ Person, err error) {
	defer problem.In(&err, "record.Person")
	return one(ctx, s.reader, readPerson, "problem.unknown-person",
		`SELECT `+personColumns+` FROM people p WHERE p.site_id = $1 AND p.id = $2`, siteID, id)
}

// People reads everyone of a site who was not erased, by name.
func (s *Store) People(ctx context.Context, siteID string) (_ []Person, err error) {
	defer problem.In(&err, "record.People")
	return all(ctx, s.reader, readPerson,
		`SELECT `+personColumns+` FROM people p WHERE p.site_id = $1 AND p.erased IS NULL ORDER BY p.name, p.id`, siteID)
}

// Usernames are all that are taken, at whatever site.
func (s *Store) Usernames(ctx context.Context) (_ map[string]bool, err error) {
	defer problem.In(&err, "record.Usernames")
	list, err := all(ctx, s.reader, func(scan scan) (name string, err error) {
		err = scan(&name)
		return name, err
	}, `SELECT username FROM people WHERE username IS NOT NULL`)
	taken := map[string]bool{}
	for _, name := range list {
		taken[name] = true
	}
	return taken, err
}

// UseCode takes a one-time code's step, and is false if it or a later one was
// taken before.
func (s *Store) UseCode(ctx context.Context, siteID, id string, step int64) (ok bool, err error) {
	defer problem.In(&err, "record.UseCode")
	err = s.write(ctx, func(tx *sql.Tx) error {
		r, err := tx.ExecContext(ctx, `
			UPDATE people SET code_used = $1 WHERE site_id = $2 AND id = $3 AND code_used < $1`, step, siteID, id)
		if err != nil {
			return err
		}
		n, err := r.RowsAffected()
		ok = n == 1
		return err
	})
	return ok && err == nil, err
}

// Invite gives a person a way in, once, until a time; an earlier one is void.
func (s *Store) Invite(ctx context.Context, siteID, personID, tokenHash string, until, at time.Time) (err error) {
	defer problem.In(&err, "record.Invite")
	return s.write(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, `
			INSERT INTO invitations (site_id, person_id, token_hash, until) VALUES ($1, $2, $3, $4)
			ON CONFLICT (site_id, person_id) DO UPDATE SET token_hash = excluded.token_hash, until = excluded.until`,
			siteID, personID, tokenHash, until.UnixMilli()); err != nil {
			return err
		}
		return audit(ctx, tx, siteID, "invitation", personID, nil, struct{ Until time.Time }{until}, at)
	})
}

// Invitation is a way in for a person, until a time.
type Invitation struct {
	PersonID, TokenHash string
	Until               time.Time
}

// InviteAll gives people who have no secret yet a way in, once, and tells who
// was given one: not those whose earlier invitation stands longer than past,
// which is left as it is.
func (s *Store) InviteAll(ctx context.Context, siteID string, list []Invitation, past, at time.Time) (given map[string]bool, err error) {
	defer problem.In(&err, "record.InviteAll")
	given = map[string]bool{}
	err = s.write(ctx, func(tx *sql.Tx) error {
		for _, i := range list {
			r, err := tx.ExecContext(ctx, `
				INSERT INTO invitations (site_id, person_id, token_hash, until)
				SELECT site_id, id, $1, $2 FROM people
				WHERE site_id = $3 AND id = $4 AND secret = '' AND active = 1 AND erased IS NULL AND home = ''
				ON CONFLICT (site_id, person_id) DO UPDATE SET token_hash = excluded.token_hash, until = excluded.until
				WHERE invitations.until <= $5`,
				i.TokenHash, i.Until.UnixMilli(), siteID, i.PersonID, past.UnixMilli())
			if err != nil {
				return err
			}
			n, err := r.RowsAffected()
			if err != nil {
				return err
			}
			if n == 0 {
				continue
			}
			given[i.PersonID] = true
			if err := audit(ctx, tx, siteID, "invitation", i.PersonID, nil, struct{ Until time.Time }{i.Until}, at); err != nil {
				return err
			}
		}
		return nil
	})
	return given, err
}

// Invitations are the times until which those of a site that still count do,
// by person.
func (s *Store) Invitations(ctx context.Context, siteID string, now time.Time) (_ map[string]time.Time, err error) {
	defer problem.In(&err, "record.Invitations")
	list, err := all(ctx, s.reader, func(scan scan) (i Invitation, err error) {
		err = scan(&i.PersonID, stamp{&i.Until})
		return i, err
	}, `SELECT person_id, until FROM invitations WHERE site_id = $1 AND until > $2`, siteID, now.UnixMilli())
	out := map[string]time.Time{}
	for _, i := range list {
		out[i.PersonID] = i.Until
	}
	return out, err
}

// Invited finds whom an invitation is for.
func (s *Store) Invited(ctx context.Context, tokenHash string, now time.Time) (_ Person, err error) {
	defer problem.In(&err, "record.Invited")
	return one(ctx, s.reader, readPerson, "problem.invitation", `
		SELECT `+personColumns+` FROM people p JOIN invitations i ON i.site_id = p.site_id AND i.person_id = p.id
		WHERE i.token_hash = $1 AND i.until > $2 AND p.active = 1`, tokenHash, now.UnixMilli())
}

// TakeUp uses an invitation up: from now on the person has this secret and
// this key of one-time codes, and no session that was begun before.
func (s *Store) TakeUp(ctx context.Context, tokenHash, secret, codeKey string, step int64, now time.Time) (p Person, err error) {
	defer problem.In(&err, "record.TakeUp")
	err = s.write(ctx, func(tx *sql.Tx) error {
		var siteID, id string
		if err := tx.QueryRowContext(ctx, `
			DELETE FROM invitations WHERE token_hash = $1 AND until > $2 RETURNING site_id, person_id`,
			tokenHash, now.UnixMilli()).Scan(&siteID, &id); errors.Is(err, sql.ErrNoRows) {
			return problem.New(problem.Unknown, "problem.invitation")
		} else if err != nil {
			return err
		}
		if p, err = readPerson(tx.QueryRowContext(ctx, `SELECT `+personColumns+` FROM people p WHERE p.site_id = $1 AND p.id = $2`, siteID, id).Scan); err != nil {
			return err
		}
		if p.Away {
			return problem.New(problem.Unknown, "problem.invitation")
		}
		p.Secret, p.CodeKey, p.CodeUsed = secret, codeKey, step
		if err := putPerson(ctx, tx, p, now); err != nil {
			return err
		}
		if err := audit(ctx, tx, siteID, "invitation", id, nil, struct{ Taken, Code bool }{true, codeKey != ""}, now); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, `DELETE FROM sessions WHERE person_id = $1`, id)
		return err
	})
	return p, err
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

// ClearAttempts forgets the attempts at some keys: whoever it was is who they
// say, or was helped.
func (s *Store) ClearAttempts(ctx context.Context, siteID string, keys ...string) (err error) {
	defer problem.In(&err, "record.ClearAttempts")
	list, err := json.Marshal(keys)
	if err != nil {
		return err
	}
	return s.change(ctx, `DELETE FROM attempts WHERE site_id = $1 AND key IN (SELECT value FROM json_each($2))`, siteID, string(list))
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
	var person, home Person
	session, err := one(ctx, s.reader, func(scan scan) (v Session, err error) {
		err = scan(append(person.columns(), &v.ID, &v.SiteID, &v.PersonID, &v.FormToken, stamp{&v.Created}, stamp{&v.Seen},
			maybe(&home.Name), maybe(&home.Username), maybe(&home.Secret), maybe(&home.CodeKey), &home.Away)...)
		return v, err
	}, "problem.session-ended", `
		SELECT `+personColumns+`, s.id, s.site_id, s.person_id, s.form_token, s.created, s.seen,
			h.name, h.username, h.secret, h.code_key,
			p.active = 0 OR (p.home <> '' AND (coalesce(h.active, 0) = 0 OR h.role = 'learner'))
		FROM sessions s JOIN people p ON p.site_id = s.site_id AND p.id = s.person_id
		LEFT JOIN people h ON h.site_id = p.home AND h.id = p.id WHERE s.id = $1`, id)
	switch {
	case problem.Is(err, problem.Unknown):
		return Session{}, Person{}, problem.Wrap(err, problem.SignIn, "problem.session-ended")
	case err != nil:
		return Session{}, Person{}, err
	case home.Away, now.Sub(session.Seen) >= idle, now.Sub(session.Created) >= absolute:
		return Session{}, Person{}, problem.New(problem.SignIn, "problem.session-ended")
	}
	if person.Home != "" { // they sign, and are known, as at home
		person.Name, person.Username, person.Secret, person.CodeKey = home.Name, home.Username, home.Secret, home.CodeKey
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

// DeleteSessions ends every session of a person, at whatever site; where siteID
// is not "", only those at that one.
func (s *Store) DeleteSessions(ctx context.Context, siteID, personID string) (err error) {
	defer problem.In(&err, "record.DeleteSessions")
	return s.change(ctx, `DELETE FROM sessions WHERE ($1 = '' OR site_id = $1) AND person_id = $2`, siteID, personID)
}

// MoveSession takes a session to another site at which its person works, and
// gives it a new form token: what was filled in at the site before is not sent
// at this one.
func (s *Store) MoveSession(ctx context.Context, id, siteID, formToken string) (err error) {
	defer problem.In(&err, "record.MoveSession")
	return s.write(ctx, func(tx *sql.Tx) error {
		done, err := tx.ExecContext(ctx, `
			UPDATE sessions SET site_id = $1, form_token = $2 WHERE id = $3 AND EXISTS (
				SELECT 1 FROM people p WHERE p.site_id = $1 AND p.id = sessions.person_id AND p.active = 1 AND p.erased IS NULL)`,
			siteID, formToken, id)
		if err != nil {
			return err
		}
		if n, err := done.RowsAffected(); err != nil || n == 1 {
			return err
		}
		return problem.New(problem.Unknown, "problem.unknown-site")
	})
}

// Post is a role that someone has at a site.
type Post struct {
	SiteID, Site string
	Role         Role
}

// Posts are where someone works, their own site first.
func (s *Store) Posts(ctx context.Context, personID string) (_ []Post, err error) {
	defer problem.In(&err, "record.Posts")
	return all(ctx, s.reader, func(scan scan) (p Post, err error) {
		err = scan(&p.SiteID, &p.Site, &p.Role)
		return p, err
	}, `
		SELECT p.site_id, t.name, p.role FROM people p JOIN sites t ON t.site_id = p.site_id
		WHERE p.id = $1 AND p.active = 1 AND p.erased IS NULL ORDER BY p.home <> '', t.name, p.site_id`, personID)
}

// LetIn lets someone of another site's staff work at this one too, in a role
// of its own here.
func (s *Store) LetIn(ctx context.Context, siteID, username string, role Role, at time.Time) (p Person, err error) {
	defer problem.In(&err, "record.LetIn")
	err = s.write(ctx, func(tx *sql.Tx) error {
		home, err := one(ctx, tx, readPerson, "problem.unknown-person",
			`SELECT `+personColumns+` FROM people p WHERE p.username = $1 AND p.active = 1`, username)
		if err == nil && home.SiteID == siteID {
			err = problem.New(problem.Unknown, "problem.unknown-person")
		}
		if err != nil {
			return err
		}
		p = Person{SiteID: siteID, ID: home.ID, Name: home.Name, Role: role, Language: home.Language, Home: home.SiteID}
		if err := putPerson(ctx, tx, p, at); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `UPDATE people SET erased = NULL WHERE site_id = $1 AND id = $2`, siteID, p.ID) // who was sent away for good may come back
		return err
	})
	return p, err
}
