package main

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
	"lampwright/locales"
)

// answer is a solved set-up as it is printed.
type answer struct {
	State  circuit.Kind   `json:"state"`
	Period float64        `json:"period,omitempty"` // s, of the hunting
	Held   float64        `json:"held,omitempty"`   // share of it on the chair
	Source setup.Source   `json:"source"`
	Nodes  []node         `json:"nodes"`
	Amps   float64        `json:"amps"`
	Watts  float64        `json:"watts"`
	Panel  []shown        `json:"panel"`
	Alarm  setup.Priority `json:"alarm"`
	Meter  []reading      `json:"readings"`
	Bears  []bearable     `json:"bears,omitempty"`
}

// bearable is the severity that a faulty part of the chain could have and the
// chair still carry, were nothing else wrong.
type bearable struct {
	Part string     `json:"part"`
	Ohms setup.Ohms `json:"ohms"`
}

type node struct {
	ID    string  `json:"id"`
	Volts float64 `json:"volts"`
}

// reading is what a meter should read after a part, V.
type reading struct {
	ID    string  `json:"id"`
	Rest  float64 `json:"rest"` // nothing drawn
	Load  float64 `json:"load"` // the average
	Peak  float64 `json:"peak"` // the top of a breath
	Least float64 `json:"least"`
	Most  float64 `json:"most"`
}

type shown struct {
	ID   string `json:"id"`
	Lit  bool   `json:"lit"`
	Text string `json:"text"`
}

// newAnswer makes empty lists, never nil ones: JSON would call them null.
func newAnswer(s *setup.Setup, st *circuit.State, meter []circuit.Reading, say locales.Speaker) answer {
	a := answer{State: st.Kind, Source: st.Source, Nodes: []node{}, Amps: st.Amps, Watts: st.Watts, Panel: []shown{}, Alarm: st.Alarm, Meter: []reading{}}
	a.Period, a.Held = st.Period, st.Held
	for _, r := range meter {
		a.Meter = append(a.Meter, reading(r))
	}
	for _, n := range st.Nodes {
		a.Nodes = append(a.Nodes, node{n.ID, n.Volts})
	}
	for i, in := range st.Panel {
		a.Panel = append(a.Panel, shown{in.ID, in.Lit, panelText(s.Ventilator.Panel[i], in, say)})
	}
	return a
}

// panelText is what stands on a screen, or what a lamp does.
func panelText(it setup.Item, in circuit.Indication, say locales.Speaker) string {
	if it.Lamp == "" {
		if in.Flicker {
			return say.T("cli.screen.changes", "Text", in.Screen, "Other", in.Other)
		}
		return in.Screen
	}
	var sources []string
	for _, source := range it.LitOn {
		sources = append(sources, say.T("common.source."+string(source)))
	}
	key := "cli.lamp.dark"
	switch {
	case in.Flicker:
		key = "cli.lamp.comes-and-goes"
	case in.Lit:
		key = "cli.lamp.lit"
	}
	return say.T(key, "Source", strings.Join(sources, " / "))
}

// bearables are what the chain's faulty parts could bear, of the faults that
// have a severity; each part once.
func bearables(s *setup.Setup, faults []setup.Fault) ([]bearable, error) {
	var all []bearable
	for _, f := range faults {
		inChain := slices.ContainsFunc(s.Chain, func(p setup.Part) bool { return p.ID == f.Part })
		if f.Ohms == 0 || !inChain || slices.ContainsFunc(all, func(b bearable) bool { return b.Part == f.Part }) {
			continue
		}
		ohms, err := circuit.Bears(s, f.Part)
		if err != nil {
			return nil, err
		}
		all = append(all, bearable{f.Part, ohms})
	}
	return all, nil
}

func (a answer) writeJSON(out io.Writer) error {
	e := json.NewEncoder(out)
	e.SetEscapeHTML(false)
	return e.Encode(a)
}

func (a answer) writeTable(out io.Writer, tag string, say locales.Speaker) error {
	t := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintf(t, "%s\t%s\n", say.T("cli.row.setup"), tag)
	fmt.Fprintf(t, "%s\t%s\n", say.T("cli.row.source"), say.T("common.source."+string(a.Source)))
	state := say.T("cli.state." + string(a.State))
	if a.Period > 0 {
		state = say.T("cli.state.period", "State", state, "Seconds", fmt.Sprintf("%.1f", a.Period), "Held", fmt.Sprintf("%.0f", a.Held*100))
	}
	fmt.Fprintf(t, "%s\t%s\n", say.T("cli.row.state"), state)
	fmt.Fprintf(t, "%s\t%s\n", say.T("cli.row.alarm"), say.T("cli.alarm."+string(a.Alarm)))
	fmt.Fprintf(t, "%s\t%.3f A, %.2f W\n", say.T("cli.row.chair-battery"), a.Amps, a.Watts)
	fmt.Fprintf(t, "\n%s\t\n", say.T("cli.row.panel"))
	for _, p := range a.Panel {
		text := p.Text
		if text == "" {
			text = say.T("cli.screen.blank")
		}
		fmt.Fprintf(t, "%s\t%s\n", p.ID, text)
	}
	fmt.Fprintf(t, "\n%s\t%s\t%s\t%s\t%s\n", say.T("cli.row.after"), say.T("cli.row.rest"), say.T("cli.row.volts"), say.T("cli.row.peak"), say.T("cli.row.meter"))
	for _, r := range a.Meter {
		fmt.Fprintf(t, "%s\t%.3f\t%.3f\t%.3f\t%.2f–%.2f\n", r.ID, r.Rest, r.Load, r.Peak, r.Least, r.Most)
	}
	if len(a.Bears) > 0 {
		fmt.Fprintln(t)
	}
	for _, b := range a.Bears {
		fmt.Fprintln(t, say.T("wiring.bears", "Part", b.Part, "Ohms", amount(b.Ohms, "Ω")))
	}
	return t.Flush()
}
