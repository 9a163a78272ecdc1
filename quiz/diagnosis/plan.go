package diagnosis

import (
	"cmp"
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
const Wrong = 4300

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
	spares []uint8  // places in Model.spares; any of them will do
	free   bool     // one of its faults wants no spare
}

// fates finds, for every cause, the endings that are right: solved if nothing
// is left, a call to whoever may fix what is left, with its spare; and where
// nothing shows and the set-up works, working but not trusted.
func (m *Model) fates() []fate {
	out := make([]fate, len(m.Causes))
	place := func(spare string) uint8 {
		at := slices.Index(m.spares, spare)
		if at < 0 {
			at, m.spares = len(m.spares), append(m.spares, spare)
		}
		return uint8(at)
	}
	for i, c := range m.Causes {
		f := &out[i]
		for world := range f.bits {
			f.bits[world] = m.rights(i, c, world)
		}
		for _, fault := range c.Faults {
			kind, _ := m.Setup.PartKind(fault.Part)
			known, _ := setup.Of(kind, fault.Mode)
			switch _, can := m.remedy(fault.Part, fault.Mode); {
			case known.Spare != "":
				f.spares = append(f.spares, place(known.Spare))
			case known.Fixer != setup.Caregiver && !can:
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
	case own > 0 && bits != 0 && m.works(i, world): // it is charged first, and then seen again
		return bits | untrusted
	case bits == 0 && remediable == 0 && m.rides(i) && m.works(i, world):
		return untrusted | solved
	case bits == 0 && remediable == 0 && m.works(i, world): // spent, and on mains: charge it, and no outing
		return untrusted | technologist | vendor
	case bits == 0 && remediable == 0: // spent, and nothing else carries
		return technologist | vendor
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
	return outside(m.results[m.show(world, i, 0)].Source())
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

// mends are the modes that a remedy takes away, whatever was seen.
func (m *Model) mends(a Action) (modes []setup.Mode) {
	kind, _ := m.Setup.PartKind(a.Part)
	for _, k := range setup.Known {
		if verb, ok := m.remedy(a.Part, k.Mode); k.Kind == kind && ok && verb == a.Verb {
			modes = append(modes, k.Mode)
		}
	}
	return modes
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
	open  []int     // checks that may be looked at
	costs []float64 // of every check
	panel float64   // what reading it after a remedy costs
	wrong float64   // what a wrong ending costs
}

// ending is one of the four that a search may choose, and how likely it is
// right.
type ending struct {
	bit    uint8
	spares [2]int  // with a call, places in Model.spares, −1 is none
	right  float64 // 0 to 1
	cost   float64 // its own, and what it costs to be wrong
}

var closing = map[uint8]Verb{solved: Solved, untrusted: Untrusted, technologist: CallTech, vendor: CallChair}

// names are its spares by name, the likelier first.
func (m *Model) names(e ending) []string {
	var out []string
	for _, at := range e.spares {
		if at >= 0 {
			out = append(out, m.spares[at])
		}
	}
	return out
}

// rightly are the endings that are right for what is left of a cause.
func (m *Model) rightly(view, world int, fixed, fine bool) uint8 {
	switch {
	case !fixed || !m.rides(view) || !m.works(view, world):
		return m.fate[view].bits[world]
	case fine: // what was found and put right was not why
		return solved | untrusted
	}
	return solved
}

// fits tells whether an ending is right for a cause.
func (s *search) fits(e ending, x mass) bool {
	if s.m.rightly(x.view, s.world, x.fixed, x.fine)&e.bit == 0 {
		return false
	}
	f := &s.m.fate[x.view]
	return e.bit&(solved|untrusted) != 0 || f.any() || f.has(e.spares[0]) || f.has(e.spares[1])
}

func (f *fate) any() bool          { return f.free || len(f.spares) == 0 }
func (f *fate) has(spare int) bool { return spare >= 0 && slices.Contains(f.spares, uint8(spare)) }

// end is the best ending for what is believed: a call, where the panel as last
// read says that nothing outside carries.
func (s *search) end(b []mass, carries bool) ending {
	all := s.endings(b)
	best := all[2]
	if all[3].cost < best.cost {
		best = all[3]
	}
	for _, e := range all[:2] {
		if carries && e.cost < best.cost {
			best = e
		}
	}
	return best
}

// kinds is room for every spare of setup.Known.
const kinds = 16

// endings are the four, each with how likely it is right.
func (s *search) endings(b []mass) [4]ending {
	total := 0.0
	var right [4]float64
	var spares [2][kinds]float64
	for _, x := range b {
		total += x.p
		bits := s.m.rightly(x.view, s.world, x.fixed, x.fine)
		f := &s.m.fate[x.view]
		for i := range right {
			switch {
			case bits&(1<<i) == 0:
			case i < 2 || f.any():
				right[i] += x.p
			default:
				for _, at := range f.spares {
					spares[i-2][at] += x.p
				}
			}
		}
	}
	var out [4]ending
	for i := range out {
		e := &out[i]
		*e = ending{bit: 1 << i, spares: [2]int{-1, -1}}
		if i >= 2 {
			e.cost = CallSeconds
			right[i] += s.choose(e, b, total, &spares[i-2])
		}
		e.right = right[i] / total
		e.cost += s.wrong * (1 - e.right)
	}
	return out
}

// worthSending is how likely a spare must be wanted to be named.
const worthSending = .03

// choose finds the two spares that are most likely wanted, the second for what
// the first is not right for.
func (s *search) choose(e *ending, b []mass, total float64, wanted *[kinds]float64) (p float64) {
	for k := range e.spares {
		best := worthSending * total
		for at := range s.m.spares {
			if wanted[at] > best {
				e.spares[k], best = at, wanted[at]
			}
		}
		if e.spares[k] < 0 {
			return p
		}
		if p += best; k == 1 {
			return p
		}
		*wanted = [kinds]float64{}
		for _, x := range b {
			f := &s.m.fate[x.view]
			if s.m.rightly(x.view, s.world, x.fixed, x.fine)&e.bit == 0 || f.any() || f.has(e.spares[0]) {
				continue
			}
			for _, at := range f.spares {
				wanted[at] += x.p
			}
		}
	}
	return p
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
// the groups that are told apart then. Where there is none, seconds is 0.
func (s *search) afterwards(group []mass, check int) (groups [][]mass, seconds float64) {
	cure := &s.m.cure[check][s.m.show(s.world, group[0].view, check)]
	if cure.verb == "" {
		return [][]mass{group}, 0
	}
	part := s.m.Checks[check].Part
	return s.mended(group, part, cure.modes), Seconds(s.m.Setup, Action{cure.verb, part}) + s.panel
}

// tally is what of a belief shows the same, and what would be right for it.
type tally struct {
	code   uint8
	total  float64
	right  [4]float64        // by ending; of the calls, where no spare matters
	spares [2][kinds]float64 // by call, of each the first that is wanted
}

// count parts a belief by what a check would show, as split does, without
// keeping the causes.
func (s *search) count(b []mass, check int, room []tally) []tally {
	var at [256]uint8
	for _, x := range b {
		code := s.m.show(s.world, x.view, check)
		if at[code] == 0 {
			room = append(room, tally{code: code})
			at[code] = uint8(len(room))
		}
		t := &room[at[code]-1]
		t.total += x.p
		bits := s.m.rightly(x.view, s.world, x.fixed, x.fine)
		f := &s.m.fate[x.view]
		for i := range t.right {
			switch {
			case bits&(1<<i) == 0:
			case i < 2 || f.any():
				t.right[i] += x.p
			default:
				t.spares[i-2][f.spares[0]] += x.p
			}
		}
	}
	return room
}

// cost is that of the best ending for a tally, weighed by how likely it is.
func (t *tally) cost(s *search, carries bool) float64 {
	best := math.Inf(1)
	for i, right := range t.right {
		own := 0.0
		if i >= 2 {
			own = CallSeconds
			first, second := 0.0, 0.0
			for _, p := range t.spares[i-2][:len(s.m.spares)] {
				if p > first {
					first, second = p, first
				} else if p > second {
					second = p
				}
			}
			right += first + second
		}
		if i >= 2 || carries {
			best = min(best, t.total*own+s.wrong*(t.total-right))
		}
	}
	return best
}

// telling are the open checks that help, with how telling they are for their
// seconds: least cost for what the endings gain by one; after those, least cost
// for the chance that one shows anything but what is likeliest. For one fault
// and perfect checks of one part each this is the order of Kadane and Simon.
func (s *search) telling(b []mass, e ending, carries bool) []promise {
	total := weight(b)
	var room [12]tally
	out := make([]promise, 0, len(s.open))
	for _, k := range s.open {
		list := s.count(b, k, room[:0])
		if len(list) == 1 && !s.mends(b, k) {
			continue
		}
		gain, most := e.cost*total, 0.0
		for i := range list {
			gain -= s.found(b, k, &list[i], carries)
			most = max(most, list[i].total)
		}
		if gain > 1e-9*total {
			out = append(out, promise{k, true, s.costs[k] / gain})
		} else {
			out = append(out, promise{k, false, s.costs[k] / (total - most)})
		}
	}
	return out
}

// keener sorts the most telling first.
func keener(a, b promise) int {
	switch {
	case a.gains && !b.gains:
		return -1
	case b.gains && !a.gains:
		return 1
	}
	return cmp.Compare(a.ratio, b.ratio)
}

// promise is how telling a check is for its seconds.
type promise struct {
	check int
	gains bool
	ratio float64
}

// found is what it costs to end after a check has shown this, with its remedy
// where it has one.
func (s *search) found(b []mass, check int, t *tally, carries bool) float64 {
	cure := &s.m.cure[check][t.code]
	if cure.verb == "" {
		return t.cost(s, carries)
	}
	part := s.m.Checks[check].Part
	cost := t.total * (Seconds(s.m.Setup, Action{cure.verb, part}) + s.panel)
	group := slices.DeleteFunc(slices.Clone(b), func(x mass) bool { return s.m.show(s.world, x.view, check) != t.code })
	for _, left := range s.mended(group, part, cure.modes) {
		cost += weight(left) * s.end(left, s.m.works(left[0].view, s.world)).cost
	}
	return cost
}

// quick is what a belief costs by going on with the most telling check, or
// ending where that is cheaper: an upper bound of the least cost, close to it.
func (s *search) quick(b []mass, carries bool) float64 {
	stop := s.end(b, carries)
	list := s.telling(b, stop, carries)
	if len(list) == 0 {
		return stop.cost
	}
	k := slices.MinFunc(list, keener).check
	if stop.cost <= s.costs[k] {
		return stop.cost
	}
	return math.Min(stop.cost, s.look(b, k, carries, s.quick))
}

// look is what a check costs, with what comes after it.
func (s *search) look(b []mass, check int, carries bool, value func([]mass, bool) float64) float64 {
	total := weight(b)
	cost := s.costs[check]
	for _, g := range s.split(b, check) {
		groups, more := s.afterwards(g, check)
		cost += weight(g) / total * more
		for _, left := range groups {
			now := carries
			if more > 0 { // the panel was read again
				now = s.m.works(left[0].view, s.world)
			}
			cost += weight(left) / total * value(left, now)
		}
	}
	return cost
}

// breadth is how many of the most telling checks are thought through.
const breadth = 5

// next is the check of least expected cost, looked at with quick from there
// on; −1 where ending now is cheaper.
func (s *search) next(b []mass, carries bool) (check int, cost float64) {
	stop := s.end(b, carries)
	check, cost = -1, stop.cost
	list := s.telling(b, stop, carries)
	slices.SortStableFunc(list, keener)
	for _, p := range list[:min(len(list), breadth)] {
		k := p.check
		if s.costs[k] >= cost {
			continue
		}
		if c := s.look(b, k, carries, s.quick); c < cost {
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
	cure := &s.m.cure[check][s.m.show(s.world, b[0].view, check)]
	return cure.verb != "" && s.m.without(b[0].view, s.m.Checks[check].Part, cure.modes) != b[0].view
}

// least is the least expected cost of single causes, with what being wrong
// costs and without it, by dynamic programming over what is still possible.
// What a remedy leaves of a single cause is nothing, so a belief is known by
// its causes.
func (s *search) least(b []mass, known map[string][2]float64) [2]float64 {
	bits := make([]byte, s.m.single/8+1)
	for _, x := range b {
		if x.fixed {
			return s.stop(b) // a single cause, and it is gone
		}
		bits[x.view/8] |= 1 << (x.view % 8)
	}
	id := string(bits)
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
	e := s.end(b, true) // what does not work is not right to end with
	return [2]float64{e.cost, e.cost - s.wrong*(1-e.right)}
}
