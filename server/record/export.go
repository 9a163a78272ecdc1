package record

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"slices"
	"strings"
	"time"

	"lampwright/locales/problem"
)

// held are the rows of a table that are about a person or were written by
// them: $1 is the site, $2 the person.
var held = []struct{ table, where string }{
	{"people", `t.id = $2`},
	{"lessons", `t.person_id = $2`},
	{"places", `t.person_id = $2`},
	{"runs", `t.person_id = $2`},
	{"steps", `t.run_id IN (SELECT id FROM runs WHERE site_id = $1 AND person_id = $2)`},
	{"sign_offs", `(t.person_id = $2 OR t.educator_id = $2)`},
	{"sign_off_events", `(t.by_id = $2 OR t.sign_off_id IN (SELECT id FROM sign_offs WHERE site_id = $1 AND person_id = $2))`},
	{"invitations", `t.person_id = $2`},
	{"sessions", `t.person_id = $2`},
	{"feeds", `t.person_id = $2`},
	{"outbox", `t.person_id = $2`},
	{"findings", `t.by_id = $2`},
	{"readings", `t.by_id = $2`},
	{"imports", `t.by_id = $2`},
	{"audit", `(t.subject = $2 OR t.actor = $2)`},
}

// secret columns let someone in, or only make a form count once: they say
// nothing about anyone. Of an import that was not done yet, data is about others.
var secretColumns = []string{"secret", "code_key", "code_used", "token_hash", "form_token", "form_key"}

var secretIn = map[string][]string{"sessions": {"id"}, "imports": {"data"}}

// timeColumns are kept as milliseconds.
var timeColumns = []string{
	"answered", "at", "changed", "created", "done", "ended", "erased", "found", "lapses", "made", "measured",
	"reached", "seen", "signed", "started", "until",
}

// Export reads all that a site holds on a person, by table: each row as its
// columns, with times in full and without what lets someone in. What they did at
// a site that let them in is that site's to tell; "elsewhere" says which there
// are.
func (s *Store) Export(ctx context.Context, siteID, personID string) (out map[string][]map[string]any, err error) {
	defer problem.In(&err, "record.Export")
	out = map[string][]map[string]any{}
	err = s.snapshot(ctx, func(tx *sql.Tx) error {
		for _, h := range held {
			// The same parameters for every table: the numbers go by where they first stand.
			rows, err := exported(ctx, tx, h.table, `SELECT t.* FROM `+h.table+` t WHERE t.site_id = $1 AND $2 <> '' AND `+h.where, siteID, personID)
			if err != nil {
				return err
			}
			for _, row := range rows {
				aboutOthers(h.table, row, personID)
			}
			out[h.table] = rows
		}
		return nil
	})
	if err == nil {
		var others []Post
		others, err = s.Posts(ctx, personID)
		for _, p := range others {
			if p.SiteID != siteID {
				out["elsewhere"] = append(out["elsewhere"], map[string]any{"site_id": p.SiteID, "site": p.Site, "role": p.Role})
			}
		}
	}
	if err == nil && len(out["people"]) == 0 {
		err = problem.New(problem.Unknown, "problem.unknown-person")
	}
	return out, err
}

// aboutOthers takes out of a row what it says of someone else: that this
// person changed it or signed it is about them, what it says is not.
func aboutOthers(table string, row map[string]any, personID string) {
	switch {
	case table == "audit" && row["subject"] != personID:
		delete(row, "old")
		delete(row, "new")
	case table == "sign_offs" && row["person_id"] != personID:
		for _, column := range []string{"person_id", "person_name", "checklist", "rating"} {
			delete(row, column)
		}
	}
}

func exported(ctx context.Context, tx *sql.Tx, table, query string, values ...any) (out []map[string]any, err error) {
	rows, err := tx.QueryContext(ctx, query, values...)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	names, err := rows.Columns()
	if err != nil {
		return nil, err
	}
	for rows.Next() {
		cells, into := make([]any, len(names)), make([]any, len(names))
		for i := range cells {
			into[i] = &cells[i]
		}
		if err := rows.Scan(into...); err != nil {
			return nil, err
		}
		row := map[string]any{}
		for i, name := range names {
			if slices.Contains(secretColumns, name) || slices.Contains(secretIn[table], name) {
				continue
			}
			row[name] = told(name, cells[i])
		}
		out = append(out, row)
	}
	return out, rows.Err()
}

// told is a value for a reader: times in full, and JSON as it is.
func told(column string, v any) any {
	switch v := v.(type) {
	case int64:
		if slices.Contains(timeColumns, column) && v != 0 {
			return time.UnixMilli(v).UTC().Format(time.RFC3339)
		}
	case string:
		if strings.HasPrefix(v, "{") && json.Valid([]byte(v)) {
			return json.RawMessage(v)
		}
	}
	return v
}
