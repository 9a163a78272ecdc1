package server

import (
	"cmp"
	"crypto/rand"
	"encoding/json"
	"errors"
	"maps"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/gofiber/fiber/v2"

	"lampwright/locales"
	"lampwright/locales/problem"
	"lampwright/server/page"
	"lampwright/server/record"
)

// How much the pages of people show.
const mostChanges = 200

// people lists everyone of a site, and has room to add someone.
func (m *Main) people(c *fiber.Ctx) error {
	v := m.view(c)
	return m.peoplePage(c, v, newcomer(v), page.LetIn{})
}

// newcomer is the form of someone who is to be added.
func newcomer(v view) page.PersonForm {
	return page.PersonForm{Values: map[string]string{"language": v.speak.Tag}}
}

func (m *Main) peoplePage(c *fiber.Ctx, v view, form page.PersonForm, letIn page.LetIn) error {
	v.path = "/desk/people"
	list, err := m.store.People(ctx(c), m.at(c).ID)
	if err != nil {
		return err
	}
	p := page.People{Frame: v.frame(v.speak.T("people.title")), Form: form, Erased: c.Query("erased") != "", Joined: c.Query("let-in") != ""}
	if p.Waiting, err = m.store.LettersWaiting(ctx(c), m.at(c).ID); err != nil {
		return err
	}
	if p.LetIn = letIn; len(m.sites) > 1 {
		for _, r := range record.Roles[1:] { // of the staff
			p.LetIn.Roles = append(p.LetIn.Roles, string(r))
		}
	}
	setups, err := m.store.SetupTags(ctx(c), v.at.ID)
	if err != nil {
		return err
	}
	tags := map[string]string{}
	for _, s := range setups {
		tags[s.ID] = s.Tag
	}
	search := sought(c)
	low := strings.ToLower(search)
	list = slices.DeleteFunc(list, func(p record.Person) bool {
		return !strings.Contains(strings.ToLower(strings.Join([]string{p.Name, p.Team, p.Card, p.Username, p.ExternalID}, "\n")), low)
	})
	var to int
	p.Pager, to = paged(c, search, len(list), func(at int) string {
		return "/desk/people?" + url.Values{"q": {search}, "page": {strconv.Itoa(at)}}.Encode()
	})
	for _, each := range list[p.From-1 : to] {
		p.Rows = append(p.Rows, page.PersonRow{
			ID: each.ID, Name: each.Name, Role: string(each.Role), SignsInAs: each.Card + each.Username, Setup: tags[each.SetupID],
			Team: each.Team, Away: each.Away, Waiting: each.Secret == "" && each.Home == "", Home: m.named(each.Home),
		})
	}
	p.Form = formOf(form, setups)
	return m.render(c, page.PeoplePage(p))
}

// namedSetup is the id of a set-up of a site that is named by it or by its tag,
// in whatever case; "" for none.
func (m *Main) namedSetup(c *fiber.Ctx, at *site, name string) (id string, err error) {
	if name == "" {
		return "", nil
	}
	if r, err := m.store.Setup(ctx(c), at.ID, name); err == nil {
		return r.ID, nil
	}
	setups, err := m.store.SetupTags(ctx(c), at.ID)
	if err != nil {
		return "", err
	}
	setups = slices.DeleteFunc(setups, func(s record.Setup) bool { return !strings.EqualFold(s.Tag, name) })
	switch len(setups) {
	case 0:
		return "", problem.New(problem.Unknown, "roster.kiosk.none", "Tag", name)
	case 1:
		return setups[0].ID, nil
	}
	return "", problem.New(problem.Unknown, "roster.kiosk.several", "Tag", name)
}

// formOf fills in what can be chosen; of set-ups that are too many for that, the
// tag of the one that was.
func formOf(form page.PersonForm, setups []record.Setup) page.PersonForm {
	many := len(setups) > mostChoices
	for _, s := range setups {
		if !many {
			form.Setups = append(form.Setups, page.Look{ID: s.ID, Setup: s.Tag})
		} else if form.Values["set-up"] == s.ID {
			form.Values["set-up"] = s.Tag
		}
	}
	for _, r := range record.Roles {
		if form.Elsewhere && r == record.Learner {
			continue
		}
		form.Roles = append(form.Roles, string(r))
	}
	return form
}

// personFields are the fields of the form, in its order.
var personFields = []string{"name", "role", "username", "set-up", "language", "team", "email", "external", "starts", "away"}

var usernames = regexp.MustCompile(`^[a-z0-9][a-z0-9._-]{1,31}$`)

// formed reads a person's form over who they were. Every field that cannot be
// right is named with what was expected.
func (m *Main) formed(c *fiber.Ctx, v view, was record.Person) (record.Person, page.PersonForm) {
	form := page.PersonForm{Values: map[string]string{}, Wrong: map[string]string{}}
	for _, name := range personFields {
		form.Values[name] = strings.TrimSpace(strings.Clone(c.FormValue(name)))
	}
	got := form.Values
	if was.Home != "" { // the name is for their own site to change, and the list is that site's
		got["name"], got["external"] = was.Name, ""
	}
	wrong := func(name, expected string) {
		form.Wrong[name] = v.speak.Problem(problem.New(problem.Invalid, "problem.value", "Field", v.speak.T("people."+name),
			"Value", cut(got[name]), "Expected", v.speak.T("people.expected."+expected)))
	}
	text := func(name string, fewest, most int) string {
		if n := utf8.RuneCountInString(got[name]); n < fewest || n > most || !utf8.ValidString(got[name]) || strings.ContainsFunc(got[name], odd) {
			wrong(name, name)
		}
		return got[name]
	}
	p := was
	p.Name, p.Team, p.Email, p.ExternalID = text("name", 1, 80), text("team", 0, 60), text("email", 0, 120), text("external", 0, 120)
	if p.Role = record.Role(got["role"]); !slices.Contains(record.Roles, p.Role) || p.Role == record.Learner && p.Home != "" {
		wrong("role", "role")
	}
	if p.Language = got["language"]; !slices.ContainsFunc(locales.Languages, func(l locales.Language) bool { return l.Tag == p.Language }) {
		wrong("language", "language")
	}
	if p.Starts = got["starts"]; p.Starts != "" {
		if _, err := time.Parse(time.DateOnly, p.Starts); err != nil {
			wrong("starts", "starts")
		}
	}
	p.Away = got["away"] != ""
	p.Username, p.SetupID = "", ""
	if p.Role == record.Learner {
		var err error
		if p.SetupID, err = m.namedSetup(c, v.at, got["set-up"]); err != nil {
			wrong("set-up", "set-up")
		}
		if p.Card == "" {
			p.Card = newCard()
		}
	} else if p.Card = ""; p.Home == "" { // who is at home elsewhere signs in there
		if p.Username = strings.ToLower(got["username"]); !usernames.MatchString(p.Username) {
			wrong("username", "username")
		} else if other, err := m.store.PersonByUsername(ctx(c), p.Username); err == nil && other.ID != p.ID {
			wrong("username", "username.free")
		}
	}
	return p, form
}

// odd is a character that no name holds.
func odd(r rune) bool { return r < ' ' || r == 0x7f || r == utf8.RuneError }

// cut keeps a value short enough to be said.
func cut(s string) string {
	if r := []rune(strings.ToValidUTF8(s, "?")); len(r) > 60 {
		return string(r[:60]) + "…"
	}
	return strings.ToValidUTF8(s, "?")
}

// cards are what a card code can be.
var cards = regexp.MustCompile(`^[A-Z0-9-]{1,64}$`)

// cardHalf is how many characters of a card code stand on each side of its dash.
const cardHalf = 4

// newCard makes a card code: eight letters and digits that are not mistaken
// for one another.
func newCard() string {
	const letters = "ACDEFGHJKLMNPQRTUVWXY34679"
	var random, code [2 * cardHalf]byte
	rand.Read(random[:]) //nolint:errcheck // it never fails
	for i, b := range random {
		code[i] = letters[int(b)%len(letters)]
	}
	return string(code[:cardHalf]) + "-" + string(code[cardHalf:])
}

func (m *Main) addPerson(c *fiber.Ctx) error {
	v := m.view(c)
	p, form := m.formed(c, v, record.Person{SiteID: v.at.ID, ID: record.NewID()})
	if len(form.Wrong) > 0 {
		c.Status(fiber.StatusUnprocessableEntity)
		return m.peoplePage(c, v, form, page.LetIn{})
	}
	now, err := m.clock(c)
	if err != nil {
		return err
	}
	if err := m.store.PutPerson(by(c), p, now); err != nil {
		return err
	}
	return m.showInvitation(c, v, p, now)
}

// person is one person with all that can be changed, and what was.
func (m *Main) person(c *fiber.Ctx) error {
	v := m.view(c)
	p, err := m.someone(c)
	if err != nil {
		return err
	}
	form := page.PersonForm{Values: map[string]string{
		"name": p.Name, "role": string(p.Role), "username": p.Username, "set-up": p.SetupID, "language": p.Language, "team": p.Team,
		"email": p.Email, "external": p.ExternalID, "starts": p.Starts,
	}}
	if p.Away {
		form.Values["away"] = "yes"
	}
	return m.personPage(c, v, p, form)
}

func (m *Main) personPage(c *fiber.Ctx, v view, p record.Person, form page.PersonForm) (err error) {
	v.path, form.Elsewhere = "/desk/people/"+p.ID, p.Home != ""
	out := page.PersonPageData{Frame: v.frame(p.Name), ID: p.ID, Person: p.Name, Card: p.Card, Kept: c.Query("kept") != "", Home: m.named(p.Home)}
	setups, err := m.store.SetupTags(ctx(c), v.at.ID)
	if err != nil {
		return err
	}
	out.Form = formOf(form, setups)
	if out.Changes, err = m.changesShown(c, v, p.ID); err != nil {
		return err
	}
	return m.render(c, page.PersonPage(out))
}

func (m *Main) changePerson(c *fiber.Ctx) error {
	v := m.view(c)
	was, err := m.someone(c)
	if err != nil {
		return err
	}
	p, form := m.formed(c, v, was)
	if was.ID == v.person.ID && (p.Role != was.Role || p.Away) { // nobody locks themselves out
		form.Wrong["role"] = v.speak.T("people.yourself")
	}
	if len(form.Wrong) > 0 {
		c.Status(fiber.StatusUnprocessableEntity)
		return m.personPage(c, v, was, form)
	}
	if p.Role != was.Role { // the secret was of another kind
		p.Secret, p.CodeKey = "", ""
	}
	now, err := m.clock(c)
	if err != nil {
		return err
	}
	if err := m.store.PutPerson(by(c), p, now); err != nil {
		return err
	}
	if p.Away || p.Role != was.Role {
		at := "" // at every site
		if p.Home != "" {
			at = p.SiteID
		}
		if err := m.store.DeleteSessions(ctx(c), at, p.ID); err != nil {
			return err
		}
	}
	return c.Redirect("/desk/people/"+p.ID+"?kept=1", fiber.StatusSeeOther)
}

// changes is the audit trail of the site.
func (m *Main) changes(c *fiber.Ctx) (err error) {
	v := m.view(c)
	p := page.Changes{Frame: v.frame(v.speak.T("people.changes"))}
	if p.Lines, err = m.changesShown(c, v, ""); err != nil {
		return err
	}
	return m.render(c, page.ChangesPage(p))
}

// changesShown are as many as a page shows, with values cut short.
func (m *Main) changesShown(c *fiber.Ctx, v view, subject string) ([]page.Change, error) {
	list, err := m.changesOf(c, v, subject, mostChanges)
	for _, change := range list {
		for i, f := range change.Fields {
			change.Fields[i].Old, change.Fields[i].New = cut(v.at.timed(f.Old)), cut(v.at.timed(f.New))
		}
	}
	return list, err
}

// timed is a value as it is, or a moment in the site's zone.
func (s *site) timed(value string) string {
	if at, err := time.Parse(time.RFC3339, value); err == nil {
		return at.In(s.zone).Format(localTime)
	}
	return value
}

func (m *Main) changesOf(c *fiber.Ctx, v view, subject string, most int) (out []page.Change, err error) {
	now, err := m.clock(c)
	if err != nil {
		return nil, err
	}
	list, err := m.store.Changes(ctx(c), m.at(c).ID, subject, now, most)
	if err != nil {
		return nil, err
	}
	names := map[string]string{"": v.speak.T("people.machine")} // of people, by id
	for _, change := range list {
		fields, err := differences(change.Old, change.New)
		if err != nil {
			return nil, err
		}
		for i, f := range fields {
			fields[i].Name = v.speak.T("people.field." + strings.ToLower(f.Name))
		}
		shown := page.Change{At: change.At.In(m.at(c).zone).Format(localTime), Kind: v.speak.T("people.kind." + change.Kind), Fields: fields}
		if shown.By, err = m.nameOf(c, change.Actor, names); err != nil {
			return nil, err
		}
		if shown.Subject = change.Subject; slices.Contains(record.AboutPeople, change.Kind) {
			if shown.Subject, err = m.nameOf(c, change.Subject, names); err != nil {
				return nil, err
			}
		}
		out = append(out, shown)
	}
	return out, nil
}

// nameOf is a person's name, or the id of someone who was erased.
func (m *Main) nameOf(c *fiber.Ctx, id string, names map[string]string) (string, error) {
	if name, known := names[id]; known {
		return name, nil
	}
	p, err := m.store.Person(ctx(c), m.at(c).ID, id)
	if err != nil && !problem.Is(err, problem.Unknown) {
		return "", err
	}
	names[id] = cmp.Or(p.Name, id)
	return names[id], nil
}

// differences are the fields in which two JSON objects differ.
func differences(old, now string) (out []page.Difference, err error) {
	var before, after map[string]any
	if old != "" {
		err = json.Unmarshal([]byte(old), &before)
	}
	if now != "" {
		err = errors.Join(err, json.Unmarshal([]byte(now), &after))
	}
	if err != nil {
		return nil, err
	}
	names := slices.Concat(slices.Collect(maps.Keys(before)), slices.Collect(maps.Keys(after)))
	slices.Sort(names)
	for _, name := range slices.Compact(names) {
		a, b := said(before[name]), said(after[name])
		if a != b {
			out = append(out, page.Difference{Name: name, Old: a, New: b})
		}
	}
	return out, nil
}

func said(v any) string {
	switch v := v.(type) {
	case nil:
		return ""
	case string:
		return v
	case bool: // the field says what
		if v {
			return "✓"
		}
		return ""
	}
	text, _ := json.Marshal(v)
	return string(text)
}
