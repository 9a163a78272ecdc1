package diagnosis

import (
	"fmt"
	"slices"
	"strings"

	"lampwright/lessons/setup"
)

// Figures are how well the engine does on a set-up, in seconds an outing of
// the search: over every single fault by its prior, or over random runs.
type Figures struct {
	Runs        int
	Mean        float64 // the engine's cost
	Unavoidable float64 // with the fault known
	Optimum     float64 // of dynamic programming, which knows that there is one fault and that looks are never misread
	Checklist   float64 // of the order usually taught: panel, inlet switch, battery-side joint, ventilator-side joint, fuse, plug contacts (common practice, no source)
	Right       float64 // share of right endings
	Fixable     float64 // of what a caregiver may fix, the share that was
	Unsafe      int     // steps offered that the gate refuses, by what was answered or by the truth
	MaxSteps    int     // looks, remedies and the ending; neither the person nor a second look at the same place
}

// truth is a set-up as it is.
type truth struct {
	view, world int
	fixed, fine bool
}

// do is what a step costs, and what comes of it.
func (t *truth) do(m *Model, st Step, out bool) (seconds float64, done Done) {
	switch st.Action.Verb {
	case AskPerson:
		shows := PersonOK
		if m.results[m.show(t.world, t.view, 0)].Source() == setup.None {
			shows = PersonNotOK
		}
		return 0, Done{Check: PersonID, Shows: shows}
	case Look:
		k := m.check(st.Check)
		seconds = m.Checks[k].seconds(m.Setup, out)
		if st.Again {
			seconds = again
		}
		return seconds, Done{Check: st.Check, Shows: m.results[m.show(t.world, t.view, k)]}
	case SwitchOn, PushHome:
		view := m.without(t.view, st.Action.Part, m.mends(st.Action))
		t.fixed = t.fixed || view != t.view
		t.view = view
	}
	t.world = m.after(t.world, st.Action)
	return Seconds(m.Setup, st.Action), Done{Action: st.Action}
}

// ends tells whether an ending is right for what is true.
func (t *truth) ends(m *Model, st Step) bool {
	if st.Action.Verb == CallRescue || st.Action.Verb == CallClinic {
		return true // the person first: never wrong
	}
	e := ending{spares: [2]int{-1, -1}}
	for bit, verb := range closing {
		if verb == st.Action.Verb {
			e.bit = bit
		}
	}
	for i, name := range st.Spares {
		e.spares[i] = slices.Index(m.spares, name)
	}
	s := search{m: m, world: t.world}
	return s.fits(e, mass{view: t.view, fixed: t.fixed, fine: t.fine})
}

// Noise draws what a caregiver tells of a look: nil for the truth.
type Noise func(m *Model, check int, shows Result) Result

// outcome is one run.
type outcome struct {
	seconds float64
	steps   int
	right   bool
	fixed   bool // it ended solved, and rightly
	unsafe  int
}

// thoughts remembers the steps after a history, so that runs that begin alike
// think once.
type thoughts map[string]thought

type thought struct {
	step   Step
	out    bool // a plug looked at is out already
	unsafe int
}

// run follows the engine to an ending.
func (m *Model) run(care Care, cause int, noise Noise, before thoughts) (outcome, error) {
	t := truth{view: cause, fine: m.works(cause, away)}
	var done []Done
	var o outcome
	name, told := strings.Builder{}, map[string]bool{}
	for range 60 {
		now, known := before[name.String()]
		if !known {
			d, err := m.Think(care, done)
			if err != nil {
				return o, err
			}
			now = thought{step: d.Next()}
			now.out = d.out(now.step.Action.Part)
			if ok, _ := Allowed(m.Setup, now.step.Action, d.Answers); !ok {
				now.unsafe = 1
			}
			if before != nil {
				before[name.String()] = now
			}
		}
		st := now.step
		o.unsafe += now.unsafe
		if seen := st.Check + string(st.Action.Verb) + st.Action.Part; st.Action.Verb != AskPerson && !told[seen] {
			told[seen] = true
			o.steps++
		}
		if st.Action.Verb != Look {
			told[setup.PanelID+string(Look)+setup.PanelID] = false // it is read anew
		}
		if ends(st.Action.Verb) {
			if calls(st.Action.Verb) {
				o.seconds += CallSeconds
			}
			o.right = t.ends(m, st)
			o.fixed = o.right && st.Action.Verb == Solved
			return o, nil
		}
		cost, x := t.do(m, st, now.out)
		if noise != nil && x.Check != "" && x.Check != PersonID {
			x.Shows = noise(m, m.check(x.Check), x.Shows)
		}
		o.seconds += cost
		done = append(done, x)
		fmt.Fprintf(&name, "%s=%s%s%s;", x.Check, x.Shows, x.Action.Verb, x.Action.Part)
	}
	return o, nil
}

func ends(v Verb) bool { return calls(v) || v == Solved || v == Untrusted || v == CallRescue }

func calls(v Verb) bool { return v == CallTech || v == CallChair || v == CallClinic }

// Enumerate runs every single cause, weighted by its prior, all looks read as
// they are.
func (m *Model) Enumerate(care Care) (Figures, error) {
	var f Figures
	before := thoughts{}
	total, fixable := 0.0, 0.0
	for i := range m.single {
		o, err := m.run(care, i, nil, before)
		if err != nil {
			return f, err
		}
		can := m.fixable(i, care)
		f.add(can, o, m.Causes[i].Prior)
		total += m.Causes[i].Prior
		if can {
			fixable += m.Causes[i].Prior
		}
		f.Unavoidable += m.Causes[i].Prior * m.unavoidable(i, care)
		f.Checklist += m.Causes[i].Prior * m.checklist(i, care)
	}
	f.share(total, fixable)
	f.Unavoidable, f.Checklist = f.Unavoidable/total, f.Checklist/total
	f.Optimum = m.optimum(care)
	return f, nil
}

func (f *Figures) add(fixable bool, o outcome, p float64) {
	f.Runs++
	f.Mean += p * o.seconds
	if o.right {
		f.Right += p
	}
	if o.fixed && fixable {
		f.Fixable += p
	}
	f.Unsafe += o.unsafe
	f.MaxSteps = max(f.MaxSteps, o.steps)
}

func (f *Figures) share(total, fixable float64) {
	f.Mean, f.Right = f.Mean/total, f.Right/total
	if fixable > 0 {
		f.Fixable /= fixable
	}
}

// start is the world once a source is secured, and what that cost.
func (m *Model) start(care Care) (world int, seconds float64) {
	seconds = Seconds(m.Setup, Action{Look, setup.PanelID})
	if care.MainsInReach {
		return atWall, 2*seconds + Seconds(m.Setup, Action{Verb: PlugIn})
	}
	return away, seconds
}

// fixable tells whether a cause shows, and remedies take all of it away.
func (m *Model) fixable(cause int, care Care) bool {
	world, _ := m.start(care)
	c := m.Causes[cause]
	return len(c.Faults) > 0 && !(m.rides(cause) && m.works(cause, world)) && !slices.ContainsFunc(c.Faults, func(f setup.Fault) bool {
		_, can := m.remedy(f.Part, f.Mode)
		return !can
	})
}

// unavoidable is what a cause costs with the fault known: the look the gate
// wants before a remedy, the remedy and the panel after it; or the call.
func (m *Model) unavoidable(cause int, care Care) float64 {
	world, seconds := m.start(care)
	if bits := m.fate[cause].bits[world]; bits&(solved|untrusted) != 0 {
		return seconds
	}
	if !m.fixable(cause, care) {
		return seconds + CallSeconds
	}
	for _, f := range m.Causes[cause].Faults {
		verb, _ := m.remedy(f.Part, f.Mode)
		seconds += Seconds(m.Setup, Action{Look, f.Part}) + Seconds(m.Setup, Action{verb, f.Part}) + Seconds(m.Setup, Action{Look, setup.PanelID})
	}
	return seconds
}

// optimum is the least expected cost over the single causes, none misread.
func (m *Model) optimum(care Care) float64 {
	world, seconds := m.start(care)
	d, err := m.Think(care, m.opening(care))
	if err != nil {
		return 0
	}
	s := d.search()
	s.world, s.wrong = world, neverWrong
	var b []mass
	for i := range m.single {
		b = append(b, mass{i, false, m.works(i, away), m.Causes[i].Prior})
	}
	total, cost := weight(b), seconds
	for _, g := range s.split(b, 0) {
		known := map[string][2]float64{}
		cost += weight(g) / total * s.least(g, known)[1]
	}
	return cost
}

// neverWrong is so much that no seconds saved are worth a wrong ending.
const neverWrong = 1e6

// opening is how a search begins with all well: the person, the panel on the
// internal battery, and mains where it is in reach.
func (m *Model) opening(care Care) []Done {
	done := []Done{{Check: PersonID, Shows: PersonOK}, {Check: setup.PanelID, Shows: Result(setup.Internal)}}
	if care.MainsInReach {
		d := Mind{m: m}
		done = append(done, Done{Action: Action{PlugIn, d.outlet()}}, Done{Check: setup.PanelID, Shows: Result(setup.Mains)})
	}
	return done
}

// checklist is what the order usually taught costs: look, mend what has a
// remedy, and call once something is found or nothing is: it has no other end.
func (m *Model) checklist(cause int, care Care) float64 {
	world, seconds := m.start(care)
	works := m.rides(cause)
	view := cause
	for _, id := range m.taught() {
		k := m.check(id)
		c := m.Checks[k]
		if c.Contacts && works {
			break // nobody takes out what carries
		}
		seconds += c.seconds(m.Setup, false)
		shows := m.results[m.show(world, view, k)]
		if c.Contacts { // with the plug in the hand, all of it is seen
			if plug := m.results[m.show(world, view, m.check(c.Part))]; plug != Result(setup.LookSound) {
				shows = plug
			}
		}
		if shows == Result(setup.LookSound) {
			continue
		}
		cure := m.cureFor(m.check(c.Part), shows)
		if cure.verb == "" {
			break
		}
		seconds += Seconds(m.Setup, Action{cure.verb, c.Part}) + Seconds(m.Setup, Action{Look, setup.PanelID})
		if view = m.without(view, c.Part, cure.modes); m.rides(view) {
			return seconds
		}
	}
	return seconds + CallSeconds
}

// taught is the order usually taught, as far as the set-up has it.
func (m *Model) taught() []string {
	var switches, near, far, fuse, plug []string
	s := m.Setup
	if id := s.Ventilator.InletFor(setup.Chair).Switch; id != "" {
		switches = append(switches, id)
	}
	for i := range s.Chain {
		p := &s.Chain[i]
		switch {
		case p.Joint != nil && nearBattery(s, p.ID):
			near = append(near, p.ID)
		case p.Joint != nil:
			far = append(far, p.ID)
		case p.Fuse != nil:
			fuse = append(fuse, p.ID)
		case p.Plug != nil:
			plug = append(plug, p.ID+contacts)
		}
	}
	return slices.Concat(switches, near, far, fuse, plug)
}

// Sample runs causes drawn by their priors: single ones, or, with pairs, pairs.
// random gives numbers from 0 to 1, misread is how often a look is really
// taken for another.
func (m *Model) Sample(care Care, runs int, misread float64, pairs bool, random func() float64) (Figures, error) {
	var f Figures
	from, to := 0, m.single
	if pairs {
		from, to = m.single, len(m.Causes)
	}
	total := 0.0
	for _, c := range m.Causes[from:to] {
		total += c.Prior
	}
	noise := func(m *Model, check int, shows Result) Result {
		if random() >= misread {
			return shows
		}
		others := slices.DeleteFunc(m.Results(check), func(r Result) bool { return r == shows })
		if len(others) == 0 {
			return shows
		}
		return others[min(len(others)-1, int(random()*float64(len(others))))]
	}
	before, fixable := thoughts{}, 0.0
	for range runs {
		at, cause := random()*total, from
		for cause < to-1 && at >= m.Causes[cause].Prior {
			at -= m.Causes[cause].Prior
			cause++
		}
		o, err := m.run(care, cause, noise, before)
		if err != nil {
			return f, err
		}
		can := m.fixable(cause, care)
		f.add(can, o, 1)
		if can {
			fixable++
		}
		f.Unavoidable += m.unavoidable(cause, care)
		f.Checklist += m.checklist(cause, care)
	}
	f.share(float64(runs), fixable)
	f.Unavoidable, f.Checklist = f.Unavoidable/float64(runs), f.Checklist/float64(runs)
	f.Optimum = m.optimum(care)
	return f, nil
}
