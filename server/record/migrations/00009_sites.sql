-- +goose Up

-- Someone of the staff who works at a second site is a row of that site too,
-- under the same id; home is the site at which they have their secret, '' where
-- this is it.
ALTER TABLE people ADD COLUMN home TEXT NOT NULL DEFAULT '';

CREATE INDEX people_id ON people (id);

DROP TABLE staff_sites;

-- Who is not signed in says no site: it is that of the set-up, or of the kiosk.
CREATE UNIQUE INDEX setups_id ON setups (id);
CREATE UNIQUE INDEX kiosks_token ON kiosks (token_hash);
