package server

import (
	"crypto/rand"
	"crypto/subtle"
	"net/url"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"

	"lampwright/locales/problem"
	"lampwright/server/page"
	"lampwright/server/record"
)

// Ends of a session, and its cookie.
const (
	sessionIdle     = 20 * time.Minute
	sessionAbsolute = 12 * time.Hour
	sessionCookie   = "lw-session"
	visitorCookie   = "lw-visitor" // ties the sign-in form to the browser
)

func (m *Main) cookie(c *fiber.Ctx, name, value string, age time.Duration) {
	c.Cookie(&fiber.Cookie{
		Name: name, Value: value, Path: "/", HTTPOnly: true, SameSite: fiber.CookieSameSiteLaxMode,
		Secure: m.config.TLSCert != "", MaxAge: int(age.Seconds()),
	})
}

func (m *Main) forget(c *fiber.Ctx, name string) {
	c.Cookie(&fiber.Cookie{Name: name, Path: "/", HTTPOnly: true, SameSite: fiber.CookieSameSiteLaxMode, Secure: m.config.TLSCert != "", Expires: time.Unix(1, 0)})
}

// clock is the time that records go by: it never runs backwards past what was
// recorded, and says so when the machine's does.
func (m *Main) clock(c *fiber.Ctx) (time.Time, error) { return m.store.Clock(ctx(c), m.now()) }

// who fills in the reader's session, if there is one.
func (m *Main) who(c *fiber.Ctx) error {
	token := c.Cookies(sessionCookie)
	if token == "" {
		return problem.New(problem.SignIn, "problem.need-sign-in")
	}
	now, err := m.clock(c)
	if err != nil {
		return err
	}
	s, p, err := m.store.Session(ctx(c), hashed(token), now, sessionIdle, sessionAbsolute)
	if err != nil {
		return err
	}
	c.Locals(sessionKey, s)
	c.Locals(personKey, p)
	return nil
}

// form holds a post to being a whole form with the right token.
func (m *Main) form(c *fiber.Ctx, token string) error {
	kind, _, _ := strings.Cut(c.Get("Content-Type"), ";")
	file := kind == fiber.MIMEMultipartForm && c.Path() == importPath && c.Get("Content-Encoding") == ""
	if kind != fiber.MIMEApplicationForm && !file {
		return problem.New(problem.Invalid, "problem.form")
	}
	got := c.FormValue("token")
	if token == "" || subtle.ConstantTimeCompare([]byte(got), []byte(token)) != 1 {
		return problem.New(problem.Forbidden, "problem.form-stale")
	}
	return nil
}

// formKey reads the key that makes a form count once.
func formKey(c *fiber.Ctx) (string, error) {
	key := c.FormValue("key")
	if len(key) < 16 || len(key) > 64 {
		return "", problem.New(problem.Invalid, "problem.form")
	}
	return key, nil
}

func (m *Main) signInPage(c *fiber.Ctx) error     { return m.door(c, false, "", nil) }
func (m *Main) deskSignInPage(c *fiber.Ctx) error { return m.door(c, true, "", nil) }

// door shows a sign-in form, with what was wrong the last time.
func (m *Main) door(c *fiber.Ctx, desk bool, who string, wrong error) error {
	v := m.view(c)
	v.path = strings.Clone(c.Path())
	v.token = m.visitor(c)
	s := page.SignIn{Desk: desk, Who: who, Action: "/sign-in", Next: local(c.Query("next", c.FormValue("next")), ""), Ended: c.Query("ended") != ""}
	title := "page.sign-in"
	if desk {
		s.Action, title = "/desk/sign-in", "page.sign-in.desk"
	}
	if wrong != nil {
		p, status := understand(wrong)
		s.Wrong = v.speak.Problem(p)
		c.Status(status)
	}
	if card := strings.ToUpper(c.Query("card")); !desk && wrong == nil && cards.MatchString(card) {
		s.Who, s.Card = card, true
		v.path += "?card=" + card // another language keeps it
	}
	if id := c.Query("set-up", c.FormValue("set-up")); id != "" && !desk {
		if r, err := m.store.FindSetup(ctx(c), id); err == nil {
			s.Setup, s.SetupShown = r.ID, r.Tag
		}
	}
	s.Frame = v.frame(v.speak.T(title))
	return m.render(c, page.SignInPage(s))
}

func (m *Main) signIn(c *fiber.Ctx) error     { return m.enter(c, false) }
func (m *Main) deskSignIn(c *fiber.Ctx) error { return m.enter(c, true) }

// enter signs someone in. An unknown code and a wrong secret answer alike.
func (m *Main) enter(c *fiber.Ctx, desk bool) error {
	if err := m.form(c, c.Cookies(visitorCookie)); err != nil {
		if problem.Is(err, problem.Forbidden) {
			return m.door(c, desk, c.FormValue("who"), err)
		}
		return err
	}
	who, secret := strings.TrimSpace(c.FormValue("who")), c.FormValue("secret")
	find, key, next := m.store.PersonByCard, "problem.wrong-secret", ""
	if desk {
		find, key = m.store.PersonByUsername, "problem.wrong-staff"
		who = strings.ToLower(who)
	} else {
		who = typedCard(who)
	}
	wrong := problem.New(problem.SignIn, key)
	if who == "" || secret == "" || len(who) > 64 || len(secret) > 128 {
		return m.door(c, desk, who, wrong)
	}
	now, err := m.clock(c)
	if err != nil {
		return err
	}
	p, err := find(ctx(c), who)
	if err != nil && !problem.Is(err, problem.Unknown) {
		return err
	}
	ok, err := m.prove(ctx(c), who, source(c), secret, p.Secret, now)
	if problem.Is(err, problem.TooMany) {
		return m.door(c, desk, who, err)
	}
	if err != nil {
		return err
	}
	if ok {
		ok, err = m.mayEnter(c, p, now)
	}
	if err != nil {
		return err
	}
	if !ok {
		return m.door(c, desk, who, wrong)
	}
	if err := m.began(c, p, now); err != nil {
		return err
	}
	if next = homes[p.Role]; !desk {
		if chose := c.FormValue("set-up"); chose != "" {
			next += "?chose=" + url.QueryEscape(chose)
		}
	}
	at := local(c.FormValue("next"), next)
	if desk && at == "/desk" { // which is where the door itself leads, and not everyone's
		at = next
	}
	return c.Redirect(at, fiber.StatusSeeOther)
}

// typedCard is a card code as it stands on the card, however it was typed: in
// small letters, with a space for the dash, or without it.
func typedCard(text string) string {
	code := strings.ToUpper(strings.Join(strings.Fields(strings.ReplaceAll(text, "–", "-")), "-"))
	if len(code) == 2*cardHalf && !strings.Contains(code, "-") {
		code = code[:cardHalf] + "-" + code[cardHalf:]
	}
	return code
}

// mayEnter tells whether someone whose secret was right may come in: not who
// is away, nor before their first day, nor without the one-time code they have.
func (m *Main) mayEnter(c *fiber.Ctx, p record.Person, now time.Time) (bool, error) {
	if p.Away || p.Starts > now.In(m.sites[p.SiteID].zone).Format(time.DateOnly) {
		return false, nil
	}
	if p.CodeKey == "" {
		return true, nil
	}
	step, ok := codeStep(p.CodeKey, c.FormValue("code"), now)
	if !ok {
		return false, nil
	}
	return m.store.UseCode(ctx(c), p.SiteID, p.ID, step)
}

// began begins a session in this browser, and ends the one it had.
func (m *Main) began(c *fiber.Ctx, p record.Person, now time.Time) error {
	if old := c.Cookies(sessionCookie); old != "" {
		if err := m.store.DeleteSession(ctx(c), hashed(old)); err != nil {
			return err
		}
	}
	token := rand.Text()
	if err := m.store.PutSession(ctx(c), record.Session{
		ID: hashed(token), SiteID: p.SiteID, PersonID: p.ID, FormToken: rand.Text(), Created: now, Seen: now,
	}); err != nil {
		return err
	}
	m.cookie(c, sessionCookie, token, sessionAbsolute)
	if p.Role == record.Learner { // the numbers on their own device stay when the session ends
		m.cookie(c, siteCookie, p.SiteID, aYear)
	}
	m.forget(c, visitorCookie)
	return nil
}

// signOutEverywhere ends every session of whoever asks for it.
func (m *Main) signOutEverywhere(c *fiber.Ctx) error {
	p := m.view(c).person
	if err := m.store.DeleteSessions(ctx(c), "", p.ID); err != nil {
		return err
	}
	m.forget(c, sessionCookie)
	c.Set("Clear-Site-Data", `"cache"`)
	return c.Redirect("/", fiber.StatusSeeOther)
}

// signOutPage is where kept pages lead to sign out: they carry no token. A
// page left alone leads here too, and from here out.
func (m *Main) signOutPage(c *fiber.Ctx) error {
	v := m.guest(c)
	if v.person.ID == "" {
		return c.Redirect("/", fiber.StatusSeeOther)
	}
	f := v.frame(v.speak.T("page.sign-out.plain"))
	if c.Query("idle") != "" {
		f.Idle = 1
	}
	return m.render(c, page.SignOutPage(f))
}

func (m *Main) signOut(c *fiber.Ctx) error {
	err := m.who(c)
	if err != nil && !problem.Is(err, problem.SignIn) {
		return err
	}
	if s, ok := c.Locals(sessionKey).(record.Session); ok {
		if err := m.form(c, s.FormToken); err != nil {
			return err
		}
		if err := m.store.DeleteSession(ctx(c), s.ID); err != nil {
			return err
		}
	}
	m.forget(c, sessionCookie)
	c.Set("Clear-Site-Data", `"cache"`)
	return c.Redirect("/", fiber.StatusSeeOther)
}
