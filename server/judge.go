package server

import (
	"encoding/json"
	"slices"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"

	"lampwright/lessons"
	"lampwright/lessons/setup"
	"lampwright/quiz"
	"lampwright/quiz/competency"
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
	events map[string][]record.Event     // by sign-off
	again  map[string][]competency.Event // objectives done again, by person and set-up
}

// past reads it for a person, or for everyone where person is "".
func (m *Main) past(c *fiber.Ctx, person string) (p past, err error) {
	if p.events, err = m.store.EventsOf(ctx(c), SiteID, person); err != nil {
		return p, err
	}
	list, err := m.store.Agains(ctx(c), SiteID, person)
	if err != nil {
		return p, err
	}
	p.again = map[string][]competency.Event{}
	for _, a := range list {
		key := a.PersonID + " " + a.SetupID
		for _, o := range m.objectives(a.Lesson, a.Scenario) {
			p.again[key] = append(p.again[key], competency.Event{Kind: competency.KindRefreshed, At: a.At, Objective: o})
		}
	}
	return p, nil
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
	return m.features.put(key, featuresOf(s), mostSetups)
}

// judged tells how a sign-off stands: by its date, by what happened to it, and
// by what the set-up was and is.
func (m *Main) judged(c *fiber.Ctx, o record.SignOff, p past, now time.Time) (competency.Judgement, error) {
	what := competency.Find(o.Competency)
	if what == nil { // of a competency that is no more
		return competency.Judgement{Standing: competency.Lapsed}, nil
	}
	r := competency.Record{Signed: o.Signed, Lapses: o.Lapses, Zone: m.zone}
	present, err := m.store.Setup(ctx(c), SiteID, o.SetupID)
	if err != nil {
		return competency.Judgement{}, err
	}
	r.Now = m.featuresIn(present)
	switch {
	case o.SetupVersion == present.Version:
		r.Then = r.Now
	case len(o.Features) > 0:
		r.Then = new(competency.Features)
		if err := json.Unmarshal(o.Features, r.Then); err != nil {
			return competency.Judgement{}, err
		}
	default: // signed before they were kept
		old, err := m.store.SetupVersion(ctx(c), SiteID, o.SetupID, o.SetupVersion)
		if err != nil {
			return competency.Judgement{}, err
		}
		r.Then = m.featuresIn(old)
	}
	for _, e := range p.events[o.ID] {
		r.Events = append(r.Events, competency.Event{Kind: competency.Kind(e.Kind), At: e.At, Until: e.Until, Objective: e.Objective, Why: e.Why})
	}
	r.Events = append(r.Events, p.again[o.PersonID+" "+o.SetupID]...)
	return what.Stands(r, now), nil
}
