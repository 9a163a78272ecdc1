package record

import (
	"context"
	"errors"
	"time"

	"lampwright/locales/problem"
	"lampwright/server/ledger"
)

// Erase removes a person: who they were, what they read, did and were signed
// for, and what the audit trail and the log say of it. What stays is that
// something was signed, when, and that it was erased; proofs that left the
// house still verify. An educator's name stays under what they signed for
// others.
func (s *Store) Erase(ctx context.Context, siteID, personID string, at time.Time) (err error) {
	defer problem.In(&err, "record.Erase")
	return s.enter(func(tx transaction, _ int64) (list []entered, err error) {
		sites, err := others(ctx, tx, siteID, personID)
		for _, site := range append(sites, siteID) {
			var gone []entered
			if err == nil {
				gone, err = eraseAt(ctx, tx, site, personID, at)
			}
			list = append(list, gone...)
		}
		return list, err
	})
}

// others are the sites that let someone in who is at home at this one.
func others(ctx context.Context, q querier, siteID, personID string) ([]string, error) {
	return all(ctx, q, func(scan scan) (site string, err error) {
		err = scan(&site)
		return site, err
	}, `SELECT site_id FROM people WHERE id = $1 AND home = $2 AND erased IS NULL`, personID, siteID)
}

// eraseAt erases a person at one site.
func eraseAt(ctx context.Context, tx transaction, siteID, personID string, at time.Time) (none []entered, err error) {
	p, err := one(ctx, tx, readPerson, "problem.unknown-person",
		`SELECT `+personColumns+` FROM people p WHERE p.site_id = $1 AND p.id = $2`, siteID, personID)
	if err != nil {
		return none, err
	}
	if p.Erased {
		return none, problem.New(problem.Unknown, "problem.unknown-person")
	}
	// The mark comes first: it is what lets go of what is kept otherwise.
	if _, err := tx.ExecContext(ctx, `
			UPDATE people SET name = '', secret = '', card = NULL, username = NULL, external_id = NULL, email = '', team = '',
				starts = '', active = 0, code_key = '', setup_id = NULL, erased = $1, changed = $1
			WHERE site_id = $2 AND id = $3`, at.UnixMilli(), siteID, personID); err != nil {
		return none, err
	}
	if err := each(ctx, tx, []any{siteID, personID},
		`DELETE FROM sessions WHERE site_id = $1 AND person_id = $2`,
		`DELETE FROM invitations WHERE site_id = $1 AND person_id = $2`,
		`DELETE FROM feeds WHERE site_id = $1 AND person_id = $2`,
		`DELETE FROM outbox WHERE site_id = $1 AND person_id = $2`,
		`DELETE FROM imports WHERE site_id = $1 AND $2 <> ''`, // any list may hold their name
		`DELETE FROM places WHERE site_id = $1 AND person_id = $2`,
		`DELETE FROM lessons WHERE site_id = $1 AND person_id = $2`,
		`DELETE FROM steps WHERE site_id = $1 AND run_id IN (SELECT id FROM runs WHERE site_id = $1 AND person_id = $2)`,
		`DELETE FROM runs WHERE site_id = $1 AND person_id = $2`,
		`UPDATE findings SET by_name = '' WHERE site_id = $1 AND by_id = $2`,
		`UPDATE readings SET by_name = '' WHERE site_id = $1 AND by_id = $2`,
		`UPDATE audit SET old = NULL, new = NULL WHERE site_id = $1 AND subject = $2`,
	); err != nil {
		return none, err
	}
	gone, err := all(ctx, tx, readEntry, `
			SELECT n.idx, n.kind, n.at, n.leaf, n.hashes, n.salt, n.record FROM (
				SELECT '`+kindSignOff+`' || o.id AS kind, o.entry FROM sign_offs o WHERE o.site_id = $1 AND o.person_id = $2
				UNION ALL
				SELECT '`+kindEvent+`' || e.id, e.entry FROM sign_off_events e
					JOIN sign_offs o ON o.site_id = e.site_id AND o.id = e.sign_off_id
					WHERE o.site_id = $1 AND o.person_id = $2) r
			LEFT JOIN entries n ON n.idx = r.entry AND n.kind = r.kind -- an entry that is not there is an error
			ORDER BY n.idx`, siteID, personID)
	if err != nil || len(gone) == 0 {
		return none, errors.Join(err, audit(ctx, tx, siteID, "person", personID, nil, erasure{true}, at))
	}
	if len(gone) > ledger.MaxErased {
		return none, problem.New(problem.Invalid, "problem.too-much-signed", "Most", ledger.MaxErased)
	}
	record, err := ledger.ErasedRecord(gone...)
	if err != nil {
		return none, err
	}
	for _, e := range gone {
		if _, err := tx.ExecContext(ctx, `UPDATE entries SET salt = NULL, record = NULL WHERE idx = $1`, e.Index); err != nil {
			return none, err
		}
	}
	if err := each(ctx, tx, []any{siteID, personID},
		`DELETE FROM sign_off_events WHERE site_id = $1 AND sign_off_id IN (SELECT id FROM sign_offs WHERE site_id = $1 AND person_id = $2)`,
		`DELETE FROM sign_offs WHERE site_id = $1 AND person_id = $2`,
	); err != nil {
		return none, err
	}
	return []entered{{ledger.Erased, at, record}}, audit(ctx, tx, siteID, "person", personID, nil, erasure{true}, at)
}

type erasure struct{ Erased bool }

func each(ctx context.Context, tx transaction, values []any, queries ...string) error {
	for _, q := range queries {
		if _, err := tx.ExecContext(ctx, q, values...); err != nil {
			return err
		}
	}
	return nil
}
