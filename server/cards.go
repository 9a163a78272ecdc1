package server

import (
	"crypto/rand"
	"maps"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"
	qr "github.com/piglig/go-qr"

	"lampwright/locales/problem"
	"lampwright/server/page"
	"lampwright/server/record"
)

// Where many are invited at once, and how many a page of slips holds.
const (
	invitationsPath = "/desk/invitations"
	mostSlips       = 100
)

// learnerCard is a learner's card, to print and cut out.
func (m *Main) learnerCard(c *fiber.Ctx) error {
	v := m.view(c)
	p, err := m.someone(c)
	if err != nil {
		return err
	}
	if p.Role != record.Learner {
		return problem.New(problem.Unknown, "problem.not-found")
	}
	out := page.PrintedCard{Frame: v.frame(v.speak.T("people.card", "Name", p.Name)), HereOnly: m.hereOnly(c)}
	if out.Card, err = m.cardOf(c, p); err != nil {
		return err
	}
	return m.render(c, page.PrintedCardPage(out))
}

// hereOnly is the address that codes lead to, where it never leaves the machine.
func (m *Main) hereOnly(c *fiber.Ctx) string {
	if at := m.base(c); loopback(at) {
		return at
	}
	return ""
}

// cardOf is a learner's card, in their own language. Its code leads to where
// they sign in and fills the card code in: it holds no secret.
func (m *Main) cardOf(c *fiber.Ctx, p record.Person) (out page.LearnerCard, err error) {
	out = page.LearnerCard{
		Speaker: m.locales.Speak(p.Language), Programme: m.sites[p.SiteID].Name, Name: p.Name, Code: p.Card, Address: m.base(c) + "/sign-in",
	}
	out.QR, err = qrPath(out.Address+"?card="+url.QueryEscape(p.Card), qr.Medium)
	return out, err
}

// outsiders are those of a site who may come and have no secret yet, and until
// when those of them who are invited are.
func (m *Main) outsiders(c *fiber.Ctx, now time.Time) ([]record.Person, map[string]time.Time, error) {
	list, err := m.store.People(ctx(c), m.at(c).ID)
	if err != nil {
		return nil, nil, err
	}
	invited, err := m.store.Invitations(ctx(c), m.at(c).ID, now)
	return slices.DeleteFunc(list, func(p record.Person) bool { return p.Secret != "" || p.Away || p.Home != "" }), invited, err
}

// invitations shows whom many invitations at once would go to.
func (m *Main) invitations(c *fiber.Ctx) error {
	v := m.view(c)
	now, err := m.clock(c)
	if err != nil {
		return err
	}
	list, invited, err := m.outsiders(c, now)
	if err != nil {
		return err
	}
	out := page.Invitations{Frame: v.frame(v.speak.T("people.invitations")), Read: strconv.FormatInt(now.UnixMilli(), 10), Most: mostSlips, HereOnly: m.hereOnly(c)}
	teams := map[string]int{}
	for _, p := range list {
		row := page.PersonRow{ID: p.ID, Name: p.Name, Role: string(p.Role), Setup: p.SetupID, Team: p.Team}
		if until, ok := invited[p.ID]; ok {
			row.Invited = until.In(m.at(c).zone).Format(localTime)
			out.Invited++
		}
		if p.Team != "" {
			teams[p.Team]++
		}
		out.Rows = append(out.Rows, row)
	}
	for _, name := range slices.SortedFunc(maps.Keys(teams), strings.Compare) {
		out.Teams = append(out.Teams, page.Team{Name: name, Count: teams[name]})
	}
	return m.render(c, page.InvitationsPage(out))
}

// inviteAll invites everyone who has no secret yet, or those of a team, and
// shows the invitations, this once. An invitation that still counts is left as
// it is; where they are to be made anew, one made since the form was read is:
// so the same form sent again voids nothing that was printed.
func (m *Main) inviteAll(c *fiber.Ctx) error {
	v := m.view(c)
	read, err := strconv.ParseInt(c.FormValue("read"), 10, 64)
	if err != nil {
		return problem.New(problem.Invalid, "problem.form")
	}
	now, err := m.clock(c)
	if err != nil {
		return err
	}
	past := now
	if c.FormValue("anew") != "" {
		past = time.UnixMilli(read).Add(invitedFor)
	}
	list, invited, err := m.outsiders(c, now)
	if err != nil {
		return err
	}
	team := c.FormValue("team")
	list = slices.DeleteFunc(list, func(p record.Person) bool {
		return team != "" && p.Team != team || invited[p.ID].After(past)
	})
	out := page.Slips{Frame: v.frame(v.speak.T("people.invitations")), Left: max(0, len(list)-mostSlips)}
	list = list[:len(list)-out.Left]
	tokens := map[string]string{}
	var made []record.Invitation
	for _, p := range list {
		tokens[p.ID] = rand.Text()
		made = append(made, record.Invitation{PersonID: p.ID, TokenHash: hashed(tokens[p.ID]), Until: now.Add(invitedFor)})
	}
	given, err := m.store.InviteAll(by(c), v.at.ID, made, past, now)
	if err != nil {
		return err
	}
	list = slices.DeleteFunc(list, func(p record.Person) bool { return !given[p.ID] }) // someone else was quicker
	var accounts []string
	for _, p := range list {
		accounts = append(accounts, p.Card+p.Username)
	}
	if err := reopen(ctx(c), m.store, accounts...); err != nil { // what wrong secrets had shut
		return err
	}
	for _, p := range list {
		slip, err := m.slipOf(c, p, tokens[p.ID], now.Add(invitedFor))
		if err != nil {
			return err
		}
		out.Slips = append(out.Slips, slip)
	}
	return m.render(c, page.SlipsPage(out))
}

// slipOf is an invitation as it is handed over.
func (m *Main) slipOf(c *fiber.Ctx, p record.Person, token string, until time.Time) (out page.Slip, err error) {
	out = page.Slip{
		Speaker: m.locales.Speak(p.Language), Programme: m.sites[p.SiteID].Name, Name: p.Name, Username: p.Username,
		Address: m.base(c), Token: token, Until: until.In(m.at(c).zone).Format(localTime),
	}
	if out.QR, err = qrPath(out.Address+"/invite/"+out.Token, qr.Medium); err != nil || p.Card == "" {
		return out, err
	}
	out.Card, err = m.cardOf(c, p)
	return out, err
}
