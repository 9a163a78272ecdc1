package server_test

import (
	"html"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"lampwright/lessons/outing"
	"lampwright/lessons/setup"
	"lampwright/locales"
	"lampwright/server"
)

// afternoon is a whole plan: a kilometre out, an hour there, and back.
var afternoon = url.Values{
	"leaves": {"2026-11-25T13:00"}, "setting": {"usual"}, "temperature": {"20"}, "chair": {"90"}, "years": {"1"}, "measured": {""}, "internal": {"100"},
	"kind-1": {"drive"}, "amount-1": {"1"}, "kind-2": {"stand"}, "amount-2": {"60"}, "kind-3": {"drive"}, "amount-3": {"1"},
}

func (r *reader) plan(setupID string, form url.Values) answer {
	r.t.Helper()
	return r.get("/outing/" + setupID + "?" + form.Encode())
}

// bdi are the marks around figures, which no reader sees.
var bdi = regexp.MustCompile(`</?bdi[^>]*>`)

// cells are the table's rows, cell by cell.
func (a answer) cells() (rows [][]string) {
	row, cell := regexp.MustCompile(`(?s)<tr.*?</tr>`), regexp.MustCompile(`(?s)<t[hd][^>]*>(.*?)</t[hd]>`)
	for _, tr := range row.FindAllString(a.body, -1)[1:] {
		var out []string
		for _, td := range cell.FindAllStringSubmatch(bdi.ReplaceAllString(tr, ""), -1) {
			out = append(out, strings.TrimSpace(spaces.ReplaceAllString(html.UnescapeString(tags.ReplaceAllString(td[1], " ")), " ")))
		}
		rows = append(rows, out)
	}
	return rows
}

// field is what the form holds under a name.
func (a answer) field(t *testing.T, name string) string {
	t.Helper()
	if m := regexp.MustCompile(`<input[^>]* name="` + name + `" value="([^"]*)"`).FindStringSubmatch(a.body); m != nil {
		return html.UnescapeString(m[1])
	}
	if m := regexp.MustCompile(`(?s)<select id="` + name + `".*?<option value="([^"]*)" selected`).FindStringSubmatch(a.body); m != nil {
		return m[1]
	}
	t.Fatalf("%s: no field %s", a.asked, name)
	return ""
}

func TestOutingBegins(t *testing.T) {
	t.Parallel()
	c := &clock{at: morning}
	h := serveWith(t, server.Config{Data: demoDir(t)}, c)
	inEach(t, func(t *testing.T, language string) {
		r := h.reader(t, language)
		for _, id := range setup.DemoNames {
			a := r.get("/outing/"+id).says(t, r.speaker(), 200, "outing.setting.hint")
			if strings.Contains(a.body, "fig-timeline") || strings.Contains(a.body, r.speaker().T("outing.keeps")) {
				t.Errorf("%s: a result before anything was asked", id)
			}
			for name, want := range map[string]string{
				"leaves": "2026-03-02T09:00", "setting": "usual", "temperature": "20", "chair": "90", "internal": "100",
				"kind-1": "drive", "amount-1": "1", "kind-2": "stand", "amount-2": "60", "kind-3": "drive", "amount-3": "1", "kind-4": "none",
			} {
				if got := a.field(t, name); got != want {
					t.Errorf("%s: %s begins with %q, expected %q", id, name, got, want)
				}
			}
		}
	})
	r := h.reader(t, "en")
	r.get("/outing/moon").says(t, r.speaker(), 404, "problem.unknown-setup")
	c.pass(time.Second) // past a quarter of an hour: the next one
	if got := r.get("/outing/chair-12").field(t, "leaves"); got != "2026-03-02T09:15" {
		t.Errorf("leaves at %q", got)
	}
}

// TestOutingForeseen: what the page says is what the model says.
func TestOutingForeseen(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	zone, err := time.LoadLocation("America/Vancouver")
	must(t, err)
	flat := with(afternoon, "chair", "25", "internal", "50", "years", "5", "amount-2", "240")
	for _, c := range []struct {
		name, setup string
		form        url.Values
		change      func(*outing.Plan)
		keeps       bool
	}{
		{"a short way with a good battery", "chair-12", afternoon, func(*outing.Plan) {}, true},
		{"an old battery, hardly charged", "chair-7", flat, func(p *outing.Plan) {
			p.Chair.Charges, p.Chair.Years, p.Internal.Charge, p.Legs[1].Minutes = []float64{.25, .25}, 5, .5, 240
		}, false},
		{"measured minutes, a frost and the high setting", "chair-21", with(afternoon, "measured", "300", "years", "old", "temperature", "-12.5", "setting", "high"), func(p *outing.Plan) {
			p.Chair.Measured, p.Chair.Since, p.Celsius, p.Load = 300, 1, -12.5, 0
		}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := setup.Demo(c.setup)
			must(t, err)
			p := outing.Usual(s, time.Date(2026, 11, 25, 13, 0, 0, 0, zone))
			p.Chair.Years = 1
			p.Legs = []outing.Leg{{Kind: outing.Drive, Km: 1}, {Kind: outing.Stand, Minutes: 60}, {Kind: outing.Drive, Km: 1}}
			if c.change(&p); p.Load == 0 {
				p.Load = s.Ventilator.Draw.High
			}
			f, err := p.Forecast(s)
			must(t, err)
			if f.OK != c.keeps {
				t.Fatalf("the model says %v", f.OK)
			}
			inEach(t, func(t *testing.T, language string) {
				r := h.reader(t, language)
				verdict := map[bool]string{true: "outing.keeps", false: "outing.keeps-not"}
				a := r.plan(c.setup, c.form).says(t, r.speaker(), 200, verdict[c.keeps])
				if got := strings.Contains(a.body, "✓") && strings.Contains(a.body, tick); got != c.keeps {
					t.Errorf("ticked: %v", got)
				}
				a.holds(t, "fig-timeline", r.speaker().T("outing.rule"), r.speaker().T("outing.caution.estimate"), f.Stretches[0].MainsBy.Format("15:04"))
				if strings.Contains(a.body, r.speaker().T(verdict[!c.keeps])) {
					t.Error("both verdicts")
				}
				stops := !f.StopsAt.IsZero()
				if says := strings.Contains(a.body, strings.SplitN(r.speaker().T("outing.stops", "At", "|"), "|", 2)[0]); says != stops {
					t.Errorf("says that the ventilator stops: %v, expected %v", says, stops)
				}
				rows := a.cells()
				if len(rows) != len(f.Rows) {
					t.Fatalf("%d rows, expected %d", len(rows), len(f.Rows))
				}
				for i, row := range rows {
					if want := f.Rows[i]; len(row) != 8 || !strings.Contains(row[0], want.At.Format("15:04")) || row[2] != r.speaker().T("common.source."+string(want.Source)) {
						t.Errorf("row %d is %q, expected %+v", i, row, want)
					} else if !want.Worst {
						roundedDown(t, row[3], 1, want.Chair.Worst*100, want.Chair.Typical*100)
						roundedDown(t, row[5], 5, want.OnChair.Worst, want.OnChair.Typical)
						roundedDown(t, row[6], 5, want.Minutes.Worst, want.Minutes.Typical)
						roundedDown(t, row[7], .5, want.Km.Worst, want.Km.Typical)
					}
				}
				for name := range c.form {
					if got, want := a.field(t, name), c.form.Get(name); got != want {
						t.Errorf("%s is now %q, expected %q", name, got, want)
					}
				}
			})
		})
	}
}

// tick is how the picture draws that the margin is kept.
const tick = "l7 8l13 -17"

// TestOutingSaysWhyNot: a plan without the margin shows no sign that it keeps
// it, in words or drawn, and says what it lacks.
func TestOutingSaysWhyNot(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	zone, err := time.LoadLocation("America/Vancouver")
	must(t, err)
	lacked := map[outing.Lack]bool{}
	for _, c := range []struct {
		name, setup          string
		form                 url.Values
		stops, strands, late bool
	}{
		{"nothing in the internal battery", "chair-12", with(afternoon, "internal", "0"), true, false, false},
		{"little in the internal battery", "chair-12", with(afternoon, "internal", "10"), false, false, false},
		{"a way too far", "chair-12", with(afternoon, "chair", "20", "amount-1", "8", "amount-3", "8"), true, true, false},
		{"too long a stay", "chair-7", with(afternoon, "amount-1", "2", "amount-2", "500", "amount-3", "2"), false, false, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := setup.Demo(c.setup)
			must(t, err)
			number := func(name string) float64 {
				n, err := strconv.ParseFloat(c.form.Get(name), 64)
				must(t, err)
				return n
			}
			p := outing.Usual(s, time.Date(2026, 11, 25, 13, 0, 0, 0, zone))
			p.Chair.Years, p.Internal.Charge = 1, number("internal")/100
			p.Chair.Charges = []float64{number("chair") / 100, number("chair") / 100}
			p.Legs = []outing.Leg{
				{Kind: outing.Drive, Km: setup.Kilometres(number("amount-1"))},
				{Kind: outing.Stand, Minutes: setup.Minutes(number("amount-2"))},
				{Kind: outing.Drive, Km: setup.Kilometres(number("amount-3"))},
			}
			f, err := p.Forecast(s)
			must(t, err)
			st := f.Stretches[0]
			lacked[st.Lacks] = true
			inEach(t, func(t *testing.T, language string) {
				r := h.reader(t, language)
				say := r.speaker().T
				a := r.plan(c.setup, c.form).says(t, r.speaker(), 200, "outing.keeps-not")
				body := html.UnescapeString(a.body)
				for text, want := range map[string]bool{
					"✓": false, tick: false, say("outing.keeps"): false, say("figure.timeline.ok"): false, say("figure.timeline.not-ok"): true,
					"✕</span> " + say("figure.timeline.lack.supply"): st.Lacks == outing.LackSupply, "✕</span> " + say("figure.timeline.lack.reserve"): st.Lacks == outing.LackReserve,
					"✕</span> " + say("figure.timeline.lack.margin"): st.Lacks == outing.LackMargin,
					say("outing.late.never"):                         st.Never(), ">" + say("figure.timeline.never") + "<": st.Never(),
					"<dt>" + say("outing.leave-by") + "</dt>": !st.Never(), ">" + say("figure.timeline.leave-by") + "<": !st.Never(),
					say("outing.late.leaves", "At", st.Sets.Format("15:04")):             c.late,
					say("outing.stops", "At", f.StopsAt.In(zone).Format("15:04")):        c.stops,
					say("figure.timeline.not-there"):                                     c.strands,
					strings.SplitN(say("figure.timeline.arrives", "At", "|"), "|", 2)[0]: !c.strands,
				} {
					if got := strings.Contains(body, text); got != want {
						t.Errorf("says %q: %v, expected %v", text, got, want)
					}
				}
				var said []string
				for _, row := range a.cells() {
					said = append(said, row[1])
				}
				worst := " " + say("outing.worst")
				for text, want := range map[string]bool{
					say("outing.happens.not-there", "Number", 2) + worst: c.strands, say("outing.happens.not-there", "Number", 3) + worst: c.strands,
					say("outing.happens.not-there-mains") + worst: c.strands, say("outing.happens.arrives"): !c.strands, say("outing.happens.stops") + worst: c.stops,
				} {
					if got := slices.Contains(said, text); got != want {
						t.Errorf("a row %q: %v, expected %v, in %q", text, got, want, said)
					}
				}
			})
		})
	}
	for _, l := range []outing.Lack{outing.LackSupply, outing.LackReserve, outing.LackMargin} {
		if !lacked[l] {
			t.Errorf("no plan lacked %s", l)
		}
	}
}

// roundedDown holds a figure of the table to the model's, from the worst case
// to the typical one.
func roundedDown(t *testing.T, said string, step, worst, typical float64) {
	t.Helper()
	low, high, two := strings.Cut(strings.TrimSuffix(said, " %"), "–")
	if !two {
		high = low
	}
	for text, is := range map[string]float64{low: min(worst, typical), high: max(worst, typical)} {
		n, err := strconv.ParseFloat(text, 64)
		// Two ends that round to the same step are said once.
		if err != nil || n > is+1e-6 || n <= is-step-1e-6 {
			t.Errorf("%q stands for %.2f to %.2f", said, worst, typical)
		}
	}
}

func TestOutingRefused(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		r := h.reader(t, language)
		s := r.speaker()
		number := func(low, high any) string { return s.T("outing.expect.number", "Low", low, "High", high) }
		km, minutes := s.T("outing.leg.km", "Number", 1), s.T("outing.leg.minutes", "Number", 2)
		for _, c := range []struct {
			name, field, value, label, expected string
		}{
			{"a drive of no length", "amount-1", "0", km, number(.1, 200)},
			{"a drive past any range", "amount-1", "200.1", km, number(.1, 200)},
			{"a drive in words", "amount-1", "far", km, number(.1, 200)},
			{"a drive backwards", "amount-1", "-1", km, number(.1, 200)},
			{"a stand without minutes", "amount-2", "", minutes, number(1, outing.MostMinutes)},
			{"a stand of more than a week", "amount-2", "10081", minutes, number(1, outing.MostMinutes)},
			{"a thousand with a comma, not one", "amount-2", "1,000", minutes, number(1, outing.MostMinutes)},
			{"minutes in another notation", "amount-2", "1e2", minutes, number(1, outing.MostMinutes)},
			{"an unknown kind", "kind-1", "fly", s.T("outing.leg", "Number", 1), s.T("outing.expect.kind")},
			{"an unknown setting", "setting", "off", s.T("outing.setting"), s.T("outing.expect.setting")},
			{"no setting", "setting", "", s.T("outing.setting"), s.T("outing.expect.setting")},
			{"too cold", "temperature", "-40.5", s.T("outing.state.temperature"), number(-40, 50)},
			{"too hot", "temperature", "51", s.T("outing.state.temperature"), number(-40, 50)},
			{"no number at all", "temperature", "NaN", s.T("outing.state.temperature"), number(-40, 50)},
			{"more than full", "chair", "101", s.T("outing.state.chair"), number(0, 100)},
			{"less than empty", "internal", "-1", s.T("outing.state.internal"), number(0, 100)},
			{"neither age nor minutes", "years", "", s.T("outing.state.years"), number(0, 30)},
			{"an ancient battery", "years", "31", s.T("outing.state.years"), number(0, 30)},
			{"no measured minutes", "measured", "0", s.T("outing.state.measured"), number(1, outing.MostMinutes)},
			{"markup", "chair", `"><script>x`, s.T("outing.state.chair"), number(0, 100)},
		} {
			t.Run(c.name, func(t *testing.T) {
				key, pairs := "problem.value", []any{"Field", c.label, "Value", c.value, "Expected", c.expected}
				if c.value == "" {
					key, pairs = "problem.empty", []any{"Field", c.label, "Expected", c.expected}
				}
				a := r.plan("chair-12", with(afternoon, c.field, c.value)).says(t, s, 422, key, pairs...)
				a.holds(t, `id="wrong-`+c.field+`"`, `href="#`+c.field+`"`)
				if got := strings.Count(a.body, `aria-invalid="true"`); got != 1 {
					t.Errorf("%d fields are marked as wrong", got)
				}
				if strings.Contains(a.body, "fig-timeline") || strings.Contains(a.body, "<script>x") {
					t.Error("a result of it, or its markup")
				}
				if !strings.HasPrefix(c.field, "kind") && c.field != "setting" && a.field(t, c.field) != c.value {
					t.Errorf("%s is now %q", c.field, a.field(t, c.field))
				}
			})
		}
		none := with(afternoon, "kind-1", "none", "kind-2", "none", "kind-3", "none")
		r.plan("chair-12", none).says(t, s, 422, "problem.no-leg")
		long := with(afternoon, "amount-1", "200", "kind-2", "stand", "amount-2", "9000")
		r.plan("chair-12", long).says(t, s, 422, "problem.long-outing", "Hours", 191, "Most", 168)
		r.plan("chair-12", url.Values{"leaves": {"2026-11-25T13:00"}}).says(t, s, 422, "problem.no-leg")
	})
}

// TestOutingTimes: on the site's clock, and only times that there are.
func TestOutingTimes(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		r := h.reader(t, language)
		s := r.speaker()
		for leaves, key := range map[string]string{
			"2027-03-14T02:30": "problem.leaves-skipped", "tomorrow": "problem.leaves-form", "": "problem.leaves-form",
			"1999-12-31T09:00": "problem.leaves-form", "2026-13-01T09:00": "problem.leaves-form",
		} {
			a := r.plan("chair-12", with(afternoon, "leaves", leaves))
			a.says(t, s, 422, "problem.leaves", "Value", strings.Replace(leaves, "T", " ", 1), "Why", s.T(key))
			a.holds(t, `id="wrong-leaves"`)
		}
		a := r.plan("chair-12", with(afternoon, "leaves", "2026-11-01T01:00", "amount-2", "30")).wants(t, 200)
		var at []string
		for _, row := range a.cells() {
			at = append(at, row[0])
		}
		first := func(v string) string { return marks.Replace(s.T("figure.timeline.time-first", "Time", v)) }
		second := func(v string) string { return marks.Replace(s.T("figure.timeline.time-second", "Time", v)) }
		if want := []string{first("01:00"), first("01:12"), first("01:42"), first("01:54")}; !sameWords(at, want) {
			t.Errorf("the first of two hours: %q, expected %q", at, want)
		}
		a = r.plan("chair-12", with(afternoon, "leaves", "2026-11-01T01:30", "amount-2", "30"))
		if rows := a.cells(); !sameWords([]string{rows[3][0]}, []string{second("01:24")}) {
			t.Errorf("arrives %q", rows[3][0])
		}
	})
}

// marks keep the direction of what stands between them. A time has none of its
// own within: it is marked as a whole where it stands in a sentence.
var marks = strings.NewReplacer("\u2068", "", "\u2069", "")

// TestOutingNamesTheMonth: where the same weekday has been on the way, a day is
// named with its month.
func TestOutingNamesTheMonth(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		r := h.reader(t, language)
		say := r.speaker().T
		long := with(afternoon, "kind-1", "mains", "amount-1", "8640", "adapter-1", "yes", "amount-2", "1200", "kind-3", "none")
		rows := r.plan("chair-12", long).wants(t, 200).cells()
		sixth := say("figure.timeline.day", "Weekday", say("figure.weekday.tuesday"), "Day", 1)
		seventh := say("figure.timeline.day-month", "Weekday", say("figure.weekday.wednesday"), "Day", 2, "Month", say("figure.month.december"))
		for i, want := range []string{
			"13:00", say("figure.timeline.day-time", "Day", sixth, "Time", "13:00"), say("figure.timeline.day-time", "Day", seventh, "Time", "09:00"),
		} {
			if want = marks.Replace(want); rows[i][0] != want {
				t.Errorf("row %d is at %q, expected %q", i, rows[i][0], want)
			}
		}
	})
}

func sameWords(a, b []string) bool {
	return slices.EqualFunc(a, b, func(a, b string) bool {
		return strings.Join(strings.Fields(a), " ") == strings.Join(strings.Fields(b), " ")
	})
}

// TestOutingLegs: legs left out in between close up, ticks count at an outlet
// only, and six is the most.
func TestOutingLegs(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		r := h.reader(t, language)
		s := r.speaker()
		form := with(afternoon, "kind-1", "none", "amount-1", "9", "adapter-2", "yes",
			"kind-6", "mains", "amount-6", "45", "adapter-6", "yes", "charger-6", "yes", "kind-7", "drive", "amount-7", "1")
		a := r.plan("chair-12", form).wants(t, 200)
		for i, want := range []string{
			s.T("outing.does.stand", "Minutes", 60), s.T("outing.does.drive", "Km", 1), s.T("outing.does.mains-adapter-charger", "Minutes", 45),
		} {
			if got := a.cells()[i][1]; got != s.T("outing.happens.leg", "Number", i+1, "Does", want) {
				t.Errorf("row %d: %q, expected %q", i, got, want)
			}
		}
		for name, want := range map[string]string{"kind-1": "stand", "kind-2": "drive", "kind-3": "mains", "kind-4": "none", "amount-4": "9"} {
			if got := a.field(t, name); got != want {
				t.Errorf("%s is %q, expected %q", name, got, want)
			}
		}
		if strings.Count(a.body, " checked") != 3 || strings.Contains(a.body, "<details open") {
			t.Error("ticks or open legs are not as they were given")
		}
		own := with(afternoon, "amount-2", "٦٠", "temperature", "\u22125", "amount-1", "1,5")
		a = r.plan("chair-12", own).wants(t, 200)
		a.holds(t, s.T("outing.does.stand", "Minutes", 60), s.T("outing.does.drive", "Km", 1.5), `value="٦٠"`)
	})
}

// TestOutingIsFound: from a set-up's page and from a learner's; another
// language and size keep the answers; who is signed in stays so.
func TestOutingIsFound(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	guest, learner := h.reader(t, "en"), h.learner(t, rowan, "en")
	for _, id := range setup.DemoNames {
		guest.get("/lessons/"+id).wants(t, 200).holds(t, `href="/outing/`+id+`"`)
	}
	learner.get("/me").wants(t, 200).holds(t, `href="/outing/chair-12"`)
	learner.plan("chair-12", afternoon).wants(t, 200).holds(t, "Rowan Teal")
	a := guest.plan("chair-12", afternoon).wants(t, 200)
	if strings.Contains(a.body, `method="post"`) {
		t.Error("a guest gets a form to post")
	}
	for _, l := range locales.Languages[1:] {
		next := regexp.MustCompile(`href="(/language/` + l.Tag + `\?next=[^"]*)"`).FindStringSubmatch(a.body)
		if next == nil {
			t.Fatalf("no way to %s", l.Tag)
		}
		to := guest.get(html.UnescapeString(next[1])).wants(t, 303).location()
		guest.get(to).says(t, h.speak.Speak(l.Tag), 200, "outing.keeps")
	}
}
