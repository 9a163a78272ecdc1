package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"text/tabwriter"

	"lampwright/lessons/figure"
	"lampwright/lessons/setup"
	"lampwright/locales"
	"lampwright/locales/problem"
	"lampwright/quiz/diagnosis"
)

type diagnoseCmd struct {
	Setup        string   `required:"" placeholder:"FILE" help:"The set-up file; - is standard input."`
	Seen         []string `sep:"none" placeholder:"CHECK=RESULT" help:"What was seen, or a remedy that was done as do=VERB:PART; may be given again, in the order of what happened."`
	MainsInReach string   `enum:"on,off" default:"off" help:"A wall outlet and the adapter are in reach: on or off."`
	Minutes      *number  `placeholder:"N" help:"Minutes left on the internal battery; not known, and so few, if left out."`
	Night        string   `enum:"on,off" default:"off" help:"It is night: on or off."`
	JSON         bool     `name:"json" help:"Answer in JSON."`
}

// The most that is read: beyond, it is a mistake, and what is believed would
// become too small for numbers.
const (
	mostSeen    = 100
	mostMinutes = 1440 // a day
)

func (c *diagnoseCmd) Run(in io.Reader, out io.Writer) error {
	s, err := readSetup(c.Setup, in)
	if err != nil {
		return err
	}
	care, err := c.care()
	if err != nil {
		return err
	}
	done, err := c.done(s)
	if err != nil {
		return err
	}
	m, err := diagnosis.NewModel(s, nil)
	if err != nil {
		return err
	}
	d, err := m.Think(care, done)
	if err != nil {
		return inFlag(err)
	}
	b, err := locales.Load()
	if err != nil {
		return err
	}
	next := d.Next()
	a := newAdvice(next, d.Causes(), b.Speak("en"))
	if c.JSON {
		e := json.NewEncoder(out)
		e.SetEscapeHTML(false)
		return e.Encode(a)
	}
	return a.writeTable(out, m, next, b.Speak("en"))
}

func (c *diagnoseCmd) care() (diagnosis.Care, error) {
	care := diagnosis.Care{MainsInReach: c.MainsInReach == "on", Minutes: (*float64)(c.Minutes), Night: c.Night == "on"}
	if c.Minutes != nil && (*c.Minutes < 0 || *c.Minutes > mostMinutes) {
		return care, refused("minutes", digits(float64(*c.Minutes)), fmt.Sprintf("0 to %d", mostMinutes))
	}
	return care, nil
}

// done reads what was seen and done, in order.
func (c *diagnoseCmd) done(s *setup.Setup) ([]diagnosis.Done, error) {
	if len(c.Seen) > mostSeen {
		return nil, refused("seen", fmt.Sprintf("%d of them", len(c.Seen)), fmt.Sprintf("at most %d", mostSeen))
	}
	var all []diagnosis.Done
	for _, text := range c.Seen {
		check, result, ok := strings.Cut(text, "=")
		switch {
		case !ok || check == "":
			return nil, refused("seen", strconv.Quote(text), "CHECK=RESULT, or do=VERB:PART")
		case check == "do":
			a, err := remedyOf(s, result)
			if err != nil {
				return nil, err
			}
			all = append(all, diagnosis.Done{Action: a})
		default:
			all = append(all, diagnosis.Done{Check: check, Shows: diagnosis.Result(result)})
		}
	}
	return all, nil
}

// remedyOf reads VERB:PART.
func remedyOf(s *setup.Setup, text string) (diagnosis.Action, error) {
	var names []string
	for _, a := range remedies(s) {
		if remedyID(a) == text {
			return a, nil
		}
		names = append(names, remedyID(a))
	}
	return diagnosis.Action{}, refused("seen", "do="+text, "for do one of "+strings.Join(names, ", "))
}

func remedyID(a diagnosis.Action) string { return string(a.Verb) + ":" + a.Part }

// remedies lists what the engine may offer to do to a set-up: to plug in, to
// switch on what can be off, to push home what can be half home.
func remedies(s *setup.Setup) []diagnosis.Action {
	var all []diagnosis.Action
	for _, p := range s.Mains {
		if p.Outlet != nil {
			all = append(all, diagnosis.Action{Verb: diagnosis.PlugIn, Part: p.ID})
		}
	}
	for _, f := range s.Faults() {
		kind, _ := s.PartKind(f.Part)
		switch {
		case f.Mode == setup.Off, f.Mode == setup.Asleep:
			all = append(all, diagnosis.Action{Verb: diagnosis.SwitchOn, Part: f.Part})
		case f.Mode == setup.HalfHome && (kind != setup.KindJoint || s.Policy.RemateJoint):
			all = append(all, diagnosis.Action{Verb: diagnosis.PushHome, Part: f.Part})
		}
	}
	return all
}

// refused is a flag's value that cannot be right.
func refused(flag, got, wanted string) error {
	return problem.Wrap(fmt.Errorf("--%s: got %s, expected %s", flag, got, wanted),
		problem.Invalid, "problem.value", "Field", flag, "Value", got, "Expected", wanted)
}

func digits(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// advice is what follows from what was seen, as it is printed.
type advice struct {
	Next   nextStep     `json:"next"`
	Causes []likelihood `json:"causes"`
	Cost   float64      `json:"expected_cost"` // s, from here to an ending; 0 at one, and before a source is secured
	Spares []string     `json:"spares"`
}

type nextStep struct {
	Kind string `json:"kind"`
	ID   string `json:"id"`
	Why  string `json:"why"`
}

type likelihood struct {
	partMode
	P    float64   `json:"p"`
	With *partMode `json:"with,omitempty"` // the other fault of a pair
}

type partMode struct {
	Part string     `json:"part"`
	Mode setup.Mode `json:"mode"`
}

// nothingWrong stands for the mode where no part is wrong.
const nothingWrong setup.Mode = "nothing"

// mostCauses are as many as anyone reads.
const mostCauses = 10

// endings are the verbs that end a diagnosis: their ids, and what they say.
var endings = map[diagnosis.Verb]struct{ id, key string }{
	diagnosis.Solved:     {"solved", "diagnosis.ending.solved"},
	diagnosis.Untrusted:  {"working-not-trusted", "diagnosis.ending.untrusted"},
	diagnosis.CallTech:   {"call-technologist", "bench.verb.call-technologist"},
	diagnosis.CallChair:  {"call-chair-vendor", "bench.verb.call-chair-vendor"},
	diagnosis.CallClinic: {"call-clinical-line", "bench.verb.call-clinic"},
	diagnosis.CallRescue: {"emergency", "diagnosis.ending.emergency"},
}

func newAdvice(next diagnosis.Step, causes []diagnosis.Ranked, say locales.Speaker) advice {
	a := advice{Next: nextStep{Kind: "remedy", ID: remedyID(next.Action), Why: say.T(next.Why)}, Causes: []likelihood{}, Cost: rounded(next.Cost, 1), Spares: []string{}}
	if end, ok := endings[next.Action.Verb]; ok {
		a.Next.Kind, a.Next.ID = "ending", end.id
	} else if next.Check != "" {
		a.Next.Kind, a.Next.ID = "check", next.Check
	}
	for _, c := range causes[:min(len(causes), mostCauses)] {
		l := likelihood{partMode: partMode{Mode: nothingWrong}, P: rounded(c.P, 4)}
		if len(c.Faults) > 0 {
			l.partMode = partMode{c.Faults[0].Part, c.Faults[0].Mode}
		}
		if len(c.Faults) > 1 {
			l.With = &partMode{c.Faults[1].Part, c.Faults[1].Mode}
		}
		a.Causes = append(a.Causes, l)
	}
	a.Spares = append(a.Spares, next.Spares...)
	return a
}

func rounded(v float64, places int) float64 {
	p := math.Pow10(places)
	return math.Round(v*p) / p
}

func (a *advice) writeTable(out io.Writer, m *diagnosis.Model, next diagnosis.Step, say locales.Speaker) error {
	name := func(part string) string { return figure.Name(say.T, m.Setup, part) }
	t := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintf(t, "%s\t%s\n", say.T("cli.row.setup"), m.Setup.Tag)
	fmt.Fprintf(t, "%s\t%s\n", say.T("diagnosis.row.next"), stepSaid(m, next, say))
	fmt.Fprintf(t, "%s\t%s\n", say.T("diagnosis.row.why"), a.Next.Why)
	switch a.Next.Kind {
	case "check":
		fmt.Fprintf(t, "%s\t--seen %s=…\n", say.T("diagnosis.row.then"), a.Next.ID)
		for _, r := range results(m, a.Next.ID) {
			fmt.Fprintf(t, "  %s\t%s\n", r, resultSaid(r, say))
		}
	case "remedy":
		fmt.Fprintf(t, "%s\t--seen do=%s\n", say.T("diagnosis.row.then"), a.Next.ID)
	}
	for _, spare := range a.Spares {
		fmt.Fprintf(t, "%s\t%s\n", say.T("diagnosis.row.spare"), say.T("bench.spare."+spare))
	}
	if a.Cost > 0 {
		fmt.Fprintf(t, "%s\t%.0f s\n", say.T("diagnosis.row.cost"), a.Cost)
	}
	fmt.Fprintf(t, "\n%s\t%s\n", say.T("diagnosis.row.chance"), say.T("diagnosis.row.causes"))
	for _, c := range a.Causes {
		said := faultSaid(c.partMode, name, say)
		if c.With != nil {
			said = say.T("diagnosis.both", "First", said, "Second", faultSaid(*c.With, name, say))
		}
		fmt.Fprintf(t, "%.1f %%\t%s\n", 100*c.P, said)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	_, err := fmt.Fprintf(out, "\n%s\n%s\n%s\n", say.T("diagnosis.stopped"), say.T("diagnosis.nobody"), say.T("common.caution"))
	return err
}

// results lists what may be answered to a check.
func results(m *diagnosis.Model, check string) []diagnosis.Result {
	for i, c := range m.Checks {
		if c.ID == check {
			return append(m.Results(i), diagnosis.Unclear)
		}
	}
	return []diagnosis.Result{diagnosis.PersonOK, diagnosis.PersonNotOK}
}

func stepSaid(m *diagnosis.Model, next diagnosis.Step, say locales.Speaker) string {
	if end, ok := endings[next.Action.Verb]; ok {
		return say.T(end.key)
	}
	part := next.Action.Part
	if part != "" {
		part = figure.Name(say.T, m.Setup, part)
	}
	for _, c := range m.Checks {
		if c.ID == next.Check && c.Contacts {
			part = say.T("diagnosis.contacts", "Part", part)
		}
	}
	return say.T("bench.verb."+string(next.Action.Verb), "Part", part)
}

func resultSaid(r diagnosis.Result, say locales.Speaker) string {
	source, blank := strings.CutSuffix(string(r), "-blank")
	var said string
	switch of := diagnosis.Result(source); {
	case of.Source() != "":
		said = say.T("common.source." + source)
	case of == diagnosis.Result(setup.LookSound):
		said = say.T("bench.look.sound")
	case of == diagnosis.Ringing, of == diagnosis.Quiet:
		said = say.T("figure.seen." + source)
	case of == diagnosis.Feels:
		said = say.T("figure.heat." + source)
	case of == diagnosis.Unclear, of == diagnosis.Changes, of == diagnosis.Unread, of == diagnosis.PersonOK, of == diagnosis.PersonNotOK:
		said = say.T("diagnosis.result." + source)
	default:
		said = say.T("figure.look." + source)
	}
	if blank {
		return say.T("diagnosis.blank", "Result", said)
	}
	return said
}

func faultSaid(f partMode, name func(string) string, say locales.Speaker) string {
	if f.Part == "" {
		return say.T("diagnosis.nothing")
	}
	return say.T("diagnosis.cause", "Part", name(f.Part), "Mode", say.T("diagnosis.mode."+string(f.Mode)))
}
