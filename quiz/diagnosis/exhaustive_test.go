package diagnosis

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"
	"testing"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
)

// What is unsafe is said here once more, from the design's words and not from
// the gate's parts, so that the two can disagree.

// hurt are the looks of what must stay apart: crossed, reversed, heated,
// damaged.
var hurt = map[setup.Look]bool{
	setup.LookCrossed: true, setup.LookReversed: true, setup.LookDiscoloured: true, setup.LookBrowned: true, setup.LookMismatched: true, setup.LookDamaged: true, setup.LookContactIn: true,
}

var looks = []setup.Look{
	setup.LookSound, setup.LookOff, setup.LookApart, setup.LookHalfHome, setup.LookDiscoloured, setup.LookReversed, setup.LookCrossed, setup.LookContactIn,
	setup.LookBlown, setup.LookEmpty, setup.LookBrowned, setup.LookDamaged, setup.LookDark, setup.LookLow, setup.LookMismatched, setup.LookSilenced,
}

var verbs = []Verb{
	AskPerson, Bag, CallRescue, CallClinic, CallTech, CallChair, Solved, Untrusted,
	Look, PlugIn, SwitchOn, PushHome, Unplug, OpenHolder, ReplaceFuse, OpenCase, PullWire, Force,
}

// paths are the parts that each source's current goes through.
func paths(s *setup.Setup) map[setup.Source][]string {
	out := map[setup.Source][]string{setup.Internal: {setup.InternalID}}
	for source, side := range map[setup.Source][]setup.Part{setup.Mains: s.Mains, setup.Chair: s.Chain} {
		for i := range side {
			out[source] = append(out[source], side[i].ID)
		}
		in := s.Ventilator.InletFor(source)
		out[source] = append(out[source], in.ID)
		if in.Switch != "" {
			out[source] = append(out[source], in.Switch)
		}
	}
	return out
}

// ruler holds the design's rules against one action of a set-up.
type ruler struct {
	s      *setup.Setup
	a      Action
	kind   setup.Kind
	known  bool
	paths  map[setup.Source][]string
	beside []string // what shares a path with the part
	mains  bool     // it lies on the mains side alone
}

func newRuler(s *setup.Setup, a Action) *ruler {
	r := &ruler{s: s, a: a, paths: paths(s)}
	r.kind, r.known = s.PartKind(a.Part)
	for _, source := range []setup.Source{setup.Mains, setup.Chair} {
		if slices.Contains(r.paths[source], a.Part) {
			r.beside = append(r.beside, r.paths[source]...)
		}
	}
	r.mains = slices.Contains(r.paths[setup.Mains], a.Part) && !slices.Contains(r.paths[setup.Chair], a.Part)
	return r
}

func (r *ruler) is(kinds ...setup.Kind) bool { return slices.Contains(kinds, r.kind) }

// hurtAt tells whether something that must not be touched was found there.
func hurtAt(in *Answers, parts ...string) bool {
	return slices.ContainsFunc(parts, func(p string) bool { return hurt[in.Looks[p]] || in.Hot[p] })
}

// breach is the rule an action breaks by what was answered, "" if it breaks
// none.
func (r *ruler) breach(in *Answers) string {
	stopped := in.Running == No || in.Source == setup.None
	care := []Verb{AskPerson, Bag, CallRescue, CallClinic, CallTech, CallChair}
	endings := []Verb{Solved, Untrusted}
	panel := r.is(setup.KindPanel, setup.KindLamp, setup.KindScreen, setup.KindAlarm)
	switch {
	case slices.Contains(care, r.a.Verb):
		return ""
	case slices.Contains([]Verb{ReplaceFuse, OpenCase, PullWire, Force}, r.a.Verb):
		return "never"
	case slices.Contains(endings, r.a.Verb) && (in.PersonOK == No || stopped):
		return "an ending that says it works, with the person not OK or the ventilator stopped"
	case r.a.Verb == Solved && (in.PersonOK != Yes || in.Source != setup.Mains && in.Source != setup.Chair):
		return "says it is solved, with no outside source seen"
	case slices.Contains(endings, r.a.Verb):
		return ""
	case in.PersonOK != Yes:
		return "before the person is OK"
	case stopped:
		return "on a stopped ventilator"
	case !r.known:
		return "on no part of this set-up"
	case r.a.Verb == Look && panel:
		return ""
	case panel:
		return "a hand on the panel"
	case r.a.Verb == PlugIn:
		return r.plugIn(in)
	case in.PanelSeen != Yes:
		return "before the panel was read"
	}
	if in.Source == setup.Internal || in.Source == "" {
		left := -1.0 // few
		if in.Minutes != nil && in.Source != "" {
			left = *in.Minutes + min(float64(r.s.Dependence.Unaided), 20)
		}
		switch {
		case in.MainsInReach == Yes && in.MainsTried != Yes && !r.mains:
			return "mains in reach, and something else first"
		case left <= 30:
			return "few minutes, and no source"
		}
	}
	switch r.a.Verb {
	case SwitchOn, PushHome:
		return r.remedy(in)
	case Unplug:
		return r.unplug(in)
	case OpenHolder:
		switch {
		case r.kind != setup.KindFuse:
			return "opens what is no fuse holder"
		case !r.s.Policy.OpenHolder || in.PathDead != Yes:
			return "opens the holder without leave, or live"
		case in.Source == setup.Chair:
			return "opens the holder in the path that carries"
		case hurtAt(in, r.a.Part):
			return "opens a hurt holder"
		}
	}
	return ""
}

func (r *ruler) plugIn(in *Answers) string {
	switch {
	case in.MainsInReach != Yes:
		return "mains that is not known to be in reach"
	case hurtAt(in, r.paths[setup.Mains]...):
		return "mains through something hurt"
	case r.s.Ventilator.Shared() && (in.Source != setup.Internal || in.SecondSign != Yes || in.BagInHand != Yes || in.PanelSeen != Yes):
		return "the one inlet opened without two signs and the bag"
	}
	return ""
}

func (r *ruler) remedy(in *Answers) string {
	_, seen := in.Looks[r.a.Part]
	switch {
	case !seen:
		return "a remedy before a look"
	case hurtAt(in, r.a.Part):
		return "a remedy on a hurt part"
	case hurtAt(in, r.beside...):
		return "a remedy that feeds something hurt"
	case r.a.Verb == SwitchOn && !r.is(setup.KindSwitch, setup.KindIsolator, setup.KindOutlet, setup.KindTap):
		return "switches on what has no switch for a caregiver"
	case r.a.Verb == SwitchOn:
		return ""
	case r.is(setup.KindJoint) && !r.s.Policy.RemateJoint:
		return "mates a joint without leave"
	case !r.is(setup.KindJoint, setup.KindPlug, setup.KindCord):
		return "pushes at what is neither plug, cord nor joint"
	case slices.Contains(r.paths[in.Source], r.a.Part):
		return "pushes at what carries"
	case r.is(setup.KindPlug) && r.s.Ventilator.Shared() && in.Source != setup.Internal:
		return "another plug into the one inlet"
	}
	return ""
}

func (r *ruler) unplug(in *Answers) string {
	switch {
	case !r.is(setup.KindJoint, setup.KindPlug, setup.KindCord):
		return "unplugs what is neither plug, cord nor joint"
	case r.is(setup.KindJoint) && !r.s.Policy.RemateJoint:
		return "takes a joint apart that may not be mated again"
	case slices.Contains(r.paths[in.Source], r.a.Part):
		return "unplugs what carries"
	case r.s.Ventilator.Shared(), in.Source != setup.Mains && in.Source != setup.Chair, in.SecondSign != Yes:
		return "unplugs without two signs of another source"
	case in.Day != Yes || in.BagInHand != Yes:
		return "unplugs by night, or without the bag"
	case hurtAt(in, r.a.Part):
		return "unplugs a hurt part"
	}
	return ""
}

// breaches are the rules broken, how often, and one example of each.
type breaches struct {
	sync.Mutex
	count map[string]int
	first map[string]string
	cases int
}

func newBreaches() *breaches { return &breaches{count: map[string]int{}, first: map[string]string{}} }

func (b *breaches) add(rule string, example func() string) {
	b.Lock()
	defer b.Unlock()
	if b.count[rule]++; b.first[rule] == "" {
		b.first[rule] = example()
	}
}

func (b *breaches) report(t *testing.T) {
	t.Helper()
	for _, rule := range slices.Sorted(maps.Keys(b.count)) {
		t.Errorf("%s: %d cases, such as %s", rule, b.count[rule], b.first[rule])
	}
}

func (in Answers) words() string {
	left := "none"
	if in.Minutes != nil {
		left = fmt.Sprint(*in.Minutes)
	}
	return fmt.Sprintf("person=%s running=%s panel=%s source=%s second=%s reach=%s tried=%s minutes=%s day=%s bag=%s dead=%s looks=%v hot=%v",
		in.PersonOK, in.Running, in.PanelSeen, in.Source, in.SecondSign, in.MainsInReach, in.MainsTried, left, in.Day, in.BagInHand, in.PathDead, in.Looks, in.Hot)
}

// product is how many answers there are beside what was looked at and felt.
const product = 3 * 3 * 3 * 5 * 3 * 3 * 3 * 5 * 3 * 3 * 3

var leftMinutes = func() []*float64 {
	out := []*float64{nil}
	for _, m := range []float64{5, 29, 31, 120} {
		out = append(out, &m)
	}
	return out
}()

// answersAt is one of the product, by number.
func answersAt(i int) Answers {
	next := func(n int) int {
		k := i % n
		i /= n
		return k
	}
	yes := func() Answer { return []Answer{NotKnown, Yes, No}[next(3)] }
	return Answers{
		PersonOK: yes(), Running: yes(), PanelSeen: yes(), Source: []setup.Source{"", setup.Mains, setup.Chair, setup.Internal, setup.None}[next(5)],
		SecondSign: yes(), MainsInReach: yes(), MainsTried: yes(), Minutes: leftMinutes[next(5)], Day: yes(), BagInHand: yes(), PathDead: yes(),
	}
}

// seenAt is what was looked at and felt.
type seenAt struct {
	looks map[string]setup.Look
	hot   map[string]bool
}

// sights are what may have been seen beside an action: nothing, each look of
// its part, the part hot, and something hurt beside it, at an inlet, and on
// the other side.
func sights(s *setup.Setup, part string) []seenAt {
	out := []seenAt{{}}
	for _, l := range looks {
		out = append(out, seenAt{looks: map[string]setup.Look{part: l}})
	}
	sound := map[string]setup.Look{part: setup.LookSound}
	out = append(out, seenAt{sound, map[string]bool{part: true}}, seenAt{nil, map[string]bool{part: true}})
	for _, other := range []string{
		s.Mains[0].ID, s.Mains[len(s.Mains)-1].ID, s.Chain[0].ID, s.Chain[len(s.Chain)-1].ID,
		s.Ventilator.InletFor(setup.Mains).ID, s.Ventilator.InletFor(setup.Chair).ID,
	} {
		if other != part {
			out = append(out,
				seenAt{map[string]setup.Look{part: setup.LookOff, other: setup.LookDamaged}, nil},
				seenAt{map[string]setup.Look{part: setup.LookHalfHome}, map[string]bool{other: true}})
		}
	}
	return out
}

// actions are every verb on every part, and on no part of the set-up; with
// few, the verbs that are done by hand on one part of each kind of each side,
// and the others once.
func actions(s *setup.Setup, few bool) []Action {
	var out []Action
	done := map[string]bool{}
	for i, part := range append(s.IDs(), "nowhere") {
		kind, _ := s.PartKind(part)
		k := fmt.Sprint(kind, slices.Contains(paths(s)[setup.Mains], part), slices.Contains(paths(s)[setup.Chair], part))
		if done[k] && few {
			continue
		}
		done[k] = true
		for _, v := range verbs {
			byHand := slices.Contains([]Verb{Look, PlugIn, SwitchOn, PushHome, Unplug, OpenHolder}, v)
			if byHand || i == 0 || !few {
				out = append(out, Action{v, part})
			}
		}
	}
	return out
}

// judge holds the gate against the design for one action over the product of
// the answers: those numbered from, from+stride … Where the person is OK and
// the ventilator runs, every set of answers meets no look, a sound look and
// more of the sights (all of them if more is 0, taken by turns); elsewhere one
// sight, by turns.
func (b *breaches) judge(s named, a Action, from, stride, more int) {
	r := newRuler(s.Setup, a)
	seen := sights(s.Setup, a.Part)
	cases := 0
	try := func(in *Answers, x seenAt) {
		cases++
		in.Looks, in.Hot = x.looks, x.hot
		if ok, _ := Allowed(s.Setup, a, *in); !ok {
			return
		}
		if rule := r.breach(in); rule != "" {
			held := *in
			b.add(rule, func() string { return fmt.Sprintf("%s: %s %s, %s", s.name, a.Verb, a.Part, held.words()) })
		}
	}
	turn := 0
	for i := from; i < product; i += stride {
		in := answersAt(i)
		turn++
		settled := in.PersonOK != Yes || in.Running == No || in.Source == setup.None
		switch {
		case settled:
			try(&in, seen[turn%len(seen)])
		case more == 0:
			for _, x := range seen {
				try(&in, x)
			}
		default:
			try(&in, seen[0])
			try(&in, seen[1])
			for k := range more {
				try(&in, seen[2+(turn*more+k)%(len(seen)-2)])
			}
		}
	}
	b.Lock()
	b.cases += cases
	b.Unlock()
}

// By what was answered: all answers, on the demo set-ups; on the random ones a
// part of them that differs from action to action.
func TestGateIsSafeByWhatWasAnswered(t *testing.T) {
	more, stride := 1, 1999
	if long() {
		more, stride = 0, 41
	}
	b := newBreaches()
	var jobs []named
	var work []func()
	add := func(s named, f func()) {
		jobs, work = append(jobs, named{fmt.Sprint(len(work)), s.Setup}), append(work, f)
	}
	for _, s := range demos() {
		for _, a := range actions(s.Setup, !long()) {
			add(s, func() { b.judge(s, a, 0, 1, more) })
		}
	}
	demo := len(work)
	for n, s := range drawn() {
		for i, a := range actions(s.Setup, false) {
			add(s, func() { b.judge(s, a, (i*53+n*7)%stride, stride, 2) })
		}
	}
	each(jobs, func(j named) {
		var i int
		fmt.Sscan(j.name, &i)
		work[i]()
	})
	t.Logf("%d cases: %d actions of the demo set-ups under all %d answers, %d actions of %d random set-ups under one in %d", b.cases, demo, product, len(work)-demo, randoms, stride)
	b.report(t)
}

// carries is what truly carries. A supply that comes and goes has let go by
// turns, and the internal battery has it.
func carries(st *circuit.State) setup.Source { return st.Source }

// opens is how an action opens the path that truly carries, "" if it does not.
// What the design refuses anyhow, whatever was answered, is left out: hands on
// what is no plug, cord or joint.
func opens(s *setup.Setup, a Action, source setup.Source) string {
	if source == setup.None {
		return ""
	}
	on := slices.Contains(paths(s)[source], a.Part)
	kind, _ := s.PartKind(a.Part)
	shared := s.Ventilator.Shared()
	lead := slices.Contains([]setup.Kind{setup.KindPlug, setup.KindCord, setup.KindJoint}, kind)
	switch {
	case a.Verb == Unplug && on && lead:
		return "unplugs what truly carries"
	case a.Verb == OpenHolder && on && kind == setup.KindFuse:
		return "opens the holder in the path that truly carries"
	case a.Verb == PushHome && shared && kind == setup.KindPlug && !on && source != setup.Internal:
		return "another plug into the one inlet that truly carries"
	case a.Verb == PushHome && on && lead:
		return "pushes at what truly carries"
	case a.Verb == PlugIn && kind == setup.KindOutlet && shared && source == setup.Chair:
		return "mains into the one inlet from which the chair truly carries"
	}
	return ""
}

// sign tells whether a second sign truly agrees with a source as it was read:
// an alarm with the internal battery, with mains the panel read once more.
func sign(s *setup.Setup, st *circuit.State, read setup.Source) Answer {
	if read == setup.Internal && st.Alarm != setup.NoAlarm || read == setup.Mains && Reading(s, st) == setup.Mains {
		return Yes
	}
	return No
}

// wrongs are the true answers about a state, and every way in which a single
// one of them is wrong: those that permit most are taken where the truth is
// not about the set-up (minutes, day, bag).
func wrongs(s *setup.Setup, st *circuit.State, mains bool, part string) []Answers {
	read := Reading(s, st)
	if slices.ContainsFunc(st.Panel, func(in circuit.Indication) bool { return in.Flicker }) {
		read = setup.Internal
	}
	truth := Answers{PersonOK: Yes, Running: Yes, PanelSeen: Yes, Source: read, SecondSign: sign(s, st, read), Minutes: leftMinutes[4], Day: Yes, BagInHand: Yes, PathDead: No}
	truth.Looks = map[string]setup.Look{part: st.Seen(part)}
	truth.MainsTried = No
	if mains {
		truth.MainsTried = Yes
	}
	if st.Source == setup.None {
		truth.PersonOK, truth.Running = No, No
	}
	var out []Answers
	for _, reach := range []Answer{Yes, No} {
		in := truth
		in.MainsInReach = reach
		out = append(out, in)
		flip := func(change func(*Answers)) {
			x := in
			change(&x)
			out = append(out, x)
		}
		for _, read := range []setup.Source{"", setup.Mains, setup.Chair, setup.Internal, setup.None} {
			flip(func(x *Answers) { x.Source, x.SecondSign = read, sign(s, st, read) })
		}
		for _, v := range []Answer{NotKnown, Yes, No} {
			flip(func(x *Answers) { x.PersonOK = v })
			flip(func(x *Answers) { x.Running = v })
			flip(func(x *Answers) { x.PanelSeen = v })
			flip(func(x *Answers) { x.SecondSign = v })
			flip(func(x *Answers) { x.MainsInReach = v })
			flip(func(x *Answers) { x.MainsTried = v })
			flip(func(x *Answers) { x.PathDead = v })
		}
		for _, l := range looks {
			flip(func(x *Answers) { x.Looks = map[string]setup.Look{part: l} })
		}
	}
	return out
}

// By truth: with any single wrong answer nothing that is allowed opens the
// path that truly carries. Over every single fault and every pair on the demo
// set-ups; on the random ones over those pairs that come together, or all.
func TestGateIsSafeByTruthUnderAnyWrongAnswer(t *testing.T) {
	b := newBreaches()
	states := 0
	each(append(slices.Clone(demos()), drawn()...), func(s named) {
		done := map[string]bool{}
		cases, solved := 0, 0
		for _, faults := range everyCause(s.Setup, long() || !strings.HasPrefix(s.name, "random")) {
			for _, mains := range []bool{false, true} {
				c := circuit.Usual(faults...)
				c.Mains = mains
				st, err := circuit.Solve(s.Setup, c)
				if err != nil {
					t.Error(err)
					return
				}
				solved++
				panel := reads(s.Setup, &st)
				for _, v := range []Verb{Unplug, PushHome, PlugIn, OpenHolder} {
					for _, part := range s.IDs() {
						a := Action{v, part}
						same := fmt.Sprint(mains, carries(&st), panel, st.Alarm, sign(s.Setup, &st, setup.Mains), st.Seen(part), a)
						if done[same] {
							continue // the gate is told the same
						}
						done[same] = true
						how := opens(s.Setup, a, carries(&st))
						if how == "" {
							continue
						}
						for _, in := range wrongs(s.Setup, &st, mains, part) {
							cases++
							if ok, _ := Allowed(s.Setup, a, in); ok {
								b.add(how, func() string {
									return fmt.Sprintf("%s with %v, mains plugged in %t, truly on %s, panel %s: %s %s, %s", s.name, faults, mains, carries(&st), panel, v, part, in.words())
								})
							}
						}
					}
				}
			}
		}
		b.Lock()
		b.cases += cases
		states += solved
		b.Unlock()
	})
	t.Logf("%d cases of an action that would open the path, over %d solved states of %d set-ups", b.cases, states, len(demos())+randoms)
	b.report(t)
}

// everyCause is nothing, every single fault and the pairs that come together;
// with all, every pair.
func everyCause(s *setup.Setup, all bool) [][]setup.Fault {
	out := [][]setup.Fault{nil}
	singles := s.Faults()
	for _, f := range singles {
		out = append(out, []setup.Fault{f})
	}
	if !all {
		for _, p := range s.Pairs() {
			out = append(out, p.Faults[:])
		}
		return out
	}
	for i, a := range singles {
		for _, b := range singles[i+1:] {
			if a.Part != b.Part {
				out = append(out, []setup.Fault{a, b})
			}
		}
	}
	return out
}
