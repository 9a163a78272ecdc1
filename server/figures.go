package server

import (
	"slices"
	"strconv"

	"github.com/a-h/templ"
	"github.com/gofiber/fiber/v2"

	"lampwright/lessons/circuit"
	"lampwright/lessons/figure"
	"lampwright/lessons/setup"
	"lampwright/locales"
	"lampwright/server/page"
)

// everyFigure serves every figure of a set-up in every state it can be in.
func (m *Main) everyFigure(c *fiber.Ctx) error {
	r, err := m.setupHere(c)
	if err != nil {
		return err
	}
	return m.keep(c, m.guest(c), r, "/figures/"+r.ID, func(v view) (templ.Component, error) {
		s, err := m.setupOf(r)
		if err != nil {
			return nil, err
		}
		a := album{Main: m, speak: v.speak, setup: s}
		sheets, err := a.sheets()
		if err != nil {
			return nil, err
		}
		return page.FiguresPage(page.Figures{Frame: v.frame(v.speak.T("page.figures")), Setup: r.Tag, Sheets: sheets}), nil
	})
}

// album gathers the figures of a set-up.
type album struct {
	*Main
	speak locales.Speaker
	setup *setup.Setup
	drawn int // so far, for their ids
}

// moment is a state worth showing; its message is page.figures.<name>.
type moment struct {
	name string
	circuit.Conditions
	point string // the part that is at fault
}

// moments are the sources, one after the other, then the supply that comes and
// goes and the silenced alarm: each by the first fault that brings it about.
func (a *album) moments() ([]moment, error) {
	mains := circuit.Usual()
	mains.Mains = true
	out := []moment{{"mains", mains, ""}, {"chair", circuit.Usual(), ""}}
	faults := a.setup.Faults()
	if i := slices.IndexFunc(faults, func(f setup.Fault) bool { return f.Mode == setup.Blown }); i > 0 { // the usual example
		faults[0], faults[i] = faults[i], faults[0]
	}
	dead := setup.Fault{Part: setup.InternalID, Mode: setup.Dead}
	silent := setup.Fault{Part: setup.AlarmID, Mode: setup.Silenced}
	for _, wanted := range []struct {
		name string
		with []setup.Fault
		is   func(st *circuit.State) bool
	}{
		{"internal", nil, func(st *circuit.State) bool { return st.Source == setup.Internal && st.Kind == circuit.Steady }},
		{"comes-and-goes", nil, func(st *circuit.State) bool { return st.Kind == circuit.Hunting }},
		{"silenced", []setup.Fault{silent}, func(st *circuit.State) bool { return st.Silenced }},
		{"none", []setup.Fault{dead}, func(st *circuit.State) bool { return st.Source == setup.None }},
	} {
		for _, f := range faults {
			c := circuit.Usual(append([]setup.Fault{f}, wanted.with...)...)
			st, err := circuit.Solve(a.setup, c)
			if err != nil {
				return nil, err
			}
			if wanted.is(&st) {
				out = append(out, moment{wanted.name, c, f.Part})
				break
			}
		}
	}
	return out, nil
}

// show draws one figure of the set-up in some conditions.
func (a *album) show(c circuit.Conditions, point, caption string, picture func(figure.View) string) (page.Pictured, error) {
	a.drawn++
	v, err := a.draw(a.speak, a.setup, c, "n"+strconv.Itoa(a.drawn), point)
	if err != nil {
		return page.Pictured{}, err
	}
	return page.Pictured{Picture: picture(v), Caption: caption}, nil
}

// sheets are the figures by kind.
func (a *album) sheets() ([]page.Sheet, error) {
	moments, err := a.moments()
	if err != nil {
		return nil, err
	}
	var out []page.Sheet
	for _, kind := range []struct {
		name    string
		picture func(figure.View) string
		large   bool
		pointed bool
		when    []string
	}{
		{"panel", figure.Panel, false, false, []string{"mains", "chair", "internal", "comes-and-goes", "silenced", "none"}},
		{"person", figure.Person, false, false, []string{"chair", "none"}},
		{"packed", figure.Packed, false, false, []string{"chair"}},
		{"back", figure.Back, true, true, []string{"chair", "mains", "internal", "none"}},
		{"chain", figure.Chain, true, false, []string{"chair", "mains", "internal", "comes-and-goes", "none"}},
	} {
		sheet := page.Sheet{Title: a.speak.T("page.figures." + kind.name), Large: kind.large}
		for _, when := range kind.when {
			i := slices.IndexFunc(moments, func(m moment) bool { return m.name == when })
			if i < 0 {
				continue // this set-up knows no such state
			}
			point := ""
			if kind.pointed {
				point = moments[i].point
			}
			shown, err := a.show(moments[i].Conditions, point, a.speak.T("page.figures.when."+when), kind.picture)
			if err != nil {
				return nil, err
			}
			sheet.Shown = append(sheet.Shown, shown)
		}
		out = append(out, sheet)
	}
	closeUps, err := a.closeUps()
	if err != nil {
		return nil, err
	}
	return append(out, page.Sheet{Title: a.speak.T("page.figures.close-up"), Shown: closeUps}), nil
}

// closeUps are every part in every look that a fault of its own gives it,
// each look once, the sound one first.
func (a *album) closeUps() ([]page.Pictured, error) {
	var out []page.Pictured
	faults := a.setup.Faults()
	for _, part := range a.setup.IDs() {
		name := figure.Name(a.speak.T, a.setup, part)
		seen := map[string]bool{}
		add := func(caption string, with ...setup.Fault) error {
			c := a.telling(part)
			c.Faults = append(c.Faults, with...)
			v, err := a.draw(a.speak, a.setup, c, "n", "")
			if err != nil {
				return err
			}
			if picture := figure.CloseUp(v, part); !seen[picture] {
				seen[picture] = true
				v.ID += strconv.Itoa(a.drawn)
				a.drawn++
				out = append(out, page.Pictured{Picture: figure.CloseUp(v, part), Caption: caption})
			}
			return nil
		}
		if err := add(a.speak.T("page.figures.sound", "Part", name)); err != nil {
			return nil, err
		}
		for _, f := range faults {
			if f.Part != part {
				continue
			}
			if err := add(a.speak.T("diagnosis.cause", "Part", name, "Mode", a.speak.T("diagnosis.mode."+string(f.Mode))), f); err != nil {
				return nil, err
			}
		}
	}
	return out, nil
}

// telling are the conditions in which a part has something to show: the mains
// side with mains there, a lamp lit, the alarm sounding.
func (a *album) telling(part string) circuit.Conditions {
	c := circuit.Usual()
	on := setup.Chair
	for _, it := range a.setup.Ventilator.Panel {
		if it.ID == part && it.Lamp != "" {
			on = it.LitOn[0]
		}
	}
	if slices.ContainsFunc(a.setup.Mains, func(p setup.Part) bool { return p.ID == part }) {
		on = setup.Mains
	}
	c.Mains = on == setup.Mains
	if on == setup.Internal || part == setup.AlarmID {
		plug := a.setup.Chain[len(a.setup.Chain)-1].ID
		c.Faults = append(c.Faults, setup.Fault{Part: plug, Mode: setup.Open})
	}
	return c
}
