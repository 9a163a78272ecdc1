package server_test

import (
	"context"
	"encoding/json"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"lampwright/lessons/setup"
	"lampwright/locales"
	"lampwright/quiz/diagnosis"
	"lampwright/server"
	"lampwright/server/record"
)

// told is a report of Chair 12 that reached the desk.
func told(t testing.TB, key string, at time.Time, ending diagnosis.Verb, done ...diagnosis.Done) record.Report {
	t.Helper()
	minutes := 120.0
	care, err := json.Marshal(diagnosis.Care{MainsInReach: true, Minutes: &minutes})
	must(t, err)
	did, err := json.Marshal(done)
	must(t, err)
	return record.Report{
		SiteID: server.SiteID, SetupID: "chair-12", Language: "ar", Purpose: record.Trouble, Care: care, Did: did,
		Ending: string(ending), Callback: "555-0123", Key: key, At: at,
	}
}

// plugged is how every story begins where an outlet is in reach.
var plugged = []diagnosis.Done{
	{Check: diagnosis.PersonID, Shows: diagnosis.PersonOK},
	{Check: diagnosis.PanelID, Shows: "internal"},
	{Action: diagnosis.Action{Verb: diagnosis.PlugIn, Part: "outlet"}},
	{Check: diagnosis.PanelID, Shows: "mains"},
}

// blownFuse is a report of one, as it was seen.
func blownFuse(key string, at time.Time) func(testing.TB) record.Report {
	return func(t testing.TB) record.Report {
		return told(t, key, at, diagnosis.CallTech, append(plugged[:4:4],
			diagnosis.Done{Check: "inlet-switch", Shows: "sound"}, diagnosis.Done{Check: "fuse", Shows: "blown"})...)
	}
}

// darkConverter is a report that leaves it open whether the converter failed
// or what is before it: nothing but its light was seen.
func darkConverter(key string, at time.Time) func(testing.TB) record.Report {
	return func(t testing.TB) record.Report {
		return told(t, key, at, diagnosis.CallTech, append(plugged[:4:4], diagnosis.Done{Check: "converter", Shows: "dark"})...)
	}
}

// reported puts reports in the records of a folder that nobody serves now, and
// is where the newest open outage is.
func reported(t testing.TB, dir string, reports ...func(testing.TB) record.Report) (at string) {
	t.Helper()
	withRecords(t, dir, func(s *record.Store) {
		for _, r := range reports {
			r := r(t)
			stored, err := s.Setup(context.Background(), r.SiteID, r.SetupID)
			must(t, err)
			r.SetupVersion = stored.Version
			must(t, s.AddReport(context.Background(), r))
		}
		list, err := s.OpenOutages(context.Background(), server.SiteID)
		must(t, err)
		at = "/desk/inbox/" + list[0].ID
	})
	return at
}

// found is what the records hold of an outage.
func found(t testing.TB, dir, at string) (k record.Case) {
	t.Helper()
	withRecords(t, dir, func(s *record.Store) {
		var err error
		k, err = s.Case(context.Background(), server.SiteID, strings.TrimPrefix(at, "/desk/inbox/"))
		must(t, err)
	})
	return k
}

var chanceLine = regexp.MustCompile(`(?s)<li><span>(.*?)</span> <bdi>(.*?)</bdi></li>`)

// chance is the first percentage that stands beside a text; −1 if there is none.
func (a answer) chance(text string) int {
	for _, m := range chanceLine.FindAllStringSubmatch(a.body, -1) {
		if digits := regexp.MustCompile(`[0-9]+`).FindString(m[2]); m[1] == text && digits != "" {
			n, _ := strconv.Atoi(digits)
			return n
		}
	}
	return -1
}

func cause(s locales.Speaker, part string, mode setup.Mode) string {
	return s.T("diagnosis.cause", "Part", part, "Mode", s.T("diagnosis.mode."+string(mode)))
}

func TestReportIsRead(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	at := reported(t, dir, blownFuse("r1", morning.Add(-40*time.Minute)), blownFuse("r2", morning.Add(-3*time.Minute)))
	h := serve(t, dir)
	inEach(t, func(t *testing.T, language string) {
		r := h.technologist(t, language)
		say := r.speaker()
		fuse := cause(say, say.T("figure.kind.fuse"), setup.Blown)
		r.get("/desk/inbox/lessons").wants(t, 200).holds(t, `href="/desk/inbox"`)
		r.get("/desk/inbox").says(t, say, 200, "inbox.open", "Count", 1).holds(t,
			`href="`+at+`"`, "2026-03-02 08:20", "2026-03-02 08:57", say.T("inbox.ago.minutes", "Count", 3), "<bdi>2</bdi>",
			say.T("inbox.ending.call-technologist"), "العربية", "555-0123", fuse)
		page := r.get(at).says(t, say, 200, "inbox.measure.care")
		page.holds(t, say.T("inbox.person.ok"), say.T("figure.says", "Part", say.T("figure.kind.fuse"), "Seen", say.T("figure.seen.blown")),
			say.T("figure.says", "Part", say.T("figure.kind.panel"), "Seen", say.T("common.source.mains")), say.T("inbox.care.minutes", "Count", 120),
			say.T("inbox.times", "Count", 2, "First", "2026-03-02 08:20"), say.T("inbox.care.unasked.alone"), say.T("inbox.care.day"))
		if n := strings.Count(page.body, `<article class="report">`); n != 1 {
			t.Errorf("%d reports shown, expected the same two as one", n)
		}
		if p := page.chance(fuse); p <= 50 {
			t.Errorf("a fuse seen blown is %d %% likely", p)
		}
		if p := page.chance(say.T("bench.spare.fuse")); p <= 50 {
			t.Errorf("a fuse is wanted with %d %%", p)
		}
		if strings.Contains(page.body, `class="differs"`) {
			t.Error("what was seen is said not to fit")
		}
	})
}

// cared is a report with other care.
func cared(r func(testing.TB) record.Report, care string) func(testing.TB) record.Report {
	return func(t testing.TB) record.Report {
		out := r(t)
		out.Care = []byte(care)
		return out
	}
}

func TestCareThatWasNotAskedHasNoAnswer(t *testing.T) {
	t.Parallel()
	const mains, bag, alone, night = "inbox.care.unasked.mains", "inbox.care.unasked.bag", "inbox.care.unasked.alone", "inbox.care.unasked.night"
	for _, c := range []struct{ name, care, says string }{
		{"nothing was asked", `null`, "inbox.care.unasked"},
		{"nothing was asked, otherwise written", `{}`, "inbox.care.unasked"},
		{"only the mains", `{"MainsInReach":false}`, "inbox.care.no-mains " + bag + " " + alone + " " + night + " inbox.care.minutes-untold"},
		{
			"alone by day, minutes left empty", `{"MainsInReach":true,"NoBag":false,"Alone":true,"Night":false}`,
			"inbox.care.mains inbox.care.bag inbox.care.alone inbox.care.day inbox.care.minutes-untold",
		},
		{
			"two by night", `{"MainsInReach":true,"NoBag":true,"Alone":false,"Night":true,"Minutes":null}`,
			"inbox.care.mains inbox.care.no-bag inbox.care.two inbox.care.night inbox.care.minutes-untold",
		},
		{"minutes alone", `{"Minutes":0}`, mains + " " + bag + " " + alone + " " + night + " inbox.care.minutes"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			dir := demoDir(t)
			at := reported(t, dir, cared(blownFuse("r1", morning), c.care))
			h := serve(t, dir)
			inEach(t, func(t *testing.T, language string) {
				r := h.technologist(t, language)
				var said []string
				for key := range strings.FieldsSeq(c.says) {
					said = append(said, r.speaker().T(key, "Count", 0))
				}
				r.get(at).wants(t, 200).holds(t, "<dd>"+strings.Join(said, " · ")+"</dd>")
			})
		})
	}
}

// Where nobody saw anything beyond the person, what is rare and what is common
// anywhere would be all that a ranking tells.
func TestNothingIsRankedByThePersonAlone(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	var ats []string
	for i, done := range [][]diagnosis.Done{
		{{Check: diagnosis.PersonID, Shows: diagnosis.PersonNotOK}},
		{{Check: diagnosis.PersonID, Shows: diagnosis.PersonOK}, {Check: diagnosis.PanelID, Shows: diagnosis.Unclear}},
		{},
	} {
		ats = append(ats, reported(t, dir, func(t testing.TB) record.Report {
			r := told(t, "r"+strconv.Itoa(i), morning.Add(time.Duration(i-3)*24*time.Hour), diagnosis.CallRescue, done...)
			r.Care, r.Causes = []byte(`null`), []byte(`[{"Faults":[{"Part":"fuse","Mode":"blown"}],"P":0.5}]`)
			return r
		}))
	}
	h := serve(t, dir)
	inEach(t, func(t *testing.T, language string) {
		r := h.technologist(t, language)
		say := r.speaker()
		for _, at := range ats {
			a := r.get(at).says(t, say, 200, "inbox.nothing-seen").holds(t, say.T("inbox.measure.nothing-seen"), say.T("inbox.emergency.first"))
			for _, not := range []string{`class="chances"`, `class="nodes"`, say.T("inbox.spares"), say.T("inbox.then")} {
				if strings.Contains(a.body, not) {
					t.Errorf("%s: %q is shown", at, not)
				}
			}
		}
		r.get("/desk/inbox").says(t, say, 200, "inbox.nothing-seen.short")
	})
	// What a meter reads is seen, too.
	r := h.technologist(t, "en")
	r.post(ats[0]+"/readings", with(r.get(ats[0]).form(t, ats[0]+"/readings"), "node", "fuse", "volts", "0")).wants(t, 303)
	r.get(ats[0]).wants(t, 200).holds(t, `class="chances"`)
}

func TestEmergenciesAreFirst(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	day := func(n int) time.Time { return morning.Add(time.Duration(n-9) * 24 * time.Hour) }
	oldest := reported(t, dir, blownFuse("r1", day(0)))
	worst := reported(t, dir, func(t testing.TB) record.Report {
		return told(t, "r2", day(2), diagnosis.CallRescue, diagnosis.Done{Check: diagnosis.PersonID, Shows: diagnosis.PersonNotOK})
	}, blownFuse("r3", day(2).Add(time.Hour))) // a later report does not hide it
	newest := reported(t, dir, blownFuse("r4", day(4)))
	h := serve(t, dir)
	inEach(t, func(t *testing.T, language string) {
		r := h.technologist(t, language)
		a := r.get("/desk/inbox").says(t, r.speaker(), 200, "inbox.open", "Count", 3)
		rows := strings.Split(a.body, "<tr>")[2:]
		for i, at := range []string{worst, newest, oldest} {
			if !strings.Contains(rows[i], `href="`+at+`"`) {
				t.Errorf("row %d is %s, expected %s", i, wordsOf(rows[i]), at)
			}
			if marked := strings.Contains(rows[i], `⚠</span> `+r.speaker().T("inbox.emergency")); marked != (at == worst) {
				t.Errorf("row %d is marked: %t", i, marked)
			}
		}
		if p := r.get(worst).says(t, r.speaker(), 200, "inbox.emergency.first"); strings.Count(p.body, `class="tag"><span aria-hidden="true">⚠`) != 1 {
			t.Error("expected one of its reports to be marked")
		}
	})
}

// The list forgets numbers whose time has come, and says so.
func TestListForgetsCallbacks(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	at := reported(t, dir, blownFuse("r1", morning.Add(-29*24*time.Hour-23*time.Hour)))
	h := serve(t, dir)
	r := h.technologist(t, "en")
	r.get("/desk/inbox").says(t, r.speaker(), 200, "inbox.callback.forgets", "Found", 7, "Most", 30).holds(t, "555-0123")
	h.clock.pass(2 * time.Hour)
	r = h.technologist(t, "en")
	a := r.get("/desk/inbox").says(t, r.speaker(), 200, "inbox.callback.forgotten")
	if strings.Contains(a.body, "555-0123") || strings.Contains(r.get(at).wants(t, 200).body, "555-0123") {
		t.Error("the number is still there")
	}
}

// So does a house at its opening.
func TestOpeningForgetsCallbacks(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	at := reported(t, dir, blownFuse("r1", morning.Add(-30*24*time.Hour)))
	if k := found(t, dir, at); k.Newest.Callback == "" {
		t.Fatal("it was not there before")
	}
	must(t, serve(t, dir).stop())
	if k := found(t, dir, at); k.Newest.Callback != "" || !k.Newest.Forgotten {
		t.Errorf("%+v", k.Newest)
	}
}

func TestRankingWhenSentIsShownWhereItDiffers(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	ranked := func(key string, n int, causes string) string {
		return reported(t, dir, func(t testing.TB) record.Report {
			r := darkConverter(key, morning.Add(time.Duration(n-9)*24*time.Hour))(t)
			r.ModelVersion, r.ContentVersion, r.Causes = "then-model", "then-content", []byte(causes)
			return r
		})
	}
	none := ranked("r1", 0, `[]`)
	other := ranked("r2", 2, `[{"Faults":[{"Part":"fuse","Mode":"blown"}],"P":0.77}]`)
	odd := ranked("r3", 4, `"flux"`)
	unread := reported(t, dir, func(t testing.TB) record.Report {
		r := told(t, "r4", morning.Add(-24*time.Hour), diagnosis.CallTech, diagnosis.Done{Check: "flux", Shows: "odd"})
		r.Causes = []byte(`[{"Faults":[{"Part":"fuse","Mode":"blown"}],"P":0.77}]`)
		return r
	})
	h := serve(t, dir)
	inEach(t, func(t *testing.T, language string) {
		r := h.technologist(t, language)
		say := r.speaker()
		for _, at := range []string{other, unread} {
			r.get(at).says(t, say, 200, "inbox.then").holds(t, say.T("inbox.percent", "Percent", 77))
		}
		r.get(other).holds(t, "then-model", "then-content")
		for _, at := range []string{none, odd} {
			if strings.Contains(r.get(at).wants(t, 200).body, say.T("inbox.then")) {
				t.Errorf("%s: a ranking of then is shown", at)
			}
		}
	})
}

func TestWhatContradictsIsSaid(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	at := reported(t, dir, func(t testing.TB) record.Report {
		return told(t, "r1", morning, diagnosis.CallTech, append(plugged[:4:4],
			diagnosis.Done{Check: "fuse", Shows: "blown"}, diagnosis.Done{Check: "fuse", Shows: "blown"}, diagnosis.Done{Check: "converter", Shows: "sound"})...)
	})
	h := serve(t, dir)
	r := h.technologist(t, "en")
	page := r.get(at).says(t, r.speaker(), 200, "inbox.differs")
	if n := strings.Count(page.body, `class="differs"`); n != 1 {
		t.Errorf("%d things do not fit, expected the converter's light", n)
	}
}

func TestReadingChangesTheRanking(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	at := reported(t, dir, darkConverter("r1", morning))
	h := serve(t, dir)
	inEach(t, func(t *testing.T, language string) {
		r := h.technologist(t, language)
		say := r.speaker()
		failed := cause(say, say.T("figure.kind.converter"), setup.Failed)
		page := r.get(at).says(t, say, 200, "inbox.measure.hint")
		before := page.chance(failed)
		form := page.form(t, at+"/readings")
		for _, c := range []struct {
			name, node, volts string
			status            int
			key               string
		}{
			{"no number", "lead-middle", "abc", 422, "problem.reading"},
			{"nothing", "lead-middle", "", 422, "problem.reading"},
			{"more than any chair has", "lead-middle", "100.5", 422, "problem.reading"},
			{"a node there is not", "moon", "24", 422, "problem.form"},
		} {
			t.Run(c.name, func(t *testing.T) {
				a := r.post(at+"/readings", with(form, "node", c.node, "volts", c.volts)).says(t, say, c.status, c.key, "Most", record.MostVolts)
				if c.key == "problem.reading" {
					a.holds(t, `value="`+c.volts+`"`, `<option value="lead-middle" selected>`)
				}
			})
		}
		full := with(form, "node", "lead-middle", "volts", "٢٤٫٩")
		r.post(at+"/readings", without(full, "key")).says(t, say, 422, "problem.form")
		r.post(at+"/readings", without(full, "token")).says(t, say, 403, "problem.form-stale")
		if language == "en" {
			for range 2 { // a double tap
				if to := r.post(at+"/readings", full).wants(t, 303).location(); to != at+"?kept=reading" {
					t.Errorf("leads to %q", to)
				}
			}
			if after := r.get(at+"?kept=reading").says(t, say, 200, "inbox.kept.reading").chance(failed); before < 0 || after < 2*before {
				t.Errorf("with volts before the converter it is %d %% likely, before %d %%", after, before)
			}
			// Measured again: the newest counts.
			again := with(r.get(at).form(t, at+"/readings"), "node", "lead-middle", "volts", "0")
			r.post(at+"/readings", again).wants(t, 303)
			if after := r.get(at).says(t, say, 200, "inbox.measured-again").chance(failed); after >= before {
				t.Errorf("with no volts before the converter it is %d %% likely, before %d %%", after, before)
			}
		}
	})
	must(t, h.stop())
	if k := found(t, dir, at); len(k.Readings) != 2 || k.Readings[0].By != "Tove Hale" || k.Readings[0].Volts != 24.9 {
		t.Errorf("readings %+v", k.Readings)
	}
}

func TestFindingClosesAndTeaches(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	var many []func(testing.TB) record.Report
	for i := range 11 { // each an outage of its own
		many = append(many, darkConverter("r"+strconv.Itoa(i), morning.Add(time.Duration(i-11)*24*time.Hour)))
	}
	last := reported(t, dir, many...)
	h := serve(t, dir)
	r := h.technologist(t, "en")
	say := r.speaker()
	failed := cause(say, say.T("figure.kind.converter"), setup.Failed)
	before := r.get(last).wants(t, 200).chance(failed)

	list := regexp.MustCompile(`href="(/desk/inbox/[a-z2-7]{26})"`).FindAllStringSubmatch(r.get("/desk/inbox").says(t, say, 200, "inbox.open", "Count", 11).body, -1)
	if len(list) != 11 || list[0][1] != last {
		t.Fatalf("%d outages listed, the first %v", len(list), list)
	}
	for _, o := range list[1:] {
		form := with(r.get(o[1]).form(t, o[1]+"/finding"), "what", "converter=failed", "note", "<dead>")
		r.post(o[1]+"/finding", form).wants(t, 303)
	}
	r.get("/desk/inbox").says(t, say, 200, "inbox.open", "Count", 1).holds(t, say.T("inbox.closed"))
	r.get(list[1][1]+"?kept=finding").says(t, say, 200, "inbox.kept.finding").holds(t, say.T("inbox.was-found", "What", failed), "<dead>")
	if after := r.get(last).wants(t, 200).chance(failed); before < 0 || after <= before+5 {
		t.Errorf("after ten failed converters one is %d %% likely, before %d %%", after, before)
	}
	must(t, h.stop())
	h = serveWith(t, h.config, h.clock)
	r = h.technologist(t, "en")
	if after := r.get(last).wants(t, 200).chance(failed); after <= before+5 {
		t.Errorf("after a restart it is %d %% likely, before all %d %%", after, before)
	}
}

func TestFindingIsCheckedAndCorrected(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	at := reported(t, dir, blownFuse("r1", morning))
	h := serve(t, dir)
	inEach(t, func(t *testing.T, language string) {
		r := h.technologist(t, language)
		say := r.speaker()
		form := r.get(at).wants(t, 200).form(t, at+"/finding")
		long := strings.Repeat("ص", record.MostNote+1)
		for _, c := range []struct {
			name   string
			form   url.Values
			status int
			key    string
			pairs  []any
		}{
			{"nothing chosen", with(form, "what", ""), 422, "problem.finding-missing", nil},
			{"a fault this set-up cannot have", with(form, "what", "diode=open"), 422, "problem.form", nil},
			{"a long note", with(form, "what", "nothing", "note", long), 413, "problem.note-large", []any{"Most", record.MostNote}},
			{"no key", with(without(form, "key"), "what", "nothing"), 422, "problem.form", nil},
			{"no place in the row", with(without(form, "seq"), "what", "nothing"), 422, "problem.form", nil},
			{"no token", with(without(form, "token"), "what", "nothing"), 403, "problem.form-stale", nil},
		} {
			t.Run(c.name, func(t *testing.T) {
				r.post(at+"/finding", c.form).says(t, say, c.status, c.key, c.pairs...)
			})
		}
		if language != "en" {
			return
		}
		r.post("/desk/inbox/moon/finding", with(form, "what", "nothing")).says(t, say, 404, "problem.unknown-outage")
		r.post("/desk/inbox/moon/readings", with(form, "node", "fuse")).says(t, say, 404, "problem.unknown-outage")
		r.get("/desk/inbox/moon").says(t, say, 404, "problem.unknown-outage")
		var wait sync.WaitGroup
		for range 3 { // a double tap
			wait.Go(func() {
				if a := r.post(at+"/finding", with(form, "what", "fuse=blown")); a.status != 303 {
					t.Errorf("got %d: %s", a.status, wordsOf(a.body))
				}
			})
		}
		wait.Wait()
		// Another tab, that did not see it.
		r.post(at+"/finding", with(form, "what", "nothing", "key", strings.Repeat("k", 20))).says(t, say, 409, "problem.moved")
		again := r.get(at).says(t, say, 200, "inbox.correct").form(t, at+"/finding")
		r.post(at+"/finding", with(again, "what", "not-found")).wants(t, 303)
		r.get(at).says(t, say, 200, "inbox.corrected").holds(t, say.T("inbox.was-found", "What", say.T("inbox.found.not-found")))
	})
	must(t, h.stop())
	if k := found(t, dir, at); len(k.Findings) != 2 || k.Findings[0].What != record.FoundFault || k.Findings[0].Kind != "fuse" || k.Findings[1].What != record.NotFound {
		t.Errorf("findings %+v", k.Findings)
	}
}

// A report that this program cannot read is shown all the same, and leads to a
// call back.
func TestReportThatCannotBeRead(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	at := reported(t, dir, func(t testing.TB) record.Report {
		return told(t, "r1", morning, "say-later", diagnosis.Done{Check: "flux", Shows: "odd"})
	})
	h := serve(t, dir)
	inEach(t, func(t *testing.T, language string) {
		r := h.technologist(t, language)
		r.get("/desk/inbox").says(t, r.speaker(), 200, "inbox.unread.short")
		page := r.get(at).says(t, r.speaker(), 200, "inbox.unread").holds(t, r.speaker().T("inbox.ending.unknown"), "555-0123")
		r.post(at+"/readings", with(page.form(t, at+"/readings"), "node", "fuse", "volts", "1")).wants(t, 303)
		r.get(at).wants(t, 200)
	})
}

func TestWhatCallersGetWrong(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	day := func(n int) time.Time { return morning.Add(time.Duration(n-9) * 24 * time.Hour) }
	call := func(key string, n int, ending diagnosis.Verb) func(testing.TB) record.Report {
		return func(t testing.TB) record.Report { return told(t, key, day(n), ending, plugged...) }
	}
	var ats []string
	for i, ending := range []diagnosis.Verb{diagnosis.CallTech, diagnosis.CallTech, diagnosis.Solved, diagnosis.CallTech, diagnosis.CallTech} {
		ats = append(ats, reported(t, dir, call("r"+strconv.Itoa(i), i, ending)))
	}
	h := serve(t, dir)
	r := h.technologist(t, "en")
	r.get("/desk/inbox/lessons").says(t, r.speaker(), 200, "inbox.missed.calls", "Count", 0)
	for i, what := range []string{"plug=half-home", "plug=half-home", "fuse=blown", "nothing", "fuse=blown"} {
		r.post(ats[i]+"/finding", with(r.get(ats[i]).form(t, ats[i]+"/finding"), "what", what)).wants(t, 303)
	}
	inEach(t, func(t *testing.T, language string) {
		r := h.technologist(t, language)
		say := r.speaker()
		page := r.get("/desk/inbox/lessons").says(t, say, 200, "inbox.missed.calls", "Count", 5)
		page.holds(t, cause(say, say.T("figure.kind.plug"), setup.HalfHome), say.T("inbox.slip.called-fixable", "Count", 2),
			say.T("inbox.slip.called-nothing", "Count", 1), say.T("inbox.slip.solved-not", "Count", 1), "Chair 12")
		rows := strings.Split(page.body, "<tr>")[2:]
		for i, lesson := range []string{"your-panel", "", ""} {
			if lesson != "" && !strings.Contains(rows[i], `href="/lessons/chair-12/`+lesson+`/1"`) {
				t.Errorf("row %d has no lesson %s: %s", i, lesson, wordsOf(rows[i]))
			}
			if !strings.Contains(rows[i], `href="/lessons/chair-12/`) {
				t.Errorf("row %d has no lesson", i)
			}
		}
		for _, link := range regexp.MustCompile(`/lessons/chair-12/[a-z-]+/1`).FindAllString(page.body, -1) {
			r.get(link).wants(t, 200)
		}
	})
}
