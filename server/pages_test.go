package server_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"io"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"lampwright/quiz"
	"lampwright/server"
	"lampwright/server/record"
)

// as asks for a path in an encoding, with what came back as it came.
func (r *reader) as(path, encoding string) answer {
	r.t.Helper()
	req := r.request("GET", path, "", "")
	req.Header.Set("Accept-Encoding", encoding)
	return r.do(req)
}

func unzip(t *testing.T, body string) string {
	t.Helper()
	z, err := gzip.NewReader(strings.NewReader(body))
	must(t, err)
	b, err := io.ReadAll(z)
	must(t, err)
	return string(b)
}

// TestEncodings: compressed only for who asks; many simple readers ask for
// nothing and cannot read it.
func TestEncodings(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	page := h.reader(t, "en").as("/lessons/chair-12/three-sources/1", "identity").wants(t, 200)
	css := regexp.MustCompile(`/static/app-[0-9a-f]+\.css`).FindString(page.body)
	for _, at := range append([]string{css}, keptAt...) {
		for asked, want := range map[string]string{"": "", "identity": "", "gzip;q=0": "", "gzip": "gzip"} {
			r, err := http.NewRequest(http.MethodGet, h.url+at, nil)
			must(t, err)
			if asked != "" {
				r.Header.Set("Accept-Encoding", asked)
			}
			a, err := (&http.Transport{DisableCompression: true}).RoundTrip(r)
			must(t, err)
			must(t, a.Body.Close())
			if got := a.Header.Get("Content-Encoding"); a.StatusCode != 200 || got != want {
				t.Errorf("%s asked with %q: %d, %q", at, asked, a.StatusCode, got)
			}
		}
	}
}

func TestStatic(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	r := h.reader(t, "en")
	paths := regexp.MustCompile(`/static/[^"]+`).FindAllString(r.get("/").body, -1)
	if len(paths) != 2 {
		t.Fatalf("%q", paths)
	}
	for _, at := range paths {
		plain := r.as(at, "identity").wants(t, 200)
		plain.secured(t)
		if plain.header.Get("Cache-Control") != "public, max-age=31536000, immutable" || plain.header.Get("ETag") == "" || plain.header.Get("Vary") != "Accept-Encoding" {
			t.Errorf("%s: %v", at, plain.header)
		}
		if len(plain.header.Values("Set-Cookie")) > 0 {
			t.Errorf("%s sets a cookie", at)
		}
		if zipped := r.as(at, "gzip").wants(t, 200); unzip(t, zipped.body) != plain.body {
			t.Errorf("%s, compressed, is another file", at)
		}
		if br := r.as(at, "gzip, br").wants(t, 200); br.header.Get("Content-Encoding") != "br" || len(br.body) >= len(plain.body) {
			t.Errorf("%s: %v", at, br.header)
		}
	}
}

func TestHealth(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	r := h.reader(t, "en")
	if a := r.get("/healthz").wants(t, 200); a.body != server.Alive {
		t.Errorf("%q", a.body)
	}
	if a := r.get("/readyz").wants(t, 200); a.body != "ready\n" {
		t.Errorf("%q", a.body)
	}
}

// TestBoundKiosk: a kiosk that stands beside one set-up shows that one.
func TestBoundKiosk(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	const token = "A-KIOSK-TOKEN-OF-THE-TEST"
	withRecords(t, dir, func(s *record.Store) {
		must(t, s.SetKiosk(context.Background(), server.SiteID, hashed(token), "chair-7", morning))
	})
	h := serve(t, dir)
	shows := func(r *reader, set ...string) {
		t.Helper()
		body := r.get("/looks").wants(t, 200).body
		for _, id := range []string{"chair-12", "chair-7", "chair-21"} {
			want := false
			for _, s := range set {
				want = want || s == id
			}
			if got := strings.Contains(body, `"/lessons/`+id+`"`); got != want {
				t.Errorf("shows %s: %v, expected %v", id, got, want)
			}
		}
	}
	inEach(t, func(t *testing.T, language string) {
		r := h.reader(t, language)
		shows(r, "chair-12", "chair-7", "chair-21")
		u, _ := url.Parse(h.url)
		r.client.Jar.SetCookies(u, []*http.Cookie{{Name: "lw-kiosk", Value: token}})
		shows(r, "chair-7")
		r.client.Jar.SetCookies(u, []*http.Cookie{{Name: "lw-kiosk", Value: "guessed"}})
		shows(r, "chair-12", "chair-7", "chair-21")
	})
}

// TestOurOwnFault: something in the records that cannot be is our fault: the
// page says so, and the log says what, under the id the page was sent with.
func TestOurOwnFault(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	run := interrupted(t, dir, record.Practice, "call-technologist:")
	withRecords(t, dir, func(s *record.Store) {
		must(t, s.EndRun(context.Background(), server.SiteID, strings.TrimPrefix(run, "/runs/"), false, 0, []byte(`"spoilt"`), morning))
	})
	h := serve(t, dir)
	inEach(t, func(t *testing.T, language string) {
		r := h.learner(t, rowan, language)
		a := r.get(run+"/debrief").says(t, r.speaker(), 500, "problem.internal")
		id := a.header.Get("X-Request-Id")
		if log := h.log.String(); id == "" || !strings.Contains(log, `"msg":"failure","id":"`+id+`"`) || !strings.Contains(log, "json: cannot unmarshal") {
			t.Errorf("the log does not say what failed under %q:\n%s", id, log)
		}
		if strings.Contains(a.body, "unmarshal") {
			t.Error("the page tells the cause")
		}
	})
}

var chance = regexp.MustCompile(`"(time|id)":"[^"]*"|"took":\d+`)

// TestLogsNameNobody: a whole visit, and nothing in the log that says whose.
func TestLogsNameNobody(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	secrets := map[string]string{}
	inEach(t, func(t *testing.T, language string) {
		r := h.reader(t, language)
		r.try("/sign-in", [2]string{"HERON-12", "9999"}).wants(t, 401)
		r.try("/sign-in", [2]string{"HERON-77", "4821"}).wants(t, 401)
		r.try("/sign-in", rowan).wants(t, 303)
		run := r.begin("at-home-evening", record.Quiz)
		r.act(run, "ask-person:")
		r.post(run+"/act", url.Values{"who": {"HERON-12"}}).wants(t, 403)
		r.get("/me?who=HERON-12&secret=4821").wants(t, 200)
		r.act(run, "call-rescue:")
		r.get(run+"/debrief").wants(t, 200)
		r.get("/nowhere/HERON-12").wants(t, 404)
		desk := h.educator(t, language)
		page := desk.get(rowanAt).wants(t, 200)
		for _, c := range strings.Split(r.cookies()+"; "+desk.cookies(), "; ") {
			name, value, _ := strings.Cut(c, "=")
			if name == "lw-session" || name == "lw-visitor" {
				secrets[language+" "+name] = value
			}
		}
		secrets[language+" token"] = page.form(t, "/sign-out").Get("token")
		secrets[language+" run"] = strings.TrimPrefix(run, "/runs/")
	})
	must(t, h.stop())
	log := h.log.String()
	if strings.Count(log, `"msg":"request"`) < 40 || !strings.Contains(log, `"route":"/runs/:run/act"`) {
		t.Fatalf("the log lacks requests:\n%s", log)
	}
	for what, text := range secrets {
		if strings.Contains(log, text) {
			t.Errorf("the log holds a %s", what)
		}
	}
	log = chance.ReplaceAllString(log, "") // digits that can happen to be a PIN's
	for _, text := range []string{"Rowan", "Mara", "rowan", "mara", "HERON", "heron", "4821", "9999", mara[1], "127.0.0.1"} {
		if i := strings.Index(log, text); i >= 0 {
			t.Errorf("the log holds %q: %s", text, log[max(0, i-150):min(len(log), i+50)])
		}
	}
	if bytes.Contains([]byte(log), []byte("ERROR")) {
		t.Errorf("an error was logged:\n%s", log)
	}
}

// TestEveryPage opens each page there is, in both languages, whole.
func TestEveryPage(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		for _, who := range [][2]string{rowan, samira, jules} {
			r := h.learner(t, who, language)
			r.get("/me").wants(t, 200).whole(t, r.speaker())
			for _, sc := range quiz.Scenarios {
				run := r.begin(sc.ID, record.Practice)
				r.get(run).wants(t, 200).whole(t, r.speaker())
				r.get(run+"?part=fuse").wants(t, 200).whole(t, r.speaker())
				r.get(run+"?part=%3Cscript%3E").wants(t, 200).whole(t, r.speaker())
			}
		}
	})
	if log := h.log.String(); strings.Contains(log, "ERROR") {
		t.Errorf("an error was logged:\n%s", log[:min(len(log), 3000)])
	}
}
