package server_test

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"lampwright/lessons/programme"
	"lampwright/server"
	"lampwright/server/record"
)

// TestExportAndErase: all that is held goes out as a file, and then it is gone.
func TestExportAndErase(t *testing.T) {
	t.Parallel()
	inEach(t, func(t *testing.T, language string) {
		h := signable(t)
		educator, admin := h.educator(t, "en"), h.administrator(t, language)
		educator.post(rowanAt+"/sign", filled(t, educator)).wants(t, 303)
		at := "/desk/people/demo-rowan"
		admin.post(at, with(admin.get(at).form(t, at), "name", "Rowan Teal", "role", "learner", "set-up", "chair-12", "language", "en", "team", "Nights")).wants(t, 303)

		a := admin.get(at+"/export").wants(t, 200)
		a.secured(t)
		var all map[string][]map[string]any
		must(t, json.Unmarshal([]byte(a.body), &all))
		for table, fewest := range map[string]int{"people": 1, "lessons": 5, "runs": 3, "steps": 3, "sign_offs": 1, "audit": 1} {
			if len(all[table]) < fewest {
				t.Errorf("%s: %d rows, expected %d at least", table, len(all[table]), fewest)
			}
		}
		for _, secret := range []string{"argon2id", "token_hash", "form_key", "code_key"} {
			if strings.Contains(a.body, secret) {
				t.Errorf("the file holds %s", secret)
			}
		}
		if got := all["sign_offs"][0]["signed"]; got != morning.Format(time.RFC3339) {
			t.Errorf("signed %v", got)
		}

		erase := at + "/erase"
		admin.get(erase).says(t, admin.speaker(), 200, "roster.erase.title", "Name", "Rowan Teal")
		form := with(admin.get(erase).form(t, erase), "name", " Rowan  Teal", "secret", idris[1])
		admin.post(erase, with(form, "name", "Rowan")).says(t, admin.speaker(), 422, "problem.erase-name")
		admin.post(erase, with(form, "secret", "x")).says(t, admin.speaker(), 401, "problem.wrong-password")
		admin.get(at).wants(t, 200)
		for range 2 { // a double tap
			if got := admin.post(erase, form).wants(t, 303).location(); got != "/desk/people?erased=1" {
				t.Errorf("leads to %s", got)
			}
		}
		admin.get("/desk/people?erased=1").says(t, admin.speaker(), 200, "roster.erased")
		for _, gone := range []string{at, at + "/export", erase} {
			admin.get(gone).says(t, admin.speaker(), 404, "problem.unknown-person")
		}
		admin.post(at, form).says(t, admin.speaker(), 404, "problem.unknown-person")
		admin.post(at+"/invite", form).says(t, admin.speaker(), 404, "problem.unknown-person")
		for _, path := range []string{"/desk", "/desk/people", "/desk/changes"} {
			if strings.Contains(admin.get(path).wants(t, 200).body, "Rowan Teal") {
				t.Errorf("%s still names them", path)
			}
		}
		h.reader(t, "en").try("/sign-in", rowan).wants(t, 401)

		own := "/desk/people/demo-idris/erase"
		admin.post(own, with(form, "name", "Idris Vane")).says(t, admin.speaker(), 422, "problem.erase-yourself")
	})
}

// TestSweep: runs go when the programme says so, what was passed stays.
func TestSweep(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	putSite(t, dir, func(s *record.Site) {
		s.Programme = strings.Replace(string(programme.DemoFile()), "keep-runs-days: 730", "keep-runs-days: 90", 1)
	})
	h := serve(t, dir)
	r := h.learner(t, rowan, "en")
	practised := r.begin("at-home-evening", record.Practice)
	r.act(practised, "ask-person:")
	r.act(practised, "call-technologist:")
	r.learn("chair-12")
	runs := func() (n int) {
		var all map[string][]map[string]any
		must(t, json.Unmarshal([]byte(h.administrator(t, "en").get("/desk/people/demo-rowan/export").wants(t, 200).body), &all))
		return len(all["runs"])
	}
	before := runs()
	h.clock.pass(90 * 24 * time.Hour)
	must(t, h.main.Sweep(t.Context()))
	if got := runs(); got != before {
		t.Errorf("%d of %d runs are left after 90 days", got, before)
	}
	h.clock.pass(time.Hour)
	must(t, h.stop())
	h = serveWith(t, server.Config{Data: dir}, h.clock) // which sweeps as it begins
	for range 100 {
		if runs() == before-1 {
			break
		}
		time.Sleep(20 * time.Millisecond)
	}
	if got := runs(); got != before-1 {
		t.Errorf("%d of %d runs are left, expected the practised one to be gone", got, before)
	}
	h.learner(t, rowan, "en").get("/me").wants(t, 200).holds(t, `class="state done"`)
}
