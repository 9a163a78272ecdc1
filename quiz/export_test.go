package quiz

import (
	"lampwright/quiz/bench"
	"lampwright/quiz/diagnosis"
)

// Guide draws, leads and judges as the package does, and thinks only once
// about what many runs have alike.
type Guide struct{ g *guide }

// NewGuide is a guide for a model's set-up.
func NewGuide(m *diagnosis.Model) Guide { return Guide{newGuide(m)} }

// Generate is as the package's.
func (g Guide) Generate(sc Scenario, seed uint64) (bench.Start, error) { return g.g.generate(sc, seed) }

// Best is a run of the best way, judged.
func (g Guide) Best(start bench.Start) (Result, error) {
	w, err := g.g.follow(start)
	if err != nil {
		return Result{}, err
	}
	return g.g.judge(w.bench)
}
