-- +goose Up

-- The machine's clock has no site: one row, the latest time ever given out.
CREATE TABLE clock (
    id   INTEGER PRIMARY KEY CHECK (id = 1),
    mark INTEGER NOT NULL
) STRICT;

INSERT INTO clock (id, mark) VALUES (1, 0);

CREATE TABLE sites (
    site_id            TEXT PRIMARY KEY CHECK (site_id <> ''),
    name               TEXT NOT NULL,
    zone               TEXT NOT NULL,
    rescue_line        TEXT NOT NULL,
    clinical_line      TEXT NOT NULL,
    technologist_line  TEXT NOT NULL,
    technologist_hours TEXT NOT NULL,
    changed            INTEGER NOT NULL
) STRICT;

-- A version is never changed, so that an old run or sign-off still finds the
-- set-up it was about.
CREATE TABLE setup_versions (
    site_id  TEXT NOT NULL REFERENCES sites (site_id),
    setup_id TEXT NOT NULL CHECK (setup_id <> ''),
    version  TEXT NOT NULL CHECK (version <> ''),
    yaml     BLOB NOT NULL,
    since    INTEGER NOT NULL,
    PRIMARY KEY (site_id, setup_id, version)
) STRICT;

CREATE TABLE setups (
    site_id TEXT NOT NULL,
    id      TEXT NOT NULL,
    tag     TEXT NOT NULL,
    version TEXT NOT NULL,
    changed INTEGER NOT NULL,
    PRIMARY KEY (site_id, id),
    FOREIGN KEY (site_id, id, version) REFERENCES setup_versions (site_id, setup_id, version)
) STRICT;

CREATE TABLE people (
    site_id  TEXT NOT NULL REFERENCES sites (site_id),
    id       TEXT NOT NULL CHECK (id <> ''),
    name     TEXT NOT NULL,
    role     TEXT NOT NULL CHECK (role IN ('learner', 'educator')),
    card     TEXT,
    username TEXT,
    secret   TEXT NOT NULL,
    language TEXT NOT NULL,
    setup_id TEXT,
    changed  INTEGER NOT NULL,
    PRIMARY KEY (site_id, id),
    UNIQUE (site_id, card),
    UNIQUE (site_id, username),
    FOREIGN KEY (site_id, setup_id) REFERENCES setups (site_id, id)
) STRICT;

CREATE TABLE attempts (
    site_id TEXT NOT NULL REFERENCES sites (site_id),
    key     TEXT NOT NULL,
    until   INTEGER NOT NULL -- counts against the limit until then
) STRICT;

CREATE INDEX attempts_key ON attempts (site_id, key);
CREATE INDEX attempts_until ON attempts (site_id, until);

CREATE TABLE sessions (
    id         TEXT PRIMARY KEY CHECK (id <> ''),
    site_id    TEXT NOT NULL,
    person_id  TEXT NOT NULL,
    form_token TEXT NOT NULL,
    created    INTEGER NOT NULL,
    seen       INTEGER NOT NULL,
    FOREIGN KEY (site_id, person_id) REFERENCES people (site_id, id)
) STRICT;

CREATE INDEX sessions_seen ON sessions (seen);

-- One row for each lesson in each of its versions on each version of a set-up:
-- how often its question was answered, when last, and when last rightly.
CREATE TABLE lessons (
    site_id        TEXT NOT NULL,
    person_id      TEXT NOT NULL,
    setup_id       TEXT NOT NULL,
    setup_version  TEXT NOT NULL,
    lesson         TEXT NOT NULL,
    lesson_version TEXT NOT NULL,
    answers        INTEGER NOT NULL,
    answered       INTEGER NOT NULL,
    form_key       TEXT NOT NULL,
    done           INTEGER,
    PRIMARY KEY (site_id, person_id, setup_id, setup_version, lesson, lesson_version),
    FOREIGN KEY (site_id, person_id) REFERENCES people (site_id, id),
    FOREIGN KEY (site_id, setup_id, setup_version) REFERENCES setup_versions (site_id, setup_id, version)
) STRICT;

CREATE TABLE runs (
    site_id          TEXT NOT NULL,
    id               TEXT NOT NULL CHECK (id <> ''),
    person_id        TEXT NOT NULL,
    setup_id         TEXT NOT NULL,
    setup_version    TEXT NOT NULL,
    scenario         TEXT NOT NULL,
    scenario_version TEXT NOT NULL,
    model_version    TEXT NOT NULL,
    language         TEXT NOT NULL,
    mode             TEXT NOT NULL CHECK (mode IN ('practice', 'quiz')),
    seed             INTEGER NOT NULL,
    started          INTEGER NOT NULL,
    ended            INTEGER, -- null while open
    passed           INTEGER NOT NULL DEFAULT 0 CHECK (passed IN (0, 1)),
    score            REAL NOT NULL DEFAULT 0,
    result           TEXT CHECK (json_valid(result)),
    form_key         TEXT NOT NULL CHECK (form_key <> ''),
    PRIMARY KEY (site_id, id),
    UNIQUE (site_id, person_id, form_key),
    FOREIGN KEY (site_id, person_id) REFERENCES people (site_id, id),
    FOREIGN KEY (site_id, setup_id, setup_version) REFERENCES setup_versions (site_id, setup_id, version)
) STRICT;

CREATE INDEX runs_person ON runs (site_id, person_id, started);

CREATE TABLE steps (
    site_id  TEXT NOT NULL,
    run_id   TEXT NOT NULL,
    seq      INTEGER NOT NULL CHECK (seq > 0),
    action   TEXT NOT NULL,
    at       INTEGER NOT NULL,
    form_key TEXT NOT NULL CHECK (form_key <> ''),
    PRIMARY KEY (site_id, run_id, seq),
    UNIQUE (site_id, run_id, form_key),
    FOREIGN KEY (site_id, run_id) REFERENCES runs (site_id, id)
) STRICT;

CREATE TABLE sign_offs (
    site_id           TEXT NOT NULL,
    id                TEXT NOT NULL CHECK (id <> ''),
    person_id         TEXT NOT NULL,
    educator_id       TEXT NOT NULL CHECK (educator_id <> person_id),
    educator_name     TEXT NOT NULL,
    competency        TEXT NOT NULL,
    setup_id          TEXT NOT NULL,
    setup_tag         TEXT NOT NULL,
    setup_version     TEXT NOT NULL,
    checklist_version TEXT NOT NULL,
    model_version     TEXT NOT NULL,
    content_version   TEXT NOT NULL,
    language          TEXT NOT NULL,
    meaning           TEXT NOT NULL,
    signed_name       TEXT NOT NULL,
    checklist         TEXT NOT NULL CHECK (json_valid(checklist)),
    rating            INTEGER NOT NULL,
    signed            INTEGER NOT NULL,
    signed_local      TEXT NOT NULL,
    lapses            INTEGER NOT NULL CHECK (lapses > signed),
    form_key          TEXT NOT NULL CHECK (form_key <> ''),
    PRIMARY KEY (site_id, id),
    UNIQUE (site_id, educator_id, form_key),
    FOREIGN KEY (site_id, person_id) REFERENCES people (site_id, id),
    FOREIGN KEY (site_id, educator_id) REFERENCES people (site_id, id),
    FOREIGN KEY (site_id, setup_id, setup_version) REFERENCES setup_versions (site_id, setup_id, version)
) STRICT;

CREATE INDEX sign_offs_person ON sign_offs (site_id, person_id, signed);

CREATE TABLE kiosks (
    site_id    TEXT NOT NULL,
    token_hash TEXT NOT NULL CHECK (token_hash <> ''),
    setup_id   TEXT NOT NULL,
    changed    INTEGER NOT NULL,
    PRIMARY KEY (site_id, token_hash),
    FOREIGN KEY (site_id, setup_id) REFERENCES setups (site_id, id)
) STRICT;

-- What was signed, and what was done in a run, stays as it is. REPLACE deletes
-- without firing a delete trigger, so inserting over a row is refused too.

-- +goose StatementBegin
CREATE TRIGGER sign_offs_kept_update BEFORE UPDATE ON sign_offs BEGIN
    SELECT RAISE(ABORT, 'a sign-off cannot be changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER sign_offs_kept_delete BEFORE DELETE ON sign_offs BEGIN
    SELECT RAISE(ABORT, 'a sign-off cannot be deleted');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER sign_offs_kept_replace BEFORE INSERT ON sign_offs
WHEN EXISTS (
    SELECT 1 FROM sign_offs WHERE site_id = NEW.site_id
    AND (id = NEW.id OR (educator_id = NEW.educator_id AND form_key = NEW.form_key))
) BEGIN
    SELECT RAISE(ABORT, 'a sign-off cannot be replaced');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER steps_kept_update BEFORE UPDATE ON steps BEGIN
    SELECT RAISE(ABORT, 'a step cannot be changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER steps_kept_delete BEFORE DELETE ON steps BEGIN
    SELECT RAISE(ABORT, 'a step cannot be deleted');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER steps_kept_replace BEFORE INSERT ON steps
WHEN EXISTS (
    SELECT 1 FROM steps WHERE site_id = NEW.site_id AND run_id = NEW.run_id
    AND (seq = NEW.seq OR form_key = NEW.form_key)
) BEGIN
    SELECT RAISE(ABORT, 'a step cannot be replaced');
END;
-- +goose StatementEnd

-- A set-up's version is what old runs and sign-offs were about.
-- +goose StatementBegin
CREATE TRIGGER setup_versions_kept BEFORE UPDATE ON setup_versions BEGIN
    SELECT RAISE(ABORT, 'a version of a set-up cannot be changed');
END;
-- +goose StatementEnd
