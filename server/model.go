package server

import (
	"fmt"
	"sync"

	"github.com/gofiber/fiber/v2"

	"lampwright/lessons/setup"
	"lampwright/quiz"
	"lampwright/quiz/bench"
	"lampwright/quiz/diagnosis"
	"lampwright/server/record"
)

// model is the diagnosis of a stored set-up, made once.
func (m *Main) model(r record.Setup) (*diagnosis.Model, error) {
	k, err := m.checkingOf(r)
	if err != nil {
		return nil, err
	}
	return k.model, nil
}

// priors are those after what outages here were found to be, and a text
// that is another once they are.
func (m *Main) priors(c *fiber.Ctx) (diagnosis.Priors, string, error) {
	found, err := m.store.Found(ctx(c), SiteID)
	if err != nil {
		return nil, "", err
	}
	counts, parts, calls := map[diagnosis.PriorKey]int{}, map[setup.Kind]float64{}, 0
	for _, f := range found {
		key := diagnosis.PriorKey{Kind: setup.Kind(f.Kind), Mode: setup.Mode(f.Mode)}
		switch f.What {
		case record.NotFound:
			continue // it says nothing of any cause
		case record.FoundNothing:
			key = diagnosis.PriorKey{Kind: setup.KindPanel, Mode: setup.Misread}
		}
		counts[key] += f.Count
		_, s, err := m.version(c, f.SetupID, f.SetupVersion)
		if err != nil {
			return nil, "", err
		}
		for _, id := range s.IDs() {
			kind, _ := s.PartKind(id)
			parts[kind] += float64(f.Count)
		}
		calls += f.Count
	}
	for kind := range parts {
		parts[kind] /= float64(calls)
	}
	return diagnosis.Learn(counts, parts), fmt.Sprint(counts, parts), nil
}

// version reads a set-up as it was in a version.
func (m *Main) version(c *fiber.Ctx, id, version string) (record.Setup, *setup.Setup, error) {
	r, err := m.store.SetupVersion(ctx(c), SiteID, id, version)
	if err != nil {
		return r, nil, err
	}
	s, err := m.setupOf(r)
	return r, s, err
}

// learned keeps the models whose causes are weighed by what was found here.
type learned struct {
	sync.Mutex
	by     string // the counts that they are of
	models map[string]*diagnosis.Model
}

// learnt is a set-up's model with the priors that were learnt here.
func (m *Main) learnt(c *fiber.Ctx, r record.Setup) (*diagnosis.Model, error) {
	model, err := m.model(r)
	if err != nil {
		return nil, err
	}
	priors, by, err := m.priors(c)
	if err != nil {
		return nil, err
	}
	m.learned.Lock()
	defer m.learned.Unlock()
	if m.learned.models == nil || m.learned.by != by {
		m.learned.by, m.learned.models = by, map[string]*diagnosis.Model{}
	}
	key := r.ID + " " + r.Version
	if _, ok := m.learned.models[key]; !ok {
		m.learned.models[key] = model.With(priors)
	}
	return m.learned.models[key], nil
}

// starts keeps what seeds have drawn: drawing follows the diagnosis to its end,
// and a run under way is read at every step.
type starts struct {
	sync.Mutex
	drawn map[string]bench.Start
}

// mostStarts bounds them; past it they start over.
const mostStarts = 1000

func (m *Main) start(r record.Setup, sc quiz.Scenario, seed int64) (bench.Start, error) {
	key := fmt.Sprint(r.ID, " ", r.Version, " ", sc.ID, " ", seed)
	m.starts.Lock()
	start, ok := m.starts.drawn[key]
	m.starts.Unlock()
	if ok {
		return start, nil
	}
	model, err := m.model(r)
	if err != nil {
		return start, err
	}
	if start, err = quiz.Generate(model, sc, uint64(seed)); err != nil {
		return start, err
	}
	m.starts.Lock()
	defer m.starts.Unlock()
	if m.starts.drawn == nil || len(m.starts.drawn) >= mostStarts {
		m.starts.drawn = map[string]bench.Start{}
	}
	m.starts.drawn[key] = start
	return start, nil
}
