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
	"lampwright/server/credential"
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
	Home          string // where whoever is signed in begins
	Desks         []Step // the desk's pages open to them; Done marks this one
	Token         string // form token of the session, or of this visitor
	Idle          int    // seconds before the page asks whether anyone is there; 0 never
	Lines         Lines
	Local         Local // on pages that say whom to call
	Paper         Paper // of the set-up that is meant, or known here
	Site          Place // where there are several sites
}

// Place is the site that a page is of, and where another is chosen. Name is ""
// where nobody said which; Led is what a link to a page for an emergency carries.
type Place struct{ Name, Link, Led string }

// Sites are those that can be chosen.
type Sites struct {
	Frame
	Staff bool // these are where they work
	Sites []SiteChoice
}

// SiteChoice is one of them.
type SiteChoice struct {
	ID, Name, Role string
	Here           bool
	Next           string // where to go from there
}

// LetIn is the form by which someone of another site may work at this one.
type LetIn struct {
	Username, Role, Wrong string
	Roles                 []string // none where there is no other site
}

func letInWrong(l LetIn) templ.Attributes {
	if l.Wrong == "" {
		return nil
	}
	return templ.Attributes{"aria-invalid": "true", "aria-describedby": "let-in-wrong"}
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
	if f.Home != "" {
		return f.Home
	}
	if f.Signed { // on a page kept for all: a learner's
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
	Bound  bool   // this kiosk belongs to one set-up
	Many   bool   // too many to look at: these are those with the tag that was asked for
	Tag    string // that was, "" for none
}

func looksWrong(l Looks) templ.Attributes {
	if l.Tag == "" || len(l.Setups) > 0 {
		return nil
	}
	return templ.Attributes{"aria-invalid": "true", "aria-describedby": "tag-wrong"}
}

// SignIn asks who is there.
type SignIn struct {
	Frame
	Action     string // where the form goes
	Desk       bool
	Who        string // as typed, or as the card's code says
	Card       bool   // as it says: the PIN is next
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
	Open      Step      // a run under way
	Place     Step      // the card where reading stopped
	Chose     string    // another set-up was chosen before signing in
	Check     string    // where to check the set-up
	Outing    string    // where to plan one
	SignOffs  []SignOff // on this set-up
	Feed      FeedForm
	FormKey   string
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
	ID, Of, Competency, Setup, SetupID string
	Standing                           competency.Standing
	By, At, LastDay, Meaning, Language string
	Why                                string   // in the words of who suspended, overrode or revoked it
	Because                            []string // what changed, or was missed
	Until                              string   // when this ends by itself
	RefreshBy                          string   // the day by which these are to be done again, "" for not yet
	Refresh                            []Step
	Acknowledged                       bool // the learner has said that they know of it
	Acknowledge                        bool // and is asked to
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

// Roster is who is signed off for one competency, for which set-up.
type Roster struct {
	Frame
	Pager
	Tabs            []Step // a competency each; Done marks this one
	Competency      string
	Within          int     // days: only who lapses in them; 0 for everyone
	Lapses          []Lapse // by days, the fewest first
	Rows            []RosterRow
	Lessons, Scenes int
	Coverage        []Coverage // those with too few first
	Few, Others     int        // set-ups with too few, and those not shown
	Fewest          int        // caregivers that each set-up must have
	Setups          []Look     // that this device can be bound to, none where they are too many to choose from
	Kiosk           string     // the one it is bound to, "" for none
	ByTag           bool       // it is named and not chosen
	Tag, Wrong      string     // of the one it is bound to, or as it was typed, and what is wrong with that
	List            string     // where all of it is as CSV
	Feed            FeedForm   // none where the reader may have none
}

// Pager is the part of a long list that is shown: what was sought in it, and
// which of the rows found these are.
type Pager struct {
	Search     string
	Found      int // rows in all
	From       int // number of the first that is shown
	Prev, Next string
}

// Lapse is how many sign-offs lapse within so many days, and where they are
// listed.
type Lapse struct {
	Days, Count int
	Link        string
	Here        bool
}

// Coverage is how many are signed off now for a set-up.
type Coverage struct {
	Setup      string
	Caregivers int
	Overridden int // let care for some hours
	Few        bool
}

// RosterRow is one learner at one set-up.
type RosterRow struct {
	ID, Name, Team, Setup string
	Lessons, Scenes       int
	Standing              competency.Standing
	LastDay, SignedBy     string
}

// Learner is one learner at the desk, with the forms to sign.
type Learner struct {
	Frame
	ID, Person, Setup   string
	Lessons, Scenarios  []Step
	MaySign, JustSigned bool
	SignOffs            []SignOff
	Choices             []Step // what can be observed; Done marks the one shown
	Observation         Observation
}

// Observation is the form of an observed demonstration.
type Observation struct {
	Competency, Name  string
	Missing           int  // lessons and scenarios still to do
	Again             bool // signed already, and valid
	FormKey, After    string
	ChecklistVersion  string
	Items             []competency.Item
	Lowest, Highest   int
	Seen              map[string]bool
	Rating            int
	Spare             bool
	Educator, Meaning string
	Wrong             string
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

// ActionText says an action in the page's language, the part by its name.
func ActionText(s locales.Speaker, a diagnosis.Action, part string) string {
	return s.T(verbKey(a.Verb), "Part", part)
}

// PersonRow is someone in the list of people.
type PersonRow struct {
	ID, Name, Role, SignsInAs, Setup, Team string
	Home                                   string // the site at which they sign in, "" for this one
	Away, Waiting                          bool   // waiting for their invitation to be taken up
	Invited                                string // until when, "" for not
}

// PersonForm is what is known of a person and can be changed: by field, what
// stands there, and what is wrong with it.
type PersonForm struct {
	Values, Wrong map[string]string
	Setups        []Look // none where they are too many to choose from: the value is a tag then
	Roles         []string
	Elsewhere     bool // they sign in at another site, which keeps what is not asked here
}

// People is everyone of a site.
type People struct {
	Frame
	Pager
	Erased  bool // someone was, just now
	Joined  bool // someone of another site did, just now
	Rows    []PersonRow
	Form    PersonForm
	LetIn   LetIn
	Waiting int // statements that the receiver does not have yet
}

// PersonPageData is one person, with what was changed.
type PersonPageData struct {
	Frame
	ID, Person, Card string
	Home             string // the site at which they sign in, "" for this one
	Kept             bool
	Form             PersonForm
	Changes          []Change
}

// Change is a line of the audit trail.
type Change struct {
	At, By, Kind, Subject string
	Fields                []Difference
}

// Difference is what stood in a field before, and now.
type Difference struct{ Name, Old, New string }

// Changes is the audit trail.
type Changes struct {
	Frame
	Lines []Change
}

// Invited is an invitation, to be handed over.
type Invited struct {
	Frame
	Person, Card, Username string
	Link, Path, Until      string
	QR                     QR
}

// Invitation is where someone chooses their secret.
type Invitation struct {
	Frame
	Person, Card, Username string
	PIN                    bool // else a password
	Fewest, Digits         int
	CodeNeeded             bool
	CodeKey                string
	QR                     QR
	Wrong                  string
}

// wrongField ties a person's field to what is wrong with it.
func wrongField(p PersonForm, name string) templ.Attributes {
	if p.Wrong[name] == "" {
		return nil
	}
	return templ.Attributes{"aria-describedby": name + "-wrong", "aria-invalid": "true"}
}

// languages are those a person can read in.
func languages() []locales.Language { return locales.Languages }

// current marks the link to the page one is on.
func current(here bool) string {
	if here {
		return "page"
	}
	return "false"
}

// SignOffDetail is one sign-off with all that was signed, and what happened
// since.
type SignOffDetail struct {
	Frame
	SignOff                       SignOff
	Person, PersonID, UTC, Rating string
	Versions                      []Difference
	Seen                          []Step
	Events                        []Happened
	MaySign, Mine                 bool
	Kinds                         []string
	Items                         []competency.Item
	Lowest, Highest               int
	FormKey                       string
	Form                          EventForm
}

// Happened is something that happened to a sign-off.
type Happened struct {
	At, By, What, Why, Until, Rating string
	Seen                             []Step
}

// EventForm is the form by which something is decided about a sign-off.
type EventForm struct{ Kind, Why, Hours, Wrong string }

// PublicStanding is what a stranger is told.
type PublicStanding struct {
	Frame
	Says, Programme, At string
}

// CertificatePageData is a certificate, in each of its languages.
type CertificatePageData struct {
	Frame
	credential.Certificate
	Programme string
	Speakers  []locales.Speaker
	QR        QR
}
