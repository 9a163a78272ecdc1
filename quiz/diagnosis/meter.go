package diagnosis

import (
	"cmp"
	"math"
	"slices"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
)

// Band is what a meter should read at a node under a cause, from a breath's
// top to nothing drawn, and from a chair battery half full to a full one.
type Band struct{ Least, Most float64 } // V

// fits allows a little below zero where nothing is expected: so do meters.
func (b Band) fits(volts float64) bool {
	if b.Least == 0 {
		volts = math.Abs(volts)
	}
	return volts >= b.Least && volts <= b.Most
}

// Node is a place to measure, after the part of its id.
type Node struct {
	ID    string
	Bands []Band  // of the likeliest causes, in their order
	Bits  float64 // expected information, were no reading ever wrong
}

// Volts are what a meter read at a node.
type Volts struct {
	Node  string
	Volts float64
}

// weighed is how many of the likeliest causes decide where to measure.
const weighed = 8

// A reading tells, but a probe slips or the wrong half of a joint is touched
// (our own figures).
const (
	readFits  = .9
	readWrong = 1 - readFits
)

// Meter is what a meter would read of a set-up under each of several causes.
type Meter struct {
	causes []Ranked
	nodes  []string
	bands  [][]Band // by cause and node
}

// NewMeter finds what to expect at every node under each of the causes, given
// likeliest first, mains plugged in or not. Errors as circuit.Readings.
func NewMeter(s *setup.Setup, causes []Ranked, mains bool) (*Meter, error) {
	m := &Meter{causes: causes}
	for _, cause := range causes {
		var row []Band
		for i, charge := range []float64{.5, 1} {
			at := circuit.Usual(cause.Faults...)
			at.Mains, at.Chair = mains, &charge
			readings, err := circuit.Readings(s, at)
			if err != nil {
				return nil, err
			}
			if m.nodes == nil {
				for _, r := range readings {
					m.nodes = append(m.nodes, r.ID)
				}
			}
			if i == 0 {
				row = slices.Repeat([]Band{{math.Inf(1), math.Inf(-1)}}, len(m.nodes))
			}
			for _, r := range readings {
				if k := slices.Index(m.nodes, r.ID); k >= 0 {
					row[k].Least, row[k].Most = math.Min(row[k].Least, math.Min(r.Least, r.Most)), math.Max(row[k].Most, math.Max(r.Least, r.Most))
				}
			}
		}
		m.bands = append(m.bands, row)
	}
	return m, nil
}

// Places lists every node of the set-up, along the chain and then the mains
// side.
func (m *Meter) Places() []string { return slices.Clone(m.nodes) }

// Nodes lists where to measure, the most telling first: by the expected
// information over the eight likeliest causes, then by how far apart the two
// likeliest are, then along the chain. Nodes that tell nothing are left out.
func (m *Meter) Nodes() []Node {
	top := min(weighed, len(m.causes))
	apart := map[string]float64{}
	var out []Node
	for k, id := range m.nodes {
		n := Node{ID: id}
		for i := range top {
			n.Bands = append(n.Bands, m.bands[i][k])
		}
		if n.Bits = m.bits(n.Bands); n.Bits < 1e-6 {
			continue
		}
		if top > 1 {
			a, b := n.Bands[0], n.Bands[1]
			apart[id] = math.Max(0, math.Max(a.Least-b.Most, b.Least-a.Most))
		}
		out = append(out, n)
	}
	slices.SortStableFunc(out, func(a, b Node) int {
		if math.Abs(a.Bits-b.Bits) > 1e-6 {
			return cmp.Compare(b.Bits, a.Bits)
		}
		if math.Abs(apart[a.ID]-apart[b.ID]) > 1 { // volts: less than that is the same to who measures
			return cmp.Compare(apart[b.ID], apart[a.ID])
		}
		return 0
	})
	return out
}

// Groups parts bands into those that meet, directly or through others, and
// tells each one's group, from the lowest volts up.
func Groups(bands []Band) (group []int, count int) {
	order := make([]int, len(bands))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(bands[a].Least, bands[b].Least) })
	group = make([]int, len(bands))
	reach := math.Inf(-1)
	for _, i := range order {
		if bands[i].Least > reach {
			count++
		}
		reach = math.Max(reach, bands[i].Most)
		group[i] = count - 1
	}
	return group, count
}

// bits is the entropy of which group of bands a reading would fall in.
func (m *Meter) bits(bands []Band) float64 {
	group, count := Groups(bands)
	p := make([]float64, count)
	total := 0.0
	for i, g := range group {
		p[g] += m.causes[i].P
		total += m.causes[i].P
	}
	bits := 0.0
	for _, x := range p {
		if x > 0 {
			bits -= x / total * math.Log2(x/total)
		}
	}
	return bits
}

// Reweigh ranks the causes anew by what was read, each reading an observation
// of its own: one within a cause's band fits it, any other is one of the
// readings that went wrong, spread over the other groups of bands. Readings at
// a node there is not tell nothing.
func (m *Meter) Reweigh(readings ...Volts) []Ranked {
	out := slices.Clone(m.causes)
	for _, r := range readings {
		k := slices.Index(m.nodes, r.Node)
		if k < 0 {
			continue
		}
		column := make([]Band, len(m.bands))
		for i := range m.bands {
			column[i] = m.bands[i][k]
		}
		_, count := Groups(column)
		total := 0.0
		for i := range out {
			if column[i].fits(r.Volts) {
				out[i].P *= readFits
			} else {
				out[i].P *= readWrong / float64(max(1, count-1))
			}
			total += out[i].P
		}
		for i := range out {
			out[i].P /= total
		}
	}
	slices.SortStableFunc(out, func(a, b Ranked) int { return cmp.Compare(b.P, a.P) })
	return out
}

// Differs tells, for each thing done, whether it showed something else than it
// would have under a cause of this model. What could not be told differs from
// nothing.
func (m *Model) Differs(faults []setup.Fault, done []Done) []bool {
	out := make([]bool, len(done))
	t := truth{view: m.index[key(faults)]}
	for i, x := range done {
		switch k := m.check(x.Check); {
		case x.Check == "":
			t.do(m, Step{Action: x.Action}, false)
		case k >= 0 && x.Shows != Unclear:
			out[i] = m.results[m.show(t.world, t.view, k)] != x.Shows
		}
	}
	return out
}
