package record

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
	"time"

	"lampwright/locales/problem"
)

// Site is one programme: its name, time zone, and whom to call.
type Site struct {
	ID, Name, Zone                             string
	RescueLine, ClinicalLine, TechnologistLine string
	TechnologistHours                          string
	ClinicalHours, ChairLine, ChairHours       string
	Programme                                  string // its file, as YAML
}

// PutSite adds a site or changes it.
func (s *Store) PutSite(ctx context.Context, site Site, at time.Time) (err error) {
	defer problem.In(&err, "record.PutSite")
	return s.write(ctx, func(tx *sql.Tx) error {
		var before any
		switch old, err := readSite(tx.QueryRowContext(ctx, selectSite, site.ID).Scan); {
		case err == nil:
			before = old
		case !errors.Is(err, sql.ErrNoRows):
			return err
		}
		if _, err := tx.ExecContext(ctx, `
		INSERT INTO sites (site_id, name, zone, rescue_line, clinical_line, technologist_line, technologist_hours,
			clinical_hours, chair_line, chair_hours, programme, changed)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)
		ON CONFLICT (site_id) DO UPDATE SET name = excluded.name, zone = excluded.zone,
			rescue_line = excluded.rescue_line, clinical_line = excluded.clinical_line,
			technologist_line = excluded.technologist_line, technologist_hours = excluded.technologist_hours,
			clinical_hours = excluded.clinical_hours, chair_line = excluded.chair_line,
			chair_hours = excluded.chair_hours, programme = excluded.programme, changed = excluded.changed`,
			site.ID, site.Name, site.Zone, site.RescueLine, site.ClinicalLine, site.TechnologistLine,
			site.TechnologistHours, site.ClinicalHours, site.ChairLine, site.ChairHours, site.Programme, at.UnixMilli()); err != nil {
			return err
		}
		return audit(ctx, tx, site.ID, "site", site.ID, before, site, at)
	})
}

// Site reads a site.
func (s *Store) Site(ctx context.Context, id string) (_ Site, err error) {
	defer problem.In(&err, "record.Site")
	return one(ctx, s.reader, readSite, "problem.unknown-site", selectSite, id)
}

func readSite(scan scan) (site Site, err error) {
	err = scan(&site.ID, &site.Name, &site.Zone, &site.RescueLine, &site.ClinicalLine, &site.TechnologistLine,
		&site.TechnologistHours, &site.ClinicalHours, &site.ChairLine, &site.ChairHours, &site.Programme)
	return site, err
}

const selectSite = `
	SELECT site_id, name, zone, rescue_line, clinical_line, technologist_line, technologist_hours,
		clinical_hours, chair_line, chair_hours, programme
	FROM sites WHERE site_id = $1`

// Sites reads every site, by name.
func (s *Store) Sites(ctx context.Context) (_ []Site, err error) {
	defer problem.In(&err, "record.Sites")
	return all(ctx, s.reader, readSite, strings.Replace(selectSite, "WHERE site_id = $1", "ORDER BY name, site_id", 1))
}

// Setup is a set-up as it is kept: its YAML in one version.
type Setup struct {
	ID, SiteID, Tag string
	Version         string // the hash of the YAML; worked out where it is empty
	YAML            []byte
}

// PutSetup adds a set-up or changes it. Other YAML is a new version, and the
// old ones stay; the same YAML again changes at most the tag.
func (s *Store) PutSetup(ctx context.Context, setup Setup, at time.Time) (err error) {
	defer problem.In(&err, "record.PutSetup")
	defer s.setups.Delete(setup.ID) // read anew, whatever came of it
	if setup.Version == "" {
		hash := sha256.Sum256(setup.YAML)
		setup.Version = hex.EncodeToString(hash[:])
	}
	return s.write(ctx, func(tx *sql.Tx) error {
		var kept []byte
		err := tx.QueryRowContext(ctx, `
			SELECT yaml FROM setup_versions WHERE site_id = $1 AND setup_id = $2 AND version = $3`,
			setup.SiteID, setup.ID, setup.Version).Scan(&kept)
		switch {
		case errors.Is(err, sql.ErrNoRows):
			_, err = tx.ExecContext(ctx, `
				INSERT INTO setup_versions (site_id, setup_id, version, yaml, since) VALUES ($1, $2, $3, $4, $5)`,
				setup.SiteID, setup.ID, setup.Version, append([]byte{}, setup.YAML...), at.UnixMilli())
		case err == nil && !bytes.Equal(kept, setup.YAML):
			err = fmt.Errorf("set-up %s version %s: other YAML is kept under this version", setup.ID, setup.Version)
		}
		if err != nil {
			return err
		}
		var before any
		var old auditedSetup
		switch err := tx.QueryRowContext(ctx, `SELECT tag, version FROM setups WHERE site_id = $1 AND id = $2`,
			setup.SiteID, setup.ID).Scan(&old.Tag, &old.Version); {
		case err == nil:
			before = old
		case !errors.Is(err, sql.ErrNoRows):
			return err
		}
		var elsewhere bool
		if err := tx.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM setups WHERE id = $1 AND site_id <> $2)`,
			setup.ID, setup.SiteID).Scan(&elsewhere); err != nil {
			return err
		}
		if elsewhere {
			return problem.Wrap(fmt.Errorf("set-up %s: another site has one of this id", setup.ID), problem.Invalid, "problem.form")
		}
		if _, err := tx.ExecContext(ctx, `
			INSERT INTO setups (site_id, id, tag, version, changed) VALUES ($1, $2, $3, $4, $5)
			ON CONFLICT (site_id, id) DO UPDATE SET tag = excluded.tag, version = excluded.version,
				changed = excluded.changed`,
			setup.SiteID, setup.ID, setup.Tag, setup.Version, at.UnixMilli()); err != nil {
			return err
		}
		return audit(ctx, tx, setup.SiteID, "set-up", setup.ID, before, auditedSetup{setup.Tag, setup.Version}, at)
	})
}

// auditedSetup is what the audit trail says of a set-up; its versions are kept.
type auditedSetup struct{ Tag, Version string }

func readSetup(scan scan) (setup Setup, err error) {
	err = scan(&setup.ID, &setup.SiteID, &setup.Tag, &setup.Version, &setup.YAML)
	return setup, err
}

const selectSetup = `
	SELECT s.id, s.site_id, s.tag, v.version, v.yaml FROM setups s
	JOIN setup_versions v ON v.site_id = s.site_id AND v.setup_id = s.id`

// Setup reads a set-up of a site as it is now.
func (s *Store) Setup(ctx context.Context, siteID, id string) (_ Setup, err error) {
	defer problem.In(&err, "record.Setup")
	setup, err := s.FindSetup(ctx, id)
	if err == nil && setup.SiteID != siteID {
		return Setup{}, problem.New(problem.Unknown, "problem.unknown-setup")
	}
	return setup, err
}

// FindSetup reads a set-up as it is now, whatever its site. It is asked for on
// every page, and only PutSetup changes it.
func (s *Store) FindSetup(ctx context.Context, id string) (_ Setup, err error) {
	defer problem.In(&err, "record.FindSetup")
	if kept, ok := s.setups.Load(id); ok {
		return kept.(Setup), nil
	}
	setup, err := one(ctx, s.reader, readSetup, "problem.unknown-setup",
		selectSetup+` WHERE s.id = $1 AND v.version = s.version`, id)
	if err == nil {
		s.setups.Store(id, setup)
	}
	return setup, err
}

// SetupVersion reads a set-up as it was in a version, under the tag it has
// now: a run goes on, and reads later, as it began.
func (s *Store) SetupVersion(ctx context.Context, siteID, id, version string) (_ Setup, err error) {
	defer problem.In(&err, "record.SetupVersion")
	return one(ctx, s.reader, readSetup, "problem.unknown-setup",
		selectSetup+` WHERE s.site_id = $1 AND s.id = $2 AND v.version = $3`, siteID, id, version)
}

// SetKiosk says which set-up a kiosk stands beside.
func (s *Store) SetKiosk(ctx context.Context, siteID, tokenHash, setupID string, at time.Time) (err error) {
	defer problem.In(&err, "record.SetKiosk")
	defer s.kiosks.Delete(tokenHash) // read anew, whatever came of it
	return s.write(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, `
			INSERT INTO kiosks (site_id, token_hash, setup_id, changed) VALUES ($1, $2, $3, $4)
			ON CONFLICT (site_id, token_hash) DO UPDATE SET setup_id = excluded.setup_id, changed = excluded.changed`,
			siteID, tokenHash, setupID, at.UnixMilli()); err != nil {
			return err
		}
		return audit(ctx, tx, siteID, "kiosk", tokenHash, nil, struct{ Setup string }{setupID}, at)
	})
}

// KioskSetup is the set-up a kiosk stands beside; not ok if it was never said.
// What was found once is found again while the records cannot be read.
func (s *Store) KioskSetup(ctx context.Context, tokenHash string) (setup Setup, ok bool, err error) {
	defer problem.In(&err, "record.KioskSetup")
	id, known := s.kiosks.Load(tokenHash)
	if !known {
		var of string
		err = s.reader.QueryRowContext(ctx, `SELECT setup_id FROM kiosks WHERE token_hash = $1`, tokenHash).Scan(&of)
		if errors.Is(err, sql.ErrNoRows) {
			return setup, false, nil
		}
		if err != nil {
			return setup, false, understood(err)
		}
		id = of
		s.kiosks.Store(tokenHash, id)
	}
	setup, err = s.FindSetup(ctx, id.(string))
	return setup, err == nil, err
}
