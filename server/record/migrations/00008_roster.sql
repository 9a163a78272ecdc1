-- +goose Up

-- A list of people that was read and shown, until it is done: what is done is
-- what was shown. data is emptied then; it holds names.
CREATE TABLE imports (
    site_id TEXT NOT NULL,
    id      TEXT NOT NULL CHECK (id <> ''),
    by_id   TEXT NOT NULL,
    made    INTEGER NOT NULL,
    done    INTEGER, -- null until it is
    data    TEXT NOT NULL,
    PRIMARY KEY (site_id, id),
    FOREIGN KEY (site_id, by_id) REFERENCES people (site_id, id)
) STRICT;

-- When each lesson and scenario was last done, without reading the rows.
CREATE INDEX lessons_done ON lessons (site_id, person_id, setup_id, lesson, done) WHERE done IS NOT NULL;
CREATE INDEX runs_passed ON runs (site_id, person_id, setup_id, scenario, ended) WHERE passed = 1 AND mode = 'quiz';

CREATE INDEX runs_started ON runs (site_id, started);
CREATE INDEX audit_at ON audit (site_id, at);

-- A step goes with its person, or with a run of long ago on which no sign-off
-- rests: no programme keeps them for less than 90 days.
DROP TRIGGER steps_kept_delete;

-- +goose StatementBegin
CREATE TRIGGER steps_kept_delete BEFORE DELETE ON steps
WHEN NOT EXISTS (
    SELECT 1 FROM runs r JOIN people p ON p.site_id = r.site_id AND p.id = r.person_id
    WHERE r.site_id = OLD.site_id AND r.id = OLD.run_id AND p.erased IS NOT NULL
) AND NOT EXISTS (
    SELECT 1 FROM runs r, clock k
    WHERE r.site_id = OLD.site_id AND r.id = OLD.run_id AND (r.mode = 'practice' OR r.passed = 0)
    AND r.started < k.mark - 90 * 86400000
) BEGIN
    SELECT RAISE(ABORT, 'a step cannot be deleted');
END;
-- +goose StatementEnd
