package server_test

import (
	"context"
	"fmt"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"lampwright/quiz/competency"
	"lampwright/server"
	"lampwright/server/record"
)

// signable is a served house where Rowan may be signed off.
func signable(t *testing.T) *house {
	t.Helper()
	h := serve(t, demoDir(t))
	h.learner(t, rowan, "en").learn("chair-12")
	return h
}

const rowanAt = "/desk/learners/demo-rowan"

// filled is the form to sign, filled in rightly.
func filled(t testing.TB, r *reader) url.Values {
	t.Helper()
	return filledAt(t, r, rowanAt)
}

func filledAt(t testing.TB, r *reader, at string) url.Values {
	t.Helper()
	form := with(r.get(at).wants(t, 200).form(t, at+"/sign"), "spare", "yes", "rating", "4", "secret", mara[1])
	for _, it := range competency.Find(competency.PowerSources).Items {
		form.Add("seen", it.ID)
	}
	return form
}

func signOffs(t *testing.T, dir string) (list []record.SignOff) {
	t.Helper()
	withRecords(t, dir, func(s *record.Store) {
		var err error
		list, err = s.SignOffs(context.Background(), server.SiteID, "demo-rowan")
		must(t, err)
	})
	return list
}

func TestSigning(t *testing.T) {
	t.Parallel()
	inEach(t, func(t *testing.T, language string) {
		h := signable(t)
		r := h.educator(t, language)
		form := filled(t, r)
		var critical, rest []string
		for _, it := range competency.Find(competency.PowerSources).Items {
			if it.Critical {
				critical = append(critical, it.ID)
			} else {
				rest = append(rest, it.ID)
			}
		}
		lacking := with(form)
		lacking["seen"] = append(append([]string{}, critical[1:]...), rest...)
		odd := with(form)
		odd["seen"] = append([]string{"moon"}, critical...)
		for _, c := range []struct {
			name   string
			form   url.Values
			status int
			key    string
		}{
			{"no spare ventilator", without(form, "spare"), 422, "problem.spare"},
			{"a critical item not seen", lacking, 422, "problem.critical-missed"},
			{"an item that is none", odd, 422, "problem.form"},
			{"no rating", without(form, "rating"), 422, "problem.rating-missing"},
			{"a rating that is no number", with(form, "rating", "good"), 422, "problem.rating-missing"},
			{"a rating past the scale", with(form, "rating", "6"), 422, "problem.rating-missing"},
			{"a low rating", with(form, "rating", "2"), 422, "problem.rating-low"},
			{"the wrong password", with(form, "secret", "x"), 401, "problem.wrong-password"},
			{"no password", without(form, "secret"), 401, "problem.wrong-password"},
			{"no key", without(form, "key"), 422, "problem.form"},
			{"no token", without(form, "token"), 403, "problem.form-stale"},
		} {
			t.Run(c.name, func(t *testing.T) {
				a := r.post(rowanAt+"/sign", c.form).says(t, r.speaker(), c.status, c.key)
				if c.key == "problem.form" || c.key == "problem.form-stale" {
					return
				}
				// What was filled in is kept, but for the password.
				if got, want := strings.Count(a.body, "checked"), len(c.form["seen"])+len(c.form["spare"])+rated(c.form); got != want {
					t.Errorf("%d boxes are ticked, expected %d", got, want)
				}
				if strings.Contains(a.body, mara[1]) {
					t.Error("the page holds the password")
				}
			})
		}
		t.Run("a clock an hour back", func(t *testing.T) {
			h.clock.pass(-time.Hour)
			r.post(rowanAt+"/sign", form).says(t, r.speaker(), 503, "problem.clock-behind")
			h.clock.pass(time.Hour)
		})
		t.Run("a double tap is one sign-off", func(t *testing.T) {
			var wait sync.WaitGroup
			for range 3 {
				wait.Go(func() {
					if a := r.post(rowanAt+"/sign", form); a.status != 303 || a.location() != rowanAt+"?signed=1" {
						t.Errorf("got %d %s: %s", a.status, a.location(), wordsOf(a.body))
					}
				})
			}
			wait.Wait()
			r.post(rowanAt+"/sign", form).wants(t, 303)
			r.get(rowanAt+"?signed=1").says(t, r.speaker(), 200, "page.signed").holds(t, r.speaker().T("page.standing.current"))
		})
		t.Run("a lapsed one stays lapsed, whatever the clock does", func(t *testing.T) {
			h.clock.pass(366 * 24 * time.Hour)
			lapsed := r.speaker().T("page.standing.lapsed")
			learner := h.learner(t, rowan, language)
			learner.get("/me").wants(t, 200).holds(t, lapsed)
			h.clock.pass(-30 * 24 * time.Hour)
			learner.get("/me").says(t, r.speaker(), 503, "problem.clock-behind")
			must(t, h.stop())
			h = serveWith(t, h.config, h.clock) // the mark is on disk
			learner = h.reader(t, language)
			learner.try("/sign-in", rowan).says(t, r.speaker(), 503, "problem.clock-behind")
			learner.get("/stopped").wants(t, 200)
			h.clock.pass(30 * 24 * time.Hour)
			learner.try("/sign-in", rowan).wants(t, 303)
			learner.get("/me").wants(t, 200).holds(t, lapsed)
		})
		must(t, h.stop())
		list := signOffs(t, h.config.Data)
		if len(list) != 1 {
			t.Fatalf("%d sign-offs, expected 1", len(list))
		}
		if o := list[0]; o.SignedName != "Mara Quill" || o.Rating != 4 || !o.Signed.Equal(morning) || o.SignedLocal != "2026-03-02 09:00 PST" ||
			o.Language != language || o.Meaning != h.speak.Speak(language).T("page.observe.meaning.text") {
			t.Errorf("signed %+v", o)
		}
	})
}

// The programme says how long a sign-off is valid and how many caregivers a
// set-up needs; where there is none, the usual holds.
func TestCoverage(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		old, new string
		fewest   int
		last     string
	}{
		"as the demo's programme has it": {"", "", 2, "2027-03-02"},
		"half a year, and one will do":   {"sign-off-days: 365\n  fewest-caregivers: 2", "sign-off-days: 180\n  fewest-caregivers: 1", 1, "2026-08-29"},
		"no programme":                   {"", "none", 2, "2027-03-02"},
	} {
		t.Run(name, func(t *testing.T) {
			dir := demoDir(t)
			putSite(t, dir, func(s *record.Site) {
				if s.Programme = strings.Replace(s.Programme, c.old, c.new, 1); c.new == "none" {
					s.Programme = ""
				}
			})
			h := serve(t, dir)
			h.learner(t, rowan, "en").learn("chair-12")
			row := func(r *reader, tag string) string {
				body := r.get("/desk").wants(t, 200).body
				from := strings.Index(body, `<th scope="row"><bdi>`+tag+`</bdi></th>`)
				return body[from : from+strings.Index(body[from:], "</tr>")]
			}
			marked := func(r *reader, tag string, caregivers int) {
				t.Helper()
				got := row(r, tag)
				few := r.speaker().T("page.coverage.few", "Count", c.fewest)
				if !strings.Contains(got, fmt.Sprintf("<td><bdi>%d</bdi>", caregivers)) || strings.Contains(got, few) != (caregivers < c.fewest) {
					t.Errorf("%s with %d caregivers, of at least %d: %s", tag, caregivers, c.fewest, wordsOf(got))
				}
			}
			r := h.educator(t, "en")
			marked(r, "Chair 12", 0)
			r.post(rowanAt+"/sign", filled(t, r)).wants(t, 303)
			r.get(rowanAt).wants(t, 200).holds(t, "<dd><bdi>"+c.last+"</bdi></dd>")
			inEach(t, func(t *testing.T, language string) {
				r := h.educator(t, language)
				marked(r, "Chair 12", 1)
				marked(r, "Chair 7", 0)
			})
			day, err := time.Parse(time.DateOnly, c.last)
			must(t, err)
			h.clock.pass(day.Sub(morning) - 24*time.Hour)
			marked(h.educator(t, "en"), "Chair 12", 0) // its refreshers were missed
			h.learner(t, rowan, "en").learn("chair-12")
			marked(h.educator(t, "en"), "Chair 12", 1) // it lapses soon, and holds
			h.clock.pass(72 * time.Hour)
			marked(h.educator(t, "en"), "Chair 12", 0)
		})
	}
}

func rated(form url.Values) int {
	if r := form.Get("rating"); len(r) == 1 && r >= "1" && r <= "5" {
		return 1
	}
	return 0
}

func TestSigningBeforeAllIsDone(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		r := h.educator(t, language)
		page := r.get(rowanAt).says(t, r.speaker(), 200, "page.observe.incomplete")
		form := url.Values{"token": {page.form(t, "/sign-out").Get("token")}, "key": {strings.Repeat("k", 20)}, "competency": {"power-sources"}, "version": {"1"}, "spare": {"yes"}, "rating": {"5"}, "secret": {mara[1]}}
		for _, it := range competency.Find(competency.PowerSources).Items {
			form.Add("seen", it.ID)
		}
		r.post(rowanAt+"/sign", form).says(t, r.speaker(), 422, "problem.evidence-missing")
		r.post("/desk/learners/demo-mara/sign", form).says(t, r.speaker(), 404, "problem.not-found")
		r.post("/desk/learners/moon/sign", form).says(t, r.speaker(), 404, "problem.unknown-person")
	})
}
