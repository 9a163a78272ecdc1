package record

import (
	"bytes"
	"context"
	"database/sql"
	"iter"
	"net/url"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"lampwright/locales/problem"
	"lampwright/server/ledger"
)

// Flaw is something wrong with what was signed: where, and what, as a message
// key.
type Flaw struct {
	Where string // an entry's number, a row's kind and id, or "" for the log as a whole
	Key   string
}

// The flaws of rows, beside those of the log.
const (
	rowAltered  = "ledger.row.altered"  // it is not what the log holds
	rowMissing  = "ledger.row.missing"  // the log holds it, and it is gone
	rowUnlogged = "ledger.row.unlogged" // the log does not hold it
	rowHeld     = "ledger.row.held"     // it was erased, and is still there
)

// Verified is what was found.
type Verified struct {
	Entries    int64
	Checkpoint []byte
	Verifier   string // that it was checked by
	Flaws      []Flaw
}

// Verify holds everything that was signed in a data directory to its log, and
// the log to its newest checkpoint; to one that was kept outside too, if there
// is one. It only reads, and may while the server runs. verifier is the line
// that was pinned; without one, the key file's own.
func Verify(ctx context.Context, dir, verifier string, outside []byte) (v Verified, err error) {
	defer problem.In(&err, "record.Verify")
	path, err := filepath.Abs(filepath.Join(dir, databaseFile))
	if err != nil {
		return v, err
	}
	if v.Verifier = verifier; verifier == "" {
		key, err := ledger.LoadKey(filepath.Join(dir, keyFile))
		if err != nil {
			return v, problem.Wrap(err, problem.Unavailable, "problem.log-key")
		}
		v.Verifier = key.Verifier()
	}
	name := url.URL{Scheme: "file", Path: path, RawQuery: readerParameters}
	db, err := sql.Open("sqlite3", name.String())
	if err != nil {
		return v, err
	}
	defer func() { _ = db.Close() }() // it only read
	s := &Store{reader: db}
	err = s.read(ctx, func(tx *sql.Tx) error {
		rows, err := signedRows(ctx, tx)
		if err != nil {
			return err
		}
		if v.Checkpoint, err = headOf(ctx, tx); err != nil {
			return err
		}
		var wrong []Flaw
		entries := func(yield func(ledger.Entry, error) bool) {
			for e, err := range walk(ctx, tx) {
				if err == nil {
					v.Entries++
					wrong = append(wrong, rows.match(e)...)
				}
				if !yield(e, err) {
					return
				}
			}
		}
		found, err := ledger.Audit(entries, v.Checkpoint, []string{v.Verifier}, outside)
		if err != nil {
			return err
		}
		for _, f := range found {
			where := ""
			if f.Index >= 0 {
				where = strconv.FormatInt(f.Index, 10)
			}
			v.Flaws = append(v.Flaws, Flaw{where, f.What.Key()})
		}
		v.Flaws = append(v.Flaws, wrong...)
		v.Flaws = append(v.Flaws, rows.unlogged()...)
		return nil
	})
	return v, err
}

func headOf(ctx context.Context, q querier) (head []byte, err error) {
	heads, err := all(ctx, q, func(scan scan) (head []byte, err error) {
		err = scan(&head)
		return head, err
	}, `SELECT checkpoint FROM head`)
	if len(heads) == 0 {
		return nil, err
	}
	return heads[0], err
}

// walk reads the entries in their order, without holding them all.
func walk(ctx context.Context, q querier) iter.Seq2[ledger.Entry, error] {
	return func(yield func(ledger.Entry, error) bool) {
		rows, err := q.QueryContext(ctx, selectEntries+` ORDER BY idx`)
		if err != nil {
			yield(ledger.Entry{}, understood(err))
			return
		}
		defer rows.Close()
		for rows.Next() {
			e, err := readEntry(rows.Scan)
			if !yield(e, understood(err)) || err != nil {
				return
			}
		}
		if err := rows.Err(); err != nil {
			yield(ledger.Entry{}, understood(err))
		}
	}
}

// signed are the rows that the log must hold, by kind and id.
type signed map[string]*signedRow

type signedRow struct {
	record []byte
	entry  *int64 // as the row says; nil where rows say nothing
	seen   bool
}

func signedRows(ctx context.Context, q querier) (signed, error) {
	rows := signed{}
	add := func(e entered, err error) error {
		if err == nil {
			rows[e.kind] = &signedRow{record: e.record}
		}
		return err
	}
	signOffs, err := all(ctx, q, readSignOff, `SELECT `+signOffColumns+` FROM sign_offs o`)
	if err != nil {
		return nil, err
	}
	for _, o := range signOffs {
		if err := add(o.entered()); err != nil {
			return nil, err
		}
	}
	happened, err := all(ctx, q, readEvent, `SELECT `+eventColumns+` FROM sign_off_events e`)
	if err != nil {
		return nil, err
	}
	for _, e := range happened {
		if err := add(e.entered()); err != nil {
			return nil, err
		}
	}
	var known bool // not in a folder that this program's version never opened
	err = q.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM pragma_table_info('sign_offs') WHERE name = 'entry')`).Scan(&known)
	if err != nil || !known {
		return rows, understood(err)
	}
	_, err = all(ctx, q, func(scan scan) (none struct{}, err error) {
		var kind string
		var entry int64
		err = scan(&kind, &entry)
		if row := rows[kind]; row != nil && err == nil {
			row.entry = &entry
		}
		return none, err
	}, `
		SELECT '`+kindSignOff+`' || id, coalesce(entry, -1) FROM sign_offs
		UNION ALL
		SELECT '`+kindEvent+`' || id, coalesce(entry, -1) FROM sign_off_events`)
	return rows, err
}

// match holds the row of an entry to it.
func (rows signed) match(e ledger.Entry) []Flaw {
	if !strings.HasPrefix(e.Kind, kindSignOff) && !strings.HasPrefix(e.Kind, kindEvent) {
		return nil
	}
	row := rows[e.Kind]
	switch {
	case row == nil && e.Record == nil:
		return nil // erased; whether rightly, the audit says
	case row == nil:
		return []Flaw{{e.Kind, rowMissing}}
	}
	row.seen = true
	switch {
	case e.Record == nil:
		return []Flaw{{e.Kind, rowHeld}}
	case !bytes.Equal(row.record, e.Record), row.entry != nil && *row.entry != e.Index:
		return []Flaw{{e.Kind, rowAltered}}
	}
	return nil
}

func (rows signed) unlogged() (out []Flaw) {
	for kind, row := range rows {
		if !row.seen {
			out = append(out, Flaw{kind, rowUnlogged})
		}
	}
	slices.SortFunc(out, func(a, b Flaw) int { return strings.Compare(a.Where, b.Where) })
	return out
}
