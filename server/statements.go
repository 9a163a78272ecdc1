package server

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"

	"lampwright/locales"
	"lampwright/locales/problem"
	"lampwright/quiz"
	"lampwright/quiz/competency"
	"lampwright/server/credential"
	"lampwright/server/record"
)

// deedOf is what a record tells, in the words of all languages.
func (m *Main) deedOf(d record.Deed) credential.Deed {
	out := credential.Deed{
		ID: d.Record, Person: d.PersonID, Object: d.Object, SetupVersion: d.SetupVersion, Names: map[string]string{},
		Language: d.Language, At: d.At, Took: d.Took, Score: min(max(d.Score, -1), 1),
	}
	name := func(locales.Language) string { return d.Object } // of what is no more
	switch d.Kind {
	case record.DeedLesson:
		out.Verb = credential.Completed
		name = func(l locales.Language) string {
			if lesson, ok := m.lessons.Lesson(d.Object, l.Tag); ok {
				return lesson.Title
			}
			return d.Object
		}
	case record.DeedRun:
		out.Verb = credential.Failed
		if d.Passed {
			out.Verb = credential.Passed
		}
		if _, err := quiz.Find(d.Object); err == nil {
			name = func(l locales.Language) string {
				return m.locales.Speak(l.Tag).T("quiz.scenario." + d.Object + ".title")
			}
		}
	case record.DeedSignOff:
		out.Verb = credential.Mastered
		if competency.Find(d.Object) != nil {
			name = func(l locales.Language) string { return m.locales.Speak(l.Tag).T("competency.name." + d.Object) }
		}
	}
	for _, l := range locales.Languages {
		out.Names[l.Tag] = name(l)
	}
	return out
}

// tell makes the statement of a deed.
func (m *Main) tell(s *credential.Statements, d record.Deed, now time.Time) (credential.Statement, error) {
	if d.Kind == record.DeedVoid {
		return s.Void(credential.Deed{ID: d.Object, Verb: credential.Mastered}, d.Record, d.ByID, d.At, now)
	}
	return s.Statement(m.deedOf(d), now)
}

// statements is all there is to tell, as a file with a statement to a line.
func (m *Main) statements(c *fiber.Ctx) error {
	now, err := m.clock(c)
	if err != nil {
		return err
	}
	deeds, err := m.store.Deeds(ctx(c), m.at(c).ID)
	if err != nil {
		return err
	}
	makes := credential.NewStatements(m.base(c), m.locales)
	list := make([]credential.Statement, 0, len(deeds))
	for _, d := range deeds {
		st, err := m.tell(makes, d, now)
		if err != nil {
			m.log.Warn("statement", "record", d.Record, "error", err)
			continue
		}
		list = append(list, st)
	}
	lines, err := credential.StatementLines(list)
	if err != nil {
		return err
	}
	return download(c, "application/x-ndjson", "statements.jsonl", lines)
}

// How a receiver is told: how often the records are looked through, how many
// statements go at once, how long it may take, and how long it is left alone
// after it failed, doubled each time.
const (
	tellEvery   = time.Minute
	tellAtOnce  = 100
	tellWithin  = 30 * time.Second
	firstWait   = 10 * time.Second
	longestWait = time.Hour
)

// teller tells a receiver of statements what is new. What it did not take is
// kept in the records and sent again, over any stop.
type teller struct {
	m      *Main
	site   string // whose deeds are told
	makes  *credential.Statements
	to     string
	auth   string // of the header
	client *http.Client
}

// newTeller reads how to reach the receiver; nil where there is none.
func newTeller(m *Main) (_ *teller, err error) {
	c := m.config
	defer problem.In(&err, "server.newTeller")
	switch {
	case c.StatementsTo == "" && c.StatementsAuth == "":
		return nil, nil
	case c.StatementsTo == "":
		return nil, refusedFlag("--statements-to", "", "https://…, as --statements-auth is given", errors.New("none was given"))
	}
	t := &teller{m: m, site: cmp.Or(c.StatementsSite, SiteID), makes: credential.NewStatements(c.Address, m.locales)}
	if t.to, err = webAddress("--statements-to", c.StatementsTo); err != nil {
		return nil, err
	}
	if strings.HasPrefix(t.to, "http:") && !loopback(t.to) {
		return nil, refusedFlag("--statements-to", c.StatementsTo, "https://…", errors.New("what is sent could be read on the way"))
	}
	if m.sites[t.site] == nil {
		return nil, refusedFlag("--statements-site", t.site, "a site that was put in before", errors.New("there is none"))
	}
	if c.Address == "" {
		return nil, refusedFlag("--address", "", "https://…, which statements name for good", errors.New("none was given"))
	}
	data, err := readSecret(c.StatementsAuth)
	secret := strings.TrimSpace(string(data))
	if err == nil && (secret == "" || strings.ContainsAny(secret, "\r\n")) {
		err = errors.New("it is empty, or has several lines")
	}
	if err != nil {
		return nil, refusedFlag("--statements-auth", c.StatementsAuth, "a file of mode 0600 with user:password or a token", err)
	}
	t.auth = "Bearer " + secret
	if user, password, ok := strings.Cut(secret, ":"); ok {
		r := http.Request{Header: http.Header{}}
		r.SetBasicAuth(user, password)
		t.auth = r.Header.Get("Authorization")
	}
	t.client = &http.Client{
		Timeout:       tellWithin,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }, // the secret is for one address
	}
	return t, nil
}

func refusedFlag(flag, got, wanted string, cause error) error {
	return problem.Wrap(fmt.Errorf("%s: %w", flag, cause), problem.Invalid, "problem.value", "Field", flag, "Value", cut(got), "Expected", wanted)
}

// run tells what is new until ctx ends.
func (t *teller) run(ctx context.Context, every time.Duration) {
	if every == 0 {
		every = tellEvery
	}
	tick := time.NewTicker(every)
	defer tick.Stop()
	for {
		if err := t.round(ctx); err != nil && ctx.Err() == nil {
			t.m.log.Warn("statements", "error", err)
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// round puts what is new into the outbox, and sends what is due.
func (t *teller) round(ctx context.Context) error {
	now, err := t.m.store.Clock(ctx, t.m.now())
	if err != nil {
		return err
	}
	if err := t.gather(ctx, t.site, now); err != nil {
		return err
	}
	return t.empty(ctx, t.site, now)
}

// empty sends what is due of a site.
func (t *teller) empty(ctx context.Context, siteID string, now time.Time) error {
	for ctx.Err() == nil {
		due, err := t.m.store.DueLetters(ctx, siteID, now, tellAtOnce)
		if err != nil || len(due) == 0 {
			return err
		}
		if err := t.deliver(ctx, siteID, due, now); err != nil {
			return err
		}
	}
	return nil
}

func (t *teller) gather(ctx context.Context, siteID string, now time.Time) error {
	for ctx.Err() == nil {
		deeds, err := t.m.store.NewDeeds(ctx, siteID, tellAtOnce)
		if err != nil {
			return err
		}
		var letters []record.Letter
		for _, d := range deeds {
			st, err := t.m.tell(t.makes, d, now)
			if err != nil { // it is tried again each time, and holds up nothing else
				t.m.log.Warn("statement", "record", d.Record, "error", err)
				continue
			}
			text, err := json.Marshal(st)
			if err != nil {
				return err
			}
			letters = append(letters, record.Letter{Record: d.Record, ID: st.ID, PersonID: d.PersonID, Statement: text})
		}
		if err := t.m.store.PutLetters(ctx, siteID, letters, now); err != nil {
			return err
		}
		if len(deeds) < tellAtOnce || len(letters) == 0 {
			return nil
		}
	}
	return nil
}

// refusal is an answer by which a receiver takes nothing.
type refusal int

func (r refusal) Error() string { return fmt.Sprintf("the receiver answered %d", int(r)) }

// faulty tells that it is what was sent that the receiver does not take, not
// who sends it or when.
func (r refusal) faulty() bool {
	return r == http.StatusBadRequest || r == http.StatusConflict || r == http.StatusRequestEntityTooLarge || r == http.StatusUnprocessableEntity
}

// deliver sends statements together; where the receiver finds fault with them,
// one by one, so that one does not hold up the others.
func (t *teller) deliver(ctx context.Context, siteID string, due []record.Letter, now time.Time) error {
	err := t.send(ctx, due)
	store, later := t.m.store, func(tries int) time.Time { return now.Add(wait(tries)) }
	kept := context.WithoutCancel(ctx) // what came of it is written down before a stop
	var no refusal
	switch faulty := errors.As(err, &no) && no.faulty(); {
	case err == nil, len(due) == 1 && no == http.StatusConflict: // it has one of this id
		return store.LettersSent(kept, siteID, due, now)
	case faulty && len(due) > 1:
		for i := range due {
			if err := t.deliver(ctx, siteID, due[i:i+1], now); err != nil {
				return err
			}
		}
		return nil
	case faulty:
		t.m.log.Warn("statement refused", "id", due[0].ID, "status", int(no))
		return store.LettersFailed(kept, siteID, due, later)
	case ctx.Err() != nil: // a stop: it is sent again
		return nil
	}
	return errors.Join(err, store.LettersFailed(kept, siteID, due, later))
}

// wait is how long after so many tries.
func wait(tries int) time.Duration {
	return min(firstWait<<min(tries-1, 20), longestWait)
}

func (t *teller) send(ctx context.Context, letters []record.Letter) error {
	list := make([]json.RawMessage, len(letters))
	for i, l := range letters {
		list[i] = l.Statement
	}
	body, err := json.Marshal(list)
	if err != nil {
		return err
	}
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, t.to, bytes.NewReader(body))
	if err != nil {
		return err
	}
	r.Header.Set("Authorization", t.auth)
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("X-Experience-API-Version", "1.0.3")
	res, err := t.client.Do(r)
	if err != nil {
		return err
	}
	defer res.Body.Close()
	io.Copy(io.Discard, io.LimitReader(res.Body, 1<<20)) //nolint:errcheck // the status says it all
	if res.StatusCode/100 != 2 {
		return refusal(res.StatusCode)
	}
	return nil
}
