package server

import (
	"fmt"
	"maps"
	"sync"

	"github.com/gofiber/fiber/v2"

	"lampwright/lessons/setup"
	"lampwright/quiz"
	"lampwright/quiz/bench"
	"lampwright/quiz/diagnosis"
	"lampwright/server/record"
)

// cache keeps what is slow to make. The zero value is empty.
type cache[V any] struct {
	sync.Mutex
	made map[string]*cached[V]
	uses int
}

type cached[V any] struct {
	value V
	used  int
}

func (k *cache[V]) get(key string) (v V, ok bool) {
	k.Lock()
	defer k.Unlock()
	k.uses++
	c, ok := k.made[key]
	if !ok {
		return v, false
	}
	c.used = k.uses
	return c.value, true
}

// put keeps a value, unless another was made for its key meanwhile, and gives
// the one kept. Where so many are kept, the one used longest ago makes room.
func (k *cache[V]) put(key string, v V, most int) V {
	k.Lock()
	defer k.Unlock()
	k.uses++
	if c, ok := k.made[key]; ok {
		c.used = k.uses
		return c.value
	}
	if k.made == nil {
		k.made = map[string]*cached[V]{}
	}
	if len(k.made) >= most {
		oldest := ""
		for name, c := range k.made {
			if oldest == "" || c.used < k.made[oldest].used {
				oldest = name
			}
		}
		delete(k.made, oldest)
	}
	k.made[key] = &cached[V]{v, k.uses}
	return v
}

// model is the diagnosis of a stored set-up, made once.
func (m *Main) model(r record.Setup) (*diagnosis.Model, error) {
	k, err := m.checkingOf(r)
	if err != nil {
		return nil, err
	}
	return k.model, nil
}

// priors are those after what outages here were found to be.
func (m *Main) priors(c *fiber.Ctx) (diagnosis.Priors, error) {
	found, err := m.store.Found(ctx(c), m.at(c).ID)
	if err != nil {
		return nil, err
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
			return nil, err
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
	return diagnosis.Learn(counts, parts), nil
}

// version reads a set-up as it was in a version.
func (m *Main) version(c *fiber.Ctx, id, version string) (record.Setup, *setup.Setup, error) {
	r, err := m.store.SetupVersion(ctx(c), m.at(c).ID, id, version)
	if err != nil {
		return r, nil, err
	}
	s, err := m.setupOf(r)
	return r, s, err
}

// learned keeps what was learnt here: the priors, until a finding is added, and
// models with them. A model is kept no longer than the one it was made from,
// whose tables it shares: one bound holds for both.
type learned struct {
	sync.Mutex
	findings int // added since the start
	priors   diagnosis.Priors
	after    int // the findings that the priors and models are of
	models   map[string]*diagnosis.Model
}

// found says that a finding was added.
func (l *learned) found() {
	l.Lock()
	defer l.Unlock()
	l.findings++
}

// learnt is a set-up's model with the priors that were learnt here.
func (m *Main) learnt(c *fiber.Ctx, r record.Setup) (*diagnosis.Model, error) {
	model, err := m.model(r)
	if err != nil {
		return nil, err
	}
	l := &m.at(c).learned
	l.Lock()
	defer l.Unlock()
	if l.models == nil || l.after != l.findings {
		if l.priors, err = m.priors(c); err != nil {
			return nil, err
		}
		l.after, l.models = l.findings, map[string]*diagnosis.Model{}
	}
	key := r.ID + " " + r.Version
	if learnt, ok := l.models[key]; ok {
		return learnt, nil
	}
	m.known.Lock()
	maps.DeleteFunc(l.models, func(key string, _ *diagnosis.Model) bool { return m.known.made[key] == nil })
	m.known.Unlock()
	l.models[key] = model.With(l.priors)
	return l.models[key], nil
}

// starts keeps what seeds have drawn: drawing follows the diagnosis to its end,
// and a run under way is read at every step.
type starts struct{ cache[bench.Start] }

// mostStarts bounds them.
const mostStarts = 1000

func (m *Main) start(r record.Setup, sc quiz.Scenario, seed int64) (bench.Start, error) {
	key := fmt.Sprint(r.ID, " ", r.Version, " ", sc.ID, " ", seed)
	start, ok := m.starts.get(key)
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
	return m.starts.put(key, start, mostStarts), nil
}
