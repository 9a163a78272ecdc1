package diagnosis

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"lampwright/lessons/setup"
)

// byHand is a model of causes and checks that no circuit is behind.
func byHand(s *setup.Setup, causes []Cause, checks []Check, shows func(cause, check int) Result) *Model {
	m := &Model{Setup: s, Causes: causes, Checks: checks, index: map[string]int{}}
	for world := range m.shows {
		for i := range causes {
			for k := range checks {
				r := shows(i, k)
				if !slices.Contains(m.results, r) {
					m.results = append(m.results, r)
				}
				m.shows[world] = append(m.shows[world], uint8(slices.Index(m.results, r)))
			}
		}
	}
	for i, c := range causes {
		m.index[key(c.Faults)] = i
		if len(c.Faults) < 2 {
			m.single = i + 1
		}
	}
	m.derive()
	return m
}

// switches is a model in which exactly one of so many switches is off: a look
// tells whether it is, and a hand puts it on.
func switches(p []float64) *Model {
	s := &setup.Setup{}
	causes, checks := []Cause{{}}, []Check{{ID: setup.PanelID, Part: setup.PanelID}}
	for i := range p {
		id := fmt.Sprintf("switch-%d", i+1)
		s.Ventilator.Inlets = append(s.Ventilator.Inlets, setup.Inlet{ID: fmt.Sprintf("inlet-%d", i+1), Switch: id})
		causes = append(causes, Cause{[]setup.Fault{{Part: id, Mode: setup.Off}}, p[i]})
		checks = append(checks, Check{ID: id, Part: id})
	}
	return byHand(s, causes, checks, func(cause, check int) Result {
		switch {
		case check == 0 && cause == 0:
			return Result(setup.Chair)
		case check == 0:
			return Result(setup.Internal)
		case check == cause:
			return Result(setup.LookOff)
		}
		return Result(setup.LookSound)
	})
}

// One fault, independent perfect checks: from the power reference, after
// Kadane and Simon, brute-forced over all orders.
func TestLeastCostOrder(t *testing.T) {
	for _, c := range []struct {
		name        string
		p, cost     []float64
		order       []int
		best, worst float64
		others      map[float64][]int
	}{
		{"four checks", []float64{.45, .25, .20, .10}, []float64{9, 1, 2, 4}, []int{2, 3, 1, 4}, 7.85, 13.25, map[float64][]int{10.55: {1, 2, 3, 4}, 8.75: {2, 3, 4, 1}}},
		{"three checks", []float64{.5, .3, .2}, []float64{10, 2, 1}, []int{3, 2, 1}, 7.6, 0, map[float64][]int{11.2: {1, 2, 3}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			m := switches(c.p)
			var all []int
			var b []mass
			for i, p := range c.p {
				all, b = append(all, i+1), append(b, mass{view: i + 1, p: p})
			}
			on := Seconds(m.Setup, Action{SwitchOn, "switch-1"}) // every order pays it once
			s := func(open []int) *search {
				return &search{m: m, open: open, costs: append([]float64{0}, c.cost...), wrong: neverWrong}
			}
			var price func(order []int) func([]mass, bool) float64
			price = func(order []int) func([]mass, bool) float64 {
				return func(b []mass, carries bool) float64 {
					if len(order) == 0 || b[0].fixed {
						return 0
					}
					return s(all).look(b, order[0], carries, price(order[1:]))
				}
			}
			near := func(name string, got, want float64) {
				t.Helper()
				if math.Abs(got-want) > 1e-9 {
					t.Errorf("%s costs %.4f, want %.2f", name, got, want)
				}
			}
			for want, order := range c.others {
				near(fmt.Sprint(order), price(order)(b, false)-on, want)
			}
			var best []int
			least, worst := math.Inf(1), 0.0
			for order := range permutations(all) {
				cost := price(order)(b, false) - on
				if worst = max(worst, cost); cost < least-1e-12 {
					least, best = cost, slices.Clone(order)
				}
			}
			near("the least of all orders", least, c.best)
			if c.worst > 0 {
				near("the worst of all orders", worst, c.worst)
			}
			if !slices.Equal(best, c.order) {
				t.Errorf("the least of all orders is %v, want %v", best, c.order)
			}

			near("dynamic programming", s(all).least(b, map[string][2]float64{})[1]-on, c.best)

			var order []int
			open, left := slices.Clone(all), b
			for len(open) > 0 {
				k, _ := s(open).next(left, false)
				if k < 0 {
					t.Errorf("after %v the search stops, and %d switches have not been looked at", order, len(open))
					break
				}
				order = append(order, k)
				open = slices.DeleteFunc(open, func(x int) bool { return x == k })
				left = slices.DeleteFunc(slices.Clone(left), func(x mass) bool { return x.view == k })
			}
			if !slices.Equal(order, c.order) {
				t.Errorf("the search looks in the order %v, want %v", order, c.order)
			}
		})
	}
}

func permutations(of []int) func(yield func([]int) bool) {
	return func(yield func([]int) bool) {
		order := slices.Clone(of)
		var from func(i int) bool
		from = func(i int) bool {
			if i == len(order) {
				return yield(order)
			}
			for j := i; j < len(order); j++ {
				order[i], order[j] = order[j], order[i]
				if !from(i + 1) {
					return false
				}
				order[i], order[j] = order[j], order[i]
			}
			return true
		}
		from(0)
	}
}

// The polybox of de Kleer and Williams, 1987, as the power reference has it:
// three multipliers and two adders, each wrong with .01, and the outputs F = 10
// and G = 12, which leave the conflicts {A1, M1, M2} and {A1, A2, M1, M3}.
func TestPolybox(t *testing.T) {
	parts := []string{"A1", "A2", "M1", "M2", "M3"}
	var causes []Cause
	for set := range 1 << len(parts) {
		c := Cause{Prior: 1}
		for i, part := range parts {
			if set>>i&1 == 1 {
				c.Faults = append(c.Faults, setup.Fault{Part: part, Mode: setup.Failed})
				c.Prior *= .01
			} else {
				c.Prior *= .99
			}
		}
		causes = append(causes, c)
	}
	has := func(faults []setup.Fault, parts ...string) bool {
		return slices.ContainsFunc(faults, func(f setup.Fault) bool { return slices.Contains(parts, f.Part) })
	}
	checks := []Check{{ID: setup.PanelID, Part: setup.PanelID}, {ID: "outputs", Part: "outputs"}}
	const measured, other Result = "F=10 G=12", "else"
	m := byHand(&setup.Setup{}, causes, checks, func(cause, check int) Result {
		f := causes[cause].Faults
		switch {
		case check == 0:
			return Result(setup.Internal)
		case has(f, "A1", "M1", "M2") && has(f, "A1", "A2", "M1", "M3"):
			return measured
		}
		return other
	})
	d, err := m.Think(Care{}, []Done{{Check: "outputs", Shows: measured}})
	if err != nil {
		t.Fatal(err)
	}

	// Causes leaves out what is below one in a thousand, so each part may lack
	// the eleven rarest of the sixteen candidates that hold it.
	ranked := d.Causes()
	listed, exact := map[string]float64{}, map[string]float64{}
	for _, r := range ranked {
		for _, f := range r.Faults {
			listed[f.Part] += r.P
		}
	}
	total := weight(d.b)
	for _, x := range d.b {
		for _, f := range m.Causes[x.view].Faults {
			exact[f.Part] += x.p / total
		}
	}
	for part, want := range map[string]float64{"A1": .49764, "M1": .49764, "M2": .01961, "M3": .01478, "A2": .01478} {
		if math.Abs(exact[part]-want) > 5e-6 {
			t.Errorf("%s has %.5f over all candidates, want %.5f", part, exact[part], want)
		}
		if math.Abs(listed[part]-want) > 5e-4 {
			t.Errorf("%s has %.5f over those listed, want %.5f", part, listed[part], want)
		}
	}

	var minimal []string
	for _, r := range ranked {
		if !slices.ContainsFunc(ranked, func(o Ranked) bool {
			return len(o.Faults) < len(r.Faults) && !slices.ContainsFunc(o.Faults, func(f setup.Fault) bool { return !slices.Contains(r.Faults, f) })
		}) {
			minimal = append(minimal, strings.ReplaceAll(key(r.Faults), "=failed", ""))
		}
	}
	slices.Sort(minimal)
	if want := []string{"A1", "A2 M2", "M1", "M2 M3"}; !slices.Equal(minimal, want) {
		t.Errorf("minimal diagnoses %q, want %q", minimal, want)
	}
}
