package server

import (
	"cmp"
	"crypto/rand"
	"encoding/json"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"

	"lampwright/lessons"
	"lampwright/lessons/figure"
	"lampwright/lessons/setup"
	"lampwright/locales"
	"lampwright/locales/problem"
	"lampwright/quiz/diagnosis"
	"lampwright/server/page"
	"lampwright/server/record"
)

// inbox is where reports arrive at the desk. It keeps the models of set-ups
// with the priors that were learnt here, until a finding changes them.
type inbox struct{ *Main }

// How much of the inbox is shown.
const (
	mostClosed = 50
	mostNodes  = 3
)

// story is a report with what follows from it.
type story struct {
	setup  *setup.Setup
	model  *diagnosis.Model
	read   bool // this program can make sense of it
	care   careAnswers
	done   []diagnosis.Done
	looked bool               // something beyond the person was seen
	causes []diagnosis.Ranked // none where it cannot be read
	mains  bool               // it was plugged in
}

// think goes through a report. One that this program cannot read, as another
// version of it wrote it, has no causes, and is no error.
func (in *inbox) think(c *fiber.Ctx, r record.Report) (st story, err error) {
	stored, s, err := in.version(c, r.SetupID, r.SetupVersion)
	if err != nil {
		return st, err
	}
	st.setup = s
	if st.model, err = in.learnt(c, stored); err != nil {
		return st, err
	}
	var care careAnswers
	var done []diagnosis.Done
	if json.Unmarshal(r.Care, &care) != nil || json.Unmarshal(r.Did, &done) != nil {
		return st, nil
	}
	st.looked = slices.ContainsFunc(done, func(x diagnosis.Done) bool {
		return x.Check != "" && x.Check != diagnosis.PersonID && x.Shows != diagnosis.Unclear
	})
	d, err := st.model.Think(care.care(), done)
	if err != nil {
		in.log.Warn("report", "id", r.ID, "error", err)
		return st, nil
	}
	st.read, st.care, st.done = true, care, done
	st.causes, st.mains = d.Causes(), d.Answers.MainsTried == diagnosis.Yes
	return st, nil
}

func (in *inbox) list(c *fiber.Ctx) error {
	p, err := in.listed(c, in.view(c))
	if err != nil {
		return err
	}
	return in.render(c, page.InboxPage(p))
}

// listed is what the inbox shows.
func (in *inbox) listed(c *fiber.Ctx, v view) (p page.Inbox, err error) {
	now, err := in.clock(c)
	if err != nil {
		return p, err
	}
	// What cannot be deleted now keeps nobody from reading.
	if err := in.store.ForgetCallbacks(ctx(c), now); err != nil {
		in.log.Warn("callbacks", "error", err)
	}
	open, err := in.store.OpenOutages(ctx(c), in.at(c).ID)
	if err != nil {
		return p, err
	}
	closed, err := in.store.ClosedOutages(ctx(c), in.at(c).ID, mostClosed+1)
	if err != nil {
		return p, err
	}
	p = page.Inbox{
		Frame: v.frame(v.speak.T("inbox.title")), More: len(closed) > mostClosed,
		Forgets: v.speak.T("inbox.callback.forgets", "Found", record.CallbackDaysFound, "Most", record.CallbackDays),
	}
	for _, o := range open {
		row := in.row(v.speak, o)
		row.Ago = ago(v.speak, now.Sub(o.Last))
		// The whole case, so that the list and the case never differ.
		k, err := in.store.Case(ctx(c), in.at(c).ID, o.ID)
		if err != nil {
			return p, err
		}
		w, err := in.weigh(c, k)
		if err != nil {
			return p, err
		}
		row.Emergency = slices.ContainsFunc(k.Sent, func(t record.Told) bool { return emergency(t.Ending) })
		switch {
		case len(w.causes) > 0:
			row.Likely = causeText(v.speak, w.setup, w.causes[0].Faults)
		case w.read:
			row.Likely = v.speak.T("inbox.nothing-seen.short")
		default:
			row.Likely = v.speak.T("inbox.unread.short")
		}
		p.Open = append(p.Open, row)
	}
	slices.SortStableFunc(p.Open, func(a, b page.Outage) int {
		switch {
		case a.Emergency == b.Emergency:
			return 0
		case a.Emergency:
			return -1
		}
		return 1
	})
	for _, o := range closed[:min(len(closed), mostClosed)] {
		row := in.row(v.speak, o)
		_, s, err := in.version(c, o.SetupID, o.Newest.SetupVersion)
		if err != nil {
			return p, err
		}
		row.Found = foundText(v.speak, s, *o.Finding)
		p.Closed = append(p.Closed, row)
	}
	return p, nil
}

func (in *inbox) row(say locales.Speaker, o record.Outage) page.Outage {
	return page.Outage{
		ID: o.ID, Setup: o.SetupTag, First: in.local(o.SiteID, o.First), Last: in.local(o.SiteID, o.Last), Reports: o.Reports,
		Ending: endingText(say, o.Newest.Ending), Language: languageName(o.Newest.Language), Callback: o.Newest.Callback,
		Forgotten: o.Newest.Forgotten,
	}
}

func (in *inbox) local(siteID string, t time.Time) string {
	return t.In(in.sites[siteID].zone).Format("2006-01-02 15:04")
}

// ago says how long ago, in the largest unit that tells.
func ago(say locales.Speaker, d time.Duration) string {
	switch minutes := int(d / time.Minute); {
	case minutes < 1:
		return say.T("inbox.ago.now")
	case minutes < 120:
		return say.T("inbox.ago.minutes", "Count", minutes)
	case minutes < 48*60:
		return say.T("inbox.ago.hours", "Count", minutes/60)
	default:
		return say.T("inbox.ago.days", "Count", minutes/60/24)
	}
}

func languageName(tag string) string {
	for _, l := range locales.Languages {
		if l.Tag == tag {
			return l.Name
		}
	}
	return tag
}

// endings are those that a report can reach.
var endings = []diagnosis.Verb{
	diagnosis.Solved, diagnosis.Untrusted, diagnosis.CallTech, diagnosis.CallChair, diagnosis.CallClinic, diagnosis.CallRescue,
}

func emergency(ending string) bool { return ending == string(diagnosis.CallRescue) }

func endingText(say locales.Speaker, ending string) string {
	if slices.Contains(endings, diagnosis.Verb(ending)) {
		return say.T("inbox.ending." + ending)
	}
	return say.T("inbox.ending.unknown")
}

func faultText(say locales.Speaker, s *setup.Setup, f setup.Fault) string {
	return say.T("diagnosis.cause", "Part", figure.Name(say.T, s, f.Part), "Mode", say.T("diagnosis.mode."+string(f.Mode)))
}

func causeText(say locales.Speaker, s *setup.Setup, faults []setup.Fault) string {
	switch len(faults) {
	case 0:
		return say.T("diagnosis.nothing")
	case 1:
		return faultText(say, s, faults[0])
	}
	return say.T("diagnosis.both", "First", faultText(say, s, faults[0]), "Second", faultText(say, s, faults[1]))
}

// foundText says a finding, also one on a version of the set-up that has its
// part no more.
func foundText(say locales.Speaker, s *setup.Setup, f record.Finding) string {
	if f.What != record.FoundFault {
		return say.T("inbox.found." + f.What)
	}
	return faultText(say, s, setup.Fault{Part: f.Part, Mode: setup.Mode(f.Mode)})
}

// weighed is a case with what is believed of it, readings included.
type weighed struct {
	story
	ranked int // the report it goes by
	volts  []diagnosis.Volts
}

// weigh goes by the newest report that tells anything: several of one outage
// tell of the same things, and must not count twice. Where nobody saw or
// measured anything beyond the person, no cause is believed.
func (in *inbox) weigh(c *fiber.Ctx, k record.Case) (w weighed, err error) {
	for i := len(k.Sent) - 1; i >= 0 && !(w.read && w.looked); i-- {
		st, err := in.think(c, k.Sent[i].Report)
		if err != nil {
			return w, err
		}
		if w.model == nil || st.read && st.looked {
			w.story, w.ranked = st, i
		}
	}
	for i, r := range k.Readings {
		again := slices.ContainsFunc(k.Readings[i+1:], func(later record.Measured) bool { return later.Node == r.Node })
		if !again {
			w.volts = append(w.volts, diagnosis.Volts{Node: r.Node, Volts: r.Volts})
		}
	}
	if len(w.causes) == 0 || len(w.volts) == 0 {
		if !w.looked {
			w.causes = nil
		}
		return w, nil
	}
	m, err := diagnosis.NewMeter(w.setup, w.causes, w.mains)
	if err != nil {
		return w, err
	}
	w.causes = m.Reweigh(w.volts...)
	return w, nil
}

// opened reads a case and fills in its page.
func (in *inbox) opened(c *fiber.Ctx, v view) (k record.Case, w weighed, p page.Case, err error) {
	if k, err = in.store.Case(ctx(c), in.at(c).ID, param(c, "outage")); err != nil {
		return k, w, p, err
	}
	if w, err = in.weigh(c, k); err != nil {
		return k, w, p, err
	}
	say, s := v.speak, w.setup
	v.path = "/desk/inbox/" + k.ID
	p = page.Case{
		Frame: v.frame(say.T("inbox.case", "Setup", k.SetupTag)), ID: k.ID, Setup: k.SetupTag, Unread: !w.read, NothingSeen: w.read && len(w.causes) == 0,
		ReadingKey: rand.Text(), FindingKey: rand.Text(), Seq: len(k.Findings) + 1,
		Reading: page.Field{Name: "volts", Label: say.T("inbox.volts"), Hint: say.T("inbox.volts.hint", "Most", record.MostVolts, "Such", "24.6")},
		Note:    page.Field{Name: "note", Label: say.T("inbox.note"), Hint: say.T("inbox.note.hint", "Count", record.MostNote)},
	}
	for i, r := range k.Sent {
		st := w.story
		if i != w.ranked {
			if st, err = in.think(c, r.Report); err != nil {
				return k, w, p, err
			}
		}
		told := in.sent(say, r, st, w.causes)
		told.Ranked = i == w.ranked && len(k.Sent) > 1 && len(w.causes) > 0
		p.Sent, p.Emergency = append(p.Sent, told), p.Emergency || told.Emergency
	}
	slices.Reverse(p.Sent)
	p.Causes = ranking(say, s, w.causes)
	if w.looked {
		p.Then, p.ThenBy = in.then(say, k.Sent[w.ranked].Report, s, p.Causes)
	}
	p.Spares = spares(say, s, w.causes)
	for i, f := range k.Findings {
		p.Findings = append(p.Findings, page.Found{Text: foundText(say, s, f), Note: f.Note, At: in.local(k.SiteID, f.At), By: f.By, Old: i < len(k.Findings)-1})
	}
	slices.Reverse(p.Findings)
	if len(p.Findings) > 0 {
		p.Found = p.Findings[0].Text
	}
	p.Groups = faultGroups(say, s)
	return k, w, p, in.measuring(say, k, w, &p)
}

// ranking is the causes as they are shown.
func ranking(say locales.Speaker, s *setup.Setup, causes []diagnosis.Ranked) (out []page.Chance) {
	for _, r := range causes[:min(len(causes), record.MostCauses)] {
		out = append(out, page.Chance{Text: causeText(say, s, r.Faults), Percent: percent(say, r.P)})
	}
	return out
}

// then is the ranking as it was when a report was sent, and what made it, where
// it differs from today's: other findings, readings or another version.
func (in *inbox) then(say locales.Speaker, r record.Report, s *setup.Setup, now []page.Chance) (causes []page.Chance, by string) {
	var sent []diagnosis.Ranked
	if err := json.Unmarshal(r.Causes, &sent); err != nil {
		in.log.Warn("report", "id", r.ID, "error", err)
		return nil, ""
	}
	causes = ranking(say, s, sent)
	if len(causes) == 0 || slices.Equal(causes, now) {
		return nil, ""
	}
	return causes, say.T("inbox.then.by", "Model", cmp.Or(r.ModelVersion, "–"), "Content", cmp.Or(r.ContentVersion, "–"))
}

// measuring fills in where to measure, and what was.
func (in *inbox) measuring(say locales.Speaker, k record.Case, w weighed, p *page.Case) error {
	for i, r := range k.Readings {
		again := slices.ContainsFunc(k.Readings[i+1:], func(later record.Measured) bool { return later.Node == r.Node })
		p.Readings = append(p.Readings, page.Reading{
			Node: figure.Name(say.T, w.setup, r.Node), Volts: say.T("inbox.volts.of", "Volts", plain(r.Volts)),
			At: in.local(k.SiteID, r.At), By: r.By, Old: again,
		})
	}
	causes := w.causes
	if len(causes) == 0 {
		causes = []diagnosis.Ranked{{P: 1}} // where to measure is known all the same
	}
	m, err := diagnosis.NewMeter(w.setup, causes, w.mains)
	if err != nil {
		return err
	}
	for _, id := range m.Places() {
		p.NodeNames = append(p.NodeNames, page.Option{Value: id, Text: say.T("inbox.after", "Part", figure.Name(say.T, w.setup, id))})
	}
	if p.NothingSeen { // nor is any place more telling than another
		return nil
	}
	for _, n := range m.Nodes() {
		if slices.ContainsFunc(w.volts, func(r diagnosis.Volts) bool { return r.Node == n.ID }) {
			continue
		}
		if p.Nodes = append(p.Nodes, expected(say, w, n)); len(p.Nodes) == mostNodes {
			break
		}
		if p.ReadingNode == "" {
			p.ReadingNode = n.ID
		}
	}
	return nil
}

// expected gathers the causes that a reading at a node cannot tell apart.
func expected(say locales.Speaker, w weighed, n diagnosis.Node) page.Node {
	out := page.Node{Name: figure.Name(say.T, w.setup, n.ID)}
	group, count := diagnosis.Groups(n.Bands)
	for g := range count {
		least, most := math.Inf(1), math.Inf(-1)
		var e page.Expected
		for i, b := range n.Bands {
			if group[i] == g {
				least, most = min(least, b.Least), max(most, b.Most)
				e.Causes = append(e.Causes, causeText(say, w.setup, w.causes[i].Faults))
			}
		}
		e.Volts = say.T("inbox.volts.between", "Least", tenth(least), "Most", tenth(most))
		out.Expected = append(out.Expected, e)
	}
	return out
}

func tenth(volts float64) string { return strconv.FormatFloat(volts, 'f', 1, 64) }

// percent never says that anything is certain.
func percent(say locales.Speaker, p float64) string {
	switch n := math.Round(100 * p); {
	case n < 1:
		return say.T("inbox.percent.least")
	case n > 99:
		return say.T("inbox.percent.most")
	default:
		return say.T("inbox.percent", "Percent", int(n))
	}
}

// leastSpare is how likely a spare must be wanted to be named.
const leastSpare = .05

// spares are the two that are most likely wanted.
func spares(say locales.Speaker, s *setup.Setup, causes []diagnosis.Ranked) (out []page.Chance) {
	wanted := map[string]float64{}
	for _, r := range causes {
		var once []string
		for _, f := range r.Faults {
			kind, _ := s.PartKind(f.Part)
			if known, _ := setup.Of(kind, f.Mode); known.Spare != "" && !slices.Contains(once, known.Spare) {
				once = append(once, known.Spare)
				wanted[known.Spare] += r.P
			}
		}
	}
	names := make([]string, 0, len(wanted))
	for name, p := range wanted {
		if p >= leastSpare {
			names = append(names, name)
		}
	}
	slices.SortFunc(names, func(a, b string) int {
		return cmp.Or(cmp.Compare(wanted[b], wanted[a]), cmp.Compare(a, b))
	})
	for _, name := range names[:min(len(names), 2)] {
		out = append(out, page.Chance{Text: say.T("bench.spare." + name), Percent: percent(say, wanted[name])})
	}
	return out
}

func faultGroups(say locales.Speaker, s *setup.Setup) (out []page.OptionGroup) {
	last := ""
	for _, f := range s.Faults() {
		if f.Part != last {
			last = f.Part
			out = append(out, page.OptionGroup{Name: figure.Name(say.T, s, f.Part)})
		}
		g := &out[len(out)-1]
		g.Options = append(g.Options, page.Option{Value: faultValue(f), Text: faultText(say, s, f)})
	}
	return out
}

func faultValue(f setup.Fault) string { return f.Part + "=" + string(f.Mode) }

// sent tells a report in words, in the order in which it went.
func (in *inbox) sent(say locales.Speaker, r record.Told, st story, causes []diagnosis.Ranked) page.Sent {
	out := page.Sent{
		At: in.local(r.SiteID, r.At), Ending: endingText(say, r.Ending), Emergency: emergency(r.Ending), Language: languageName(r.Language),
		Callbacks: r.Callbacks, Forgotten: r.Forgotten,
	}
	if r.Count > 1 {
		out.Times = say.T("inbox.times", "Count", r.Count, "First", in.local(r.SiteID, r.First))
	}
	if slices.Contains([]string{record.Trouble, record.GoingOut, record.Shift}, r.Purpose) {
		out.Purpose = say.T("inbox.purpose." + r.Purpose)
	}
	if !st.read {
		return out
	}
	out.Care = careText(say, st.care)
	differs := make([]bool, len(st.done))
	if len(causes) > 0 {
		differs = st.model.Differs(causes[0].Faults, st.done)
	}
	for i, x := range st.done {
		out.Lines = append(out.Lines, page.Evidence{Text: doneText(say, st, x), Differs: differs[i]})
	}
	return out
}

// careText says what was asked once. What was not asked has no answer, and
// none is made up.
func careText(say locales.Speaker, care careAnswers) string {
	if care == (careAnswers{}) {
		return say.T("inbox.care.unasked")
	}
	var words []string
	for _, q := range []struct {
		answer  *bool
		yes, no string
		unasked string
	}{
		{care.MainsInReach, "inbox.care.mains", "inbox.care.no-mains", "inbox.care.unasked.mains"},
		{care.NoBag, "inbox.care.no-bag", "inbox.care.bag", "inbox.care.unasked.bag"},
		{care.Alone, "inbox.care.alone", "inbox.care.two", "inbox.care.unasked.alone"},
		{care.Night, "inbox.care.night", "inbox.care.day", "inbox.care.unasked.night"},
	} {
		key := q.unasked
		switch {
		case q.answer == nil:
		case *q.answer:
			key = q.yes
		default:
			key = q.no
		}
		words = append(words, say.T(key))
	}
	minutes := say.T("inbox.care.minutes-untold") // not asked, or left empty
	if care.Minutes != nil {
		minutes = say.T("inbox.care.minutes", "Count", int(*care.Minutes))
	}
	return strings.Join(append(words, minutes), " · ")
}

// doneText says one thing that was seen or done.
func doneText(say locales.Speaker, st story, x diagnosis.Done) string {
	switch {
	case x.Check == "":
		return say.T("inbox.did", "Action", page.ActionText(say, x.Action, partName(say, st.setup, x.Action.Part)))
	case x.Check == diagnosis.PersonID:
		return say.T("inbox.person." + string(x.Shows))
	}
	k := slices.IndexFunc(st.model.Checks, func(k diagnosis.Check) bool { return k.ID == x.Check })
	check := st.model.Checks[k] // Think knew it
	name := figure.Name(say.T, st.setup, check.Part)
	if check.Contacts {
		name = say.T("diagnosis.contacts", "Part", name)
	}
	return say.T("figure.says", "Part", name, "Seen", resultText(say, st.setup, check, x.Shows))
}

func resultText(say locales.Speaker, s *setup.Setup, check diagnosis.Check, r diagnosis.Result) string {
	switch {
	case r == diagnosis.Unclear:
		return say.T("diagnosis.result.unclear")
	case check.Part == setup.PanelID:
		text := ""
		if source := r.Source(); source != "" {
			text = say.T("common.source." + string(source))
		} else {
			text = say.T("diagnosis.result." + strings.TrimSuffix(string(r), "-blank"))
		}
		if strings.HasSuffix(string(r), "-blank") {
			text = say.T("diagnosis.blank", "Result", text)
		}
		return text
	case r == diagnosis.Feels:
		return say.T("figure.heat.warm")
	case r == diagnosis.Result(setup.LookSound):
		return figure.Sound(say.T, s, check.Part)
	}
	return say.T("figure.seen." + string(r))
}

func (in *inbox) outage(c *fiber.Ctx) error {
	v := in.view(c)
	_, _, p, err := in.opened(c, v)
	if err != nil {
		return err
	}
	switch c.Query("kept") {
	case "reading":
		p.Kept = v.speak.T("inbox.kept.reading")
	case "finding":
		p.Kept = v.speak.T("inbox.kept.finding")
	}
	return in.render(c, page.CasePage(p))
}

// again shows a case with what was filled in, and what was wrong with it.
func (in *inbox) again(c *fiber.Ctx, say locales.Speaker, p *page.Case, f *page.Field, wrong error) error {
	known, status := understand(wrong)
	if known.Code == problem.Internal {
		return wrong
	}
	f.Wrong = say.Problem(known)
	c.Status(status)
	return in.render(c, page.CasePage(*p))
}

// measured enters a reading.
func (in *inbox) measured(c *fiber.Ctx) error {
	v := in.view(c)
	key, err := formKey(c)
	if err != nil {
		return err
	}
	k, _, p, err := in.opened(c, v)
	if err != nil {
		return err
	}
	node := strings.Clone(c.FormValue("node"))
	if !slices.ContainsFunc(p.NodeNames, func(o page.Option) bool { return o.Value == node }) {
		return problem.New(problem.Invalid, "problem.form")
	}
	p.Reading.Value, p.ReadingNode = strings.TrimSpace(strings.Clone(c.FormValue("volts"))), node
	text := westernDigits.Replace(p.Reading.Value)
	volts, err := strconv.ParseFloat(text, 64)
	if err != nil || !plainNumber.MatchString(text) {
		return in.again(c, v.speak, &p, &p.Reading, problem.New(problem.Invalid, "problem.reading", "Most", record.MostVolts))
	}
	now, err := in.clock(c)
	if err != nil {
		return in.again(c, v.speak, &p, &p.Reading, err)
	}
	if err := in.store.AddReading(ctx(c), in.at(c).ID, k.ID, record.Measured{
		Node: node, Volts: volts, ByID: v.person.ID, By: v.person.Name, At: now, Key: key,
	}); err != nil {
		return in.again(c, v.speak, &p, &p.Reading, err)
	}
	return c.Redirect("/desk/inbox/"+k.ID+"?kept=reading", fiber.StatusSeeOther)
}

// found records what an outage really was.
func (in *inbox) found(c *fiber.Ctx) error {
	v := in.view(c)
	key, err := formKey(c)
	if err != nil {
		return err
	}
	seq, err := strconv.Atoi(c.FormValue("seq"))
	if err != nil {
		return problem.New(problem.Invalid, "problem.form")
	}
	k, w, p, err := in.opened(c, v)
	if err != nil {
		return err
	}
	p.What, p.Note.Value = strings.Clone(c.FormValue("what")), strings.TrimSpace(strings.Clone(c.FormValue("note")))
	f := record.Finding{Seq: seq, What: p.What, Note: p.Note.Value, ByID: v.person.ID, By: v.person.Name, Key: key}
	switch p.What {
	case record.FoundNothing, record.NotFound:
	case "":
		return in.again(c, v.speak, &p, &p.Note, problem.New(problem.Invalid, "problem.finding-missing"))
	default:
		i := slices.IndexFunc(w.setup.Faults(), func(f setup.Fault) bool { return faultValue(f) == p.What })
		if i < 0 {
			return problem.New(problem.Invalid, "problem.form")
		}
		fault := w.setup.Faults()[i]
		kind, _ := w.setup.PartKind(fault.Part)
		f.What, f.Part, f.Kind, f.Mode = record.FoundFault, fault.Part, string(kind), string(fault.Mode)
	}
	if f.At, err = in.clock(c); err != nil {
		return in.again(c, v.speak, &p, &p.Note, err)
	}
	err = in.store.AddFinding(ctx(c), in.at(c).ID, k.ID, f)
	v.at.learned.found() // also where it is not certain
	if err != nil {
		return in.again(c, v.speak, &p, &p.Note, err)
	}
	return c.Redirect("/desk/inbox/"+k.ID+"?kept=finding", fiber.StatusSeeOther)
}

// missed is what callers get wrong: what outages were found to be, against how
// the reports of them ended.
func (in *inbox) missed(c *fiber.Ctx) error {
	v := in.view(c)
	found, err := in.store.Found(ctx(c), in.at(c).ID)
	if err != nil {
		return err
	}
	p := page.WhatCallersMiss{Frame: v.frame(v.speak.T("inbox.missed"))}
	type tally struct {
		row   page.Missed
		slips map[diagnosis.Slip]int
	}
	var rows []*tally
	at := map[string]*tally{}
	for _, f := range found {
		p.Calls += f.Count
		key := f.What + " " + f.Kind + " " + f.Mode
		row := at[key]
		if row == nil {
			row = &tally{slips: map[diagnosis.Slip]int{}}
			row.row.What = kindText(v.speak, f)
			at[key] = row
			rows = append(rows, row)
		}
		row.row.Count += f.Count
		slip := diagnosis.NoSlip
		_, s, err := in.version(c, f.SetupID, f.SetupVersion)
		if err != nil {
			return err
		}
		switch f.What {
		case record.FoundFault:
			slip = diagnosis.Slipped(s, &setup.Fault{Part: f.Part, Mode: setup.Mode(f.Mode)}, diagnosis.Verb(f.Ending))
		case record.FoundNothing:
			slip = diagnosis.Slipped(s, nil, diagnosis.Verb(f.Ending))
		}
		if slip == diagnosis.NoSlip {
			continue
		}
		row.slips[slip] += f.Count
		if !slices.Contains(row.row.Setups, f.SetupTag) {
			row.row.Setups = append(row.row.Setups, f.SetupTag)
		}
		for _, l := range in.covering(v.speak, f, s, slip) {
			if !slices.ContainsFunc(row.row.Lessons, func(x page.Step) bool { return x.Title == l.Title }) {
				row.row.Lessons = append(row.row.Lessons, l)
			}
		}
	}
	wrong := func(t *tally) (n int) {
		for _, count := range t.slips {
			n += count
		}
		return n
	}
	slices.SortStableFunc(rows, func(a, b *tally) int { return cmp.Or(wrong(b)-wrong(a), b.row.Count-a.row.Count) })
	for _, t := range rows {
		for _, slip := range []diagnosis.Slip{diagnosis.CalledFixable, diagnosis.CalledNothing, diagnosis.SolvedNot} {
			if n := t.slips[slip]; n > 0 {
				t.row.Slips = append(t.row.Slips, v.speak.T("inbox.slip."+string(slip), "Count", n))
			}
		}
		p.Rows = append(p.Rows, t.row)
	}
	return in.render(c, page.MissedPage(p))
}

// kindText says what was found, whichever part of its kind it was.
func kindText(say locales.Speaker, f record.Found) string {
	if f.What != record.FoundFault {
		return say.T("inbox.found." + f.What)
	}
	return say.T("diagnosis.cause", "Part", say.T("figure.kind."+f.Kind), "Mode", say.T("diagnosis.mode."+f.Mode))
}

// covering are the lessons that cover what was got wrong: those with a card
// that shows that fault, or else that teach the objective the slip is about.
func (in *inbox) covering(say locales.Speaker, f record.Found, s *setup.Setup, slip diagnosis.Slip) (out []page.Step) {
	objective := map[diagnosis.Slip]string{
		diagnosis.CalledNothing: "read-panel", diagnosis.CalledFixable: "choose-call", diagnosis.SolvedNot: "end-plainly",
	}[slip]
	shows := func(card lessons.Card) bool {
		at, err := card.Figure.Conditions(s)
		return err == nil && slices.ContainsFunc(at.Faults, func(x setup.Fault) bool {
			kind, _ := s.PartKind(x.Part)
			return string(kind) == f.Kind && string(x.Mode) == f.Mode
		})
	}
	teaches := func(card lessons.Card) bool { return card.Objective == objective }
	for _, covers := range []func(lessons.Card) bool{shows, teaches} {
		for _, id := range in.lessons.IDs() {
			l, ok := in.lessons.Lesson(id, say.Tag)
			if ok && slices.ContainsFunc(l.On(s).Cards, covers) {
				out = append(out, page.Step{Title: l.Title, Link: "/lessons/" + f.SetupID + "/" + id + "/1"})
			}
		}
		if len(out) > 0 {
			return out
		}
	}
	return nil
}
