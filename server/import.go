package server

import (
	"cmp"
	"encoding/json"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/gofiber/fiber/v2"

	"lampwright/locales"
	"lampwright/server/credential"
	"lampwright/server/page"
	"lampwright/server/record"
)

// Where a list of people is sent, and how long it may be.
const (
	importPath = "/desk/import"
	mostImport = 2 << 20
)

// plan is what a list would do, as it was shown: that is what is done.
type plan struct {
	Planned   []planned
	Refused   []leftOut
	Unchanged int
}

type planned struct {
	Kind   string
	Put    record.Put
	Fields []credential.FieldChange
}

// leftOut is a row that is left out: why, and whose.
type leftOut struct {
	Key, Name, Value string
	Line             int
}

// importPage asks for a list.
func (m *Main) importPage(c *fiber.Ctx) error { return m.importForm(c, nil) }

func (m *Main) importForm(c *fiber.Ctx, wrong []string) error {
	v := m.view(c)
	v.path = importPath
	return m.render(c, page.ImportPage(page.Import{
		Frame: v.frame(v.speak.T("roster.import")), Wrong: wrong, Columns: credential.Columns(), Site: v.at.ID, Text: strings.Clone(c.FormValue("text")), Values: columnValues(),
	}))
}

// columnValues are the columns that take only some values, with those; an
// administrator is made by hand.
func columnValues() []string {
	var roles, languages []string
	for _, r := range record.Roles {
		if r != record.Administrator {
			roles = append(roles, string(r))
		}
	}
	for _, l := range locales.Languages {
		languages = append(languages, l.Tag)
	}
	return []string{"role: " + strings.Join(roles, ", "), "language: " + strings.Join(languages, ", "), "start_date: 2026-11-27", "active: true, false"}
}

// readImport reads a list and keeps what it would do. Nobody is touched.
func (m *Main) readImport(c *fiber.Ctx) error {
	v := m.view(c)
	data, err := sent(c)
	if err != nil {
		return err
	}
	preview := credential.ReadPeople(data)
	if len(preview.Problems) > 0 {
		var wrong []string
		for _, p := range preview.Problems {
			wrong = append(wrong, v.speak.Problem(p))
		}
		if preview.More > 0 {
			wrong = append(wrong, v.speak.T("roster.import.more", "Count", preview.More))
		}
		c.Status(fiber.StatusUnprocessableEntity)
		return m.importForm(c, wrong)
	}
	people, err := m.store.People(ctx(c), v.at.ID)
	if err != nil {
		return err
	}
	people = slices.DeleteFunc(people, func(p record.Person) bool { return p.Home != "" }) // they are in their own site's list
	taken, err := m.store.Usernames(ctx(c))
	if err != nil {
		return err
	}
	p, err := planOf(people, taken, preview, v)
	if err != nil {
		return err
	}
	held, err := json.Marshal(p)
	if err != nil {
		return err
	}
	now, err := m.clock(c)
	if err != nil {
		return err
	}
	id := record.NewID()
	if err := m.store.PutImport(ctx(c), record.Import{ID: id, SiteID: v.at.ID, ByID: v.person.ID, Made: now, Data: held}); err != nil {
		return err
	}
	return c.Redirect(importPath+"/"+id, fiber.StatusSeeOther)
}

// sent is the file that was chosen or, where none was, the text.
func sent(c *fiber.Ctx) ([]byte, error) {
	if header, err := c.FormFile("file"); err == nil && header.Size > 0 {
		f, err := header.Open()
		if err != nil {
			return nil, err
		}
		defer f.Close()
		return io.ReadAll(io.LimitReader(f, mostImport))
	}
	return []byte(c.FormValue("text")), nil
}

// planOf is what a list would do to the people there are. Administrators are
// made and changed one by one, by hand; a row that would is left out, and so is
// one of another site.
func planOf(people []record.Person, taken map[string]bool, list credential.Preview, v view) (p plan, err error) {
	known := map[string]record.Person{}
	var existing []credential.Person
	for _, each := range people {
		as := listedPerson(each)
		as.GivenName, as.FamilyName = oneName(as), ""
		known[as.ExternalID] = each
		existing = append(existing, as)
	}
	rows := list
	rows.People, rows.Lines = nil, nil
	for i, row := range list.People {
		was, ok := known[row.ExternalID]
		row.GivenName, row.FamilyName = oneName(row), ""
		row.Language = cmp.Or(row.Language, was.Language, v.speak.Tag)
		refuse := func(key, value string) {
			p.Refused = append(p.Refused, leftOut{"roster.refused." + key, row.GivenName, value, list.Lines[i]})
		}
		switch {
		case row.SiteCode != v.at.ID:
			refuse("site", row.SiteCode)
		case utf8.RuneCountInString(row.GivenName) > 80, utf8.RuneCountInString(row.Group) > 60,
			len(row.Email) > 120, utf8.RuneCountInString(row.ExternalID) > 120:
			refuse("long", "")
		case ok && was.ID == v.person.ID && !row.Active:
			refuse("yourself", "")
		case (row.Role == string(record.Administrator)) != (ok && was.Role == record.Administrator):
			refuse("administrator", "")
		default:
			rows.People, rows.Lines = append(rows.People, row), append(rows.Lines, list.Lines[i])
		}
	}
	changes, err := credential.Compare(existing, rows)
	if err != nil {
		return p, err
	}
	for i, change := range changes {
		was, ok := known[change.Person.ExternalID]
		switch {
		case change.Kind == credential.Unchanged:
			p.Unchanged++
			continue
		case ok && was.Role == record.Administrator:
			p.Refused = append(p.Refused, leftOut{"roster.refused.administrator", was.Name, "", rows.Lines[i]})
			continue
		}
		one := planned{Kind: change.Kind, Fields: change.Fields, Put: record.Put{Person: was}}
		if ok {
			one.Put.Was = was.Mark()
		} else {
			one.Put.Person = record.Person{ID: record.NewID(), SiteID: v.at.ID, ExternalID: change.Person.ExternalID}
		}
		take(&one.Put.Person, change, taken)
		p.Planned = append(p.Planned, one)
	}
	return p, nil
}

// oneName is a name as one: we do not part it.
func oneName(p credential.Person) string {
	return strings.Join(strings.Fields(p.GivenName+" "+p.FamilyName), " ")
}

// take has a person be as a list says, with the way to sign in that their role
// needs. Secrets are no matter of a list.
func take(p *record.Person, change credential.Change, taken map[string]bool) {
	to := change.Person
	if strings.Join(strings.Fields(p.Name), " ") != to.GivenName {
		p.Name = to.GivenName
	}
	p.Role, p.Email, p.Team, p.Language = record.Role(to.Role), to.Email, to.Group, to.Language
	p.Starts, p.Away = to.StartDate, !to.Active
	p.Secret, p.CodeKey, p.CodeUsed = "", "", 0
	switch {
	case p.Role == record.Learner:
		p.Username, p.Card = "", cmp.Or(p.Card, newCard())
	case p.Username == "":
		p.Card, p.SetupID, p.Username = "", "", freeUsername(to, taken)
		taken[p.Username] = true
	}
}

// freeUsername is a name to sign in with that nobody has, as near to the
// person's as can be.
func freeUsername(p credential.Person, taken map[string]bool) string {
	mailbox, _, _ := strings.Cut(p.Email, "@")
	for _, base := range []string{mailbox, strings.ReplaceAll(p.GivenName, " ", "."), p.ExternalID, "staff"} {
		base = strings.ToLower(base)
		if !usernames.MatchString(base) || len(base) > 28 {
			continue
		}
		for n := 1; ; n++ {
			name := base
			if n > 1 {
				name += strconv.Itoa(n)
			}
			if !taken[name] {
				return name
			}
		}
	}
	return ""
}

// heldImport reads the list that the reader made.
func (m *Main) heldImport(c *fiber.Ctx, v view) (record.Import, plan, error) {
	now, err := m.clock(c)
	if err != nil {
		return record.Import{}, plan{}, err
	}
	i, err := m.store.Import(ctx(c), m.at(c).ID, param(c, "import"), v.person.ID, now)
	if err != nil || !i.Done.IsZero() {
		return i, plan{}, err
	}
	var p plan
	return i, p, json.Unmarshal(i.Data, &p)
}

// shownImport shows what a list would do, or that it is done.
func (m *Main) shownImport(c *fiber.Ctx) error {
	v := m.view(c)
	i, p, err := m.heldImport(c, v)
	if err != nil {
		return err
	}
	v.path = importPath + "/" + i.ID
	out := page.Previewed{Frame: v.frame(v.speak.T("roster.import.preview")), ID: i.ID, Done: !i.Done.IsZero(), Unchanged: p.Unchanged}
	for _, r := range p.Refused {
		out.Refused = append(out.Refused, v.speak.T(r.Key, "Line", r.Line, "Name", r.Name, "Value", r.Value, "Site", v.at.ID))
	}
	for _, each := range p.Planned {
		row := page.Planned{
			Kind: each.Kind, Name: each.Put.Name, Role: v.speak.T("people.role." + string(each.Put.Role)), Number: each.Put.ExternalID,
			SignsInAs: each.Put.Card + each.Put.Username, Team: each.Put.Team,
		}
		for _, f := range each.Fields {
			row.Fields = append(row.Fields, page.Difference{
				Name: v.speak.T("roster.column." + strings.ReplaceAll(f.Column, "_", "-")), Old: columnSaid(v, f.Column, f.Old), New: columnSaid(v, f.Column, f.New),
			})
		}
		switch each.Kind {
		case credential.Added:
			out.Added++
		case credential.Deactivated:
			out.Deactivated++
		default:
			out.Changed++
		}
		out.Rows = append(out.Rows, row)
	}
	return m.render(c, page.ImportPreviewPage(out))
}

// columnSaid is a value of a list in words.
func columnSaid(v view, column, value string) string {
	switch {
	case column == "role" && value != "":
		return v.speak.T("people.role." + value)
	case column == "active":
		return v.speak.T("roster.active." + value)
	}
	return value
}

// doImport does what was shown. Pressed again it does nothing more.
func (m *Main) doImport(c *fiber.Ctx) error {
	v := m.view(c)
	i, p, err := m.heldImport(c, v)
	if err != nil {
		return err
	}
	var people []record.Put
	for _, each := range p.Planned {
		people = append(people, each.Put)
	}
	now, err := m.clock(c)
	if err != nil {
		return err
	}
	if err := m.store.DoImport(by(c), m.at(c).ID, i.ID, v.person.ID, people, now); err != nil {
		return err
	}
	return c.Redirect(importPath+"/"+i.ID, fiber.StatusSeeOther)
}
