package server

import (
	"crypto/rand"
	"encoding/json"
	"slices"
	"strconv"
	"strings"

	"github.com/gofiber/fiber/v2"

	"lampwright/lessons/circuit"
	"lampwright/locales/problem"
	"lampwright/quiz"
	"lampwright/quiz/competency"
	"lampwright/server/page"
	"lampwright/server/record"
)

// localTime is a moment as signatures show it, in the site's zone.
const localTime = "2006-01-02 15:04 MST"

// signOffs reads a person's sign-offs as they stand now, newest first.
func (m *Main) signOffs(c *fiber.Ctx, v view, person string, r record.Setup) ([]page.SignOff, error) {
	list, err := m.store.SignOffs(ctx(c), SiteID, person)
	if err != nil {
		return nil, err
	}
	var out []page.SignOff
	for _, o := range list {
		standing, last, err := m.stands(c, o, r.ID, r.Version)
		if err != nil {
			return nil, err
		}
		out = append(out, page.SignOff{
			Standing: standing, Setup: o.SetupTag, By: o.SignedName, At: o.SignedLocal, LastDay: last,
			Meaning: v.speak.T("page.observe.meaning.text"),
		})
	}
	return out, nil
}

// stands tells how a sign-off stands, by the records' clock, which never runs
// backwards.
func (m *Main) stands(c *fiber.Ctx, o record.SignOff, setupID, version string) (competency.Standing, string, error) {
	now, err := m.clock(c)
	if err != nil {
		return "", "", err
	}
	signedFor := o.SetupVersion
	if o.SetupID != setupID {
		signedFor = ""
	}
	return competency.Stands(signedFor, version, o.Lapses, now), competency.LastDay(o.Lapses, m.zone).Format("2006-01-02"), nil
}

func (m *Main) roster(c *fiber.Ctx) error {
	v := m.view(c)
	rows, err := m.store.Roster(ctx(c), SiteID)
	if err != nil {
		return err
	}
	p := page.Roster{Frame: v.frame(v.speak.T("page.roster")), Lessons: len(m.lessons.IDs()), Scenes: len(quiz.Needed()), Fewest: m.policies().FewestCaregivers}
	current := map[string]int{} // learners by set-up
	for _, row := range rows {
		r := page.RosterRow{
			ID: row.ID, Name: row.Name, Setup: row.SetupTag, Lessons: row.LessonsDone, Scenes: row.ScenariosPassed,
			Standing: competency.Never,
		}
		if o := row.SignOff; o != nil {
			if r.Standing, r.LastDay, err = m.stands(c, *o, row.SetupID, row.SetupVersion); err != nil {
				return err
			}
			r.SignedBy = o.SignedName
		}
		if r.Standing.Holds() {
			current[row.SetupID]++
		}
		p.Rows = append(p.Rows, r)
	}
	if p.Setups, p.Kiosk, err = m.kioskChoices(c); err != nil {
		return err
	}
	for _, s := range p.Setups {
		p.Coverage = append(p.Coverage, page.Coverage{Setup: s.Setup, Caregivers: current[s.ID]})
	}
	return m.render(c, page.RosterPage(p))
}

// kioskChoices lists the set-ups this device can be bound to, and the one it
// is bound to.
func (m *Main) kioskChoices(c *fiber.Ctx) (list []page.Look, bound string, err error) {
	stored, err := m.store.Setups(ctx(c), SiteID)
	if err != nil {
		return nil, "", err
	}
	for _, r := range stored {
		list = append(list, page.Look{ID: r.ID, Setup: r.Tag})
	}
	if token := c.Cookies(kioskCookie); token != "" {
		bound, _, err = m.store.KioskSetup(ctx(c), SiteID, hashed(token))
	}
	return list, bound, err
}

// bindKiosk ties the device it is pressed on to one set-up, or to none.
func (m *Main) bindKiosk(c *fiber.Ctx) error {
	id := strings.Clone(c.FormValue("set-up"))
	if id == "" {
		m.forget(c, kioskCookie)
		return c.Redirect("/desk", fiber.StatusSeeOther)
	}
	if _, err := m.store.Setup(ctx(c), SiteID, id); err != nil {
		return err
	}
	now, err := m.clock(c)
	if err != nil {
		return err
	}
	token := rand.Text()
	if err := m.store.SetKiosk(ctx(c), SiteID, hashed(token), id, now); err != nil {
		return err
	}
	m.cookie(c, kioskCookie, token, aYear)
	return c.Redirect("/desk", fiber.StatusSeeOther)
}

// observed is a learner at the desk, with what the demonstration needs.
type observed struct {
	person   record.Person
	stored   record.Setup
	complete bool
	page     page.Learner
}

func (m *Main) observe(c *fiber.Ctx, v view) (o observed, err error) {
	if o.person, err = m.store.Person(ctx(c), SiteID, param(c, "person")); err != nil {
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
	e, err := m.evidence(c, o.person, o.stored)
	if err != nil {
		return o, err
	}
	l, s := e.Missing(m.lessons.IDs(), scenarioIDs())
	o.complete = len(l)+len(s) == 0
	v.path = "/desk/learners/" + o.person.ID
	o.page = page.Learner{
		Frame: v.frame(o.person.Name), ID: o.person.ID, Person: o.person.Name, Setup: o.stored.Tag, Complete: o.complete,
		FormKey: rand.Text(), Items: competency.Checklist, ChecklistVersion: competency.ChecklistVersion,
		Educator: v.person.Name, Meaning: v.speak.T("page.observe.meaning.text"), JustSigned: c.Query("signed") != "",
	}
	o.page.Lessons, o.page.Scenarios = m.way(v.speak, o.stored, e)
	for _, steps := range [][]page.Step{o.page.Lessons, o.page.Scenarios} {
		for i := range steps {
			steps[i].Link = "" // they are the learner's to open
		}
	}
	if o.page.SignOffs, err = m.signOffs(c, v, o.person.ID, o.stored); err != nil {
		return o, err
	}
	o.page.Again = len(o.page.SignOffs) > 0 && o.page.SignOffs[0].Standing == competency.Current
	return o, nil
}

func (m *Main) learner(c *fiber.Ctx) error {
	o, err := m.observe(c, m.view(c))
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
	o, err := m.observe(c, v)
	if err != nil {
		return err
	}
	seen := map[string]bool{}
	for _, id := range c.Request().PostArgs().PeekMulti("seen") {
		item := string(id)
		if !slices.ContainsFunc(competency.Checklist, func(it competency.Item) bool { return it.ID == item }) {
			return problem.New(problem.Invalid, "problem.form")
		}
		seen[item] = true
	}
	rating, _ := strconv.Atoi(c.FormValue("rating"))
	spare := c.FormValue("spare") == "yes"
	again := func(wrong error) error {
		p, status := understand(wrong)
		if p.Code == problem.Internal {
			return wrong
		}
		o.page.Seen, o.page.Rating, o.page.Spare = seen, rating, spare
		o.page.Wrong = v.speak.Problem(p)
		c.Status(status)
		return m.render(c, page.LearnerPage(o.page))
	}
	if !spare {
		return again(problem.New(problem.Invalid, "problem.spare"))
	}
	if err := competency.Signable(o.complete, seen, rating); err != nil {
		return again(err)
	}
	now, err := m.clock(c)
	if err != nil {
		return again(err)
	}
	ok, err := m.prove(ctx(c), v.person.Username, c.IP(), c.FormValue("secret"), v.person.Secret, now)
	if err != nil {
		return again(err)
	}
	if !ok {
		return again(problem.New(problem.SignIn, "problem.wrong-password"))
	}
	list, err := json.Marshal(seen)
	if err != nil {
		return err
	}
	if _, _, err := m.store.Sign(ctx(c), record.SignOff{
		SiteID: SiteID, PersonID: o.person.ID, EducatorID: v.person.ID, EducatorName: v.person.Name, Competency: competency.PowerSources,
		SetupID: o.stored.ID, SetupTag: o.stored.Tag, SetupVersion: o.stored.Version, ChecklistVersion: competency.ChecklistVersion,
		ModelVersion: circuit.Version, ContentVersion: m.lessons.Version(), Language: v.speak.Tag,
		Meaning: strings.Clone(v.speak.T("page.observe.meaning.text")), SignedName: v.person.Name, Checklist: list, Rating: rating,
		Signed: now, SignedLocal: now.In(m.zone).Format(localTime), Lapses: competency.Lapses(now, m.policies().SignOffDays, m.zone),
	}, key); err != nil {
		return again(err)
	}
	return c.Redirect("/desk/learners/"+o.person.ID+"?signed=1", fiber.StatusSeeOther)
}
