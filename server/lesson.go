package server

import (
	"bytes"
	"context"
	"crypto/rand"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/gofiber/fiber/v2"
	"github.com/klauspost/compress/gzip"

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
func (m *Main) numbered(l lessons.Lesson) lessons.Lesson {
	return l.WithLines(map[string]string{
		"emergency": m.site.RescueLine, "clinical": m.site.ClinicalLine,
		"technologist": m.site.TechnologistLine, "chair-vendor": m.site.ChairLine,
	})
}

// fitted is a lesson as a set-up shows it, with the site's numbers.
func (m *Main) fitted(speak locales.Speaker, s *setup.Setup, l lessons.Lesson) lessons.Lesson {
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
	facts["joint-colours"] = strings.Join(slices.Compact(colours), ", ")
	for _, it := range s.Ventilator.Panel {
		for source, words := range it.Screen {
			if !strings.Contains(words, "{") { // a level says no source
				facts["words-"+string(source)] = words
			}
		}
	}
	return m.numbered(l.On(s)).WithFacts(facts)
}

// lesson serves a card: kept as bytes by set-up, card, language, size and
// versions, for it holds nothing of its reader.
func (m *Main) lesson(c *fiber.Ctx) error {
	v := m.guest(c)
	id, lesson := param(c, "setup"), param(c, "lesson")
	number, err := strconv.Atoi(c.Params("card"))
	if err != nil {
		return fiber.ErrNotFound
	}
	r, err := m.store.Setup(ctx(c), SiteID, id)
	if err != nil {
		return err
	}
	// Of its reader it holds only whether someone is signed in.
	reader, signed := v.person, v.person.ID != ""
	v.person = record.Person{}
	key := strings.Join([]string{id, r.Version, lesson, strconv.Itoa(number), v.speak.Tag, strconv.Itoa(v.size), strconv.FormatBool(signed)}, " ")
	p, ok := m.kept.get(key)
	if !ok {
		if p, err = m.keep(v, r, lesson, number, signed); err != nil {
			return err
		}
		m.kept.put(key, p)
	}
	if reader.Role == record.Learner && reader.SetupID == id {
		m.reached(reader, record.Place{Lesson: lesson, Card: number})
	}
	c.Set("Content-Type", "text/html; charset=utf-8")
	c.Set("Vary", "Accept-Encoding")
	if accepts(c, "gzip") {
		c.Set("Content-Encoding", "gzip")
		return c.Send(p.gzip)
	}
	return c.Send(p.body)
}

func (m *Main) keep(v view, r record.Setup, id string, number int, signed bool) (keptPage, error) {
	l, ok := m.lessons.Lesson(id, v.speak.Tag)
	if !ok || id == lessons.StoppedID {
		return keptPage{}, problem.New(problem.Unknown, "problem.not-found")
	}
	s, err := m.setupOf(r)
	if err != nil {
		return keptPage{}, err
	}
	l = m.fitted(v.speak, s, l)
	if number < 1 || number > len(l.Cards) {
		return keptPage{}, problem.New(problem.Unknown, "problem.not-found")
	}
	card := l.Cards[number-1]
	figures, err := m.figures(v.speak, s, card.Figure, "f")
	if err != nil {
		return keptPage{}, err
	}
	at := "/lessons/" + r.ID + "/" + id + "/"
	v.path = at + strconv.Itoa(number)
	frame := v.frame(card.Title)
	if frame.Token = ""; signed {
		frame.Signed, frame.Idle = true, idleSeconds
	}
	p := page.Card{
		Frame: frame, Lesson: l, Card: card, Number: number, Of: len(l.Cards), Figures: figures,
		Setup: r.Tag, Prev: at + strconv.Itoa(number-1), Next: at + strconv.Itoa(number+1),
	}
	if number == 1 {
		p.Prev = "/me"
	}
	if number == len(l.Cards) {
		p.Next = "/lessons/" + id + "/question"
	}
	var b, z bytes.Buffer
	if err := page.LessonPage(p).Render(context.Background(), &b); err != nil {
		return keptPage{}, err
	}
	w, err := gzip.NewWriterLevel(&z, gzip.BestCompression)
	if err != nil {
		return keptPage{}, err
	}
	if _, err := w.Write(b.Bytes()); err != nil {
		return keptPage{}, err
	}
	if err := w.Close(); err != nil {
		return keptPage{}, err
	}
	return keptPage{b.Bytes(), z.Bytes()}, nil
}

// figures draws a card's figure on the reader's set-up: a chain with the
// panel it lights, a panel, one part close up, the chair's back or the person.
func (m *Main) figures(speak locales.Speaker, s *setup.Setup, f lessons.Figure, id string) ([]string, error) {
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
	}
	return nil, fmt.Errorf("figure kind %q", f.Kind)
}

func (m *Main) asked(c *fiber.Ctx) (page.Question, record.Setup, error) {
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
		Lesson: l, Key: key, Setup: r.Tag, FormKey: rand.Text(),
		Action: "/lessons/" + l.ID + "/question", Back: fmt.Sprintf("/lessons/%s/%s/%d", r.ID, l.ID, len(l.Cards)),
	}
	v.path = q.Action
	q.Frame = v.frame(l.Title)
	figures, err := m.figures(v.speak, s, l.Question.Figure, "q")
	if len(figures) > 0 {
		q.Figure = figures[0]
	}
	return q, r, err
}

func (m *Main) question(c *fiber.Ctx) error {
	q, _, err := m.asked(c)
	if err != nil {
		return err
	}
	return m.render(c, page.QuestionPage(q))
}

func (m *Main) answer(c *fiber.Ctx) error {
	q, r, err := m.asked(c)
	if err != nil {
		return err
	}
	key, err := formKey(c)
	if err != nil {
		return err
	}
	option := c.FormValue("option")
	if !slices.Contains(q.Lesson.Question.Options, option) {
		return problem.New(problem.Invalid, "problem.choose")
	}
	now, err := m.clock(c)
	if err != nil {
		return err
	}
	q.Chosen = option
	if err := m.store.MarkLesson(ctx(c), SiteID, m.view(c).person.ID, r.ID, r.Version, q.Lesson.ID, q.Lesson.Version, q.Right(), now, key); err != nil {
		return err
	}
	return m.render(c, page.QuestionPage(q))
}

// evidence is what a person has done on the present version of a set-up.
func (m *Main) evidence(c *fiber.Ctx, person record.Person, r record.Setup) (competency.Evidence, error) {
	var e competency.Evidence
	done, err := m.store.LessonsDone(ctx(c), SiteID, person.ID)
	if err != nil {
		return e, err
	}
	for _, d := range done {
		if d.SetupID == r.ID && d.SetupVersion == r.Version {
			e.Lessons = append(e.Lessons, d.Lesson)
		}
	}
	runs, err := m.store.Runs(ctx(c), SiteID, person.ID)
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

func scenarioIDs() []string {
	var ids []string
	for _, sc := range quiz.Needed() {
		ids = append(ids, sc.ID)
	}
	return ids
}

func (m *Main) me(c *fiber.Ctx) error {
	v := m.view(c)
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
		if other, err := m.store.Setup(ctx(c), SiteID, chose); err == nil {
			p.Chose = other.Tag
		}
	}
	open, going, err := m.store.OpenRun(ctx(c), SiteID, v.person.ID)
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
	p.FormKey = rand.Text()
	return m.render(c, page.MePage(p))
}
