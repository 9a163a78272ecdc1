-- +goose Up

-- An outage is what one or more reports of a set-up tell of. Its times, and
-- whether it is closed, follow from its reports and findings.
CREATE TABLE outages (
    site_id  TEXT NOT NULL,
    id       TEXT NOT NULL CHECK (id <> ''),
    setup_id TEXT NOT NULL,
    PRIMARY KEY (site_id, id),
    UNIQUE (site_id, id, setup_id),
    FOREIGN KEY (site_id, setup_id) REFERENCES setups (site_id, id)
) STRICT;

CREATE INDEX outages_setup ON outages (site_id, setup_id);

CREATE TABLE reports (
    site_id       TEXT NOT NULL,
    id            TEXT NOT NULL CHECK (id <> ''),
    outage_id     TEXT, -- null for a set-up that was seen in order
    setup_id      TEXT NOT NULL,
    setup_version TEXT NOT NULL,
    language      TEXT NOT NULL,
    purpose       TEXT NOT NULL,
    care          TEXT NOT NULL CHECK (json_valid(care)),
    did           TEXT NOT NULL CHECK (json_valid(did)),
    ending        TEXT NOT NULL,
    model         TEXT NOT NULL, -- the version of the electrical model
    content       TEXT NOT NULL, -- and that of the content
    causes        TEXT NOT NULL CHECK (json_valid(causes)), -- as ranked when it was sent
    reported      INTEGER NOT NULL,
    form_key      TEXT NOT NULL CHECK (form_key <> ''),
    PRIMARY KEY (site_id, id),
    UNIQUE (site_id, form_key),
    FOREIGN KEY (site_id, outage_id, setup_id) REFERENCES outages (site_id, id, setup_id),
    FOREIGN KEY (site_id, setup_id, setup_version) REFERENCES setup_versions (site_id, setup_id, version)
) STRICT;

CREATE INDEX reports_outage ON reports (site_id, outage_id, reported);
CREATE INDEX reports_at ON reports (site_id, reported);

-- Who sent a report, as far as anything tells: a number to call back, and a
-- hash of the visitor for the limits. It is no part of the record, and is
-- deleted in time.
CREATE TABLE senders (
    site_id   TEXT NOT NULL,
    report_id TEXT NOT NULL,
    callback  TEXT NOT NULL,
    visitor   TEXT NOT NULL,
    PRIMARY KEY (site_id, report_id),
    FOREIGN KEY (site_id, report_id) REFERENCES reports (site_id, id)
) STRICT;

-- What an outage really was. The newest finding counts; those before it stay.
CREATE TABLE findings (
    site_id   TEXT NOT NULL,
    outage_id TEXT NOT NULL,
    seq       INTEGER NOT NULL CHECK (seq > 0),
    what      TEXT NOT NULL CHECK (what IN ('fault', 'nothing', 'not-found')),
    part      TEXT NOT NULL CHECK ((part <> '') = (what = 'fault')),
    kind      TEXT NOT NULL CHECK ((kind <> '') = (what = 'fault')),
    mode      TEXT NOT NULL CHECK ((mode <> '') = (what = 'fault')),
    by_id     TEXT NOT NULL,
    by_name   TEXT NOT NULL,
    found     INTEGER NOT NULL,
    form_key  TEXT NOT NULL CHECK (form_key <> ''),
    PRIMARY KEY (site_id, outage_id, seq),
    UNIQUE (site_id, by_id, form_key),
    FOREIGN KEY (site_id, outage_id) REFERENCES outages (site_id, id),
    FOREIGN KEY (site_id, by_id) REFERENCES people (site_id, id)
) STRICT;

-- What a finding says in free words: it may be deleted, the finding stays.
CREATE TABLE notes (
    site_id   TEXT NOT NULL,
    outage_id TEXT NOT NULL,
    seq       INTEGER NOT NULL,
    note      TEXT NOT NULL CHECK (note <> ''),
    PRIMARY KEY (site_id, outage_id, seq),
    FOREIGN KEY (site_id, outage_id, seq) REFERENCES findings (site_id, outage_id, seq)
) STRICT;

-- What a meter read at a node. The newest at a node counts.
CREATE TABLE readings (
    site_id   TEXT NOT NULL,
    outage_id TEXT NOT NULL,
    seq       INTEGER NOT NULL CHECK (seq > 0),
    node      TEXT NOT NULL CHECK (node <> ''),
    volts     REAL NOT NULL CHECK (volts BETWEEN -100 AND 100),
    by_id     TEXT NOT NULL,
    by_name   TEXT NOT NULL,
    measured  INTEGER NOT NULL,
    form_key  TEXT NOT NULL CHECK (form_key <> ''),
    PRIMARY KEY (site_id, outage_id, seq),
    UNIQUE (site_id, by_id, form_key),
    FOREIGN KEY (site_id, outage_id) REFERENCES outages (site_id, id),
    FOREIGN KEY (site_id, by_id) REFERENCES people (site_id, id)
) STRICT;

-- What was reported, found and measured stays as it is. REPLACE deletes
-- without firing a delete trigger, so inserting over a row is refused too.

-- +goose StatementBegin
CREATE TRIGGER reports_kept_update BEFORE UPDATE ON reports BEGIN
    SELECT RAISE(ABORT, 'a report cannot be changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER reports_kept_delete BEFORE DELETE ON reports BEGIN
    SELECT RAISE(ABORT, 'a report cannot be deleted');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER reports_kept_replace BEFORE INSERT ON reports
WHEN EXISTS (
    SELECT 1 FROM reports WHERE site_id = NEW.site_id AND (id = NEW.id OR form_key = NEW.form_key)
) BEGIN
    SELECT RAISE(ABORT, 'a report cannot be replaced');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER outages_kept_update BEFORE UPDATE ON outages BEGIN
    SELECT RAISE(ABORT, 'an outage cannot be changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER outages_kept_delete BEFORE DELETE ON outages BEGIN
    SELECT RAISE(ABORT, 'an outage cannot be deleted');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER outages_kept_replace BEFORE INSERT ON outages
WHEN EXISTS (SELECT 1 FROM outages WHERE site_id = NEW.site_id AND id = NEW.id) BEGIN
    SELECT RAISE(ABORT, 'an outage cannot be replaced');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER findings_kept_update BEFORE UPDATE ON findings BEGIN
    SELECT RAISE(ABORT, 'a finding cannot be changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER findings_kept_delete BEFORE DELETE ON findings BEGIN
    SELECT RAISE(ABORT, 'a finding cannot be deleted');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER findings_kept_replace BEFORE INSERT ON findings
WHEN EXISTS (
    SELECT 1 FROM findings WHERE site_id = NEW.site_id
    AND ((outage_id = NEW.outage_id AND seq = NEW.seq) OR (by_id = NEW.by_id AND form_key = NEW.form_key))
) BEGIN
    SELECT RAISE(ABORT, 'a finding cannot be replaced');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER readings_kept_update BEFORE UPDATE ON readings BEGIN
    SELECT RAISE(ABORT, 'a reading cannot be changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER readings_kept_delete BEFORE DELETE ON readings BEGIN
    SELECT RAISE(ABORT, 'a reading cannot be deleted');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER readings_kept_replace BEFORE INSERT ON readings
WHEN EXISTS (
    SELECT 1 FROM readings WHERE site_id = NEW.site_id
    AND ((outage_id = NEW.outage_id AND seq = NEW.seq) OR (by_id = NEW.by_id AND form_key = NEW.form_key))
) BEGIN
    SELECT RAISE(ABORT, 'a reading cannot be replaced');
END;
-- +goose StatementEnd

-- What may be deleted may still not be put in another's words.

-- +goose StatementBegin
CREATE TRIGGER senders_kept_update BEFORE UPDATE ON senders BEGIN
    SELECT RAISE(ABORT, 'a sender cannot be changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER notes_kept_update BEFORE UPDATE ON notes BEGIN
    SELECT RAISE(ABORT, 'a note cannot be changed');
END;
-- +goose StatementEnd
