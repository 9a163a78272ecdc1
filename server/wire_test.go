package server_test

import (
	"bufio"
	"fmt"
	"io"
	"net"
	"net/http"
	"regexp"
	"strings"
	"testing"
	"time"

	"lampwright/locales"
	"lampwright/server"
	"lampwright/server/record"
)

// wire sends bytes as they are; then, after closing its side if asked to, it
// reads what comes back, or nothing.
func (h *house) wire(t testing.TB, text string, half bool) (answer, bool) {
	t.Helper()
	c, err := net.Dial("tcp", h.host())
	must(t, err)
	defer c.Close()
	must(t, c.SetDeadline(time.Now().Add(20*time.Second)))
	_, err = io.WriteString(c, text)
	must(t, err)
	if half {
		must(t, c.(*net.TCPConn).CloseWrite())
	}
	res, err := http.ReadResponse(bufio.NewReader(c), nil)
	if err != nil {
		return answer{}, false
	}
	line, _, _ := strings.Cut(text, "\r\n")
	return read(t, line[:min(len(line), 60)], res), true
}

func head(h *house, r *reader, method, path, more string) string {
	return fmt.Sprintf("%s %s HTTP/1.1\r\nHost: %s\r\nCookie: %s\r\n%s\r\n", method, path, h.host(), r.cookies(), more)
}

// TestBrokenOff: an upload that breaks off changes nothing, and where the
// sender still listens it is told so.
func TestBrokenOff(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		r := h.learner(t, rowan, language)
		run := r.begin("at-home-evening", record.Practice)
		body := with(r.get(run).form(t, run+"/act"), "action", "ask-person:").Encode()
		begun := head(h, r, "POST", run+"/act", fmt.Sprintf("Content-Type: %s\r\nContent-Length: %d\r\n", formType, len(body)+10)) + body

		t.Run("half closed", func(t *testing.T) {
			a, ok := h.wire(t, begun, true)
			if !ok {
				t.Fatal("no answer")
			}
			// The library forgets the headers of what broke off, the language
			// among them.
			a.says(t, h.speak.Speak("en"), 400, "problem.form")
		})
		t.Run("closed", func(t *testing.T) {
			c, err := net.Dial("tcp", h.host())
			must(t, err)
			_, err = io.WriteString(c, begun)
			must(t, err)
			must(t, c.Close())
		})
		t.Run("in the middle of the headers", func(t *testing.T) {
			if a, ok := h.wire(t, begun[:60], true); ok {
				a.whole(t, h.speak.Speak("en")) // the language had not arrived
			}
		})
		if got := r.seq(run); got != 1 {
			t.Errorf("the run stands at %d, expected 1", got)
		}
	})
}

func TestTooMuch(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		r := h.learner(t, rowan, language)
		run := r.begin("at-home-evening", record.Practice)
		t.Run("a body one over the limit", func(t *testing.T) {
			a, ok := h.wire(t, head(h, r, "POST", run+"/act", fmt.Sprintf("Content-Type: %s\r\nContent-Length: %d\r\n", formType, 64<<10+1)), false)
			if !ok {
				t.Fatal("no answer")
			}
			a.says(t, r.speaker(), 413, "problem.too-large")
		})
		t.Run("a body far over the limit, still under way when it is refused", func(t *testing.T) {
			c, err := net.Dial("tcp", h.host())
			must(t, err)
			defer c.Close()
			must(t, c.SetDeadline(time.Now().Add(20*time.Second)))
			const pieces, piece = 48, 64 << 10
			_, err = io.WriteString(c, head(h, r, "POST", run+"/act", fmt.Sprintf("Content-Type: %s\r\nContent-Length: %d\r\n", formType, pieces*piece)))
			for range pieces {
				must(t, err)
				_, err = c.Write(make([]byte, piece))
			}
			must(t, err)
			res, err := http.ReadResponse(bufio.NewReader(c), nil)
			must(t, err)
			read(t, "a long body", res).says(t, r.speaker(), 413, "problem.too-large")
		})
		t.Run("a body that says not how long it is", func(t *testing.T) {
			chunk := fmt.Sprintf("%x\r\n%s\r\n", 40<<10, strings.Repeat("x", 40<<10))
			a, ok := h.wire(t, head(h, r, "POST", run+"/act", "Content-Type: "+formType+"\r\nTransfer-Encoding: chunked\r\n")+chunk+chunk, false)
			if !ok {
				t.Fatal("no answer")
			}
			a.says(t, h.speak.Speak("en"), 413, "problem.too-large")
		})
		t.Run("a body at the limit", func(t *testing.T) {
			a := r.do(r.request("POST", run+"/act", formType, strings.Repeat("x", 64<<10)))
			a.says(t, r.speaker(), 403, "problem.form-stale")
		})
		if got := r.seq(run); got != 1 {
			t.Errorf("the run stands at %d, expected 1", got)
		}
	})
	// Where the headers were not taken, the language in them was not read.
	english := h.speak.Speak("en")
	t.Run("a header past the limit", func(t *testing.T) {
		a, ok := h.wire(t, "GET / HTTP/1.1\r\nHost: x\r\nX-Long: "+strings.Repeat("x", 17<<10)+"\r\n\r\n", false)
		if !ok {
			t.Fatal("no answer")
		}
		a.says(t, english, 431, "problem.too-large")
	})
	t.Run("a path past the limit", func(t *testing.T) {
		a, ok := h.wire(t, "GET /"+strings.Repeat("x", 17<<10)+" HTTP/1.1\r\nHost: x\r\n\r\n", false)
		if !ok {
			t.Fatal("no answer")
		}
		a.says(t, english, 431, "problem.too-large")
	})
}

func TestNotHTTP(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	for name, text := range map[string]string{
		"no request line":       "\r\n\r\n\r\n",
		"noise":                 "\x16\x03\x01\x02\x00\x01\x00\r\n\r\n",
		"a header that is none": "GET / HTTP/1.1\r\nHost x\r\n\r\n",
	} {
		t.Run(name, func(t *testing.T) {
			if a, ok := h.wire(t, text, true); ok {
				a.secured(t)
			}
		})
	}
	for _, l := range locales.Languages {
		for _, method := range []string{"BREW", "get", "PROPFIND"} {
			t.Run("method "+method+" "+l.Tag, func(t *testing.T) {
				r := h.reader(t, l.Tag)
				a, ok := h.wire(t, head(h, r, method, "/", ""), false)
				if !ok {
					t.Fatal("no answer")
				}
				if a.status < 400 || a.status > 499 && a.status != 501 {
					t.Errorf("got %d", a.status)
				}
				a.whole(t, r.speaker())
			})
		}
	}
	h.reader(t, "en").get("/").wants(t, 200) // still here
}

// TestTooManyRequests: whoever asks without end waits, and no emergency does.
func TestTooManyRequests(t *testing.T) {
	t.Parallel()
	inEach(t, func(t *testing.T, language string) {
		h := serveWith(t, server.Config{Data: demoDir(t), MostRequests: 5}, &clock{at: morning})
		r := h.reader(t, language)
		for range 5 {
			r.get("/looks").wants(t, 200)
		}
		a := r.get("/looks").says(t, r.speaker(), 429, "problem.too-many-requests")
		if a.header.Get("Retry-After") == "" {
			t.Error("it is not said for how long")
		}
		r.post("/sign-in", nil).wants(t, 429)
		r.get("/language/"+language).wants(t, 303)
		for _, at := range []string{"/stopped", "/call", "/safe", "/sites", "/paper/chair-12/stopped"} {
			a := r.get(at).wants(t, 200)
			for _, m := range regexp.MustCompile(`(?:href|src)="(/static/[^"]+)"`).FindAllStringSubmatch(a.body, -1) {
				r.get(m[1]).wants(t, 200)
			}
		}
	})
}
