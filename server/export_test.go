package server

import (
	"context"
	"errors"
	"time"

	"github.com/valyala/fasthttp"

	"lampwright/quiz"
	"lampwright/server/record"
)

// Way is the best way through a run, from where its seed starts it.
func (m *Main) Way(runID string) ([]quiz.Advice, error) {
	ctx := context.Background()
	var run record.Run
	err := errors.New("no site")
	for id := range m.sites {
		if err != nil {
			run, err = m.store.Run(ctx, id, runID)
		}
	}
	if err != nil {
		return nil, err
	}
	sc, err := quiz.Find(run.Scenario)
	if err != nil {
		return nil, err
	}
	stored, err := m.store.SetupVersion(ctx, run.SiteID, run.SetupID, run.SetupVersion)
	if err != nil {
		return nil, err
	}
	model, err := m.model(stored)
	if err != nil {
		return nil, err
	}
	start, err := m.start(stored, sc, run.Seed)
	if err != nil {
		return nil, err
	}
	return quiz.Way(model, start)
}

// Routes are all routes there are, for the table of who may go where.
func (m *Main) Routes() (out []string) {
	for _, r := range m.app.GetRoutes(true) {
		if r.Method != "HEAD" {
			out = append(out, r.Method+" "+r.Path)
		}
	}
	return out
}

// Hashed is how many secrets were hashed so far.
func (m *Main) Hashed() int64 { return m.hashed.Load() }

// Guess is one try at an account's secret from an address, and whether it was
// hashed at all.
func (m *Main) Guess(account, source, secret string, now time.Time) (in, hashed bool) {
	before := m.Hashed()
	ctx := context.Background()
	p, err := m.store.PersonByCard(ctx, account)
	if err != nil {
		panic(err)
	}
	in, _ = m.prove(ctx, account, source, secret, p.Secret, now)
	return in, m.Hashed() > before
}

// Swap puts words in place of every page kept, and so tells what was kept from
// what is rendered anew. It is how many there were.
func (m *Main) Swap(words string) int {
	m.kept.Lock()
	defer m.kept.Unlock()
	for key := range m.kept.pages {
		m.kept.pages[key] = fasthttp.AppendGzipBytes(nil, []byte(words))
	}
	return len(m.kept.pages)
}

// Forget lets go of every page kept.
func (m *Main) Forget() {
	m.kept.Lock()
	defer m.kept.Unlock()
	m.kept.pages, m.kept.bytes = nil, 0
}

// PutSetup changes a set-up while the house is open.
func (m *Main) PutSetup(r record.Setup) error {
	return m.store.PutSetup(context.Background(), r, m.now())
}
