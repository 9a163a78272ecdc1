package server_test

import (
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"lampwright/server"
	"lampwright/server/credential"
)

// receiver takes statements, or answers what it is told to.
type receiver struct {
	*httptest.Server
	sync.Mutex
	t      testing.TB
	answer func(ids []string) int // 200 where it is nil
	calls  int
	got    []credential.Statement
	times  map[string]int // how often each was taken
	wrong  []string
}

func newReceiver(t testing.TB, auth string) *receiver {
	t.Helper()
	r := &receiver{t: t, times: map[string]int{}}
	r.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, q *http.Request) {
		r.Lock()
		defer r.Unlock()
		r.calls++
		body, err := io.ReadAll(q.Body)
		if err != nil {
			r.wrong = append(r.wrong, err.Error())
		}
		if q.Header.Get("Authorization") != auth || q.Header.Get("X-Experience-API-Version") != "1.0.3" || q.Method != "POST" ||
			q.Header.Get("Content-Type") != "application/json" || q.URL.Path != "/xapi/statements" {
			r.wrong = append(r.wrong, q.Method+" "+q.URL.String())
		}
		var list []credential.Statement
		if err := json.Unmarshal(body, &list); err != nil || len(list) == 0 || len(list) > 100 {
			r.wrong = append(r.wrong, string(body))
		}
		var ids []string
		for _, s := range list {
			ids = append(ids, s.ID)
		}
		if r.answer != nil {
			if status := r.answer(ids); status != 200 {
				w.WriteHeader(status)
				return
			}
		}
		for _, s := range list {
			if r.times[s.ID]++; r.times[s.ID] == 1 {
				r.got = append(r.got, s)
			}
		}
		w.Header().Set("Content-Type", "application/json")
		json.NewEncoder(w).Encode(ids) //nolint:errcheck // it is looked at by nobody
	}))
	t.Cleanup(r.Close)
	t.Cleanup(func() {
		r.Lock()
		defer r.Unlock()
		if len(r.wrong) > 0 {
			t.Errorf("it was sent %q", r.wrong)
		}
	})
	return r
}

// becomes waits until what is asked for is so.
func (r *receiver) becomes(what string, so func() bool) {
	r.t.Helper()
	for range 3000 {
		r.Lock()
		ok := so()
		r.Unlock()
		if ok {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	r.Lock()
	defer r.Unlock()
	r.t.Fatalf("%s never came; %d calls, %d statements", what, r.calls, len(r.got))
}

func (r *receiver) answers(f func(ids []string) int) {
	r.Lock()
	defer r.Unlock()
	r.answer, r.calls = f, 0
}

func secretFile(t testing.TB, text string, mode os.FileMode) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "auth")
	must(t, os.WriteFile(path, []byte(text), mode))
	return path
}

func (s statementList) verbs() map[string]int {
	out := map[string]int{}
	for _, st := range s {
		out[st.Verb.ID[strings.LastIndex(st.Verb.ID, "/")+1:]]++
	}
	return out
}

type statementList []credential.Statement

// lines reads the file of statements.
func (a answer) statements(t testing.TB, now time.Time) (out statementList) {
	t.Helper()
	a.wants(t, 200)
	for line := range strings.Lines(a.body) {
		must(t, credential.CheckStatement([]byte(line), now))
		var s credential.Statement
		must(t, json.Unmarshal([]byte(line), &s))
		out = append(out, s)
	}
	return out
}

// TestStatementsAreSent: all there is, once the receiver takes them, over a
// stop and without losing or changing any.
func TestStatementsAreSent(t *testing.T) {
	t.Parallel()
	to := newReceiver(t, "Basic bGFtcHdyaWdodDpzZWNyZXQgd29yZHM=")
	to.answers(func([]string) int { return 503 })
	config := server.Config{
		Data: demoDir(t), Address: "https://lampwright.example", StatementsTo: to.URL + "/xapi/statements",
		StatementsAuth: secretFile(t, "lampwright:secret words\n", 0o600), StatementsEvery: 5 * time.Millisecond,
	}
	h := serveWith(t, config, &clock{at: morning})
	learner, educator, admin := h.learner(t, rowan, "fr"), h.educator(t, "en"), h.administrator(t, "en")
	id := h.signRowan(t, learner, educator)
	to.becomes("a try", func() bool { return to.calls > 0 })
	if !strings.Contains(admin.get("/desk/people").wants(t, 200).body, "to be sent") {
		t.Error("the page does not say that statements wait")
	}
	must(t, h.stop())

	// A stop, the receiver still down, then up.
	h = serveWith(t, config, h.clock)
	h.clock.pass(2 * time.Hour) // beyond any wait
	to.answers(nil)
	admin = h.administrator(t, "en")
	file := func() statementList { return admin.get("/desk/statements").statements(t, h.clock.now()) }
	all := file()
	if got := all.verbs(); got["completed"] < 5 || got["passed"] < 3 || got["mastered"] != 1 || got["voided"] != 0 {
		t.Fatalf("the file holds %v", got)
	}
	to.becomes("all", func() bool { return len(to.got) >= len(all) })

	// What comes after is told too, and nothing again.
	h.educator(t, "en").decides(t, id, "revoked", "Signed for the wrong person").wants(t, 303)
	all = file()
	if got := all.verbs(); got["voided"] != 1 {
		t.Errorf("the file holds %v", got)
	}
	to.becomes("the one that takes back", func() bool { return len(to.got) >= len(all) })
	// What is on its way at a stop may be told again: wait until that is written down.
	to.becomes("a word that none waits", func() bool {
		return !strings.Contains(admin.get("/desk/people").wants(t, 200).body, "to be sent")
	})
	must(t, h.stop())
	h = serveWith(t, config, h.clock)
	h.clock.pass(24 * time.Hour)
	h.educator(t, "en").get("/desk").wants(t, 200)
	must(t, h.stop())

	to.Lock()
	defer to.Unlock()
	sent := map[string]string{}
	for _, s := range to.got {
		text, err := json.Marshal(s)
		must(t, err)
		sent[s.ID] = string(text)
		must(t, credential.CheckStatement(text, h.clock.now()))
	}
	var void, mastered credential.Statement
	for _, s := range all {
		text, err := json.Marshal(s)
		must(t, err)
		if sent[s.ID] != string(text) || to.times[s.ID] != 1 {
			t.Errorf("sent %d times %s, expected %s", to.times[s.ID], sent[s.ID], text)
		}
		switch {
		case strings.HasSuffix(s.Verb.ID, "/voided"):
			void = s
		case strings.HasSuffix(s.Verb.ID, "/mastered"):
			mastered = s
		}
	}
	if len(sent) != len(all) || void.Object.ID != mastered.ID || void.Actor.Account.Name != "demo-mara" {
		t.Errorf("%d sent, %d in the file; %+v takes back %s", len(sent), len(all), void, mastered.ID)
	}
	if text := h.log.String(); strings.Contains(text, "secret words") || strings.Contains(text, "bGFtcHd") {
		t.Error("the log holds the secret")
	}
}

// TestAReceiverFindsFault with one statement: the others go through, and that
// one is tried again later.
func TestAReceiverFindsFault(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		status int
		later  bool
	}{
		{"it cannot be right", 400, true},
		{"it is there already", 409, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			to := newReceiver(t, "Bearer abc.def")
			bad, calls := "", 0
			to.answers(func(ids []string) int {
				if bad == "" {
					bad = ids[len(ids)/2]
				}
				if slices.Contains(ids, bad) {
					if len(ids) == 1 {
						calls++
					}
					return c.status
				}
				return 200
			})
			dir := demoDir(t)
			h := serve(t, dir)
			h.signRowan(t, h.learner(t, rowan, "en"), h.educator(t, "en"))
			all := h.administrator(t, "en").get("/desk/statements").statements(t, h.clock.now())
			must(t, h.stop())
			h = serveWith(t, server.Config{
				Data: dir, Address: "https://lampwright.example", StatementsTo: to.URL + "/xapi/statements",
				StatementsAuth: secretFile(t, "abc.def", 0o600), StatementsEvery: 5 * time.Millisecond,
			}, h.clock)
			to.becomes("all but one", func() bool { return len(to.got) == len(all)-1 && calls == 1 })
			h.clock.pass(time.Minute)
			if c.later {
				to.becomes("another try", func() bool { return calls == 2 })
				to.answers(nil)
				h.clock.pass(time.Hour)
				to.becomes("the last", func() bool { return len(to.got) == len(all) })
			}
			must(t, h.stop())
			if !c.later && calls != 1 {
				t.Errorf("tried %d times", calls)
			}
		})
	}
}

// TestWhereStatementsCannotGo is said at the start.
func TestWhereStatementsCannotGo(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	fine := server.Config{
		Data: dir, Address: "https://lampwright.example", StatementsTo: "https://receiver.example/xapi/statements",
		StatementsAuth: secretFile(t, "a:b", 0o600),
	}
	for _, c := range []struct {
		name   string
		change func(*server.Config)
	}{
		{"a secret for nobody", func(c *server.Config) { c.StatementsTo = "" }},
		{"no address", func(c *server.Config) { c.StatementsTo = "receiver" }},
		{"a site that is not there", func(c *server.Config) { c.StatementsSite = "nowhere" }},
		{"a secret in the address", func(c *server.Config) { c.StatementsTo = "https://a:b@receiver.example/" }},
		{"it can be read on the way", func(c *server.Config) { c.StatementsTo = "http://receiver.example/xapi/statements" }},
		{"this server has no address", func(c *server.Config) { c.Address = "" }},
		{"this server's address is none", func(c *server.Config) { c.Address = "lampwright.example" }},
		{"no secret", func(c *server.Config) { c.StatementsAuth = filepath.Join(dir, "none") }},
		{"others can read the secret", func(c *server.Config) { c.StatementsAuth = secretFile(t, "a:b", 0o644) }},
		{"an empty secret", func(c *server.Config) { c.StatementsAuth = secretFile(t, "\n", 0o600) }},
		{"a secret of two lines", func(c *server.Config) { c.StatementsAuth = secretFile(t, "a\nb", 0o600) }},
	} {
		t.Run(c.name, func(t *testing.T) {
			config := fine
			c.change(&config)
			_, err := server.Open(config)
			wantsKey(t, err, "problem.value")
		})
	}
	m, err := server.Open(fine)
	must(t, err)
	must(t, m.Close())
}
