package record

import (
	"context"
	"database/sql"
	"errors"
	"time"

	"lampwright/locales/problem"
)

// What a feed tells of: its person's own sign-offs, or all of the site.
const (
	FeedOwn  = "own"
	FeedSite = "site"
)

// Feed is an address at which a calendar program reads when sign-offs lapse.
type Feed struct {
	Person  Person
	Scope   string
	Created time.Time
}

// auditedFeed is what the audit trail says of one.
type auditedFeed struct{ Scope string }

// PutFeed gives a person a feed, known by the hash of its token; the one of
// the same scope before it is read no more.
func (s *Store) PutFeed(ctx context.Context, siteID, personID, scope, tokenHash string, at time.Time) (err error) {
	defer problem.In(&err, "record.PutFeed")
	return s.write(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, `
			INSERT INTO feeds (site_id, token_hash, person_id, scope, created) VALUES ($1, $2, $3, $4, $5)
			ON CONFLICT (site_id, person_id, scope) DO UPDATE SET token_hash = excluded.token_hash, created = excluded.created`,
			siteID, tokenHash, personID, scope, at.UnixMilli()); err != nil {
			return err
		}
		return audit(ctx, tx, siteID, "feed", personID, nil, auditedFeed{scope}, at)
	})
}

// StopFeed ends a person's feed; one that is not there has ended already.
func (s *Store) StopFeed(ctx context.Context, siteID, personID, scope string, at time.Time) (err error) {
	defer problem.In(&err, "record.StopFeed")
	return s.write(ctx, func(tx *sql.Tx) error {
		done, err := tx.ExecContext(ctx, `DELETE FROM feeds WHERE site_id = $1 AND person_id = $2 AND scope = $3`, siteID, personID, scope)
		if err != nil {
			return err
		}
		if n, err := done.RowsAffected(); err != nil || n == 0 {
			return err
		}
		return audit(ctx, tx, siteID, "feed", personID, auditedFeed{scope}, nil, at)
	})
}

const selectFeeds = `SELECT ` + personColumns + `, f.scope, f.created FROM feeds f
	JOIN people p ON p.site_id = f.site_id AND p.id = f.person_id`

func readFeed(scan scan) (f Feed, err error) {
	err = scan(append(f.Person.columns(), &f.Scope, stamp{&f.Created})...)
	return f, err
}

// Feed finds the feed of a token; of who is away from their own site there is
// none at another.
func (s *Store) Feed(ctx context.Context, tokenHash string) (_ Feed, err error) {
	defer problem.In(&err, "record.Feed")
	return one(ctx, s.reader, readFeed, "problem.not-found", selectFeeds+` WHERE f.token_hash = $1
		AND (p.home = '' OR EXISTS (SELECT 1 FROM people h WHERE h.site_id = p.home AND h.id = p.id AND h.active = 1 AND h.role <> 'learner'))`, tokenHash)
}

// FeedSince is when a person's feed was made; zero where they have none.
func (s *Store) FeedSince(ctx context.Context, siteID, personID, scope string) (since time.Time, err error) {
	defer problem.In(&err, "record.FeedSince")
	err = s.reader.QueryRowContext(ctx, `SELECT created FROM feeds WHERE site_id = $1 AND person_id = $2 AND scope = $3`,
		siteID, personID, scope).Scan(stamp{&since})
	if errors.Is(err, sql.ErrNoRows) {
		return time.Time{}, nil
	}
	return since, understood(err)
}

// SiteSignOffs reads every sign-off of a site, or of one person where personID
// is not "", oldest first.
func (s *Store) SiteSignOffs(ctx context.Context, siteID, personID string) (_ []SignOff, err error) {
	defer problem.In(&err, "record.SiteSignOffs")
	return all(ctx, s.reader, readSignOff, `
		SELECT `+signOffColumns+` FROM sign_offs o
		WHERE o.site_id = $1 AND ($2 = '' OR o.person_id = $2) ORDER BY o.signed, o.rowid`, siteID, personID)
}
