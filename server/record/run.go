package record

import (
	"context"
	"database/sql"
	"errors"
	"time"

	"lampwright/locales/problem"
)

// errNoFormKey is our own mistake: without one, a form sent twice counts twice.
var errNoFormKey = errors.New("no form key")

// MarkLesson records that the question at a lesson's end was answered. The
// same form sent again counts once.
func (s *Store) MarkLesson(ctx context.Context, siteID, personID, setupID, setupVersion, lesson, lessonVersion string, right bool, at time.Time, formKey string) (err error) {
	defer problem.In(&err, "record.MarkLesson")
	if formKey == "" {
		return errNoFormKey
	}
	var done any
	if right {
		done = at.UnixMilli()
	}
	return s.change(ctx, `
		INSERT INTO lessons (site_id, person_id, setup_id, setup_version, lesson, lesson_version, answers, answered, done, form_key)
		VALUES ($1, $2, $3, $4, $5, $6, 1, $7, $8, $9)
		ON CONFLICT (site_id, person_id, setup_id, setup_version, lesson, lesson_version) DO UPDATE SET
			answers = answers + (form_key <> excluded.form_key), answered = excluded.answered,
			done = coalesce(excluded.done, done), form_key = excluded.form_key`,
		siteID, personID, setupID, setupVersion, lesson, lessonVersion, at.UnixMilli(), done, formKey)
}

// LessonDone is a lesson whose question was answered right, on a version of a
// set-up; At is the last time it was.
type LessonDone struct {
	Lesson, Version, SetupID, SetupVersion string
	At                                     time.Time
}

// LessonsDone reads the lessons a person has done, oldest first.
func (s *Store) LessonsDone(ctx context.Context, siteID, personID string) (_ []LessonDone, err error) {
	defer problem.In(&err, "record.LessonsDone")
	return all(ctx, s.reader, func(scan scan) (l LessonDone, err error) {
		err = scan(&l.Lesson, &l.Version, &l.SetupID, &l.SetupVersion, stamp{&l.At})
		return l, err
	}, `
		SELECT lesson, lesson_version, setup_id, setup_version, done FROM lessons
		WHERE site_id = $1 AND person_id = $2 AND done IS NOT NULL
		ORDER BY done, lesson, lesson_version, setup_id, setup_version`, siteID, personID)
}

// The modes of a run.
const (
	Practice = "practice"
	Quiz     = "quiz"
)

// Run is one person's actions in a scenario. The versions say what it was
// about, and Result keeps its debrief, so that it reads the same later.
type Run struct {
	ID, SiteID, PersonID, SetupID, SetupVersion       string
	Scenario, ScenarioVersion, ModelVersion, Language string
	Mode                                              string // Practice or Quiz
	Seed                                              int64
	Started                                           time.Time
	Ended                                             time.Time // zero while open
	Passed                                            bool
	Score                                             float64
	Result                                            []byte // JSON, nil while open
	Steps                                             []Step
}

// Step is one action in a run. The first has Seq 1.
type Step struct {
	Seq    int
	Action string // "verb:part"
	At     time.Time
}

const selectRuns = `
	SELECT id, site_id, person_id, setup_id, setup_version, scenario, scenario_version, model_version, language,
		mode, seed, started, ended, passed, score, result FROM runs`

func readRun(scan scan) (r Run, err error) {
	err = scan(&r.ID, &r.SiteID, &r.PersonID, &r.SetupID, &r.SetupVersion, &r.Scenario, &r.ScenarioVersion,
		&r.ModelVersion, &r.Language, &r.Mode, &r.Seed, stamp{&r.Started}, stamp{&r.Ended}, &r.Passed, &r.Score, &r.Result)
	return r, err
}

// StartRun begins a run, without steps. The same form key from the same person
// again gives the run it began the first time.
func (s *Store) StartRun(ctx context.Context, r Run, formKey string) (_ Run, err error) {
	defer problem.In(&err, "record.StartRun")
	if formKey == "" {
		return Run{}, errNoFormKey
	}
	if r.ID == "" {
		r.ID = NewID()
	}
	var begun Run
	err = s.write(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, `
			INSERT INTO runs (site_id, id, person_id, setup_id, setup_version, scenario, scenario_version,
				model_version, language, mode, seed, started, form_key)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)
			ON CONFLICT (site_id, person_id, form_key) DO NOTHING`,
			r.SiteID, r.ID, r.PersonID, r.SetupID, r.SetupVersion, r.Scenario, r.ScenarioVersion,
			r.ModelVersion, r.Language, r.Mode, r.Seed, r.Started.UnixMilli(), formKey); err != nil {
			return err
		}
		begun, err = one(ctx, tx, readRun, "problem.unknown-run",
			selectRuns+` WHERE site_id = $1 AND person_id = $2 AND form_key = $3`, r.SiteID, r.PersonID, formKey)
		if err == nil {
			begun.Steps, err = steps(ctx, tx, begun)
		}
		return err
	})
	return begun, err
}

// snapshot reads several things as they were at one moment.
func (s *Store) snapshot(ctx context.Context, f func(*sql.Tx) error) error {
	tx, err := s.reader.BeginTx(ctx, nil)
	if err != nil {
		return understood(err)
	}
	return errors.Join(understood(f(tx)), understood(tx.Rollback()))
}

func steps(ctx context.Context, q querier, r Run) ([]Step, error) {
	return all(ctx, q, func(scan scan) (step Step, err error) {
		err = scan(&step.Seq, &step.Action, stamp{&step.At})
		return step, err
	}, `SELECT seq, action, at FROM steps WHERE site_id = $1 AND run_id = $2 ORDER BY seq`, r.SiteID, r.ID)
}

// Run reads a run with its steps.
func (s *Store) Run(ctx context.Context, siteID, id string) (r Run, err error) {
	defer problem.In(&err, "record.Run")
	err = s.snapshot(ctx, func(tx *sql.Tx) error {
		r, err = one(ctx, tx, readRun, "problem.unknown-run", selectRuns+` WHERE site_id = $1 AND id = $2`, siteID, id)
		if err == nil {
			r.Steps, err = steps(ctx, tx, r)
		}
		return err
	})
	return r, err
}

// AddStep adds the next step of a run. A step that is not the next, or of a run
// that has ended, is refused as moved: another tab was faster. The same form
// key again changes nothing and is no error.
func (s *Store) AddStep(ctx context.Context, siteID, runID string, step Step, formKey string) (err error) {
	defer problem.In(&err, "record.AddStep")
	if formKey == "" {
		return errNoFormKey
	}
	return s.write(ctx, func(tx *sql.Tx) error {
		var ended, again bool
		var last int
		err := tx.QueryRowContext(ctx, `
			SELECT r.ended IS NOT NULL,
				EXISTS (SELECT 1 FROM steps s WHERE s.site_id = r.site_id AND s.run_id = r.id AND s.form_key = $1),
				(SELECT coalesce(max(s.seq), 0) FROM steps s WHERE s.site_id = r.site_id AND s.run_id = r.id)
			FROM runs r WHERE r.site_id = $2 AND r.id = $3`, formKey, siteID, runID).Scan(&ended, &again, &last)
		switch {
		case errors.Is(err, sql.ErrNoRows):
			return problem.Wrap(err, problem.Unknown, "problem.unknown-run")
		case err != nil || again:
			return err
		case ended || step.Seq != last+1:
			return problem.New(problem.Moved, "problem.moved")
		}
		_, err = tx.ExecContext(ctx, `
			INSERT INTO steps (site_id, run_id, seq, action, at, form_key) VALUES ($1, $2, $3, $4, $5, $6)`,
			siteID, runID, step.Seq, step.Action, step.At.UnixMilli(), formKey)
		return err
	})
}

// EndRun ends a run with its debrief. A run that has ended keeps the end it has.
func (s *Store) EndRun(ctx context.Context, siteID, runID string, passed bool, score float64, result []byte, at time.Time) (err error) {
	defer problem.In(&err, "record.EndRun")
	return s.write(ctx, func(tx *sql.Tx) error {
		done, err := tx.ExecContext(ctx, `
			UPDATE runs SET passed = $1, score = $2, result = $3, ended = $4
			WHERE site_id = $5 AND id = $6 AND ended IS NULL`,
			passed, score, orNull(string(result)), at.UnixMilli(), siteID, runID)
		if err != nil {
			return err
		}
		if n, err := done.RowsAffected(); err != nil || n == 1 {
			return err
		}
		_, err = one(ctx, tx, readRun, "problem.unknown-run", selectRuns+` WHERE site_id = $1 AND id = $2`, siteID, runID)
		return err
	})
}

// Runs reads a person's runs, newest first, without their steps.
func (s *Store) Runs(ctx context.Context, siteID, personID string) (_ []Run, err error) {
	defer problem.In(&err, "record.Runs")
	return all(ctx, s.reader, readRun,
		selectRuns+` WHERE site_id = $1 AND person_id = $2 ORDER BY started DESC, id DESC`, siteID, personID)
}

// OpenRun reads the newest of a person's runs that has not ended, with its
// steps; not ok if there is none.
func (s *Store) OpenRun(ctx context.Context, siteID, personID string) (r Run, ok bool, err error) {
	defer problem.In(&err, "record.OpenRun")
	err = s.snapshot(ctx, func(tx *sql.Tx) error {
		r, err = one(ctx, tx, readRun, "problem.unknown-run", selectRuns+`
			WHERE site_id = $1 AND person_id = $2 AND ended IS NULL ORDER BY started DESC, id DESC LIMIT 1`, siteID, personID)
		if err == nil {
			r.Steps, err = steps(ctx, tx, r)
		}
		return err
	})
	if problem.Is(err, problem.Unknown) {
		return Run{}, false, nil
	}
	return r, err == nil, err
}
