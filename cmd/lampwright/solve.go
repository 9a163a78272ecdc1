package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"strconv"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
	"lampwright/locales"
	"lampwright/locales/problem"
)

// question is a set-up and what it is in.
type question struct {
	Setup          string   `required:"" placeholder:"FILE" help:"The set-up file; - is standard input."`
	Fault          []string `sep:"none" placeholder:"PART=MODE[:OHMS]" help:"A fault; may be given again."`
	Mains          string   `enum:"on,off" default:"off" help:"The adapter is in a wall outlet and in the ventilator: on or off."`
	Load           *number  `placeholder:"WATTS" help:"What breathing takes on average; the usual setting if left out."`
	Charger        string   `enum:"on,off" default:"off" help:"The internal battery is charging: on or off."`
	ChairCharger   string   `enum:"on,off" default:"off" help:"The chair is charging: on or off."`
	Driving        string   `enum:"on,off" default:"off" help:"The chair is being driven, ramps included: on or off."`
	Tilted         string   `enum:"on,off" default:"off" help:"The chair is tilted or reclined: on or off."`
	CutOut         string   `enum:"on,off" default:"off" help:"The converter has already cut out: on or off."`
	Peak           *number  `placeholder:"WATTS" help:"The top of a breath; in proportion to the load if left out."`
	ChairCharge    *number  `placeholder:"0..1" help:"Charge of the chair battery; as in the file if left out."`
	InternalCharge *number  `placeholder:"0..1" help:"Charge of the internal battery; as in the file if left out."`
	Temperature    number   `default:"20" placeholder:"C" help:"Of everything, in degrees Celsius."`
}

// number is a plain number, so that no flag is ever NaN or infinite.
type number float64

func (n *number) UnmarshalText(text []byte) error {
	v, err := strconv.ParseFloat(string(text), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return fmt.Errorf("got %q, expected a number", text)
	}
	*n = number(v)
	return nil
}

// solved is a question and what was found.
type solved struct {
	setup  *setup.Setup
	faults []setup.Fault
	state  circuit.State
	meter  []circuit.Reading
}

// ask reads the set-up and solves it.
func (q *question) ask(in io.Reader) (found solved, err error) {
	s, err := readSetup(q.Setup, in)
	if err != nil {
		return found, err
	}
	c := circuit.Conditions{
		Mains: q.Mains == "on", Charger: q.Charger == "on", ChairCharger: q.ChairCharger == "on", Driving: q.Driving == "on",
		Tilted: q.Tilted == "on", Tripped: q.CutOut == "on", Load: (*setup.Watts)(q.Load), Peak: (*setup.Watts)(q.Peak),
		Chair: (*float64)(q.ChairCharge), Inside: (*float64)(q.InternalCharge), Celsius: float64(q.Temperature),
	}
	for _, text := range q.Fault {
		f, err := s.ParseFault(text)
		if err != nil {
			return found, inFlag(err)
		}
		c.Faults = append(c.Faults, f)
	}
	st, err := circuit.Solve(s, c)
	if err != nil {
		return found, inFlag(err)
	}
	meter, err := circuit.Readings(s, c)
	return solved{s, c.Faults, st, meter}, inFlag(err)
}

// inFlag names the flag: causes begin with the field, and flags have the
// fields' names.
func inFlag(err error) error {
	var p *problem.Problem
	if !errors.As(err, &p) || p.Cause == nil {
		return err
	}
	return problem.Wrap(fmt.Errorf("--%w", p.Cause), p.Code, p.Key)
}

func readSetup(file string, in io.Reader) (*setup.Setup, error) {
	data, name, err := readFile("--setup", "a set-up file that can be read", file, in)
	if err != nil {
		return nil, err
	}
	return setup.Read(name, data)
}

func unreadable(flag, wanted, file string, err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		err = p.Err
	}
	return problem.Wrap(fmt.Errorf("%s: got %q, expected %s: %w", flag, file, wanted, err), problem.Invalid, "problem.setup")
}

type solveCmd struct {
	question
	JSON bool `name:"json" help:"Answer in JSON."`
}

func (c *solveCmd) Run(in io.Reader, out io.Writer) error {
	found, err := c.ask(in)
	if err != nil {
		return err
	}
	b, err := locales.Load()
	if err != nil {
		return err
	}
	a := newAnswer(found.setup, &found.state, found.meter, b.Speak("en"))
	if a.Bears, err = bearables(found.setup, found.faults); err != nil {
		return inFlag(err)
	}
	if c.JSON {
		return a.writeJSON(out)
	}
	return a.writeTable(out, found.setup.Tag, b.Speak("en"))
}

type netlistCmd struct {
	question
}

func (c *netlistCmd) Run(in io.Reader, out io.Writer) error {
	found, err := c.ask(in)
	if err != nil {
		return err
	}
	_, err = io.WriteString(out, found.state.Netlist(found.setup.Tag))
	return err
}
