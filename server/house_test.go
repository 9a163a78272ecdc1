package server_test

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"html"
	"io"
	"log/slog"
	"math"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"lampwright/lessons"
	"lampwright/lessons/setup"
	"lampwright/locales"
	"lampwright/locales/problem"
	"lampwright/quiz"
	"lampwright/quiz/diagnosis"
	"lampwright/server"
	"lampwright/server/record"
)

// morning is when every test begins, unless it says otherwise.
var morning = time.Date(2026, 3, 2, 17, 0, 0, 0, time.UTC)

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// clock is the machine's clock, in the hands of the test.
type clock struct {
	sync.Mutex
	at time.Time
}

func (c *clock) now() time.Time {
	c.Lock()
	defer c.Unlock()
	return c.at
}

func (c *clock) pass(d time.Duration) {
	c.Lock()
	defer c.Unlock()
	c.at = c.at.Add(d)
}

// logbook keeps what was logged.
type logbook struct {
	sync.Mutex
	b bytes.Buffer
}

func (l *logbook) Write(p []byte) (int, error) {
	l.Lock()
	defer l.Unlock()
	return l.b.Write(p)
}

func (l *logbook) String() string {
	l.Lock()
	defer l.Unlock()
	return l.b.String()
}

// seeded is the demo's records, made once: hashing its secrets takes a while.
var seeded = sync.OnceValues(func() (map[string][]byte, error) {
	dir, err := os.MkdirTemp("", "lampwright")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	if _, err := server.Demo(context.Background(), dir, morning); err != nil {
		return nil, err
	}
	files := map[string][]byte{}
	for _, name := range []string{"lampwright.db", "lampwright.key"} {
		if files[name], err = os.ReadFile(filepath.Join(dir, name)); err != nil {
			return nil, err
		}
	}
	return files, nil
})

// demoDir is a data folder of its own with the demo in it.
func demoDir(t testing.TB) string {
	t.Helper()
	files, err := seeded()
	must(t, err)
	dir := t.TempDir()
	for name, data := range files {
		must(t, os.WriteFile(filepath.Join(dir, name), data, 0o600))
	}
	return dir
}

// house is a whole server on a real listener.
type house struct {
	t      testing.TB
	url    string
	config server.Config
	clock  *clock
	log    *logbook
	speak  *locales.Bundle
	main   *server.Main
	stop   func() error // once; again it does nothing
}

func serve(t testing.TB, dir string) *house {
	t.Helper()
	return serveWith(t, server.Config{Data: dir}, &clock{at: morning})
}

func serveWith(t testing.TB, config server.Config, c *clock) *house {
	t.Helper()
	h := &house{t: t, clock: c, log: &logbook{}}
	config.Listen, config.Now = "127.0.0.1:0", c.now
	config.MostRequests = cmp.Or(config.MostRequests, math.MaxInt32)
	config.Log = slog.New(slog.NewJSONHandler(h.log, nil))
	h.config = config
	var err error
	h.speak, err = locales.Load()
	must(t, err)
	m, err := server.Open(config)
	must(t, err)
	if err := m.Listen(); err != nil {
		t.Fatal(errors.Join(err, m.Close()))
	}
	h.url, h.main = m.URL(), m
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- m.Run(ctx) }()
	h.stop = sync.OnceValue(func() error { cancel(); return <-done })
	t.Cleanup(func() {
		if err := h.stop(); err != nil {
			t.Error("stopping:", err)
		}
	})
	return h
}

func (h *house) host() string { _, host, _ := strings.Cut(h.url, "://"); return host }

// withRecords looks at the records of a folder that nobody serves now.
func withRecords(t testing.TB, dir string, f func(*record.Store)) {
	t.Helper()
	s, err := record.Open(dir)
	must(t, err)
	defer s.Close()
	f(s)
}

// reader is someone at a browser.
type reader struct {
	h        *house
	t        testing.TB
	client   *http.Client
	language string
}

func (h *house) reader(t testing.TB, language string) *reader {
	t.Helper()
	r := &reader{h, t, newClient(t), language}
	t.Cleanup(r.client.CloseIdleConnections)
	r.get("/language/"+language).wants(t, 303)
	return r
}

// newClient keeps cookies and follows nothing.
func newClient(t testing.TB) *http.Client {
	t.Helper()
	jar, err := cookiejar.New(nil)
	must(t, err)
	return &http.Client{
		Jar: jar, Timeout: 30 * time.Second, Transport: &http.Transport{},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
}

func (r *reader) speaker() locales.Speaker { return r.h.speak.Speak(r.language) }

// cookies says what this browser sends, for requests written by hand.
func (r *reader) cookies() string {
	u, err := url.Parse(r.h.url)
	must(r.t, err)
	var out []string
	for _, c := range r.client.Jar.Cookies(u) {
		out = append(out, c.Name+"="+c.Value)
	}
	return strings.Join(out, "; ")
}

// answer is what came back.
type answer struct {
	asked  string
	status int
	header http.Header
	body   string
}

func read(t testing.TB, asked string, res *http.Response) answer {
	t.Helper()
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	must(t, err)
	return answer{asked, res.StatusCode, res.Header, string(b)}
}

func (r *reader) do(req *http.Request) answer {
	r.t.Helper()
	res, err := r.client.Do(req)
	must(r.t, err)
	return read(r.t, req.Method+" "+req.URL.Path, res)
}

func (r *reader) request(method, path, contentType, body string) *http.Request {
	r.t.Helper()
	req, err := http.NewRequest(method, r.h.url+path, strings.NewReader(body))
	must(r.t, err)
	if contentType != "" {
		req.Header.Set("Content-Type", contentType)
	}
	return req
}

func (r *reader) get(path string) answer {
	r.t.Helper()
	return r.do(r.request("GET", path, "", ""))
}

const formType = "application/x-www-form-urlencoded"

func (r *reader) post(path string, form url.Values) answer {
	r.t.Helper()
	return r.do(r.request("POST", path, formType, form.Encode()))
}

func (a answer) location() string { return a.header.Get("Location") }

func (a answer) wants(t testing.TB, status int) answer {
	t.Helper()
	if a.status != status {
		t.Fatalf("%s: got %d, expected %d; to %q\n%s", a.asked, a.status, status, a.location(), wordsOf(a.body))
	}
	return a
}

var (
	tags   = regexp.MustCompile(`<[^>]*>`)
	spaces = regexp.MustCompile(`\s+`)
)

func wordsOf(body string) string {
	text := spaces.ReplaceAllString(tags.ReplaceAllString(body, " "), " ")
	return text[:min(len(text), 600)]
}

// says holds a page to its status, to its reader's language, and to a message.
func (a answer) says(t testing.TB, s locales.Speaker, status int, key string, pairs ...any) answer {
	t.Helper()
	a.wants(t, status)
	a.whole(t, s)
	if text := s.T(key, pairs...); text == key || !strings.Contains(html.UnescapeString(a.body), text) {
		t.Errorf("%s: expected %q in\n%s", a.asked, text, wordsOf(a.body))
	}
	return a
}

// whole holds a page to being one, in its reader's language, with the ways to
// help and every security header.
func (a answer) whole(t testing.TB, s locales.Speaker) {
	t.Helper()
	if open := `<html lang="` + s.Tag + `" dir="` + s.Dir + `"`; !strings.Contains(a.body, open) || !strings.Contains(a.body, "</html>") {
		t.Errorf("%s: no whole page in %s:\n%.300s", a.asked, s.Tag, a.body)
	}
	for _, link := range []string{`href="/stopped`, `href="/call`} {
		if !strings.Contains(a.body, link+`"`) && !strings.Contains(a.body, link+`?site=`) {
			t.Errorf("%s: no %s", a.asked, link)
		}
	}
	a.secured(t)
}

func (a answer) secured(t testing.TB) {
	t.Helper()
	for name, want := range map[string]string{
		"Content-Security-Policy": "default-src 'none'", "X-Content-Type-Options": "nosniff", "Referrer-Policy": "same-origin",
		"Permissions-Policy": "camera=()", "Cross-Origin-Opener-Policy": "same-origin", "Cross-Origin-Resource-Policy": "same-origin",
	} {
		if got := a.header.Get(name); !strings.Contains(got, want) {
			t.Errorf("%s: %d: header %s: got %q, expected %q in it", a.asked, a.status, name, got, want)
		}
	}
}

func (a answer) holds(t testing.TB, texts ...string) answer {
	t.Helper()
	for _, text := range texts {
		if !strings.Contains(html.UnescapeString(a.body), text) {
			t.Errorf("%s: expected %q in\n%s", a.asked, text, wordsOf(a.body))
		}
	}
	return a
}

var (
	formTag = regexp.MustCompile(`(?s)<form method="post" action="([^"]*)".*?</form>`)
	hidden  = regexp.MustCompile(`<input type="hidden" name="([^"]*)" value="([^"]*)"`)
)

// form reads the hidden fields of the page's first form that goes to a path.
func (a answer) form(t testing.TB, action string) url.Values {
	t.Helper()
	for _, f := range formTag.FindAllStringSubmatch(a.body, -1) {
		if f[1] != action {
			continue
		}
		v := url.Values{}
		for _, in := range hidden.FindAllStringSubmatch(f[0], -1) {
			v.Set(in[1], html.UnescapeString(in[2]))
		}
		return v
	}
	t.Fatalf("%s: %d: no form to %s\n%s", a.asked, a.status, action, wordsOf(a.body))
	return nil
}

// with is a form with more filled in: name, value, name, value.
func with(form url.Values, pairs ...string) url.Values {
	v := url.Values{}
	for name, values := range form {
		v[name] = values
	}
	for i := 0; i < len(pairs); i += 2 {
		v.Set(pairs[i], pairs[i+1])
	}
	return v
}

// without is a form that lacks a field.
func without(form url.Values, name string) url.Values {
	v := with(form)
	v.Del(name)
	return v
}

// The people of the demo.
var (
	rowan  = [2]string{"HERON-12", "4821"}
	samira = [2]string{"PLOVER-7", "7350"}
	jules  = [2]string{"DUNLIN-21", "2196"}
	mara   = [2]string{"mara", "lantern-harbour-9"} // educator
	tove   = [2]string{"tove", "copper-ferry-41"}   // technologist
	idris  = [2]string{"idris", "quiet-orchard-6"}  // administrator
)

func (r *reader) try(door string, who [2]string) answer {
	r.t.Helper()
	form := r.get(door).wants(r.t, 200).form(r.t, door)
	return r.post(door, with(form, "who", who[0], "secret", who[1]))
}

func (h *house) learner(t testing.TB, who [2]string, language string) *reader {
	t.Helper()
	r := h.reader(t, language)
	r.try("/sign-in", who).wants(t, 303)
	return r
}

func (h *house) educator(t testing.TB, language string) *reader { return h.staff(t, mara, language) }

func (h *house) technologist(t testing.TB, language string) *reader {
	return h.staff(t, tove, language)
}

func (h *house) administrator(t testing.TB, language string) *reader {
	return h.staff(t, idris, language)
}

func (h *house) staff(t testing.TB, who [2]string, language string) *reader {
	t.Helper()
	r := h.reader(t, language)
	r.try("/desk/sign-in", who).wants(t, 303)
	return r
}

// begin starts a run and is where it stands.
func (r *reader) begin(scenario, mode string) string {
	r.t.Helper()
	form := r.get("/scenarios/"+scenario).wants(r.t, 200).form(r.t, "/runs")
	return r.post("/runs", with(form, "mode", mode)).wants(r.t, 303).location()
}

// act does one action on a run, from a page just read.
func (r *reader) act(run, action string) answer {
	r.t.Helper()
	form := r.get(run).wants(r.t, 200).form(r.t, run+"/act")
	return r.post(run+"/act", with(form, "action", action)).wants(r.t, 303)
}

// seq is the number of the step that a run's page would send next.
func (r *reader) seq(run string) int {
	r.t.Helper()
	n, err := strconv.Atoi(r.get(run).wants(r.t, 200).form(r.t, run+"/act").Get("seq"))
	must(r.t, err)
	return n
}

// learn reads and answers every lesson, and passes every scenario that a
// sign-off needs the best way.
func (r *reader) learn(setupID string) {
	r.t.Helper()
	s, err := setup.Demo(setupID)
	must(r.t, err)
	catalogue, err := lessons.Load()
	must(r.t, err)
	for _, id := range catalogue.IDs() {
		l, _ := catalogue.Lesson(id, "en")
		key, err := l.Question.Key(s)
		must(r.t, err)
		at := "/lessons/" + id + "/question"
		r.post(at, with(r.get(at).wants(r.t, 200).form(r.t, at), "option", key)).wants(r.t, 200)
	}
	for _, sc := range quiz.Needed() {
		r.pass(sc, record.Quiz)
	}
}

// pass goes through a scenario the best way.
func (r *reader) pass(sc quiz.Scenario, mode string) {
	r.t.Helper()
	run := r.begin(sc.ID, mode)
	var last answer
	for _, a := range r.way(run) {
		last = r.act(run, actionText(a.Action))
	}
	if last.location() != run+"/debrief" {
		r.t.Fatalf("the best way of %s ends at %q", sc.ID, last.location())
	}
	r.get(last.location()).says(r.t, r.speaker(), 200, "page.debrief.passed")
}

// way is the best way through a run.
func (r *reader) way(run string) []quiz.Advice {
	r.t.Helper()
	way, err := r.h.main.Way(strings.TrimPrefix(run, "/runs/"))
	must(r.t, err)
	return way
}

func actionText(a diagnosis.Action) string { return string(a.Verb) + ":" + a.Part }

func hashed(text string) string {
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:])
}

// inEach runs a test for a reader of each language.
func inEach(t *testing.T, f func(t *testing.T, language string)) {
	for _, l := range locales.Languages {
		t.Run(l.Tag, func(t *testing.T) { f(t, l.Tag) })
	}
}

func wantsKey(t testing.TB, err error, key string) {
	t.Helper()
	var p *problem.Problem
	if !errors.As(err, &p) || p.Key != key {
		t.Fatalf("got %v, expected %s", err, key)
	}
}
