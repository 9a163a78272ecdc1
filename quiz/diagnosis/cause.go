package diagnosis

import (
	"slices"
	"strings"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
)

// Cause is what may be wrong: nothing, one fault, or two.
type Cause struct {
	Faults []setup.Fault
	Prior  float64
}

// key names a set of faults whatever their order.
func key(faults []setup.Fault) string {
	names := make([]string, len(faults))
	for i, f := range faults {
		names[i] = f.Part + "=" + string(f.Mode)
	}
	slices.Sort(names)
	return strings.Join(names, " ")
}

// Priors are the chances of a mode of one part of its kind, where they are not
// those of setup.Known.
type Priors map[PriorKey]float64

// PriorKey is a mode of a kind.
type PriorKey struct {
	Kind setup.Kind
	Mode setup.Mode
}

const (
	nothing   = .03 // the prior of nothing wrong at all, beside a misread panel (common practice: 10 to 15 % together)
	unrelated = .05 // two faults that have nothing to do with each other: the share of the product of their priors (common practice, no source)
)

// causes lists nothing, every single fault, and every pair; those that come
// together have the prior of the data.
func causes(s *setup.Setup, priors Priors) []Cause {
	out := []Cause{{Prior: nothing}}
	singles := s.Faults()
	total := nothing
	chance := func(f setup.Fault) float64 {
		kind, _ := s.PartKind(f.Part)
		if p, ok := priors[PriorKey{kind, f.Mode}]; ok {
			return p
		}
		known, _ := setup.Of(kind, f.Mode)
		return known.Prior
	}
	for _, f := range singles {
		p := chance(f)
		total += p
		out = append(out, Cause{[]setup.Fault{f}, p})
	}
	for i := range out {
		out[i].Prior /= total
	}
	pairs := map[string]float64{}
	for _, t := range s.Pairs() {
		pairs[key(t.Faults[:])] = t.Prior / total
	}
	for i, a := range singles {
		for j := i + 1; j < len(singles); j++ {
			b := singles[j]
			if a.Part == b.Part || a.Mode == setup.Misread || b.Mode == setup.Misread {
				continue
			}
			both := []setup.Fault{a, b}
			p, ok := pairs[key(both)]
			if !ok {
				p = unrelated * out[i+1].Prior * out[j+1].Prior
			}
			out = append(out, Cause{both, p})
		}
	}
	return out
}

// Model is what every check would show under every cause of a set-up, mains
// plugged in or not. It is made once and only read, so many may ask it at once.
type Model struct {
	Setup   *setup.Setup
	Causes  []Cause // nothing first, then the single faults, then the pairs
	Checks  []Check
	Misread float64 // how often a look is taken for another, 0 to 1
	Untold  float64 // how often it cannot be told

	single  int // causes up to here are nothing or single
	index   map[string]int
	results []Result // by code
	shows   [2][]uint8
	kinds   [2][]float64 // how many results each check can have
	fate    []fate       // what is right to end with, by cause
	left    [][4]int     // what is left of each cause, by which of its faults are gone
	cure    [][]cure     // by check and code
	told    [][]Result   // what each check can show
	spares  []string     // all that any cause may want
}

// The worlds of a model.
const (
	away   = iota // mains is not plugged in
	atWall        // it is
)

// NewModel computes a set-up's model. Priors may be nil. Errors as
// circuit.Solve.
func NewModel(s *setup.Setup, priors Priors) (*Model, error) {
	m := &Model{Setup: s, Causes: causes(s, priors), Checks: Checks(s), Misread: .05, Untold: .10, index: map[string]int{}}
	codes := map[Result]uint8{}
	for world := range m.shows {
		m.shows[world] = make([]uint8, len(m.Causes)*len(m.Checks))
	}
	for i, c := range m.Causes {
		m.index[key(c.Faults)] = i
		if len(c.Faults) < 2 {
			m.single = i + 1
		}
		for world := range m.shows {
			at := circuit.Usual(c.Faults...)
			at.Mains = world == atWall
			st, err := circuit.Solve(s, at)
			if err != nil {
				return nil, err
			}
			for k, check := range m.Checks {
				r := check.Shows(s, &st)
				code, ok := codes[r]
				if !ok {
					code = uint8(len(m.results))
					codes[r], m.results = code, append(m.results, r)
				}
				m.shows[world][i*len(m.Checks)+k] = code
			}
		}
	}
	m.derive()
	return m, nil
}

// derive finds what follows from the causes and what they show.
func (m *Model) derive() {
	m.count()
	m.fate, m.left, m.cure = m.fates(), m.remains(), m.cures()
}

// With is the same model with other priors: what is seen of a cause does not
// depend on how likely it is.
func (m *Model) With(priors Priors) *Model {
	other := *m
	other.Causes = causes(m.Setup, priors)
	return &other
}

// count finds what each check can show, and how many that are in each world.
func (m *Model) count() {
	m.told = make([][]Result, len(m.Checks))
	for world := range m.shows {
		m.kinds[world] = make([]float64, len(m.Checks))
		for k := range m.Checks {
			seen := [256]bool{}
			for i := range m.Causes {
				if code := m.shows[world][i*len(m.Checks)+k]; !seen[code] {
					seen[code] = true
					m.kinds[world][k]++
					if r := m.results[code]; !slices.Contains(m.told[k], r) {
						m.told[k] = append(m.told[k], r)
					}
				}
			}
		}
	}
}

func (m *Model) show(world, cause, check int) uint8 { return m.shows[world][cause*len(m.Checks)+check] }

// check is the index of a check by id, −1 if there is none.
func (m *Model) check(id string) int {
	return slices.IndexFunc(m.Checks, func(c Check) bool { return c.ID == id })
}

// without is the cause that is left when a part's faults of these modes are
// gone.
func (m *Model) without(cause int, part string, modes []setup.Mode) int {
	gone := 0
	for i, f := range m.Causes[cause].Faults {
		if f.Part == part && slices.Contains(modes, f.Mode) {
			gone |= 1 << i
		}
	}
	return m.left[cause][gone]
}

// remains finds what is left of every cause when none, one or all of its faults
// are gone.
func (m *Model) remains() [][4]int {
	out := make([][4]int, len(m.Causes))
	for i, c := range m.Causes {
		out[i][0] = i
		if len(c.Faults) == 2 {
			out[i][1], out[i][2] = m.index[key(c.Faults[1:])], m.index[key(c.Faults[:1])]
		}
	}
	return out // nothing is cause 0
}

// cure is what a caregiver may do about what is seen at a part, and the modes
// it takes away; an empty verb is nothing.
type cure struct {
	verb  Verb
	modes []setup.Mode
}

// cureFor is the remedy for what a check shows.
func (m *Model) cureFor(check int, r Result) *cure { return &m.cure[check][slices.Index(m.results, r)] }

// mendable tells whether a check can show what a remedy is for.
func (m *Model) mendable(check int) bool {
	return slices.ContainsFunc(m.cure[check], func(c cure) bool { return c.verb != "" })
}

// cures finds the remedy for every check and code.
func (m *Model) cures() [][]cure {
	out := make([][]cure, len(m.Checks))
	for k, c := range m.Checks {
		for _, r := range m.results {
			verb, modes := m.remedyFor(c.Part, r)
			if c.Contacts {
				verb = "" // the plug is out already
			}
			out[k] = append(out[k], cure{verb, modes})
		}
	}
	return out
}
