package outing

import (
	"fmt"
	"slices"
	"testing"

	"lampwright/lessons/setup"
)

// day is twenty-four hours of an outing that finds mains twice.
func day(s *setup.Setup) Plan {
	return fresh(s,
		drive(2), stand(4), drive(2), atMains(2, true, true),
		drive(1), stand(6), drive(3), atMains(1, true, false), stand(4), drive(1), atMains(4.8, true, true),
	)
}

func benchmarkRun(b *testing.B, s *setup.Setup, p Plan) {
	b.Helper()
	b.ReportAllocs()
	steps := 0
	for b.Loop() {
		steps = track(b, s, p, true).Steps
	}
	b.ReportMetric(float64(steps), "points/op")
}

func BenchmarkOuting24h(b *testing.B) {
	s := demo(b, "chair-12")
	benchmarkRun(b, s, day(s))
}

func BenchmarkOuting24hHunting(b *testing.B) {
	s := demo(b, "chair-12")
	benchmarkRun(b, s, day(s).with(b, s, "joint-battery=half-home:3"))
}

func BenchmarkForecast(b *testing.B) {
	s := demo(b, "chair-12")
	p := day(s)
	b.ReportAllocs()
	for b.Loop() {
		forecast(b, s, p)
	}
}

// BenchmarkParts grows the chain: the points stay, each costs its parts.
func BenchmarkParts(b *testing.B) {
	for _, parts := range []int{12, 24, 48} {
		b.Run(fmt.Sprint(parts), func(b *testing.B) {
			s := demo(b, "chair-12")
			last := len(s.Chain) - 1
			plug := s.Chain[last]
			s.Chain = slices.Clone(s.Chain[:last])
			for i := len(s.Chain) + 1; i < parts; i++ {
				s.Chain = append(s.Chain, setup.Part{ID: fmt.Sprint("joint-", i), Joint: &setup.Joint{Contact: .0005, Rating: 15}})
			}
			s.Chain = append(s.Chain, plug)
			benchmarkRun(b, s, day(s))
		})
	}
}

// BenchmarkEvents grows the number of legs in the same day.
func BenchmarkEvents(b *testing.B) {
	for _, legs := range []int{6, 12, 24} {
		b.Run(fmt.Sprint(legs), func(b *testing.B) {
			s := demo(b, "chair-12")
			var ls []Leg
			for i := range legs {
				hours := 24 / float64(legs)
				ls = append(ls, []Leg{drive(hours), stand(hours), atMains(hours, true, true)}[i%3])
			}
			benchmarkRun(b, s, fresh(s, ls...))
		})
	}
}
