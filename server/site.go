package server

import (
	"cmp"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"maps"
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
	m.choosable = choosable(m.sites)
	m.nowhere = &site{zone: m.sites[SiteID].zone}
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

// choosable are the sites that a reader can be of, by name: the one that a
// folder begins with is none while others are named and it is not.
func choosable(sites map[string]*site) []*site {
	list := slices.Collect(maps.Values(sites))
	if len(list) > 1 {
		list = slices.DeleteFunc(list, func(s *site) bool { return s.Name == "" })
	}
	slices.SortFunc(list, func(a, b *site) int { return cmp.Or(cmp.Compare(a.Name, b.Name), cmp.Compare(a.ID, b.ID)) })
	return list
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
	if token := c.Cookies(kioskCookie); token != "" && id == "" {
		r, ok, err := m.store.KioskSetup(ctx(c), hashed(token))
		if err != nil {
			m.log.Warn("kiosk", "error", err)
		}
		if ok {
			id = r.SiteID
		}
	}
	if id == "" {
		id = c.Cookies(siteCookie)
	}
	if s, ok := m.sites[id]; ok {
		return s
	}
	if len(m.choosable) == 1 {
		return m.choosable[0]
	}
	return m.nowhere
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
	id := strings.Clone(c.FormValue("site"))
	if err := m.store.MoveSession(ctx(c), v.session.ID, id, rand.Text()); err != nil {
		return err
	}
	p, err := m.store.Person(ctx(c), id, v.person.ID)
	if err != nil {
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
	return c.Redirect("/desk/people", fiber.StatusSeeOther)
}

// ids are those of sites and set-ups, which stand in addresses.
var ids = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,31}$`)

func fitID(what, id string) error {
	if ids.MatchString(id) {
		return nil
	}
	return problem.Wrap(fmt.Errorf("%s: got %q, expected 1 to 32 small letters, digits or dashes", what, id), problem.Invalid, "problem.value")
}

// PutSite puts a programme's file into a data folder as a site, in place of
// what that was before. name is the file's, for errors; one that is no
// programme changes nothing.
func PutSite(ctx context.Context, dir, id, name string, file []byte, now time.Time) (err error) {
	if err := fitID("site", id); err != nil {
		return err
	}
	p, err := programme.Read(name, file)
	if err != nil {
		return err
	}
	defer problem.In(&err, "server.PutSite")
	store, err := record.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(store.PutSite(ctx, siteOf(id, p, file), now), store.Close())
}

// PutSetup puts a set-up's file into a data folder, and tells the version it
// is. One that its site's programme does not permit changes nothing.
func PutSetup(ctx context.Context, dir, siteID, id, name string, file []byte, now time.Time) (version string, err error) {
	if err := fitID("set-up", id); err != nil {
		return "", err
	}
	store, err := record.Open(dir)
	if err != nil {
		return "", err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	at, err := store.Site(ctx, siteID)
	if err != nil {
		return "", problem.Wrap(fmt.Errorf("--site: got %q, expected a site that was put in before", siteID), problem.Invalid, "problem.value")
	}
	read := setup.Read
	if at.Programme != "" {
		p, err := programme.Read("programme", []byte(at.Programme))
		if err != nil {
			return "", err
		}
		read = p.ReadSetup
	}
	s, err := read(name, file)
	if err != nil {
		return "", err
	}
	version = hashed(string(file))[:16]
	return version, store.PutSetup(ctx, record.Setup{ID: id, SiteID: siteID, Tag: s.Tag, Version: version, YAML: file}, now)
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
