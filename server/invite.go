package server

import (
	"cmp"
	"context"
	"crypto/rand"
	"encoding/base32"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"
	qr "github.com/piglig/go-qr"
	"github.com/pquerna/otp/totp"

	"lampwright/locales"
	"lampwright/locales/problem"
	"lampwright/server/page"
	"lampwright/server/record"
)

// invitedFor is how long an invitation stands.
const invitedFor = 72 * time.Hour

// invite gives someone a new way in; whatever secret they had is void once
// they take it up.
func (m *Main) invite(c *fiber.Ctx) error {
	return m.inviteWhere(c, func(record.Person) bool { return true })
}

// inviteLearner is an educator's help for a learner who cannot get in.
func (m *Main) inviteLearner(c *fiber.Ctx) error {
	return m.inviteWhere(c, func(p record.Person) bool { return p.Role == record.Learner })
}

func (m *Main) inviteWhere(c *fiber.Ctx, may func(record.Person) bool) error {
	p, err := m.someone(c)
	if err != nil {
		return err
	}
	if !may(p) || p.Home != "" { // who is at home elsewhere has their secret there
		return problem.New(problem.Unknown, "problem.not-found")
	}
	now, err := m.clock(c)
	if err != nil {
		return err
	}
	if c.FormValue("card") != "" && p.Role == record.Learner { // the old code is known to someone else
		p.Card = newCard()
		if err := m.store.PutPerson(by(c), p, now); err != nil {
			return err
		}
	}
	return m.showInvitation(c, m.view(c), p, now)
}

// inviteTo makes an invitation, and opens what wrong secrets had shut.
func inviteTo(ctx context.Context, store *record.Store, p record.Person, now time.Time) (path string, until time.Time, err error) {
	token := rand.Text()
	until = now.Add(invitedFor)
	if err := store.Invite(ctx, p.SiteID, p.ID, hashed(token), until, now); err != nil {
		return "", until, err
	}
	return "/invite/" + token, until, reopen(ctx, store, p.Card+p.Username)
}

// InviteAgain lets someone choose a new secret, from the machine itself.
func InviteAgain(ctx context.Context, store *record.Store, p record.Person, now time.Time) (path string, until time.Time, err error) {
	defer problem.In(&err, "server.InviteAgain")
	if now, err = store.Clock(ctx, now); err != nil {
		return "", time.Time{}, err
	}
	return inviteTo(ctx, store, p, now)
}

// Appoint adds someone of the staff from the machine itself, and invites them.
func Appoint(ctx context.Context, store *record.Store, p record.Person, now time.Time) (path string, until time.Time, err error) {
	defer problem.In(&err, "server.Appoint")
	if now, err = store.Clock(ctx, now); err != nil {
		return "", time.Time{}, err
	}
	p.ID, p.SiteID = record.NewID(), cmp.Or(p.SiteID, SiteID)
	if !usernames.MatchString(p.Username) {
		return "", time.Time{}, problem.Wrap(fmt.Errorf("--username: got %q, expected 2 to 32 small letters, digits, dots or dashes", p.Username), problem.Invalid, "problem.value")
	}
	if !slices.ContainsFunc(locales.Languages, func(l locales.Language) bool { return l.Tag == p.Language }) {
		return "", time.Time{}, problem.Wrap(fmt.Errorf("--language: got %q, expected one of the languages", p.Language), problem.Invalid, "problem.value")
	}
	if _, err := store.PersonByUsername(ctx, p.Username); err == nil {
		return "", time.Time{}, problem.Wrap(fmt.Errorf("--username: got %q, which someone has", p.Username), problem.Invalid, "problem.value")
	}
	switch _, err := store.Site(ctx, p.SiteID); {
	case problem.Is(err, problem.Unknown) && p.SiteID == SiteID:
		if err := store.PutSite(ctx, record.Site{ID: SiteID, Zone: "UTC"}, now); err != nil {
			return "", time.Time{}, err
		}
	case err != nil:
		return "", time.Time{}, problem.Wrap(fmt.Errorf("--site: got %q, expected a site that was put in before", p.SiteID), problem.Invalid, "problem.value")
	}
	if err := store.PutPerson(ctx, p, now); err != nil {
		return "", time.Time{}, err
	}
	return inviteTo(ctx, store, p, now)
}

// showInvitation makes an invitation and shows it, this once.
func (m *Main) showInvitation(c *fiber.Ctx, v view, p record.Person, now time.Time) (err error) {
	at, until, err := inviteTo(by(c), m.store, p, now)
	if err != nil {
		return err
	}
	v.path = "/"
	out := page.Invited{
		Frame: v.frame(v.speak.T("people.invitation", "Name", p.Name)), Person: p.Name, Card: p.Card, Username: p.Username,
		Link: m.base(c) + at, Path: at, Until: until.In(m.sites[p.SiteID].zone).Format(localTime),
	}
	if out.QR, err = qrPath(out.Link, qr.Medium); err != nil {
		return err
	}
	return m.render(c, page.InvitedPage(out))
}

// base is this server's address: the one it was given, or as the reader
// reached it.
func (m *Main) base(c *fiber.Ctx) string {
	if m.config.Address != "" {
		return m.config.Address
	}
	scheme := "http://"
	if m.config.TLSCert != "" {
		scheme = "https://"
	}
	return scheme + strings.Clone(c.Get("Host"))
}

// invitation is where someone chooses their secret. Signing in comes after,
// so that the first thing done is what will be done each time.
func (m *Main) invitation(c *fiber.Ctx) error {
	p, _, err := m.invited(c)
	if err != nil {
		return err
	}
	return m.invitationPage(c, p, "", nil)
}

func (m *Main) invited(c *fiber.Ctx) (record.Person, string, error) {
	now, err := m.clock(c)
	if err != nil {
		return record.Person{}, "", err
	}
	token := hashed(param(c, "invitation"))
	p, err := m.store.Invited(ctx(c), token, now)
	about(c, p.SiteID)
	return p, token, err
}

func (m *Main) invitationPage(c *fiber.Ctx, p record.Person, codeKey string, wrong error) (err error) {
	v := m.view(c)
	v.path = strings.Clone(c.Path())
	v.token = m.visitor(c)
	out := page.Invitation{
		Frame: v.frame(v.speak.T("people.take-up", "Name", p.Name)), Person: p.Name, Card: p.Card, Username: p.Username,
		PIN: p.Role == record.Learner, Fewest: fewestCharacters, Digits: fewestDigits, CodeNeeded: m.codeNeeded(p),
	}
	if wrong != nil {
		understood, status := understand(wrong)
		out.Wrong = v.speak.Problem(understood)
		c.Status(status)
	}
	if !out.PIN {
		key, err := totp.Generate(totp.GenerateOpts{Issuer: v.speak.T("page.name"), AccountName: p.Username, Secret: decoded(codeKey)})
		if err != nil {
			return err
		}
		out.CodeKey = key.Secret()
		if out.QR, err = qrPath(key.URL(), qr.Medium); err != nil {
			return err
		}
	}
	return m.render(c, page.InvitationPage(out))
}

// decoded is a key of one-time codes as bytes; nil where it is none.
func decoded(key string) []byte {
	b, err := base32.StdEncoding.WithPadding(base32.NoPadding).DecodeString(key)
	if err != nil {
		return nil
	}
	return b
}

// codeNeeded tells whether someone must have one-time codes: staff, unless the
// programme says otherwise.
func (m *Main) codeNeeded(p record.Person) bool {
	return p.Role != record.Learner && m.sites[p.SiteID].policies().OneTimeCodes
}

// takeUp keeps the secret that was chosen.
func (m *Main) takeUp(c *fiber.Ctx) error {
	if err := m.form(c, c.Cookies(visitorCookie)); err != nil {
		return err
	}
	p, token, err := m.invited(c)
	if err != nil {
		return err
	}
	now, err := m.clock(c)
	if err != nil {
		return err
	}
	secret, codeKey, code := c.FormValue("secret"), strings.Clone(c.FormValue("code-key")), c.FormValue("code")
	again := func(key string) error {
		return m.invitationPage(c, p, codeKey, problem.New(problem.Invalid, key))
	}
	switch {
	case secret != c.FormValue("again"):
		return again("problem.secrets-differ")
	case p.Role == record.Learner && !fitPIN(secret):
		return again("problem.weak-pin")
	case p.Role != record.Learner && !fitPassword(secret, p):
		return again("problem.weak-password")
	}
	var step int64
	if p.Role == record.Learner || code == "" && !m.codeNeeded(p) {
		codeKey = ""
	} else {
		ok := len(decoded(codeKey)) >= 20
		if ok {
			step, ok = codeStep(codeKey, code, now)
		}
		if !ok {
			return again("problem.wrong-code")
		}
	}
	select {
	case m.hashing <- struct{}{}:
	case <-time.After(hashWait):
		return problem.New(problem.Unavailable, "problem.hashing-busy")
	}
	phc := HashSecret(secret)
	<-m.hashing
	taken, err := m.store.TakeUp(record.By(ctx(c), p.ID), token, phc, codeKey, step, now)
	if err != nil {
		return err
	}
	if err := reopen(ctx(c), m.store, taken.Card+taken.Username); err != nil {
		return err
	}
	if err := m.began(c, taken, now); err != nil { // whoever opened it on their own device is out
		return err
	}
	return c.Redirect(homes[taken.Role], fiber.StatusSeeOther)
}
