package server

import (
	"slices"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"

	"lampwright/lessons"
	"lampwright/lessons/circuit"
	"lampwright/lessons/figure"
	"lampwright/lessons/setup"
	"lampwright/locales/problem"
	"lampwright/server/page"
	"lampwright/server/record"
)

// versionShown is how much of a version's hash a card bears: enough to tell two
// apart by eye.
const versionShown = 8

// papers are where a set-up's cards are.
func papers(r record.Setup) page.Paper {
	at := "/paper/" + r.ID
	return page.Paper{Setup: r.Tag, Card: at, Stopped: at + "/stopped"}
}

// here are the cards of the set-up that is known on this device: the one it is
// bound to, or the reader's own. The pages for an emergency link to them and
// stand without them, so that nothing fails here.
func (m *Main) here(c *fiber.Ctx, v view) page.Paper {
	bound, ok, err := m.kiosk(c)
	if err != nil {
		m.log.Warn("kiosk", "error", err)
	}
	if ok {
		return papers(bound)
	}
	if v.person.SetupID == "" {
		return page.Paper{}
	}
	r, err := m.store.Setup(ctx(c), v.person.SiteID, v.person.SetupID)
	if err != nil {
		m.log.Warn("set-up", "error", err)
		return page.Paper{}
	}
	return papers(r)
}

// onPaper is the set-up of a card, a view that knows nobody, and the stamp.
func (m *Main) onPaper(c *fiber.Ctx) (r record.Setup, v view, s page.Stamp, err error) {
	if r, err = m.setupHere(c); err != nil {
		return r, v, s, err
	}
	v = m.guest(c)
	v.person, v.token = record.Person{Role: v.person.Role}, ""
	return r, v, page.Stamp{Setup: short(r.Version), Lessons: short(m.lessons.Version()), Date: m.now().In(v.at.zone).Format(time.DateOnly)}, nil
}

func short(version string) string { return version[:min(len(version), versionShown)] }

// setupCard serves the card of a set-up, to print.
func (m *Main) setupCard(c *fiber.Ctx) error {
	r, v, stamp, err := m.onPaper(c)
	if err != nil {
		return err
	}
	s, err := m.setupOf(r)
	if err != nil {
		return err
	}
	t := v.speak.T
	f := v.frame(t("paper.card", "Tag", r.Tag))
	f.Paper = papers(r)
	rows, err := (&album{Main: m, speak: v.speak, setup: s}).rows()
	if err != nil {
		return err
	}
	return m.render(c, page.SetupCardPage(page.SetupCard{
		Frame: f, Model: s.Ventilator.Model, Rows: rows, Level: levels(s),
		Wrong: t("paper.hands-off") + " " + t("paper.changed") + " " + t(then(f.Lines)), Stamp: stamp,
	}))
}

// stoppedCard serves the stopped card of a set-up, to print.
func (m *Main) stoppedCard(c *fiber.Ctx) error {
	r, v, stamp, err := m.onPaper(c)
	if err != nil {
		return err
	}
	l, ok := m.lessons.Lesson(lessons.StoppedID, v.speak.Tag)
	if !ok {
		return problem.New(problem.Internal, "problem.internal")
	}
	f := v.frame(v.speak.T("paper.card.stopped", "Tag", r.Tag))
	f.Local, f.Paper = v.local(), papers(r)
	return m.render(c, page.StoppedCardPage(page.StoppedCard{Card: page.Card{Frame: f, Lesson: v.at.numbered(l)}, Stamp: stamp}))
}

// rows are the sources, each as the panel shows it. Two that a panel shows
// alike are one row, with what to do for the later, which is the more careful.
func (a *album) rows() ([]page.CardRow, error) {
	moments, err := a.moments()
	if err != nil {
		return nil, err
	}
	var out []page.CardRow
	for _, mo := range moments {
		v, err := a.draw(a.speak, a.setup, mo.Conditions, mo.name, "")
		if err != nil {
			return nil, err
		}
		source := v.State.Source
		if string(source) != mo.name {
			continue // no source of its own, or not to be had here
		}
		row := page.CardRow{
			Source: a.speak.T("common.source." + string(source)), Panel: figure.SmallPanel(v),
			Signs: a.signs(&v.State), Do: a.speak.T(toDo(a.setup, source)), Call: source == setup.Internal || source == setup.None,
		}
		if n := len(out) - 1; n >= 0 && out[n].Signs == row.Signs {
			row.Source = out[n].Source + " / " + row.Source
			out = out[:n]
		}
		out = append(out, row)
	}
	return out, nil
}

// signs say what the panel shows: the lamps that are lit, the words on its
// screens, the alarm.
func (a *album) signs(st *circuit.State) string {
	t := a.speak.T
	var said []string
	lamps, lit := false, false
	for i, it := range a.setup.Ventilator.Panel {
		if it.Lamp == "" {
			continue
		}
		lamps = true
		if st.Panel[i].Lit {
			lit = true
			said = append(said, t("figure.says", "Part", figure.Name(t, a.setup, it.ID), "Seen", t("figure.lamp.lit")))
		}
	}
	if lamps && !lit {
		said = append(said, t("paper.no-lamp"))
	}
	for i, it := range a.setup.Ventilator.Panel {
		in := st.Panel[i]
		switch {
		case it.Lamp != "":
		case in.Screen == "":
			said = append(said, t("paper.screen-blank"))
		case names(it):
			said = append(said, t("paper.reads", "Part", figure.Name(t, a.setup, it.ID), "Text", strings.ReplaceAll(in.Screen, " ", "\u00a0")))
		case !lit: // it tells this from a panel that is dark
			said = append(said, t("paper.screen-lit"))
		}
	}
	switch {
	case st.Alarm != setup.NoAlarm:
		said = append(said, t("paper.alarm"))
	case st.Source == setup.None:
		said = append(said, t("paper.silent"))
	}
	return strings.Join(said, " ")
}

// toDo is what to do while a source carries. With one inlet, the adapter's plug
// has to take the place of another.
func toDo(s *setup.Setup, source setup.Source) string {
	if source == setup.Internal && s.Ventilator.Shared() {
		return "paper.do.internal.one-inlet"
	}
	return "paper.do." + string(source)
}

// names tells a screen whose words say which source is in use.
func names(it setup.Item) bool {
	return it.Screen[setup.Mains] != it.Screen[setup.Chair] || it.Screen[setup.Chair] != it.Screen[setup.Internal]
}

// levels tells whether a screen of the panel shows a level and names no source.
func levels(s *setup.Setup) bool {
	return slices.ContainsFunc(s.Ventilator.Panel, func(it setup.Item) bool {
		return it.Screen != nil && !names(it) && strings.Contains(it.Screen[setup.Mains], "{percent}")
	})
}

// then is whom to call about equipment, also when that line does not answer.
func then(l page.Lines) string {
	switch {
	case l.Technologist == "" && l.Clinical != "":
		return "paper.then.clinical"
	case l.Hours == "":
		return "paper.then"
	case l.Clinical != "" && l.ClinicalHours == "":
		return "paper.then.hours"
	}
	return "paper.then.hours.rescue"
}
