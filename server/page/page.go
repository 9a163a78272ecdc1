// Package page is what people see: templ components and the plain values they
// are given. Nothing here decides, queries or knows the web framework; every
// word comes from the locales.
package page

import (
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/a-h/templ"

	"lampwright/lessons"
	"lampwright/locales"
	"lampwright/quiz"
	"lampwright/quiz/competency"
	"lampwright/quiz/diagnosis"
)

// Frame is what every page has around it.
type Frame struct {
	locales.Speaker
	Title         string
	Style, Script string
	Size          int    // step of the text size, 0 to MaxSize
	Path          string // this page, to come back to
	Signed        bool   // someone is signed in
	Name          string // who, "" on a page that is kept for all
	Desk          bool   // an educator is signed in
	Token         string // form token of the session, or of this visitor
	Idle          int    // seconds before the page asks whether anyone is there; 0 never
	Lines         Lines
	Local         Local // on pages that say whom to call
	Paper         Paper // of the set-up that is meant, or known here
}

// MaxSize is the largest step of the text size.
const MaxSize = 3

// Lines are the numbers to call, and the hours of those that do not answer
// day and night.
type Lines struct {
	Rescue, Clinical, ClinicalHours, Technologist, Hours, Chair, ChairHours string
}

// ClinicalKey names the clinical line: day and night only where it is so.
func (l Lines) ClinicalKey() string {
	if l.ClinicalHours != "" {
		return "page.line.clinical.plain"
	}
	return "page.line.clinical"
}

// doubtKey says whom to call in doubt, at any hour.
func (l Lines) doubtKey() string {
	if l.ClinicalHours != "" {
		return "page.call.doubt.hours"
	}
	return "page.call.doubt"
}

// Local is what the programme says in its own words, in the language it is in.
type Local struct {
	Programme           string
	Language, Dir, Text string
	Cautions            []string
}

func (l Local) empty() bool { return l.Text == "" && len(l.Cautions) == 0 }

// tel is a number as a link to call it: it may hold no space (RFC 3966).
func tel(number string) templ.SafeURL {
	return templ.SafeURL("tel:" + strings.ReplaceAll(number, " ", ""))
}

// home is where the mark in the header leads.
func (f Frame) home() string {
	switch {
	case f.Desk:
		return "/desk"
	case f.Signed:
		return "/me"
	}
	return "/"
}

// Look is one set-up to be recognised.
type Look struct{ ID, Setup, Model, Panel string }

// Looks asks "does yours look like this?".
type Looks struct {
	Frame
	Setups []Look
	Bound  bool // this kiosk belongs to one set-up
}

// SignIn asks who is there.
type SignIn struct {
	Frame
	Action     string // where the form goes
	Desk       bool
	Who        string // as typed
	Next       string
	Wrong      string // message, "" at first
	Ended      bool   // a session ended; what was done is kept
	Setup      string // chosen before, by id and by tag
	SetupShown string
}

// wrong ties a field to the message that says what was wrong with it.
func wrong(s SignIn) templ.Attributes {
	if s.Wrong == "" {
		return nil
	}
	return templ.Attributes{"aria-describedby": "wrong", "aria-invalid": "true"}
}

// Step is one thing on a learner's way.
type Step struct {
	Title, Link string
	Again       string // where its refresher is
	Done        bool
}

// Me is a learner's own page.
type Me struct {
	Frame
	Setup     string
	Lessons   []Step
	Scenarios []Step
	More      []Step // to practise only
	Next      Step
	Open      Step   // a run under way
	Place     Step   // the card where reading stopped
	Chose     string // another set-up was chosen before signing in
	Check     string // where to check the set-up
	Outing    string // where to plan one
	SignOff   *SignOff
}

// Done is how many lessons and scenarios towards a sign-off are done.
func (m Me) Done() int {
	n := 0
	for _, s := range slices.Concat(m.Lessons, m.Scenarios) {
		if s.Done {
			n++
		}
	}
	return n
}

// Of is how many there are.
func (m Me) Of() int { return len(m.Lessons) + len(m.Scenarios) }

// Shelf is what there is for anyone at a set-up.
type Shelf struct {
	Frame
	Setup                          string
	Lessons                        []Step
	Check, Outing, SignIn, Figures string // where they are
}

// Refresher is a lesson in a few cards.
type Refresher struct {
	Frame
	Lesson lessons.Lesson
	Setup  string
	Cards  []Shown
	All    string // where the whole lesson begins
}

// Shown is a card with its figures, as SVG.
type Shown struct {
	Card    lessons.Card
	Figures []string
}

// SignOff is a sign-off as shown.
type SignOff struct {
	Standing               competency.Standing
	Setup, By, At, LastDay string
	Meaning                string
}

// Card is one card of a lesson.
type Card struct {
	Frame
	Lesson     lessons.Lesson
	Card       lessons.Card
	Number, Of int
	Figures    []string // SVG
	Prev, Next string
	Setup      string
}

// Figures shows every figure of a set-up in every state, by kind.
type Figures struct {
	Frame
	Setup  string
	Sheets []Sheet
}

// Sheet is one kind of figure; large ones stand alone in their row.
type Sheet struct {
	Title string
	Large bool
	Shown []Pictured
}

// Pictured is a figure with its caption.
type Pictured struct{ Picture, Caption string }

// Question ends a lesson.
type Question struct {
	Frame
	Lesson  lessons.Lesson
	Figures []string // SVG
	Action  string
	Back    string
	Chosen  string // "" before an answer
	Key     string
	Setup   string
	FormKey string
}

// Right tells whether the answer given is the key.
func (q Question) Right() bool { return q.Chosen == q.Key }

// Begin introduces a scenario.
type Begin struct {
	Frame
	Scenario quiz.Scenario
	Setup    string
	FormKey  string
}

// Act is one thing that can be done on the bench.
type Act struct{ Value, Text string }

// Bench is a run under way.
type Bench struct {
	Frame
	ID       string
	Scenario quiz.Scenario
	Practice bool
	Setup    string
	Seq      int
	FormKey  string
	Minutes  int
	Chain    string
	Panel    string // "" until the panel has been looked at
	Part     string // chosen
	PartName string
	CloseUp  string // "" until that part has been looked at
	PartActs []Act
	Care     []Act
	Endings  []Act
	Log      []LogLine
	Alarm    string // that sounds, "" where none does
	Lead     *Lead  // of a worked example
}

// Lead is the next step of a worked example, in place of a choice.
type Lead struct {
	Act Act
	Why string
}

// LogLine is one step as it went.
type LogLine struct {
	Text, Came string
	Refused    bool
	Best       bool
	Better     string // what was better to do then, "" for nothing
	Why        string // why that, or this, was best
}

// Debrief explains a run.
type Debrief struct {
	Frame
	Scenario quiz.Scenario
	Practice bool
	Setup    string
	Result   quiz.Result
	Log      []LogLine
	Best     []string
	Cause    string
	Figure   string
}

// Roster is the educator's list.
type Roster struct {
	Frame
	Rows            []RosterRow
	Lessons, Scenes int
	Coverage        []Coverage
	Fewest          int    // caregivers that each set-up must have
	Setups          []Look // that this device can be bound to
	Kiosk           string // the one it is bound to, "" for none
}

// Coverage is how many are signed off now for a set-up.
type Coverage struct {
	Setup      string
	Caregivers int
}

// RosterRow is one learner.
type RosterRow struct {
	ID, Name, Setup   string
	Lessons, Scenes   int
	Standing          competency.Standing
	LastDay, SignedBy string
}

// Learner is one learner at the desk, with the form to sign.
type Learner struct {
	Frame
	ID, Person, Setup string
	Lessons           []Step
	Scenarios         []Step
	Complete          bool
	SignOffs          []SignOff
	FormKey           string
	Seen              map[string]bool
	Rating            int
	Wrong             string
	JustSigned        bool
	Again             bool // signed already, and current
	Spare             bool
	ChecklistVersion  string
	Items             []competency.Item
	Educator, Meaning string
}

// Problem is a page that says what went wrong.
type Problem struct {
	Frame
	Status  int
	Text    string
	Link    string
	LinkKey string
}

// unbroken keeps a tag in one line.
func unbroken(tag string) string { return strings.ReplaceAll(tag, " ", "\u00a0") }

// query is a path as a query value.
func query(path string) string { return url.QueryEscape(path) }

func itoa(n int) string { return strconv.Itoa(n) }

func verbKey(v diagnosis.Verb) string { return "bench.verb." + string(v) }

var standingKeys = map[competency.Standing]string{
	competency.Never: "page.standing.never", competency.Current: "page.standing.current", competency.Soon: "page.standing.soon",
	competency.Lapsed: "page.standing.lapsed", competency.Changed: "page.standing.changed",
}

// ActionText says an action in the page's language, the part by its name.
func ActionText(s locales.Speaker, a diagnosis.Action, part string) string {
	return s.T(verbKey(a.Verb), "Part", part)
}
