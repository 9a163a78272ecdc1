package server

import (
	"context"
	"encoding/json"
	"errors"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"

	"lampwright/locales/problem"
	"lampwright/server/page"
	"lampwright/server/record"
)

// someone is the person a page of people is about; who was erased is nobody.
func (m *Main) someone(c *fiber.Ctx) (record.Person, error) {
	p, err := m.store.Person(ctx(c), m.at(c).ID, param(c, "person"))
	if err == nil && p.Erased {
		err = problem.New(problem.Unknown, "problem.unknown-person")
	}
	return p, err
}

// exportPerson is all that is held on a person, as a file for them.
func (m *Main) exportPerson(c *fiber.Ctx) error {
	p, err := m.someone(c)
	if err != nil {
		return err
	}
	all, err := m.store.Export(ctx(c), m.at(c).ID, p.ID)
	if err != nil {
		return err
	}
	data, err := json.MarshalIndent(all, "", "\t")
	if err != nil {
		return err
	}
	return download(c, "application/json; charset=utf-8", "person-"+p.ID+".json", data)
}

// erasePage asks whether a person is really to be erased.
func (m *Main) erasePage(c *fiber.Ctx) error {
	p, err := m.someone(c)
	if err != nil {
		return err
	}
	return m.erasing(c, m.view(c), p, "", nil)
}

func (m *Main) erasing(c *fiber.Ctx, v view, p record.Person, typed string, wrong error) error {
	v.path = "/desk/people/" + p.ID + "/erase"
	out := page.Erasing{
		Frame: v.frame(v.speak.T("roster.erase.title", "Name", p.Name)), ID: p.ID, Person: p.Name, Typed: typed,
		Teaches: p.Role != record.Learner,
	}
	if wrong != nil {
		understood, status := understand(wrong)
		if understood.Code == problem.Internal {
			return wrong
		}
		out.Wrong = v.speak.Problem(understood)
		c.Status(status)
	}
	return m.render(c, page.ErasePage(out))
}

// erase erases a person for whoever says their name and their own password.
// Sent again, it finds it done.
func (m *Main) erase(c *fiber.Ctx) error {
	v := m.view(c)
	p, err := m.store.Person(ctx(c), m.at(c).ID, param(c, "person"))
	if err != nil {
		return err
	}
	done := func() error { return c.Redirect("/desk/people?erased=1", fiber.StatusSeeOther) }
	if p.Erased {
		return done()
	}
	typed := strings.Join(strings.Fields(c.FormValue("name")), " ")
	switch {
	case p.ID == v.person.ID:
		return m.erasing(c, v, p, typed, problem.New(problem.Invalid, "problem.erase-yourself"))
	case typed != strings.Join(strings.Fields(p.Name), " "):
		return m.erasing(c, v, p, typed, problem.New(problem.Invalid, "problem.erase-name"))
	}
	now, err := m.again(c, v)
	if err != nil {
		return m.erasing(c, v, p, typed, err)
	}
	err = m.store.Erase(by(c), m.at(c).ID, p.ID, now)
	if again, e := m.store.Person(ctx(c), m.at(c).ID, p.ID); err != nil && e == nil && again.Erased { // by another tab meanwhile
		err = nil
	}
	if err != nil {
		return m.erasing(c, v, p, typed, err)
	}
	return done()
}

// sweepEvery is how often what its time has come for is deleted.
const sweepEvery = 24 * time.Hour

// sweeps deletes it at once, and then each day until ctx ends.
func (m *Main) sweeps(ctx context.Context) {
	tick := time.NewTicker(sweepEvery)
	defer tick.Stop()
	for {
		if err := m.Sweep(ctx); err != nil && ctx.Err() == nil {
			m.log.Warn("sweep", "error", err)
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// Sweep deletes what its time has come for, by the programme and by the
// records' clock: one that is behind deletes nothing.
func (m *Main) Sweep(ctx context.Context) (err error) {
	defer problem.In(&err, "server.Sweep")
	now, err := m.store.Clock(ctx, m.now())
	if err != nil {
		return err
	}
	for id, s := range m.sites {
		gone, e := m.store.Sweep(ctx, id, now.AddDate(0, 0, -s.policies().KeepRunsDays), now)
		if gone > 0 {
			m.log.Info("sweep", "runs", gone)
		}
		err = errors.Join(err, e)
	}
	return err
}
