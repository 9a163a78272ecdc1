package server

import (
	"crypto/rand"
	"encoding/binary"
	"encoding/json"
	"maps"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"

	"lampwright/lessons/circuit"
	"lampwright/lessons/figure"
	"lampwright/lessons/setup"
	"lampwright/locales"
	"lampwright/locales/problem"
	"lampwright/quiz"
	"lampwright/quiz/bench"
	"lampwright/quiz/diagnosis"
	"lampwright/server/page"
	"lampwright/server/record"
)

func (m *Main) scenario(c *fiber.Ctx) error {
	v := m.view(c)
	r, _, err := m.mine(c, v)
	if err != nil {
		return err
	}
	sc, err := quiz.Find(param(c, "scenario"))
	if err != nil {
		return err
	}
	return m.render(c, page.BeginPage(page.Begin{
		Frame: v.frame(v.speak.T("quiz.scenario." + sc.ID + ".title")), Scenario: sc, Setup: r.Tag, FormKey: rand.Text(),
	}))
}

func (m *Main) startRun(c *fiber.Ctx) error {
	v := m.view(c)
	key, err := formKey(c)
	if err != nil {
		return err
	}
	sc, err := quiz.Find(c.FormValue("scenario"))
	if err != nil {
		return err
	}
	mode, seed, kind := record.Practice, newSeed(), c.FormValue("mode")
	switch kind {
	case alone, halfDone:
	case worked:
		seed = int64(quiz.Worked)
	case record.Quiz:
		if !sc.Record {
			return problem.New(problem.Invalid, "problem.form")
		}
		mode = record.Quiz
	default:
		return problem.New(problem.Invalid, "problem.form")
	}
	key += kind // the same form, sent again another way, is another run
	r, _, err := m.mine(c, v)
	if err != nil {
		return err
	}
	if _, err := m.start(r, sc, seed); err != nil {
		return err
	}
	now, err := m.clock(c)
	if err != nil {
		return err
	}
	run, err := m.store.StartRun(ctx(c), record.Run{
		SiteID: v.person.SiteID, PersonID: v.person.ID, SetupID: r.ID, SetupVersion: r.Version, Scenario: sc.ID,
		ScenarioVersion: quiz.Version, ModelVersion: circuit.Version, Language: v.speak.Tag, Mode: mode, Seed: seed, Started: now,
	}, key)
	if err != nil {
		return err
	}
	if kind == halfDone {
		if err := m.halfDo(c, r, sc, run, key); err != nil {
			return err
		}
	}
	return c.Redirect("/runs/"+run.ID, fiber.StatusSeeOther)
}

// The kinds of practice, in the order of teaching; all are recorded as
// practice. A run for the record comes after them.
const (
	worked   = "worked"    // done by the engine, step by step
	halfDone = "half-done" // begun by the engine
	alone    = record.Practice
)

// newSeed is a seed that means nothing of its own.
func newSeed() int64 {
	var b [8]byte
	for {
		rand.Read(b[:]) // never fails
		if seed := binary.BigEndian.Uint64(b[:]) >> 1; seed != quiz.Fixed && seed != quiz.Worked {
			return int64(seed)
		}
	}
}

// halfDo takes the first safe steps of a run, once.
func (m *Main) halfDo(c *fiber.Ctx, r record.Setup, sc quiz.Scenario, run record.Run, key string) error {
	model, err := m.model(r)
	if err != nil {
		return err
	}
	start, err := m.start(r, sc, run.Seed)
	if err != nil {
		return err
	}
	begun, err := quiz.Opening(model, start)
	if err != nil {
		return err
	}
	for i, a := range begun {
		step := record.Step{Seq: i + 1, Action: actionText(a.Action), At: run.Started}
		if err := m.store.AddStep(ctx(c), m.at(c).ID, run.ID, step, key+" "+strconv.Itoa(i)); err != nil {
			return err
		}
	}
	return nil
}

// opened is a run, and while it goes on its bench as it stands.
type opened struct {
	run      record.Run
	scenario quiz.Scenario
	stored   record.Setup
	setup    *setup.Setup
	model    *diagnosis.Model
	bench    *bench.Bench
}

// worked tells the worked example.
func (o opened) worked() bool {
	return o.run.Mode == record.Practice && uint64(o.run.Seed) == quiz.Worked
}

// openRun reads a run of the reader's own and, unless it has ended, acts it
// again on the version of the set-up that it was begun on.
func (m *Main) openRun(c *fiber.Ctx, v view) (o opened, err error) {
	if o.run, err = m.store.Run(ctx(c), m.at(c).ID, param(c, "run")); err != nil {
		return o, err
	}
	if o.run.PersonID != v.person.ID {
		return o, problem.New(problem.Unknown, "problem.not-found")
	}
	if o.scenario, err = quiz.Find(o.run.Scenario); err != nil {
		return o, err
	}
	if o.stored, err = m.store.SetupVersion(ctx(c), m.at(c).ID, o.run.SetupID, o.run.SetupVersion); err != nil {
		return o, err
	}
	if o.setup, err = m.setupOf(o.stored); err != nil {
		return o, err
	}
	if !o.run.Ended.IsZero() {
		return o, nil
	}
	if o.model, err = m.model(o.stored); err != nil {
		return o, err
	}
	start, err := m.start(o.stored, o.scenario, o.run.Seed)
	if err != nil {
		return o, err
	}
	actions := make([]diagnosis.Action, len(o.run.Steps))
	for i, s := range o.run.Steps {
		actions[i] = parseAction(s.Action)
	}
	o.bench, err = quiz.Replay(start, actions)
	return o, err
}

func parseAction(text string) diagnosis.Action {
	verb, part, _ := strings.Cut(text, ":")
	return diagnosis.Action{Verb: diagnosis.Verb(verb), Part: part}
}

func actionText(a diagnosis.Action) string { return string(a.Verb) + ":" + a.Part }

// over tells whether a run has ended: by its ending, or for the record by its
// first unsafe step.
func (o opened) over() bool {
	return !o.run.Ended.IsZero() || o.bench.Ending != "" || o.run.Mode == record.Quiz && slices.ContainsFunc(o.bench.Steps, func(s bench.Step) bool { return s.Refused != "" })
}

// end judges a run that is over, once; asking again changes nothing.
func (m *Main) end(c *fiber.Ctx, o opened, now time.Time) error {
	if !o.run.Ended.IsZero() {
		return nil
	}
	result, err := quiz.Judge(o.model, o.bench)
	if err != nil {
		return err
	}
	text, err := json.Marshal(result)
	if err != nil {
		return err
	}
	return m.store.EndRun(ctx(c), m.at(c).ID, o.run.ID, result.Passed, result.Score, text, now)
}

func (m *Main) act(c *fiber.Ctx) error {
	v := m.view(c)
	key, err := formKey(c)
	if err != nil {
		return err
	}
	seq, err := strconv.Atoi(c.FormValue("seq"))
	if err != nil {
		return problem.New(problem.Invalid, "problem.form")
	}
	o, err := m.openRun(c, v)
	if err != nil {
		return err
	}
	now, err := m.clock(c)
	if err != nil {
		return err
	}
	a := parseAction(strings.Clone(c.FormValue("action")))
	// A step that was there before goes to the record, which knows a second tap
	// from an older tab. The next one is written only if the bench knows it.
	if next := len(o.run.Steps) + 1; seq >= next {
		if seq > next || o.over() {
			return problem.New(problem.Moved, "problem.moved")
		}
		if _, err := o.bench.Act(a); err != nil {
			return err
		}
	}
	if err := m.store.AddStep(ctx(c), m.at(c).ID, o.run.ID, record.Step{Seq: seq, Action: actionText(a), At: now}, key); err != nil {
		return err
	}
	if o, err = m.openRun(c, v); err != nil {
		return err
	}
	if o.over() {
		if err := m.end(c, o, now); err != nil {
			return err
		}
		return c.Redirect("/runs/"+o.run.ID+"/debrief", fiber.StatusSeeOther)
	}
	next := "/runs/" + o.run.ID
	if a.Part != "" && a.Part != diagnosis.PanelID {
		next += "?part=" + url.QueryEscape(a.Part)
	}
	return c.Redirect(next, fiber.StatusSeeOther)
}

func (m *Main) run(c *fiber.Ctx) error {
	v := m.view(c)
	o, err := m.openRun(c, v)
	if err != nil {
		return err
	}
	if o.over() {
		return c.Redirect("/runs/"+o.run.ID+"/debrief", fiber.StatusSeeOther)
	}
	part := c.Query("part")
	if _, ok := o.setup.PartKind(part); !ok {
		part = ""
	}
	p, err := m.benchPage(v, o, strings.Clone(part))
	if err != nil {
		return err
	}
	return m.render(c, page.BenchPage(p))
}

func (m *Main) benchPage(v view, o opened, part string) (page.Bench, error) {
	say := v.speak
	p := page.Bench{
		Frame: v.frame(say.T("quiz.scenario." + o.scenario.ID + ".title")), ID: o.run.ID, Scenario: o.scenario,
		Practice: o.run.Mode == record.Practice, Setup: o.stored.Tag, Seq: len(o.run.Steps) + 1, FormKey: rand.Text(),
		Minutes: int(o.bench.Minutes), Part: part,
	}
	if st := &o.bench.State; st.Alarm != setup.NoAlarm && !st.Silenced {
		p.Alarm = say.T("figure.alarm.said." + string(st.Alarm))
	}
	fig := figure.View{
		Setup: o.setup, State: o.bench.State, Words: say.T, RTL: say.Dir == "rtl", ID: "b", Point: part,
		Link: func(id string) string { return "/runs/" + o.run.ID + "?part=" + url.QueryEscape(id) + "#acts" },
	}
	p.Chain = figure.Chain(fig)
	still := fig
	still.Link, still.Point, still.Reveal = nil, "", true
	if o.bench.Answers.Source != "" {
		still.ID = "p"
		p.Panel = figure.Panel(still)
	}
	if part != "" {
		p.PartName = figure.Name(say.T, o.setup, part)
		if _, seen := o.bench.Answers.Looks[part]; seen {
			still.ID = "c"
			still.State.Looks = maps.Clone(still.State.Looks)
			if still.State.Looks[part] = o.bench.Shown(part); still.State.Looks[part] == setup.LookSound {
				delete(still.State.Looks, part)
			}
			p.CloseUp = figure.CloseUp(still, part)
		}
		p.PartActs = m.choices(say, o.setup, part, bench.Offers(o.setup, part))
	}
	if o.worked() {
		next, err := quiz.Next(o.model, o.bench)
		if err != nil {
			return p, err
		}
		p.Lead = &page.Lead{Act: m.choices(say, o.setup, next.Action.Part, []diagnosis.Verb{next.Action.Verb})[0], Why: say.T(next.Why)}
	}
	p.Care = m.choices(say, o.setup, "", []diagnosis.Verb{diagnosis.AskPerson})
	p.Care = append(p.Care, m.choices(say, o.setup, diagnosis.PanelID, []diagnosis.Verb{diagnosis.Look})...)
	p.Care = append(p.Care, m.choices(say, o.setup, quiz.Outlet(o.setup), []diagnosis.Verb{diagnosis.PlugIn})...)
	p.Care = append(p.Care, m.choices(say, o.setup, "", []diagnosis.Verb{diagnosis.Bag})...)
	p.Endings = m.choices(say, o.setup, "", bench.Endings)
	steps := quiz.Steps(o.bench)
	if p.Practice { // praise gives nothing away that counts
		var err error
		if steps, err = quiz.Explain(o.model, o.bench); err != nil {
			return p, err
		}
	}
	p.Log = told(say, o.setup, steps, o.worked())
	return p, nil
}

func partName(say locales.Speaker, s *setup.Setup, part string) string {
	switch part {
	case "":
		return ""
	case diagnosis.PanelID:
		return say.T("bench.panel")
	}
	return figure.Name(say.T, s, part)
}

func (m *Main) choices(say locales.Speaker, s *setup.Setup, part string, verbs []diagnosis.Verb) []page.Act {
	var out []page.Act
	for _, v := range verbs {
		a := diagnosis.Action{Verb: v, Part: part}
		out = append(out, page.Act{Value: actionText(a), Text: page.ActionText(say, a, partName(say, s, part))})
	}
	return out
}

// told tells each step and what came of it; and, where it is explained, what
// was best to do then, and why.
func told(say locales.Speaker, s *setup.Setup, steps []quiz.StepDebrief, explained bool) []page.LogLine {
	var out []page.LogLine
	for _, st := range steps {
		name := partName(say, s, st.Action.Part)
		line := page.LogLine{
			Text: page.ActionText(say, st.Action, name), Came: came(say, st, name),
			Refused: st.Refused != "", Best: st.Best && st.Refused == "",
		}
		if explained && st.Why != "" {
			line.Why = say.T(st.Why)
			if !line.Best {
				line.Better = say.T("quiz.better", "Step", page.ActionText(say, st.Next, partName(say, s, st.Next.Part)))
			}
		}
		out = append(out, line)
	}
	return out
}

func lookText(say locales.Speaker, l setup.Look) string {
	if l == setup.LookSound {
		return say.T("bench.look.sound")
	}
	return say.T("figure.look." + string(l))
}

// came says what came of a step.
func came(say locales.Speaker, st quiz.StepDebrief, name string) string {
	source := ""
	if st.Seen != "" {
		source = say.T("common.source." + string(st.Seen))
	}
	switch {
	case st.Refused != "":
		return say.T(st.Refused)
	case st.Action.Verb == diagnosis.AskPerson && st.Source == setup.None:
		return say.T("bench.came.person-not-ok")
	case st.Action.Verb == diagnosis.AskPerson:
		return say.T("bench.came.person-ok")
	case st.Action.Verb == diagnosis.Bag:
		return say.T("bench.came.bag")
	case st.Look != "" && st.Heat == circuit.Hot:
		return say.T("bench.came.look-hot", "Part", name, "Look", lookText(say, st.Look))
	case st.Look != "" && st.Heat == circuit.Warm:
		return say.T("bench.came.look-warm", "Part", name, "Look", lookText(say, st.Look))
	case st.Look != "":
		return say.T("bench.came.look", "Part", name, "Look", lookText(say, st.Look))
	case slices.Contains(bench.Endings, st.Action.Verb):
		return say.T("bench.came.ended")
	case st.Action.Verb == diagnosis.PlugIn && st.Seconds == 0 && st.Source != setup.Mains:
		return say.T("gate.no-mains")
	case st.Seen == "":
		return say.T("bench.came.source-dark")
	case st.Action.Verb == diagnosis.Look:
		return say.T("bench.came.source", "Source", source)
	case st.Did && st.Action.Verb == diagnosis.PlugIn:
		return say.T("bench.came.mains", "Source", source)
	case st.Did:
		return say.T("bench.came.changed", "Source", source)
	}
	return say.T("bench.came.same")
}

func (m *Main) debrief(c *fiber.Ctx) error {
	v := m.view(c)
	o, err := m.openRun(c, v)
	if err != nil {
		return err
	}
	if !o.over() {
		return c.Redirect("/runs/"+o.run.ID, fiber.StatusSeeOther)
	}
	if o.run.Ended.IsZero() { // the last step was kept and then the power went
		now, err := m.clock(c)
		if err != nil {
			return err
		}
		if err := m.end(c, o, now); err != nil {
			return err
		}
		if o, err = m.openRun(c, v); err != nil {
			return err
		}
	}
	p := page.Debrief{Scenario: o.scenario, Practice: o.run.Mode == record.Practice, Setup: o.stored.Tag}
	if err := json.Unmarshal(o.run.Result, &p.Result); err != nil {
		return err
	}
	say := v.speak
	title := "page.debrief.title"
	if p.Practice {
		title = "page.debrief.practice"
	}
	p.Frame = v.frame(say.T(title))
	p.Log = told(say, o.setup, p.Result.Steps, true)
	for _, a := range p.Result.Best {
		p.Best = append(p.Best, page.ActionText(say, a, partName(say, o.setup, a.Part)))
	}
	f, err := o.setup.ParseFault(p.Result.Fault)
	if err != nil {
		return err
	}
	fig, err := m.draw(say, o.setup, circuit.Usual(f), "d", "")
	if err != nil {
		return err
	}
	p.Figure = figure.CloseUp(fig, f.Part)
	name, look := partName(say, o.setup, f.Part), lookText(say, fig.State.Look(f.Part))
	switch {
	case f.Mode == setup.Misread, f.Mode == setup.Intermittent: // nothing shows of it
		p.Cause = say.T("page.debrief.cause."+string(f.Mode), "Part", name)
	case p.Result.Spare != "":
		p.Cause = say.T("page.debrief.cause.spare", "Part", name, "Look", look, "Spare", say.T("bench.spare."+p.Result.Spare))
	default:
		p.Cause = say.T("page.debrief.cause.text", "Part", name, "Look", look)
	}
	return m.render(c, page.DebriefPage(p))
}
