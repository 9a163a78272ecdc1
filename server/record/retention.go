package record

import (
	"context"
	"database/sql"
	"time"

	"lampwright/locales/problem"
)

// AuditKept is how long the audit trail is kept: as long as a claim may be made
// over what was signed then, with a year in hand (common practice, no source).
const AuditKept = 7 * 365 * 24 * time.Hour

// Sweep deletes what its time has come for: runs begun before a moment, with
// their steps, but for those passed for the record, on which sign-offs rest;
// the audit trail past its time; lists of people that nobody came back to; and
// attempts and invitations that count no more. It is how many runs it deleted.
func (s *Store) Sweep(ctx context.Context, siteID string, runsBefore, now time.Time) (runs int64, err error) {
	defer problem.In(&err, "record.Sweep")
	if err := s.persist(ctx, now); err != nil { // a step goes by the mark
		return 0, err
	}
	err = s.write(ctx, func(tx *sql.Tx) error {
		const past = `site_id = $1 AND started < $2 AND (mode = 'practice' OR passed = 0)`
		if err := each(ctx, tx, []any{siteID, runsBefore.UnixMilli()},
			`DELETE FROM steps WHERE site_id = $1 AND run_id IN (SELECT id FROM runs WHERE `+past+`)`); err != nil {
			return err
		}
		gone, err := tx.ExecContext(ctx, `DELETE FROM runs WHERE `+past, siteID, runsBefore.UnixMilli())
		if err != nil {
			return err
		}
		if runs, err = gone.RowsAffected(); err != nil {
			return err
		}
		if err := each(ctx, tx, []any{siteID, now.Add(-AuditKept).UnixMilli()}, `DELETE FROM audit WHERE site_id = $1 AND at < $2`); err != nil {
			return err
		}
		if err := each(ctx, tx, []any{siteID, now.Add(-ImportsKept).UnixMilli()}, `DELETE FROM imports WHERE site_id = $1 AND made <= $2`); err != nil {
			return err
		}
		return each(ctx, tx, []any{siteID, now.UnixMilli()},
			`DELETE FROM attempts WHERE site_id = $1 AND until <= $2`,
			`DELETE FROM invitations WHERE site_id = $1 AND until <= $2`)
	})
	return runs, err
}
