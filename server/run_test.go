package server_test

import (
	"context"
	"fmt"
	"html"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"lampwright/quiz"
	"lampwright/server"
	"lampwright/server/record"
)

func TestTwoTabs(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		r := h.learner(t, rowan, language)
		goOn := func(t *testing.T, a answer, run string) {
			t.Helper()
			a.says(t, r.speaker(), 409, "problem.moved").holds(t, `href="`+run+`"`, r.speaker().T("page.problem.go-on"))
		}
		t.Run("the older tab is told, and can go on", func(t *testing.T) {
			run := r.begin("at-home-evening", record.Practice)
			older := with(r.get(run).form(t, run+"/act"), "action", "look:panel")
			r.act(run, "ask-person:")
			goOn(t, r.post(run+"/act", older), run)
			if got := r.seq(run); got != 2 {
				t.Errorf("the run stands at %d, expected 2", got)
			}
		})
		t.Run("a run that ended in the other tab", func(t *testing.T) {
			run := r.begin("at-home-evening", record.Practice)
			older := with(r.get(run).form(t, run+"/act"), "action", "look:panel")
			r.act(run, "call-technologist:")
			goOn(t, r.post(run+"/act", older), run)
			goOn(t, r.post(run+"/act", with(older, "seq", "2")), run)
			if to := r.get(run).wants(t, 303).location(); to != run+"/debrief" {
				t.Errorf("going on leads to %q", to)
			}
		})
		t.Run("a double tap is one step", func(t *testing.T) {
			run := r.begin("at-home-evening", record.Practice)
			r.act(run, "ask-person:")
			r.act(run, "look:panel")
			form := with(r.get(run).form(t, run+"/act"), "action", "look:outlet")
			var to []string
			for range 3 {
				to = append(to, r.post(run+"/act", form).wants(t, 303).location())
			}
			if len(slices.Compact(to)) != 1 {
				t.Errorf("the taps lead to different places: %q", to)
			}
			if got := r.seq(run); got != 4 {
				t.Errorf("the run stands at %d, expected 4", got)
			}
		})
		t.Run("taps at the same time are one step", func(t *testing.T) {
			run := r.begin("at-home-evening", record.Practice)
			form := with(r.get(run).form(t, run+"/act"), "action", "ask-person:")
			var wait sync.WaitGroup
			for range 8 {
				wait.Go(func() {
					if a := r.post(run+"/act", form); a.status != 303 {
						t.Errorf("got %d: %s", a.status, wordsOf(a.body))
					}
				})
			}
			wait.Wait()
			if got := r.seq(run); got != 2 {
				t.Errorf("the run stands at %d, expected 2", got)
			}
		})
		t.Run("a double tap on the ending", func(t *testing.T) {
			run := r.begin("at-home-evening", record.Quiz)
			form := with(r.get(run).form(t, run+"/act"), "action", "call-technologist:")
			for range 2 {
				if to := r.post(run+"/act", form).wants(t, 303).location(); to != run+"/debrief" {
					t.Errorf("a tap leads to %q", to)
				}
			}
		})
		t.Run("a double tap on begin is one run", func(t *testing.T) {
			form := with(r.get("/scenarios/at-home-evening").form(t, "/runs"), "mode", record.Practice)
			a, b := r.post("/runs", form).wants(t, 303), r.post("/runs", form).wants(t, 303)
			if a.location() != b.location() {
				t.Errorf("two runs: %s, %s", a.location(), b.location())
			}
			if c := r.post("/runs", with(form, "mode", record.Quiz)).wants(t, 303); c.location() == a.location() {
				t.Errorf("the same form, sent for the record, is the run of practice: %s", c.location())
			}
		})
	})
}

// TestUnsafeStep: for the record one ends the run; in practice it is said why.
func TestUnsafeStep(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		r := h.learner(t, rowan, language)
		run := r.begin("at-home-evening", record.Practice)
		r.act(run, "replace-fuse:fuse")
		r.get(run).says(t, r.speaker(), 200, "gate.never.replace-fuse")
		run = r.begin("at-home-evening", record.Quiz)
		if to := r.act(run, "replace-fuse:fuse").location(); to != run+"/debrief" {
			t.Errorf("it leads to %q", to)
		}
		r.get(run+"/debrief").says(t, r.speaker(), 200, "page.debrief.failed").holds(t, r.speaker().T("page.debrief.gate.unsafe"))
	})
}

// interrupted is a run whose last step was kept just before the power went:
// it is over and has no end yet.
func interrupted(t *testing.T, dir, mode, last string) (path string) {
	withRecords(t, dir, func(s *record.Store) {
		ctx := context.Background()
		chair, err := s.Setup(ctx, server.SiteID, "chair-12")
		must(t, err)
		run, err := s.StartRun(ctx, record.Run{
			SiteID: server.SiteID, PersonID: "demo-rowan", SetupID: chair.ID, SetupVersion: chair.Version, Scenario: "at-home-evening",
			ScenarioVersion: quiz.Version, ModelVersion: "m", Language: "en", Mode: mode, Started: morning,
		}, strings.Repeat("k", 20))
		must(t, err)
		must(t, s.AddStep(ctx, server.SiteID, run.ID, record.Step{Seq: 1, Action: last, At: morning}, strings.Repeat("a", 20)))
		path = "/runs/" + run.ID
	})
	return path
}

func TestPowerWentBeforeTheEnd(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ name, mode, last, then string }{
		{"read on", record.Quiz, "replace-fuse:fuse", ""},
		{"another tab acts, after an unsafe step", record.Quiz, "replace-fuse:fuse", "ask-person:"},
		{"another tab sends what is no action, after an unsafe step", record.Quiz, "replace-fuse:fuse", "dance:moon"},
		{"another tab acts, after the ending", record.Practice, "call-technologist:", "ask-person:"},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := demoDir(t)
			run := interrupted(t, dir, c.mode, c.last)
			h := serve(t, dir)
			r := h.learner(t, rowan, "ar")
			if c.then != "" {
				token := r.get("/me").form(t, "/sign-out").Get("token")
				a := r.post(run+"/act", map[string][]string{"token": {token}, "key": {strings.Repeat("b", 20)}, "seq": {"2"}, "action": {c.then}})
				a.says(t, r.speaker(), 409, "problem.moved")
			}
			if to := r.get(run).wants(t, 303).location(); to != run+"/debrief" {
				t.Errorf("reading on leads to %q", to)
			}
			r.get(run+"/debrief").says(t, r.speaker(), 200, "page.debrief.failed")
			must(t, h.stop())
			withRecords(t, dir, func(s *record.Store) {
				kept, err := s.Run(context.Background(), server.SiteID, strings.TrimPrefix(run, "/runs/"))
				must(t, err)
				if len(kept.Steps) != 1 || kept.Ended.IsZero() {
					t.Errorf("kept %d steps, ended %v", len(kept.Steps), kept.Ended)
				}
			})
		})
	}
}

// TestClockRanBackwards: nothing personal is read or recorded by a clock that
// is wrong, it is said why, the way to help stays open, and once the clock is
// right everything is where it was.
func TestClockRanBackwards(t *testing.T) {
	t.Parallel()
	for _, restarted := range []bool{false, true} {
		name := map[bool]string{false: "while running", true: "over a restart"}[restarted]
		t.Run(name, func(t *testing.T) {
			inEach(t, func(t *testing.T, language string) {
				dir := demoDir(t)
				h := serve(t, dir)
				r := h.learner(t, rowan, language)
				run := r.begin("at-home-evening", record.Practice)
				r.act(run, "ask-person:")
				form := with(r.get(run).form(t, run+"/act"), "action", "look:panel")
				h.clock.pass(-time.Minute) // a little is forgiven
				r.get(run).wants(t, 200)
				h.clock.pass(-time.Hour)
				if restarted {
					must(t, h.stop())
					again := serveWith(t, h.config, h.clock)
					r2 := again.reader(t, language)
					for _, c := range r.client.Jar.Cookies(r.request("GET", "/", "", "").URL) {
						r2.client.Jar.SetCookies(r2.request("GET", "/", "", "").URL, append(r2.client.Jar.Cookies(r2.request("GET", "/", "", "").URL), c))
					}
					h, r = again, r2
				}
				r.post(run+"/act", form).says(t, r.speaker(), 503, "problem.clock-behind")
				r.get(run).says(t, r.speaker(), 503, "problem.clock-behind")
				other := h.reader(t, language)
				other.try("/sign-in", jules).says(t, r.speaker(), 503, "problem.clock-behind")
				other.get("/readyz").wants(t, 503)
				for _, path := range []string{"/", "/looks", "/safe", "/stopped", "/call", "/sign-in", "/lessons/chair-12/three-sources/1"} {
					r.get(path).wants(t, 200).whole(t, r.speaker())
				}
				h.clock.pass(time.Hour + time.Minute)
				if got := r.seq(run); got != 2 {
					t.Errorf("the run stands at %d, expected 2", got)
				}
				r.post(run+"/act", form).wants(t, 303) // the form is still good
				if got := r.seq(run); got != 3 {
					t.Errorf("the run stands at %d, expected 3", got)
				}
			})
		})
	}
}

// TestPractice counts for nothing: not on the learner's page, and not in the
// educator's list.
func TestPracticeIsNotForTheRecord(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	r := h.learner(t, rowan, "en")
	sc, err := quiz.Find("at-home-evening")
	must(t, err)
	r.pass(sc, record.Practice)
	if strings.Contains(r.get("/me").wants(t, 200).body, `class="state done"`) {
		t.Error("the learner's page counts it")
	}
	roster := h.educator(t, "en").get("/desk").wants(t, 200).body
	row := roster[strings.Index(roster, "Rowan Teal"):]
	row, _, _ = strings.Cut(row, "</tr>")
	if !strings.Contains(row, "0 / 3") {
		t.Errorf("the educator's list counts it: %s", wordsOf(row))
	}
	r.pass(sc, record.Quiz)
	if !strings.Contains(r.get("/me").wants(t, 200).body, `class="state done"`) {
		t.Error("for the record it counts, and the page does not")
	}
}

// TestMoreToPractise: what a sign-off does not need is listed apart, is not
// offered for the record, and is refused there.
func TestMoreToPractise(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		r := h.learner(t, rowan, language)
		me := r.get("/me").says(t, r.speaker(), 200, "page.more").body
		needed, more, _ := strings.Cut(me, r.speaker().T("page.more"))
		for _, sc := range quiz.Scenarios {
			link := `href="/scenarios/` + sc.ID + `"`
			if strings.Contains(needed, link) != sc.Record || strings.Contains(more, link) == sc.Record {
				t.Errorf("%s is in the wrong list", sc.ID)
			}
			begin := r.get("/scenarios/"+sc.ID).says(t, r.speaker(), 200, "quiz.scenario."+sc.ID+".story")
			if strings.Contains(begin.body, `value="quiz"`) != sc.Record {
				t.Errorf("%s is offered for the record, or not", sc.ID)
			}
			if !sc.Record {
				r.post("/runs", with(begin.form(t, "/runs"), "mode", record.Quiz)).wants(t, 422)
			}
		}
	})
}

// TestMainsThatFailed: where the adapter is in already, plugging it in once
// more changes nothing, and nobody says that no outlet is in reach.
func TestMainsThatFailed(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		r := h.learner(t, rowan, language)
		run := r.begin("furniture-moved", record.Practice)
		for _, a := range []string{"ask-person:", "bag:", "look:panel", "plug-in:outlet"} {
			r.act(run, a)
		}
		p := r.get(run).says(t, r.speaker(), 200, "bench.came.same")
		if strings.Contains(html.UnescapeString(p.body), r.speaker().T("gate.no-mains")) {
			t.Error("it says that no outlet is in reach")
		}
	})
}

// TestADebriefSaysWhatPassed: where nothing shows, the debrief says why.
func TestADebriefSaysWhatPassed(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		r := h.learner(t, rowan, language)
		said := map[string]bool{}
		for range 40 {
			run := r.begin("it-came-back", record.Practice)
			r.act(run, "call-clinic:")
			body := html.UnescapeString(r.get(run+"/debrief").wants(t, 200).body)
			_, rest, _ := strings.Cut(r.speaker().T("page.debrief.cause.intermittent", "Part", ""), ":")
			for key, text := range map[string]string{"misread": r.speaker().T("page.debrief.cause.misread"), "intermittent": rest} {
				if strings.Contains(body, text) {
					said[key] = true
				}
			}
			if len(said) == 2 {
				return
			}
		}
		t.Errorf("40 debriefs said only %v", said)
	})
}

// TestWorkedExample: the engine's own way, step by step with its reasons, the
// same for everyone, and nothing else to choose.
func TestWorkedExample(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		for _, sc := range quiz.Scenarios {
			r := h.learner(t, rowan, language)
			run, again := r.begin(sc.ID, "worked"), r.begin(sc.ID, "worked")
			way := r.way(run)
			if run == again || !reflect.DeepEqual(way, r.way(again)) {
				t.Errorf("%s is worked in two ways", sc.ID)
			}
			for _, a := range way {
				p := r.get(run).says(t, r.speaker(), 200, a.Why).holds(t, r.speaker().T("bench.worked"))
				offered := regexp.MustCompile(`<button name="action" value="([^"]*)"`).FindAllStringSubmatch(p.body, -1)
				if len(offered) != 1 || offered[0][1] != actionText(a.Action) {
					t.Fatalf("%s offers %q, expected %s", sc.ID, offered, actionText(a.Action))
				}
				r.act(run, offered[0][1])
			}
			r.get(run+"/debrief").says(t, r.speaker(), 200, "page.debrief.passed").holds(t, r.speaker().T("page.debrief.practice"))
		}
		if r := h.learner(t, rowan, language); strings.Contains(r.get("/me").wants(t, 200).body, `class="state done"`) {
			t.Error("it counts")
		}
	})
}

// TestHalfDone: the first safe steps are done, and counted once.
func TestHalfDone(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		for _, who := range [][2]string{rowan, samira} {
			r := h.learner(t, who, language)
			form := with(r.get("/scenarios/at-home-evening").form(t, "/runs"), "mode", "half-done")
			run := r.post("/runs", form).wants(t, 303).location()
			if again := r.post("/runs", form).wants(t, 303).location(); again != run {
				t.Errorf("a double tap began %s and %s", run, again)
			}
			way := r.way(run)
			done := r.seq(run) - 1
			opening := []string{"ask-person:", "bag:", "look:panel", "plug-in:outlet"}
			if done != len(opening) {
				t.Fatalf("%d steps are done, expected %d", done, len(opening))
			}
			for i, want := range opening {
				if got := actionText(way[i].Action); got != want {
					t.Errorf("step %d is %s, expected %s", i+1, got, want)
				}
			}
			r.get(run).says(t, r.speaker(), 200, "bench.came.mains", "Source", r.speaker().T("common.source.mains"))
			var last answer
			for _, a := range way[done:] {
				last = r.act(run, actionText(a.Action))
			}
			r.get(last.location()).says(t, r.speaker(), 200, "page.debrief.passed").holds(t, r.speaker().T("page.debrief.practice"))
			if strings.Contains(r.get("/me").wants(t, 200).body, `class="state done"`) {
				t.Error("it counts")
			}
		}
	})
}

// TestEveryRunDrawsAnew: practice and for the record; and a run read again, also
// after a restart, is the same one.
func TestEveryRunDrawsAnew(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	h := serve(t, dir)
	r := h.learner(t, rowan, "en")
	ways, first := map[string]bool{}, ""
	var kept []quiz.Advice
	for i := range 12 {
		run := r.begin("at-home-evening", []string{record.Practice, record.Quiz}[i%2])
		way := r.way(run)
		ways[fmt.Sprint(way)] = true
		if first == "" {
			first, kept = run, way
		}
	}
	if len(ways) < 2 {
		t.Error("twelve runs are all alike")
	}
	must(t, h.stop())
	h = serveWith(t, h.config, h.clock)
	r = h.learner(t, rowan, "en")
	if !reflect.DeepEqual(r.way(first), kept) {
		t.Error("after a restart the run hides something else")
	}
	for _, a := range kept {
		r.act(first, actionText(a.Action))
	}
	r.get(first+"/debrief").says(t, r.speaker(), 200, "page.debrief.passed")
}

// TestTheAlarmIsSaid while it sounds, from the first page on.
func TestTheAlarmIsSaid(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		r := h.learner(t, rowan, language)
		run := r.begin("at-home-evening", record.Practice)
		// The minutes are drawn: with few of them it is the higher alarm.
		body := html.UnescapeString(r.get(run).wants(t, 200).body)
		said := func(level string) bool {
			return strings.Contains(body, r.speaker().T("bench.alarm", "Alarm", r.speaker().T("figure.alarm.said."+level)))
		}
		if !strings.Contains(body, `id="alarm"`) || !said("medium") && !said("high") {
			t.Error("the alarm is not said")
		}
		for _, a := range []string{"ask-person:", "bag:", "look:panel", "plug-in:outlet"} {
			r.act(run, a)
		}
		if strings.Contains(r.get(run).wants(t, 200).body, `id="alarm"`) {
			t.Error("on mains it still sounds")
		}
	})
}

// TestADebriefExplainsEachStep, the safety gate first.
func TestADebriefExplainsEachStep(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		r := h.learner(t, rowan, language)
		run := r.begin("at-home-evening", record.Practice)
		for _, a := range []string{"ask-person:", "look:panel", "look:fuse", "call-technologist:"} {
			r.act(run, a)
		}
		say := r.speaker()
		better := say.T("quiz.better", "Step", say.T("bench.verb.plug-in"))
		body := r.get(run+"/debrief").says(t, say, 200, "why.source").holds(t, better, say.T("why.person"), say.T("gate.source-first")).body
		gate, outcome, log := strings.Index(body, `id="gate"`), strings.Index(body, `role="status"`), strings.Index(body, `class="log"`)
		if gate < 0 || gate > outcome || outcome > log {
			t.Errorf("safety stands at %d, the outcome at %d, the steps at %d", gate, outcome, log)
		}
	})
}
