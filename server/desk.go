package server

import (
	"crypto/rand"
	"encoding/json"
	"strconv"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"

	"lampwright/lessons/circuit"
	"lampwright/locales/problem"
	"lampwright/quiz/competency"
	"lampwright/server/page"
	"lampwright/server/record"
)

// localTime is a moment as signatures show it, in the site's zone.
const localTime = "2006-01-02 15:04 MST"

// signOffs reads a person's sign-offs as they stand now, newest first.
func (m *Main) signOffs(c *fiber.Ctx, v view, person string) ([]page.SignOff, error) {
	list, err := m.store.SignOffs(ctx(c), v.at.ID, person)
	if err != nil {
		return nil, err
	}
	p, err := m.past(c, person)
	if err != nil {
		return nil, err
	}
	now, err := m.clock(c)
	if err != nil {
		return nil, err
	}
	var out []page.SignOff
	for _, o := range list {
		shown, err := m.shownSignOff(c, v, o, p, now)
		if err != nil {
			return nil, err
		}
		out = append(out, shown)
	}
	return out, nil
}

// shownSignOff is a sign-off as it is shown, judged by the records' clock, which
// never runs backwards.
func (m *Main) shownSignOff(c *fiber.Ctx, v view, o record.SignOff, p past, now time.Time) (page.SignOff, error) {
	j, err := m.judged(c, o, p, now)
	if err != nil {
		return page.SignOff{}, err
	}
	out := page.SignOff{
		ID: o.ID, Standing: j.Standing, Competency: v.speak.T("competency.name." + o.Competency), Setup: o.SetupTag, SetupID: o.SetupID, By: o.SignedName,
		At: o.SignedLocal, LastDay: competency.LastDay(o.Lapses, v.at.zone).Format(time.DateOnly), Meaning: o.Meaning, Language: o.Language,
		Why: j.Why, Of: o.Competency,
	}
	for _, f := range j.Changes {
		out.Because = append(out.Because, v.speak.T(f.ChangeKey()))
	}
	for _, objective := range j.Missed {
		out.Because = append(out.Because, v.speak.T("page.sign-off.missed", "Objective", v.speak.T("lessons.objective."+objective)))
	}
	if !j.Until.IsZero() && !j.Standing.Holds() {
		out.Until = j.Until.In(v.at.zone).Format(localTime)
	}
	if j.Standing.Holds() {
		out.RefreshBy, out.Refresh = m.dueSoon(v.speak, o, p, now)
	}
	for _, e := range p.events[o.ID] {
		out.Acknowledged = out.Acknowledged || e.Kind == acknowledged
	}
	return out, nil
}

// bindKiosk ties the device it is pressed on to one set-up, or to none: by its
// id where the set-ups are few enough to choose from, else by its tag.
func (m *Main) bindKiosk(c *fiber.Ctx) error {
	at, id := m.at(c), strings.Clone(c.FormValue("set-up"))
	if tag := cut(strings.TrimSpace(strings.Clone(c.FormValue("tag")))); tag != "" {
		named, err := m.namedSetup(c, at, tag)
		if problem.Is(err, problem.Unknown) {
			p, _ := understand(err)
			return m.rosterWith(c.Status(fiber.StatusUnprocessableEntity), tag, m.view(c).speak.Problem(p))
		}
		if err != nil {
			return err
		}
		id = named
	}
	if id == "" {
		m.forget(c, kioskCookie)
		return c.Redirect("/desk", fiber.StatusSeeOther)
	}
	if _, err := m.store.Setup(ctx(c), at.ID, id); err != nil {
		return err
	}
	now, err := m.clock(c)
	if err != nil {
		return err
	}
	token := rand.Text()
	if err := m.store.SetKiosk(by(c), at.ID, hashed(token), id, now); err != nil {
		return err
	}
	m.cookie(c, kioskCookie, token, aYear)
	return c.Redirect("/desk", fiber.StatusSeeOther)
}

// observed is a learner at the desk, with what a demonstration needs.
type observed struct {
	person   record.Person
	stored   record.Setup
	evidence competency.Evidence
	newest   map[string]record.SignOff // by competency, on this set-up
	page     page.Learner
}

// observe gathers what an educator needs to observe a competency.
func (m *Main) observe(c *fiber.Ctx, v view, wanted string) (o observed, err error) {
	if o.person, err = m.someone(c); err != nil {
		return o, err
	}
	if o.person.Role != record.Learner {
		return o, problem.New(problem.Unknown, "problem.not-found")
	}
	of := v
	of.person = o.person
	if o.stored, _, err = m.mine(c, of); err != nil {
		return o, err
	}
	if o.evidence, err = m.evidence(c, o.person, o.stored); err != nil {
		return o, err
	}
	list, err := m.store.SignOffs(ctx(c), v.at.ID, o.person.ID)
	if err != nil {
		return o, err
	}
	o.newest = map[string]record.SignOff{}
	for _, each := range list {
		if _, later := o.newest[each.Competency]; !later && each.SetupID == o.stored.ID {
			o.newest[each.Competency] = each
		}
	}
	v.path = "/desk/learners/" + o.person.ID
	o.page = page.Learner{
		Frame: v.frame(o.person.Name), ID: o.person.ID, Person: o.person.Name, Setup: o.stored.Tag,
		MaySign: v.person.Role == record.Educator, JustSigned: c.Query("signed") != "",
	}
	o.page.Lessons, o.page.Scenarios = m.way(v.speak, o.stored, o.evidence)
	for _, steps := range [][]page.Step{o.page.Lessons, o.page.Scenarios} {
		for i := range steps {
			steps[i].Link = "" // they are the learner's to open
		}
	}
	if o.page.SignOffs, err = m.signOffs(c, v, o.person.ID); err != nil {
		return o, err
	}
	what := competency.Find(wanted)
	if what == nil {
		return o, problem.New(problem.Invalid, "problem.form")
	}
	for i := range competency.All() {
		c := &competency.All()[i]
		o.page.Choices = append(o.page.Choices, page.Step{
			Title: v.speak.T(c.Name()), Link: "/desk/learners/" + o.person.ID + "?competency=" + c.ID, Done: c == what,
		})
	}
	l, s := o.evidence.Missing(what.Lessons, what.Scenarios)
	o.page.Observation = page.Observation{
		Competency: what.ID, Name: v.speak.T(what.Name()), Missing: len(l) + len(s), FormKey: record.NewID(), Items: what.Items,
		ChecklistVersion: what.Version, Lowest: what.Rating.Lowest, Highest: what.Rating.Highest, Educator: v.person.Name,
		Meaning: v.speak.T("page.observe.meaning.text"), After: o.newest[what.ID].ID,
	}
	for _, shown := range o.page.SignOffs {
		o.page.Observation.Again = o.page.Observation.Again || shown.ID == o.page.Observation.After && shown.Standing.Holds()
	}
	return o, nil
}

func (m *Main) learner(c *fiber.Ctx) error {
	v := m.view(c)
	if p, err := m.someone(c); err == nil && p.Role == record.Learner && p.SetupID == "" {
		v.path = "/desk/learners/" + p.ID
		return m.render(c, page.LearnerWithoutSetupPage(page.Learner{Frame: v.frame(p.Name), ID: p.ID, Person: p.Name, MaySign: v.person.Role == record.Educator}))
	}
	o, err := m.observe(c, v, c.Query("competency", competency.PowerSources))
	if err != nil {
		return err
	}
	return m.render(c, page.LearnerPage(o.page))
}

// sign records an observed demonstration. What is wrong shows on the form
// again, with everything that was filled in.
func (m *Main) sign(c *fiber.Ctx) error {
	v := m.view(c)
	key, err := formKey(c)
	if err != nil {
		return err
	}
	o, err := m.observe(c, v, c.FormValue("competency"))
	if err != nil {
		return err
	}
	form := &o.page.Observation
	what := competency.Find(form.Competency)
	form.Seen = map[string]bool{}
	for _, id := range c.Request().PostArgs().PeekMulti("seen") {
		form.Seen[string(id)] = true
	}
	form.Rating, _ = strconv.Atoi(c.FormValue("rating"))
	form.Spare = c.FormValue("spare") == "yes"
	again := func(wrong error) error {
		p, status := understand(wrong)
		if p.Code == problem.Internal {
			return wrong
		}
		form.Wrong = v.speak.Problem(p)
		c.Status(status)
		return m.render(c, page.LearnerPage(o.page))
	}
	if err := what.Signable(competency.Demonstration{
		Learner: o.person.ID, Educator: v.person.ID, Role: string(v.person.Role), Done: o.evidence, Version: c.FormValue("version"),
		Spare: form.Spare, TestLung: form.Spare, Seen: form.Seen, Rating: form.Rating,
	}); err != nil {
		return again(err)
	}
	now, err := m.again(c, v)
	if err != nil {
		return again(err)
	}
	_, s, err := m.mine(c, view{m: m, person: o.person})
	if err != nil {
		return err
	}
	list, err := json.Marshal(form.Seen)
	if err != nil {
		return err
	}
	features, err := json.Marshal(featuresOf(s))
	if err != nil {
		return err
	}
	if _, _, err := m.store.Sign(ctx(c), record.SignOff{
		SiteID: v.at.ID, PersonID: o.person.ID, PersonName: o.person.Name, EducatorID: v.person.ID, EducatorName: v.person.Name, Competency: what.ID,
		SetupID: o.stored.ID, SetupTag: o.stored.Tag, SetupVersion: o.stored.Version, ChecklistVersion: what.Version, Features: features,
		ModelVersion: circuit.Version, ContentVersion: m.lessons.Version(), Language: v.speak.Tag, Supersedes: strings.Clone(c.FormValue("after")),
		Meaning: strings.Clone(form.Meaning), SignedName: v.person.Name, Checklist: list, Rating: form.Rating,
		Signed: now, SignedLocal: now.In(v.at.zone).Format(localTime), Lapses: competency.Lapses(now, v.at.validDays(what), v.at.zone),
	}, key); err != nil {
		return again(err)
	}
	return c.Redirect("/desk/learners/"+o.person.ID+"?signed=1", fiber.StatusSeeOther)
}

// again has whoever is signed in say their password again, as a signature
// asks, and gives the time of it.
func (m *Main) again(c *fiber.Ctx, v view) (time.Time, error) {
	now, err := m.clock(c)
	if err != nil {
		return now, err
	}
	ok, err := m.prove(ctx(c), v.person.Username+v.person.Card, source(c), c.FormValue("secret"), v.person.Secret, now)
	if err == nil && !ok {
		err = problem.New(problem.SignIn, "problem.wrong-password")
	}
	return now, err
}

// validDays is how long a sign-off is valid here: the programme may have it
// shorter than the competency, not longer.
func (s *site) validDays(what *competency.Competency) int {
	return min(what.ValidDays, s.policies().SignOffDays)
}
