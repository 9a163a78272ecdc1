package credential

import (
	"net/mail"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"lampwright/locales"
	"lampwright/locales/problem"
)

// The roles a list of people may give.
const (
	learner       = "learner"
	educator      = "educator"
	technologist  = "technologist"
	administrator = "administrator"
)

// What a list may hold: longer values are a slip, and after so many problems
// nobody reads on.
const (
	maxValue    = 200
	maxProblems = 100
)

// Person is someone in a list, known by ExternalID to whoever wrote it.
type Person struct {
	ExternalID, GivenName, FamilyName, Email string
	Role, SiteCode, Group, Language          string
	StartDate                                string // as 2026-03-31, "" if not known
	Active                                   bool
}

// columns of our own lists, in order, and where each stands in a Person;
// active is the one that is no text.
var columns = []struct {
	name string
	of   func(*Person) *string
}{
	{"external_id", func(p *Person) *string { return &p.ExternalID }},
	{"given_name", func(p *Person) *string { return &p.GivenName }},
	{"family_name", func(p *Person) *string { return &p.FamilyName }},
	{"email", func(p *Person) *string { return &p.Email }},
	{"role", func(p *Person) *string { return &p.Role }},
	{"site_code", func(p *Person) *string { return &p.SiteCode }},
	{"group", func(p *Person) *string { return &p.Group }},
	{"language", func(p *Person) *string { return &p.Language }},
	{"start_date", func(p *Person) *string { return &p.StartDate }},
	{active, nil},
}

const active = "active"

// source is a kind of list: which of its columns say what, and what its words
// mean here.
type source struct {
	columns  map[string]string // its column: ours, "" for one that is not read
	optional []string
	roles    map[string]string // its role: ours
}

var ours = source{
	columns: map[string]string{
		"external_id": "external_id", "given_name": "given_name", "family_name": "family_name", "email": "email",
		"role": "role", "site_code": "site_code", "group": "group", "language": "language", "start_date": "start_date", active: active,
	},
	optional: []string{"email"},
	roles:    map[string]string{learner: learner, educator: educator, technologist: technologist, administrator: administrator},
}

// The columns that make a person active in OneRoster.
const (
	enabledUser = "enabledUser"
	status      = "status"
)

// oneRoster is users.csv of OneRoster 1.1. Passwords, phones and the rest are
// never read.
var oneRoster = source{
	columns: map[string]string{
		"sourcedId": "external_id", status: active, "dateLastModified": "", enabledUser: active,
		"orgSourcedIds": "site_code", "role": "role", "username": "", "userIds": "", "givenName": "given_name",
		"familyName": "family_name", "middleName": "", "identifier": "", "email": "email", "sms": "", "phone": "",
		"agentSourcedIds": "", "grades": "", "password": "",
	},
	optional: []string{"dateLastModified", "username", "userIds", "middleName", "identifier", "email", "sms", "phone", "agentSourcedIds", "grades", "password"},
	roles:    map[string]string{"student": learner, "teacher": educator, "administrator": administrator},
}

// Preview is a list as it was read, before anything is done with it. People are
// those whose rows are right; with any problem, Compare refuses the whole list.
type Preview struct {
	Columns  []string // those of ours that the list speaks of
	People   []Person
	Lines    []int              // of the people
	Problems []*problem.Problem // each names its line; their data holds names, so they are for the page, not for the log
	More     int                // problems beyond those
}

// ReadPeople reads a list of people: our columns, or users.csv of OneRoster 1.1,
// known by its header.
func ReadPeople(data []byte) Preview {
	var p Preview
	rows, err := ReadCSV(data)
	switch {
	case err != nil:
		p.wrong(problem.Of(err))
		return p
	case len(rows) == 0:
		p.wrong(problem.New(problem.Invalid, "problem.people-none"))
		return p
	}
	l := list{source: ours, preview: &p, seen: map[string]int{}}
	if slices.Contains(trimmed(rows[0].Fields), "sourcedId") {
		l.source = oneRoster
	}
	if !l.header(rows[0]) {
		return p
	}
	for _, row := range rows[1:] {
		l.row(row)
	}
	if len(p.People) == 0 && len(p.Problems) == 0 {
		p.wrong(problem.New(problem.Invalid, "problem.people-none"))
	}
	return p
}

func (p *Preview) wrong(w *problem.Problem) {
	if len(p.Problems) == maxProblems {
		p.More++
		return
	}
	p.Problems = append(p.Problems, w)
}

func trimmed(fields []string) []string {
	all := make([]string, len(fields))
	for i, f := range fields {
		all[i] = strings.TrimSpace(f)
	}
	return all
}

// list is a list being read.
type list struct {
	source
	preview *Preview
	names   []string       // of its columns
	seen    map[string]int // external ids: their line
	line    int
	fine    bool // the row so far
}

// header reads the names of the columns; without all of them no row can be
// read.
func (l *list) header(row Row) bool {
	l.line, l.names = row.Line, trimmed(row.Fields)
	var known []string
	for name := range l.columns {
		known = append(known, name)
	}
	slices.Sort(known)
	for i, name := range l.names {
		switch {
		case slices.Contains(l.names[:i], name):
			l.wrong("problem.people-column-twice", name)
		case slices.Contains(known, name):
		case l.columns["sourcedId"] != "" && strings.HasPrefix(name, "metadata."):
			// OneRoster lets anyone add such columns.
		default:
			l.wrong("problem.people-column", cut(name), "Expected", strings.Join(known, ", "))
		}
	}
	for _, name := range known {
		if !slices.Contains(l.names, name) && !slices.Contains(l.optional, name) {
			l.wrong("problem.people-column-missing", name)
		}
	}
	for _, c := range columns {
		if slices.ContainsFunc(l.names, func(name string) bool { return l.columns[name] == c.name }) {
			l.preview.Columns = append(l.preview.Columns, c.name)
		}
	}
	return len(l.preview.Problems) == 0
}

func (l *list) wrong(key, column string, pairs ...any) {
	l.fine = false
	l.preview.wrong(problem.New(problem.Invalid, key, append([]any{"Line", l.line, "Column", column}, pairs...)...))
}

// row reads one person; a row that is all empty is what a spreadsheet left.
func (l *list) row(row Row) {
	fields := trimmed(row.Fields)
	if !slices.ContainsFunc(fields, func(f string) bool { return f != "" }) {
		return
	}
	l.line, l.fine = row.Line, true
	p := Person{Active: true}
	for i, name := range l.names {
		l.value(&p, name, fields[i])
	}
	if p.GivenName == "" && p.FamilyName == "" {
		l.wrong("problem.people-missing", l.called("given_name")+", "+l.called("family_name"))
	}
	if first, twice := l.seen[p.ExternalID]; twice && p.ExternalID != "" {
		l.wrong("problem.people-twice", l.called("external_id"), "Value", cut(p.ExternalID), "First", first)
	} else {
		l.seen[p.ExternalID] = l.line
	}
	if l.fine {
		l.preview.People, l.preview.Lines = append(l.preview.People, p), append(l.preview.Lines, l.line)
	}
}

// called is what this list calls one of our columns.
func (l *list) called(column string) string {
	for name, c := range l.columns {
		if c == column {
			return name
		}
	}
	return column
}

// value puts one value where it belongs, if it is right.
func (l *list) value(p *Person, name, value string) {
	column := l.columns[name]
	is := func(fine bool, key string, pairs ...any) {
		if !fine {
			l.wrong(key, name, append([]any{"Value", cut(value)}, pairs...)...)
		}
	}
	oneOf := func(words ...string) {
		is(slices.Contains(words, value), "problem.people-value", "Expected", strings.Join(words, ", "))
	}
	switch {
	case column == "":
		return
	case !plain(value):
		is(false, "problem.people-text")
		return
	case utf8.RuneCountInString(value) > maxValue:
		is(false, "problem.people-long", "Most", maxValue)
		return
	case column == active:
		l.active(p, name, value, oneOf)
		return
	case value == "":
		if slices.Contains([]string{"external_id", "role", "site_code"}, column) {
			l.wrong("problem.people-missing", name)
		}
		return
	}
	switch column {
	case "role":
		if l.roles[value] == "" {
			oneOf(sortedKeys(l.roles)...)
		}
		value = l.roles[value]
	case "email":
		a, err := mail.ParseAddress(value)
		is(err == nil && a.Address == value, "problem.people-email")
	case "site_code":
		// A person belongs to one site; several organisations would be a guess.
		is(l.columns["sourcedId"] == "" || !strings.Contains(value, ","), "problem.people-sites")
	case "language":
		if !slices.ContainsFunc(locales.Languages, func(k locales.Language) bool { return k.Tag == value }) {
			oneOf(languageTags()...)
		}
	case "start_date":
		_, err := time.Parse(time.DateOnly, value)
		is(err == nil, "problem.people-date")
	}
	for _, c := range columns {
		if c.name == column {
			*c.of(p) = value
		}
	}
}

// active reads whether someone is active, in capitals too, as spreadsheets
// write it. In OneRoster either of two columns can say no, and an empty status
// is what a whole list has.
func (l *list) active(p *Person, name, value string, oneOf func(...string)) {
	switch lower := strings.ToLower(value); {
	case name == status && (value == "" || value == "active"):
	case name == status && value == "tobedeleted":
		p.Active = false
	case name == status:
		oneOf("active", "tobedeleted")
	case value == "":
		l.wrong("problem.people-missing", name)
	case lower == "false":
		p.Active = false
	case lower != "true":
		oneOf("true", "false")
	}
}

// plain is a text of one line that shows all it holds.
func plain(s string) bool {
	return !strings.ContainsFunc(s, func(r rune) bool { return unicode.IsControl(r) || r == '\u2028' || r == '\u2029' })
}

func sortedKeys(m map[string]string) []string {
	var keys []string
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

func languageTags() []string {
	var tags []string
	for _, l := range locales.Languages {
		tags = append(tags, l.Tag)
	}
	return tags
}

// WritePeople writes people as a list that ReadPeople reads.
func WritePeople(people []Person) []byte {
	rows := make([][]string, 1, 1+len(people))
	for _, c := range columns {
		rows[0] = append(rows[0], c.name)
	}
	for _, p := range people {
		row := make([]string, len(columns))
		for i, c := range columns {
			row[i] = p.text(c.name)
		}
		rows = append(rows, row)
	}
	return WriteCSV(rows)
}

// text is what stands in one of our columns.
func (p *Person) text(column string) string {
	for _, c := range columns {
		if c.name == column && c.of != nil {
			return *c.of(p)
		}
	}
	return strconv.FormatBool(p.Active)
}

// What a list does to someone.
const (
	Added       = "added"
	Altered     = "changed"
	Deactivated = "deactivated"
	Unchanged   = "unchanged"
)

// Change is what a list does to one person.
type Change struct {
	Kind   string
	Person Person // as they are then
	Fields []FieldChange
}

// FieldChange is one column that changes.
type FieldChange struct{ Column, Old, New string }

// Compare tells what a list would do to the people there are, in its order. A
// column that the list does not have changes nothing; nobody is deactivated by
// not being in it, and someone unknown who is not active is left so. The same
// list again changes nothing. A list with problems is refused whole.
func Compare(existing []Person, incoming Preview) (_ []Change, err error) {
	defer problem.In(&err, "credential.Compare")
	if n := len(incoming.Problems) + incoming.More; n > 0 {
		return nil, problem.New(problem.Invalid, "problem.people-refused", "Count", n)
	}
	known := make(map[string]Person, len(existing))
	for _, p := range existing {
		known[p.ExternalID] = p
	}
	changes := make([]Change, 0, len(incoming.People))
	for _, p := range incoming.People {
		was, ok := known[p.ExternalID]
		if !ok {
			kind := Added
			if !p.Active {
				kind = Unchanged
			}
			changes = append(changes, Change{Kind: kind, Person: p})
			continue
		}
		changes = append(changes, compare(was, p, incoming.Columns))
	}
	return changes, nil
}

func compare(was, now Person, spoken []string) Change {
	c := Change{Kind: Unchanged, Person: was}
	for _, column := range columns {
		if !slices.Contains(spoken, column.name) {
			continue
		}
		from, to := was.text(column.name), now.text(column.name)
		if from == to {
			continue
		}
		c.Kind = Altered
		c.Fields = append(c.Fields, FieldChange{column.name, from, to})
		if column.of == nil {
			c.Person.Active = now.Active
		} else {
			*column.of(&c.Person) = to
		}
	}
	if was.Active && !now.Active {
		c.Kind = Deactivated
	}
	return c
}

// Columns are the names of the columns of our own lists, in order.
func Columns() (names []string) {
	for _, c := range columns {
		names = append(names, c.name)
	}
	return names
}
