package server

import (
	"encoding/json"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"

	"lampwright/locales/problem"
	"lampwright/quiz/competency"
	"lampwright/server/page"
	"lampwright/server/record"
)

// Kinds of event that say something about a sign-off and change nothing in how
// it stands.
const (
	acknowledged = "acknowledged" // by the learner
	observedToo  = "observed-too" // by a second educator, independently
)

// eventKinds are those that an educator may record, as the page offers them.
var eventKinds = []competency.Kind{competency.KindSuspended, competency.KindLifted, competency.KindOverridden, competency.KindRevoked}

// signOffPage is one sign-off with all that was signed and what happened since.
func (m *Main) signOff(c *fiber.Ctx) error {
	return m.signOffWith(c, m.view(c), page.EventForm{})
}

func (m *Main) signOffWith(c *fiber.Ctx, v view, form page.EventForm) error {
	o, err := m.store.SignOff(ctx(c), m.at(c).ID, param(c, "signoff"))
	if err != nil {
		return err
	}
	past, err := m.past(c, o.PersonID)
	if err != nil {
		return err
	}
	now, err := m.clock(c)
	if err != nil {
		return err
	}
	v.path = "/desk/sign-offs/" + o.ID
	shown, err := m.shownSignOff(c, v, o, past, now)
	if err != nil {
		return err
	}
	what := competency.Find(o.Competency)
	out := page.SignOffDetail{
		Frame: v.frame(v.speak.T("page.sign-off")), SignOff: shown, Person: o.PersonName, PersonID: o.PersonID, UTC: o.Signed.Format(time.RFC3339),
		Versions: []page.Difference{
			{Name: v.speak.T("page.sign-off.set-up.version"), New: o.SetupVersion},
			{Name: v.speak.T("page.sign-off.checklist"), New: o.ChecklistVersion},
			{Name: v.speak.T("page.sign-off.content"), New: o.ContentVersion},
			{Name: v.speak.T("page.sign-off.model"), New: o.ModelVersion},
		},
		Rating: strconv.Itoa(o.Rating), MaySign: v.person.Role == record.Educator, Form: form,
		Mine: v.person.ID == o.EducatorID,
	}
	out.Seen = m.seen(v, what, o.Checklist)
	for _, e := range past.events[o.ID] {
		line := page.Happened{At: e.AtLocal, By: e.ByName, What: v.speak.T("page.event." + e.Kind), Why: e.Why}
		if !e.Until.IsZero() {
			line.Until = e.Until.In(m.at(c).zone).Format(localTime)
		}
		if e.Kind == observedToo {
			var second observation
			if err := json.Unmarshal([]byte(e.Data), &second); err != nil {
				return err
			}
			line.Rating, line.Seen = strconv.Itoa(second.Rating), m.seenIn(v, what, second.Seen)
		}
		out.Events = append(out.Events, line)
	}
	if what != nil {
		out.Items, out.Lowest, out.Highest = what.Items, what.Rating.Lowest, what.Rating.Highest
	}
	for _, k := range eventKinds {
		out.Kinds = append(out.Kinds, string(k))
	}
	out.FormKey = record.NewID()
	return m.render(c, page.SignOffPage(out))
}

func (m *Main) seen(v view, what *competency.Competency, checklist []byte) []page.Step {
	var seen map[string]bool
	if json.Unmarshal(checklist, &seen) != nil {
		return nil
	}
	return m.seenIn(v, what, seen)
}

// seenIn lists the items of a checklist by whether they were seen.
func (m *Main) seenIn(v view, what *competency.Competency, seen map[string]bool) (out []page.Step) {
	if what == nil {
		return nil
	}
	for _, it := range what.Items {
		out = append(out, page.Step{Title: v.speak.T("page.item." + it.ID), Done: seen[it.ID]})
	}
	return out
}

// observation is what a second observer saw.
type observation struct {
	Seen   map[string]bool
	Rating int
}

// happens records what an educator decides about a sign-off, signed with their
// password.
func (m *Main) happens(c *fiber.Ctx) error {
	v := m.view(c)
	key, err := formKey(c)
	if err != nil {
		return err
	}
	form := page.EventForm{Kind: strings.Clone(c.FormValue("kind")), Why: strings.TrimSpace(strings.Clone(c.FormValue("why"))), Hours: strings.Clone(c.FormValue("hours"))}
	again := func(wrong error) error {
		p, status := understand(wrong)
		if p.Code == problem.Internal {
			return wrong
		}
		form.Wrong = v.speak.Problem(p)
		c.Status(status)
		return m.signOffWith(c, v, form)
	}
	if !slices.Contains(eventKinds, competency.Kind(form.Kind)) || len(form.Why) > 2000 {
		return problem.New(problem.Invalid, "problem.form")
	}
	now, err := m.clock(c)
	if err != nil {
		return again(err)
	}
	e := competency.Event{Kind: competency.Kind(form.Kind), At: now, Why: form.Why}
	if e.Kind == competency.KindOverridden {
		hours, _ := strconv.Atoi(form.Hours)
		e.Until = now.Add(time.Duration(min(max(hours, 0), 1000)) * time.Hour)
	}
	if err := e.Check(); err != nil {
		return again(err)
	}
	if _, err := m.again(c, v); err != nil {
		return again(err)
	}
	return m.record(c, v, record.Event{Kind: form.Kind, At: now, Until: e.Until, Why: form.Why, FormKey: key}, func(o record.SignOff, happened []record.Event) error {
		if slices.ContainsFunc(happened, func(h record.Event) bool {
			return h.Kind == string(competency.KindRevoked) || h.Kind == string(competency.KindSuperseded)
		}) {
			return problem.New(problem.Moved, "problem.sign-off-over")
		}
		return nil
	}, again)
}

// record records an event at the sign-off of the route, and leads back to it.
func (m *Main) record(c *fiber.Ctx, v view, e record.Event, may func(record.SignOff, []record.Event) error, again func(error) error) error {
	e.SiteID, e.SignOffID, e.ByID, e.ByName, e.AtLocal = v.at.ID, param(c, "signoff"), v.person.ID, v.person.Name, e.At.In(m.at(c).zone).Format(localTime)
	if _, _, err := m.store.AddEvent(ctx(c), e, may); err != nil {
		return again(err)
	}
	return c.Redirect("/desk/sign-offs/"+e.SignOffID, fiber.StatusSeeOther)
}

// observeToo records what a second educator saw, without the first one's.
func (m *Main) observeToo(c *fiber.Ctx) error {
	v := m.view(c)
	key, err := formKey(c)
	if err != nil {
		return err
	}
	o, err := m.store.SignOff(ctx(c), m.at(c).ID, param(c, "signoff"))
	if err != nil {
		return err
	}
	what := competency.Find(o.Competency)
	if what == nil {
		return problem.New(problem.Unknown, "problem.unknown-sign-off")
	}
	second := observation{Seen: map[string]bool{}}
	for _, id := range c.Request().PostArgs().PeekMulti("seen") {
		item := string(id)
		if !slices.ContainsFunc(what.Items, func(it competency.Item) bool { return it.ID == item }) {
			return problem.New(problem.Invalid, "problem.form")
		}
		second.Seen[item] = true
	}
	second.Rating, _ = strconv.Atoi(c.FormValue("rating"))
	again := func(wrong error) error {
		p, status := understand(wrong)
		if p.Code == problem.Internal {
			return wrong
		}
		c.Status(status)
		return m.signOffWith(c, v, page.EventForm{Kind: observedToo, Wrong: v.speak.Problem(p)})
	}
	if second.Rating < what.Rating.Lowest || second.Rating > what.Rating.Highest {
		return again(problem.New(problem.Invalid, "problem.rating-missing"))
	}
	now, err := m.again(c, v)
	if err != nil {
		return again(err)
	}
	data, err := json.Marshal(second)
	if err != nil {
		return err
	}
	return m.record(c, v, record.Event{Kind: observedToo, At: now, Data: string(data), FormKey: key}, func(o record.SignOff, happened []record.Event) error {
		switch {
		case o.EducatorID == v.person.ID || o.PersonID == v.person.ID:
			return problem.New(problem.Forbidden, "problem.observes-own")
		case slices.ContainsFunc(happened, func(h record.Event) bool { return h.Kind == observedToo && h.ByID == v.person.ID }):
			return problem.New(problem.Moved, "problem.observed-already")
		}
		return nil
	}, again)
}

// acknowledge is the learner's word that they know of a sign-off.
func (m *Main) acknowledge(c *fiber.Ctx) error {
	v := m.view(c)
	key, err := formKey(c)
	if err != nil {
		return err
	}
	now, err := m.clock(c)
	if err != nil {
		return err
	}
	_, _, err = m.store.AddEvent(ctx(c), record.Event{
		SiteID: v.at.ID, SignOffID: param(c, "signoff"), Kind: acknowledged, ByID: v.person.ID, ByName: v.person.Name, At: now,
		AtLocal: now.In(m.at(c).zone).Format(localTime), FormKey: key,
	}, func(o record.SignOff, happened []record.Event) error {
		switch {
		case o.PersonID != v.person.ID:
			return problem.New(problem.Unknown, "problem.unknown-sign-off")
		case slices.ContainsFunc(happened, func(h record.Event) bool { return h.Kind == acknowledged }):
			return problem.New(problem.Moved, "problem.acknowledged")
		}
		return nil
	})
	if err != nil && !problem.Is(err, problem.Moved) {
		return err
	}
	return c.Redirect("/me", fiber.StatusSeeOther)
}

// proof is the proof file of a sign-off, for whom it is about and for staff.
func (m *Main) proof(c *fiber.Ctx) error {
	o, err := m.own(c)
	if err != nil {
		return err
	}
	file, err := m.store.Proof(ctx(c), o.ID)
	if err != nil {
		return err
	}
	c.Set("Content-Type", fiber.MIMETextPlainCharsetUTF8)
	c.Set("Content-Disposition", `attachment; filename="sign-off-`+o.ID+`.tlog-proof"`)
	return c.Send(file)
}

// own is the sign-off of the route, if whoever asks may have it: a learner
// only their own.
func (m *Main) own(c *fiber.Ctx) (record.SignOff, error) {
	o, err := m.store.SignOff(ctx(c), m.at(c).ID, param(c, "signoff"))
	if err == nil && m.view(c).person.Role == record.Learner && o.PersonID != m.view(c).person.ID {
		err = problem.New(problem.Unknown, "problem.unknown-sign-off")
	}
	return o, err
}

// publicStandings are what a stranger is told: whether it counts, and no more.
var publicStandings = map[competency.Standing]string{
	competency.Current: "valid", competency.Soon: "valid", competency.Lapsed: "lapsed", competency.Superseded: "superseded", competency.Revoked: "revoked",
}

// check is what the address on a certificate leads to.
func (m *Main) standing(c *fiber.Ctx) error {
	o, err := m.store.FindSignOff(ctx(c), param(c, "signoff"))
	if err != nil {
		return err
	}
	about(c, o.SiteID)
	v := m.guest(c)
	past, err := m.past(c, o.PersonID)
	if err != nil {
		return err
	}
	now, err := m.clock(c)
	if err != nil {
		return err
	}
	j, err := m.judged(c, o, past, now)
	if err != nil {
		return err
	}
	says := publicStandings[j.Standing]
	if says == "" { // suspended, or the set-up changed: not to be counted on today
		says = "not-now"
	}
	v.path = "/standing/" + o.ID
	return m.render(c, page.StandingPage(page.PublicStanding{
		Frame: v.frame(v.speak.T("page.public.title")), Says: says, Programme: m.sites[o.SiteID].Name, At: now.In(m.at(c).zone).Format(localTime),
	}))
}

// verifier is the line by which strangers check what the log's key signed, and
// the newest checkpoint, to be kept elsewhere.
func (m *Main) verifier(c *fiber.Ctx) error {
	line, err := m.store.Verifier()
	if err != nil {
		return err
	}
	return c.SendString(line + "\n")
}

func (m *Main) checkpoint(c *fiber.Ctx) error {
	head, _, err := m.store.Head(ctx(c))
	if err != nil {
		return err
	}
	c.Set("Content-Type", fiber.MIMETextPlainCharsetUTF8)
	return c.Send(head)
}
