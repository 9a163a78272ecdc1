package record

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"math"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"lampwright/locales/problem"
)

// InOrder is the ending of a report that the set-up was seen in order: it is
// kept, and is part of no outage.
const InOrder = "in-order"

// Why a report was made.
const (
	Trouble  = "trouble"   // something looked wrong
	GoingOut = "going-out" // before an outing
	Shift    = "shift"     // at the start of one
)

// Report is what someone at a set-up sent to the desk. Whoever sends it is not
// signed in, so there is a limit, and nothing in it says who they are but the
// number to call back, where they gave one; that is forgotten in time.
type Report struct {
	ID, SiteID            string
	SetupID, SetupVersion string
	Language              string
	Purpose               string // Trouble, GoingOut or Shift
	Care                  []byte // JSON of a diagnosis.Care
	Did                   []byte // JSON of a []diagnosis.Done
	Ending                string // the verb of the ending reached, or InOrder
	ModelVersion          string // of the electrical model, when it was sent
	ContentVersion        string // and of the content
	Causes                []byte // JSON of the first MostCauses of a []diagnosis.Ranked, when it was sent
	Callback              string // "" for none
	Forgotten             bool   // whether a callback was given is not known any more
	Visitor               string // a hash of who sends, for the limits; "" is not known. It is never read back
	Key                   string // the form's; the same one again counts once
	At                    time.Time
}

// KioskVisitor begins the Visitor of a kiosk that is bound to a set-up. Its
// reports have room of their own: nobody elsewhere can use it up.
const KioskVisitor = "kiosk:"

// The most a report may hold, in bytes, but for the callback, in letters.
const (
	mostWord     = 64
	mostVisitor  = 128
	mostCare     = 1 << 10
	mostRanking  = 4 << 10
	mostDid      = 16 << 10
	MostCauses   = 5
	MostCallback = 40
	MostNote     = 300 // letters of a finding's note
)

// How many reports are taken in an hour, and how long after one another is of
// the same outage.
const (
	reportsPerVisitor = 6
	reportsPerKiosk   = 20
	reportsPerSetup   = 20
	reportsPerSite    = 200
	reportWindow      = time.Hour
	joinWithin        = 12 * time.Hour
)

// How many days a number to call back is kept: after the outage was first
// found to be something, and after the report at the latest.
const (
	CallbackDaysFound = 7
	CallbackDays      = 30
)

// fits refuses what is too large to be a report, or is none.
func (r *Report) fits() error {
	for _, word := range []string{
		r.ID, r.SetupID, r.SetupVersion, r.Language, r.Purpose, r.Ending, r.ModelVersion, r.ContentVersion, r.Key,
	} {
		if len(word) > mostWord {
			return problem.New(problem.TooLarge, "problem.report-large")
		}
	}
	switch {
	case r.Key == "":
		return errNoFormKey
	case len(r.Care) > mostCare, len(r.Did) > mostDid, len(r.Causes) > mostRanking, len(r.Visitor) > mostVisitor,
		utf8.RuneCountInString(r.Callback) > MostCallback:
		return problem.New(problem.TooLarge, "problem.report-large")
	case !json.Valid(r.Care), !json.Valid(r.Did), !json.Valid(r.Causes), !utf8.ValidString(r.Callback):
		return problem.New(problem.Invalid, "problem.form")
	}
	return nil
}

// AddReport keeps a report and joins it to an outage. The same key again
// changes nothing and is no error, unless it is about another set-up: then it
// is refused as moved. Too many in an hour are refused.
func (s *Store) AddReport(ctx context.Context, r Report) (err error) {
	defer problem.In(&err, "record.AddReport")
	if r.Causes == nil {
		r.Causes = []byte("[]")
	}
	if err := r.fits(); err != nil {
		return err
	}
	if r.ID == "" {
		r.ID = NewID()
	}
	return s.write(ctx, func(tx *sql.Tx) error {
		var setupID string
		err := tx.QueryRowContext(ctx, `SELECT setup_id FROM reports WHERE site_id = $1 AND form_key = $2`,
			r.SiteID, r.Key).Scan(&setupID)
		switch {
		case err == nil && setupID != r.SetupID:
			return problem.New(problem.Moved, "problem.moved")
		case !errors.Is(err, sql.ErrNoRows):
			return err
		}
		if err := room(ctx, tx, r); err != nil {
			return err
		}
		var outage string
		if r.Ending != InOrder {
			if outage, err = join(ctx, tx, r); err != nil {
				return err
			}
		}
		if _, err = tx.ExecContext(ctx, `
			INSERT INTO reports (site_id, id, outage_id, setup_id, setup_version, language, purpose, care, did, ending,
				model, content, causes, reported, form_key)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15)`,
			r.SiteID, r.ID, orNull(outage), r.SetupID, r.SetupVersion, r.Language, r.Purpose, string(r.Care), string(r.Did),
			r.Ending, r.ModelVersion, r.ContentVersion, string(r.Causes), r.At.UnixMilli(), r.Key); err != nil {
			return err
		}
		if _, err = tx.ExecContext(ctx, `INSERT INTO senders (site_id, report_id, callback, visitor) VALUES ($1, $2, $3, $4)`,
			r.SiteID, r.ID, r.Callback, r.Visitor); err != nil {
			return err
		}
		return forget(ctx, tx, r.At)
	})
}

// room refuses a report where too many came within an hour: of its visitor
// first, then of its set-up and its site. A kiosk's count apart.
func room(ctx context.Context, tx *sql.Tx, r Report) error {
	var visitor, here, site int
	if err := tx.QueryRowContext(ctx, `
		SELECT coalesce(sum(visitor = $1), 0), coalesce(sum(NOT kiosk AND setup_id = $2), 0), coalesce(sum(NOT kiosk), 0)
		FROM (SELECT r.setup_id, coalesce(w.visitor, '') AS visitor, substr(coalesce(w.visitor, ''), 1, length($3)) = $3 AS kiosk
			FROM reports r LEFT JOIN senders w ON w.site_id = r.site_id AND w.report_id = r.id
			WHERE r.site_id = $4 AND r.reported > $5)`,
		r.Visitor, r.SetupID, KioskVisitor, r.SiteID, r.At.Add(-reportWindow).UnixMilli()).Scan(&visitor, &here, &site); err != nil {
		return err
	}
	full := r.Visitor != "" && visitor >= reportsPerVisitor || here >= reportsPerSetup || site >= reportsPerSite
	if strings.HasPrefix(r.Visitor, KioskVisitor) {
		full = visitor >= reportsPerKiosk
	}
	if full {
		return problem.New(problem.TooMany, "problem.reports-many")
	}
	return nil
}

// ReportSent tells whether a report with this form's key was taken.
func (s *Store) ReportSent(ctx context.Context, siteID, key string) (sent bool, err error) {
	defer problem.In(&err, "record.ReportSent")
	err = s.reader.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM reports WHERE site_id = $1 AND form_key = $2)`,
		siteID, key).Scan(&sent)
	return sent, understood(err)
}

// ForgetCallbacks deletes the numbers to call back whose time has come, with
// all else that is kept of who sent.
func (s *Store) ForgetCallbacks(ctx context.Context, now time.Time) (err error) {
	defer problem.In(&err, "record.ForgetCallbacks")
	return s.write(ctx, func(tx *sql.Tx) error { return forget(ctx, tx, now) })
}

func forget(ctx context.Context, tx *sql.Tx, now time.Time) error {
	_, err := tx.ExecContext(ctx, `
		DELETE FROM senders WHERE EXISTS (
			SELECT 1 FROM reports r WHERE r.site_id = senders.site_id AND r.id = senders.report_id AND (
				r.reported <= $1
				OR EXISTS (SELECT 1 FROM findings f WHERE f.site_id = r.site_id AND f.outage_id = r.outage_id AND f.found <= $2)))`,
		now.AddDate(0, 0, -CallbackDays).UnixMilli(), now.AddDate(0, 0, -CallbackDaysFound).UnixMilli())
	return err
}

// join finds the outage that a report is of: the newest of its set-up with a
// report close enough to it in time, that was not closed by then. A report
// that arrives late joins as it would have in time. Without one, it begins one.
func join(ctx context.Context, tx *sql.Tx, r Report) (id string, err error) {
	at, within := r.At.UnixMilli(), joinWithin.Milliseconds()
	err = tx.QueryRowContext(ctx, `
		SELECT o.id FROM outages o JOIN reports r ON r.site_id = o.site_id AND r.outage_id = o.id
		WHERE o.site_id = $1 AND o.setup_id = $2
			AND NOT EXISTS (SELECT 1 FROM findings f WHERE f.site_id = o.site_id AND f.outage_id = o.id AND f.found <= $3)
		GROUP BY o.id HAVING $3 BETWEEN min(r.reported) - $4 AND max(r.reported) + $4
		ORDER BY max(r.reported) DESC, o.id LIMIT 1`, r.SiteID, r.SetupID, at, within).Scan(&id)
	if !errors.Is(err, sql.ErrNoRows) {
		return id, err
	}
	id = NewID()
	_, err = tx.ExecContext(ctx, `INSERT INTO outages (site_id, id, setup_id) VALUES ($1, $2, $3)`, r.SiteID, id, r.SetupID)
	return id, err
}

// Outage is what the reports of it tell, and what it was found to be.
type Outage struct {
	ID, SiteID        string
	SetupID, SetupTag string
	First, Last       time.Time // reports
	Reports           int
	Newest            Report
	Finding           *Finding // the newest, nil while it is open
}

// What an outage can be found to be, beside a fault.
const (
	FoundFault   = "fault"
	FoundNothing = "nothing"   // nothing was wrong
	NotFound     = "not-found" // it was looked for, and not found
)

// Finding is what an outage really was, as a member of staff says. One after
// it supersedes it; both stay.
type Finding struct {
	Seq              int
	What             string // FoundFault, FoundNothing or NotFound
	Part, Kind, Mode string // of a fault
	Note             string // "" where it was deleted, too
	ByID, By         string
	At               time.Time
	Key              string
}

// Measured is what a meter read at a node of an outage's set-up.
type Measured struct {
	Seq      int
	Node     string
	Volts    float64
	ByID, By string
	At       time.Time
	Key      string
}

const reportColumns = `r.id, r.site_id, r.setup_id, r.setup_version, r.language, r.purpose, r.care, r.did, r.ending,
	r.model, r.content, r.causes, coalesce(w.callback, ''), w.report_id IS NULL, r.form_key, r.reported`

// ofReports is where reportColumns are read from, with what is left of the
// sender.
const ofReports = `reports r LEFT JOIN senders w ON w.site_id = r.site_id AND w.report_id = r.id`

func (r *Report) columns() []any {
	return []any{
		&r.ID, &r.SiteID, &r.SetupID, &r.SetupVersion, &r.Language, &r.Purpose, &r.Care, &r.Did, &r.Ending,
		&r.ModelVersion, &r.ContentVersion, &r.Causes, &r.Callback, &r.Forgotten, &r.Key,
		stamp{&r.At},
	}
}

const findingColumns = `f.seq, f.what, f.part, f.kind, f.mode, note.note, f.by_id, f.by_name, f.found, f.form_key`

// withNote joins the note of a finding, where there is one.
const withNote = ` LEFT JOIN notes note ON note.site_id = f.site_id AND note.outage_id = f.outage_id AND note.seq = f.seq `

// columns are all nullable: an open outage has none, and not every finding has
// a note.
func (f *Finding) columns() []any {
	return []any{
		maybe(&f.Seq), maybe(&f.What), maybe(&f.Part), maybe(&f.Kind), maybe(&f.Mode), maybe(&f.Note),
		maybe(&f.ByID), maybe(&f.By),
		stamp{&f.At},
		maybe(&f.Key),
	}
}

const selectOutages = `
	SELECT o.id, o.site_id, o.setup_id, s.tag, g.first, g.last, g.count, ` + reportColumns + `, ` + findingColumns + `
	FROM outages o
	JOIN setups s ON s.site_id = o.site_id AND s.id = o.setup_id
	JOIN (SELECT site_id, outage_id, min(reported) AS first, max(reported) AS last, count(*) AS count
		FROM reports WHERE site_id = $1 AND outage_id IS NOT NULL GROUP BY site_id, outage_id) g
		ON g.site_id = o.site_id AND g.outage_id = o.id
	JOIN reports r ON r.site_id = o.site_id AND r.id = (
		SELECT n.id FROM reports n WHERE n.site_id = o.site_id AND n.outage_id = o.id
		ORDER BY n.reported DESC, n.id DESC LIMIT 1)
	LEFT JOIN senders w ON w.site_id = r.site_id AND w.report_id = r.id
	LEFT JOIN findings f ON f.site_id = o.site_id AND f.outage_id = o.id AND f.seq = (
		SELECT max(n.seq) FROM findings n WHERE n.site_id = o.site_id AND n.outage_id = o.id)` + withNote

func readOutage(scan scan) (o Outage, err error) {
	var f Finding
	into := []any{
		&o.ID, &o.SiteID, &o.SetupID, &o.SetupTag,
		stamp{&o.First},
		stamp{&o.Last},
		&o.Reports,
	}
	into = append(into, o.Newest.columns()...)
	err = scan(append(into, f.columns()...)...)
	if f.Seq > 0 {
		o.Finding = &f
	}
	return o, err
}

// OpenOutages reads the outages without a finding, the latest report first.
func (s *Store) OpenOutages(ctx context.Context, siteID string) (_ []Outage, err error) {
	defer problem.In(&err, "record.OpenOutages")
	return all(ctx, s.reader, readOutage, selectOutages+`
		WHERE o.site_id = $1 AND f.seq IS NULL ORDER BY g.last DESC, o.id`, siteID)
}

// ClosedOutages reads the outages with a finding, the latest found first, at
// most so many.
func (s *Store) ClosedOutages(ctx context.Context, siteID string, most int) (_ []Outage, err error) {
	defer problem.In(&err, "record.ClosedOutages")
	return all(ctx, s.reader, readOutage, selectOutages+`
		WHERE o.site_id = $1 AND f.seq IS NOT NULL ORDER BY f.found DESC, o.id LIMIT $2`, siteID, most)
}

// Told is one story of an outage, by everyone who sent the same: the newest of
// their reports stands for all.
type Told struct {
	Report
	Count     int
	First     time.Time
	Callbacks []string // the newest first, each once
}

// Case is an outage with all there is about it, each oldest first.
type Case struct {
	Outage
	Sent     []Told
	Readings []Measured
	Findings []Finding
}

// fold puts reports, oldest first, together that tell the same of the same
// set-up and ended alike.
func fold(reports []Report) (out []Told) {
	for _, r := range reports {
		told := Told{Report: r, First: r.At}
		if i := slices.IndexFunc(out, func(t Told) bool {
			return t.SetupVersion == r.SetupVersion && t.Ending == r.Ending && bytes.Equal(t.Care, r.Care) && bytes.Equal(t.Did, r.Did)
		}); i >= 0 {
			told.Count, told.First, told.Callbacks = out[i].Count, out[i].First, out[i].Callbacks
			out = slices.Delete(out, i, i+1)
		}
		told.Count++
		if r.Callback != "" {
			others := slices.DeleteFunc(told.Callbacks, func(c string) bool { return c == r.Callback })
			told.Callbacks = slices.Insert(others, 0, r.Callback)
		}
		out = append(out, told)
	}
	return out
}

// Case reads an outage whole.
func (s *Store) Case(ctx context.Context, siteID, id string) (k Case, err error) {
	defer problem.In(&err, "record.Case")
	err = s.snapshot(ctx, func(tx *sql.Tx) error {
		if k.Outage, err = one(ctx, tx, readOutage, "problem.unknown-outage",
			selectOutages+` WHERE o.site_id = $1 AND o.id = $2`, siteID, id); err != nil {
			return err
		}
		sent, err := all(ctx, tx, func(scan scan) (r Report, err error) {
			err = scan(r.columns()...)
			return r, err
		}, `SELECT `+reportColumns+` FROM `+ofReports+` WHERE r.site_id = $1 AND r.outage_id = $2
			ORDER BY r.reported, r.id`, siteID, id)
		if err != nil {
			return err
		}
		k.Sent = fold(sent)
		if k.Readings, err = all(ctx, tx, func(scan scan) (m Measured, err error) {
			err = scan(&m.Seq, &m.Node, &m.Volts, &m.ByID, &m.By, stamp{&m.At}, &m.Key)
			return m, err
		}, `SELECT seq, node, volts, by_id, by_name, measured, form_key FROM readings
			WHERE site_id = $1 AND outage_id = $2 ORDER BY seq`, siteID, id); err != nil {
			return err
		}
		k.Findings, err = all(ctx, tx, func(scan scan) (f Finding, err error) {
			err = scan(f.columns()...)
			return f, err
		}, `SELECT `+findingColumns+` FROM findings f`+withNote+`WHERE f.site_id = $1 AND f.outage_id = $2 ORDER BY f.seq`, siteID, id)
		return err
	})
	return k, err
}

// again tells whether a form was taken before, from the same person: then it
// is about the same outage, or refused as moved.
func again(ctx context.Context, tx *sql.Tx, table, siteID, outageID, byID, key string) (bool, error) {
	var about string
	err := tx.QueryRowContext(ctx, `SELECT outage_id FROM `+table+` WHERE site_id = $1 AND by_id = $2 AND form_key = $3`,
		siteID, byID, key).Scan(&about)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return false, nil
	case err == nil && about != outageID:
		return false, problem.New(problem.Moved, "problem.moved")
	}
	return true, err
}

// known refuses an outage that is not of this site.
func known(ctx context.Context, tx *sql.Tx, siteID, outageID string) error {
	_, err := one(ctx, tx, func(scan scan) (id string, err error) {
		err = scan(&id)
		return id, err
	}, "problem.unknown-outage", `SELECT id FROM outages WHERE site_id = $1 AND id = $2`, siteID, outageID)
	return err
}

// AddFinding records what an outage really was, and closes it. Its Seq is one
// more than the form showed: where another came meanwhile, it is refused as
// moved. The same key from the same person again changes nothing.
func (s *Store) AddFinding(ctx context.Context, siteID, outageID string, f Finding) (err error) {
	defer problem.In(&err, "record.AddFinding")
	switch {
	case f.Key == "":
		return errNoFormKey
	case utf8.RuneCountInString(f.Note) > MostNote:
		return problem.New(problem.TooLarge, "problem.note-large", "Most", MostNote)
	case !utf8.ValidString(f.Note):
		return problem.New(problem.Invalid, "problem.form")
	}
	return s.write(ctx, func(tx *sql.Tx) error {
		if err := known(ctx, tx, siteID, outageID); err != nil {
			return err
		}
		if done, err := again(ctx, tx, "findings", siteID, outageID, f.ByID, f.Key); err != nil || done {
			return err
		}
		done, err := tx.ExecContext(ctx, `
			INSERT INTO findings (site_id, outage_id, seq, what, part, kind, mode, by_id, by_name, found, form_key)
			SELECT $1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11
			WHERE $3 = 1 + (SELECT coalesce(max(seq), 0) FROM findings WHERE site_id = $1 AND outage_id = $2)`,
			siteID, outageID, f.Seq, f.What, f.Part, f.Kind, f.Mode, f.ByID, f.By, f.At.UnixMilli(), f.Key)
		if err != nil {
			return err
		}
		switch n, err := done.RowsAffected(); {
		case err != nil:
			return err
		case n == 0:
			return problem.New(problem.Moved, "problem.moved")
		case f.Note == "":
			return nil
		}
		_, err = tx.ExecContext(ctx, `INSERT INTO notes (site_id, outage_id, seq, note) VALUES ($1, $2, $3, $4)`,
			siteID, outageID, f.Seq, f.Note)
		return err
	})
}

// MostVolts is the most that a reading may be, either way: far above any
// direct volts of a set-up.
const MostVolts = 100

// AddReading records what a meter read. The same key from the same person
// again changes nothing.
func (s *Store) AddReading(ctx context.Context, siteID, outageID string, m Measured) (err error) {
	defer problem.In(&err, "record.AddReading")
	switch {
	case m.Key == "":
		return errNoFormKey
	case !(math.Abs(m.Volts) <= MostVolts), m.Node == "", len(m.Node) > mostWord: // not a number is no reading either
		return problem.New(problem.Invalid, "problem.reading", "Most", MostVolts)
	}
	return s.write(ctx, func(tx *sql.Tx) error {
		if err := known(ctx, tx, siteID, outageID); err != nil {
			return err
		}
		if done, err := again(ctx, tx, "readings", siteID, outageID, m.ByID, m.Key); err != nil || done {
			return err
		}
		_, err := tx.ExecContext(ctx, `
			INSERT INTO readings (site_id, outage_id, seq, node, volts, by_id, by_name, measured, form_key)
			SELECT $1, $2, coalesce(max(seq), 0) + 1, $3, $4, $5, $6, $7, $8 FROM readings WHERE site_id = $1 AND outage_id = $2`,
			siteID, outageID, m.Node, m.Volts, m.ByID, m.By, m.At.UnixMilli(), m.Key)
		return err
	})
}

// Found is how often an outage was found to be something, on one set-up, after
// reports that ended in one way; the newest finding of each outage counts.
type Found struct {
	What, Part, Kind, Mode string
	SetupID, SetupTag      string
	SetupVersion           string // of the newest report
	Ending                 string // of the newest report
	Count                  int
}

// Found reads what the outages of a site were found to be.
func (s *Store) Found(ctx context.Context, siteID string) (_ []Found, err error) {
	defer problem.In(&err, "record.Found")
	return all(ctx, s.reader, func(scan scan) (f Found, err error) {
		err = scan(&f.What, &f.Part, &f.Kind, &f.Mode, &f.SetupID, &f.SetupTag, &f.SetupVersion, &f.Ending, &f.Count)
		return f, err
	}, `
		SELECT f.what, f.part, f.kind, f.mode, o.setup_id, s.tag, r.setup_version, r.ending, count(*)
		FROM findings f
		JOIN outages o ON o.site_id = f.site_id AND o.id = f.outage_id
		JOIN setups s ON s.site_id = o.site_id AND s.id = o.setup_id
		JOIN reports r ON r.site_id = o.site_id AND r.id = (
			SELECT n.id FROM reports n WHERE n.site_id = o.site_id AND n.outage_id = o.id
			ORDER BY n.reported DESC, n.id DESC LIMIT 1)
		WHERE f.site_id = $1 AND f.seq = (
			SELECT max(n.seq) FROM findings n WHERE n.site_id = f.site_id AND n.outage_id = f.outage_id)
		GROUP BY f.what, f.part, f.kind, f.mode, o.setup_id, s.tag, r.setup_version, r.ending
		ORDER BY f.what, f.kind, f.mode, f.part, s.tag, o.setup_id, r.setup_version, r.ending`, siteID)
}
