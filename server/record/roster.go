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
	SetupVersion         string // that was signed for, "" where it is the present one
	Features             []byte // of the set-up in that other version, JSON
	Signed, Lapses       time.Time
}

// Roster reads every learner who is not away, by name: at the set-up they are
// tied to, and at each other one that they were signed off for.
func (s *Store) Roster(ctx context.Context, siteID, competency string) (_ []RosterRow, err error) {
	defer problem.In(&err, "record.Roster")
	type learner struct{ id, name, team, setup string }
	people, err := all(ctx, s.reader, func(scan scan) (p learner, err error) {
		err = scan(&p.id, &p.name, &p.team, &p.setup)
		return p, err
	}, `
		SELECT id, name, team, coalesce(setup_id, '') FROM people
		WHERE site_id = $1 AND role = 'learner' AND active = 1 AND erased IS NULL ORDER BY name, id`, siteID)
	if err != nil {
		return nil, err
	}
	// CROSS keeps the order: by what SQLite counted while there were few sign-offs
	// it would go through all of them for each set-up.
	signed, err := all(ctx, s.reader, func(scan scan) (row RosterRow, err error) {
		var signed, lapses int64
		var features string
		err = scan(&row.PersonID, &row.SetupID, &row.SignOffID, &row.SetupVersion, &features, &signed, &lapses)
		row.Signed, row.Lapses = time.UnixMilli(signed).UTC(), time.UnixMilli(lapses).UTC()
		if features != "" {
			row.Features = []byte(features)
		}
		return row, err
	}, `
		SELECT o.person_id, o.setup_id, o.id, iif(o.setup_version = s.version, '', o.setup_version),
			iif(o.setup_version = s.version, '', o.features), o.signed, o.lapses
		FROM sign_offs o CROSS JOIN setups s ON s.site_id = o.site_id AND s.id = o.setup_id
		WHERE o.site_id = $1 AND o.competency = $2 ORDER BY o.signed, o.rowid`, siteID, competency)
	if err != nil {
		return nil, err
	}
	newest := make(map[string][]RosterRow, len(people)) // by person; later ones take the place of earlier
	for _, row := range signed {
		at := newest[row.PersonID]
		i := 0
		for i < len(at) && at[i].SetupID != row.SetupID {
			i++
		}
		if i == len(at) {
			at = append(at, row)
		}
		at[i] = row
		newest[row.PersonID] = at
	}
	rows := make([]RosterRow, 0, len(people))
	for _, p := range people {
		tied := false
		for _, row := range newest[p.id] {
			row.Name, row.Team = p.name, p.team
			tied = tied || row.SetupID == p.setup
			rows = append(rows, row)
		}
		if !tied {
			rows = append(rows, RosterRow{PersonID: p.id, Name: p.name, Team: p.team, SetupID: p.setup})
		}
	}
	return rows, nil
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
	list, err := all(ctx, s.reader, readEvent, `
		SELECT `+eventColumns+` FROM sign_off_events e
		WHERE e.site_id = $1 AND e.kind NOT IN (SELECT value FROM json_each($2)) ORDER BY e.at, e.rowid`, siteID, string(kinds))
	out := map[string][]Event{}
	for _, e := range list {
		out[e.SignOffID] = append(out[e.SignOffID], e)
	}
	return out, err
}

// Fresh tells who, by person and set-up, has done all of these lessons and
// scenarios since a moment.
func (s *Store) Fresh(ctx context.Context, siteID string, lessons, scenarios []string, since time.Time) (_ map[[2]string]bool, err error) {
	defer problem.In(&err, "record.Fresh")
	names, err := json.Marshal(lessons)
	if err != nil {
		return nil, err
	}
	others, err := json.Marshal(scenarios)
	if err != nil {
		return nil, err
	}
	list, err := all(ctx, s.reader, func(scan scan) (pair [2]string, err error) {
		err = scan(&pair[0], &pair[1])
		return pair, err
	}, `
		SELECT person_id, setup_id FROM (
			SELECT person_id, setup_id, count(DISTINCT lesson) AS n FROM lessons
			WHERE site_id = $1 AND done >= $2 AND lesson IN (SELECT value FROM json_each($3))
			GROUP BY person_id, setup_id
			UNION ALL
			SELECT person_id, setup_id, count(DISTINCT scenario) FROM runs
			WHERE site_id = $1 AND passed = 1 AND mode = 'quiz' AND ended >= $2 AND scenario IN (SELECT value FROM json_each($4))
			GROUP BY person_id, setup_id)
		GROUP BY person_id, setup_id HAVING sum(n) = $5`,
		siteID, since.UnixMilli(), string(names), string(others), len(lessons)+len(scenarios))
	out := make(map[[2]string]bool, len(list))
	for _, pair := range list {
		out[pair] = true
	}
	return out, err
}

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
	}, `
		SELECT j.value ->> 0, j.value ->> 1,
			(SELECT group_concat(done || ' ' || lesson) FROM lessons
				WHERE site_id = $1 AND person_id = j.value ->> 0 AND setup_id = j.value ->> 1 AND done >= $2),
			(SELECT group_concat(ended || ' ' || scenario) FROM runs
				WHERE site_id = $1 AND person_id = j.value ->> 0 AND setup_id = j.value ->> 1 AND passed = 1 AND mode = 'quiz' AND ended >= $2)
		FROM (SELECT value FROM json_each($3)) j`, siteID, since.UnixMilli(), string(asked))
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
	}, `
		SELECT j.value ->> 0, s.id,
			(SELECT count(DISTINCT l.lesson) FROM lessons l
				WHERE l.site_id = s.site_id AND l.person_id = j.value ->> 0 AND l.done IS NOT NULL
				AND l.setup_id = s.id AND l.setup_version = s.version),
			(SELECT count(DISTINCT r.scenario) FROM runs r
				WHERE r.site_id = s.site_id AND r.person_id = j.value ->> 0 AND r.passed = 1 AND r.mode = 'quiz'
				AND r.setup_id = s.id AND r.setup_version = s.version)
		FROM json_each($1) j JOIN setups s ON s.site_id = $2 AND s.id = j.value ->> 1`, string(asked), siteID)
	out := map[[2]string]Progress{}
	for _, r := range list {
		out[r.pair] = r.Progress
	}
	return out, err
}

// SetupTags reads every set-up of a site by tag, without its YAML.
func (s *Store) SetupTags(ctx context.Context, siteID string) (_ []Setup, err error) {
	defer problem.In(&err, "record.SetupTags")
	return all(ctx, s.reader, func(scan scan) (r Setup, err error) {
		err = scan(&r.ID, &r.SiteID, &r.Tag, &r.Version)
		return r, err
	}, `SELECT id, site_id, tag, version FROM setups WHERE site_id = $1 ORDER BY tag, id`, siteID)
}
