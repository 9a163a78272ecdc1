package main

import (
	"strings"
	"testing"
)

func TestSteps(t *testing.T) {
	tests := map[string]struct {
		steps    []step
		total    counts
		contains []string
	}{
		"a failing step does not stop the next": {
			steps:    []step{{name: "one", do: gives(failed("it broke\nhere"))}, {name: "two", do: gives(passed(""))}},
			total:    counts{passed: 1, failed: 1},
			contains: []string{"one          FAIL", "\n    it broke\n    here\n", "two          ok"},
		},
		"tests and steps add up": {
			steps: []step{
				{name: "one", do: gives(passed(""))},
				{name: "two", do: gives(result{counts: counts{passed: 40, skipped: 2}, output: "chatter"})},
			},
			total:    counts{passed: 41, skipped: 2},
			contains: []string{"two          ok"},
		},
		"a skipped step says why": {
			steps:    []step{{name: "one", do: gives(skipped("no network"))}},
			total:    counts{skipped: 1},
			contains: []string{"one          skip", "no network"},
		},
		"installing is told in words before the step ends": {
			steps:    []step{{name: "one", do: func(c *check) result { c.say("installing ngspice"); return passed("") }}},
			total:    counts{passed: 1},
			contains: []string{"one          installing ngspice\none          ok"},
		},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			var out strings.Builder
			if total := (&check{}).runSteps(test.steps, &out); total != test.total {
				t.Errorf("counted %v, want %v", total, test.total)
			}
			for _, want := range test.contains {
				if !strings.Contains(out.String(), want) {
					t.Errorf("no %q in:\n%s", want, &out)
				}
			}
			if strings.Contains(out.String(), "chatter") {
				t.Errorf("a step that passed shows its output:\n%s", &out)
			}
		})
	}
}

func gives(r result) func(*check) result { return func(*check) result { return r } }

func TestLastLine(t *testing.T) {
	if got, want := (counts{passed: 12, failed: 0, skipped: 3}).String(), "12 passed, 0 failed, 3 skipped"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestChoose(t *testing.T) {
	tests := map[string]struct {
		only string
		want string // names, or the start of what is said
	}{
		"two steps, in the order of the house": {"vet,modules", "modules vet"},
		"a name that no step has":              {"vet,nonsense", `no step is called "nonsense"`},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			chosen, err := choose(test.only)
			var names []string
			for _, s := range chosen {
				names = append(names, s.name)
			}
			got := strings.Join(names, " ")
			if err != nil {
				got = err.Error()
			}
			if !strings.HasPrefix(got, test.want) {
				t.Errorf("got %q, want %q", got, test.want)
			}
		})
	}
	if all, err := choose(""); err != nil || len(all) != len(steps) {
		t.Errorf("without names: %d steps of %d, %v", len(all), len(steps), err)
	}
}
