-- +goose NO TRANSACTION
-- +goose Up

-- Two more roles, and what a list of people, a one-time code, a lock and an
-- erasure need. The check on roles can only be changed by making the table
-- anew, which SQLite allows while foreign keys rest (its twelve steps).
PRAGMA foreign_keys = OFF;

BEGIN IMMEDIATE;

CREATE TABLE people_anew (
    site_id     TEXT NOT NULL REFERENCES sites (site_id),
    id          TEXT NOT NULL CHECK (id <> ''),
    name        TEXT NOT NULL,
    role        TEXT NOT NULL CHECK (role IN ('learner', 'educator', 'technologist', 'administrator')),
    card        TEXT,
    username    TEXT,
    secret      TEXT NOT NULL, -- '' until an invitation is taken up: nothing matches it
    language    TEXT NOT NULL,
    setup_id    TEXT,
    external_id TEXT,
    email       TEXT NOT NULL DEFAULT '',
    team        TEXT NOT NULL DEFAULT '',
    starts      TEXT NOT NULL DEFAULT '', -- a local day, as 2026-11-27
    active      INTEGER NOT NULL DEFAULT 1 CHECK (active IN (0, 1)),
    code_key    TEXT NOT NULL DEFAULT '', -- of one-time codes; '' for none
    code_used   INTEGER NOT NULL DEFAULT 0, -- the step of the last code taken
    erased      INTEGER,
    changed     INTEGER NOT NULL,
    PRIMARY KEY (site_id, id),
    UNIQUE (site_id, external_id),
    FOREIGN KEY (site_id, setup_id) REFERENCES setups (site_id, id)
) STRICT;

INSERT INTO people_anew (site_id, id, name, role, card, username, secret, language, setup_id, changed)
SELECT site_id, id, name, role, card, username, secret, language, setup_id, changed FROM people;

DROP TABLE people;

ALTER TABLE people_anew RENAME TO people;

-- People sign in without saying at which site.
CREATE UNIQUE INDEX people_card ON people (card);
CREATE UNIQUE INDEX people_username ON people (username);

-- The sites that staff see beside their own.
CREATE TABLE staff_sites (
    site_id   TEXT NOT NULL, -- the person's own
    person_id TEXT NOT NULL,
    sees      TEXT NOT NULL REFERENCES sites (site_id),
    PRIMARY KEY (site_id, person_id, sees),
    FOREIGN KEY (site_id, person_id) REFERENCES people (site_id, id)
) STRICT;

-- A way in for someone who has no secret yet, once.
CREATE TABLE invitations (
    site_id    TEXT NOT NULL,
    person_id  TEXT NOT NULL,
    token_hash TEXT NOT NULL CHECK (token_hash <> ''),
    until      INTEGER NOT NULL,
    PRIMARY KEY (site_id, person_id),
    UNIQUE (token_hash),
    FOREIGN KEY (site_id, person_id) REFERENCES people (site_id, id)
) STRICT;

-- Every change, with the old value and the new one, as JSON without secrets.
-- Erasing a person empties both.
CREATE TABLE audit (
    site_id TEXT NOT NULL REFERENCES sites (site_id),
    id      INTEGER PRIMARY KEY,
    at      INTEGER NOT NULL,
    actor   TEXT NOT NULL, -- a person's id, or '' for a command at the machine
    kind    TEXT NOT NULL, -- of what was changed: person, set-up, site, kiosk
    subject TEXT NOT NULL, -- its id
    old     TEXT CHECK (json_valid(old)), -- null where it is new
    new     TEXT CHECK (json_valid(new)) -- null where it is gone
) STRICT;

CREATE INDEX audit_subject ON audit (site_id, kind, subject, id);

CREATE INDEX sessions_person ON sessions (site_id, person_id);

COMMIT;

PRAGMA foreign_keys = ON;
