package server

import (
	"cmp"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"

	"lampwright/lessons/programme"
	"lampwright/lessons/setup"
	"lampwright/locales/problem"
	"lampwright/server/page"
	"lampwright/server/record"
)

// SiteID is the site that a data folder begins with. Tries at signing in are
// counted there, as nobody says at which site they are.
const SiteID = "main"

// siteCookie is the site that a reader chose who is not signed in.
const siteCookie = "lw-site"

// site is a site as it is while the house is open.
type site struct {
	record.Site
	said    *programme.Programme // what its programme says, nil where it has none
	zone    *time.Location
	learned learned
}

// policies are the programme's, or the usual where the site has none.
func (s *site) policies() programme.Policies {
	if s.said == nil {
		return programme.Usual
	}
	return s.said.Policies
}

// openSites reads every site. Only a command at the machine adds or changes
// one, and none runs while the house is open.
func (m *Main) openSites(ctx context.Context) error {
	list, err := m.store.Sites(ctx)
	if err != nil {
		return err
	}
	if !slices.ContainsFunc(list, func(s record.Site) bool { return s.ID == SiteID }) {
		first := record.Site{ID: SiteID, Zone: "UTC"}
		if err := m.store.PutSite(ctx, first, m.now()); err != nil {
			return err
		}
		list = append(list, first)
	}
	m.sites = map[string]*site{}
	for _, each := range list {
		s := &site{Site: each}
		if each.Programme != "" { // a page that helps in an emergency stands without it
			if s.said, err = programme.Read("programme", []byte(each.Programme)); err != nil {
				m.log.Error("programme", "site", each.ID, "error", err)
			}
		}
		if s.zone, err = time.LoadLocation(each.Zone); err != nil {
			return err
		}
		m.sites[each.ID] = s
	}
	// The one that a folder begins with is nobody's while it has neither name nor
	// set-ups nor people.
	first := m.sites[SiteID]
	idle := len(m.sites) > 1 && first.Name == ""
	if idle {
		setups, err := m.store.SetupTags(ctx, SiteID)
		people, failed := m.store.People(ctx, SiteID)
		if err := errors.Join(err, failed); err != nil {
			return err
		}
		idle = len(setups)+len(people) == 0
	}
	for _, s := range m.sites {
		if s != first || !idle {
			m.choosable = append(m.choosable, s)
		}
	}
	slices.SortFunc(m.choosable, func(a, b *site) int { return cmp.Or(cmp.Compare(a.Name, b.Name), cmp.Compare(a.ID, b.ID)) })
	m.nowhere = &site{zone: first.zone}
	rescue := map[string]bool{}
	for _, s := range m.choosable {
		rescue[s.RescueLine] = true
		m.nowhere.RescueLine = s.RescueLine
	}
	if len(rescue) > 1 {
		m.nowhere.RescueLine = ""
	}
	return nil
}

// about says that a request is about something of a site, whoever asks.
func about(c *fiber.Ctx, siteID string) { c.Locals(siteKey, siteID) }

// at is the site of a request: that of what it is about, or else of whoever is
// signed in, of this kiosk, or the one that the reader chose. Where there are
// several and none of this says which, it is one without numbers of its own:
// another programme's would be worse than none.
func (m *Main) at(c *fiber.Ctx) *site {
	if len(m.choosable) == 1 && len(m.sites) == 1 {
		return m.choosable[0]
	}
	id, _ := c.Locals(siteKey).(string)
	if p, ok := c.Locals(personKey).(record.Person); ok && id == "" {
		id = p.SiteID
	}
	if id == "" {
		r, ok, err := m.kiosk(c)
		switch {
		case err != nil: // whose it is cannot be told now
			m.log.Warn("kiosk", "error", err)
			return m.nowhere
		case ok:
			id = r.SiteID
		default:
			id = c.Cookies(siteCookie)
		}
	}
	if s, ok := m.sites[id]; ok {
		return s
	}
	if len(m.choosable) == 1 {
		return m.choosable[0]
	}
	return m.nowhere
}

// kiosk is the set-up that this device stands beside; not ok where it is no
// kiosk.
func (m *Main) kiosk(c *fiber.Ctx) (r record.Setup, ok bool, err error) {
	token := c.Cookies(kioskCookie)
	if token == "" {
		return r, false, nil
	}
	return m.store.KioskSetup(ctx(c), hashed(token))
}

// inNeed has a page for an emergency show the numbers of the set-up it stands
// beside, whoever is signed in there, or else those of the page that led to it.
func (m *Main) inNeed(c *fiber.Ctx) view {
	led := c.Query("site")
	if r, ok, err := m.kiosk(c); err == nil && ok {
		about(c, r.SiteID)
	} else if _, ok := m.sites[led]; ok {
		about(c, strings.Clone(led))
	}
	v := m.guest(c)
	v.path += v.led()
	return v
}

// led says to a page for an emergency whose numbers it is to show: of several
// sites, the one of the page that leads there.
func (v view) led() string {
	if len(v.m.choosable) < 2 || v.at.ID == "" {
		return ""
	}
	return "?" + url.Values{"site": {v.at.ID}}.Encode()
}

// setupHere is the set-up of the route, whatever its site: anyone may read of
// it, and is shown its own site's numbers.
func (m *Main) setupHere(c *fiber.Ctx) (record.Setup, error) {
	r, err := m.store.FindSetup(ctx(c), param(c, "setup"))
	if err == nil {
		about(c, r.SiteID)
	}
	return r, err
}

// chooseSite has whoever is not signed in say which programme is theirs.
func (m *Main) chooseSite(c *fiber.Ctx) error {
	v := m.guest(c)
	out := page.Sites{Frame: v.frame(v.speak.T("page.sites"))}
	next := local(c.Query("next"), "/")
	for _, s := range m.choosable {
		out.Sites = append(out.Sites, page.SiteChoice{ID: s.ID, Name: cmp.Or(s.Name, s.ID), Here: s == v.at, Next: next})
	}
	return m.render(c, page.SitesPage(out))
}

// site keeps what was chosen.
func (m *Main) site(c *fiber.Ctx) error {
	id := param(c, "site")
	if !slices.ContainsFunc(m.choosable, func(s *site) bool { return s.ID == id }) {
		return problem.New(problem.Unknown, "problem.unknown-site")
	}
	m.cookie(c, siteCookie, id, aYear)
	return c.Redirect(local(c.Query("next"), "/"), fiber.StatusSeeOther)
}

// named is a site's name; "" for none.
func (m *Main) named(siteID string) string {
	if s, ok := m.sites[siteID]; ok {
		return cmp.Or(s.Name, s.ID)
	}
	return ""
}

// posts are the sites at which whoever is signed in works.
func (m *Main) posts(c *fiber.Ctx) error {
	v := m.view(c)
	list, err := m.store.Posts(ctx(c), v.person.ID)
	if err != nil {
		return err
	}
	out := page.Sites{Frame: v.frame(v.speak.T("page.sites")), Staff: true}
	for _, p := range list {
		out.Sites = append(out.Sites, page.SiteChoice{
			ID: p.SiteID, Name: cmp.Or(p.Site, p.SiteID), Role: v.speak.T("people.role." + string(p.Role)), Here: p.SiteID == v.person.SiteID,
		})
	}
	return m.render(c, page.SitesPage(out))
}

// goThere takes whoever is signed in to another site at which they work.
func (m *Main) goThere(c *fiber.Ctx) error {
	v := m.view(c)
	there, ok := m.sites[c.FormValue("site")]
	if !ok {
		return problem.New(problem.Unknown, "problem.unknown-site")
	}
	now, err := m.clock(c)
	if err != nil {
		return err
	}
	p, err := m.store.Person(ctx(c), there.ID, v.person.ID)
	switch {
	case problem.Is(err, problem.Unknown):
		return problem.New(problem.Unknown, "problem.unknown-site")
	case err != nil:
		return err
	case p.Starts > now.In(there.zone).Format(time.DateOnly):
		return problem.New(problem.Forbidden, "problem.starts-later")
	case p.Home != "" && there.policies().OneTimeCodes && v.person.CodeKey == "":
		return problem.New(problem.Forbidden, "problem.codes-there")
	}
	if err := m.store.MoveSession(ctx(c), v.session.ID, there.ID, rand.Text()); err != nil {
		return err
	}
	return c.Redirect(homes[p.Role], fiber.StatusSeeOther)
}

// letIn lets someone of another site's staff work at this one.
func (m *Main) letIn(c *fiber.Ctx) error {
	v := m.view(c)
	form := page.LetIn{Username: strings.ToLower(strings.TrimSpace(strings.Clone(c.FormValue("username")))), Role: strings.Clone(c.FormValue("role"))}
	role := record.Role(form.Role)
	if role == record.Learner || !slices.Contains(record.Roles, role) {
		return problem.New(problem.Invalid, "problem.form")
	}
	if form.Username == v.person.Username { // nobody gives themselves a role
		return problem.New(problem.Forbidden, "people.yourself")
	}
	now, err := m.clock(c)
	if err == nil {
		_, err = m.store.LetIn(by(c), v.at.ID, form.Username, role, now)
	}
	switch {
	case problem.Is(err, problem.Unknown):
		form.Wrong = v.speak.T("people.let-in.nobody", "Value", cut(form.Username))
		c.Status(statuses[problem.Invalid])
		return m.peoplePage(c, v, newcomer(v), form)
	case err != nil:
		return err
	}
	return c.Redirect("/desk/people?let-in=1", fiber.StatusSeeOther)
}

// ids are those of sites and set-ups, which stand in addresses.
var ids = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,31}$`)

func fitID(what, id string) error {
	if ids.MatchString(id) {
		return nil
	}
	return problem.Wrap(fmt.Errorf("%s: got %q, expected 1 to 32 small letters, digits or dashes", what, id), problem.Invalid, "problem.value")
}

// PutSite puts a programme's file into a data folder as a site, new or in place
// of what that was before. name is the file's, for errors; one that is no
// programme, or bears another site's name, changes nothing.
func PutSite(ctx context.Context, dir, id, name string, file []byte, now time.Time) (isNew bool, err error) {
	if err := fitID("site", id); err != nil {
		return false, err
	}
	p, err := programme.Read(name, file)
	if err != nil {
		return false, err
	}
	store, err := record.Open(dir)
	if err != nil {
		return false, err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	list, err := store.Sites(ctx)
	if err != nil {
		return false, err
	}
	isNew = true
	for _, s := range list {
		isNew = isNew && s.ID != id
		if s.ID != id && s.Name == p.Name {
			return false, problem.Wrap(fmt.Errorf("%s: got name %q, which site %s has: who is not signed in could not tell them apart", name, p.Name, s.ID), problem.Invalid, "problem.value")
		}
	}
	return isNew, store.PutSite(ctx, siteOf(id, p, file), now)
}

// PutSetup puts a set-up's file into a data folder, and tells what it is now and
// was before, if it was. One that its site's programme does not permit, or that
// bears another's tag, changes nothing.
func PutSetup(ctx context.Context, dir, siteID, id, name string, file []byte, now time.Time) (put, was record.Setup, err error) {
	if err := fitID("set-up", id); err != nil {
		return put, was, err
	}
	store, err := record.Open(dir)
	if err != nil {
		return put, was, err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	at, err := store.Site(ctx, siteID)
	if err != nil {
		return put, was, problem.Wrap(fmt.Errorf("--site: got %q, expected a site that was put in before (lampwright site put %s --programme FILE)", siteID, siteID), problem.Invalid, "problem.value")
	}
	read := setup.Read
	if at.Programme != "" {
		p, err := programme.Read("programme", []byte(at.Programme))
		if err != nil {
			return put, was, err
		}
		read = p.ReadSetup
	}
	s, err := read(name, file)
	if err != nil {
		return put, was, err
	}
	list, err := store.SetupTags(ctx, siteID)
	if err != nil {
		return put, was, err
	}
	for _, other := range list {
		switch {
		case other.ID == id:
			was = other
		case strings.EqualFold(other.Tag, s.Tag):
			return put, was, problem.Wrap(fmt.Errorf("%s: got tag %q, which set-up %s has: nobody could tell them apart", name, s.Tag, other.ID), problem.Invalid, "problem.value")
		}
	}
	put = record.Setup{ID: id, SiteID: siteID, Tag: s.Tag, Version: hashed(string(file))[:16], YAML: file}
	return put, was, store.PutSetup(ctx, put, now)
}

// siteOf is the site of a programme, with the file it was read from.
func siteOf(id string, p *programme.Programme, file []byte) record.Site {
	return record.Site{
		ID: id, Name: p.Name, Zone: p.Zone, RescueLine: p.Emergency.Number,
		ClinicalLine: p.Clinical.Number, ClinicalHours: p.Clinical.Hours,
		TechnologistLine: p.Technologist.Number, TechnologistHours: p.Technologist.Hours,
		ChairLine: p.ChairVendor.Number, ChairHours: p.ChairVendor.Hours, Programme: string(file),
	}
}
