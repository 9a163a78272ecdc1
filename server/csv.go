package server

import (
	"math"
	"strconv"
	"strings"

	"github.com/gofiber/fiber/v2"

	"lampwright/locales"
	"lampwright/quiz/competency"
	"lampwright/server/credential"
	"lampwright/server/record"
)

// sheet sends rows as a file, under a header of messages.
func sheet(c *fiber.Ctx, say locales.Speaker, name string, header []string, rows [][]string) error {
	all := make([][]string, 1, 1+len(rows))
	for _, key := range header {
		all[0] = append(all[0], say.T(key))
	}
	return download(c, "text/csv; charset=utf-8", name, credential.WriteCSV(append(all, rows...)))
}

// rosterCSV is everyone of the roster of a competency.
func (m *Main) rosterCSV(c *fiber.Ctx) error {
	v := m.view(c)
	what := competency.Find(c.Query("competency", competency.PowerSources))
	if what == nil {
		return fiber.ErrNotFound
	}
	now, err := m.clock(c)
	if err != nil {
		return err
	}
	setups, err := m.store.SetupTags(ctx(c), m.at(c).ID)
	if err != nil {
		return err
	}
	standings, _, err := m.standings(ctx(c), v.at, what, setups, now)
	if err != nil {
		return err
	}
	tags := make(map[string]string, len(setups))
	for _, s := range setups {
		tags[s.ID] = s.Tag
	}
	list, err := m.rosterRows(ctx(c), v.at, standings, tags)
	if err != nil {
		return err
	}
	rows := make([][]string, len(list))
	for i, r := range list {
		rows[i] = []string{
			r.Name, r.Team, r.Setup, v.speak.T(what.Name()), strconv.Itoa(r.Lessons), strconv.Itoa(r.Scenes),
			v.speak.T(r.Standing.Key()), r.LastDay, r.SignedBy,
		}
	}
	return sheet(c, v.speak, "roster.csv", []string{
		"page.roster.name", "people.team", "page.sign-off.set-up", "leaves.csv.competency", "page.lessons", "page.scenarios",
		"page.sign-off", "page.sign-off.last-day", "page.sign-off.by",
	}, rows)
}

// listedPerson is someone as a list of people has them: whoever is in no list
// goes by our own id, and a name is parted at its last space.
func listedPerson(p record.Person) credential.Person {
	words := strings.Fields(p.Name)
	last := max(len(words)-1, min(len(words), 1))
	out := credential.Person{
		ExternalID: p.ExternalID, GivenName: strings.Join(words[:last], " "), FamilyName: strings.Join(words[last:], " "),
		Email: p.Email, Role: string(p.Role), SiteCode: p.SiteID, Group: p.Team, Language: p.Language, StartDate: p.Starts, Active: !p.Away,
	}
	if out.ExternalID == "" {
		out.ExternalID = p.ID
	}
	return out
}

// peopleCSV is everyone of the site, as a list that can be read in again.
func (m *Main) peopleCSV(c *fiber.Ctx) error {
	list, err := m.store.People(ctx(c), m.at(c).ID)
	if err != nil {
		return err
	}
	var people []credential.Person
	for _, p := range list {
		if p.Home == "" { // who is at home elsewhere is in that list
			people = append(people, listedPerson(p))
		}
	}
	return download(c, "text/csv; charset=utf-8", "people.csv", credential.WritePeople(people))
}

// changesCSV is the whole audit trail, a row for each value that changed.
func (m *Main) changesCSV(c *fiber.Ctx) error {
	v := m.view(c)
	list, err := m.changesOf(c, v, "", math.MaxInt32)
	if err != nil {
		return err
	}
	var rows [][]string
	for _, l := range list {
		for _, f := range l.Fields {
			rows = append(rows, []string{l.At, l.By, l.Kind, l.Subject, f.Name, f.Old, f.New})
		}
	}
	return sheet(c, v.speak, "changes.csv", []string{
		"people.changes.at", "people.changes.by", "people.changes.what", "leaves.csv.subject", "leaves.csv.field", "leaves.csv.old", "leaves.csv.new",
	}, rows)
}

// listCSV is what the inbox shows, but the numbers to call back: those are
// forgotten in time, and a file would keep them.
func (in *inbox) listCSV(c *fiber.Ctx) error {
	v := in.view(c)
	p, err := in.listed(c, v)
	if err != nil {
		return err
	}
	var rows [][]string
	for _, o := range p.Open {
		urgent := ""
		if o.Emergency {
			urgent = v.speak.T("inbox.emergency")
		}
		rows = append(rows, []string{o.Setup, urgent, o.Likely, "", o.Ending, o.First, o.Last, strconv.Itoa(o.Reports), o.Language})
	}
	for _, o := range p.Closed {
		rows = append(rows, []string{o.Setup, "", "", o.Found, o.Ending, o.First, o.Last, strconv.Itoa(o.Reports), o.Language})
	}
	return sheet(c, v.speak, "inbox.csv", []string{
		"page.sign-off.set-up", "leaves.csv.urgent", "inbox.likely", "inbox.was", "inbox.ending", "inbox.first", "inbox.last", "inbox.reports", "inbox.language",
	}, rows)
}
