-- +goose Up

-- Addresses at which a calendar program reads lapses: a person's own, or for
-- an educator the whole site's. Whoever has the token may read.
CREATE TABLE feeds (
    site_id    TEXT NOT NULL,
    token_hash TEXT NOT NULL CHECK (token_hash <> ''),
    person_id  TEXT NOT NULL,
    scope      TEXT NOT NULL CHECK (scope IN ('own', 'site')),
    created    INTEGER NOT NULL,
    PRIMARY KEY (site_id, person_id, scope),
    UNIQUE (token_hash),
    FOREIGN KEY (site_id, person_id) REFERENCES people (site_id, id)
) STRICT;

-- What a receiver is told, until it has it; then that it was told stays, and
-- the words go. record names what it tells of, so that nothing is told twice.
CREATE TABLE outbox (
    site_id   TEXT NOT NULL REFERENCES sites (site_id),
    record    TEXT NOT NULL CHECK (record <> ''),
    id        TEXT NOT NULL CHECK (id <> ''), -- the statement's
    person_id TEXT NOT NULL, -- whom it is about, for the day they are erased
    statement TEXT NOT NULL CHECK (sent IS NULL OR statement = ''),
    made      INTEGER NOT NULL,
    tries     INTEGER NOT NULL DEFAULT 0,
    next      INTEGER NOT NULL, -- not before then
    sent      INTEGER,
    PRIMARY KEY (site_id, record)
) STRICT;

CREATE INDEX outbox_unsent ON outbox (site_id, next) WHERE sent IS NULL;
