package server_test

import (
	"fmt"
	"math/rand/v2"
	"net/url"
	"strings"
	"testing"
	"time"

	"lampwright/quiz/competency"
	"lampwright/server"
	"lampwright/server/record"
)

// signedFor is a sign-off of someone for a set-up, by Mara.
func signedFor(person string, r record.Setup, signed, lapses time.Time) record.SignOff {
	return record.SignOff{
		SiteID: server.SiteID, PersonID: person, PersonName: "P", EducatorID: "demo-mara", EducatorName: "Mara", Competency: competency.PowerSources,
		SetupID: r.ID, SetupTag: r.Tag, SetupVersion: r.Version, ChecklistVersion: "1", ModelVersion: "1", ContentVersion: "1", Language: "en",
		Meaning: "m", SignedName: "Mara", Checklist: []byte("{}"), Rating: 4, Signed: signed, SignedLocal: "x", Lapses: lapses,
	}
}

// learntAgain answers every lesson rightly and passes every scenario for the
// record, at a time; but for one lesson, if it is named.
func learntAgain(t testing.TB, s *record.Store, person string, r record.Setup, at time.Time, but string) {
	t.Helper()
	what := competency.Find(competency.PowerSources)
	for _, id := range what.Lessons {
		if id != but {
			must(t, s.MarkLesson(t.Context(), server.SiteID, person, r.ID, r.Version, id, "1", true, at, record.NewID()))
		}
	}
	for _, id := range what.Scenarios {
		run, err := s.StartRun(t.Context(), record.Run{
			SiteID: server.SiteID, PersonID: person, SetupID: r.ID, SetupVersion: r.Version, Scenario: id, ScenarioVersion: "1",
			ModelVersion: "1", Language: "en", Mode: record.Quiz, Started: at,
		}, record.NewID())
		must(t, err)
		must(t, s.EndRun(t.Context(), server.SiteID, run.ID, true, 1, []byte("{}"), at))
	}
}

// crowd adds learners p1 to pN at Chair 12, named after their number, in two
// teams; those before signed are signed off, one each day, the first longest ago.
func crowd(t testing.TB, dir string, learners, signed int) {
	t.Helper()
	withRecords(t, dir, func(s *record.Store) {
		chair, err := s.Setup(t.Context(), server.SiteID, "chair-12")
		must(t, err)
		for i := 1; i <= learners; i++ {
			p := record.Person{
				SiteID: server.SiteID, ID: fmt.Sprintf("p%d", i), Name: fmt.Sprintf("Person %05d", i), Role: record.Learner, Card: fmt.Sprintf("C%d", i),
				Language: "en", SetupID: "chair-12", Team: []string{"Days", "Nights"}[i%2],
			}
			must(t, s.PutPerson(t.Context(), p, morning))
			if i <= signed {
				day := 24 * time.Hour
				_, _, err := s.Sign(t.Context(), signedFor(p.ID, chair, morning.Add(-time.Duration(signed-i+1)*day), morning.Add(time.Duration(i)*day)), p.ID)
				must(t, err)
			}
		}
	})
}

// TestRosterOfMany: in pages, found by name and team, and by when they lapse.
func TestRosterOfMany(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	crowd(t, dir, 250, 80)
	h := serve(t, dir)
	inEach(t, func(t *testing.T, language string) {
		r := h.educator(t, language)
		says := func(path, key string, pairs ...any) answer {
			t.Helper()
			return r.get(path).says(t, r.speaker(), 200, key, pairs...)
		}
		all := 250 + len(demoLearners)
		says("/desk", "roster.shown", "From", 1, "To", 100, "Count", all)
		last := says("/desk?page=3", "roster.shown", "From", 201, "To", all, "Count", all)
		if strings.Contains(last.body, r.speaker().T("roster.after")) {
			t.Error("there is one after the last")
		}
		says("/desk?page=99", "roster.shown", "From", 201, "To", all, "Count", all)
		says("/desk?page=-1", "roster.shown", "From", 1, "To", 100, "Count", all)
		says("/desk?q=person+0000", "roster.shown", "From", 1, "To", 9, "Count", 9)
		says("/desk?q=NIGHTS", "roster.everyone", "Count", 125)
		says("/desk?q=nobody+of+this+name", "roster.nobody")
		says("/desk?q="+url.QueryEscape("<b>\xff"), "roster.nobody")

		// The first lapses tomorrow, the next the day after, and so on.
		for _, c := range []struct{ days, count int }{{30, 30}, {60, 60}, {90, 80}} {
			says("/desk", "roster.lapses", "Days", c.days, "Count", c.count)
			a := says(fmt.Sprintf("/desk?lapses=%d", c.days), "roster.shown", "From", 1, "To", c.count, "Count", c.count)
			if first := strings.Index(a.body, "Person 00001"); first < 0 || first > strings.Index(a.body, "Person 00002") {
				t.Error("who lapses first is not first")
			}
		}
		says("/desk?lapses=31", "roster.everyone", "Count", all)
		says("/desk?lapses=30&q=nights", "roster.shown", "From", 1, "To", 15, "Count", 15)

		// Nobody is signed off for the other competency.
		says("/desk?competency=going-out", "roster.lapses", "Days", 90, "Count", 0)
		r.get("/desk?competency=moon").says(t, r.speaker(), 404, "problem.not-found")
	})
}

// demoLearners are the learners of the demo.
var demoLearners = []string{"Rowan Teal", "Samira", "Jules"}

// The roster and a learner's own page say the same of a sign-off, whatever
// happened to it.
func TestRosterAgreesWithTheLearnersPage(t *testing.T) {
	t.Parallel()
	what := competency.Find(competency.PowerSources)
	day := 24 * time.Hour
	missed := time.Duration(what.Refresh.Critical+what.Refresh.Grace+2) * day
	again := func(at time.Time, but string) func(*testing.T, *record.Store, record.Setup) {
		return func(t *testing.T, s *record.Store, r record.Setup) { learntAgain(t, s, "demo-rowan", r, at, but) }
	}
	for name, c := range map[string]struct {
		after time.Duration
		do    func(t *testing.T, s *record.Store, r record.Setup)
		want  competency.Standing
	}{
		"fresh":                         {day, nil, competency.Current},
		"no critical one was refreshed": {missed, nil, competency.Suspended},
		"all were, yesterday":           {missed, again(morning.Add(missed-day), ""), competency.Current},
		"all were, and long ago again":  {200 * day, again(morning.Add(80*day), ""), competency.Suspended},
		"all but one were, yesterday":   {missed, again(morning.Add(missed-day), "your-panel"), competency.Suspended},
		"the set-up changed": {day, func(t *testing.T, s *record.Store, r record.Setup) {
			r.YAML, r.Version = []byte(strings.Replace(string(r.YAML), "model: Heron", "model: Plover", 1)), ""
			must(t, s.PutSetup(t.Context(), r, morning))
		}, competency.Changed},
		"revoked": {day, func(t *testing.T, s *record.Store, _ record.Setup) {
			list, err := s.SignOffs(t.Context(), server.SiteID, "demo-rowan")
			must(t, err)
			_, _, err = s.AddEvent(t.Context(), record.Event{
				SiteID: server.SiteID, SignOffID: list[0].ID, Kind: string(competency.KindRevoked), ByID: "demo-mara", ByName: "M", At: list[0].Signed, Why: "a slip", FormKey: "k",
			}, func(record.SignOff, []record.Event) error { return nil })
			must(t, err)
		}, competency.Revoked},
		"lapsed": {366 * day, nil, competency.Lapsed},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			h := signable(t)
			r := h.educator(t, "en")
			r.post(rowanAt+"/sign", filled(t, r)).wants(t, 303)
			must(t, h.stop())
			if c.do != nil {
				withRecords(t, h.config.Data, func(s *record.Store) {
					chair, err := s.Setup(t.Context(), server.SiteID, "chair-12")
					must(t, err)
					c.do(t, s, chair)
				})
			}
			h.clock.pass(c.after)
			h = serveWith(t, server.Config{Data: h.config.Data}, h.clock)
			r = h.educator(t, "en")
			words := r.speaker().T(c.want.Key())
			row := r.get("/desk?q=rowan").wants(t, 200).body
			_, row, _ = strings.Cut(row, "Rowan Teal")
			row, _, _ = strings.Cut(row, "</tr>")
			if !strings.Contains(row, words) {
				t.Errorf("the roster does not say %q: %s", words, wordsOf(row))
			}
			r.get(rowanAt).wants(t, 200).holds(t, words)
		})
	}
}

func lacks(t *testing.T, a answer, texts ...string) {
	t.Helper()
	for _, text := range texts {
		if strings.Contains(a.body, text) {
			t.Errorf("%s: %q is in it", a.asked, text)
		}
	}
}

// TestKioskByChoice, where there are few set-ups; and by tag, where there are
// too many to choose from.
func TestKioskByChoice(t *testing.T) {
	t.Parallel()
	inEach(t, func(t *testing.T, language string) {
		h := serve(t, demoDir(t))
		r := h.educator(t, language)
		form := r.get("/desk").holds(t, `<option value="chair-7"`).form(t, "/desk/kiosk")
		r.post("/desk/kiosk", with(form, "set-up", "chair-7")).wants(t, 303)
		r.get("/desk").holds(t, `<option value="chair-7" selected>`)
		lacks(t, r.get("/looks").holds(t, `"/lessons/chair-7"`), `"/lessons/chair-12"`)
		r.post("/desk/kiosk", with(form, "set-up", "chair-99")).says(t, r.speaker(), 404, "problem.unknown-setup")
		r.post("/desk/kiosk", with(form, "set-up", "")).wants(t, 303)
		r.get("/looks").holds(t, `"/lessons/chair-7"`, `"/lessons/chair-12"`)
	})
}

func TestKioskByTag(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	withRecords(t, dir, func(s *record.Store) {
		r, err := s.Setup(t.Context(), server.SiteID, "chair-12")
		must(t, err)
		for i := range 60 {
			r.ID, r.Tag = fmt.Sprintf("c%d", i), fmt.Sprintf("Stool %d", max(i, 1)) // the first two alike
			must(t, s.PutSetup(t.Context(), r, morning))
		}
	})
	h := serve(t, dir)
	inEach(t, func(t *testing.T, language string) {
		r := h.educator(t, language)
		a := r.get("/desk").holds(t, `name="tag" value=""`)
		lacks(t, a, `<option value="c7"`, `aria-invalid`)
		form := a.form(t, "/desk/kiosk")
		r.post("/desk/kiosk", with(form, "tag", " stool 7 ")).wants(t, 303)
		r.get("/desk").holds(t, `name="tag" value="Stool 7"`)
		lacks(t, r.get("/looks").holds(t, `"/lessons/c7"`), `"/lessons/c8"`, `"/lessons/chair-12"`)
		for tag, key := range map[string]string{"Stool": "roster.kiosk.none", `<b>"`: "roster.kiosk.none", "stool 1": "roster.kiosk.several"} {
			a := r.post("/desk/kiosk", with(form, "tag", tag)).says(t, r.speaker(), 422, key, "Tag", tag)
			a.holds(t, `name="tag" value="`+tag+`"`, `aria-invalid="true"`)
		}
		lacks(t, r.get("/looks").holds(t, `"/lessons/c7"`), `"/lessons/c8"`) // as before
		r.post("/desk/kiosk", with(form, "tag", " ")).wants(t, 303)
		say := r.speaker()
		lacks(t, r.get("/looks").says(t, say, 200, "page.looks.which").holds(t, `href="/safe"`, say.T("page.looks.no-name")), `"/lessons/`)
		lacks(t, r.get("/looks?tag=+stool+8+").says(t, say, 200, "page.looks").holds(t, `"/lessons/c8"`, "tag%3Dstool%2B8"), `"/lessons/c7"`)
		r.get("/looks?tag=stool+1").wants(t, 200).holds(t, `"/lessons/c0"`, `"/lessons/c1"`) // both, and who looks can tell
		lacks(t, r.get("/looks?tag=%3Cb%3Enone").says(t, say, 200, "page.looks.none", "Tag", "<b>none").holds(t, `href="/safe"`, `aria-invalid="true"`), "<b>none", `"/lessons/`)
	})
}

// BenchmarkRoster is the whole page, for ten thousand at 2,500 set-ups, all
// signed off over the past year and refreshed since, a tenth of whose set-ups
// changed. Tail: as it is asked for over a real connection.
func BenchmarkRoster(b *testing.B) {
	dir := demoDir(b)
	const learners, setups = 10_000, 2_500
	withRecords(b, dir, func(s *record.Store) {
		ctx := b.Context()
		chair, err := s.Setup(ctx, server.SiteID, "chair-12")
		must(b, err)
		odds := rand.New(rand.NewPCG(1, 2))
		ago := func(days int) time.Time { return morning.Add(-time.Duration(1+odds.IntN(days)) * 24 * time.Hour) }
		for i := range setups {
			r := chair
			r.ID, r.Tag = fmt.Sprintf("c%d", i), fmt.Sprintf("Chair %05d", i)
			must(b, s.PutSetup(ctx, r, morning))
		}
		for i := range learners {
			r := chair
			r.ID, r.Tag = fmt.Sprintf("c%d", i%setups), fmt.Sprintf("Chair %05d", i%setups)
			p := record.Person{
				SiteID: server.SiteID, ID: record.NewID(), Name: fmt.Sprintf("Person %05d", i*7919%10007), Role: record.Learner, Card: fmt.Sprintf("C%d", i),
				Language: "en", SetupID: r.ID, Team: "Nights",
			}
			must(b, s.PutPerson(ctx, p, morning))
			learntAgain(b, s, p.ID, r, ago(88), "") // in the past quarter
			o, _, err := s.Sign(ctx, signedFor(p.ID, r, ago(360), morning.AddDate(0, 0, 1+odds.IntN(360))), p.ID)
			must(b, err)
			happens := func(kind, by, why string) { // acknowledged, all of them; one in twenty is suspended
				_, _, err := s.AddEvent(ctx, record.Event{
					SiteID: server.SiteID, SignOffID: o.ID, Kind: kind, ByID: by, ByName: "P", At: o.Signed, Why: why, FormKey: kind + p.ID,
				}, func(record.SignOff, []record.Event) error { return nil })
				must(b, err)
			}
			happens("acknowledged", p.ID, "")
			if i%20 == 0 {
				happens(string(competency.KindSuspended), "demo-mara", "seen alone")
			}
		}
		for i := 0; i < setups; i += 10 { // a tenth of the set-ups changed since
			r := chair
			r.ID, r.Tag, r.Version = fmt.Sprintf("c%d", i), fmt.Sprintf("Chair %05d", i), ""
			r.YAML = []byte(strings.Replace(string(r.YAML), "model: Heron", "model: Plover", 1))
			must(b, s.PutSetup(ctx, r, morning))
		}
	})
	h := serve(b, dir)
	r := h.educator(b, "en")
	for name, path := range map[string]string{"all": "/desk", "lapses": "/desk?lapses=30", "search": "/desk?q=person+001"} {
		b.Run(name, func(b *testing.B) {
			size := len(r.get(path).wants(b, 200).body)
			for b.Loop() {
				r.get(path).wants(b, 200)
			}
			b.ReportMetric(float64(size), "bytes")
		})
	}
}
