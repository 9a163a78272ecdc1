-- +goose Up

-- The entry of the log that holds a row, null only before a log has begun. It
-- stands in the row, for an index on kinds is one more page that each sign-off
-- writes to the disk.
ALTER TABLE sign_offs ADD COLUMN entry INTEGER;
ALTER TABLE sign_off_events ADD COLUMN entry INTEGER;

DROP TRIGGER sign_offs_kept_update;
DROP TRIGGER sign_off_events_kept_update;

UPDATE sign_offs SET entry = (SELECT idx FROM entries WHERE kind = 'sign-off/' || id);
UPDATE sign_off_events SET entry = (SELECT idx FROM entries WHERE kind = 'event/' || id);

DROP INDEX entries_kind;

-- What was signed stays as it is; where the log holds it, the log itself tells.

-- +goose StatementBegin
CREATE TRIGGER sign_offs_kept_update BEFORE UPDATE OF site_id, id, person_id, educator_id, educator_name, competency, setup_id,
    setup_tag, setup_version, checklist_version, model_version, content_version, language, meaning, signed_name, checklist,
    features, supersedes, rating, signed, signed_local, lapses, form_key, person_name ON sign_offs BEGIN
    SELECT RAISE(ABORT, 'a sign-off cannot be changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER sign_off_events_kept_update BEFORE UPDATE OF site_id, id, sign_off_id, kind, by_id, by_name, at, at_local, until,
    objective, why, data, form_key ON sign_off_events BEGIN
    SELECT RAISE(ABORT, 'what happened to a sign-off cannot be changed');
END;
-- +goose StatementEnd
