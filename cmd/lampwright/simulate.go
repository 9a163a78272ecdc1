package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"strconv"
	"text/tabwriter"

	"lampwright/lessons/setup"
	"lampwright/locales"
	"lampwright/quiz/diagnosis"
)

type simulateCmd struct {
	Setup        string  `required:"" placeholder:"FILE" help:"The set-up file; - is standard input."`
	Runs         *int    `placeholder:"N" help:"As many faults drawn by chance; every single fault, weighted by its prior, if left out."`
	Seed         *uint64 `placeholder:"S" help:"Of the chance, with --runs; 0 if left out."`
	Misread      *number `placeholder:"0..1" help:"How often a look is taken for another, with --runs; never if left out."`
	Pairs        bool    `help:"Draw two faults at once, with --runs."`
	MainsInReach string  `enum:"on,off" default:"off" help:"A wall outlet and the adapter are in reach: on or off."`
	JSON         bool    `name:"json" help:"Answer in JSON."`
}

const mostRuns = 1_000_000

func (c *simulateCmd) Run(in io.Reader, out io.Writer) error {
	if err := c.check(); err != nil {
		return err
	}
	s, err := readSetup(c.Setup, in)
	if err != nil {
		return err
	}
	f, err := c.figures(s)
	if err != nil {
		return err
	}
	a := tally(f)
	if c.JSON {
		return json.NewEncoder(out).Encode(a)
	}
	b, err := locales.Load()
	if err != nil {
		return err
	}
	return a.writeTable(out, s.Tag, b.Speak("en"))
}

// check refuses what cannot be right, and what nobody would heed: without
// --runs nothing is left to chance.
func (c *simulateCmd) check() error {
	const wanted = "--runs N as well: without it every single fault is gone through, as it is"
	switch {
	case c.Runs != nil && (*c.Runs < 1 || *c.Runs > mostRuns):
		return refused("runs", strconv.Itoa(*c.Runs), fmt.Sprintf("1 to %d", mostRuns))
	case c.Misread != nil && (*c.Misread < 0 || *c.Misread > 1):
		return refused("misread", digits(float64(*c.Misread)), "a number from 0 to 1")
	case c.Runs != nil:
		return nil
	case c.Seed != nil:
		return refused("seed", strconv.FormatUint(*c.Seed, 10)+" and no --runs", wanted)
	case c.Misread != nil:
		return refused("misread", digits(float64(*c.Misread))+" and no --runs", wanted)
	case c.Pairs:
		return refused("pairs", "no --runs", wanted)
	}
	return nil
}

// figures runs the engine by day, with the bag in hand and minutes enough to
// look for the cause.
func (c *simulateCmd) figures(s *setup.Setup) (diagnosis.Figures, error) {
	m, err := diagnosis.NewModel(s, nil)
	if err != nil {
		return diagnosis.Figures{}, err
	}
	minutes := 120.0
	care := diagnosis.Care{MainsInReach: c.MainsInReach == "on", Minutes: &minutes}
	if c.Runs == nil {
		return m.Enumerate(care)
	}
	var seed uint64
	if c.Seed != nil {
		seed = *c.Seed
	}
	misread := 0.0
	if c.Misread != nil {
		misread = float64(*c.Misread)
	}
	return m.Sample(care, *c.Runs, misread, c.Pairs, rand.New(rand.NewPCG(seed, 0)).Float64)
}

// tally is how the engine did, as it is printed: costs in seconds, shares 0
// to 1.
type tally struct {
	Runs        int     `json:"runs"`
	Mean        float64 `json:"mean_cost"`
	Unavoidable float64 `json:"unavoidable_cost"`
	Optimum     float64 `json:"optimum_cost"`
	Checklist   float64 `json:"checklist_cost"`
	Right       float64 `json:"right_endings"`
	Fixable     float64 `json:"solved_when_fixable"`
	Unsafe      int     `json:"unsafe_offers"`
	MaxSteps    int     `json:"max_steps"`
}

func (a *tally) writeTable(out io.Writer, tag string, say locales.Speaker) error {
	t := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintf(t, "%s\t%s\n", say.T("cli.row.setup"), tag)
	fmt.Fprintf(t, "%s\t%d\n", say.T("diagnosis.figures.runs"), a.Runs)
	fmt.Fprintf(t, "%s\t%.1f s\n", say.T("diagnosis.figures.mean"), a.Mean)
	fmt.Fprintf(t, "%s\t%.1f s\n", say.T("diagnosis.figures.unavoidable"), a.Unavoidable)
	fmt.Fprintf(t, "%s\t%.1f s\n", say.T("diagnosis.figures.optimum"), a.Optimum)
	fmt.Fprintf(t, "%s\t%.1f s\n", say.T("diagnosis.figures.checklist"), a.Checklist)
	fmt.Fprintf(t, "%s\t%.1f %%\n", say.T("diagnosis.figures.right"), 100*a.Right)
	fmt.Fprintf(t, "%s\t%.1f %%\n", say.T("diagnosis.figures.fixable"), 100*a.Fixable)
	fmt.Fprintf(t, "%s\t%d\n", say.T("diagnosis.figures.unsafe"), a.Unsafe)
	fmt.Fprintf(t, "%s\t%d\n", say.T("diagnosis.figures.steps"), a.MaxSteps)
	return t.Flush()
}
