package credential

import (
	"bytes"
	"encoding/json"
	"fmt"
	"regexp"
	"strings"
	"time"

	"lampwright/locales"
	"lampwright/locales/problem"
)

// Verb is what someone did; xAPI names it by verbSpace and this word.
type Verb string

// The verbs. voided is not among them: see Statements.Void.
const (
	Completed Verb = "completed" // a lesson
	Passed    Verb = "passed"    // a scenario
	Failed    Verb = "failed"    // a scenario
	Mastered  Verb = "mastered"  // a competency, signed off
	voided    Verb = "voided"
)

const (
	verbSpace = "http://adlnet.gov/expapi/verbs/"
	kindSpace = "http://adlnet.gov/expapi/activities/"
)

// kind is where in the house the object of a verb is, and what xAPI calls it.
type kind struct{ place, name string }

var kinds = map[Verb]kind{
	Completed: {"/lessons/", "lesson"},
	Passed:    {"/scenarios/", "simulation"},
	Failed:    {"/scenarios/", "simulation"},
	Mastered:  {"/competencies/", "objective"},
}

// kindOf refuses a verb that is no deed's.
func kindOf(v Verb) (kind, error) {
	k, ok := kinds[v]
	if !ok {
		return kind{}, asProblem(&broken{"verb.id", shown(v), "completed, passed, failed, mastered"}, "problem.statement")
	}
	return k, nil
}

// Deed is one thing that a statement tells.
type Deed struct {
	ID           string // of the record that tells it: the same deed twice is one statement
	Verb         Verb
	Person       string // their opaque id, never a name or a mail address
	Object       string // the id of the lesson, scenario or competency
	SetupVersion string
	Names        map[string]string // what the object is called, by language tag
	Language     string            // in which it was done, "" if not known
	At           time.Time
	Took         time.Duration // 0 if not known
	Score        float64       // from −1 to 1, of a scenario
}

// Statement is an xAPI 1.0.3 statement.
type Statement struct {
	ID        string           `json:"id"`
	Actor     StatementActor   `json:"actor"`
	Verb      StatementVerb    `json:"verb"`
	Object    StatementObject  `json:"object"`
	Result    *StatementResult `json:"result,omitempty"`
	Context   *StatementPlace  `json:"context,omitempty"`
	Timestamp string           `json:"timestamp"`
}

// StatementActor is who, by their account with us.
type StatementActor struct {
	ObjectType string           `json:"objectType"`
	Account    StatementAccount `json:"account"`
}

// StatementAccount is an account in the house.
type StatementAccount struct {
	HomePage string `json:"homePage"`
	Name     string `json:"name"`
}

// StatementVerb is a verb and what it is in each language.
type StatementVerb struct {
	ID      string            `json:"id"`
	Display map[string]string `json:"display"`
}

// StatementObject is an activity, or a statement that is taken back.
type StatementObject struct {
	ObjectType string                `json:"objectType"`
	ID         string                `json:"id"`
	Definition *StatementDefinitions `json:"definition,omitempty"`
}

// StatementDefinitions say what an activity is.
type StatementDefinitions struct {
	Name map[string]string `json:"name"`
	Type string            `json:"type"`
}

// StatementResult is how it went.
type StatementResult struct {
	Score      *StatementScore `json:"score,omitempty"`
	Success    *bool           `json:"success,omitempty"`
	Completion bool            `json:"completion"`
	Duration   string          `json:"duration,omitempty"`
}

// StatementScore is a score from −1 to 1.
type StatementScore struct {
	Scaled float64 `json:"scaled"`
}

// StatementPlace is where: on which version of a set-up, in which language.
type StatementPlace struct {
	Activities StatementGrouping `json:"contextActivities"`
	Platform   string            `json:"platform"`
	Language   string            `json:"language,omitempty"`
}

// StatementGrouping groups by set-up.
type StatementGrouping struct {
	Grouping []StatementObject `json:"grouping"`
}

// Statements makes the statements of a house.
type Statements struct {
	home     string
	displays map[Verb]map[string]string
}

// NewStatements makes those of the house at an address, which names it for good.
func NewStatements(home string, bundle *locales.Bundle) *Statements {
	s := &Statements{strings.TrimSuffix(home, "/"), map[Verb]map[string]string{}}
	for _, v := range []Verb{Completed, Passed, Failed, Mastered, voided} {
		s.displays[v] = map[string]string{}
		for _, l := range locales.Languages {
			s.displays[v][l.Tag] = bundle.Speak(l.Tag).T("credential.verb." + string(v))
		}
	}
	return s
}

// Statement tells a deed. It cannot have been done after now.
func (s *Statements) Statement(d Deed, now time.Time) (_ Statement, err error) {
	defer problem.In(&err, "credential.Statement")
	k, err := kindOf(d.Verb)
	if err != nil {
		return Statement{}, err
	}
	st := s.begin(d.Verb, d.ID, d.Person, d.At)
	st.Object = StatementObject{"Activity", s.home + k.place + d.Object, &StatementDefinitions{d.Names, kindSpace + k.name}}
	st.Context = &StatementPlace{
		Activities: StatementGrouping{[]StatementObject{{ObjectType: "Activity", ID: s.home + "/set-ups/" + d.SetupVersion}}},
		Platform:   "Lampwright", Language: d.Language,
	}
	st.Result = &StatementResult{Completion: true}
	if d.Verb != Completed {
		success := d.Verb != Failed
		st.Result.Success = &success
	}
	if d.Verb == Passed || d.Verb == Failed {
		st.Result.Score = &StatementScore{d.Score}
	}
	if d.Took > 0 {
		st.Result.Duration = duration(d.Took)
	}
	return st, s.check(st, now)
}

// Void takes back the statement of a deed, of which only ID and Verb count:
// what was wrong stays, and is no longer believed. correction is the id of the
// record that corrects it, by the opaque id of who did. What is right instead
// is a deed of its own, with the correction's id.
func (s *Statements) Void(d Deed, correction, by string, at, now time.Time) (_ Statement, err error) {
	defer problem.In(&err, "credential.Void")
	if _, err := kindOf(d.Verb); err != nil {
		return Statement{}, err
	}
	st := s.begin(voided, correction, by, at)
	st.Object = StatementObject{ObjectType: "StatementRef", ID: s.id(d.Verb, d.ID)}
	return st, s.check(st, now)
}

func (s *Statements) id(v Verb, record string) string {
	return uuid("statement", s.home, string(v), record)
}

func (s *Statements) begin(v Verb, record, person string, at time.Time) Statement {
	return Statement{
		ID:        s.id(v, record),
		Actor:     StatementActor{"Agent", StatementAccount{s.home, person}},
		Verb:      StatementVerb{verbSpace + string(v), s.displays[v]},
		Timestamp: at.UTC().Format("2006-01-02T15:04:05.000Z"),
	}
}

func (s *Statements) check(st Statement, now time.Time) error {
	data, err := json.Marshal(st)
	if err != nil { // a score that is no number
		return problem.Wrap(err, problem.Invalid, "problem.statement", "Field", "result.score.scaled", "Got", "…", "Expected", "−1…1")
	}
	return CheckStatement(data, now)
}

// duration is an ISO 8601 duration to the hundredth of a second.
func duration(d time.Duration) string {
	hundredths := int64(d.Round(10*time.Millisecond) / (10 * time.Millisecond))
	text := fmt.Sprintf("%d.%02d", hundredths/100, hundredths%100) // a float of seconds may be 1.3599999999999999
	return "PT" + strings.TrimSuffix(strings.TrimRight(text, "0"), ".") + "S"
}

// StatementLines writes statements one to a line.
func StatementLines(list []Statement) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	for _, st := range list {
		if err := e.Encode(st); err != nil {
			return nil, err
		}
	}
	return b.Bytes(), nil
}

var (
	// languageForm is the language, script and region of RFC 5646, in their usual case.
	languageForm = regexp.MustCompile(`^[a-z]{2,3}(-[A-Z][a-z]{3})?(-([A-Z]{2}|[0-9]{3}))?$`)
	// durationForm is that of ISO 8601, 4.4.3.2, at most hundredths of a second.
	durationForm = regexp.MustCompile(`^P([0-9]+W|([0-9]+Y)?([0-9]+M)?([0-9]+D)?(T([0-9]+H)?([0-9]+M)?([0-9]+(\.[0-9]{1,2})?S)?)?)$`)
)

// CheckStatement checks one statement against the rules of xAPI 1.0.3 and ours:
// only what we say, and nobody by name or mail.
func CheckStatement(data []byte, now time.Time) (err error) {
	defer problem.In(&err, "credential.CheckStatement")
	v, err := readJSON(data)
	if err != nil {
		return asProblem(err, "problem.statement")
	}
	var r rules
	s := r.object(v, "", []string{"id", "actor", "verb", "object", "timestamp"}, "result", "context")
	r.uuid(s["id"], "id")

	actor := r.object(s["actor"], "actor", []string{"objectType", "account"}, "")
	r.is(actor["objectType"], "actor.objectType", "Agent")
	account := r.object(actor["account"], "actor.account", []string{"homePage", "name"}, "")
	r.address(account["homePage"], "actor.account.homePage")
	if name := r.text(account["name"], "actor.account.name"); strings.ContainsAny(name, "@ ") {
		r.fail("actor.account.name", "…", "≠ @") // what may be a mail address is not shown either
	}

	verb := r.object(s["verb"], "verb", []string{"id", "display"}, "")
	word, _ := strings.CutPrefix(r.text(verb["id"], "verb.id"), verbSpace)
	r.is(verb["id"], "verb.id", verbSpace+string(Completed), verbSpace+string(Passed), verbSpace+string(Failed), verbSpace+string(Mastered), verbSpace+string(voided))
	r.languages(verb["display"], "verb.display")

	if Verb(word) == voided {
		checkVoiding(&r, s)
	} else {
		checkActivity(&r, s["object"], Verb(word))
		checkResult(&r, s["result"], Verb(word))
		checkContext(&r, s["context"])
	}

	at, err := time.Parse(time.RFC3339, r.text(s["timestamp"], "timestamp"))
	switch {
	case err != nil:
		r.fail("timestamp", s["timestamp"], "2006-01-02T15:04:05.000Z")
	case at.After(now):
		r.fail("timestamp", s["timestamp"], "≤ "+stamp(now))
	}
	return asProblem(r.broke(), "problem.statement")
}

func checkVoiding(r *rules, s map[string]any) {
	for _, key := range []string{"result", "context"} {
		if v, ok := s[key]; ok {
			r.fail(key, v, "–")
		}
	}
	object := r.object(s["object"], "object", []string{"objectType", "id"}, "")
	r.is(object["objectType"], "object.objectType", "StatementRef")
	r.uuid(object["id"], "object.id")
	if object["id"] == s["id"] {
		r.fail("object.id", object["id"], "≠ id")
	}
}

func checkActivity(r *rules, v any, verb Verb) {
	object := r.object(v, "object", []string{"objectType", "id", "definition"}, "")
	r.is(object["objectType"], "object.objectType", "Activity")
	r.address(object["id"], "object.id")
	definition := r.object(object["definition"], "object.definition", []string{"name", "type"}, "")
	r.languages(definition["name"], "object.definition.name")
	r.is(definition["type"], "object.definition.type", kindSpace+kinds[verb].name)
}

// checkResult checks that how it went says the same as the verb.
func checkResult(r *rules, v any, verb Verb) {
	result := r.object(v, "result", []string{"completion"}, "score", "success", "duration")
	if !r.boolean(result["completion"], "result.completion") {
		r.fail("result.completion", false, "true")
	}
	success, judged := result["success"]
	if judged != (verb != Completed) {
		r.fail("result.success", success, string(verb))
	}
	if judged && r.boolean(success, "result.success") != (verb != Failed) {
		r.fail("result.success", success, string(verb))
	}
	score, scored := result["score"]
	if scored != (verb == Passed || verb == Failed) {
		r.fail("result.score", score, string(verb))
	}
	if scored {
		m := r.object(score, "result.score", []string{"scaled"}, "")
		n, ok := m["scaled"].(json.Number)
		f, err := n.Float64()
		if !ok || err != nil || f < -1 || f > 1 {
			r.fail("result.score.scaled", m["scaled"], "−1…1")
		}
	}
	if took, ok := result["duration"]; ok {
		if d := r.text(took, "result.duration"); !durationForm.MatchString(d) || strings.HasSuffix(d, "P") || strings.HasSuffix(d, "T") {
			r.fail("result.duration", took, "PT1M2.34S")
		}
	}
}

func checkContext(r *rules, v any) {
	place := r.object(v, "context", []string{"contextActivities", "platform"}, "language")
	r.text(place["platform"], "context.platform")
	if l, ok := place["language"]; ok && !languageForm.MatchString(r.text(l, "context.language")) {
		r.fail("context.language", l, "RFC 5646")
	}
	const path = "context.contextActivities"
	activities := r.object(place["contextActivities"], path, []string{"grouping"}, "")
	grouping, ok := activities["grouping"].([]any)
	if !ok || len(grouping) != 1 {
		r.fail(path+".grouping", activities["grouping"], "[{…}]")
		return
	}
	setup := r.object(grouping[0], path+".grouping", []string{"objectType", "id"}, "")
	r.is(setup["objectType"], path+".grouping.objectType", "Activity")
	r.address(setup["id"], path+".grouping.id")
}

// uuid is a UUID in its usual form.
func (r *rules) uuid(v any, path string) {
	if s := r.text(v, path); !uuidForm.MatchString(s) {
		r.fail(path, v, "UUID")
	}
}

// address is a whole address on the web, which does not end where an id should follow.
func (r *rules) address(v any, path string) {
	if s := r.text(v, path); !webAddress(s) || strings.HasSuffix(s, "/") || strings.ContainsAny(s, " \"<>") {
		r.fail(path, v, "https://…")
	}
}

// languages is what something is called, by language.
func (r *rules) languages(v any, path string) {
	m := r.object(v, path, nil)
	if len(m) == 0 {
		r.fail(path, v, "{\"en\": \"…\"}")
	}
	for tag, said := range m {
		if !languageForm.MatchString(tag) {
			r.fail(under(path, tag), tag, "RFC 5646")
		}
		r.text(said, under(path, tag))
	}
}
