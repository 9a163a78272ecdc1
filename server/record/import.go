package record

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"time"

	"lampwright/locales/problem"
)

// ImportsKept is how long a list that was shown can be done.
const ImportsKept = time.Hour

// Import is a list of people that was read and shown, until it is done.
type Import struct {
	ID, SiteID, ByID string
	Made, Done       time.Time // Done is zero until then
	Data             []byte    // what was shown, as whoever made it writes it; none once done
}

// PutImport keeps a list, in place of any that the same person made and did
// not do, and lets go of those nobody came back to.
func (s *Store) PutImport(ctx context.Context, i Import) (err error) {
	defer problem.In(&err, "record.PutImport")
	return s.write(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, `
			DELETE FROM imports WHERE site_id = $1 AND (by_id = $2 AND done IS NULL OR made <= $3)`,
			i.SiteID, i.ByID, i.Made.Add(-ImportsKept).UnixMilli()); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, `INSERT INTO imports (site_id, id, by_id, made, data) VALUES ($1, $2, $3, $4, $5)`,
			i.SiteID, i.ID, i.ByID, i.Made.UnixMilli(), string(i.Data))
		return err
	})
}

const selectImport = `
	SELECT id, site_id, by_id, made, done, data FROM imports
	WHERE site_id = $1 AND id = $2 AND by_id = $3 AND made > $4`

func readImport(scan scan) (i Import, err error) {
	err = scan(&i.ID, &i.SiteID, &i.ByID, stamp{&i.Made}, stamp{&i.Done}, &i.Data)
	return i, err
}

// Import reads a list that someone made.
func (s *Store) Import(ctx context.Context, siteID, id, byID string, now time.Time) (_ Import, err error) {
	defer problem.In(&err, "record.Import")
	return one(ctx, s.reader, readImport, "problem.import-gone", selectImport, siteID, id, byID, now.Add(-ImportsKept).UnixMilli())
}

// Put is a person as they are to be, and the mark of who they were.
type Put struct {
	Person
	Was string // "" for someone new
}

// Mark changes when anything of a person does that a list could change.
func (p Person) Mark() string {
	p.Secret, p.CodeKey = "", ""
	text, _ := json.Marshal(p.audited())
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}

// DoImport puts people as a list has them, all or none, and marks the list as
// done; one that is done is not done again. Whoever changed since it was shown
// has it refused as moved. Secrets stay, unless the role is another: then they
// were of another kind. Who is away or has another role is signed out.
func (s *Store) DoImport(ctx context.Context, siteID, id, byID string, people []Put, at time.Time) (err error) {
	defer problem.In(&err, "record.DoImport")
	return s.write(ctx, func(tx *sql.Tx) error {
		i, err := one(ctx, tx, readImport, "problem.import-gone", selectImport, siteID, id, byID, at.Add(-ImportsKept).UnixMilli())
		if err != nil || !i.Done.IsZero() {
			return err
		}
		for _, p := range people {
			if err := put(ctx, tx, p, at); err != nil {
				return err
			}
		}
		_, err = tx.ExecContext(ctx, `UPDATE imports SET done = $1, data = '' WHERE site_id = $2 AND id = $3`, at.UnixMilli(), siteID, id)
		return err
	})
}

func put(ctx context.Context, tx *sql.Tx, p Put, at time.Time) error {
	if p.Was == "" {
		var known bool
		err := tx.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM people WHERE site_id = $1 AND external_id = $2)`, p.SiteID, p.ExternalID).Scan(&known)
		if err == nil && known {
			return problem.New(problem.Moved, "problem.import-moved")
		}
		if err != nil {
			return err
		}
		return putPerson(ctx, tx, p.Person, at)
	}
	old, err := readPerson(tx.QueryRowContext(ctx, `SELECT `+personColumns+` FROM people p WHERE p.site_id = $1 AND p.id = $2`, p.SiteID, p.ID).Scan)
	switch {
	case errors.Is(err, sql.ErrNoRows), err == nil && old.Mark() != p.Was:
		return problem.New(problem.Moved, "problem.import-moved")
	case err != nil:
		return err
	}
	now := p.Person
	now.Secret, now.CodeKey, now.CodeUsed = old.Secret, old.CodeKey, old.CodeUsed
	if now.Role != old.Role {
		now.Secret, now.CodeKey = "", ""
	}
	if err := putPerson(ctx, tx, now, at); err != nil {
		return err
	}
	if !now.Away && now.Role == old.Role {
		return nil
	}
	_, err = tx.ExecContext(ctx, `DELETE FROM sessions WHERE person_id = $1`, now.ID)
	return err
}
