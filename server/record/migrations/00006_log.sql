-- +goose Up

-- The log of what was signed: one for the whole house, so it has no site of
-- its own; what each entry records names its site. kind is what it records and
-- the id of the row, as sign-off/abc. salt and record are null once erased.
CREATE TABLE entries (
    idx    INTEGER PRIMARY KEY CHECK (idx >= 0),
    kind   TEXT NOT NULL,
    at     INTEGER NOT NULL,
    leaf   BLOB NOT NULL,
    hashes BLOB NOT NULL,
    salt   BLOB,
    record BLOB
) STRICT;

CREATE INDEX entries_kind ON entries (kind);

-- The newest checkpoint; older ones follow from the entries.
CREATE TABLE head (
    id         INTEGER PRIMARY KEY CHECK (id = 1),
    checkpoint TEXT NOT NULL
) STRICT;

-- What a set-up was like when it was signed for, as JSON: what may change and
-- still leaves the sign-off good is judged by it.
ALTER TABLE sign_offs ADD COLUMN features TEXT NOT NULL DEFAULT '';
ALTER TABLE sign_offs ADD COLUMN supersedes TEXT NOT NULL DEFAULT '';
ALTER TABLE sign_offs ADD COLUMN person_name TEXT NOT NULL DEFAULT ''; -- as it was then

-- Whose they are is found by this one too.
DROP INDEX sign_offs_person;

CREATE INDEX sign_offs_newest ON sign_offs (site_id, person_id, competency, setup_id, signed);

-- What happened to a sign-off since: none of it changes the row that was signed.
CREATE TABLE sign_off_events (
    site_id     TEXT NOT NULL,
    id          TEXT NOT NULL CHECK (id <> ''),
    sign_off_id TEXT NOT NULL,
    kind        TEXT NOT NULL CHECK (kind <> ''),
    by_id       TEXT NOT NULL,
    by_name     TEXT NOT NULL,
    at          INTEGER NOT NULL,
    at_local    TEXT NOT NULL,
    until       INTEGER NOT NULL DEFAULT 0, -- 0 for none
    objective   TEXT NOT NULL DEFAULT '',
    why         TEXT NOT NULL DEFAULT '',
    data        TEXT NOT NULL DEFAULT '',
    form_key    TEXT NOT NULL CHECK (form_key <> ''),
    PRIMARY KEY (site_id, id),
    UNIQUE (site_id, by_id, form_key),
    FOREIGN KEY (site_id, sign_off_id) REFERENCES sign_offs (site_id, id),
    FOREIGN KEY (site_id, by_id) REFERENCES people (site_id, id)
) STRICT;

CREATE INDEX sign_off_events_sign_off ON sign_off_events (site_id, sign_off_id, at);

-- +goose StatementBegin
CREATE TRIGGER sign_off_events_kept_update BEFORE UPDATE ON sign_off_events BEGIN
    SELECT RAISE(ABORT, 'what happened to a sign-off cannot be changed');
END;
-- +goose StatementEnd

-- Nothing signed is deleted, but with the person it was about.
DROP TRIGGER sign_offs_kept_delete;

-- +goose StatementBegin
CREATE TRIGGER sign_offs_kept_delete BEFORE DELETE ON sign_offs
WHEN NOT EXISTS (SELECT 1 FROM people WHERE site_id = OLD.site_id AND id = OLD.person_id AND erased IS NOT NULL) BEGIN
    SELECT RAISE(ABORT, 'a sign-off cannot be deleted');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER sign_off_events_kept_delete BEFORE DELETE ON sign_off_events
WHEN NOT EXISTS (
    SELECT 1 FROM sign_offs o JOIN people p ON p.site_id = o.site_id AND p.id = o.person_id
    WHERE o.site_id = OLD.site_id AND o.id = OLD.sign_off_id AND p.erased IS NOT NULL
) BEGIN
    SELECT RAISE(ABORT, 'what happened to a sign-off cannot be deleted');
END;
-- +goose StatementEnd

DROP TRIGGER steps_kept_delete;

-- +goose StatementBegin
CREATE TRIGGER steps_kept_delete BEFORE DELETE ON steps
WHEN NOT EXISTS (
    SELECT 1 FROM runs r JOIN people p ON p.site_id = r.site_id AND p.id = r.person_id
    WHERE r.site_id = OLD.site_id AND r.id = OLD.run_id AND p.erased IS NOT NULL
) BEGIN
    SELECT RAISE(ABORT, 'a step cannot be deleted');
END;
-- +goose StatementEnd

-- An entry is never changed but to erase what it holds.
-- +goose StatementBegin
CREATE TRIGGER entries_kept_update BEFORE UPDATE ON entries
WHEN NEW.idx <> OLD.idx OR NEW.kind <> OLD.kind OR NEW.at <> OLD.at OR NEW.leaf <> OLD.leaf OR NEW.hashes <> OLD.hashes
    OR NEW.salt IS NOT NULL OR NEW.record IS NOT NULL BEGIN
    SELECT RAISE(ABORT, 'an entry of the log cannot be changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER entries_kept_delete BEFORE DELETE ON entries BEGIN
    SELECT RAISE(ABORT, 'an entry of the log cannot be deleted');
END;
-- +goose StatementEnd

DROP TRIGGER findings_kept_update;

-- +goose StatementBegin
CREATE TRIGGER findings_kept_update BEFORE UPDATE OF site_id, outage_id, seq, what, part, kind, mode, by_id, found, form_key ON findings BEGIN
    SELECT RAISE(ABORT, 'a finding cannot be changed');
END;
-- +goose StatementEnd

-- Whose it was may be forgotten.
-- +goose StatementBegin
CREATE TRIGGER findings_kept_name BEFORE UPDATE OF by_name ON findings WHEN NEW.by_name <> '' BEGIN
    SELECT RAISE(ABORT, 'a finding cannot be changed');
END;
-- +goose StatementEnd

DROP TRIGGER readings_kept_update;

-- +goose StatementBegin
CREATE TRIGGER readings_kept_update BEFORE UPDATE OF site_id, outage_id, seq, node, volts, by_id, measured, form_key ON readings BEGIN
    SELECT RAISE(ABORT, 'a reading cannot be changed');
END;
-- +goose StatementEnd

-- Whose it was may be forgotten.
-- +goose StatementBegin
CREATE TRIGGER readings_kept_name BEFORE UPDATE OF by_name ON readings WHEN NEW.by_name <> '' BEGIN
    SELECT RAISE(ABORT, 'a reading cannot be changed');
END;
-- +goose StatementEnd
