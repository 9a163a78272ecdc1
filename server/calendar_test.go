package server_test

import (
	"net/http"
	"regexp"
	"strings"
	"testing"
	"time"
)

var feedAddress = regexp.MustCompile(`http://[^<" ]+/calendar/[A-Z0-9]+\.ics`)

// feed makes a feed and is the path that the page shows.
func (r *reader) feed(t testing.TB, page, action string) string {
	t.Helper()
	a := r.post(action, r.get(page).wants(t, 200).form(t, action)).says(t, r.speaker(), 200, "leaves.calendar.once")
	address := feedAddress.FindString(a.body)
	if !strings.HasPrefix(address, r.h.url) {
		t.Fatalf("no address in\n%s", wordsOf(a.body))
	}
	return strings.TrimPrefix(address, r.h.url)
}

// lapsesAt reads a feed as a calendar program does, without a cookie; unfolded.
func (h *house) lapsesAt(t testing.TB, path string) string {
	t.Helper()
	a := read(t, path, func() *http.Response {
		res, err := newClient(t).Get(h.url + path)
		must(t, err)
		return res
	}()).wants(t, 200)
	if got := a.header.Get("Content-Type"); got != "text/calendar; charset=utf-8" {
		t.Errorf("it is %s", got)
	}
	if !strings.HasSuffix(a.body, "\r\n") {
		t.Error("the last line does not end")
	}
	for line := range strings.SplitSeq(strings.TrimSuffix(a.body, "\r\n"), "\r\n") {
		if len(line) > 75 || strings.ContainsAny(line, "\r\n") {
			t.Errorf("a line of %d: %q", len(line), line)
		}
	}
	for _, name := range []string{"Rowan", "Teal", "Mara", "Quill", "demo-rowan"} {
		if strings.Contains(a.body, name) {
			t.Errorf("it names %s", name)
		}
	}
	return strings.ReplaceAll(a.body, "\r\n ", "")
}

// of is what stands in every field of that name.
func of(feed, name string) (out []string) {
	for line := range strings.SplitSeq(feed, "\r\n") {
		field, value, _ := strings.Cut(line, ":")
		if field == name || strings.HasPrefix(field, name+";") {
			out = append(out, value)
		}
	}
	return out
}

func TestACalendar(t *testing.T) {
	t.Parallel()
	inEach(t, func(t *testing.T, language string) {
		t.Parallel()
		dir := demoDir(t)
		h := serve(t, dir)
		admin := h.administrator(t, language)
		at := "/desk/people/demo-rowan"
		form := with(admin.get(at).form(t, at), "name", "Rowan Teal", "role", "learner", "set-up", "chair-12", "language", language)
		admin.post(at, form).wants(t, 303)

		learner, educator, say := h.learner(t, rowan, language), h.educator(t, language), h.speak.Speak(language)
		own := learner.feed(t, "/me", "/me/calendar")
		if got := h.lapsesAt(t, own); len(of(got, "UID")) != 0 {
			t.Errorf("before anything was signed it says\n%s", got)
		}
		id := h.signRowan(t, learner, educator)
		got := h.lapsesAt(t, own)
		if len(of(got, "UID")) != 1 || of(got, "SUMMARY")[0] != say.T("credential.calendar.lapses", "Setup", "Chair 12") ||
			of(got, "DTSTART")[0] != "20270302" || of(got, "SEQUENCE")[0] != "0" || of(got, "DTSTAMP")[0] != "20260302T170000Z" {
			t.Errorf("it says\n%s", got)
		}
		h.clock.pass(5 * time.Minute)
		if again := h.lapsesAt(t, own); again != got {
			t.Errorf("nothing happened, and it says\n%s\nbefore\n%s", again, got)
		}
		site := educator.feed(t, "/desk", "/desk/calendar")
		if all := h.lapsesAt(t, site); len(of(all, "UID")) != 1 || of(all, "UID")[0] != of(got, "UID")[0] {
			t.Errorf("of all it says\n%s", all)
		}

		educator.decides(t, id, "suspended", "Alone at night").wants(t, 303)
		if suspended := h.lapsesAt(t, own); suspended != got {
			t.Errorf("suspended, it says\n%s", suspended)
		}
		educator.signs(t)
		anew := h.lapsesAt(t, own)
		if len(of(anew, "UID")) != 1 || of(anew, "UID")[0] != of(got, "UID")[0] || of(anew, "SEQUENCE")[0] != "1" || of(anew, "DTSTAMP")[0] != "20260302T170500Z" {
			t.Errorf("signed anew, it says\n%s", anew)
		}

		newest := signedAt.FindStringSubmatch(educator.get(rowanAt).wants(t, 200).body)[1]
		educator.decides(t, newest, "revoked", "Signed for the wrong chair").wants(t, 303)
		for who, feed := range map[string]string{"the learner": own, "the educator": site} {
			if got := h.lapsesAt(t, feed); len(of(got, "UID")) != 0 {
				t.Errorf("revoked, it tells %s\n%s", who, got)
			}
		}

		other := h.learner(t, samira, language)
		if got := h.lapsesAt(t, other.feed(t, "/me", "/me/calendar")); len(of(got, "UID")) != 0 {
			t.Errorf("another learner's says\n%s", got)
		}
		renewed := learner.feed(t, "/me", "/me/calendar")
		stranger := h.reader(t, language)
		stranger.get(own).says(t, say, 404, "problem.not-found") // the old one ended
		h.lapsesAt(t, renewed)
		for range 2 { // a double tap
			stop := learner.get("/me").wants(t, 200)
			if !strings.Contains(stop.body, "/me/calendar/stop") {
				break
			}
			learner.post("/me/calendar/stop", stop.form(t, "/me/calendar/stop")).wants(t, 303)
		}
		stranger.get(renewed).says(t, say, 404, "problem.not-found")
		admin.get("/desk/changes").says(t, admin.speaker(), 200, "people.kind.feed")

		h.lapsesAt(t, site)
		at = "/desk/people/demo-mara"
		staff := with(admin.get(at).form(t, at), "name", "Mara Quill", "role", "technologist", "username", "mara", "language", language)
		admin.post(at, staff).wants(t, 303)
		stranger.get(site).says(t, say, 404, "problem.not-found") // an educator no more
		if h.log.String() == "" || strings.Contains(h.log.String(), renewed) {
			t.Error("the log holds an address")
		}
	})
}
