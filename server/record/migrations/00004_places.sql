-- +goose Up

-- Where a person stopped reading a lesson of a set-up; gone once it is done.
CREATE TABLE places (
    site_id   TEXT NOT NULL,
    person_id TEXT NOT NULL,
    setup_id  TEXT NOT NULL,
    lesson    TEXT NOT NULL,
    card      INTEGER NOT NULL CHECK (card > 0),
    reached   INTEGER NOT NULL,
    PRIMARY KEY (site_id, person_id, setup_id),
    FOREIGN KEY (site_id, person_id) REFERENCES people (site_id, id),
    FOREIGN KEY (site_id, setup_id) REFERENCES setups (site_id, id)
) STRICT;
