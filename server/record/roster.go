package record

import (
	"context"
	"encoding/json"
	"errors"
	"strconv"
	"strings"
	"time"

	"lampwright/locales/problem"
)

// RosterRow is a learner at a set-up, with the newest sign-off there for one
// competency: what it takes to judge it, and no more, as there are many.
type RosterRow struct {
	PersonID, Name, Team string
	SetupID              string // "" for none
	SignOffID            string // "" where there is none
	SetupVersion         string // that was signed for
	Signed, Lapses       time.Time
}

// Roster reads every learner who is not away, by name: at the set-up they are
// tied to, and at each other one that they were signed off for.
func (s *Store) Roster(ctx context.Context, siteID, competency string) (_ []RosterRow, err error) {
	defer problem.In(&err, "record.Roster")
	newest, err := s.newest(ctx, siteID, competency)
	if err != nil {
		return nil, err
	}
	first := make(map[string]int, len(newest)) // of a person's
	for i := range newest {
		if i == 0 || newest[i].PersonID != newest[i-1].PersonID {
			first[newest[i].PersonID] = i
		}
	}
	rows := make([]RosterRow, 0, len(newest)+len(newest)/4) // with some who are not signed off
	var p RosterRow
	into := []any{&p.PersonID, &p.Name, &p.Team, &p.SetupID}
	err = through(ctx, s.reader, func(scan scan) error {
		err := scan(into...)
		tied := false
		i, signed := first[p.PersonID]
		for ; signed && i < len(newest) && newest[i].PersonID == p.PersonID; i++ {
			row := newest[i]
			row.Name, row.Team = p.Name, p.Team
			tied = tied || row.SetupID == p.SetupID
			rows = append(rows, row)
		}
		if !tied {
			rows = append(rows, p)
		}
		return err
	}, `
		SELECT id, name, team, coalesce(setup_id, '') FROM people
		WHERE site_id = $1 AND role = 'learner' AND active = 1 AND erased IS NULL ORDER BY name, id`, siteID)
	return rows, err
}

// INDEXED BY and CROSS, here and below, say how to go about it, and the plus
// that an index is not for this: by what SQLite counted while there were few,
// it would go through many for each of many.
const (
	selectNewest = `
		SELECT group_concat(concat_ws(char(31), person_id, setup_id, id, setup_version, signed, lapses, rowid), char(30)) FROM (
			SELECT o.person_id, o.setup_id, o.id, o.setup_version, o.signed, o.lapses, o.rowid
			FROM sign_offs o INDEXED BY sign_offs_newest
			WHERE o.site_id = $1 AND +o.competency = $2 ORDER BY o.person_id, o.competency, o.setup_id)`
	selectFeatures = `
		SELECT o.id, o.features FROM json_each($1) j CROSS JOIN sign_offs o INDEXED BY sqlite_autoindex_sign_offs_1 ON o.site_id = $2 AND o.id = j.value`
	selectSignedNames = `
		SELECT o.id, o.signed_name FROM json_each($1) j CROSS JOIN sign_offs o INDEXED BY sqlite_autoindex_sign_offs_1 ON o.site_id = $2 AND o.id = j.value`
)

// newest are the newest sign-offs for a competency, of each person at each
// set-up, a person's together.
func (s *Store) newest(ctx context.Context, siteID, competency string) ([]RosterRow, error) {
	rows, err := s.packed(ctx, selectNewest, siteID, competency)
	if err != nil {
		return nil, err
	}
	out := make([]RosterRow, 0, len(rows))
	var last int64
	for _, r := range rows {
		row := RosterRow{PersonID: r.next(), SetupID: r.next(), SignOffID: r.next(), SetupVersion: r.next()}
		signed, err := strconv.ParseInt(r.next(), 10, 64)
		lapses, failed := strconv.ParseInt(r.next(), 10, 64)
		rowid, failedToo := strconv.ParseInt(r.next(), 10, 64)
		if err := errors.Join(err, failed, failedToo); err != nil {
			return nil, err
		}
		row.Signed, row.Lapses = time.UnixMilli(signed).UTC(), time.UnixMilli(lapses).UTC()
		n := len(out) - 1
		switch {
		case n < 0 || out[n].PersonID != row.PersonID || out[n].SetupID != row.SetupID:
			out, last = append(out, row), rowid
		case row.Signed.After(out[n].Signed) || row.Signed.Equal(out[n].Signed) && rowid > last:
			out[n], last = row, rowid
		}
	}
	return out, nil
}

// fields are those of a row that are left to read.
type fields string

func (f *fields) next() (value string) {
	value, left, _ := strings.Cut(string(*f), "\x1f")
	*f = fields(left)
	return value
}

// packed reads what a query packs into one text, rows parted by the character
// 30 and their fields by 31: of thousands, handing over each value takes longer
// than finding it. Ids, versions and times hold no such characters.
func (s *Store) packed(ctx context.Context, query string, values ...any) ([]fields, error) {
	var text string
	if err := s.reader.QueryRowContext(ctx, query, values...).Scan(maybe(&text)); err != nil || text == "" {
		return nil, understood(err)
	}
	rows := make([]fields, 0, strings.Count(text, "\x1e")+1)
	for row := range strings.SplitSeq(text, "\x1e") {
		rows = append(rows, fields(row))
	}
	return rows, nil
}

// Features are those of the set-ups that were signed for, as JSON, by sign-off;
// "" where they were not kept yet.
func (s *Store) Features(ctx context.Context, siteID string, signOffs []string) (_ map[string]string, err error) {
	defer problem.In(&err, "record.Features")
	return s.signedTexts(ctx, selectFeatures, siteID, signOffs)
}

// SignedNames are the names of who signed, by sign-off, as they were then.
func (s *Store) SignedNames(ctx context.Context, siteID string, signOffs []string) (_ map[string]string, err error) {
	defer problem.In(&err, "record.SignedNames")
	return s.signedTexts(ctx, selectSignedNames, siteID, signOffs)
}

// signedTexts is a text of sign-offs, by id.
func (s *Store) signedTexts(ctx context.Context, query, siteID string, signOffs []string) (map[string]string, error) {
	asked, err := json.Marshal(signOffs)
	if err != nil || len(signOffs) == 0 {
		return nil, err
	}
	out := make(map[string]string, len(signOffs))
	var id, text string
	err = through(ctx, s.reader, func(scan scan) error {
		err := scan(&id, &text)
		out[id] = text
		return err
	}, query, string(asked), siteID)
	return out, err
}

// Weighty reads the events that may change how sign-offs for a competency
// stand, by sign-off, in the order they were recorded. The kinds named change
// nothing.
func (s *Store) Weighty(ctx context.Context, siteID string, without ...string) (_ map[string][]Event, err error) {
	defer problem.In(&err, "record.Weighty")
	kinds, err := json.Marshal(without)
	if err != nil {
		return nil, err
	}
	list, err := all(ctx, s.reader, readEvent, selectWeighty, siteID, string(kinds))
	out := map[string][]Event{}
	for _, e := range list {
		out[e.SignOffID] = append(out[e.SignOffID], e)
	}
	return out, err
}

const selectWeighty = `
	SELECT ` + eventColumns + ` FROM sign_off_events e INDEXED BY sign_off_events_sign_off
	WHERE e.site_id = $1 AND e.kind NOT IN (SELECT value FROM json_each($2)) ORDER BY e.at, e.rowid`

// Fresh tells who, by person and set-up, has done all of these lessons and
// scenarios since a moment.
func (s *Store) Fresh(ctx context.Context, siteID string, lessons, scenarios []string, since time.Time) (_ map[[2]string]bool, err error) {
	defer problem.In(&err, "record.Fresh")
	var out map[[2]string]bool // nil until anything was asked
	for _, part := range []struct {
		query string
		ids   []string
	}{{selectFreshLessons, lessons}, {selectFreshScenarios, scenarios}} {
		if len(part.ids) == 0 {
			continue
		}
		ids, err := json.Marshal(part.ids)
		if err != nil {
			return nil, err
		}
		rows, err := s.packed(ctx, part.query, siteID, since.UnixMilli(), string(ids), len(part.ids))
		if err != nil {
			return nil, err
		}
		these := make(map[[2]string]bool, len(rows))
		for _, r := range rows {
			if pair := [2]string{r.next(), r.next()}; out == nil || out[pair] {
				these[pair] = true
			}
		}
		out = these
	}
	return out, nil
}

// Grouped as their indexes lie.
const (
	selectFreshLessons = `
		SELECT group_concat(person_id || char(31) || setup_id, char(30)) FROM (
			SELECT person_id, setup_id FROM lessons INDEXED BY lessons_done
			WHERE site_id = $1 AND done >= $2 AND lesson IN (SELECT value FROM json_each($3))
			GROUP BY person_id, setup_id HAVING count(DISTINCT lesson) = $4)`
	selectFreshScenarios = `
		SELECT group_concat(person_id || char(31) || setup_id, char(30)) FROM (
			SELECT person_id, setup_id FROM runs INDEXED BY runs_passed
			WHERE site_id = $1 AND passed = 1 AND mode = 'quiz' AND ended >= $2 AND scenario IN (SELECT value FROM json_each($3))
			GROUP BY person_id, setup_id HAVING count(DISTINCT scenario) = $4)`
)

// AgainsOf reads what was done again since a moment, for pairs of a person's
// and a set-up's id.
func (s *Store) AgainsOf(ctx context.Context, siteID string, pairs [][2]string, since time.Time) (_ []Again, err error) {
	defer problem.In(&err, "record.AgainsOf")
	asked, err := json.Marshal(pairs)
	if err != nil || len(pairs) == 0 {
		return nil, err
	}
	type joined struct{ person, setup, lessons, scenarios string }
	// A row for each pair: one for each lesson would be many times as slow.
	list, err := all(ctx, s.reader, func(scan scan) (j joined, err error) {
		err = scan(&j.person, &j.setup, maybe(&j.lessons), maybe(&j.scenarios))
		return j, err
	}, selectAgains, siteID, since.UnixMilli(), string(asked))
	if err != nil {
		return nil, err
	}
	var out []Again
	for _, j := range list {
		add := func(names string, a func(name string) Again) error {
			for each := range strings.SplitSeq(names, ",") {
				at, name, done := strings.Cut(each, " ")
				if !done {
					return nil
				}
				ms, err := strconv.ParseInt(at, 10, 64)
				if err != nil {
					return err
				}
				again := a(name)
				again.PersonID, again.SetupID, again.At = j.person, j.setup, time.UnixMilli(ms).UTC()
				out = append(out, again)
			}
			return nil
		}
		if err := errors.Join(
			add(j.lessons, func(name string) Again { return Again{Lesson: name} }),
			add(j.scenarios, func(name string) Again { return Again{Scenario: name} }),
		); err != nil {
			return nil, err
		}
	}
	return out, nil
}

const selectAgains = `
		SELECT j.value ->> 0, j.value ->> 1,
			(SELECT group_concat(done || ' ' || lesson) FROM lessons INDEXED BY lessons_done
				WHERE site_id = $1 AND person_id = j.value ->> 0 AND setup_id = j.value ->> 1 AND done >= $2),
			(SELECT group_concat(ended || ' ' || scenario) FROM runs INDEXED BY runs_passed
				WHERE site_id = $1 AND person_id = j.value ->> 0 AND setup_id = j.value ->> 1 AND passed = 1 AND mode = 'quiz' AND ended >= $2)
		FROM (SELECT value FROM json_each($3)) j`

// Progress is how much someone did on a set-up as it is now: different lessons,
// and different scenarios for the record.
type Progress struct{ Lessons, Scenarios int }

// ProgressOf reads it for pairs of a person's and a set-up's id.
func (s *Store) ProgressOf(ctx context.Context, siteID string, pairs [][2]string) (_ map[[2]string]Progress, err error) {
	defer problem.In(&err, "record.ProgressOf")
	asked, err := json.Marshal(pairs)
	if err != nil {
		return nil, err
	}
	type read struct {
		pair [2]string
		Progress
	}
	list, err := all(ctx, s.reader, func(scan scan) (r read, err error) {
		err = scan(&r.pair[0], &r.pair[1], &r.Lessons, &r.Scenarios)
		return r, err
	}, selectProgress, string(asked), siteID)
	out := map[[2]string]Progress{}
	for _, r := range list {
		out[r.pair] = r.Progress
	}
	return out, err
}

const selectProgress = `
		SELECT j.value ->> 0, s.id,
			(SELECT count(DISTINCT l.lesson) FROM lessons l INDEXED BY sqlite_autoindex_lessons_1
				WHERE l.site_id = s.site_id AND l.person_id = j.value ->> 0 AND l.done IS NOT NULL
				AND l.setup_id = s.id AND l.setup_version = s.version),
			(SELECT count(DISTINCT r.scenario) FROM runs r INDEXED BY runs_passed
				WHERE r.site_id = s.site_id AND r.person_id = j.value ->> 0 AND r.passed = 1 AND r.mode = 'quiz'
				AND r.setup_id = s.id AND r.setup_version = s.version)
		FROM json_each($1) j CROSS JOIN setups s INDEXED BY sqlite_autoindex_setups_1 ON s.site_id = $2 AND s.id = j.value ->> 1`

// SetupTags reads every set-up of a site by tag, without its YAML.
func (s *Store) SetupTags(ctx context.Context, siteID string) (_ []Setup, err error) {
	defer problem.In(&err, "record.SetupTags")
	return all(ctx, s.reader, func(scan scan) (r Setup, err error) {
		err = scan(&r.ID, &r.Tag, &r.Version)
		r.SiteID = siteID
		return r, err
	}, `SELECT id, tag, version FROM setups WHERE site_id = $1 ORDER BY tag, id`, siteID)
}
