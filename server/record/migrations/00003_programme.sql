-- +goose Up

-- What a programme's file says of its lines beyond those kept before, and the
-- file itself; empty where none was ever put in.
ALTER TABLE sites ADD COLUMN clinical_hours TEXT NOT NULL DEFAULT '';
ALTER TABLE sites ADD COLUMN chair_line TEXT NOT NULL DEFAULT '';
ALTER TABLE sites ADD COLUMN chair_hours TEXT NOT NULL DEFAULT '';
ALTER TABLE sites ADD COLUMN programme TEXT NOT NULL DEFAULT '';
