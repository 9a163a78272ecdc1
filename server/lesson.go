package server

import (
	"crypto/rand"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/a-h/templ"
	"github.com/gofiber/fiber/v2"

	"lampwright/lessons"
	"lampwright/lessons/figure"
	"lampwright/lessons/setup"
	"lampwright/locales"
	"lampwright/locales/problem"
	"lampwright/quiz"
	"lampwright/quiz/competency"
	"lampwright/server/page"
	"lampwright/server/record"
)

// numbered puts the site's numbers after the lines that a lesson names.
func (s *site) numbered(l lessons.Lesson) lessons.Lesson {
	return l.WithLines(map[string]string{
		"emergency": s.RescueLine, "clinical": s.ClinicalLine,
		"technologist": s.TechnologistLine, "chair-vendor": s.ChairLine,
	})
}

// fitted is a lesson as a set-up shows it, with the site's numbers.
func (at *site) fitted(speak locales.Speaker, s *setup.Setup, l lessons.Lesson) lessons.Lesson {
	facts := map[string]string{"tag": s.Tag, "model": s.Ventilator.Model, "unaided": speak.T("page.fact.unaided-none")}
	if minutes := int(s.Dependence.Unaided); minutes > 0 {
		facts["unaided"] = speak.T("page.fact.unaided", "Count", minutes)
	}
	var colours []string
	for i := range s.Chain {
		if j := s.Chain[i].Joint; j != nil {
			colours = append(colours, speak.T("page.colour."+j.Colour))
		}
	}
	facts["joint-colours"] = figure.List(speak.T, slices.Compact(colours))
	for _, it := range s.Ventilator.Panel {
		for source, words := range it.Screen {
			if !strings.Contains(words, "{") { // a level says no source
				facts["words-"+string(source)] = words
			}
		}
	}
	return at.numbered(l.On(s)).WithFacts(facts)
}

// lesson serves a card of a lesson, which holds nothing of its reader.
func (m *Main) lesson(c *fiber.Ctx) error {
	number, err := strconv.Atoi(c.Params("card"))
	if err != nil || number < 1 {
		return fiber.ErrNotFound
	}
	r, err := m.setupHere(c)
	if err != nil {
		return err
	}
	reader, id := m.guest(c), param(c, "lesson")
	err = m.keep(c, reader, r, lessonLink(r.ID, id, number), func(v view) (templ.Component, error) { return m.card(v, r, id, number) })
	if err == nil && reader.person.Role == record.Learner && reader.person.SetupID == r.ID {
		m.reached(reader.person, record.Place{Lesson: id, Card: number})
	}
	return err
}

// read is a lesson as a set-up shows it, for anyone; the stopped card is none
// to be read.
func (m *Main) read(v view, r record.Setup, id string) (*setup.Setup, lessons.Lesson, error) {
	l, ok := m.lessons.Lesson(id, v.speak.Tag)
	if !ok || id == lessons.StoppedID {
		return nil, l, problem.New(problem.Unknown, "problem.not-found")
	}
	s, err := m.setupOf(r)
	if err != nil {
		return nil, l, err
	}
	return s, v.at.fitted(v.speak, s, l), nil
}

func (m *Main) card(v view, r record.Setup, id string, number int) (templ.Component, error) {
	s, l, err := m.read(v, r, id)
	if err != nil {
		return nil, err
	}
	if number > len(l.Cards) {
		return nil, problem.New(problem.Unknown, "problem.not-found")
	}
	card := l.Cards[number-1]
	figures, err := m.figures(v.speak, s, card.Figure, "f", false)
	if err != nil {
		return nil, err
	}
	p := page.Card{
		Frame: v.frame(card.Title), Lesson: l, Card: card, Number: number, Of: len(l.Cards), Figures: figures,
		Setup: r.Tag, Prev: lessonLink(r.ID, id, number-1), Next: lessonLink(r.ID, id, number+1),
	}
	home, end := "/lessons/"+r.ID, "/lessons/"+r.ID
	if v.person.Role == record.Learner { // whoever is none has no page of their own, and is asked nothing
		home, end = "/me", "/lessons/"+id+"/question"
	}
	if number == 1 {
		p.Prev = home
	}
	if number == len(l.Cards) {
		p.Next = end
	}
	return page.LessonPage(p), nil
}

// figures draws a card's figure on the reader's set-up: a chain with the
// panel it lights, a panel, one part close up, the chair's back, the person or
// what goes along.
// Where looks are asked, no word and no mark judges them.
func (m *Main) figures(speak locales.Speaker, s *setup.Setup, f lessons.Figure, id string, asked bool) ([]string, error) {
	if f.Kind == "" {
		return nil, nil
	}
	f = f.On(s)
	conditions, err := f.Conditions(s)
	if err != nil {
		return nil, err
	}
	v, err := m.draw(speak, s, conditions, id, f.Part)
	if err != nil {
		return nil, err
	}
	v.Asked = asked || f.Asked
	switch f.Kind {
	case lessons.Panel:
		return []string{figure.Panel(v)}, nil
	case lessons.Chain:
		p := v
		p.ID += "p"
		return []string{figure.Panel(p), figure.Chain(v)}, nil
	case lessons.CloseUp:
		return []string{figure.CloseUp(v, f.Part)}, nil
	case lessons.Back:
		return []string{figure.Back(v)}, nil
	case lessons.Person:
		return []string{figure.Person(v)}, nil
	case lessons.Packed:
		return []string{figure.Packed(v)}, nil
	}
	return nil, fmt.Errorf("figure kind %q", f.Kind)
}

// asked is the question of a lesson, before it is answered with an option, or
// after.
func (m *Main) asked(c *fiber.Ctx, chosen string) (page.Question, record.Setup, error) {
	v := m.view(c)
	r, s, err := m.mine(c, v)
	if err != nil {
		return page.Question{}, r, err
	}
	l, ok := m.lessons.Lesson(param(c, "lesson"), v.speak.Tag)
	if !ok || l.Question == nil {
		return page.Question{}, r, problem.New(problem.Unknown, "problem.not-found")
	}
	key, err := l.Question.Key(s)
	if err != nil {
		return page.Question{}, r, err
	}
	l = l.On(s)
	q := page.Question{
		Lesson: l, Key: key, Chosen: chosen, Setup: r.Tag, FormKey: rand.Text(),
		Action: "/lessons/" + l.ID + "/question", Back: fmt.Sprintf("/lessons/%s/%s/%d", r.ID, l.ID, len(l.Cards)),
	}
	v.path = q.Action
	title := l.Title
	if chosen == "" {
		title = v.speak.T("page.question")
	}
	q.Frame = v.frame(title)
	figures, err := m.figures(v.speak, s, l.Question.Figure, "q", chosen == "" && l.Question.OfLooks())
	q.Figures = figures
	return q, r, err
}

func (m *Main) question(c *fiber.Ctx) error {
	q, _, err := m.asked(c, "")
	if err != nil {
		return err
	}
	return m.render(c, page.QuestionPage(q))
}

func (m *Main) answer(c *fiber.Ctx) error {
	option := strings.Clone(c.FormValue("option"))
	q, r, err := m.asked(c, option)
	if err != nil {
		return err
	}
	key, err := formKey(c)
	if err != nil {
		return err
	}
	if !slices.Contains(q.Lesson.Question.Options, option) {
		return problem.New(problem.Invalid, "problem.choose")
	}
	now, err := m.clock(c)
	if err != nil {
		return err
	}
	if err := m.store.MarkLesson(ctx(c), m.at(c).ID, m.view(c).person.ID, r.ID, r.Version, q.Lesson.ID, q.Lesson.Version, q.Right(), now, key); err != nil {
		return err
	}
	return m.render(c, page.QuestionPage(q))
}

// evidence is what a person has done on the present version of a set-up.
func (m *Main) evidence(c *fiber.Ctx, person record.Person, r record.Setup) (competency.Evidence, error) {
	var e competency.Evidence
	done, err := m.store.LessonsDone(ctx(c), m.at(c).ID, person.ID)
	if err != nil {
		return e, err
	}
	for _, d := range done {
		if d.SetupID == r.ID && d.SetupVersion == r.Version {
			e.Lessons = append(e.Lessons, d.Lesson)
		}
	}
	runs, err := m.store.Runs(ctx(c), m.at(c).ID, person.ID)
	if err != nil {
		return e, err
	}
	for _, run := range runs {
		if run.Mode == record.Quiz && run.Passed && run.SetupID == r.ID && run.SetupVersion == r.Version {
			e.Scenarios = append(e.Scenarios, run.Scenario)
		}
	}
	return e, nil
}

// way lists the lessons and scenarios that a sign-off needs, with what is done.
func (m *Main) way(speak locales.Speaker, r record.Setup, e competency.Evidence) (ls, ss []page.Step) {
	for _, id := range m.lessons.IDs() {
		l, _ := m.lessons.Lesson(id, speak.Tag)
		ls = append(ls, page.Step{Title: l.Title, Link: lessonLink(r.ID, id, 1), Again: lessonLink(r.ID, id, 0), Done: slices.Contains(e.Lessons, id)})
	}
	for _, sc := range quiz.Needed() {
		step := scenarioStep(speak, sc)
		step.Done = slices.Contains(e.Scenarios, sc.ID)
		ss = append(ss, step)
	}
	return ls, ss
}

func scenarioStep(speak locales.Speaker, sc quiz.Scenario) page.Step {
	return page.Step{Title: speak.T("quiz.scenario." + sc.ID + ".title"), Link: "/scenarios/" + sc.ID}
}

// more lists the scenarios that are there to practise only.
func more(speak locales.Speaker) (list []page.Step) {
	for _, sc := range quiz.Scenarios {
		if !sc.Record {
			list = append(list, scenarioStep(speak, sc))
		}
	}
	return list
}

func (m *Main) me(c *fiber.Ctx) error {
	v := m.view(c)
	if v.person.SetupID == "" {
		return m.render(c, page.WithoutSetupPage(v.frame(v.speak.T("page.me", "Name", v.person.Name))))
	}
	r, _, err := m.mine(c, v)
	if err != nil {
		return err
	}
	e, err := m.evidence(c, v.person, r)
	if err != nil {
		return err
	}
	p := page.Me{Frame: v.frame(v.speak.T("page.me", "Name", v.person.Name)), Setup: r.Tag, Check: "/check/" + r.ID, Outing: "/outing/" + r.ID}
	p.Lessons, p.Scenarios = m.way(v.speak, r, e)
	p.More = more(v.speak)
	for _, s := range slices.Concat(p.Lessons, p.Scenarios) {
		if !s.Done {
			p.Next = s
			break
		}
	}
	if p.Place, err = m.place(c, v.speak, v.person, r, e.Lessons); err != nil {
		return err
	}
	if chose := c.Query("chose"); chose != "" && chose != r.ID {
		if other, err := m.store.Setup(ctx(c), m.at(c).ID, chose); err == nil {
			p.Chose = other.Tag
		}
	}
	open, going, err := m.store.OpenRun(ctx(c), m.at(c).ID, v.person.ID)
	if err != nil {
		return err
	}
	if going {
		p.Open = page.Step{Title: v.speak.T("quiz.scenario." + open.Scenario + ".title"), Link: "/runs/" + open.ID}
	}
	signed, err := m.signOffs(c, v, v.person.ID)
	if err != nil {
		return err
	}
	for _, each := range signed {
		if each.SetupID == r.ID && each.Standing != competency.Superseded {
			each.Acknowledge = !each.Acknowledged
			p.SignOffs = append(p.SignOffs, each)
		}
	}
	if p.Feed, err = m.feedForm(c, v, record.FeedOwn); err != nil {
		return err
	}
	p.FormKey = rand.Text()
	return m.render(c, page.MePage(p))
}
