package record

import (
	"fmt"
	"math"
	"strings"
	"sync"
	"testing"
	"time"

	"lampwright/locales/problem"
)

func report(key string, at time.Time) Report {
	return Report{
		SiteID: site, SetupID: "chair-12", SetupVersion: "v1", Language: "ar", Purpose: "trouble", Care: []byte(`{}`),
		Did: []byte(`[]`), Ending: "call-technologist", ModelVersion: "2", ContentVersion: "3", Causes: []byte(`[{"P":1}]`),
		Callback: "555-0123", Key: key, At: at,
	}
}

func by(visitor string, r Report) Report {
	r.Visitor = visitor
	return r
}

func onSetup(r Report, id, version string) Report {
	r.SetupID, r.SetupVersion = id, version
	return r
}

// twoSetups is a house with another set-up in it.
func twoSetups(t testing.TB) *Store {
	t.Helper()
	s := house(t)
	must(t, s.PutSetup(ctx, Setup{"chair-7", site, "Chair 7", "w1", []byte("tag: Chair 7\n")}, noon))
	return s
}

func openOutages(t testing.TB, s *Store) []Outage {
	t.Helper()
	list, err := s.OpenOutages(ctx, site)
	must(t, err)
	return list
}

func onlyOutage(t testing.TB, s *Store) Outage {
	t.Helper()
	list := openOutages(t, s)
	if len(list) != 1 {
		t.Fatalf("%d open outages, expected 1", len(list))
	}
	return list[0]
}

func TestReportIsKept(t *testing.T) {
	s := house(t)
	first := report("k", noon)
	must(t, s.AddReport(ctx, first))
	o := onlyOutage(t, s)
	first.ID = o.Newest.ID
	same(t, o, Outage{o.ID, site, "chair-12", "Chair 12", noon, noon, 1, first, nil})
	k, err := s.Case(ctx, site, o.ID)
	must(t, err)
	same(t, k, Case{Outage: o, Sent: []Told{{Report: first, Count: 1, First: noon, Callbacks: []string{"555-0123"}}}})
	_, err = s.Case(ctx, site, "moon")
	wants(t, err, problem.Unknown, "problem.unknown-outage")
}

func TestReportsAreJoined(t *testing.T) {
	const h = time.Hour
	for _, c := range []struct {
		name    string
		reports []time.Duration // after noon, in the order in which they arrive
		closed  time.Duration   // a finding arrives after the first report, then; 0 for none
		outages int
	}{
		{"one", []time.Duration{0}, 0, 1},
		{"a duplicate", []time.Duration{0, time.Second}, 0, 1},
		{"twelve hours on", []time.Duration{0, 12 * h}, 0, 1},
		{"a moment more than twelve hours on", []time.Duration{0, 12*h + time.Millisecond}, 0, 2},
		{"each within twelve hours of the last", []time.Duration{0, 11 * h, 22 * h, 33 * h}, 0, 1},
		{"arrived late", []time.Duration{0, -11 * h}, 0, 1},
		{"arrived later than that", []time.Duration{0, -13 * h}, 0, 2},
		{"after it was closed", []time.Duration{0, 2 * h}, h, 2},
		{"made before it was closed, arrived after", []time.Duration{0, h / 2}, h, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := house(t)
			for i, after := range c.reports {
				must(t, s.AddReport(ctx, report(fmt.Sprint(i), noon.Add(after))))
				if i == 0 && c.closed > 0 {
					must(t, s.AddFinding(ctx, site, onlyOutage(t, s).ID, Finding{Seq: 1, What: FoundNothing, ByID: "omar", Key: "f", At: noon.Add(c.closed)}))
				}
			}
			closed, err := s.ClosedOutages(ctx, site, 9)
			must(t, err)
			list := append(openOutages(t, s), closed...)
			if len(list) != c.outages {
				t.Fatalf("%d outages, expected %d", len(list), c.outages)
			}
			count := 0
			for _, o := range list {
				count += o.Reports
				if o.First.After(o.Last) || o.Newest.At != o.Last {
					t.Errorf("%+v", o)
				}
			}
			same(t, count, len(c.reports))
		})
	}
}

func TestReportsOfOtherSetupsAreNotJoined(t *testing.T) {
	s := twoSetups(t)
	must(t, s.AddReport(ctx, report("a", noon)))
	must(t, s.AddReport(ctx, onSetup(report("b", noon.Add(time.Minute)), "chair-7", "w1")))
	list := openOutages(t, s)
	if len(list) != 2 || list[0].SetupTag != "Chair 7" || list[1].SetupTag != "Chair 12" {
		t.Fatalf("%+v, expected the latest first", list)
	}
}

func TestInOrderIsNoOutage(t *testing.T) {
	s := house(t)
	r := report("a", noon)
	r.Ending = InOrder
	must(t, s.AddReport(ctx, r))
	must(t, s.AddReport(ctx, r))
	same(t, len(openOutages(t, s)), 0)
	var kept int
	must(t, s.reader.QueryRow(`SELECT count(*) FROM reports WHERE outage_id IS NULL`).Scan(&kept))
	same(t, kept, 1)
}

func TestReportCountsOnceByItsKey(t *testing.T) {
	s := twoSetups(t)
	var wait sync.WaitGroup
	for range 4 {
		wait.Go(func() {
			if err := s.AddReport(ctx, report("k", noon)); err != nil {
				t.Error(err)
			}
		})
	}
	wait.Wait()
	same(t, onlyOutage(t, s).Reports, 1)
	wants(t, s.AddReport(ctx, onSetup(report("k", noon), "chair-7", "w1")), problem.Moved, "problem.moved")
}

// The self-check's page asks whether it was sent; another site's form is not.
func TestReportSent(t *testing.T) {
	s := house(t)
	must(t, s.AddReport(ctx, report("k", noon)))
	for _, c := range []struct {
		site, key string
		sent      bool
	}{{site, "k", true}, {site, "other", false}, {"elsewhere", "k", false}} {
		sent, err := s.ReportSent(ctx, c.site, c.key)
		must(t, err)
		same(t, sent, c.sent)
	}
}

func TestSameStoriesFold(t *testing.T) {
	s := house(t)
	at := func(minutes int) time.Time { return noon.Add(time.Duration(minutes) * time.Minute) }
	with := func(key string, minutes int, change func(*Report)) Report {
		r := report(key, at(minutes))
		change(&r)
		return r
	}
	must(t, s.PutSetup(ctx, Setup{"chair-12", site, "Chair 12", "v2", []byte("tag: Chair 12\nof: 2\n")}, noon))
	for _, r := range []Report{
		with("a", 0, func(*Report) {}),
		with("b", 1, func(r *Report) { r.Did = []byte(`[{"Check":"fuse"}]`) }),
		with("c", 2, func(r *Report) { r.Callback = "555-0145" }),
		with("d", 3, func(r *Report) { r.Care = []byte(`null`) }),
		with("e", 4, func(r *Report) { r.SetupVersion = "v2" }),
		with("f", 5, func(r *Report) { r.Ending = "call-rescue" }),
		with("g", 6, func(*Report) {}),
		with("h", 7, func(r *Report) { r.Callback = ""; r.Language = "en" }),
	} {
		must(t, s.AddReport(ctx, r))
	}
	o := onlyOutage(t, s)
	same(t, o.Reports, 8)
	k, err := s.Case(ctx, site, o.ID)
	must(t, err)
	var keys []string
	for _, told := range k.Sent {
		keys = append(keys, told.Key)
	}
	same(t, keys, []string{"b", "d", "e", "f", "h"})
	folded := k.Sent[4]
	same(t, folded.Count, 4)
	same(t, folded.First, at(0))
	same(t, folded.At, at(7))
	same(t, folded.Callbacks, []string{"555-0123", "555-0145"})
	same(t, k.Sent[0].Count, 1)
}

func TestCallbacksAreForgotten(t *testing.T) {
	const day = 24 * time.Hour
	for _, c := range []struct {
		name      string
		found     []time.Duration // after the report; each a finding
		after     time.Duration
		forgotten bool
	}{
		{"not found, for less than 30 days", nil, 30*day - time.Millisecond, false},
		{"not found, for 30 days", nil, 30 * day, true},
		{"found less than 7 days ago", []time.Duration{day}, 8*day - time.Millisecond, false},
		{"found 7 days ago", []time.Duration{day}, 8 * day, true},
		{"found 7 days ago, and corrected since", []time.Duration{day, 7 * day}, 8 * day, true},
		{"found late, 30 days on", []time.Duration{29 * day}, 30 * day, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := house(t)
			must(t, s.AddReport(ctx, by("someone", report("k", noon))))
			id := onlyOutage(t, s).ID
			for i, after := range c.found {
				must(t, s.AddFinding(ctx, site, id, Finding{Seq: i + 1, What: FoundNothing, Note: "loose", ByID: "omar", Key: fmt.Sprint(i), At: noon.Add(after)}))
			}
			must(t, s.ForgetCallbacks(ctx, noon.Add(c.after)))
			k, err := s.Case(ctx, site, id)
			must(t, err)
			callback, callbacks := "555-0123", []string{"555-0123"}
			if c.forgotten {
				callback, callbacks = "", nil
			}
			same(t, k.Newest.Callback, callback)
			same(t, k.Newest.Forgotten, c.forgotten)
			same(t, k.Sent[0].Callbacks, callbacks)
			var senders int
			must(t, s.reader.QueryRow(`SELECT count(*) FROM senders WHERE visitor = 'someone'`).Scan(&senders))
			same(t, senders == 0, c.forgotten)
			must(t, s.AddReport(ctx, report("k", noon))) // the same form again brings nothing back
			same(t, len(k.Findings), len(c.found))
			for _, f := range k.Findings {
				same(t, f.Note, "loose")
			}
		})
	}
}

// A house where nobody opens the inbox forgets all the same.
func TestReportMakesOldCallbacksForgotten(t *testing.T) {
	s := house(t)
	inOrder := report("a", noon)
	inOrder.Ending = InOrder
	must(t, s.AddReport(ctx, inOrder))
	must(t, s.AddReport(ctx, report("b", noon.AddDate(0, 0, CallbackDays))))
	var kept int
	must(t, s.reader.QueryRow(`SELECT count(*) FROM senders`).Scan(&kept))
	same(t, kept, 1)
	same(t, onlyOutage(t, s).Newest.Callback, "555-0123")
}

func TestNoteCanBeDeleted(t *testing.T) {
	s := house(t)
	must(t, s.AddReport(ctx, report("k", noon)))
	id := onlyOutage(t, s).ID
	must(t, s.AddFinding(ctx, site, id, blown))
	must(t, s.change(ctx, `DELETE FROM notes`))
	k, err := s.Case(ctx, site, id)
	must(t, err)
	without := blown
	without.Note = ""
	same(t, k.Findings, []Finding{without})
	same(t, *k.Finding, without)
}

func TestReportsCannotFlood(t *testing.T) {
	t.Run("a visitor", func(t *testing.T) {
		s := twoSetups(t)
		for i := range reportsPerVisitor {
			must(t, s.AddReport(ctx, by("one", report(fmt.Sprint(i), noon))))
		}
		wants(t, s.AddReport(ctx, by("one", onSetup(report("x", noon), "chair-7", "w1"))), problem.TooMany, "problem.reports-many")
		must(t, s.AddReport(ctx, by("another", report("y", noon))))
		must(t, s.AddReport(ctx, report("z", noon)))
		must(t, s.AddReport(ctx, by("one", report("x", noon.Add(time.Hour)))))
	})
	t.Run("a kiosk has room of its own", func(t *testing.T) {
		s := house(t)
		for i := range reportsPerKiosk {
			must(t, s.AddReport(ctx, by(KioskVisitor+"12", report(fmt.Sprint("kiosk ", i), noon))))
		}
		wants(t, s.AddReport(ctx, by(KioskVisitor+"12", report("x", noon))), problem.TooMany, "problem.reports-many")
		for i := range reportsPerSetup {
			must(t, s.AddReport(ctx, report(fmt.Sprint(i), noon)))
		}
		wants(t, s.AddReport(ctx, by("one", report("x", noon))), problem.TooMany, "problem.reports-many")
		must(t, s.AddReport(ctx, by(KioskVisitor+"13", report("x", noon))))
	})
	t.Run("a set-up", func(t *testing.T) {
		s := twoSetups(t)
		for i := range reportsPerSetup {
			must(t, s.AddReport(ctx, report(fmt.Sprint(i), noon)))
		}
		wants(t, s.AddReport(ctx, report("x", noon.Add(time.Hour-time.Millisecond))), problem.TooMany, "problem.reports-many")
		must(t, s.AddReport(ctx, report("0", noon))) // it was taken before
		must(t, s.AddReport(ctx, onSetup(report("y", noon), "chair-7", "w1")))
		must(t, s.AddReport(ctx, report("x", noon.Add(time.Hour))))
	})
	t.Run("a site", func(t *testing.T) {
		s := house(t)
		for i := range reportsPerSite / reportsPerSetup {
			id := fmt.Sprint("chair-1", i)
			must(t, s.PutSetup(ctx, Setup{id, site, id, "v", []byte(id)}, noon))
			for k := range reportsPerSetup {
				must(t, s.AddReport(ctx, onSetup(report(fmt.Sprint(i, " ", k), noon), id, "v")))
			}
		}
		must(t, s.PutSetup(ctx, Setup{"chair-9", site, "Chair 9", "v", []byte("9")}, noon))
		wants(t, s.AddReport(ctx, onSetup(report("x", noon), "chair-9", "v")), problem.TooMany, "problem.reports-many")
	})
}

func TestReportThatIsNone(t *testing.T) {
	s := house(t)
	long := strings.Repeat("x", 1<<15)
	for _, c := range []struct {
		name   string
		change func(*Report)
		code   problem.Code
		key    string
	}{
		{"a long purpose", func(r *Report) { r.Purpose = long }, problem.TooLarge, "problem.report-large"},
		{"a long ending", func(r *Report) { r.Ending = long }, problem.TooLarge, "problem.report-large"},
		{"a long language", func(r *Report) { r.Language = long }, problem.TooLarge, "problem.report-large"},
		{"a long key", func(r *Report) { r.Key = long }, problem.TooLarge, "problem.report-large"},
		{"a long callback", func(r *Report) { r.Callback = strings.Repeat("٥", MostCallback+1) }, problem.TooLarge, "problem.report-large"},
		{"a long visitor", func(r *Report) { r.Visitor = long }, problem.TooLarge, "problem.report-large"},
		{"a long version", func(r *Report) { r.ModelVersion = long }, problem.TooLarge, "problem.report-large"},
		{"a long ranking", func(r *Report) { r.Causes = []byte(`"` + long + `"`) }, problem.TooLarge, "problem.report-large"},
		{"a ranking that is no JSON", func(r *Report) { r.Causes = []byte(`[`) }, problem.Invalid, "problem.form"},
		{"a long story", func(r *Report) { r.Did = []byte(`["` + long + `"]`) }, problem.TooLarge, "problem.report-large"},
		{"a long care", func(r *Report) { r.Care = []byte(`"` + long + `"`) }, problem.TooLarge, "problem.report-large"},
		{"a story that is no JSON", func(r *Report) { r.Did = []byte(`[`) }, problem.Invalid, "problem.form"},
		{"no care", func(r *Report) { r.Care = nil }, problem.Invalid, "problem.form"},
		{"a callback that is no text", func(r *Report) { r.Callback = "\xff" }, problem.Invalid, "problem.form"},
		{"a set-up that is none", func(r *Report) { r.SetupID = "moon" }, problem.Unknown, "problem.unknown-record"},
		{"a version that is none", func(r *Report) { r.SetupVersion = "v9" }, problem.Unknown, "problem.unknown-record"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := report("k", noon)
			c.change(&r)
			wants(t, s.AddReport(ctx, r), c.code, c.key)
		})
	}
	r := report("", noon)
	if err := s.AddReport(ctx, r); err == nil {
		t.Error("a report without a key was taken")
	}
	same(t, len(openOutages(t, s)), 0)
	r = report("k", noon)
	r.Callback, r.Causes = strings.Repeat("٥", MostCallback), nil
	must(t, s.AddReport(ctx, r))
}

var blown = Finding{Seq: 1, What: FoundFault, Part: "fuse", Kind: "fuse", Mode: "blown", Note: "الصمام", ByID: "omar", By: "Omar", At: noon.Add(time.Hour), Key: "f1"}

func TestFindingClosesAndIsCorrected(t *testing.T) {
	s := house(t)
	must(t, s.AddReport(ctx, report("k", noon)))
	id := onlyOutage(t, s).ID
	must(t, s.AddFinding(ctx, site, id, blown))
	must(t, s.AddFinding(ctx, site, id, blown)) // a double tap
	same(t, len(openOutages(t, s)), 0)
	late := Finding{Seq: 1, What: FoundNothing, ByID: "omar", By: "Omar", At: noon.Add(2 * time.Hour), Key: "f2"}
	wants(t, s.AddFinding(ctx, site, id, late), problem.Moved, "problem.moved")
	late.Seq = 2
	must(t, s.AddFinding(ctx, site, id, late))
	k, err := s.Case(ctx, site, id)
	must(t, err)
	same(t, k.Findings, []Finding{blown, late})
	closed, err := s.ClosedOutages(ctx, site, 9)
	must(t, err)
	same(t, len(closed), 1)
	same(t, *closed[0].Finding, late)
	found, err := s.Found(ctx, site)
	must(t, err)
	same(t, found, []Found{{FoundNothing, "", "", "", "chair-12", "Chair 12", "v1", "call-technologist", 1}})
}

func TestFindingThatIsNone(t *testing.T) {
	s := house(t)
	must(t, s.AddReport(ctx, report("k", noon)))
	must(t, s.AddReport(ctx, report("k2", noon.Add(20*time.Hour))))
	list := openOutages(t, s)
	id := list[0].ID
	f := blown
	f.Note = strings.Repeat("ص", MostNote+1)
	wants(t, s.AddFinding(ctx, site, id, f), problem.TooLarge, "problem.note-large")
	f.Note = "\xff"
	wants(t, s.AddFinding(ctx, site, id, f), problem.Invalid, "problem.form")
	wants(t, s.AddFinding(ctx, site, "moon", blown), problem.Unknown, "problem.unknown-outage")
	f = blown
	f.ByID = "nobody"
	wants(t, s.AddFinding(ctx, site, id, f), problem.Unknown, "problem.unknown-record")
	for _, f := range []Finding{
		{Seq: 1, What: FoundFault, ByID: "omar", Key: "a"},
		{Seq: 1, What: FoundNothing, Part: "fuse", Kind: "fuse", Mode: "blown", ByID: "omar", Key: "a"},
		{Seq: 1, What: "guessed", ByID: "omar", Key: "a"},
		{Seq: 1, What: FoundNothing, ByID: "omar"},
	} {
		if s.AddFinding(ctx, site, id, f) == nil {
			t.Errorf("%+v was taken", f)
		}
	}
	f = blown
	f.Note = strings.Repeat("ص", MostNote)
	must(t, s.AddFinding(ctx, site, id, f))
	wants(t, s.AddFinding(ctx, site, list[1].ID, f), problem.Moved, "problem.moved")
}

func TestReadings(t *testing.T) {
	s := house(t)
	must(t, s.AddReport(ctx, report("k", noon)))
	must(t, s.AddReport(ctx, report("k2", noon.Add(20*time.Hour))))
	list := openOutages(t, s)
	first := Measured{Seq: 1, Node: "fuse", Volts: -25.2, ByID: "omar", By: "Omar", At: noon, Key: "m1"}
	second := Measured{Seq: 2, Node: "fuse", Volts: 0, ByID: "omar", By: "Omar", At: noon.Add(time.Minute), Key: "m2"}
	for _, m := range []Measured{first, first, second} {
		must(t, s.AddReading(ctx, site, list[0].ID, m))
	}
	k, err := s.Case(ctx, site, list[0].ID)
	must(t, err)
	same(t, k.Readings, []Measured{first, second})
	wants(t, s.AddReading(ctx, site, list[1].ID, first), problem.Moved, "problem.moved")
	wants(t, s.AddReading(ctx, site, "moon", first), problem.Unknown, "problem.unknown-outage")
	for _, volts := range []float64{100.1, -100.1, math.NaN(), math.Inf(1)} {
		wants(t, s.AddReading(ctx, site, list[0].ID, Measured{Node: "fuse", Volts: volts, ByID: "omar", Key: "m3"}), problem.Invalid, "problem.reading")
	}
	wants(t, s.AddReading(ctx, site, list[0].ID, Measured{Volts: 1, ByID: "omar", Key: "m3"}), problem.Invalid, "problem.reading")
}

// What belongs to one site is neither seen nor touched from another.
func TestOutagesOfAnotherSite(t *testing.T) {
	s := house(t)
	other := alderBay
	other.ID = "elsewhere"
	must(t, s.PutSite(ctx, other, noon))
	must(t, s.PutPerson(ctx, Person{ID: "wren", SiteID: "elsewhere", Name: "Wren", Role: Educator, Language: "en"}, noon))
	must(t, s.AddReport(ctx, report("k", noon)))
	id := onlyOutage(t, s).ID
	list, err := s.OpenOutages(ctx, "elsewhere")
	must(t, err)
	same(t, len(list), 0)
	_, err = s.Case(ctx, "elsewhere", id)
	wants(t, err, problem.Unknown, "problem.unknown-outage")
	f := blown
	f.ByID = "wren"
	wants(t, s.AddFinding(ctx, "elsewhere", id, f), problem.Unknown, "problem.unknown-outage")
	wants(t, s.AddReading(ctx, "elsewhere", id, Measured{Node: "fuse", ByID: "wren", Key: "m"}), problem.Unknown, "problem.unknown-outage")
	must(t, s.AddFinding(ctx, site, id, blown))
	closed, err := s.ClosedOutages(ctx, "elsewhere", 9)
	must(t, err)
	same(t, len(closed), 0)
	found, err := s.Found(ctx, "elsewhere")
	must(t, err)
	same(t, len(found), 0)
}

func TestReportsFindingsAndReadingsStay(t *testing.T) {
	s := house(t)
	must(t, s.AddReport(ctx, report("k", noon)))
	id := onlyOutage(t, s).ID
	must(t, s.AddFinding(ctx, site, id, blown))
	must(t, s.AddReading(ctx, site, id, Measured{Node: "fuse", Volts: 1, ByID: "omar", Key: "m"}))
	for _, sql := range []string{
		`UPDATE reports SET ending = ''`, `DELETE FROM reports`, `INSERT OR REPLACE INTO reports SELECT * FROM reports`,
		`UPDATE outages SET setup_id = 'chair-7'`, `DELETE FROM outages`, `INSERT OR REPLACE INTO outages SELECT * FROM outages`,
		`UPDATE findings SET by_name = 'Omar'`, `DELETE FROM findings`, `INSERT OR REPLACE INTO findings SELECT * FROM findings`,
		`UPDATE senders SET callback = '555-0199'`, `UPDATE notes SET note = '?'`,
		`UPDATE readings SET volts = 0`, `DELETE FROM readings`, `INSERT OR REPLACE INTO readings SELECT * FROM readings`,
	} {
		if _, err := s.writer.Exec(sql); err == nil || !strings.Contains(err.Error(), "cannot be") {
			t.Errorf("%s: got %v, expected a refusal", sql, err)
		}
	}
}
