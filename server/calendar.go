package server

import (
	"crypto/rand"
	"slices"
	"time"

	"github.com/gofiber/fiber/v2"

	"lampwright/locales/problem"
	"lampwright/quiz/competency"
	"lampwright/server/credential"
	"lampwright/server/page"
	"lampwright/server/record"
)

// feedOf is who may have a feed of a scope: whoever's role is another now has
// none.
var feedOf = map[string]access{record.FeedOwn: learners, record.FeedSite: educators}

// feedForm is what a page offers of the reader's feed.
func (m *Main) feedForm(c *fiber.Ctx, v view, scope string) (page.FeedForm, error) {
	form := page.FeedForm{Action: "/me/calendar", Scope: scope}
	if scope == record.FeedSite {
		form.Action = "/desk/calendar"
	}
	since, err := m.store.FeedSince(ctx(c), v.at.ID, v.person.ID, scope)
	if !since.IsZero() {
		form.Since = since.In(v.at.zone).Format(localTime)
	}
	return form, err
}

func (m *Main) makeOwnFeed(c *fiber.Ctx) error  { return m.makeFeed(c, record.FeedOwn) }
func (m *Main) makeSiteFeed(c *fiber.Ctx) error { return m.makeFeed(c, record.FeedSite) }
func (m *Main) stopOwnFeed(c *fiber.Ctx) error  { return m.stopFeed(c, record.FeedOwn) }
func (m *Main) stopSiteFeed(c *fiber.Ctx) error { return m.stopFeed(c, record.FeedSite) }

// makeFeed gives whoever asks a feed and shows its address, this once; the one
// before ends at once.
func (m *Main) makeFeed(c *fiber.Ctx, scope string) error {
	v := m.view(c)
	now, err := m.clock(c)
	if err != nil {
		return err
	}
	token := rand.Text()
	if err := m.store.PutFeed(by(c), v.at.ID, v.person.ID, scope, hashed(token), now); err != nil {
		return err
	}
	v.path = v.home
	return m.render(c, page.FeedPage(page.FeedMade{
		Frame: v.frame(v.speak.T("leaves.calendar")), Link: m.base(c) + "/calendar/" + token + ".ics", Scope: scope,
	}))
}

func (m *Main) stopFeed(c *fiber.Ctx, scope string) error {
	v := m.view(c)
	now, err := m.clock(c)
	if err != nil {
		return err
	}
	if err := m.store.StopFeed(by(c), v.at.ID, v.person.ID, scope, now); err != nil {
		return err
	}
	return c.Redirect(v.home, fiber.StatusSeeOther)
}

// calendar is what a calendar program reads: when sign-offs lapse, in the
// language of whoever made the feed.
func (m *Main) calendar(c *fiber.Ctx) error {
	f, err := m.store.Feed(ctx(c), hashed(param(c, "feed")))
	if err != nil {
		return err
	}
	if f.Person.Away || !slices.Contains(feedOf[f.Scope], f.Person.Role) {
		return problem.New(problem.Unknown, "problem.not-found")
	}
	about(c, f.Person.SiteID)
	person := f.Person.ID
	if f.Scope == record.FeedSite {
		person = ""
	}
	now, err := m.clock(c)
	if err != nil {
		return err
	}
	lapses, err := m.lapses(c, person, now)
	if err != nil {
		return err
	}
	c.Set("Content-Type", "text/calendar; charset=utf-8")
	return c.Send(credential.Calendar(lapses, m.locales.Speak(f.Person.Language)))
}

// lapses are the ends of the sign-offs that hold or are suspended, of a person
// or of everyone. Signed anew, it is the same lapse on another day.
func (m *Main) lapses(c *fiber.Ctx, person string, now time.Time) (out []credential.Lapse, err error) {
	list, err := m.store.SiteSignOffs(ctx(c), m.at(c).ID, person)
	if err != nil {
		return nil, err
	}
	var past past
	if person == "" { // what was done again only keeps from being suspended, which is told too
		past.events, err = m.store.Weighty(ctx(c), m.at(c).ID, acknowledged, observedToo)
	} else {
		past, err = m.past(c, person)
	}
	if err != nil {
		return nil, err
	}
	key := func(o record.SignOff) string { return o.PersonID + " " + o.Competency + " " + o.SetupID }
	newest, before := map[string]string{}, map[string]int{}
	for _, o := range list {
		if _, known := newest[key(o)]; known {
			before[key(o)]++
		}
		newest[key(o)] = o.ID
	}
	for _, o := range list {
		if newest[key(o)] != o.ID {
			continue
		}
		j, err := m.judged(c, o, past, now)
		if err != nil {
			return nil, err
		}
		if j.Standing.Holds() || j.Standing == competency.Suspended || j.Standing == competency.Overridden {
			out = append(out, credential.Lapse{
				ID: key(o), SetupTag: o.SetupTag, LastDay: competency.LastDay(o.Lapses, m.at(c).zone), Sequence: before[key(o)], Changed: o.Signed,
			})
		}
	}
	return out, nil
}
