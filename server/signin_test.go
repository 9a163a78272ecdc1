package server_test

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"math/big"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"lampwright/server"
	"lampwright/server/record"
)

// TestUnknownCardAndWrongPIN: nobody learns from the answer whether a card
// code exists, and both cost one hash, so the time does not tell either.
func TestUnknownCardAndWrongPIN(t *testing.T) {
	t.Parallel()
	inEach(t, func(t *testing.T, language string) {
		h := serve(t, demoDir(t)) // of its own: wrong codes are counted
		r := h.reader(t, language)
		// The same code's page, but for the code itself and the form's own values.
		page := func(a answer, who string) string { return strings.ReplaceAll(a.body, who, "WHO") }
		var pages []string
		for range 2 {
			for _, who := range []string{"HERON-12", "HERON-99"} {
				before := h.main.Hashed()
				a := r.try("/sign-in", [2]string{who, "0000"}).says(t, r.speaker(), 401, "problem.wrong-secret")
				if n := h.main.Hashed() - before; n != 1 { // what takes the time
					t.Errorf("%s: %d secrets hashed", who, n)
				}
				pages = append(pages, page(a, who))
				if a.form(t, "/sign-in"); strings.Contains(a.body, "0000") || !strings.Contains(a.body, `value="`+who+`"`) {
					t.Error("expected the code kept in the form and the PIN not")
				}
			}
		}
		for _, p := range pages[1:] {
			if p != pages[0] {
				t.Errorf("pages differ:\n%s\n%s", pages[0], p)
			}
		}
	})
}

func TestSignInRefuses(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		r := h.reader(t, language)
		form := r.get("/sign-in").form(t, "/sign-in")
		for _, c := range []struct {
			name   string
			form   url.Values
			status int
			key    string
		}{
			{"nothing filled in", form, 401, "problem.wrong-secret"},
			{"no PIN", with(form, "who", "HERON-12"), 401, "problem.wrong-secret"},
			{"a code past any length", with(form, "who", strings.Repeat("H", 65), "secret", "1"), 401, "problem.wrong-secret"},
			{"a PIN past any length", with(form, "who", "HERON-12", "secret", strings.Repeat("1", 129)), 401, "problem.wrong-secret"},
			{"a code that is no text", with(form, "who", "\xff\x00", "secret", "1"), 401, "problem.wrong-secret"},
			{"markup for a code", with(form, "who", `"><script>x</script>`, "secret", "1"), 401, "problem.wrong-secret"},
			{"an educator at the learners' door", with(form, "who", mara[0], "secret", mara[1]), 401, "problem.wrong-secret"},
			{"no token", without(with(form, "who", "HERON-12", "secret", "4821"), "token"), 403, "problem.form-stale"},
			{"another browser's token", with(form, "token", strings.Repeat("A", 26), "who", "HERON-12", "secret", "4821"), 403, "problem.form-stale"},
		} {
			t.Run(c.name, func(t *testing.T) {
				a := r.post("/sign-in", c.form).says(t, r.speaker(), c.status, c.key)
				if strings.Contains(a.body, "<script>x") || !utf8.ValidString(a.body) {
					t.Errorf("what was sent came back as it was: %q", a.body)
				}
				a.form(t, "/sign-in") // to try again at once
			})
		}
		a := r.post("/desk/sign-in", with(r.get("/desk/sign-in").form(t, "/desk/sign-in"), "who", "mara", "secret", "4821"))
		a.says(t, r.speaker(), 401, "problem.wrong-staff")
	})
}

// TestSixthTry: five wrong PINs close the account for a quarter of an hour,
// for the right one too.
func TestSixthTry(t *testing.T) {
	t.Parallel()
	inEach(t, func(t *testing.T, language string) {
		h := serve(t, demoDir(t))
		r := h.reader(t, language)
		for range 5 {
			r.try("/sign-in", [2]string{"heron-12", "0000"}).says(t, r.speaker(), 401, "problem.wrong-secret")
		}
		r.try("/sign-in", [2]string{"HERON-12", "0000"}).says(t, r.speaker(), 429, "problem.too-many")
		r.try("/sign-in", rowan).says(t, r.speaker(), 429, "problem.too-many")
		h.learner(t, jules, language).get("/me").wants(t, 200) // nobody else waits
		h.clock.pass(14 * time.Minute)
		r.try("/sign-in", rowan).says(t, r.speaker(), 429, "problem.too-many")
		h.clock.pass(time.Minute)
		r.try("/sign-in", rowan).wants(t, 303)
		r.get("/me").holds(t, "Rowan Teal")
	})
}

// TestSessionEndsMidQuiz: the steps are kept, and signing in leads back.
func TestSessionEndsMidQuiz(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		r := h.learner(t, rowan, language)
		run := r.begin("at-home-evening", record.Quiz)
		r.act(run, "ask-person:")
		r.act(run, "look:panel")
		page := r.get(run).wants(t, 200)
		late := with(page.form(t, run+"/act"), "action", "plug-in:outlet")
		before := wordsOf(page.body)
		h.clock.pass(21 * time.Minute)

		again := "/sign-in?ended=1&next=" + url.QueryEscape(run)
		r.post(run+"/act", late).says(t, r.speaker(), 401, "problem.session-ended").holds(t, `href="`+again+`"`)
		if to := r.get(run).wants(t, 303).location(); to != again {
			t.Errorf("reading on leads to %q, expected %q", to, again)
		}
		door := r.get(again).says(t, r.speaker(), 200, "page.sign-in.ended")
		to := r.post("/sign-in", with(door.form(t, "/sign-in"), "who", rowan[0], "secret", rowan[1])).wants(t, 303).location()
		if to != run {
			t.Fatalf("signing in leads to %q, expected %q", to, run)
		}
		page = r.get(run).wants(t, 200)
		if got := page.form(t, run+"/act").Get("seq"); got != "3" || wordsOf(page.body) != before {
			t.Errorf("the run stands at %s, expected 3, or reads otherwise:\n%s\n%s", got, before, wordsOf(page.body))
		}
		r.post(run+"/act", late).says(t, r.speaker(), 403, "problem.form-stale") // the old session's form
		r.act(run, "plug-in:outlet")
	})
}

func TestSessionEnds(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	t.Run("twelve hours on, however busy", func(t *testing.T) {
		r := h.learner(t, rowan, "en")
		for range 47 { // a quarter of an hour each
			h.clock.pass(15 * time.Minute)
			r.get("/me").wants(t, 200)
		}
		h.clock.pass(15 * time.Minute)
		r.get("/me").wants(t, 303)
	})
	t.Run("signed out", func(t *testing.T) {
		r := h.learner(t, rowan, "en")
		u, _ := url.Parse(h.url)
		old := r.client.Jar.Cookies(u)
		a := r.post("/sign-out", r.get("/me").form(t, "/sign-out")).wants(t, 303)
		if a.location() != "/" || a.header.Get("Clear-Site-Data") != `"cache"` {
			t.Errorf("got %q, %v", a.location(), a.header)
		}
		r.client.Jar.SetCookies(u, old) // someone kept the cookie
		r.get("/me").wants(t, 303)
	})
	t.Run("signing out by a form from elsewhere", func(t *testing.T) {
		r := h.learner(t, rowan, "ar")
		r.post("/sign-out", url.Values{"token": {"x"}}).says(t, r.speaker(), 403, "problem.form-stale")
		r.get("/me").wants(t, 200)
	})
	t.Run("signing in anew makes a new session", func(t *testing.T) {
		r := h.learner(t, rowan, "en")
		u, _ := url.Parse(h.url)
		old := r.client.Jar.Cookies(u)
		r.try("/sign-in", jules).wants(t, 303)
		r.get("/me").holds(t, "Jules Arden")
		r.client.Jar.SetCookies(u, old)
		r.get("/me").wants(t, 303)
	})
}

func TestNextStaysHere(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	r := h.reader(t, "en")
	here, err := url.Parse(h.url + "/sign-in")
	must(t, err)
	for _, next := range []string{
		"//evil.example", "///evil.example", `/\evil.example`, `\\evil.example`, "https://evil.example", "http:evil.example",
		"javascript:alert(1)", "evil.example", "/\t/evil.example", "/\n/evil.example", "/\r\nSet-Cookie: a=b", "/\x00/evil.example", "", " //evil.example",
	} {
		t.Run(next, func(t *testing.T) {
			stays := func(a answer) {
				t.Helper()
				// What browsers drop before they look: tabs and ends of lines.
				to := strings.NewReplacer("\t", "", "\n", "", "\r", "").Replace(a.wants(t, 303).location())
				u, err := here.Parse(to)
				if err != nil || u.Host != here.Host || strings.HasPrefix(to, "//") || strings.Contains(to, `\`) || a.header.Get("Set-Cookie") == "a=b" {
					t.Errorf("%s leads to %q", a.asked, a.location())
				}
			}
			// Past the client, which refuses to follow some of these itself.
			once := func(method, path, body string) answer {
				t.Helper()
				req := r.request(method, path, formType, body)
				req.Header.Set("Cookie", r.cookies())
				res, err := r.client.Transport.RoundTrip(req)
				must(t, err)
				return read(t, method+" "+path, res)
			}
			q := url.QueryEscape(next)
			stays(once("GET", "/language/en?next="+q, ""))
			stays(once("GET", "/size/1?next="+q, ""))
			door := r.get("/sign-in?next="+q).wants(t, 200).form(t, "/sign-in")
			stays(once("POST", "/sign-in", with(door, "next", next, "who", rowan[0], "secret", rowan[1]).Encode()))
		})
	}
	stay := r.get("/language/ar?next=" + url.QueryEscape("/runs/a?part=fuse#acts")).location()
	if stay != "/runs/a?part=fuse#acts" {
		t.Errorf("a path of ours became %q", stay)
	}
}

func TestFormsFromElsewhere(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		r := h.learner(t, rowan, language)
		run := r.begin("at-home-evening", record.Practice)
		form := with(r.get(run).form(t, run+"/act"), "action", "ask-person:")
		for _, c := range []struct {
			name, header, value string
			ok                  bool
		}{
			{"another host", "Origin", "https://evil.example", false},
			{"another port", "Origin", "http://127.0.0.1:1", false},
			{"an origin kept secret", "Origin", "null", false},
			{"a host that begins like ours", "Origin", h.url + ".evil.example", false},
			{"cross-site", "Sec-Fetch-Site", "cross-site", false},
			{"same-site", "Sec-Fetch-Site", "same-site", false},
			{"our own page", "Sec-Fetch-Site", "same-origin", true},
			{"our own origin", "Origin", h.url, true},
		} {
			t.Run(c.name, func(t *testing.T) {
				for _, path := range []string{run + "/act", "/runs", "/sign-out", "/sign-in", "/desk/sign-in", "/lessons/three-sources/question"} {
					if c.ok {
						path = run + "/act"
					}
					req := r.request("POST", path, formType, form.Encode())
					req.Header.Set(c.header, c.value)
					if a := r.do(req); c.ok {
						a.wants(t, 303)
						return
					} else {
						a.says(t, r.speaker(), 403, "problem.foreign")
					}
				}
				if got := r.seq(run); got != 1 {
					t.Errorf("the run stands at %d", got)
				}
			})
		}
	})
}

// certificate makes a throwaway one for this machine.
func certificate(t *testing.T) (certFile, keyFile string, pool *x509.CertPool) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	must(t, err)
	c := &x509.Certificate{
		SerialNumber: big.NewInt(1), NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true,
	}
	der, err := x509.CreateCertificate(rand.Reader, c, c, &key.PublicKey, key)
	must(t, err)
	keyDER, err := x509.MarshalPKCS8PrivateKey(key)
	must(t, err)
	dir := t.TempDir()
	certFile, keyFile = filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	cert := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
	must(t, os.WriteFile(certFile, cert, 0o600))
	must(t, os.WriteFile(keyFile, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: keyDER}), 0o600))
	pool = x509.NewCertPool()
	pool.AppendCertsFromPEM(cert)
	return certFile, keyFile, pool
}

func wantsCookies(t *testing.T, a answer, secure bool) {
	t.Helper()
	cookies := (&http.Response{Header: a.header}).Cookies()
	if len(cookies) == 0 {
		t.Errorf("%s sets no cookie", a.asked)
	}
	for _, c := range cookies {
		if !c.HttpOnly || c.SameSite != http.SameSiteLaxMode || c.Secure != secure || c.Path != "/" || c.Domain != "" {
			t.Errorf("%s: cookie %s", a.asked, c.Raw)
		}
	}
}

func TestCookies(t *testing.T) {
	t.Parallel()
	cert, key, pool := certificate(t)
	for name, config := range map[string]server.Config{"plain": {}, "TLS": {TLSCert: cert, TLSKey: key}} {
		t.Run(name, func(t *testing.T) {
			config.Data = demoDir(t)
			h := serveWith(t, config, &clock{at: morning})
			secure := config.TLSCert != ""
			r := h.trusting(t, "en", pool)
			wantsCookies(t, r.get("/language/ar"), secure)
			wantsCookies(t, r.get("/size/2"), secure)
			door := r.get("/sign-in")
			wantsCookies(t, door, secure)
			in := r.post("/sign-in", with(door.form(t, "/sign-in"), "who", rowan[0], "secret", rowan[1])).wants(t, 303)
			wantsCookies(t, in, secure)
			me := r.get("/me").wants(t, 200)
			if got := me.header.Get("Strict-Transport-Security"); (got != "") != secure {
				t.Errorf("Strict-Transport-Security: %q", got)
			}
			wantsCookies(t, r.post("/sign-out", me.form(t, "/sign-out")).wants(t, 303), secure)
			if secure != strings.HasPrefix(h.url, "https://") {
				t.Errorf("URL %s", h.url)
			}
		})
	}
}

// trusting is a reader whose browser trusts a throwaway certificate.
func (h *house) trusting(t testing.TB, language string, pool *x509.CertPool) *reader {
	t.Helper()
	r := &reader{h: h, t: t, language: language, client: newClient(t)}
	r.client.Transport = &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool}}
	t.Cleanup(r.client.CloseIdleConnections)
	r.get("/language/"+language).wants(t, 303)
	return r
}

func TestTLSFilesThatAreNone(t *testing.T) {
	t.Parallel()
	cert, key, _ := certificate(t)
	_, err := server.Open(server.Config{Data: demoDir(t), TLSCert: cert})
	wantsKey(t, err, "problem.value")
	m, err := server.Open(server.Config{Data: demoDir(t), TLSCert: key, TLSKey: cert, Listen: "127.0.0.1:0"})
	must(t, err)
	must(t, m.Listen())
	wantsKey(t, m.Run(t.Context()), "problem.value")
}

// TestCardAsItIsTyped: in small letters, with a space, or without the dash.
func TestCardAsItIsTyped(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	withRecords(t, dir, func(s *record.Store) {
		must(t, s.PutPerson(t.Context(), record.Person{
			SiteID: server.SiteID, ID: "typed", Name: "Wren Okafor", Role: record.Learner, Card: "CCP7-WEGX", Language: "en", Secret: server.HashSecret("583920"),
		}, morning))
	})
	h := serve(t, dir)
	for _, typed := range []string{"CCP7-WEGX", "ccp7-wegx", " ccp7 wegx ", "ccp7wegx", "CCP7  WEGX", "ccp7–wegx"} {
		r := h.reader(t, "en")
		r.try("/sign-in", [2]string{typed, "583920"}).wants(t, 303)
		// Nobody gave her a set-up yet: she is told so, and led on.
		r.get("/me").says(t, r.speaker(), 200, "problem.no-set-up").holds(t, `href="/looks"`)
	}
	h.learner(t, [2]string{"dunlin-21", jules[1]}, "en")
	h.learner(t, [2]string{"dunlin 21", jules[1]}, "en")

	// Her educator can still help her in.
	educator := h.educator(t, "en")
	at := "/desk/learners/typed"
	a := educator.get(at).says(t, educator.speaker(), 200, "page.learner.no-set-up").holds(t, at+"/card")
	educator.post(at+"/invite", a.form(t, at+"/invite")).wants(t, 200)
	administrator := h.administrator(t, "en")
	lacks(t, administrator.get(at).says(t, administrator.speaker(), 200, "page.learner.no-set-up"), at+"/invite")
}
