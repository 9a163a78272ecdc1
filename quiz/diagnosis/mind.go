package diagnosis

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"lampwright/lessons/setup"
	"lampwright/locales/problem"
)

// Care is what is asked once, before anything is looked at.
type Care struct {
	MainsInReach bool
	Minutes      *float64 // left on the internal battery; nil is not known, and counts as few
	Night        bool
	NoBag        bool // the bag is not in hand
}

// PersonID is the first check of all; it shows PersonOK or PersonNotOK.
const (
	PersonID           = "person"
	PersonOK    Result = "ok"
	PersonNotOK Result = "not-ok"
)

// Done is one thing that was done, in order: a look with what it showed, or a
// remedy.
type Done struct {
	Check  string // of a look, or of the person
	Shows  Result
	Action Action // of a remedy
}

// Mind is what follows from what was seen of a set-up. It knows what was
// answered, never what is true.
type Mind struct {
	Answers   Answers
	m         *Model
	world     int
	b         []mass          // of every cause, in the model's order
	heard     []heard         // by check
	last      int             // check asked last, −1
	stale     bool            // the panel was not read since something changed
	mended    map[string]bool // parts whose remedy was used
	plugged   bool            // mains was plugged in by now
	takenBack int             // answers that contradict what was told at the same place
	steps     int             // looks and remedies so far, a second look right after the first not counted
}

// heard is what was answered to a check.
type heard struct {
	asked     int            // how often, since what it shows may have changed
	shown     Result         // the last answer
	told      map[Result]int // how often each, since then, what could not be told left out
	hurt, fit int            // ever: that the part must stay apart, and anything else
}

// clear is how many answers told something.
func (h *heard) clear() int {
	n := 0
	for _, times := range h.told {
		n += times
	}
	return n
}

// disputed is a part told once as one that must stay apart, and not yet twice
// as anything else.
func (h *heard) disputed() bool { return h.hurt == 1 && h.fit < 2 }

// Think goes through what was done. Its errors are problem.Invalid for a check
// or a result that this set-up cannot have.
func (m *Model) Think(care Care, done []Done) (*Mind, error) {
	d := &Mind{m: m, last: -1, stale: true, heard: make([]heard, len(m.Checks)), mended: map[string]bool{}}
	d.Answers = Answers{MainsInReach: No, Minutes: care.Minutes, Day: Yes, BagInHand: Yes, Looks: map[string]setup.Look{}, Hot: map[string]bool{}}
	if care.MainsInReach {
		d.Answers.MainsInReach = Yes
	}
	if care.Night {
		d.Answers.Day = No
	}
	if care.NoBag {
		d.Answers.BagInHand = No
	}
	for i, c := range m.Causes {
		d.b = append(d.b, mass{i, false, m.works(i, away), c.Prior})
	}
	for _, x := range done {
		if err := d.take(x); err != nil {
			return nil, err
		}
	}
	return d, nil
}

func (d *Mind) take(x Done) error {
	wrong := func(wanted string) error {
		return problem.Wrap(fmt.Errorf("seen: got %s=%s, expected %s", x.Check, x.Shows, wanted),
			problem.Invalid, "problem.value", "Field", "seen", "Value", x.Check+"="+string(x.Shows), "Expected", wanted)
	}
	switch {
	case x.Check == PersonID:
		if x.Shows != PersonOK && x.Shows != PersonNotOK {
			return wrong("person=ok or person=not-ok")
		}
		d.Answers.PersonOK, d.Answers.Running = Yes, Yes
		if x.Shows == PersonNotOK {
			d.Answers.PersonOK = No
		}
		return nil
	case x.Check == "":
		if kind, ok := d.m.Setup.PartKind(x.Action.Part); !ok || !slices.Contains([]Verb{PlugIn, SwitchOn, PushHome}, x.Action.Verb) || x.Action.Verb == PlugIn && kind != setup.KindOutlet {
			return problem.Wrap(fmt.Errorf("seen: got %s %s, expected a remedy of this set-up", x.Action.Verb, x.Action.Part),
				problem.Invalid, "problem.value", "Field", "seen", "Value", x.Action.Verb, "Expected", "plug-in, switch-on or push-home")
		}
		d.act(x.Action)
		return nil
	}
	k := d.m.check(x.Check)
	if k < 0 {
		names := []string{PersonID}
		for _, c := range d.m.Checks {
			names = append(names, c.ID)
		}
		return wrong("one of the checks " + strings.Join(names, ", "))
	}
	if x.Shows != Unclear && !slices.Contains(d.m.told[k], x.Shows) {
		all := []string{string(Unclear)}
		for _, r := range d.m.told[k] {
			all = append(all, string(r))
		}
		return wrong("for " + x.Check + " one of " + strings.Join(all, ", "))
	}
	d.look(k, x.Shows)
	return nil
}

// Results lists what a check can show, in any world, sound first.
func (m *Model) Results(check int) []Result { return slices.Clone(m.told[check]) }

// likely is how likely a cause is to have an answer given.
func (d *Mind) likely(view, check int, shows Result) float64 {
	switch {
	case shows == Unclear:
		return d.m.Untold
	case d.m.results[d.m.show(d.world, view, check)] == shows:
		return 1 - d.m.Misread - d.m.Untold
	}
	return d.m.Misread / math.Max(1, d.m.kinds[d.world][check]-1)
}

func (d *Mind) look(k int, shows Result) {
	h, c, in := &d.heard[k], d.m.Checks[k], &d.Answers
	if h.asked++; h.asked == 1 || k != d.last {
		d.steps++
	}
	if k == 0 && !d.plugged { // it may be in already
		d.world, in.MainsTried = away, NotKnown
		if shows.Source() == setup.Mains {
			d.world, in.MainsTried = atWall, Yes
		}
	}
	if shows != Unclear {
		if h.told == nil {
			h.told = map[Result]int{}
		}
		if h.told[shows]++; h.told[shows] == 1 && len(h.told) > 1 {
			d.takenBack++
		}
	}
	d.last, h.shown = k, shows
	for i := range d.b {
		d.b[i].p *= d.likely(d.b[i].view, k, shows)
	}
	switch kind, _ := d.m.Setup.PartKind(c.Part); {
	case k == 0:
		d.stale = false
		in.PanelSeen, in.Source = Yes, shows.Source()
		if shows == Changes {
			in.Source = setup.Internal // it falls back on it again and again
		}
		if in.Source == setup.None {
			in.Running = No
		}
	case kind != setup.KindAlarm && shows != Unclear:
		d.see(c, h, shows)
	}
	// The alarm is the second sign of the internal battery. Of mains there is
	// none that a caregiver sees: an adapter is lit whether the ventilator takes
	// it or not; so nothing is unplugged in a search.
	in.SecondSign = No
	if alarm := d.m.check(setup.AlarmID); in.Source == setup.Internal && alarm >= 0 && d.heard[alarm].asked > 0 && d.heard[alarm].shown == Ringing {
		in.SecondSign = Yes
	}
}

// see takes in how a part looks. One that was told to be one that must stay
// apart counts as that until it was told twice not to be.
func (d *Mind) see(c Check, h *heard, shows Result) {
	in := &d.Answers
	if shows == Feels {
		h.hurt++
		in.Looks[c.Part], in.Hot[c.Part] = setup.LookSound, true
		return
	}
	if slices.Contains(staysApart, setup.Look(shows)) {
		h.hurt++
		in.Looks[c.Part] = setup.Look(shows)
		return
	}
	h.fit++
	if d.hurt(c.Part) {
		return
	}
	delete(in.Hot, c.Part)
	if c.Contacts && shows == Result(setup.LookSound) && in.Looks[c.Part] != "" && !slices.Contains(staysApart, in.Looks[c.Part]) {
		return // the rest of the plug is as it was seen
	}
	in.Looks[c.Part] = setup.Look(shows)
}

// hurt tells whether a part counts as one that must stay apart.
func (d *Mind) hurt(part string) bool {
	for k := range d.heard {
		if h := &d.heard[k]; d.m.Checks[k].Part == part && (h.hurt > 1 || h.disputed()) {
			return true
		}
	}
	return false
}

// act takes a remedy in: something has changed, and the panel and the alarm
// must be read again.
func (d *Mind) act(a Action) {
	d.steps++
	d.stale, d.last = true, -1
	d.forget(0)
	if alarm := d.m.check(setup.AlarmID); alarm >= 0 {
		d.forget(alarm)
	}
	before, world, total := slices.Clone(d.b), d.world, weight(d.b)
	d.world = d.m.after(d.world, a)
	switch a.Verb {
	case PlugIn:
		d.plugged, d.Answers.MainsTried = true, Yes
	case SwitchOn, PushHome:
		d.plugged = d.plugged && d.world == world
		d.mended[a.Part] = true
		modes := d.m.mends(a)
		for i := range d.b {
			view := d.m.without(d.b[i].view, a.Part, modes)
			d.b[i].fixed = d.b[i].fixed || view != d.b[i].view
			d.b[i].view = view
		}
	}
	for k := range d.m.Checks { // what may look otherwise now is worth a look anew
		for i, x := range d.b {
			if x.p > total/100 && d.m.show(d.world, x.view, k) != d.m.show(world, before[i].view, k) {
				d.forget(k)
				break
			}
		}
	}
}

// after is the world after a remedy: in the one inlet, the chair's plug takes
// the place of the adapter's.
func (m *Model) after(world int, a Action) int {
	kind, _ := m.Setup.PartKind(a.Part)
	switch {
	case a.Verb == PlugIn:
		return atWall
	case a.Verb == PushHome && kind == setup.KindPlug && m.Setup.Ventilator.Shared() && !onMainsSide(m.Setup, a.Part):
		return away
	}
	return world
}

// forget makes a check one that was not asked; what must stay apart is not
// forgotten.
func (d *Mind) forget(check int) {
	h := &d.heard[check]
	h.asked, h.told = 0, nil
}

// Ranked is a cause with its probability.
type Ranked struct {
	Faults []setup.Fault
	P      float64
}

// Causes ranks what may be wrong, most likely first, those with one in a
// thousand or more.
func (d *Mind) Causes() []Ranked {
	total := weight(d.b)
	var out []Ranked
	for i, x := range d.b {
		if x.p >= total/1000 {
			out = append(out, Ranked{d.m.Causes[i].Faults, x.p / total})
		}
	}
	slices.SortStableFunc(out, func(a, b Ranked) int { return cmp.Compare(b.P, a.P) })
	return out
}

// Step is what to do next.
type Step struct {
	Action Action   // a look, a remedy, or an ending
	Check  string   // of a look
	Again  bool     // it was answered before: look once more
	Why    string   // message key
	Cost   float64  // seconds expected from here to an ending
	Spares []string // with a call, most likely first, two at most
	Right  float64  // how likely the ending is right, as far as is believed
}

// MostSteps is how many things a tired person is asked to look at or do before
// an ending; a second look right after the first is not counted. What there
// would be no time to mend is not looked at later.
const MostSteps = 10

// Doubts is how many steps may come after that, for looks with nothing to mend
// and for answers asked again. Anew is how many come on top for each of the
// first two answers that were taken back: the search begins anew there. After
// more than MostTakenBack someone else had better look.
const (
	Doubts        = 2
	Anew          = 3
	MostTakenBack = 3
)

// Next is the step of least expected cost that the gate allows.
func (d *Mind) Next() Step {
	in := &d.Answers
	switch {
	case in.PersonOK == NotKnown:
		return Step{Action: Action{Verb: AskPerson}, Check: PersonID, Why: "why.person"}
	case in.PersonOK == No, in.Running == No, in.Source == setup.None:
		return Step{Action: Action{Verb: CallRescue}, Why: "why.person-first", Right: 1}
	case d.stale:
		return d.step(0, "why.panel")
	}
	if st, ok := d.secure(); ok {
		return st
	}
	if in.Source == setup.Mains && in.MainsInReach != Yes && d.open(0) {
		return d.onceMore(0, CallSeconds)
	}
	s := d.search()
	b := likeliest(d.b)
	e := s.end(b, d.carries())
	if why := d.refusal(); why == "gate.few-minutes" || why == "gate.source-first" || why == "gate.panel-unreadable" {
		return d.noLooking(e.cost)
	}
	if st, ok := d.apart(s, b); ok {
		return st
	}
	if d.takenBack > MostTakenBack {
		return d.close(s.end(b, false))
	}
	limit := MostSteps + Anew*min(d.takenBack, 2)
	a, why := d.remedy()
	check, cost := s.next(b, d.carries())
	cost = min(cost, e.cost)
	switch alarm := d.m.check(setup.AlarmID); {
	case d.doubted() && d.last == 0:
		st := d.onceMore(0, cost)
		st.Why = "why.read-twice"
		return st
	case d.doubted():
		return d.onceMore(d.last, cost)
	case why != "" && in.Source == setup.Internal && in.SecondSign != Yes && d.heard[alarm].asked == 0 && d.allows(alarm) && d.steps < limit:
		st := d.step(alarm, "why.second-sign")
		st.Cost = cost
		return st
	case a.Verb != "" && why == "" && d.steps <= limit:
		return Step{Action: a, Why: "why.remedy", Cost: d.mending(s, b, a)}
	case d.steps >= limit+Doubts:
		return d.close(e)
	case d.steps >= limit && check >= 0 && d.m.mendable(check):
		check = -1
	}
	switch again, after := d.worthAgain(s, b, e.cost); {
	case again >= 0 && (check < 0 || after < cost):
		st := d.onceMore(again, 0)
		st.Cost = after
		return st
	case check < 0:
		return d.close(e)
	}
	st := d.step(check, "why.telling")
	st.Cost = cost
	return st
}

// mending is what a remedy is expected to cost, with what comes after it.
func (d *Mind) mending(s *search, b []mass, a Action) float64 {
	cost, total := Seconds(d.m.Setup, a)+s.panel, weight(b)
	cure := d.m.cureFor(d.m.check(a.Part), Result(d.Answers.Looks[a.Part]))
	for _, left := range s.mended(b, a.Part, cure.modes) {
		cost += weight(left) / total * s.quick(left, d.m.works(left[0].view, d.world))
	}
	return cost
}

// apart is what comes when a part was told to be one that must stay apart: a
// further look while the answers do not settle it, and then the call.
func (d *Mind) apart(s *search, b []mass) (Step, bool) {
	for k := range d.heard {
		h := &d.heard[k]
		switch {
		case h.disputed() && d.open(k) && d.allows(k):
			return d.onceMore(k, CallSeconds), true
		case h.disputed(), h.hurt > 1:
			return d.staysApart(s, b, d.m.Checks[k].Part), true
		}
	}
	return Step{}, false
}

// close is the step that ends a search so.
func (d *Mind) close(e ending) Step {
	st := Step{Action: Action{Verb: closing[e.bit]}, Why: "why.ending", Right: e.right, Spares: d.m.names(e), Cost: e.cost}
	if e.right == 0 {
		st.Action.Verb = CallTech // nothing fits: someone who knows must
	}
	return st
}

// staysApart ends with a call to whoever sees to a part that must not be
// touched.
func (d *Mind) staysApart(s *search, b []mass, part string) Step {
	verb := CallTech
	kind, _ := d.m.Setup.PartKind(part)
	for _, k := range setup.Known {
		if k.Kind == kind && k.Look == d.Answers.Looks[part] && k.Fixer == setup.ChairVendor {
			verb = CallChair
		}
	}
	st := Step{Action: Action{Verb: verb}, Why: "why.stays-apart", Cost: CallSeconds}
	for _, e := range s.endings(b) {
		if closing[e.bit] == verb {
			st.Right, st.Spares = e.right, d.m.names(e)
		}
	}
	return st
}

// secure is what comes before any looking: mains where it is in reach, and,
// where one inlet is shared, a second sign that the chair does not carry.
func (d *Mind) secure() (Step, bool) {
	in := &d.Answers
	a := Action{PlugIn, d.outlet()}
	if in.Source == setup.Mains || in.MainsInReach != Yes || in.MainsTried == Yes {
		return Step{}, false
	}
	ok, why := Allowed(d.m.Setup, a, *in)
	k := d.m.check(setup.AlarmID)
	switch {
	case ok:
		return Step{Action: a, Why: "why.source", Cost: Seconds(d.m.Setup, a)}, true
	case why == "gate.one-inlet" && in.Source != setup.Chair && in.BagInHand == Yes && d.heard[k].asked == 0:
		return d.step(k, "why.second-sign"), true
	}
	return Step{}, false
}

// noLooking is what is left where the gate allows no look at the chain: the
// panel once more where it could not be read, and a call.
func (d *Mind) noLooking(cost float64) Step {
	if h := &d.heard[0]; d.Answers.Source == "" && (h.asked == 1 || d.open(0) && len(h.told) > 1) {
		return d.onceMore(0, cost)
	}
	return Step{Action: Action{Verb: CallClinic}, Why: "why.no-looking", Cost: CallSeconds, Right: 1}
}

// onceMore asks again what was answered already; cost is what is expected
// after it.
func (d *Mind) onceMore(check int, cost float64) Step {
	st := d.step(check, "why.again")
	st.Again, st.Cost = check == d.last, cost+d.seconds(check)
	return st
}

// seconds of a further look.
func (d *Mind) seconds(check int) float64 {
	if check == d.last {
		return again
	}
	return d.m.Checks[check].seconds(d.m.Setup, true)
}

// allows tells whether the gate lets a check be looked at now. A plug's
// contacts are looked at only where it is out already.
func (d *Mind) allows(check int) bool {
	c := d.m.Checks[check]
	ok, _ := Allowed(d.m.Setup, Action{Look, c.Part}, d.Answers)
	return ok && (!c.Contacts || d.out(c.Part))
}

func (d *Mind) step(check int, why string) Step {
	c := d.m.Checks[check]
	return Step{Action: Action{Look, c.Part}, Check: c.ID, Why: why}
}

func (d *Mind) outlet() string {
	for i := range d.m.Setup.Mains {
		if d.m.Setup.Mains[i].Outlet != nil {
			return d.m.Setup.Mains[i].ID
		}
	}
	return ""
}

// search is the choice as it stands: what the gate allows, and was not told
// yet.
func (d *Mind) search() *search {
	s := &search{m: d.m, world: d.world, wrong: Wrong, panel: Seconds(d.m.Setup, Action{Look, setup.PanelID})}
	for k, c := range d.m.Checks {
		out := d.out(c.Part)
		s.costs = append(s.costs, c.seconds(d.m.Setup, out))
		if k == 0 || d.heard[k].asked > 0 || d.world == away && onMainsSide(d.m.Setup, c.Part) {
			continue // what is not plugged in tells nothing
		}
		if d.allows(k) {
			s.open = append(s.open, k)
		}
	}
	return s
}

// out tells whether a plug is known to be out, by two signs: it was told apart,
// or came out of the one inlet when mains was plugged in there, and the panel
// does not say that its own source carries. So one wrong answer takes out
// nothing that carries.
func (d *Mind) out(part string) bool {
	own := carriedBy(d.m.Setup, part)
	if d.stale || d.Answers.Source == "" || d.Answers.Source == own {
		return false
	}
	k := d.m.check(part)
	switch {
	case k < 0 || d.mended[part]:
		return false
	case d.plugged && d.m.Setup.Ventilator.Shared() && own == setup.Chair:
		return d.Answers.Source == setup.Mains
	}
	return d.heard[k].asked > 0 && d.heard[k].shown == Result(setup.LookApart)
}

// carries tells whether the search may end as working: the gate lets it, and
// the panel was read so twice since anything changed.
func (d *Mind) carries() bool {
	ok, _ := Allowed(d.m.Setup, Action{Verb: Untrusted}, d.Answers)
	return ok && d.heard[0].told[d.heard[0].shown] > 1
}

func outside(s setup.Source) bool { return s == setup.Mains || s == setup.Chair }

// refusal is why the gate allows no look at the chain.
func (d *Mind) refusal() string {
	_, why := Allowed(d.m.Setup, Action{Look, d.m.Setup.Chain[0].ID}, d.Answers)
	return why
}

// likeliest keeps the likeliest causes: those that make up all but a hundredth,
// 100 at most. The search ahead needs no more.
func likeliest(b []mass) []mass {
	total, sum := weight(b), 0.0
	var out []mass
	for _, x := range b {
		if x.p > total/1e5 {
			out = append(out, x)
		}
	}
	slices.SortStableFunc(out, func(x, y mass) int { return cmp.Compare(y.p, x.p) })
	for i, x := range out {
		if sum += x.p; sum >= .99*total || i == 99 {
			return out[:i+1]
		}
	}
	return out
}

// remedy is one that was seen to be wanted, and was not used yet; why is the
// gate's reason where it wants a second sign first.
func (d *Mind) remedy() (a Action, why string) {
	total := weight(d.b)
	for k, c := range d.m.Checks {
		look, seen := d.Answers.Looks[c.Part]
		if !seen || c.Contacts || d.mended[c.Part] {
			continue
		}
		cure := d.m.cureFor(k, Result(look))
		if cure.verb == "" {
			continue
		}
		p := 0.0
		for _, x := range d.b {
			if d.m.without(x.view, c.Part, cure.modes) != x.view {
				p += x.p
			}
		}
		if p < .2*total {
			continue
		}
		wanted := Action{cure.verb, c.Part}
		switch ok, refused := Allowed(d.m.Setup, wanted, d.Answers); {
		case ok:
			return wanted, ""
		case refused == "gate.one-inlet", refused == "gate.carrying-push":
			why = refused
		}
	}
	return Action{}, why
}

// again is what a second look costs right after the first.
const again = 5

// doubt is how much of what is believed must speak against an answer for it to
// be asked again at once; what a remedy would mend counts twice (our own
// figure, by which endings stay right with one look in twenty misread).
const doubt = .01

// doubted tells whether what was looked at last is worth a second look while
// one is there. A panel that would let someone go is always read twice.
func (d *Mind) doubted() bool {
	switch {
	case d.last < 0 || !d.open(d.last) || d.heard[d.last].shown == Unclear || !d.allows(d.last):
		return false
	case d.last == 0:
		return outside(d.Answers.Source) && !d.carries()
	}
	return d.against(d.b, d.last) > doubt
}

// against is how much of a belief speaks against what a check showed; what a
// remedy would mend counts twice.
func (d *Mind) against(b []mass, check int) float64 {
	p := 0.0
	for _, x := range b {
		code := d.m.show(d.world, x.view, check)
		switch {
		case d.m.results[code] == d.heard[check].shown:
		case d.m.cure[check][code].verb != "":
			p += 2 * x.p
		default:
			p += x.p
		}
	}
	return p / weight(b)
}

// open tells whether a check may be asked once more: it told something once, or
// two things that differ, or nothing yet. Three times are enough.
func (d *Mind) open(check int) bool {
	h := &d.heard[check]
	return h.asked > 0 && h.asked < 3 && (h.clear() < 2 || len(h.told) > 1)
}

// thrift is how many seconds a second look later must save for each it costs
// (our own figure: one that leads nowhere tires more than it costs).
const thrift = 4

// worthAgain is the open check of which a further look costs least, with what it
// costs to end after it; −1 if none saves enough.
func (d *Mind) worthAgain(s *search, b []mass, least float64) (best int, cost float64) {
	best, cost = -1, least
	total := weight(b)
	after := make([]mass, len(b))
	for k, c := range d.m.Checks {
		if !d.open(k) || !d.allows(k) {
			continue
		}
		here := d.seconds(k)
		if d.against(b, k)*(CallSeconds+Wrong) < thrift*here {
			continue
		}
		look := here
		here += d.m.Untold * least
		for _, r := range d.m.told[k] {
			for i, x := range b {
				after[i] = x
				after[i].p *= d.likely(x.view, k, r)
			}
			p := weight(after) / total
			if p < 1e-4 {
				continue
			}
			cure := d.m.cureFor(k, r)
			switch {
			case k == 0:
				here += p * s.quick(after, outside(r.Source()))
			case cure.verb == "" || d.mended[c.Part]:
				here += p * s.quick(after, d.carries())
			default:
				here += p * (Seconds(d.m.Setup, Action{cure.verb, c.Part}) + s.panel)
				for _, left := range s.mended(after, c.Part, cure.modes) {
					here += weight(left) / total * s.quick(left, d.m.works(left[0].view, d.world))
				}
			}
		}
		if here+(thrift-1)*look < cost {
			best, cost = k, here
		}
	}
	return best, cost
}
