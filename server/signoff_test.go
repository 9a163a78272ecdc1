package server_test

import (
	"regexp"
	"strings"
	"testing"
	"time"

	"lampwright/server/ledger"
	"lampwright/server/record"
)

var signedAt = regexp.MustCompile(`/desk/sign-offs/([a-z0-9]+)`)

// signRowan has everything learnt and the demonstration signed, and gives the
// sign-off's id.
func (h *house) signRowan(t testing.TB, learner, educator *reader) string {
	t.Helper()
	learner.learn("chair-12")
	educator.signs(t)
	m := signedAt.FindStringSubmatch(educator.get(rowanAt).wants(t, 200).body)
	if m == nil {
		t.Fatal("no sign-off")
	}
	return m[1]
}

// signs signs Rowan for the whole competency.
func (r *reader) signs(t testing.TB) answer {
	t.Helper()
	return r.post(rowanAt+"/sign", filled(t, r)).wants(t, 303)
}

// decides records something about a sign-off.
func (r *reader) decides(t testing.TB, id, kind, why string, more ...string) answer {
	t.Helper()
	at := "/desk/sign-offs/" + id
	form := with(r.get(at).wants(t, 200).form(t, at+"/happens"), append([]string{"kind", kind, "why", why, "secret", mara[1]}, more...)...)
	return r.post(at+"/happens", form)
}

// TestWhatHappensToASignOff: acknowledged, suspended, let care on call, lifted,
// revoked; a stranger is told whether it counts and no more.
func TestWhatHappensToASignOff(t *testing.T) {
	t.Parallel()
	inEach(t, func(t *testing.T, language string) {
		t.Parallel()
		h := serve(t, demoDir(t))
		learner, educator, stranger := h.learner(t, rowan, language), h.educator(t, language), h.reader(t, language)
		id := h.signRowan(t, learner, educator)
		say := learner.speaker()
		told := func(what string) {
			t.Helper()
			a := stranger.get("/standing/"+id).says(t, say, 200, "page.public."+what)
			for _, secret := range []string{"Rowan", "Mara", "Chair 12"} {
				if strings.Contains(a.body, secret) {
					t.Errorf("a stranger is told of %s", secret)
				}
			}
		}
		told("valid")
		at := "/me/acknowledge/" + id
		form := learner.get("/me").says(t, say, 200, "page.standing.current").form(t, at)
		for range 2 {
			learner.post(at, form).wants(t, 303)
		}
		educator.get("/desk/sign-offs/"+id).says(t, say, 200, "page.event.acknowledged")
		if strings.Contains(learner.get("/me").body, at) {
			t.Error("asked to acknowledge again")
		}

		h.clock.pass(10 * time.Minute)
		educator.decides(t, id, "suspended", "").says(t, say, 422, "problem.no-reason")
		educator.decides(t, id, "suspended", "Alone at night <b>", "secret", "wrong").says(t, say, 401, "problem.wrong-password")
		educator.decides(t, id, "suspended", "Alone at night <b>").wants(t, 303)
		told("not-now")
		a := learner.get("/me").says(t, say, 200, "page.standing.suspended").holds(t, "Alone at night <b>")
		if strings.Contains(a.body, "<b>") {
			t.Error("the reason came as markup")
		}
		learner.get("/check/chair-12").wants(t, 200) // a suspension hides no help
		educator.decides(t, id, "overridden", "No one else tonight", "hours", "25").says(t, say, 422, "problem.override-too-long", "Hours", 24)
		educator.decides(t, id, "overridden", "No one else tonight", "hours", "12").wants(t, 303)
		learner.get("/me").says(t, say, 200, "page.standing.overridden")
		told("not-now") // no roster and no stranger may count on it
		h.clock.pass(12 * time.Hour)
		h.learner(t, rowan, language).get("/me").says(t, say, 200, "page.standing.suspended")
		educator = h.educator(t, language)
		educator.decides(t, id, "lifted", "").wants(t, 303)
		told("valid")
		educator.decides(t, id, "revoked", "Signed for the wrong person").wants(t, 303)
		told("revoked")
		educator.decides(t, id, "lifted", "").says(t, say, 409, "problem.sign-off-over")

		h.administrator(t, language).get("/desk/sign-offs/"+id).wants(t, 200)
		must(t, h.stop())
		v, err := record.Verify(t.Context(), h.config.Data, "", nil)
		must(t, err)
		if len(v.Flaws) > 0 || v.Entries != 6 {
			t.Errorf("%d entries, %v", v.Entries, v.Flaws)
		}
	})
}

// TestAProofNeedsNoServer: who holds the file and the verifier line can tell.
func TestAProofNeedsNoServer(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	learner, educator := h.learner(t, rowan, "fr"), h.educator(t, "en")
	id := h.signRowan(t, learner, educator)
	file := learner.get("/proof/"+id).wants(t, 200)
	line := strings.TrimSpace(h.reader(t, "en").get("/verifier").wants(t, 200).body)
	head := h.reader(t, "en").get("/checkpoint").wants(t, 200).body
	p, err := ledger.VerifyProof([]byte(file.body), line)
	must(t, err)
	if !strings.Contains(string(p.Record), `"PersonName":"Rowan Teal"`) {
		t.Errorf("it says %s", p.Record)
	}
	if _, err := ledger.OpenCheckpoint([]byte(head), line); err != nil {
		t.Error(err)
	}
	a := learner.get("/certificate/"+id).wants(t, 200)
	a.holds(t, "Rowan Teal", "Mara Quill", "Chair 12", "/standing/"+id, strings.TrimSpace(head), `lang="en" dir="ltr"`)
	h.learner(t, samira, "ar").get("/certificate/"+id).wants(t, 404) // another learner's
	h.learner(t, samira, "ar").get("/proof/"+id).wants(t, 404)
	h.reader(t, "en").get("/certificate/"+id).wants(t, 303)
}

// TestSignedAnewReplaces: a form from before is refused, the new one counts.
func TestSignedAnewReplaces(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	learner, educator := h.learner(t, rowan, "en"), h.educator(t, "en")
	learner.learn("chair-12")
	before := filled(t, educator)
	id := h.signRowan(t, learner, educator)
	educator.post(rowanAt+"/sign", before).says(t, educator.speaker(), 409, "problem.signed-meanwhile")
	h.clock.pass(time.Minute)
	educator.signs(t)
	h.reader(t, "en").get("/standing/"+id).says(t, educator.speaker(), 200, "page.public.superseded")
	if n := strings.Count(learner.get("/me").wants(t, 200).body, `class="sign-off `); n != 1 {
		t.Errorf("%d sign-offs shown", n)
	}
}

// TestCriticalRefreshersAreMissed: after ninety days and a little grace it is
// suspended, and who answers again is current at once.
func TestCriticalRefreshersAreMissed(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	h.signRowan(t, h.learner(t, rowan, "en"), h.educator(t, "en"))
	day := morning.AddDate(0, 0, 90).Format(time.DateOnly)
	if a := h.learner(t, rowan, "en").get("/me").wants(t, 200); strings.Contains(a.body, day) {
		t.Error("told to do it again at once")
	}
	h.clock.pass(80 * 24 * time.Hour)
	told := h.learner(t, rowan, "en").get("/me").says(t, h.speak.Speak("en"), 200, "page.sign-off.refresh", "Day", day)
	told.holds(t, `href="/lessons/person-first/question"`, `href="/scenarios/at-home-evening"`)
	h.clock.pass(20 * 24 * time.Hour)
	h.learner(t, rowan, "en").get("/me").says(t, h.speak.Speak("en"), 200, "page.standing.current")
	h.clock.pass(10 * 24 * time.Hour)
	r := h.learner(t, rowan, "en")
	r.get("/me").says(t, r.speaker(), 200, "page.standing.suspended").holds(t, r.speaker().T("lessons.objective.person-first"))
	r.learn("chair-12")
	r.get("/me").says(t, r.speaker(), 200, "page.standing.current")
}

// TestAnEquivalentLoanerUnsignsNobody, and another panel does.
func TestAnEquivalentLoanerUnsignsNobody(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	h.signRowan(t, h.learner(t, rowan, "en"), h.educator(t, "en"))
	config := h.config
	changed := func(from, to string) {
		t.Helper()
		must(t, h.stop())
		withRecords(t, config.Data, func(s *record.Store) {
			stored, err := s.Setup(t.Context(), "main", "chair-12")
			must(t, err)
			yaml := strings.Replace(string(stored.YAML), from, to, 1)
			if yaml == string(stored.YAML) {
				t.Fatalf("no %s in\n%s", from, yaml)
			}
			stored.YAML, stored.Version = []byte(yaml), ""
			must(t, s.PutSetup(t.Context(), stored, h.clock.now()))
		})
		h = serveWith(t, config, h.clock)
	}
	changed("tested-on: 2026-09-01", "tested-on: 2026-10-01")
	h.learner(t, rowan, "en").get("/me").says(t, h.speak.Speak("en"), 200, "page.standing.current")
	changed("model: Heron", "model: Dunlin")
	h.learner(t, rowan, "en").get("/me").says(t, h.speak.Speak("en"), 200, "page.standing.changed").
		holds(t, h.speak.Speak("en").T("competency.change.ventilator"))
}
