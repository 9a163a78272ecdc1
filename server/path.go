package server

import (
	"context"
	"slices"
	"strconv"
	"time"

	"github.com/a-h/templ"
	"github.com/gofiber/fiber/v2"

	"lampwright/locales"
	"lampwright/locales/problem"
	"lampwright/server/page"
	"lampwright/server/record"
)

// shelf is what there is at a set-up for anyone: no card or PIN is needed to
// check it, or to learn.
func (m *Main) shelf(c *fiber.Ctx) error {
	r, err := m.setupHere(c)
	if err != nil {
		return err
	}
	return m.keep(c, m.guest(c), r, "/lessons/"+r.ID, func(v view) (templ.Component, error) {
		p := page.Shelf{
			Frame: v.frame(v.speak.T("page.mine", "Tag", r.Tag)), Setup: r.Tag,
			Check: "/check/" + r.ID, Outing: "/outing/" + r.ID, SignIn: "/sign-in?set-up=" + r.ID, Figures: "/figures/" + r.ID,
		}
		for _, id := range m.lessons.IDs() {
			l, _ := m.lessons.Lesson(id, v.speak.Tag)
			p.Lessons = append(p.Lessons, page.Step{Title: l.Title, Link: lessonLink(r.ID, id, 1), Again: lessonLink(r.ID, id, 0)})
		}
		p.Paper = papers(r)
		return page.ShelfPage(p), nil
	})
}

// lessonLink leads to a card of a lesson, counted from 1, or to its refresher.
func lessonLink(setupID, lesson string, card int) string {
	at := "/lessons/" + setupID + "/" + lesson + "/"
	if card == 0 {
		return at + "refresher"
	}
	return at + strconv.Itoa(card)
}

// refresher is a lesson in three cards on one page.
func (m *Main) refresher(c *fiber.Ctx) error {
	id := param(c, "lesson")
	r, err := m.setupHere(c)
	if err != nil {
		return err
	}
	return m.keep(c, m.guest(c), r, lessonLink(r.ID, id, 0), func(v view) (templ.Component, error) {
		s, l, err := m.read(v, r, id)
		if err != nil {
			return nil, err
		}
		p := page.Refresher{Frame: v.frame(l.Title), Lesson: l, Setup: r.Tag, All: lessonLink(r.ID, id, 1)}
		for i, card := range l.Refresher() {
			figures, err := m.figures(v.speak, s, card.Figure, "f"+strconv.Itoa(i), false)
			if err != nil {
				return nil, err
			}
			p.Cards = append(p.Cards, page.Shown{Card: card, Figures: figures})
		}
		return page.RefresherPage(p), nil
	})
}

// placed is how far someone has read, on its way into the records.
type placed struct {
	person record.Person
	place  record.Place
	at     time.Time
}

// placesWaiting bounds those on their way.
const placesWaiting = 64

// reached has it kept how far someone has read. No lesson waits for the
// records, or fails by them: where too many wait, this one is dropped.
func (m *Main) reached(person record.Person, p record.Place) {
	select {
	case m.places <- placed{person, p, m.now()}:
	default:
	}
}

// keepPlaces keeps places until the house closes, and then those that wait.
func (m *Main) keepPlaces() {
	defer close(m.closed)
	keep := func(p placed) {
		if err := m.store.PutPlace(context.Background(), p.person.SiteID, p.person.ID, p.person.SetupID, p.place, p.at); err != nil {
			m.log.Warn("place", "error", err)
		}
	}
	for {
		select {
		case p := <-m.places:
			keep(p)
		case <-m.closing:
			for len(m.places) > 0 {
				keep(<-m.places)
			}
			return
		}
	}
}

// place is where someone stopped in a lesson they have not done, for the way
// on; zero where there is none.
func (m *Main) place(c *fiber.Ctx, speak locales.Speaker, person record.Person, r record.Setup, done []string) (page.Step, error) {
	at, err := m.store.PlaceOf(ctx(c), person.SiteID, person.ID, r.ID)
	if problem.Is(err, problem.Unknown) {
		return page.Step{}, nil
	}
	if err != nil {
		return page.Step{}, err
	}
	l, ok := m.lessons.Lesson(at.Lesson, speak.Tag)
	if !ok || at.Card < 2 || slices.Contains(done, at.Lesson) {
		return page.Step{}, nil // not begun, or done since
	}
	return page.Step{Title: l.Title, Link: lessonLink(r.ID, at.Lesson, at.Card)}, nil
}
