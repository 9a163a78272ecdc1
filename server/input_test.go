package server_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"unicode/utf8"

	"lampwright/server/record"
)

// TestMalformedForms: whatever arrives, the answer is a page in the reader's
// language, and the run stands where it stood.
func TestMalformedForms(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		r := h.learner(t, rowan, language)
		run := r.begin("at-home-evening", record.Practice)
		r.act(run, "ask-person:")
		form := r.get(run).wants(t, 200).form(t, run+"/act")
		good := with(form, "action", "look:panel")
		multipart := "--b\r\nContent-Disposition: form-data; name=\"token\"\r\n\r\n" + form.Get("token") + "\r\n--b"
		for _, c := range []struct {
			name, contentType, body string
			status                  int
			key                     string
			pairs                   []any
		}{
			{"no content type", "", good.Encode(), 422, "problem.form", nil},
			{"plain text", "text/plain", good.Encode(), 422, "problem.form", nil},
			{"JSON", "application/json", `{"action":"look:panel"}`, 422, "problem.form", nil},
			{"a content type that only begins right", formType + "x", good.Encode(), 422, "problem.form", nil},
			{"multipart, whole", "multipart/form-data; boundary=b", multipart + "--\r\n", 422, "problem.form", nil},
			{"multipart, cut short", "multipart/form-data; boundary=b", multipart, 422, "problem.form", nil},
			{"multipart without a boundary", "multipart/form-data", multipart, 422, "problem.form", nil},
			{"nothing at all", formType, "", 403, "problem.form-stale", nil},
			{"not a form", formType, "\x00\xff{[", 403, "problem.form-stale", nil},
			{"broken percent-encoding of the token", formType, "token=%zz&key=" + form.Get("key"), 403, "problem.form-stale", nil},
			{"broken percent-encoding of the action", formType, form.Encode() + "&action=look%3panel%", 422, "problem.unknown-action", nil},
			{"no token", formType, without(good, "token").Encode(), 403, "problem.form-stale", nil},
			{"empty token", formType, with(good, "token", "").Encode(), 403, "problem.form-stale", nil},
			{"wrong token", formType, with(good, "token", strings.Repeat("A", 26)).Encode(), 403, "problem.form-stale", nil},
			{"no key", formType, without(good, "key").Encode(), 422, "problem.form", nil},
			{"a key too short", formType, with(good, "key", "k").Encode(), 422, "problem.form", nil},
			{"a key too long", formType, with(good, "key", strings.Repeat("k", 65)).Encode(), 422, "problem.form", nil},
			{"no seq", formType, without(good, "seq").Encode(), 422, "problem.form", nil},
			{"seq not a number", formType, with(good, "seq", "two").Encode(), 422, "problem.form", nil},
			{"seq past any number", formType, with(good, "seq", "99999999999999999999").Encode(), 422, "problem.form", nil},
			{"seq of the future", formType, with(good, "seq", "9").Encode(), 409, "problem.moved", nil},
			{"seq below one", formType, with(good, "seq", "-1").Encode(), 409, "problem.moved", nil},
			{"no action", formType, form.Encode(), 422, "problem.unknown-action", nil},
			{"an unknown verb", formType, with(good, "action", "dance:panel").Encode(), 422, "problem.unknown-action", nil},
			{"an unknown part", formType, with(good, "action", "look:moon").Encode(), 422, "problem.unknown-action", nil},
			{"markup for an action", formType, with(good, "action", "<script>x</script>").Encode(), 422, "problem.unknown-action", nil},
		} {
			t.Run(c.name, func(t *testing.T) {
				r := &reader{h, t, r.client, language}
				a := r.do(r.request("POST", run+"/act", c.contentType, c.body))
				a.says(t, r.speaker(), c.status, c.key, c.pairs...)
				if strings.Contains(a.body, "<script>x") {
					t.Error("markup was repeated")
				}
				if !utf8.ValidString(a.body) {
					t.Error("the page is not UTF-8")
				}
				if got := r.seq(run); got != 2 {
					t.Errorf("the run stands at %d, expected 2", got)
				}
			})
		}
		r.post(run+"/act", good).wants(t, 303) // the form is as good as before
		if got := r.seq(run); got != 3 {
			t.Errorf("the run stands at %d, expected 3", got)
		}
	})
}

func TestUnknownChoices(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		r := h.learner(t, rowan, language)
		at := "/lessons/three-sources/question"
		for name, form := range map[string]url.Values{
			"no option":         {},
			"an unknown option": {"option": {"moon"}},
			"another lesson's":  {"option": {"report"}},
		} {
			t.Run(name, func(t *testing.T) {
				fields := r.get(at).wants(t, 200).form(t, at)
				for k, v := range form {
					fields[k] = v
				}
				r.post(at, fields).says(t, r.speaker(), 422, "problem.choose")
				if strings.Contains(r.get("/me").wants(t, 200).body, `class="state done"`) {
					t.Error("the lesson counts as done")
				}
			})
		}
		begin := r.get("/scenarios/at-home-evening").wants(t, 200).form(t, "/runs")
		r.post("/runs", with(begin, "mode", "cheat")).says(t, r.speaker(), 422, "problem.form")
		r.post("/runs", without(begin, "mode")).says(t, r.speaker(), 422, "problem.form")
		r.post("/runs", with(begin, "scenario", "moon")).says(t, r.speaker(), 404, "problem.not-found")
		r.post("/runs", without(begin, "key")).says(t, r.speaker(), 422, "problem.form")
	})
}

func TestUnknownPaths(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		guest, learner := h.reader(t, language), h.learner(t, rowan, language)
		for _, c := range []struct {
			method, path, key string
			r                 *reader
		}{
			{"GET", "/nowhere", "problem.not-found", guest},
			{"GET", "/%2e%2e/%2e%2e/etc/passwd", "problem.not-found", guest},
			{"GET", "/static/../server.go", "problem.not-found", guest},
			{"GET", "/static/nothing.css", "problem.not-found", guest},
			{"GET", "/language/xx", "problem.not-found", guest},
			{"GET", "/size/99", "problem.not-found", guest},
			{"GET", "/size/x", "problem.not-found", guest},
			{"GET", "/lessons/moon/person-first/1", "problem.unknown-setup", guest},
			{"GET", "/lessons/chair-12/moon/1", "problem.not-found", guest},
			{"GET", "/lessons/chair-12/stopped/1", "problem.not-found", guest},
			{"GET", "/lessons/chair-12/person-first/0", "problem.not-found", guest},
			{"GET", "/lessons/chair-12/person-first/99", "problem.not-found", guest},
			{"GET", "/lessons/chair-12/person-first/x", "problem.not-found", guest},
			{"GET", "/scenarios/moon", "problem.not-found", learner},
			{"GET", "/lessons/moon/question", "problem.not-found", learner},
			{"GET", "/lessons/stopped/question", "problem.not-found", learner},
			{"GET", "/runs/moon", "problem.unknown-run", learner},
			{"GET", "/runs/moon/debrief", "problem.unknown-run", learner},
		} {
			t.Run(c.method+" "+c.path, func(t *testing.T) {
				c.r.get(c.path).says(t, c.r.speaker(), 404, c.key)
			})
		}
		for _, method := range []string{"PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"} {
			t.Run(method+" on a page", func(t *testing.T) {
				a := guest.do(guest.request(method, "/looks", "", ""))
				if a.status != http.StatusNotFound && a.status != http.StatusMethodNotAllowed {
					t.Errorf("got %d", a.status)
				}
				a.whole(t, guest.speaker())
			})
		}
	})
}
