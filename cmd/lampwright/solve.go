package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
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
	Load           *number  `placeholder:"WATTS" help:"What breathing takes; the usual setting if left out."`
	Charger        string   `enum:"on,off" default:"off" help:"The internal battery is charging: on or off."`
	ChairCharge    *number  `placeholder:"0..1" help:"Charge of the chair battery; as in the file if left out."`
	InternalCharge *number  `placeholder:"0..1" help:"Charge of the internal battery; as in the file if left out."`
	Temperature    number   `default:"20" placeholder:"C" help:"Of the leads, in degrees Celsius."`
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

// ask reads the set-up and solves it.
func (q *question) ask(in io.Reader) (*setup.Setup, circuit.State, error) {
	s, err := readSetup(q.Setup, in)
	if err != nil {
		return nil, circuit.State{}, err
	}
	c := circuit.Conditions{
		Mains: q.Mains == "on", Charger: q.Charger == "on", Load: (*setup.Watts)(q.Load),
		Chair: (*float64)(q.ChairCharge), Inside: (*float64)(q.InternalCharge), Celsius: float64(q.Temperature),
	}
	for _, text := range q.Fault {
		f, err := s.ParseFault(text)
		if err != nil {
			return nil, circuit.State{}, inFlag(err)
		}
		c.Faults = append(c.Faults, f)
	}
	st, err := circuit.Solve(s, c)
	return s, st, inFlag(err)
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
	name := "standard input"
	if file != "-" {
		f, err := os.Open(file)
		if err != nil {
			return nil, unreadable(file, err)
		}
		defer f.Close()
		name, in = file, f
	}
	data, err := io.ReadAll(io.LimitReader(in, setup.MaxFile+1)) // one more, so that too large is seen
	if err != nil {
		return nil, unreadable(file, err)
	}
	return setup.Read(name, data)
}

func unreadable(file string, err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		err = p.Err
	}
	return problem.Wrap(fmt.Errorf("--setup: got %q, expected a set-up file that can be read: %w", file, err), problem.Invalid, "problem.setup")
}

type solveCmd struct {
	question
	JSON bool `name:"json" help:"Answer in JSON."`
}

func (c *solveCmd) Run(in io.Reader, out io.Writer) error {
	s, st, err := c.ask(in)
	if err != nil {
		return err
	}
	b, err := locales.Load()
	if err != nil {
		return err
	}
	a := newAnswer(s, &st, b.Speak("en"))
	if c.JSON {
		return a.writeJSON(out)
	}
	return a.writeTable(out, s.Tag, b.Speak("en"))
}

type netlistCmd struct {
	question
}

func (c *netlistCmd) Run(in io.Reader, out io.Writer) error {
	s, st, err := c.ask(in)
	if err != nil {
		return err
	}
	_, err = io.WriteString(out, st.Netlist(s.Tag))
	return err
}
