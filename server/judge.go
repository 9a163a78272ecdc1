package server

import (
	"context"
	"encoding/json"
	"slices"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"

	"lampwright/lessons"
	"lampwright/lessons/setup"
	"lampwright/locales"
	"lampwright/quiz"
	"lampwright/quiz/competency"
	"lampwright/server/page"
	"lampwright/server/record"
)

// featuresOf are what of a set-up a signature rests on.
func featuresOf(s *setup.Setup) *competency.Features {
	f := &competency.Features{
		Ventilator: s.Ventilator.Model, Inlets: len(s.Ventilator.Inlets), RemateJoint: s.Policy.RemateJoint,
		OpenHolder: s.Policy.OpenHolder, Unaided: float64(s.Dependence.Unaided),
		Panel: competency.Panel{
			Mains: shows(s, setup.Mains), Chair: shows(s, setup.Chair), Internal: shows(s, setup.Internal),
		},
	}
	for _, in := range s.Ventilator.Inlets {
		f.Shared = f.Shared || len(in.Takes) > 1
	}
	for i := range s.Chain {
		p := &s.Chain[i]
		if p.Tap != nil {
			f.Tap, f.Block = string(p.Tap.At), p.Tap.Block
		}
		if p.Joint != nil {
			f.Joints = append(f.Joints, competency.Joint{Colour: p.Joint.Colour, Key: p.Joint.Key})
		}
		if p.Fuse != nil {
			f.FuseHolder = "covered"
			if p.Fuse.Cover {
				f.FuseHolder = "clear"
			}
		}
	}
	for _, id := range s.IDs() {
		if kind, ok := s.PartKind(id); ok && !slices.Contains(f.Parts, string(kind)) {
			f.Parts = append(f.Parts, string(kind))
		}
	}
	slices.Sort(f.Parts)
	return f
}

// shows is what the face says while a source carries: the lamps lit, by their
// symbols, and the words on a screen.
func shows(s *setup.Setup, source setup.Source) string {
	var all []string
	for _, it := range s.Ventilator.Panel {
		switch {
		case it.Lamp != "" && slices.Contains(it.LitOn, source):
			all = append(all, it.Lamp)
		case it.Lamp == "" && it.Screen[source] != "":
			all = append(all, it.Screen[source])
		}
	}
	return strings.Join(all, "\n")
}

// past is what happened to sign-offs, as a judgement needs it.
type past struct {
	events map[string][]record.Event        // by sign-off
	again  map[[2]string][]competency.Event // objectives done again, by person and set-up
}

// past reads it for a person.
func (m *Main) past(c *fiber.Ctx, person string) (p past, err error) {
	if p.events, err = m.store.EventsOf(ctx(c), m.at(c).ID, person); err != nil {
		return p, err
	}
	list, err := m.store.Agains(ctx(c), m.at(c).ID, person)
	if err != nil {
		return p, err
	}
	p.again = m.refreshed(list)
	return p, nil
}

// refreshed are the objectives done again, by person and set-up.
func (m *Main) refreshed(list []record.Again) map[[2]string][]competency.Event {
	objectives, out := map[[2]string][]string{}, map[[2]string][]competency.Event{}
	for _, a := range list {
		what := [2]string{a.Lesson, a.Scenario}
		taught, known := objectives[what]
		if !known {
			taught = m.objectives(a.Lesson, a.Scenario)
			objectives[what] = taught
		}
		key := [2]string{a.PersonID, a.SetupID}
		for _, o := range taught {
			out[key] = append(out[key], competency.Event{Kind: competency.KindRefreshed, At: a.At, Objective: o})
		}
	}
	return out
}

// objectives are those of a lesson, or of a scenario.
func (m *Main) objectives(lesson, scenario string) []string {
	if l, ok := m.lessons.Lesson(lesson, lessons.English); ok {
		return l.Taught()
	}
	if sc, err := quiz.Find(scenario); err == nil {
		return []string{sc.Objective}
	}
	return nil
}

// mostFeatures bounds those kept: they are small, and a roster asks for those
// of every set-up that changed since it was signed for.
const mostFeatures = 8192

// featuresIn are the features of a set-up in one of its versions.
func (m *Main) featuresIn(r record.Setup) *competency.Features {
	key := r.ID + " " + r.Version
	if f, ok := m.features.get(key); ok {
		return f
	}
	s, err := m.setupOf(r)
	if err != nil {
		return nil // which counts as changed
	}
	return m.features.put(key, featuresOf(s), mostFeatures)
}

// judged tells how a sign-off stands: by its date, by what happened to it, and
// by what the set-up was and is.
func (m *Main) judged(c *fiber.Ctx, o record.SignOff, p past, now time.Time) (competency.Judgement, error) {
	what := competency.Find(o.Competency)
	if what == nil { // of a competency that is no more
		return competency.Judgement{Standing: competency.Lapsed}, nil
	}
	r := competency.Record{Signed: o.Signed, Lapses: o.Lapses, Zone: m.sites[o.SiteID].zone}
	present, err := m.store.Setup(ctx(c), o.SiteID, o.SetupID)
	if err != nil {
		return competency.Judgement{}, err
	}
	r.Now, r.Then = m.featuresIn(present), nil
	if o.SetupVersion == present.Version {
		r.Then = r.Now
	} else if r.Then, err = m.featuresThen(ctx(c), o.SiteID, o.SetupID, o.SetupVersion, o.Features); err != nil {
		return competency.Judgement{}, err
	}
	r.Events = p.of(o.ID, o.PersonID, o.SetupID)
	return what.Stands(r, now), nil
}

// featuresThen are what of a set-up was signed for in a version of it.
func (m *Main) featuresThen(ctx context.Context, siteID, setupID, version string, kept []byte) (*competency.Features, error) {
	if len(kept) > 0 {
		f := new(competency.Features)
		return f, json.Unmarshal(kept, f)
	}
	if f, ok := m.features.get(setupID + " " + version); ok {
		return f, nil
	}
	old, err := m.store.SetupVersion(ctx, siteID, setupID, version) // signed before they were kept
	if err != nil {
		return nil, err
	}
	return m.featuresIn(old), nil
}

// of is what happened to a sign-off of a person on a set-up.
func (p past) of(signOff, person, setup string) (out []competency.Event) {
	for _, e := range p.events[signOff] {
		out = append(out, competency.Event{Kind: competency.Kind(e.Kind), At: e.At, Until: e.Until, Objective: e.Objective, Why: e.Why})
	}
	again := p.again[[2]string{person, setup}]
	if out == nil {
		return again
	}
	return append(out, again...)
}

// dueSoon is what a person has to do again before long for a sign-off to hold,
// each lesson and scenario once, and by which day.
func (m *Main) dueSoon(speak locales.Speaker, o record.SignOff, p past, now time.Time) (by string, again []page.Step) {
	what := competency.Find(o.Competency)
	if what == nil {
		return "", nil
	}
	r := competency.Record{Signed: o.Signed, Lapses: o.Lapses, Zone: m.sites[o.SiteID].zone, Events: p.of(o.ID, o.PersonID, o.SetupID)}
	for _, f := range what.Refreshers(r, now) { // the first due first
		if !f.Critical || f.Due.Sub(now) > competency.SoonDays*24*time.Hour {
			continue
		}
		if by == "" {
			by = competency.LastDay(f.Due, m.sites[o.SiteID].zone).Format(time.DateOnly)
		}
		if step := m.refreshes(speak, what, f.Objective); !slices.Contains(again, step) {
			again = append(again, step)
		}
	}
	return by, again
}

// refreshes is where an objective is done again: the question of the lesson
// that teaches it, or the scenario that asks for it.
func (m *Main) refreshes(speak locales.Speaker, what *competency.Competency, objective string) page.Step {
	for _, id := range what.Lessons {
		if l, ok := m.lessons.Lesson(id, speak.Tag); ok && slices.Contains(l.Taught(), objective) {
			return page.Step{Title: l.Title, Link: "/lessons/" + id + "/question"}
		}
	}
	for _, id := range what.Scenarios {
		if sc, err := quiz.Find(id); err == nil && sc.Objective == objective {
			return scenarioStep(speak, sc)
		}
	}
	return page.Step{Title: speak.T("lessons.objective." + objective), Link: "/me"}
}
