package credential

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func house() *Statements { return NewStatements("https://alder-bay.example/", spoken()) }

var deeds = []Deed{
	{
		ID: "l1", Verb: Completed, Person: "p7", Object: "chain", SetupVersion: "5d41402abc4b2a76", Language: "fr", At: at, Took: 4*time.Minute + 31234*time.Millisecond,
		Names: map[string]string{"en": "The chain", "fr": "La chaîne", "ar": "السلسلة"},
	},
	{
		ID: "r1", Verb: Passed, Person: "p7", Object: "after-the-transfer", SetupVersion: "5d41402abc4b2a76", Language: "en", At: at, Score: 0.8125, Took: 90 * time.Second,
		Names: map[string]string{"en": "After the transfer"},
	},
	{
		ID: "r2", Verb: Failed, Person: "p7", Object: "comes-and-goes", SetupVersion: "5d41402abc4b2a76", At: at, Score: 0,
		Names: map[string]string{"en": "Comes and goes"},
	},
	{
		ID: "s1", Verb: Mastered, Person: "p7", Object: "power-sources", SetupVersion: "5d41402abc4b2a76", Language: "ar", At: at,
		Names: map[string]string{"en": "Power sources"},
	},
}

func statements(t testing.TB) []Statement {
	t.Helper()
	var list []Statement
	for _, d := range deeds {
		st, err := house().Statement(d, at)
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, st)
	}
	st, err := house().Void(deeds[3], "s2", "e1", at, at)
	if err != nil {
		t.Fatal(err)
	}
	return append(list, st)
}

func TestStatements(t *testing.T) {
	list := statements(t)
	lines, err := StatementLines(list)
	if err != nil {
		t.Fatal(err)
	}
	golden(t, "statements.jsonl", lines)
	for line := range bytes.Lines(lines) {
		if err := CheckStatement(line, at); err != nil {
			t.Error(err)
		}
	}
	array, err := json.Marshal(list)
	if err != nil {
		t.Fatal(err)
	}
	var back []json.RawMessage
	if err := json.Unmarshal(array, &back); err != nil || len(back) != len(list) {
		t.Fatalf("%d statements, %v", len(back), err)
	}
	for i, line := range strings.Split(strings.TrimSpace(string(lines)), "\n") {
		if line != string(back[i]) {
			t.Errorf("line %d and array differ", i)
		}
	}
	if list[4].Object.ID != list[3].ID {
		t.Error("the voiding statement takes back another")
	}
}

// A receiver takes the same statement twice for one, byte for byte (xAPI 1.0.3,
// part two, 2.3.1: the duration is compared as text).
func TestSendingTwiceIsSendingOnce(t *testing.T) {
	first, err := json.Marshal(statements(t))
	if err != nil {
		t.Fatal(err)
	}
	again, err := json.Marshal(statements(t))
	if err != nil || !bytes.Equal(first, again) {
		t.Errorf("%v\n%s\n%s", err, first, again)
	}
	ids := map[string]bool{}
	for _, home := range []string{"https://alder-bay.example", "https://elsewhere.example"} {
		for _, verb := range []Verb{Completed, Passed, Failed, Mastered, voided} {
			for _, record := range []string{"a", "b"} {
				ids[NewStatements(home, spoken()).id(verb, record)] = true
			}
		}
	}
	if len(ids) != 2*5*2 {
		t.Errorf("%d ids, expected one to a house, verb and record", len(ids))
	}
}

func TestDuration(t *testing.T) {
	for took, want := range map[time.Duration]string{
		10 * time.Millisecond: "PT0.01S", 1355 * time.Millisecond: "PT1.36S", 100300 * time.Millisecond: "PT100.3S", 16 * time.Millisecond: "PT0.02S", time.Second: "PT1S", 90 * time.Second: "PT90S",
		16559*time.Second + 140*time.Millisecond: "PT16559.14S", 100 * time.Hour: "PT360000S",
	} {
		if got := duration(took); got != want || !durationForm.MatchString(got) {
			t.Errorf("%v is %s, expected %s", took, got, want)
		}
	}
}

// xAPI 1.0.3, part two, by section; the last ones are rules of the house.
func TestBrokenStatements(t *testing.T) {
	list := statements(t)
	type object = map[string]any
	in := func(o object, path string) object {
		for _, key := range strings.Split(path, ".") {
			o = o[key].(object)
		}
		return o
	}
	const (
		lesson = iota
		passed
		failed
		mastered
		voiding
	)
	for name, test := range map[string]struct {
		of     int
		breaks func(object)
		field  string
	}{
		"2.2: a null":                              {lesson, func(s object) { s["context"] = nil }, "context"},
		"2.2: a null deep inside":                  {passed, func(s object) { in(s, "result.score")["raw"] = nil }, "result.score.raw"},
		"2.2: a number as text":                    {passed, func(s object) { in(s, "result.score")["scaled"] = "0.8" }, "result.score.scaled"},
		"2.2: a truth as text":                     {lesson, func(s object) { in(s, "result")["completion"] = "true" }, "result.completion"},
		"2.2: a key in another case":               {lesson, func(s object) { a := in(s, "actor.account"); a["homepage"] = a["homePage"]; delete(a, "homePage") }, "actor.account.homePage"},
		"2.2: a value in another case":             {lesson, func(s object) { in(s, "actor")["objectType"] = "agent" }, "actor.objectType"},
		"2.2: a key that is not allowed":           {lesson, func(s object) { s["mood"] = "tired" }, "mood"},
		"2.2: an address without scheme":           {lesson, func(s object) { in(s, "object")["id"] = "alder-bay.example/lessons/chain" }, "object.id"},
		"2.2: an empty text where a form is asked": {lesson, func(s object) { in(s, "object")["id"] = "" }, "object.id"},
		"2.4: no id":                               {lesson, func(s object) { delete(s, "id") }, "id"},
		"2.4: no actor":                            {lesson, func(s object) { delete(s, "actor") }, "actor"},
		"2.4: no verb":                             {lesson, func(s object) { delete(s, "verb") }, "verb"},
		"2.4: no object":                           {lesson, func(s object) { delete(s, "object") }, "object"},
		"2.4: stored is the receiver's":            {lesson, func(s object) { s["stored"] = s["timestamp"] }, "stored"},
		"2.4: a version is not for us to say":      {lesson, func(s object) { s["version"] = "1.0.3" }, "version"},
		"2.4.1: an id that is no UUID":             {lesson, func(s object) { s["id"] = "17" }, "id"},
		"2.4.1: a UUID in braces":                  {lesson, func(s object) { s["id"] = "{" + s["id"].(string) + "}" }, "id"},
		"2.4.2: an actor by mail":                  {lesson, func(s object) { s["actor"] = object{"objectType": "Agent", "mbox": "mailto:a@example.org"} }, "actor.account"},
		"2.4.2: an actor two ways":                 {lesson, func(s object) { in(s, "actor")["mbox"] = "mailto:a@example.org" }, "actor.mbox"},
		"2.4.2: a group":                           {lesson, func(s object) { in(s, "actor")["objectType"] = "Group" }, "actor.objectType"},
		"2.4.2.4: an account without a home page":  {lesson, func(s object) { delete(in(s, "actor.account"), "homePage") }, "actor.account.homePage"},
		"2.4.2.4: an account without a name":       {lesson, func(s object) { in(s, "actor.account")["name"] = "" }, "actor.account.name"},
		"2.4.3: a verb that is a word":             {lesson, func(s object) { in(s, "verb")["id"] = "completed" }, "verb.id"},
		"2.4.3: a verb of our own":                 {lesson, func(s object) { in(s, "verb")["id"] = "http://adlnet.gov/expapi/verbs/Completed" }, "verb.id"},
		"2.4.3: a verb that shows as nothing":      {lesson, func(s object) { in(s, "verb")["display"] = object{} }, "verb.display"},
		"2.4.4: an activity of another type":       {lesson, func(s object) { in(s, "object.definition")["type"] = kindSpace + "course" }, "object.definition.type"},
		"2.4.4: an object that is a person":        {lesson, func(s object) { in(s, "object")["objectType"] = "Agent" }, "object.objectType"},
		"2.4.5: a score above 1":                   {passed, func(s object) { in(s, "result.score")["scaled"] = 1.0000001 }, "result.score.scaled"},
		"2.4.5: a score below −1":                  {failed, func(s object) { in(s, "result.score")["scaled"] = -1.5 }, "result.score.scaled"},
		"2.4.5: a score that is empty":             {failed, func(s object) { in(s, "result")["score"] = object{} }, "result.score.scaled"},
		"2.4.6: a language that is a name":         {lesson, func(s object) { in(s, "context")["language"] = "français" }, "context.language"},
		"2.4.6: no list of groups":                 {lesson, func(s object) { in(s, "context.contextActivities")["grouping"] = object{} }, "context.contextActivities.grouping"},
		"2.4.6: a list of no groups":               {lesson, func(s object) { in(s, "context.contextActivities")["grouping"] = []any{} }, "context.contextActivities.grouping"},
		"4.2: a language with an underscore":       {lesson, func(s object) { in(s, "verb.display")["en_US"] = "completed" }, "verb.display.en_US"},
		"4.2: nothing said in a language":          {lesson, func(s object) { in(s, "object.definition.name")["en"] = "" }, "object.definition.name.en"},
		"4.5: a time without zone":                 {lesson, func(s object) { s["timestamp"] = "2026-03-02T14:05:06" }, "timestamp"},
		"4.5: a day":                               {lesson, func(s object) { s["timestamp"] = "2026-03-02" }, "timestamp"},
		"4.5: a time in seconds":                   {lesson, func(s object) { s["timestamp"] = at.Unix() }, "timestamp"},
		"4.6: a duration in minutes and seconds":   {lesson, func(s object) { in(s, "result")["duration"] = "04:31" }, "result.duration"},
		"4.6: a duration in seconds":               {lesson, func(s object) { in(s, "result")["duration"] = 271 }, "result.duration"},
		"4.6: an empty duration":                   {lesson, func(s object) { in(s, "result")["duration"] = "PT" }, "result.duration"},
		"4.6: a duration of no length at all":      {lesson, func(s object) { in(s, "result")["duration"] = "P" }, "result.duration"},
		"4.6: weeks beside days":                   {lesson, func(s object) { in(s, "result")["duration"] = "P4W1D" }, "result.duration"},
		"4.6: a thousandth of a second":            {lesson, func(s object) { in(s, "result")["duration"] = "PT1.234S" }, "result.duration"},
		"2.3.2: voiding an activity":               {voiding, func(s object) { in(s, "object")["objectType"] = "Activity" }, "object.objectType"},
		"2.3.2: voiding nothing":                   {voiding, func(s object) { delete(in(s, "object"), "id") }, "object.id"},
		"2.3.2: voiding by address":                {voiding, func(s object) { in(s, "object")["id"] = "https://alder-bay.example/s1" }, "object.id"},
		"voiding itself":                           {voiding, func(s object) { in(s, "object")["id"] = s["id"] }, "object.id"},
		"voiding with a result":                    {voiding, func(s object) { s["result"] = object{"completion": true} }, "result"},
		"in the future":                            {lesson, func(s object) { s["timestamp"] = "2026-03-02T14:05:06.790Z" }, "timestamp"},
		"in the future, in another zone":           {lesson, func(s object) { s["timestamp"] = "2026-03-02T13:05:07-01:00" }, "timestamp"},
		"a mail address for a name":                {lesson, func(s object) { in(s, "actor.account")["name"] = "a@example.org" }, "actor.account.name"},
		"the actor's name":                         {lesson, func(s object) { in(s, "actor")["name"] = "Inés Ortega" }, "actor.name"},
		"passed without success":                   {passed, func(s object) { in(s, "result")["success"] = false }, "result.success"},
		"failed with success":                      {failed, func(s object) { in(s, "result")["success"] = true }, "result.success"},
		"mastered and nothing said of success":     {mastered, func(s object) { delete(in(s, "result"), "success") }, "result.success"},
		"a lesson with a score":                    {lesson, func(s object) { in(s, "result")["score"] = object{"scaled": 1} }, "result.score"},
		"a run without a score":                    {passed, func(s object) { delete(in(s, "result"), "score") }, "result.score"},
		"not completed":                            {lesson, func(s object) { in(s, "result")["completion"] = false }, "result.completion"},
		"a set-up that is no activity":             {lesson, func(s object) { in(s, "context.contextActivities")["grouping"] = []any{"chair-12"} }, "context.contextActivities.grouping"},
	} {
		t.Run(name, func(t *testing.T) {
			data, err := json.Marshal(list[test.of])
			if err != nil {
				t.Fatal(err)
			}
			s := object{}
			if err := json.Unmarshal(data, &s); err != nil {
				t.Fatal(err)
			}
			test.breaks(s)
			if data, err = json.Marshal(s); err != nil {
				t.Fatal(err)
			}
			if named := refused(t, CheckStatement(data, at), "problem.statement"); named["Field"] != test.field {
				t.Errorf("got %v, expected a problem with %s", named, test.field)
			}
		})
	}
}

func TestDeedThatCannotBeTold(t *testing.T) {
	for name, test := range map[string]struct {
		change func(*Deed)
		field  string
	}{
		"done after now":              {func(d *Deed) { d.At = at.Add(time.Millisecond) }, "timestamp"},
		"a verb there is not":         {func(d *Deed) { d.Verb = "observed" }, "verb.id"},
		"voided, which is not a deed": {func(d *Deed) { d.Verb = voided }, "verb.id"},
		"nobody":                      {func(d *Deed) { d.Person = "" }, "actor.account.name"},
		"a mail address":              {func(d *Deed) { d.Person = "a@example.org" }, "actor.account.name"},
		"nothing done":                {func(d *Deed) { d.Object = "" }, "object.id"},
		"on no set-up":                {func(d *Deed) { d.SetupVersion = "" }, "context.contextActivities.grouping.id"},
		"called nothing":              {func(d *Deed) { d.Names = map[string]string{} }, "object.definition.name"},
		"called in no language":       {func(d *Deed) { d.Names = map[string]string{"English": "x"} }, "object.definition.name.English"},
		"a score above 1":             {func(d *Deed) { d.Score = 1.1 }, "result.score.scaled"},
		"a score that is no number":   {func(d *Deed) { d.Score = math.NaN() }, "result.score.scaled"},
	} {
		t.Run(name, func(t *testing.T) {
			d := deeds[1]
			test.change(&d)
			_, err := house().Statement(d, at)
			if named := refused(t, err, "problem.statement"); named["Field"] != test.field {
				t.Errorf("got %v, expected a problem with %s", named, test.field)
			}
		})
	}
}

// Any Statement that voids another cannot itself be voided (xAPI 1.0.3, part two, 2.3.2).
func TestNothingVoidsAVoiding(t *testing.T) {
	_, err := house().Void(Deed{ID: "s2", Verb: voided}, "s3", "e1", at, at)
	refused(t, err, "problem.statement")
}

// What can be told is told right, whoever did whatever.
func TestAnyDeed(t *testing.T) {
	s := house()
	rapid.Check(t, func(t *rapid.T) {
		d := Deed{
			ID:     rapid.String().Draw(t, "id"),
			Verb:   rapid.SampledFrom([]Verb{Completed, Passed, Failed, Mastered}).Draw(t, "verb"),
			Person: rapid.StringMatching(`[a-z2-7]{26}`).Draw(t, "person"), Object: rapid.StringMatching(`[a-z][a-z0-9-]*`).Draw(t, "object"),
			SetupVersion: rapid.StringMatching(`[0-9a-f]{64}`).Draw(t, "version"),
			Language:     rapid.SampledFrom([]string{"", "en", "fr", "ar", "zh-Hans", "pa", "es-419"}).Draw(t, "language"),
			Names:        map[string]string{"en": "a" + rapid.String().Draw(t, "name")},
			At:           at.Add(-time.Duration(rapid.Int64Range(0, 1e18).Draw(t, "ago"))),
			Took:         time.Duration(rapid.Int64Range(0, 1e15).Draw(t, "took")),
			Score:        rapid.Float64Range(-1, 1).Draw(t, "score"),
		}
		if _, err := s.Statement(d, at); err != nil {
			t.Fatal(err)
		}
	})
}

func FuzzCheckStatement(f *testing.F) {
	for _, st := range statements(f) {
		data, err := json.Marshal(st)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if CheckStatement(data, at) != nil {
			return
		}
		var st Statement
		if err := json.Unmarshal(data, &st); err != nil {
			t.Errorf("%s counts as a statement: %v", data, err)
		}
	})
}
