package diagnosis

import (
	"fmt"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"
	"time"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
)

// nodes are the histories that searches for these causes come through, each
// look told as it is.
func nodes(b *testing.B, s *setup.Setup, m *Model, causes [][]setup.Fault) [][]Done {
	b.Helper()
	n := newMinds(m, steady(Care{}))
	solved := map[string]*circuit.State{}
	var out [][]Done
	met := map[string]bool{}
	for _, faults := range causes {
		w := walk{now: house{s, faults, false, solved}}
		var done []Done
		for range endless {
			if name := fmt.Sprint(done); !met[name] {
				met[name] = true
				out = append(out, slices.Clone(done))
			}
			r := n.next(done)
			if ends(r.step.Action.Verb) {
				break
			}
			x := n.truly(w.now, r.step)
			w.take(n, r, x)
			done = append(done, x)
		}
	}
	return out
}

// sample keeps a few hundred of many nodes, the same every time.
func sample(list [][]Done) [][]Done {
	r := rand.New(rand.NewPCG(1, 1))
	r.Shuffle(len(list), func(i, j int) { list[i], list[j] = list[j], list[i] })
	return list[:min(len(list), 600)]
}

// times are reported in milliseconds.
func times(b *testing.B, name string, took []time.Duration) {
	b.Helper()
	slices.Sort(took)
	ms := func(share float64) float64 {
		return float64(took[min(len(took)-1, int(share*float64(len(took))))].Microseconds()) / 1000
	}
	b.ReportMetric(ms(.50), name+"-p50-ms")
	b.ReportMetric(ms(.99), name+"-p99-ms")
	b.ReportMetric(ms(1), name+"-max-ms")
}

// next times the step at every node, alone and with all that was done before
// thought through again, as a page does it. An iteration is one node, the least
// of three times, so that what else the machine does counts for little.
func next(b *testing.B, s *setup.Setup, m *Model, list [][]Done) {
	b.Helper()
	care := steady(Care{})
	var alone, replayed []time.Duration
	i := 0
	for b.Loop() {
		step, all := time.Hour, time.Hour
		for range 3 {
			begin := time.Now()
			d, err := m.Think(care, list[i%len(list)])
			if err != nil {
				b.Fatal(err)
			}
			thought := time.Now()
			d.Next()
			end := time.Now()
			step, all = min(step, end.Sub(thought)), min(all, end.Sub(begin))
		}
		alone, replayed = append(alone, step), append(replayed, all)
		i++
	}
	times(b, "next", alone)
	times(b, "think-and-next", replayed)
	b.ReportMetric(float64(len(list)), "nodes")
	b.ReportMetric(float64(len(m.Causes)), "causes")
	b.ReportMetric(float64(len(s.Chain)), "parts")
}

func model(b *testing.B, s *setup.Setup) *Model {
	b.Helper()
	m, err := NewModel(s, nil)
	if err != nil {
		b.Fatal(err)
	}
	return m
}

// One core, pairs on, over the nodes of the tree of every single fault and
// every pair: run with -benchtime 600x, so
// that every node comes once.
func BenchmarkNext(b *testing.B) {
	for _, s := range demos() {
		m := model(b, s.Setup)
		list := sample(nodes(b, s.Setup, m, everyCause(s.Setup, true)))
		b.Run(s.name, func(b *testing.B) { next(b, s.Setup, m, list) })
	}
}

func BenchmarkNextByParts(b *testing.B) {
	for _, parts := range []int{8, 14, 20} {
		s := randomSetup(1000, parts)
		m := model(b, s)
		list := sample(nodes(b, s, m, everyCause(s, false)))
		b.Run(fmt.Sprint(parts), func(b *testing.B) { next(b, s, m, list) })
	}
}

// BenchmarkModel is what a set-up costs once, and keeps.
func BenchmarkModel(b *testing.B) {
	list := demos()
	for _, parts := range []int{8, 14, 20} {
		list = append(slices.Clone(list), named{fmt.Sprintf("%d-parts", parts), randomSetup(1000, parts)})
	}
	for _, s := range list {
		b.Run(s.name, func(b *testing.B) {
			var before, after runtime.MemStats
			runtime.GC()
			runtime.ReadMemStats(&before)
			kept := model(b, s.Setup)
			runtime.GC()
			runtime.ReadMemStats(&after)
			for b.Loop() {
				model(b, s.Setup)
			}
			b.ReportMetric(float64(int64(after.HeapAlloc)-int64(before.HeapAlloc))/1e6, "MB")
			b.ReportMetric(float64(len(kept.Causes)), "causes")
		})
	}
}
