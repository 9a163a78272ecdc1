package server

import (
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
	"lampwright/server/page"
	"lampwright/server/record"
)

// kioskCookie names a kiosk that is bound to one set-up.
const kioskCookie = "lw-kiosk"

// guest is a view that knows its reader if signed in, and asks nobody.
func (m *Main) guest(c *fiber.Ctx) view {
	if c.Cookies(sessionCookie) != "" {
		m.who(c) //nolint:errcheck // whoever it is may read these pages
	}
	return m.view(c)
}

func (m *Main) welcome(c *fiber.Ctx) error {
	v := m.guest(c)
	return m.render(c, page.WelcomePage(v.frame(v.speak.T("page.welcome"))))
}

const aYear = 365 * 24 * time.Hour

func (m *Main) language(c *fiber.Ctx) error {
	tag := c.Params("tag")
	if !slices.ContainsFunc(locales.Languages, func(l locales.Language) bool { return l.Tag == tag }) {
		return fiber.ErrNotFound
	}
	m.cookie(c, "lw-language", tag, aYear)
	return c.Redirect(local(c.Query("next"), "/"), fiber.StatusSeeOther)
}

func (m *Main) size(c *fiber.Ctx) error {
	n, err := strconv.Atoi(c.Params("n"))
	if err != nil || n < 0 || n > page.MaxSize {
		return fiber.ErrNotFound
	}
	m.cookie(c, "lw-size", strconv.Itoa(n), aYear)
	return c.Redirect(local(c.Query("next"), "/"), fiber.StatusSeeOther)
}

// shown are the set-ups to be recognised here: a bound kiosk knows its one,
// and where there are too many to look at, it is those with the tag that was
// asked for.
func (m *Main) shown(c *fiber.Ctx, v view, p *page.Looks) ([]record.Setup, error) {
	r, ok, err := m.kiosk(c)
	if err != nil || ok {
		p.Bound = ok
		return []record.Setup{r}, err
	}
	list, err := m.store.SetupTags(ctx(c), v.at.ID)
	if err != nil {
		return nil, err
	}
	if p.Many = len(list) > mostChoices; p.Many {
		p.Tag = cut(strings.TrimSpace(strings.Clone(c.Query("tag"))))
		list = slices.DeleteFunc(list, func(s record.Setup) bool { return p.Tag == "" || !strings.EqualFold(s.Tag, p.Tag) })
	}
	list = list[:min(len(list), mostChoices)]
	for i, each := range list {
		if list[i], err = m.store.Setup(ctx(c), v.at.ID, each.ID); err != nil {
			return nil, err
		}
	}
	return list, nil
}

func (m *Main) looks(c *fiber.Ctx) error {
	v := m.guest(c)
	if v.at == m.nowhere {
		return c.Redirect("/sites?next=/looks", fiber.StatusSeeOther)
	}
	var p page.Looks
	list, err := m.shown(c, v, &p)
	if err != nil {
		return err
	}
	if p.Tag != "" { // another language keeps it
		v.path += "?" + url.Values{"tag": {p.Tag}}.Encode()
	}
	p.Frame = v.frame(v.speak.T("page.looks"))
	for i, r := range list {
		s, err := m.setupOf(r)
		if err != nil {
			return err
		}
		fig, err := m.draw(v.speak, s, circuit.Usual(), "look"+strconv.Itoa(i), "")
		if err != nil {
			return err
		}
		p.Setups = append(p.Setups, page.Look{ID: r.ID, Setup: r.Tag, Model: s.Ventilator.Model, Panel: figure.Panel(fig)})
	}
	return m.render(c, page.LooksPage(p))
}

// draw readies a figure's view of a set-up in some conditions.
func (m *Main) draw(speak locales.Speaker, s *setup.Setup, c circuit.Conditions, id, point string) (figure.View, error) {
	st, err := circuit.Solve(s, c)
	if err != nil {
		return figure.View{}, err
	}
	return figure.View{Setup: s, State: st, Words: speak.T, RTL: speak.Dir == "rtl", ID: id, Point: point, Reveal: true}, nil
}

func (m *Main) safe(c *fiber.Ctx) error {
	v := m.inNeed(c)
	return m.render(c, page.SafePage(v.frame(v.speak.T("page.safe"))))
}

func (m *Main) call(c *fiber.Ctx) error {
	v := m.inNeed(c)
	f := v.frame(v.speak.T("page.call.title"))
	f.Local, f.Paper = v.local(), m.here(c, v)
	return m.render(c, page.CallPage(f))
}

func (m *Main) stopped(c *fiber.Ctx) error {
	v := m.inNeed(c)
	l, ok := m.lessons.Lesson("stopped", v.speak.Tag)
	if !ok {
		return problem.New(problem.Internal, "problem.internal")
	}
	f := v.frame(l.Title)
	f.Local, f.Paper = v.local(), m.here(c, v)
	return m.render(c, page.CardPage(page.Card{Frame: f, Lesson: v.at.numbered(l)}))
}

// back to a clean copy of a route's word.
func param(c *fiber.Ctx, name string) string { return strings.Clone(c.Params(name)) }
