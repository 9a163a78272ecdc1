-- +goose Up

-- The roster judges the newest sign-off of everyone by these columns, without
-- reading the rows.
DROP INDEX sign_offs_newest;

CREATE INDEX sign_offs_newest ON sign_offs (site_id, person_id, competency, setup_id, signed, lapses, setup_version, id);

-- And the few events that matter to it, without reading the others.
DROP INDEX sign_off_events_sign_off;

CREATE INDEX sign_off_events_sign_off ON sign_off_events (site_id, sign_off_id, at, kind);
