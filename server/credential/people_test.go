package credential

import (
	"bytes"
	"encoding/json"
	"fmt"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"lampwright/locales/problem"
)

const ourHeader = "external_id,given_name,family_name,email,role,site_code,group,language,start_date,active\r\n"

var nurse = Person{
	ExternalID: "n-17", GivenName: "Inés", FamilyName: "Ortega", Email: "ines@example.org", Role: learner,
	SiteCode: "alder-bay", Group: "nights", Language: "fr", StartDate: "2026-03-31", Active: true,
}

const nurseRow = "n-17,Inés,Ortega,ines@example.org,learner,alder-bay,nights,fr,2026-03-31,true\r\n"

func TestReadPeople(t *testing.T) {
	with := func(change func(*Person)) []Person {
		p := nurse
		change(&p)
		return []Person{p}
	}
	for name, test := range map[string]struct {
		text   string
		people []Person
	}{
		"all there is":                 {ourHeader + nurseRow, []Person{nurse}},
		"no email column":              {strings.ReplaceAll(ourHeader, "email,", "") + strings.ReplaceAll(nurseRow, "ines@example.org,", ""), with(func(p *Person) { p.Email = "" })},
		"columns in another order":     {"active,role,external_id,site_code,family_name,given_name,start_date,language,group\r\nTRUE,learner,n-17,alder-bay,Ortega,Inés,2026-03-31,fr,nights\r\n", with(func(p *Person) { p.Email = "" })},
		"what may be empty":            {ourHeader + "n-17,Inés,,,learner,alder-bay,,,,FALSE\r\n", []Person{{ExternalID: "n-17", GivenName: "Inés", Role: learner, SiteCode: "alder-bay"}}},
		"spaces around":                {" external_id ,given_name,family_name,email,role,site_code,group,language,start_date,active\r\n" + strings.ReplaceAll(nurseRow, ",", " ,\u00a0"), []Person{nurse}},
		"rows a spreadsheet left":      {ourHeader + ",,,,,,,,,\r\n" + nurseRow + ",,,,,,,,,\r\n", []Person{nurse}},
		"semicolons and a mark":        {"\ufeff" + strings.ReplaceAll(ourHeader+nurseRow, ",", ";"), []Person{nurse}},
		"a name that was no formula":   {ourHeader + strings.Replace(nurseRow, "Inés", "'-Inés", 1), with(func(p *Person) { p.GivenName = "-Inés" })},
		"ids that differ in case only": {ourHeader + nurseRow + strings.Replace(nurseRow, "n-17", "N-17", 1), append(with(func(*Person) {}), with(func(p *Person) { p.ExternalID = "N-17" })...)},
	} {
		t.Run(name, func(t *testing.T) {
			got := ReadPeople([]byte(test.text))
			if len(got.Problems) > 0 || !reflect.DeepEqual(got.People, test.people) {
				t.Errorf("got %+v, %v\nexpected %+v", got.People, got.Problems, test.people)
			}
		})
	}
}

const rosterHeader = "sourcedId,status,dateLastModified,enabledUser,orgSourcedIds,role,username,userIds,givenName,familyName,middleName,identifier,email,sms,phone,agentSourcedIds,grades,password\r\n"

// The columns and words of OneRoster 1.1 users.csv, from memory.
func TestReadOneRoster(t *testing.T) {
	for name, test := range map[string]struct {
		row    string
		person Person
	}{
		"a student":        {",,true,alder-bay,student,ines,,Inés,Ortega,,,ines@example.org,555-0101,555-0102,,,secret", Person{Email: "ines@example.org", Role: learner, Active: true}},
		"a teacher":        {"active,2026-03-02T14:05:06.789Z,true,alder-bay,teacher,ines,{Fed:ines},Inés,Ortega,Maria,17,,,,,,", Person{Role: educator, Active: true}},
		"an administrator": {",,TRUE,alder-bay,administrator,ines,,Inés,Ortega,,,,,,,,", Person{Role: administrator, Active: true}},
		"one who left":     {",,false,alder-bay,student,ines,,Inés,Ortega,,,,,,,,", Person{Role: learner}},
		"one to delete":    {"tobedeleted,,true,alder-bay,student,ines,,Inés,Ortega,,,,,,,,", Person{Role: learner}},
	} {
		t.Run(name, func(t *testing.T) {
			got := ReadPeople([]byte(rosterHeader + "n-17," + test.row + "\r\n"))
			want := test.person
			want.ExternalID, want.GivenName, want.FamilyName, want.SiteCode = "n-17", "Inés", "Ortega", "alder-bay"
			if len(got.Problems) > 0 || !reflect.DeepEqual(got.People, []Person{want}) {
				t.Errorf("got %+v, %v\nexpected %+v", got.People, got.Problems, want)
			}
			if data, err := json.Marshal(got); err != nil || bytes.Contains(data, []byte("secret")) || bytes.Contains(data, []byte("555-01")) {
				t.Errorf("a password or a phone was read: %s %v", data, err)
			}
		})
	}
	extended := strings.Replace(rosterHeader, "password", "password,metadata.shift", 1) + "n-17,,,true,alder-bay,student,ines,,Inés,Ortega,,,,,,,,,nights\r\n"
	if got := ReadPeople([]byte(extended)); len(got.Problems) > 0 || len(got.People) != 1 {
		t.Errorf("a column of their own: %v", got.Problems)
	}
}

// Every problem names line, column, value and what was expected.
func TestProblemsOfPeople(t *testing.T) {
	row := func(from, to string) string { return ourHeader + nurseRow + strings.Replace(nurseRow, from, to, 1) }
	roster := func(row string) string { return rosterHeader + row + "\r\n" }
	type want map[string]any
	for name, test := range map[string]struct {
		text, key string
		names     want
	}{
		"nothing":                    {"", "problem.people-none", nil},
		"a header only":              {ourHeader, "problem.people-none", nil},
		"not a list":                 {"\x89PNG\r\n", "problem.csv-utf8", want{"Line": 1}},
		"a row too short":            {ourHeader + "n-17,Inés\r\n", "problem.csv-fields", want{"Line": 2, "Got": 2, "Expected": 10}},
		"a column that is not known": {strings.Replace(ourHeader, "email", "diagnosis", 1) + nurseRow, "problem.people-column", want{"Line": 1, "Column": "diagnosis", "Expected": "active, email, external_id, family_name, given_name, group, language, role, site_code, start_date"}},
		"a column in capitals":       {strings.Replace(ourHeader, "email", "Email", 1) + nurseRow, "problem.people-column", want{"Column": "Email"}},
		"a column without a name":    {strings.Replace(ourHeader, "email", "", 1) + nurseRow, "problem.people-column", want{"Column": ""}},
		"a column named twice":       {strings.Replace(ourHeader, ",active", ",email", 1) + nurseRow, "problem.people-column-twice", want{"Line": 1, "Column": "email"}},
		"no id":                      {row("n-17", ""), "problem.people-missing", want{"Line": 3, "Column": "external_id"}},
		"no name at all":             {ourHeader + "n-17,,,,learner,alder-bay,,,,true\r\n", "problem.people-missing", want{"Line": 2, "Column": "given_name, family_name"}},
		"the same person twice":      {row("Inés", "Ines"), "problem.people-twice", want{"Line": 3, "Column": "external_id", "Value": "n-17", "First": 2}},
		"a role there is not":        {ourHeader + strings.Replace(nurseRow, "learner", "nurse", 1), "problem.people-value", want{"Line": 2, "Column": "role", "Value": "nurse", "Expected": "administrator, educator, learner, technologist"}},
		"a role in capitals":         {ourHeader + strings.Replace(nurseRow, "learner", "Learner", 1), "problem.people-value", want{"Value": "Learner"}},
		"no role":                    {ourHeader + strings.Replace(nurseRow, "learner", "", 1), "problem.people-missing", want{"Line": 2, "Column": "role"}},
		"no site":                    {ourHeader + strings.Replace(nurseRow, "alder-bay", " ", 1), "problem.people-missing", want{"Column": "site_code"}},
		"a language not spoken":      {ourHeader + strings.Replace(nurseRow, ",fr,", ",tlh,", 1), "problem.people-value", want{"Column": "language", "Value": "tlh", "Expected": "en, fr, ar"}},
		"a day as elsewhere":         {ourHeader + strings.Replace(nurseRow, "2026-03-31", "31/03/2026", 1), "problem.people-date", want{"Column": "start_date", "Value": "31/03/2026"}},
		"a day there is not":         {ourHeader + strings.Replace(nurseRow, "2026-03-31", "2026-02-30", 1), "problem.people-date", want{"Value": "2026-02-30"}},
		"no mail address":            {ourHeader + strings.Replace(nurseRow, "ines@example.org", "ines", 1), "problem.people-email", want{"Column": "email", "Value": "ines"}},
		"a mail address with a name": {ourHeader + strings.Replace(nurseRow, "ines@example.org", "Inés <ines@example.org>", 1), "problem.people-email", want{"Column": "email"}},
		"neither true nor false":     {ourHeader + strings.Replace(nurseRow, "true", "yes", 1), "problem.people-value", want{"Column": "active", "Value": "yes", "Expected": "true, false"}},
		"active left empty":          {ourHeader + strings.Replace(nurseRow, "true", "", 1), "problem.people-missing", want{"Column": "active"}},
		"a name on two lines":        {ourHeader + strings.Replace(nurseRow, "Inés", "\"In\r\nés\"", 1), "problem.people-text", want{"Line": 2, "Column": "given_name"}},
		"a name with a hidden sign":  {ourHeader + strings.Replace(nurseRow, "Inés", "In\x00és", 1), "problem.people-text", want{"Column": "given_name"}},
		"a name that has no end":     {ourHeader + strings.Replace(nurseRow, "Inés", strings.Repeat("é", maxValue+1), 1), "problem.people-long", want{"Column": "given_name", "Value": strings.Repeat("é", 60) + "…", "Most": maxValue}},

		"a guardian":              {roster("n-17,,,true,alder-bay,guardian,ines,,Inés,Ortega,,,,,,,,"), "problem.people-value", want{"Line": 2, "Column": "role", "Value": "guardian", "Expected": "administrator, student, teacher"}},
		"our word in their file":  {roster("n-17,,,true,alder-bay,learner,ines,,Inés,Ortega,,,,,,,,"), "problem.people-value", want{"Value": "learner"}},
		"a status of version 1.0": {roster("n-17,inactive,,true,alder-bay,student,ines,,Inés,Ortega,,,,,,,,"), "problem.people-value", want{"Column": "status", "Value": "inactive", "Expected": "active, tobedeleted"}},
		"enabled left empty":      {roster("n-17,,,,alder-bay,student,ines,,Inés,Ortega,,,,,,,,"), "problem.people-missing", want{"Column": "enabledUser"}},
		"two organisations":       {roster("n-17,,,true,\"alder-bay,birch\",student,ines,,Inés,Ortega,,,,,,,,"), "problem.people-sites", want{"Column": "orgSourcedIds", "Value": "alder-bay,birch"}},
		"nobody's id":             {roster(",,,true,alder-bay,student,ines,,Inés,Ortega,,,,,,,,"), "problem.people-missing", want{"Column": "sourcedId"}},
		"nobody's name":           {roster("n-17,,,true,alder-bay,student,ines,,,,,,,,,,,"), "problem.people-missing", want{"Column": "givenName, familyName"}},
		"a column of ours":        {strings.Replace(rosterHeader, "grades", "group", 1), "problem.people-column", want{"Column": "group"}},
		"a column they must have": {strings.Replace(rosterHeader, "enabledUser,", "", 1), "problem.people-column-missing", want{"Line": 1, "Column": "enabledUser"}},
	} {
		t.Run(name, func(t *testing.T) {
			got := ReadPeople([]byte(test.text))
			if len(got.Problems) == 0 {
				t.Fatalf("none in %q", test.text)
			}
			data := refused(t, got.Problems[0], test.key)
			for what, value := range test.names {
				if data[what] != value {
					t.Errorf("%s is %v, expected %v", what, data[what], value)
				}
			}
			if _, err := Compare(nil, got); err == nil {
				t.Error("a list with a problem is taken")
			}
		})
	}
}

func TestEveryProblemIsNamed(t *testing.T) {
	got := ReadPeople([]byte(ourHeader + nurseRow + ",Inés,Ortega,ines,nurse,,,xx,soon,maybe\r\n" + strings.Replace(nurseRow, "n-17", "n-18", 1)))
	var columns []string
	for _, p := range got.Problems {
		columns = append(columns, fmt.Sprint(p.Data["Line"], " ", p.Data["Column"]))
	}
	if s := strings.Join(columns, ", "); s != "3 external_id, 3 email, 3 role, 3 site_code, 3 language, 3 start_date, 3 active" {
		t.Errorf("problems in %s", s)
	}
	if len(got.People) != 2 {
		t.Errorf("%d people whose rows are right, expected 2", len(got.People))
	}
	_, err := Compare(nil, got)
	if data := refused(t, err, "problem.people-refused"); data["Count"] != 7 {
		t.Errorf("got %v", data)
	}

	got = ReadPeople([]byte(ourHeader + strings.Repeat(",,Ortega,,learner,alder-bay,,,,true\r\n", maxProblems+17)))
	if len(got.Problems) != maxProblems || got.More != 17 {
		t.Errorf("%d problems and %d more", len(got.Problems), got.More)
	}
}

func TestCompare(t *testing.T) {
	left, other := nurse, nurse
	left.Active = false
	other.ExternalID = "n-18"
	moved := nurse
	moved.SiteCode, moved.Group = "birch", ""
	gone := moved
	gone.Active = false
	roster := func(row string) string { return rosterHeader + "n-17,,," + row + "\r\n" }
	for name, test := range map[string]struct {
		existing []Person
		text     string
		changes  []Change
	}{
		"someone new":              {nil, ourHeader + nurseRow, []Change{{Added, nurse, nil}}},
		"the same again":           {[]Person{nurse}, ourHeader + nurseRow, []Change{{Unchanged, nurse, nil}}},
		"not in the list":          {[]Person{nurse, other}, ourHeader + nurseRow, []Change{{Unchanged, nurse, nil}}},
		"moved":                    {[]Person{nurse}, string(WritePeople([]Person{moved})), []Change{{Altered, moved, []FieldChange{{"site_code", "alder-bay", "birch"}, {"group", "nights", ""}}}}},
		"left":                     {[]Person{nurse}, string(WritePeople([]Person{left})), []Change{{Deactivated, left, []FieldChange{{"active", "true", "false"}}}}},
		"moved and left":           {[]Person{nurse}, string(WritePeople([]Person{gone})), []Change{{Deactivated, gone, []FieldChange{{"site_code", "alder-bay", "birch"}, {"group", "nights", ""}, {"active", "true", "false"}}}}},
		"left before":              {[]Person{left}, string(WritePeople([]Person{left})), []Change{{Unchanged, left, nil}}},
		"back again":               {[]Person{left}, ourHeader + nurseRow, []Change{{Altered, nurse, []FieldChange{{"active", "false", "true"}}}}},
		"unknown and left":         {nil, string(WritePeople([]Person{left})), []Change{{Unchanged, left, nil}}},
		"no column, no change":     {[]Person{nurse}, roster("true,alder-bay,student,ines,,Inés,Ortega,,,ines@example.org,,,,,"), []Change{{Unchanged, nurse, nil}}},
		"deleted by OneRoster":     {[]Person{nurse}, strings.Replace(roster("true,alder-bay,student,ines,,Inés,Ortega,,,ines@example.org,,,,,"), "n-17,", "n-17,tobedeleted", 1), []Change{{Deactivated, left, []FieldChange{{"active", "true", "false"}}}}},
		"someone without an id":    {[]Person{{FamilyName: "Ortega", Active: true}}, ourHeader + nurseRow, []Change{{Added, nurse, nil}}},
		"two, in the list's order": {[]Person{nurse}, ourHeader + strings.Replace(nurseRow, "n-17", "n-18", 1) + nurseRow, []Change{{Added, other, nil}, {Unchanged, nurse, nil}}},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := Compare(test.existing, ReadPeople([]byte(test.text)))
			if err != nil || !reflect.DeepEqual(got, test.changes) {
				t.Errorf("got %+v, %v\nexpected %+v", got, err, test.changes)
			}
		})
	}
}

// done is a house after a list.
func done(existing []Person, changes []Change) []Person {
	after := append([]Person(nil), existing...)
	for _, c := range changes {
		switch c.Kind {
		case Added:
			after = append(after, c.Person)
		case Altered, Deactivated:
			for i := range after {
				if after[i].ExternalID == c.Person.ExternalID {
					after[i] = c.Person
				}
			}
		}
	}
	return after
}

// someone is anybody a list can hold.
func someone() *rapid.Generator[Person] {
	word := rapid.Map(rapid.StringOf(rapid.RuneFrom([]rune("abé'=-+@\",;. ٣"))), strings.TrimSpace)
	return rapid.Custom(func(t *rapid.T) Person {
		return Person{
			ExternalID: rapid.StringMatching(`['=]?[a-c]{1,2}`).Draw(t, "id"), GivenName: word.Draw(t, "given"), FamilyName: "O" + word.Draw(t, "family"),
			Email:     rapid.SampledFrom([]string{"", "a@example.org", "-b@example.org"}).Draw(t, "email"),
			Role:      rapid.SampledFrom([]string{learner, educator, technologist, administrator}).Draw(t, "role"),
			SiteCode:  rapid.SampledFrom([]string{"alder-bay", "=birch"}).Draw(t, "site"),
			Group:     word.Draw(t, "group"),
			Language:  rapid.SampledFrom([]string{"", "en", "fr", "ar"}).Draw(t, "language"),
			StartDate: rapid.SampledFrom([]string{"", "2026-03-31"}).Draw(t, "start"), Active: rapid.Bool().Draw(t, "active"),
		}
	})
}

func people(t *rapid.T, name string) []Person {
	return rapid.SliceOfNDistinct(someone(), 1, 8, func(p Person) string { return p.ExternalID }).Draw(t, name)
}

func TestImportOfAnExportChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := people(t, "people")
		read := ReadPeople(WritePeople(all))
		if len(read.Problems) > 0 || !reflect.DeepEqual(read.People, all) {
			t.Fatalf("wrote %+v, read %+v, %v", all, read.People, read.Problems)
		}
		changes, err := Compare(all, read)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range changes {
			if c.Kind != Unchanged || len(c.Fields) > 0 {
				t.Fatalf("%+v", c)
			}
		}
	})
}

func TestTheSameListTwiceIsOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		house, list := people(t, "house"), ReadPeople(WritePeople(people(t, "list")))
		first, err := Compare(house, list)
		if err != nil {
			t.Fatal(err)
		}
		after := done(house, first)
		again, err := Compare(after, list)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range again {
			if c.Kind != Unchanged || len(c.Fields) > 0 {
				t.Fatalf("%+v", c)
			}
		}
		if len(after) < len(house) {
			t.Fatal("someone is gone")
		}
	})
}

func FuzzReadPeople(f *testing.F) {
	f.Add([]byte(ourHeader + nurseRow))
	f.Add([]byte(rosterHeader + "n-17,active,,true,alder-bay,student,ines,,Inés,Ortega,,,,,,,,\r\n"))
	f.Add([]byte("\ufeff" + strings.ReplaceAll(ourHeader+nurseRow, ",", ";")))
	f.Fuzz(func(t *testing.T, data []byte) {
		read := ReadPeople(data)
		for _, p := range read.Problems {
			if p.Code == problem.Internal {
				t.Error(p)
			}
			spoken().Speak("ar").Problem(p)
		}
		if len(read.Problems) > 0 {
			return
		}
		changes, err := Compare(read.People, read)
		if err != nil || len(changes) == 0 {
			t.Fatalf("%d changes, %v", len(changes), err)
		}
		for _, c := range changes {
			if c.Kind != Unchanged {
				t.Errorf("%+v", c)
			}
		}
		if again := ReadPeople(WritePeople(read.People)); len(again.Problems) > 0 || !reflect.DeepEqual(again.People, read.People) {
			t.Errorf("wrote %+v, read %+v, %v", read.People, again.People, again.Problems)
		}
	})
}

func BenchmarkReadPeople(b *testing.B) {
	var all []Person
	for i := range 10_000 {
		p := nurse
		p.ExternalID = fmt.Sprintf("n-%05d", i)
		all = append(all, p)
	}
	data := WritePeople(all)
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		if read := ReadPeople(data); len(read.Problems) > 0 {
			b.Fatal(read.Problems)
		}
	}
}
