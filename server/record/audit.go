package record

import (
	"bytes"
	"context"
	"encoding/json"
	"time"

	"lampwright/locales/problem"
)

type actorKey struct{}

// By says in a context who it is that changes things.
func By(ctx context.Context, personID string) context.Context {
	return context.WithValue(ctx, actorKey{}, personID)
}

// audit writes down a change in its own transaction. What stays as it was is
// no change.
func audit(ctx context.Context, tx transaction, siteID, kind, subject string, before, after any, at time.Time) error {
	old, err := written(before)
	if err != nil {
		return err
	}
	now, err := written(after)
	if err != nil {
		return err
	}
	if bytes.Equal(old, now) {
		return nil
	}
	actor, _ := ctx.Value(actorKey{}).(string)
	_, err = tx.ExecContext(ctx, `
		INSERT INTO audit (site_id, at, actor, kind, subject, old, new) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
		siteID, at.UnixMilli(), actor, kind, subject, orNull(string(old)), orNull(string(now)))
	return err
}

// written is a value as JSON, empty for none.
func written(v any) ([]byte, error) {
	if v == nil {
		return nil, nil
	}
	return json.Marshal(v)
}

// AboutPeople are the kinds of change whose subject is a person.
var AboutPeople = []string{"person", "invitation", "feed"}

// Change is one line of the audit trail.
type Change struct {
	At            time.Time
	Actor         string // a person's id, "" for a command at the machine
	Kind, Subject string
	Old, New      string // JSON; "" where there was or is none, and once erased
}

// Changes reads the audit trail of a site, newest first, at most some lines,
// before the moment given; of one subject, or of all where it is "".
func (s *Store) Changes(ctx context.Context, siteID, subject string, before time.Time, most int) (_ []Change, err error) {
	defer problem.In(&err, "record.Changes")
	return all(ctx, s.reader, func(scan scan) (c Change, err error) {
		err = scan(stamp{&c.At}, &c.Actor, &c.Kind, &c.Subject, maybe(&c.Old), maybe(&c.New))
		return c, err
	}, `
		SELECT at, actor, kind, subject, old, new FROM audit
		WHERE site_id = $1 AND ($2 = '' OR subject = $2) AND at <= $3 ORDER BY id DESC LIMIT $4`,
		siteID, subject, before.UnixMilli(), most)
}
