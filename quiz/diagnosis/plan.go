package diagnosis

import (
	"math"
	"slices"

	"lampwright/lessons/setup"
)

// mass is what is believed of a cause: the cause that is left of it after the
// remedies so far, whether any of them helped, and how likely it is.
type mass struct {
	view  int
	fixed bool
	fine  bool // the set-up worked before any remedy
	p     float64
}

// Wrong is what a wrong ending costs, in seconds: the wrong part comes, or
// someone rides on a supply that fails again (our own figure).
const Wrong = 4600

// The endings among which the search chooses, as bits.
const (
	solved = 1 << iota
	untrusted
	technologist
	vendor
)

// fate is what is right to end with, for a cause.
type fate struct {
	bits   [2]uint8 // by world
	spares []string // any of them will do
	free   bool     // one of its faults wants no spare
}

// fates finds, for every cause, the endings that are right: solved if nothing
// is left, a call to whoever may fix what is left, with its spare; and where
// nothing shows and the set-up works, working but not trusted.
func (m *Model) fates() []fate {
	out := make([]fate, len(m.Causes))
	for i, c := range m.Causes {
		f := &out[i]
		for world := range f.bits {
			f.bits[world] = m.rights(i, c, world)
		}
		for _, fault := range c.Faults {
			kind, _ := m.Setup.PartKind(fault.Part)
			known, _ := setup.Of(kind, fault.Mode)
			switch _, can := m.remedy(fault.Part, fault.Mode); {
			case known.Spare != "" && !slices.Contains(f.spares, known.Spare):
				f.spares = append(f.spares, known.Spare)
			case known.Spare == "" && known.Fixer != setup.Caregiver && !can:
				f.free = true
			}
		}
	}
	return out
}

func (m *Model) rights(i int, c Cause, world int) uint8 {
	bits, own, remediable := uint8(0), 0, 0
	for _, f := range c.Faults {
		kind, _ := m.Setup.PartKind(f.Part)
		known, _ := setup.Of(kind, f.Mode)
		_, can := m.remedy(f.Part, f.Mode)
		switch {
		case can:
			remediable++
		case known.Fixer == setup.Technologist:
			bits |= technologist
			if f.Mode == setup.NotCharging { // on mains the level tells, in hours
				own++
			}
		case known.Fixer == setup.ChairVendor:
			bits |= vendor
		default: // charge it, turn it up, read it again
			own++
		}
	}
	switch {
	case m.latent(i, world):
		return bits | untrusted | solvedIf(len(c.Faults) == own)
	case own > 0 && bits != 0: // it is charged first, and then seen again
		return bits | untrusted
	case bits == 0 && remediable == 0 && m.rides(i) && m.works(i, world):
		return untrusted | solved
	case bits == 0 && remediable == 0: // spent: mains, and no outing; a call helps too
		return untrusted | technologist | vendor
	case bits == 0 && m.rides(i) && m.works(i, world): // what is off does not matter here
		return untrusted
	case bits == 0:
		return 0 // the remedy first
	}
	return bits
}

func solvedIf(ok bool) uint8 {
	if ok {
		return solved
	}
	return 0
}

// works tells whether an outside source carries, as the panel says.
func (m *Model) works(i, world int) bool {
	source := m.results[m.show(world, i, 0)].Source()
	return source == setup.Mains || source == setup.Chair
}

// rides tells whether the chair carries without mains: what is put right on
// mains is right only then.
func (m *Model) rides(i int) bool {
	return m.results[m.show(away, i, 0)].Source() == setup.Chair
}

// latent tells whether a cause does not show anywhere, and the set-up works.
func (m *Model) latent(i, world int) bool {
	if !m.works(i, world) {
		return false
	}
	for k := 1; k < len(m.Checks); k++ {
		if m.Checks[k].Contacts || world == away && onMainsSide(m.Setup, m.Checks[k].Part) {
			continue
		}
		if m.show(world, i, k) != m.show(world, 0, k) {
			return false
		}
	}
	return true
}

// remedy is what a caregiver may do about a mode of a part.
func (m *Model) remedy(part string, mode setup.Mode) (Verb, bool) {
	kind, _ := m.Setup.PartKind(part)
	switch mode {
	case setup.Off, setup.Asleep:
		return SwitchOn, true
	case setup.HalfHome, setup.Open:
		if kind == setup.KindPlug || kind == setup.KindCord && mode == setup.HalfHome || kind == setup.KindJoint && m.Setup.Policy.RemateJoint {
			return PushHome, true
		}
	}
	return "", false
}

// remedyFor is what a caregiver may do about what is seen at a part, and the
// modes it takes away.
func (m *Model) remedyFor(part string, seen Result) (verb Verb, modes []setup.Mode) {
	kind, _ := m.Setup.PartKind(part)
	for _, k := range setup.Known {
		if k.Kind != kind || Result(k.Look) != seen {
			continue
		}
		if v, ok := m.remedy(part, k.Mode); ok {
			verb, modes = v, append(modes, k.Mode)
		}
	}
	return verb, modes
}

// search is a choice of the next step: what may be looked at now, what each
// costs, and what is right for each cause.
type search struct {
	m     *Model
	world int
	fates []fate
	open  []int     // checks that may be looked at
	costs []float64 // of every check
	panel float64   // what reading it after a remedy costs
	wrong float64   // what a wrong ending costs
}

// ending is one of the four that a search may choose, and how likely it is
// right.
type ending struct {
	verb   Verb
	spares [2]string
	right  float64 // 0 to 1
	cost   float64 // its own, and what it costs to be wrong
}

// end is the best ending for what is believed.
func (s *search) end(b []mass) ending {
	best := ending{cost: math.Inf(1)}
	for _, e := range s.endings(b) {
		if e.cost < best.cost {
			best = e
		}
	}
	return best
}

// endings are the four, each with how likely it is right.
func (s *search) endings(b []mass) [4]ending {
	total := 0.0
	var direct [2]float64 // solved, untrusted
	var calls [2]float64  // those whose spare does not matter
	var spares [2]map[string]float64
	for _, x := range b {
		total += x.p
		f := &s.fates[x.view]
		bits := f.bits[s.world]
		if x.fixed && s.m.rides(x.view) && s.m.works(x.view, s.world) {
			bits = solved // its cause was found and put right
			if x.fine {
				bits |= untrusted // which was not why
			}
		}
		if bits&solved != 0 {
			direct[0] += x.p
		}
		if bits&untrusted != 0 {
			direct[1] += x.p
		}
		for i, bit := range []uint8{technologist, vendor} {
			switch {
			case bits&bit == 0:
			case f.free || len(f.spares) == 0:
				calls[i] += x.p
			default:
				if spares[i] == nil {
					spares[i] = map[string]float64{}
				}
				spares[i][f.spares[0]] += x.p
			}
		}
	}
	priced := func(e ending, cost float64) ending {
		e.right /= total
		e.cost = cost + s.wrong*(1-e.right)
		return e
	}
	out := [4]ending{priced(ending{verb: Solved, right: direct[0]}, 0), priced(ending{verb: Untrusted, right: direct[1]}, 0)}
	for i, verb := range []Verb{CallTech, CallChair} {
		e := ending{verb: verb, right: calls[i]}
		for k := range e.spares {
			most := 0.0
			for name, p := range spares[i] {
				if name != e.spares[0] && (p > most || p == most && (e.spares[k] == "" || name < e.spares[k])) {
					e.spares[k], most = name, p
				}
			}
			e.right += most
		}
		out[2+i] = priced(e, CallSeconds)
	}
	return out
}

// split parts a belief by what a check would show.
func (s *search) split(b []mass, check int) [][]mass {
	var sums [256]int
	for _, x := range b {
		sums[s.m.show(s.world, x.view, check)]++
	}
	var at [256]int
	out := make([][]mass, 0, 8)
	room := make([]mass, 0, len(b))
	for _, x := range b {
		code := s.m.show(s.world, x.view, check)
		if at[code] == 0 {
			n := len(room)
			room = room[:n+sums[code]]
			out = append(out, room[n:n:n+sums[code]])
			at[code] = len(out)
		}
		out[at[code]-1] = append(out[at[code]-1], x)
	}
	return out
}

func weight(b []mass) float64 {
	sum := 0.0
	for _, x := range b {
		sum += x.p
	}
	return sum
}

// seen is what a group that came of a split was seen to show.
func (s *search) seen(group []mass, check int) Result {
	return s.m.results[s.m.show(s.world, group[0].view, check)]
}

// mended is a belief after a remedy, parted by what the panel then reads.
func (s *search) mended(b []mass, part string, modes []setup.Mode) [][]mass {
	after := make([]mass, len(b))
	for i, x := range b {
		view := s.m.without(x.view, part, modes)
		after[i] = mass{view, x.fixed || view != x.view, x.fine, x.p}
	}
	return s.split(after, 0)
}

// afterwards is what follows a look for a group that showed the same: its
// remedy and another look at the panel, where what was seen has a remedy, and
// the groups that are told apart then.
func (s *search) afterwards(group []mass, check int) (groups [][]mass, seconds float64) {
	c := s.m.Checks[check]
	verb, modes := s.m.remedyFor(c.Part, s.seen(group, check))
	if verb == "" {
		return [][]mass{group}, 0
	}
	return s.mended(group, c.Part, modes), Seconds(s.m.Setup, Action{verb, c.Part}) + s.panel
}

// telling is the open check that is most telling for its seconds, −1 where
// none helps: least cost for the chance that it shows anything but what it
// shows when all is well. For one fault and perfect checks of one part each
// this is the order of Kadane and Simon.
func (s *search) telling(b []mass) int {
	best, least := -1, math.Inf(1)
	total := weight(b)
	for _, k := range s.open {
		usual, found := s.m.show(s.world, 0, k), 0.0
		for _, x := range b {
			if s.m.show(s.world, x.view, k) != usual {
				found += x.p
			}
		}
		if ratio := s.costs[k] * total / found; ratio < least && s.helps(b, k) {
			best, least = k, ratio
		}
	}
	return best
}

// quick is what a belief costs by going on with the most telling check, or
// ending where that is cheaper: an upper bound of the least cost, close to it.
func (s *search) quick(b []mass) float64 {
	stop := s.end(b).cost
	k := s.telling(b)
	if k < 0 || stop <= s.costs[k] {
		return stop
	}
	return math.Min(stop, s.look(b, k, s.quick))
}

// look is what a check costs, with what comes after it.
func (s *search) look(b []mass, check int, value func([]mass) float64) float64 {
	total := weight(b)
	cost := s.costs[check]
	for _, g := range s.split(b, check) {
		groups, more := s.afterwards(g, check)
		cost += weight(g) / total * more
		for _, left := range groups {
			cost += weight(left) / total * value(left)
		}
	}
	return cost
}

// next is the check of least expected cost, looked at with quick from there
// on; −1 where ending now is cheaper.
func (s *search) next(b []mass) (check int, cost float64) {
	check, cost = -1, s.end(b).cost
	for _, k := range s.open {
		if s.costs[k] >= cost || !s.helps(b, k) {
			continue
		}
		if c := s.look(b, k, s.quick); c < cost {
			check, cost = k, c
		}
	}
	return check, cost
}

// helps tells whether a check would part a belief at all, or show what a
// remedy is for.
func (s *search) helps(b []mass, check int) bool {
	first := s.m.show(s.world, b[0].view, check)
	return slices.ContainsFunc(b, func(x mass) bool { return s.m.show(s.world, x.view, check) != first }) || s.mends(b, check)
}

// mends tells whether a check shows what a remedy is for, the gate wanting a
// look before it.
func (s *search) mends(b []mass, check int) bool {
	verb, modes := s.m.remedyFor(s.m.Checks[check].Part, s.seen(b, check))
	return verb != "" && s.m.without(b[0].view, s.m.Checks[check].Part, modes) != b[0].view
}

// least is the least expected cost of single causes, with what being wrong
// costs and without it, by dynamic programming over what is still possible.
// What a remedy leaves of a single cause is nothing, so a belief is known by
// its causes.
func (s *search) least(b []mass, known map[[3]uint64][2]float64) [2]float64 {
	var id [3]uint64
	for _, x := range b {
		if x.fixed {
			return s.stop(b) // a single cause, and it is gone
		}
		id[x.view/64] |= 1 << (x.view % 64)
	}
	if v, ok := known[id]; ok {
		return v
	}
	best := s.stop(b)
	for _, k := range s.open {
		if s.costs[k] >= best[0] || !s.helps(b, k) {
			continue
		}
		here := [2]float64{s.costs[k], s.costs[k]}
		total := weight(b)
		for _, g := range s.split(b, k) {
			groups, more := s.afterwards(g, k)
			share := weight(g) / total
			here[0], here[1] = here[0]+share*more, here[1]+share*more
			for _, left := range groups {
				v := s.least(left, known)
				share := weight(left) / total
				here[0], here[1] = here[0]+share*v[0], here[1]+share*v[1]
			}
		}
		if here[0] < best[0] {
			best = here
		}
	}
	known[id] = best
	return best
}

// stop is the cost of ending here, with what being wrong costs and without.
func (s *search) stop(b []mass) [2]float64 {
	e := s.end(b)
	return [2]float64{e.cost, e.cost - s.wrong*(1-e.right)}
}
