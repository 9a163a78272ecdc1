package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"text/tabwriter"
	"time"

	"lampwright/lessons/outing"
	"lampwright/lessons/setup"
	"lampwright/locales"
	"lampwright/locales/problem"
)

type outingCmd struct {
	File  string `arg:"" placeholder:"FILE" help:"The plan of an outing; - is standard input."`
	Setup string `placeholder:"FILE" help:"The set-up file; the one that the plan names if left out."`
	JSON  bool   `name:"json" help:"Answer in JSON."`
}

func (c *outingCmd) Run(in io.Reader, out io.Writer) error {
	s, p, err := c.plan(in)
	if err != nil {
		return err
	}
	f, err := p.Forecast(s)
	if err != nil {
		return err
	}
	b, err := locales.Load()
	if err != nil {
		return err
	}
	a := newAhead(s, &p, &f, b.Speak("en"))
	if c.JSON {
		e := json.NewEncoder(out)
		e.SetEscapeHTML(false)
		return e.Encode(a)
	}
	return a.writeTable(out, b.Speak("en"))
}

// plan reads the plan and the set-up it is for.
func (c *outingCmd) plan(in io.Reader) (*setup.Setup, outing.Plan, error) {
	data, name, err := readFile("FILE", "a plan that can be read", c.File, in)
	if err != nil {
		return nil, outing.Plan{}, err
	}
	file, err := outing.Read(name, data)
	if err != nil {
		return nil, outing.Plan{}, err
	}
	of := c.Setup
	switch {
	case of != "":
	case file.Setup == "":
		return nil, outing.Plan{}, problem.Wrap(fmt.Errorf("%s: got no set-up, expected set-up: FILE in the plan, or --setup FILE", name), problem.Invalid, "problem.setup")
	default:
		if of = file.Setup; !filepath.IsAbs(of) && c.File != "-" {
			of = filepath.Join(filepath.Dir(c.File), of)
		}
	}
	s, err := readSetup(of, in)
	if err != nil {
		return nil, outing.Plan{}, err
	}
	p, err := file.For(s)
	return s, p, err
}

// readFile reads a file, or standard input for -.
func readFile(flag, wanted, file string, in io.Reader) (data []byte, name string, err error) {
	name = "standard input"
	if file != "-" {
		f, err := os.Open(file)
		if err != nil {
			return nil, "", unreadable(flag, wanted, file, err)
		}
		defer f.Close()
		name, in = file, f
	}
	data, err = io.ReadAll(io.LimitReader(in, setup.MaxFile+1)) // one more, so that too large is seen
	if err != nil {
		return nil, "", unreadable(flag, wanted, file, err)
	}
	return data, name, nil
}

// ahead is a forecast as it is printed. Shares are 0 to 1, times stand on the
// site's clock.
type ahead struct {
	Setup     string      `json:"set-up"`
	Leaves    time.Time   `json:"leaves"`
	Arrives   time.Time   `json:"arrives"`
	OK        bool        `json:"ok"`       // every stretch keeps the margin, nothing runs out, and mains carries at the end
	NoMains   bool        `json:"no_mains"` // mains cannot carry the ventilator
	Stops     *time.Time  `json:"stops"`    // when the ventilator stops, in the worst case; null if never
	Rule      string      `json:"rule"`
	Stretches []stretch   `json:"stretches"`
	First     runsOut     `json:"runs_out_first"`
	Helps     []help      `json:"helps"`
	Timeline  []happening `json:"timeline"`
	Charges   []charges   `json:"charges"`
	Caution   string      `json:"caution"`
}

type stretch struct {
	FirstLeg int         `json:"first_leg"`
	LastLeg  int         `json:"last_leg"`
	Begins   time.Time   `json:"begins"`
	Ends     time.Time   `json:"ends"`
	Travel   float64     `json:"travel_minutes"`
	Sets     time.Time   `json:"sets_out_for_mains"`
	LeaveBy  time.Time   `json:"leave_for_mains_by"`
	MainsBy  time.Time   `json:"be_on_mains_by"`
	OK       bool        `json:"ok"`
	Lacks    outing.Lack `json:"lacks"`
	never    bool
}

type runsOut struct {
	What outing.Out `json:"what"`
	At   *time.Time `json:"at"` // null where nothing does
}

type help struct {
	What    outing.HelpWhat `json:"what"`
	Leg     *int            `json:"leg"` // null where no leg is changed
	Minutes float64         `json:"minutes"`
	text    string
}

type band struct {
	Worst   float64 `json:"worst"`
	Typical float64 `json:"typical"`
}

// low and high are the ends of a band: where the worst case draws less, as
// after it lost the chair, they are the other way round.
func (b band) low() float64  { return min(b.Worst, b.Typical) }
func (b band) high() float64 { return max(b.Worst, b.Typical) }

type happening struct {
	At       time.Time    `json:"at"`
	What     outing.What  `json:"what"`
	Leg      int          `json:"leg"` // from 0; their number on arriving
	Source   setup.Source `json:"source"`
	OnlyIf   bool         `json:"only_in_the_worst_case"`
	Chair    band         `json:"chair"`
	Internal band         `json:"internal"`
	OnChair  *band        `json:"chair_minutes,omitempty"`
	All      *band        `json:"breathing_minutes,omitempty"`
	Km       *band        `json:"range_km,omitempty"`
	Period   float64      `json:"period,omitempty"` // s, of the hunting
	Held     float64      `json:"held,omitempty"`   // share of it on the chair
	text     string
}

// charges is one point of the two curves.
type charges struct {
	At     time.Time    `json:"at"`
	Worst  bool         `json:"worst"`
	Chair  float64      `json:"chair"`
	Inside float64      `json:"internal"`
	Source setup.Source `json:"source"`
}

func newAhead(s *setup.Setup, p *outing.Plan, f *outing.Forecast, say locales.Speaker) ahead {
	a := ahead{
		Setup: s.Tag, Leaves: p.Leaves, OK: f.OK, NoMains: f.NoMains, Rule: say.T("outing.rule"), Caution: say.T("cli.outing.caution"),
		Stretches: []stretch{}, Helps: []help{}, Timeline: []happening{}, Charges: []charges{},
	}
	for _, st := range f.Stretches {
		a.Stretches = append(a.Stretches, stretch{st.First, st.Last, st.Begins, st.Ends, st.Travel.Minutes(), st.Sets, st.LeaveBy, st.MainsBy, st.OK, st.Lacks, st.Never()})
	}
	if !f.StopsAt.IsZero() {
		a.Stops = &f.StopsAt
	}
	a.First.What = f.First
	if f.First != outing.NothingOut {
		a.First.At = &f.FirstAt
	}
	for _, h := range f.Helps {
		out := help{What: h.What, Minutes: math.Floor(h.Minutes), text: say.T("cli.help."+string(h.What), "Leg", h.Leg+1)}
		if h.Leg >= 0 {
			out.Leg = &h.Leg
		}
		a.Helps = append(a.Helps, out)
	}
	for _, r := range f.Rows {
		h := happening{
			At: r.At, What: r.What, Leg: r.Leg, Source: r.Source, OnlyIf: r.Worst, Chair: band(r.Chair), Internal: band(r.Inside), Period: r.Period, Held: r.Held,
			text: say.T("cli.outing.what."+string(r.What), "Leg", r.Leg+1),
		}
		if !r.Worst { // at the borders of the legs one looks ahead
			h.OnChair, h.All, h.Km = (*band)(&r.OnChair), (*band)(&r.Minutes), (*band)(&r.Km)
		}
		if r.Leg == len(p.Legs) && !r.Worst {
			a.Arrives = r.At
		}
		a.Timeline = append(a.Timeline, h)
	}
	for _, t := range []struct {
		worst bool
		track *outing.Track
	}{{true, &f.Worst}, {false, &f.Typical}} {
		for _, sm := range t.track.Samples {
			a.Charges = append(a.Charges, charges{p.When(sm.Seconds), t.worst, sm.Chair, sm.Inside, sm.Source})
		}
	}
	return a
}

func (a *ahead) writeTable(out io.Writer, say locales.Speaker) error {
	const clock = "Mon 2 Jan 15:04 MST"
	t := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	verdict := "cli.outing.ok"
	if !a.OK {
		verdict = "cli.outing.not-ok"
	}
	fmt.Fprintf(t, "%s\t%s\n", say.T("cli.row.setup"), a.Setup)
	fmt.Fprintf(t, "%s\t%s\n", say.T("cli.outing.verdict"), say.T(verdict))
	if a.Stops != nil {
		fmt.Fprintf(t, "\t%s\n", say.T("cli.outing.stops-at", "At", a.Stops.Format(clock)))
	}
	if a.NoMains {
		fmt.Fprintf(t, "\t%s\n", say.T("cli.outing.no-mains"))
	}
	for _, st := range a.Stretches {
		if st.Lacks != outing.NoLack {
			fmt.Fprintf(t, "\t%s\n", say.T("cli.lack."+string(st.Lacks)))
		}
		by := st.LeaveBy.Format(clock)
		if st.never {
			by = say.T("cli.outing.never", "At", by)
		}
		fmt.Fprintf(t, "%s\t%s\n", say.T("cli.outing.leave-by"), by)
		fmt.Fprintf(t, "%s\t%s\n", say.T("cli.outing.mains-by"), st.MainsBy.Format(clock))
	}
	first := say.T("cli.outing.out." + string(a.First.What))
	if a.First.At != nil {
		first += ", " + a.First.At.Format(clock)
	}
	fmt.Fprintf(t, "%s\t%s\n", say.T("cli.outing.first"), first)
	for _, h := range a.Helps {
		fmt.Fprintf(t, "%s\t%s\t+%.0f min\n", say.T("cli.outing.helps"), h.text, h.Minutes)
	}
	fmt.Fprintf(t, "\n%s\t%s\t%s\t%s\t%s\t%s\t%s\n", say.T("cli.outing.at"), say.T("cli.outing.happens"), say.T("cli.row.source"),
		say.T("cli.outing.chair"), say.T("cli.outing.internal"), say.T("cli.outing.minutes"), say.T("cli.outing.range"))
	for _, h := range a.Timeline {
		fmt.Fprintf(t, "%s\t%s\t%s\t%.0f–%.0f %%\t%.0f–%.0f %%", h.At.Format(clock), h.text, say.T("common.source."+string(h.Source)),
			100*h.Chair.low(), 100*h.Chair.high(), 100*h.Internal.low(), 100*h.Internal.high())
		if h.All != nil {
			fmt.Fprintf(t, "\t%.0f–%.0f\t%.1f–%.1f", math.Floor(h.All.low()), math.Floor(h.All.high()), h.Km.low(), h.Km.high())
		}
		fmt.Fprintln(t)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	_, err := fmt.Fprintf(out, "\n%s\n%s\n", a.Rule, a.Caution)
	return err
}
