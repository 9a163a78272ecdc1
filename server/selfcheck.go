package server

import (
	"cmp"
	"crypto/rand"
	"encoding/json"
	"fmt"
	"maps"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"github.com/gofiber/fiber/v2"
	qr "github.com/piglig/go-qr"
	"github.com/valyala/fasthttp"

	"lampwright/lessons/circuit"
	"lampwright/lessons/figure"
	"lampwright/lessons/setup"
	"lampwright/locales"
	"lampwright/locales/problem"
	"lampwright/quiz"
	"lampwright/quiz/diagnosis"
	"lampwright/server/page"
	"lampwright/server/record"
)

// Bounds of a self-check.
const (
	checkSteps   = 40   // things done; there it ends in a call
	checkMinutes = 1440 // on the internal battery, and since a check began
	checkAnswers = 5    // on one screen, beside "I can't tell"
	checkLooks   = 4    // of a set-up that is in order
	mostKnown    = 32   // set-ups whose model is kept
)

// contactSeconds is a close look at a plug's contacts with its handling, as
// the engine counts it.
const contactSeconds = 120

// What a self-check is for, and how one may end.
const (
	forNow, forOut, forShift = "now", "out", "shift"

	endSolved, endUntrusted, endCall, endEmergency, endInOrder = "solved", "untrusted", "call", "emergency", "in-order"
)

var checkEndings = map[diagnosis.Verb]string{
	diagnosis.Solved: endSolved, diagnosis.Untrusted: endUntrusted, diagnosis.CallRescue: endEmergency,
	diagnosis.CallTech: endCall, diagnosis.CallChair: endCall, diagnosis.CallClinic: endCall,
}

// known are the models of set-ups, each made on first use. A version never
// changes, so none goes stale.
type known struct {
	cache[func() (*checking, error)]
}

func (m *Main) checkingOf(r record.Setup) (*checking, error) {
	s, err := m.setupOf(r)
	if err != nil {
		return nil, err
	}
	key := r.ID + " " + r.Version
	make1, ok := m.known.get(key)
	if !ok {
		make1 = m.known.put(key, sync.OnceValues(func() (*checking, error) { return newChecking(s) }), mostKnown)
	}
	return make1()
}

// checking is a set-up's model with what can be seen at each check: in which
// order it is offered, and under which conditions it looks so.
type checking struct {
	model   *diagnosis.Model
	results [][]diagnosis.Result
	looks   []map[diagnosis.Result]circuit.Conditions
}

func newChecking(s *setup.Setup) (*checking, error) {
	model, err := diagnosis.NewModel(s, nil)
	if err != nil {
		return nil, err
	}
	k := &checking{model: model}
	type found struct {
		rank   int
		weight float64
	}
	seen := make([]map[diagnosis.Result]found, len(model.Checks))
	wanted := 0
	for i := range model.Checks {
		list := model.Results(i)
		wanted += len(list)
		k.results = append(k.results, list)
		k.looks = append(k.looks, map[diagnosis.Result]circuit.Conditions{})
		seen[i] = map[diagnosis.Result]found{}
	}
	have := 0
	for _, c := range model.Causes {
		if len(c.Faults) > 1 && have == wanted {
			break // pairs are needed only for what no single fault shows
		}
		for _, mains := range []bool{false, true} {
			at := circuit.Usual(c.Faults...)
			at.Mains = mains
			st, err := circuit.Solve(s, at)
			if err != nil {
				return nil, err
			}
			for i, check := range model.Checks {
				r := check.Shows(s, &st)
				f, had := seen[i][r]
				if !had {
					have++
					f.rank = 1 << 10
				}
				if rank := plainness(c.Faults, check.Part); rank < f.rank {
					f.rank, k.looks[i][r] = rank, at
				}
				if len(c.Faults) < 2 && slices.ContainsFunc(c.Faults, func(f setup.Fault) bool { return f.Part == check.Part }) {
					f.weight += c.Prior
				}
				seen[i][r] = f
			}
		}
	}
	for i, list := range k.results {
		slices.SortStableFunc(list, func(a, b diagnosis.Result) int {
			if i == 0 {
				return cmp.Compare(panelPlace(a), panelPlace(b))
			}
			return cmp.Or(cmp.Compare(usualPlace(a), usualPlace(b)), cmp.Compare(seen[i][b].weight, seen[i][a].weight))
		})
	}
	return k, nil
}

// plainness ranks causes as examples of a look: nothing wrong, the part's own
// fault, any other.
func plainness(faults []setup.Fault, part string) int {
	switch {
	case len(faults) == 0:
		return 0
	case len(faults) == 1 && faults[0].Part == part:
		return 1
	}
	return 1 + len(faults)
}

// panelOrder is how readings of the panel are offered.
var panelOrder = []diagnosis.Result{
	diagnosis.Result(setup.Mains), diagnosis.Result(setup.Chair), diagnosis.Result(setup.Internal), diagnosis.Changes, diagnosis.Result(setup.None),
}

func panelPlace(r diagnosis.Result) int {
	if i := slices.Index(panelOrder, r); i >= 0 {
		return i
	}
	return len(panelOrder)
}

// usualPlace puts what a sound part shows first.
func usualPlace(r diagnosis.Result) int {
	if r == diagnosis.Result(setup.LookSound) || r == diagnosis.Quiet {
		return 0
	}
	return 1
}

func (k *checking) check(id string) int {
	return slices.IndexFunc(k.model.Checks, func(c diagnosis.Check) bool { return c.ID == id })
}

// selfCheck is one self-check so far, all of it from the address.
type selfCheck struct {
	speak   locales.Speaker
	given   url.Values // what of it belongs here, as given
	purpose string     // "" before the set-up was recognised
	cared   bool       // the questions that are asked once were answered
	answers careAnswers
	filled  []page.CheckField // those questions again, where one was answered wrongly
	gone    float64           // minutes since they were answered
	lost    bool              // when that was cannot be believed
	done    []diagnosis.Done
	unread  bool   // what was done cannot be read
	packed  string // the bag, before going out: "yes", "no", or not asked yet
	stop    bool   // a remedy could not be done
	more    bool   // the rarer answers
	sent    bool   // to the desk, as the records say
}

// careAnswers is what is asked once, as it was answered and as a report keeps
// it: what was not asked is absent.
type careAnswers struct {
	MainsInReach *bool    `json:",omitempty"`
	Minutes      *float64 `json:",omitempty"`
	Night        *bool    `json:",omitempty"`
	Alone        *bool    `json:",omitempty"`
	NoBag        *bool    `json:",omitempty"`
}

// care is what the engine goes by. Someone alone cannot bag and handle a plug
// at the same time: for them it is as at night.
func (a careAnswers) care() diagnosis.Care {
	yes := func(b *bool) bool { return b != nil && *b }
	return diagnosis.Care{MainsInReach: yes(a.MainsInReach), Minutes: a.Minutes, Night: yes(a.Night) || yes(a.Alone), NoBag: yes(a.NoBag)}
}

// careQuestions are asked once, together and in this order, beside the
// minutes; where one may choose, it is among these.
var careQuestions = []page.CheckField{
	{Name: "mains", Of: []string{"yes", "no"}},
	{Name: "bag", Of: []string{"yes", "no"}},
	{Name: "with", Of: []string{"two", "alone"}},
	{Name: "when", Of: []string{"day", "night"}},
	{Name: "minutes"},
}

// The names in the address; those of the questions asked once come together,
// with the minute in which they were answered.
var (
	careNames  = []string{"mains", "bag", "with", "when", "minutes", "since"}
	checkNames = append([]string{"for", "did", "packed", "stop", "more", "sent"}, careNames...)
)

// readCheck reads a self-check. Its errors are problem.Invalid and say what
// was expected.
func readCheck(speak locales.Speaker, args *fasthttp.Args, k *checking, now time.Time) (*selfCheck, error) {
	q := &selfCheck{speak: speak, given: url.Values{}}
	for _, name := range checkNames {
		for _, v := range args.PeekMulti(name) {
			q.given.Add(name, string(v))
		}
	}
	if len(q.given) == 0 {
		return q, nil
	}
	var err error
	if q.purpose, err = q.word("for", "for", forNow, forOut, forShift); err != nil {
		return nil, err
	}
	for name, to := range map[string]*bool{"stop": &q.stop, "more": &q.more} {
		if q.given.Has(name) {
			if _, err := q.word(name, name, "yes"); err != nil {
				return nil, err
			}
			*to = true
		}
	}
	if q.given.Has("packed") {
		if q.packed, err = q.word("packed", "packed", "yes", "no"); err != nil {
			return nil, err
		}
	}
	q.readCare()
	q.readSince(now)
	q.readDone(k)
	return q, nil
}

func wrongValue(field, value, expected string) error {
	text := []rune(strings.ToValidUTF8(value, "\ufffd"))
	if len(text) == 0 {
		return problem.New(problem.Invalid, "problem.empty", "Field", field, "Expected", expected)
	}
	return problem.New(problem.Invalid, "problem.value", "Field", field, "Value", string(text[:min(len(text), 60)]), "Expected", expected)
}

func (q *selfCheck) word(name, field string, allowed ...string) (string, error) {
	v := q.given.Get(name)
	if !slices.Contains(allowed, v) {
		return "", wrongValue(field, v, strings.Join(allowed, ", "))
	}
	return v, nil
}

// readCare reads what is asked once. Where something in it is wrong, all of it
// is asked again, filled in, and none of it counts as answered.
func (q *selfCheck) readCare() {
	if !slices.ContainsFunc(careQuestions, func(f page.CheckField) bool { return q.given.Has(f.Name) }) {
		return
	}
	q.cared = true
	said := map[string]*bool{}
	for _, f := range careQuestions {
		var err error
		if f.Of == nil {
			q.answers.Minutes, err = q.minutes(f.Name)
		} else {
			first := q.given.Get(f.Name) == f.Of[0]
			said[f.Name] = &first
		}
		switch {
		case err != nil:
			q.cared, f.Wrong = false, q.speak.Problem(problem.Of(err))
		case f.Of != nil && !slices.Contains(f.Of, q.given.Get(f.Name)):
			q.cared, f.Wrong = false, q.speak.T("selfcheck.care.choose")
		}
		text := []rune(strings.ToValidUTF8(q.given.Get(f.Name), "\ufffd"))
		f.Value = string(text[:min(len(text), filledMost)])
		q.filled = append(q.filled, f)
	}
	if q.cared {
		q.filled = nil
		not := func(b *bool) *bool { other := !*b; return &other }
		q.answers.MainsInReach, q.answers.NoBag = said["mains"], not(said["bag"])
		q.answers.Alone, q.answers.Night = not(said["with"]), not(said["when"])
		return
	}
	q.answers = careAnswers{}
	for _, name := range careNames {
		q.given.Del(name)
	}
}

// filledMost is how much of what was filled in is shown again.
const filledMost = 20

// minutes left on the internal battery, nil where they are not known.
func (q *selfCheck) minutes(name string) (*float64, error) {
	text := strings.TrimSpace(q.given.Get(name))
	if text == "" {
		return nil, nil //nolint:nilnil // not known is no error
	}
	n, err := strconv.ParseUint(westernDigits.Replace(text), 10, 16)
	if err != nil || n > checkMinutes {
		return nil, wrongValue(q.speak.T("selfcheck.care."+name), text, q.speak.T("selfcheck.expect.minutes", "Most", checkMinutes))
	}
	minutes := float64(n)
	return &minutes, nil
}

// readSince reads how long ago the minutes were told. Where that cannot be
// believed, they are not known any more.
func (q *selfCheck) readSince(now time.Time) {
	if !q.given.Has("since") {
		return
	}
	n, err := strconv.ParseInt(q.given.Get("since"), 10, 64)
	gone := minuteOf(now) - n
	if q.lost = err != nil || gone < 0 || gone > checkMinutes; !q.lost {
		q.gone = float64(gone)
	}
}

func minuteOf(t time.Time) int64 { return t.Unix() / 60 }

// doing marks a remedy among what was done.
const doing = "do:"

// readDone reads what was done. What cannot be read, or not any more, leaves
// nothing to go by.
func (q *selfCheck) readDone(k *checking) {
	did := q.given["did"]
	q.unread = len(did) > checkSteps
	for i, text := range did {
		x, ok := k.parse(text)
		if q.unread = q.unread || !ok || (x.Check == diagnosis.PersonID) != (i == 0); q.unread {
			return
		}
		q.done = append(q.done, x)
	}
}

func (k *checking) parse(text string) (x diagnosis.Done, ok bool) {
	s := k.model.Setup
	if rest, is := strings.CutPrefix(text, doing); is {
		x.Action = parseAction(rest)
		part := s.Part(x.Action.Part)
		switch x.Action.Verb {
		case diagnosis.PlugIn:
			return x, part != nil && part.Outlet != nil
		case diagnosis.SwitchOn, diagnosis.PushHome:
			return x, k.check(x.Action.Part) > 0
		}
		return x, false
	}
	check, shows, cut := strings.Cut(text, ":")
	x.Check, x.Shows = check, diagnosis.Result(shows)
	return x, cut && check != ""
}

// left is what is left on the internal battery; nil where it is not known.
// What is gone is what the clock says, or what the looks usually take where
// that is more; an outside source stops the latter.
func (q *selfCheck) left(k *checking) *float64 {
	if q.answers.Minutes == nil || q.lost {
		return nil
	}
	seconds, carried := 0.0, false
	for _, x := range q.done {
		if !carried {
			seconds += k.seconds(x)
		}
		if x.Check == setup.PanelID {
			carried = outside(x.Shows.Source())
		}
	}
	left := max(0, *q.answers.Minutes-max(q.gone, seconds/60))
	return &left
}

func outside(s setup.Source) bool { return s == setup.Mains || s == setup.Chair }

func (k *checking) seconds(x diagnosis.Done) float64 {
	if x.Check == "" {
		return diagnosis.Seconds(k.model.Setup, x.Action)
	}
	i := k.check(x.Check)
	switch {
	case i < 0: // the person
		return 0
	case k.model.Checks[i].Contacts:
		return contactSeconds
	}
	return diagnosis.Seconds(k.model.Setup, diagnosis.Action{Verb: diagnosis.Look, Part: k.model.Checks[i].Part})
}

// stand is where a self-check stands: what is known, and what comes next.
type stand struct {
	mind   *diagnosis.Mind
	step   diagnosis.Step
	ending string // "" while there is something to do
	pack   bool   // the bag's list is next
}

// stands thinks through what was done. What this set-up does not know, as it
// is now, cannot be read: that is a call.
func (q *selfCheck) stands(k *checking) (st stand, err error) {
	care := q.answers.care()
	care.Minutes = q.left(k)
	if !q.unread {
		st.mind, err = k.model.Think(care, q.done)
		q.unread = problem.Is(err, problem.Invalid)
	}
	if q.unread {
		q.done = nil
		st.step, st.ending = diagnosis.Step{Action: diagnosis.Action{Verb: diagnosis.CallClinic}}, endCall
		st.mind, err = k.model.Think(care, nil)
	}
	if err != nil || q.unread {
		return st, err
	}
	st.step = st.mind.Next()
	in := &st.mind.Answers
	urgent := st.step.Action.Verb == diagnosis.AskPerson || st.step.Action.Verb == diagnosis.CallRescue
	switch {
	case urgent:
	case q.stop, len(q.done) == checkSteps && checkEndings[st.step.Action.Verb] == "":
		verb := diagnosis.CallTech
		if !outside(in.Source) {
			verb = diagnosis.CallClinic
		}
		st.step = diagnosis.Step{Action: diagnosis.Action{Verb: verb}}
	case q.purpose != forNow && st.step.Check != setup.PanelID && in.PanelSeen == diagnosis.Yes && k.inOrder(q.done):
		look, ok := k.telling(st.mind, q.done)
		switch {
		case ok:
			st.step = look
		case q.purpose == forOut && q.packed == "":
			st.pack = true
			return st, nil
		case q.packed == "no":
			st.step, st.ending = diagnosis.Step{Action: diagnosis.Action{Verb: diagnosis.Untrusted}}, endUntrusted
			return st, nil
		default:
			st.ending = endInOrder
			return st, nil
		}
	}
	st.ending = checkEndings[st.step.Action.Verb]
	return st, nil
}

// inOrder tells whether all that was seen so far is as it should be.
func (k *checking) inOrder(done []diagnosis.Done) bool {
	for _, x := range done {
		switch {
		case x.Check == diagnosis.PersonID && x.Shows == diagnosis.PersonOK:
		case x.Check == setup.PanelID && (x.Shows == diagnosis.Result(setup.Mains) || x.Shows == diagnosis.Result(setup.Chair)):
		case x.Check != "" && usualPlace(x.Shows) == 0:
		default:
			return false
		}
	}
	return true
}

// telling is the next look at a set-up that seems in order: the alarm, then
// the parts that by all that is believed most likely show something.
func (k *checking) telling(d *diagnosis.Mind, done []diagnosis.Done) (diagnosis.Step, bool) {
	asked := map[string]bool{}
	for _, x := range done {
		asked[x.Check] = true
	}
	look := func(c diagnosis.Check) diagnosis.Step {
		return diagnosis.Step{Action: diagnosis.Action{Verb: diagnosis.Look, Part: c.Part}, Check: c.ID}
	}
	if i := k.check(setup.AlarmID); i > 0 && !asked[setup.AlarmID] {
		return look(k.model.Checks[i]), true
	}
	if len(done) >= 3+checkLooks { // the person, the panel and the alarm beside them
		return diagnosis.Step{}, false
	}
	weight := map[string]float64{}
	for _, c := range d.Causes() {
		for _, f := range c.Faults {
			kind, _ := k.model.Setup.PartKind(f.Part)
			if known, _ := setup.Of(kind, f.Mode); known.Look != setup.LookSound {
				weight[f.Part] += c.P
			}
		}
	}
	var best diagnosis.Step
	most := 0.0
	for i, c := range k.model.Checks {
		away := d.Answers.Source == setup.Chair && slices.ContainsFunc(k.model.Setup.Mains, func(p setup.Part) bool { return p.ID == c.Part })
		if i == 0 || c.Contacts || asked[c.ID] || away || weight[c.Part] <= most {
			continue
		}
		step := look(c)
		if ok, _ := diagnosis.Allowed(k.model.Setup, step.Action, d.Answers); ok {
			best, most = step, weight[c.Part]
		}
	}
	return best, most > 0
}

// at is the address of a self-check with some of it changed: name, value; a
// value of "" takes it away.
func (q *selfCheck) at(id string, pairs ...string) string {
	v := maps.Clone(q.given)
	for _, name := range []string{"more", "sent"} { // of one screen only
		v.Del(name)
	}
	for i := 0; i < len(pairs); i += 2 {
		switch name, value := pairs[i], pairs[i+1]; {
		case value == "":
			v.Del(name)
		case name == "did":
			v["did"] = append(slices.Clone(v["did"]), value)
		default:
			v.Set(name, value)
		}
	}
	if len(v) == 0 {
		return "/check/" + id
	}
	return "/check/" + id + "?" + v.Encode()
}

// before is the address of the screen before this one.
func (q *selfCheck) before(id string) string {
	for _, name := range []string{"more", "stop", "packed"} {
		if q.given.Has(name) {
			return q.at(id, name, "")
		}
	}
	did := q.given["did"]
	switch {
	case q.unread:
		return "/check/" + id
	case q.purpose == "":
		return "/looks"
	case len(did) > 1, len(did) == 1 && !q.cared:
		shorter := *q
		shorter.given = maps.Clone(q.given)
		shorter.given["did"] = did[:len(did)-1]
		return shorter.at(id)
	case q.cared:
		var pairs []string
		for _, name := range careNames {
			pairs = append(pairs, name, "")
		}
		return q.at(id, pairs...)
	}
	return "/check/" + id
}

// asking is a request to check a set-up, read.
type asking struct {
	v  view
	r  record.Setup
	k  *checking
	q  *selfCheck
	st stand
}

func (m *Main) asking(c *fiber.Ctx, args *fasthttp.Args) (a asking, err error) {
	if a.r, err = m.setupHere(c); err != nil {
		return a, err
	}
	a.v = m.guest(c)
	if a.k, err = m.checkingOf(a.r); err != nil {
		return a, err
	}
	if learnt, err := m.learnt(c, a.r); err == nil {
		k := *a.k
		k.model, a.k = learnt, &k
	} else { // what was learnt helps; without it the check goes on all the same
		m.log.Warn("priors", "error", err)
	}
	if a.q, err = readCheck(a.v.speak, args, a.k, m.now()); err != nil {
		return a, err
	}
	a.v.path = a.q.at(a.r.ID) // another language or size keeps the answers
	if key := a.q.given.Get("sent"); key != "" {
		if a.q.sent, err = m.store.ReportSent(ctx(c), a.r.SiteID, key); err != nil {
			m.log.Warn("report sent", "error", err) // to be told so is not worth an ending
		}
		if a.q.sent {
			a.v.path = a.q.at(a.r.ID, "sent", key)
		}
	}
	a.st, err = a.q.stands(a.k)
	return a, err
}

// check shows the screen that is next in a self-check.
func (m *Main) check(c *fiber.Ctx) error {
	a, err := m.asking(c, c.Context().QueryArgs())
	if err != nil {
		return err
	}
	verb := a.st.step.Action.Verb
	switch {
	case a.q.unread:
		return m.checkUnread(c, a)
	case a.q.cared && !a.q.given.Has("since"): // from here on the address says when the minutes were told
		return c.Redirect(a.q.at(a.r.ID, "since", strconv.FormatInt(minuteOf(m.now()), 10)), fiber.StatusSeeOther)
	case a.q.purpose == "":
		return m.checkStart(c, a)
	case verb == diagnosis.AskPerson:
		return m.checkPerson(c, a)
	case a.st.ending == endEmergency:
		return m.checkEnd(c, a, "")
	case !a.q.cared:
		return m.checkCare(c, a)
	case a.st.pack:
		return m.checkPack(c, a)
	case a.st.ending != "":
		return m.checkEnd(c, a, "")
	case verb == diagnosis.Look:
		return m.checkLook(c, a)
	}
	return m.checkDo(c, a)
}

func (a asking) head() page.CheckHead {
	h := page.CheckHead{Setup: a.r.Tag, Purpose: a.q.speak.T("selfcheck.for." + a.q.purpose), Back: a.q.before(a.r.ID), Still: a.q.still() && a.st.ending == ""}
	in := a.st.mind.Answers
	if a.q.cared && !a.q.unread && !outside(in.Source) {
		h.Minutes = a.q.speak.T("selfcheck.minutes.unknown")
		unreadable := in.PanelSeen == diagnosis.Yes && in.Source == ""
		if a.q.answers.Minutes != nil && !a.q.lost && !unreadable {
			h.Minutes = a.q.speak.T("selfcheck.minutes", "Count", int(*a.q.answers.Minutes))
		}
	}
	return h
}

// stillEvery is after how many looks the person is asked about again.
const stillEvery = 5

// still tells whether the person is to be looked at again: after a remedy, and
// after every so many looks.
func (q *selfCheck) still() bool {
	looks := 0
	for i, x := range q.done {
		switch last := i == len(q.done)-1; {
		case x.Check == "" && last:
			return true
		case x.Check != "" && x.Check != diagnosis.PersonID:
			if looks++; last {
				return looks%stillEvery == 0
			}
		}
	}
	return false
}

func (m *Main) checkStart(c *fiber.Ctx, a asking) error {
	fig, err := m.draw(a.v.speak, a.k.model.Setup, circuit.Usual(), "look", "")
	if err != nil {
		return err
	}
	p := page.CheckStart{Frame: a.v.frame(a.v.speak.T("page.looks")), Setup: a.r.Tag, Panel: figure.Panel(fig)}
	for _, purpose := range []string{forNow, forOut, forShift} {
		p.For = append(p.For, page.CheckAnswer{Link: a.q.at(a.r.ID, "for", purpose), Text: a.v.speak.T("selfcheck.yes." + purpose)})
	}
	return m.render(c, page.CheckStartPage(p))
}

func (m *Main) checkPerson(c *fiber.Ctx, a asking) error {
	t := a.v.speak.T
	p := page.CheckAsk{
		Frame: a.v.frame(t("selfcheck.person")), Head: a.head(),
		How: []string{t("selfcheck.person.chest"), t("selfcheck.person.breath"), t("selfcheck.person.lips"), t("selfcheck.person.ask")},
	}
	for _, r := range []diagnosis.Result{diagnosis.PersonOK, diagnosis.PersonNotOK} {
		p.Answers = append(p.Answers, page.CheckAnswer{Link: a.q.at(a.r.ID, "did", diagnosis.PersonID+":"+string(r)), Text: t("selfcheck.person." + string(r)), Bad: r == diagnosis.PersonNotOK})
	}
	// Not sure counts as not OK.
	p.Unclear = page.CheckAnswer{Link: a.q.at(a.r.ID, "did", diagnosis.PersonID+":"+string(diagnosis.PersonNotOK)), Text: t("selfcheck.unclear")}
	return m.render(c, page.CheckAskPage(p))
}

func (m *Main) checkCare(c *fiber.Ctx, a asking) error {
	p := page.CheckCare{Frame: a.v.frame(a.v.speak.T("selfcheck.care")), Head: a.head(), Action: "/check/" + a.r.ID, Hidden: a.q.hidden(), Fields: careQuestions}
	if len(a.q.filled) > 0 {
		c.Status(fiber.StatusUnprocessableEntity)
		p.Fields = a.q.filled
	}
	return m.render(c, page.CheckCarePage(p))
}

func (q *selfCheck) hidden() (out []page.Hidden) {
	for _, name := range checkNames {
		if name == "more" || name == "sent" {
			continue
		}
		for _, v := range q.given[name] {
			out = append(out, page.Hidden{Name: name, Value: v})
		}
	}
	return out
}

func (m *Main) checkPack(c *fiber.Ctx, a asking) error {
	t := a.v.speak.T
	p := page.CheckAsk{Frame: a.v.frame(t("selfcheck.pack")), Head: a.head()}
	for _, what := range []string{"bag", "suction", "tube", "adapter", "second", "phone"} {
		p.How = append(p.How, t("selfcheck.pack."+what))
	}
	p.Answers = []page.CheckAnswer{
		{Link: a.q.at(a.r.ID, "packed", "yes"), Text: t("selfcheck.pack.yes")}, {Link: a.q.at(a.r.ID, "packed", "no"), Text: t("selfcheck.pack.no"), Bad: true},
	}
	return m.render(c, page.CheckAskPage(p))
}

// checkLook asks what is seen at one place, with a picture of each answer.
func (m *Main) checkLook(c *fiber.Ctx, a asking) error {
	t := a.v.speak.T
	i := a.k.check(a.st.step.Check)
	check := a.k.model.Checks[i]
	name := figure.Name(figure.Words(t), a.k.model.Setup, check.Part)
	title := t("selfcheck.ask", "Part", name)
	p := page.CheckAsk{Head: a.head(), Again: a.st.step.Again}
	switch {
	case i == 0:
		title, p.How = t("selfcheck.ask.panel"), []string{t("selfcheck.how.panel")}
	case check.Contacts:
		title, p.How = t("selfcheck.ask.contacts", "Part", name), []string{t("selfcheck.how.out"), t("selfcheck.how.contacts")}
	case check.Part == setup.AlarmID:
		title = t("selfcheck.ask.alarm")
	default:
		p.How = []string{t("selfcheck.how.look")}
	}
	p.Frame = a.v.frame(title)
	shown, rest := a.k.results[i], []diagnosis.Result(nil)
	if len(shown) > checkAnswers {
		shown, rest = shown[:checkAnswers], shown[checkAnswers:]
	}
	switch {
	case a.q.more && len(rest) > 0:
		shown = rest
	case len(rest) > 0:
		p.More = a.q.at(a.r.ID, "more", "yes")
	}
	for n, r := range shown {
		v, err := m.draw(a.v.speak, a.k.model.Setup, a.k.looks[i][r], "answer"+strconv.Itoa(n), "")
		if err != nil {
			return err
		}
		answer := page.CheckAnswer{Link: a.q.at(a.r.ID, "did", check.ID+":"+string(r)), Text: a.k.says(t, check, r)}
		if i == 0 {
			answer.Figure = figure.Panel(v)
		} else {
			answer.Figure = figure.CloseUp(v, check.Part)
		}
		p.Answers = append(p.Answers, answer)
	}
	p.Unclear = page.CheckAnswer{Link: a.q.at(a.r.ID, "did", check.ID+":"+string(diagnosis.Unclear)), Text: t("selfcheck.unclear")}
	return m.render(c, page.CheckAskPage(p))
}

// says is what a check shows, in the words of its picture.
func (k *checking) says(t func(string, ...any) string, c diagnosis.Check, r diagnosis.Result) string {
	kind, _ := k.model.Setup.PartKind(c.Part)
	switch {
	case r == diagnosis.Unclear:
		return t("selfcheck.unclear.said")
	case c.Part == setup.PanelID:
		source, blank := strings.CutSuffix(string(r), "-blank")
		said := t("selfcheck.panel." + source)
		if blank {
			said = t("selfcheck.panel.and-blank", "Reading", said)
		}
		return said
	case r == diagnosis.Feels:
		return t("selfcheck.feels")
	case kind == setup.KindBattery && r == diagnosis.Result(setup.LookDark):
		return t("figure.seen.blank")
	case kind == setup.KindFuse && r == diagnosis.Result(setup.LookSound) && !k.model.Setup.Part(c.Part).Fuse.Cover:
		return t("figure.seen.covered")
	case c.Contacts && r == diagnosis.Result(setup.LookSound):
		return t("selfcheck.contacts.sound")
	case r == diagnosis.Result(setup.LookSound):
		return figure.Sound(t, k.model.Setup, c.Part)
	}
	return t("figure.seen." + string(r))
}

// checkDo asks for one remedy.
func (m *Main) checkDo(c *fiber.Ctx, a asking) error {
	t := a.v.speak.T
	act := a.st.step.Action
	s := a.k.model.Setup
	name := figure.Name(figure.Words(t), s, act.Part)
	key := "selfcheck.do." + string(act.Verb)
	if act.Verb == diagnosis.PlugIn && s.Ventilator.Shared() {
		key = "selfcheck.do.change-over"
	}
	p := page.CheckDo{
		Frame: a.v.frame(t(key, "Part", name)), Head: a.head(), Caution: t(key + ".caution"), Alone: a.q.answers.Alone != nil && *a.q.answers.Alone,
		Done: a.q.at(a.r.ID, "did", doing+actionText(act)), Cannot: a.q.at(a.r.ID, "stop", "yes"),
	}
	if act.Verb == diagnosis.PlugIn { // then it is not in reach
		p.Cannot = a.q.at(a.r.ID, "mains", "no")
	}
	return m.render(c, page.CheckDoPage(p))
}

// told is what was done, in words and in order.
func (a asking) told() (out []string) {
	t := a.v.speak.T
	s := a.k.model.Setup
	for _, x := range a.q.done {
		switch i := a.k.check(x.Check); {
		case x.Check == diagnosis.PersonID:
			out = append(out, t("selfcheck.said.person."+string(x.Shows)))
		case x.Check == "":
			out = append(out, t("selfcheck.said."+string(x.Action.Verb), "Part", figure.Name(figure.Words(t), s, x.Action.Part)))
		default:
			c := a.k.model.Checks[i]
			name := figure.Name(figure.Words(t), s, c.Part)
			if c.Contacts {
				name = t("selfcheck.said.contacts", "Part", name)
			}
			out = append(out, t("figure.says", "Part", name, "Seen", a.k.says(t, c, x.Shows)))
		}
	}
	return slices.Compact(out) // what was looked at twice is said once
}

// Causes that are worth naming to whoever takes the call.
const (
	likelyMost  = 2
	likelyLeast = .1
)

// likely names what most likely is wrong, by part and look.
func (a asking) likely() (out []string) {
	t := a.v.speak.T
	s := a.k.model.Setup
	for _, c := range a.st.mind.Causes() {
		if len(out) == likelyMost || c.P < likelyLeast {
			break
		}
		var both []string
		for _, f := range c.Faults {
			kind, _ := s.PartKind(f.Part)
			known, _ := setup.Of(kind, f.Mode)
			if f.Mode == setup.Misread {
				continue
			}
			look := t("selfcheck.likely.inside")
			if known.Look != setup.LookSound {
				look = t("figure.look." + string(known.Look))
			}
			both = append(both, t("figure.says", "Part", figure.Name(figure.Words(t), s, f.Part), "Seen", look))
		}
		if said := strings.Join(both, " "); said != "" && !slices.Contains(out, said) {
			out = append(out, said)
		}
	}
	return out
}

// checkUnread is the call where what was done cannot be read.
func (m *Main) checkUnread(c *fiber.Ctx, a asking) error {
	c.Status(fiber.StatusUnprocessableEntity)
	return m.checkEnd(c, a, "")
}

// dark is an emergency for what the panel shows, not for how the person is.
func (a asking) dark() bool {
	return a.st.ending == endEmergency && a.st.mind.Answers.PersonOK == diagnosis.Yes
}

// own is a call while nothing outside is known to carry.
func (a asking) own() bool { return a.st.ending == endCall && !outside(a.st.mind.Answers.Source) }

// pressed is such a call with too few minutes to wait for an answer, as the
// gate counts them where no outlet is in reach.
func (a asking) pressed() bool {
	in := a.st.mind.Answers
	in.MainsInReach = diagnosis.No
	s := a.k.model.Setup
	ok, _ := diagnosis.Allowed(s, diagnosis.Action{Verb: diagnosis.Look, Part: s.Chain[0].ID}, in)
	return a.own() && !ok
}

// tells is what to do now.
func (a asking) tells() (out []string) {
	tell := func(keys ...string) {
		for _, key := range keys {
			out = append(out, a.v.speak.T("selfcheck.end."+key))
		}
	}
	source, shared := a.st.mind.Answers.Source, a.k.model.Setup.Ventilator.Shared()
	switch ending := a.st.ending; {
	case a.dark():
		tell("dark.1", "dark.2", "dark.3", "emergency.2", "emergency.4", "emergency.5")
	case ending == endEmergency:
		tell("emergency.1", "emergency.2", "emergency.3", "emergency.4", "emergency.5")
	case a.own():
		tell("own.1", "own.2")
		if key := a.another(); key != "" {
			tell(key)
		}
		tell("own.4", "own.5")
	case ending == endCall:
		tell("call.1", "call.2", "call.3")
	case ending == endUntrusted:
		if shared && source != setup.Mains {
			tell("untrusted.one-inlet")
		} else {
			tell("untrusted.1")
		}
		tell("untrusted.2", "untrusted.3", "untrusted.4")
	case ending == endSolved:
		switch {
		case source == setup.Mains && shared:
			tell("solved.not-tried.one-inlet")
		case source == setup.Mains:
			tell("solved.not-tried")
		}
		tell("solved.1", "solved.2", "solved.3")
	default:
		tell("in-order.1", "in-order.2", "in-order.3")
	}
	return out
}

// another says how to look for another outlet, where the gate would let the
// adapter be plugged in; "" where something of it must stay apart.
func (a asking) another() string {
	in := a.st.mind.Answers
	in.MainsInReach = diagnosis.Yes
	switch ok, why := a.plugIn(in); {
	case why == "gate.stays-apart":
		return ""
	case ok, in.MainsTried == diagnosis.Yes, !a.k.model.Setup.Ventilator.Shared():
		return "own.3"
	}
	return "own.one-inlet"
}

// plugIn asks the gate about plugging the adapter in.
func (a asking) plugIn(in diagnosis.Answers) (ok bool, why string) {
	s := a.k.model.Setup
	i := slices.IndexFunc(s.Mains, func(p setup.Part) bool { return p.Outlet != nil })
	if i < 0 {
		return false, "gate.no-mains"
	}
	return diagnosis.Allowed(s, diagnosis.Action{Verb: diagnosis.PlugIn, Part: s.Mains[i].ID}, in)
}

// checkEnd is an ending. wrong is why it could not be sent to the desk.
func (m *Main) checkEnd(c *fiber.Ctx, a asking, wrong string) error {
	t := a.v.speak.T
	a.v.token = m.visitor(c)
	ending := a.st.ending
	title, says := ending, ending
	if a.dark() {
		title, says = "dark", "call"
	}
	p := page.CheckEnd{
		Frame: a.v.frame(t("selfcheck.end." + title)), Head: a.head(), SayTitle: t("selfcheck.say." + says),
		Emergency: ending == endEmergency, Pressed: a.pressed(),
		Good: ending == endSolved || ending == endInOrder, Sent: a.q.sent, Wrong: wrong, Callback: strings.Clone(c.FormValue("callback")),
		Action: "/check/" + a.r.ID + "/report", Hidden: a.q.hidden(), Key: rand.Text(), Again: "/check/" + a.r.ID, Tells: a.tells(),
	}
	switch {
	case a.q.unread:
		p.Reason, p.Action = t("selfcheck.end.unread"), ""
		p.Instead = page.CheckAnswer{Link: p.Again, Text: t("selfcheck.start-again")}
	case a.q.stop:
		p.Reason = t("selfcheck.end.stopped-short")
	case ending == endCall:
		why := a.refused()
		if why != "" {
			p.Reason = t(why)
		}
		if why == "gate.bag-first" {
			p.Instead = page.CheckAnswer{Link: a.q.at(a.r.ID, "bag", "yes"), Text: t("selfcheck.bag-now")}
		}
	case a.q.packed == "no" && ending == endUntrusted:
		p.Reason = t("selfcheck.end.bag")
	case a.q.purpose == forOut && ending == endInOrder:
		p.Reason = t("selfcheck.end.out")
	}
	p.Calls = a.calls(p.Frame.Lines)
	p.Say, p.QRText = a.say(ending)
	var err error
	if p.QR, err = qrPath(p.QRText, qr.Low); err != nil {
		return err
	}
	return m.render(c, page.CheckEndPage(p))
}

// refused is why the gate lets nobody look along the chain, "" where it does;
// where that is for want of mains, why mains may not be plugged in.
func (a asking) refused() string {
	s, in := a.k.model.Setup, a.st.mind.Answers
	_, why := diagnosis.Allowed(s, diagnosis.Action{Verb: diagnosis.Look, Part: s.Chain[0].ID}, in)
	if why == "gate.source-first" {
		if ok, mains := a.plugIn(in); !ok {
			why = mains
		}
	}
	if why == "gate.stays-apart" { // there is no other source to stay on
		return "selfcheck.end.own.apart"
	}
	return why
}

// calls are whom to call, in order; none where nobody needs to be. Whoever has
// no number of their own is reached by the clinical line.
func (a asking) calls(l page.Lines) []page.CheckCall {
	t := a.v.speak.T
	rescue := page.CheckCall{Line: t("page.line.rescue"), Number: l.Rescue, Rescue: true}
	clinic := page.CheckCall{Line: t(l.ClinicalKey()), Number: l.Clinical, Hours: l.ClinicalHours}
	switch verb := a.st.step.Action.Verb; {
	case a.st.ending == endEmergency:
		return []page.CheckCall{rescue}
	case a.st.ending == endInOrder, a.st.ending == endSolved:
		return nil
	case a.pressed():
		return []page.CheckCall{rescue, clinic}
	case verb == diagnosis.CallChair && l.Chair != "":
		return []page.CheckCall{{Line: t("page.line.chair"), Number: l.Chair, Hours: l.ChairHours}}
	case verb == diagnosis.CallChair:
		return []page.CheckCall{{Line: t("selfcheck.line.chair")}}
	case verb == diagnosis.CallClinic, l.Technologist == "":
		return []page.CheckCall{clinic}
	}
	return []page.CheckCall{{Line: t("page.line.technologist"), Number: l.Technologist, Hours: l.Hours}}
}

// say is what to say on the call, and the same short enough for a QR code.
func (a asking) say(ending string) (say []page.CheckSay, short string) {
	t := a.v.speak.T
	source := t("selfcheck.say.unknown")
	if from := a.st.mind.Answers.Source; from != "" {
		source = t("common.source." + string(from))
	}
	head := []string{t("selfcheck.say.tag", "Tag", a.r.Tag)}
	seen := a.told()
	var after []string
	switch {
	case a.dark():
		head = append(head, t("selfcheck.say.dark"))
	case ending == endEmergency:
		head = append(head, t("selfcheck.say.emergency"))
	default:
		head = append(head, t("selfcheck.say.source", "Source", source))
	}
	say = []page.CheckSay{{Lines: head}}
	if len(seen) > 0 {
		say = append(say, page.CheckSay{Title: t("selfcheck.say.seen"), Lines: seen, Ordered: true})
	}
	if (ending == endCall || ending == endUntrusted) && !a.q.unread {
		if likely := a.likely(); len(likely) > 0 {
			say = append(say, page.CheckSay{Title: t("selfcheck.say.likely"), Lines: likely})
			after = append(after, t("selfcheck.say.likely")+" "+strings.Join(likely, " "))
		}
		var spares []string
		for _, name := range a.st.step.Spares {
			spares = append(spares, t("bench.spare."+name))
		}
		if len(spares) > 0 {
			say = append(say, page.CheckSay{Title: t("selfcheck.say.spare"), Lines: spares})
			after = append(after, t("selfcheck.say.spare")+" "+strings.Join(spares, " · "))
		}
	}
	return say, shortened(slices.Concat(head, after), seen)
}

// qrBytes is the most a QR code here holds, to be read off a screen.
const qrBytes = 400

// isolates are the marks around words of another direction, and the space
// that does not break: a phone shows plain text as well without.
var isolates = strings.NewReplacer("\u2066", "", "\u2067", "", "\u2068", "", "\u2069", "", "\u00a0", " ")

// shortened keeps the lines that matter most, then what was seen last.
func shortened(first, seen []string) string {
	text := isolates.Replace(strings.Join(first, "\n"))
	for i := range seen {
		if whole := text + "\n" + isolates.Replace(strings.Join(seen[i:], "\n")); len(whole) <= qrBytes {
			return whole
		}
	}
	for len(text) > qrBytes {
		_, size := utf8.DecodeLastRuneInString(text)
		text = text[:len(text)-size]
	}
	return text
}

// qrPath draws a text as a QR code: a square a module, and its size with four
// modules of quiet around (ISO/IEC 18004).
func qrPath(text string, level qr.Ecc) (page.QR, error) {
	code, err := qr.EncodeText(text, level)
	if err != nil {
		return page.QR{}, err
	}
	const quiet = 4
	var b strings.Builder
	for y := range code.Size() {
		for x := 0; x < code.Size(); x++ {
			from := x
			for x < code.Size() && code.Module(x, y) {
				x++
			}
			if x > from {
				fmt.Fprintf(&b, "M%d %dh%dv1h-%dz", from+quiet, y+quiet, x-from, x-from)
			}
		}
	}
	return page.QR{Size: code.Size() + 2*quiet, Path: b.String()}, nil
}

// visitor ties a form to this browser, as the sign-in form is.
func (m *Main) visitor(c *fiber.Ctx) string {
	visitor := c.Cookies(visitorCookie)
	if len(visitor) < 20 {
		visitor = rand.Text()
		m.cookie(c, visitorCookie, visitor, sessionAbsolute)
	}
	return visitor
}

// reportPurposes and the ending are as the records call them.
var reportPurposes = map[string]string{forNow: record.Trouble, forOut: record.GoingOut, forShift: record.Shift}

// report sends an ending to the desk, which alerts nobody.
func (m *Main) report(c *fiber.Ctx) error {
	if err := m.form(c, c.Cookies(visitorCookie)); err != nil {
		return err
	}
	key, err := formKey(c)
	if err != nil {
		return err
	}
	a, err := m.asking(c, c.Context().PostArgs())
	if err != nil {
		return err
	}
	if a.q.unread {
		return m.checkUnread(c, a)
	}
	if a.st.ending == "" || a.q.purpose == "" || !a.q.cared && a.st.ending != endEmergency {
		return problem.New(problem.Invalid, "problem.form")
	}
	again := func(wrong error) error {
		p, status := understand(wrong)
		if p.Code == problem.Internal {
			return wrong
		}
		c.Status(status)
		return m.checkEnd(c, a, a.v.speak.Problem(p))
	}
	callback := strings.TrimSpace(strings.Clone(c.FormValue("callback")))
	if !utf8.ValidString(callback) || utf8.RuneCountInString(callback) > record.MostCallback {
		return again(problem.New(problem.Invalid, "problem.value", "Field", a.v.speak.T("selfcheck.callback"),
			"Value", strconv.Itoa(utf8.RuneCountInString(callback)), "Expected", a.v.speak.T("selfcheck.expect.callback", "Most", record.MostCallback)))
	}
	care, err := json.Marshal(a.q.answers)
	if err != nil {
		return err
	}
	did, err := json.Marshal(a.q.done)
	if err != nil {
		return err
	}
	now, err := m.clock(c)
	if err != nil {
		return again(err)
	}
	ending := string(a.st.step.Action.Verb)
	if a.st.ending == endInOrder {
		ending = record.InOrder
	}
	ranked := a.st.mind.Causes()
	causes, err := json.Marshal(ranked[:min(len(ranked), record.MostCauses)])
	if err != nil {
		return err
	}
	visitor := hashed(c.Cookies(visitorCookie))
	if bound, ok, err := m.kiosk(c); err == nil && ok && bound.ID == a.r.ID {
		visitor = record.KioskVisitor + bound.ID
	}
	if err := m.store.AddReport(ctx(c), record.Report{
		SiteID: a.r.SiteID, SetupID: a.r.ID, SetupVersion: a.r.Version, Language: a.v.speak.Tag, Purpose: reportPurposes[a.q.purpose],
		Care: care, Did: did, Ending: ending, Callback: callback, Key: key, At: now,
		Visitor: visitor, ModelVersion: circuit.Version, ContentVersion: quiz.Version, Causes: causes,
	}); err != nil {
		return again(err)
	}
	return c.Redirect(a.q.at(a.r.ID, "sent", key), fiber.StatusSeeOther)
}
