// Command lampwright is the command line: it serves the pages, and it answers
// about one set-up or about the content without them.
// Here live flags, output and exit codes; what is true of a set-up, a lesson
// or a scenario must not.
package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	_ "time/tzdata" // a plan's zone must be found on any machine

	"github.com/alecthomas/kong"

	"lampwright/locales"
	"lampwright/locales/problem"
)

type commands struct {
	Serve   serveCmd   `cmd:"" help:"Serve the pages."`
	Demo    demoCmd    `cmd:"" help:"Serve the pages of an invented programme, to look around in."`
	Solve   solveCmd   `cmd:"" help:"Say what a set-up does: its source, volts, panel and alarm."`
	Outing  outingCmd  `cmd:"" help:"See a plan of an outing ahead: minutes, by when to be on mains, what would help."`
	Netlist netlistCmd `cmd:"" help:"Write a solved set-up as a SPICE netlist."`
	Clock   clockCmd   `cmd:"" help:"Take this machine's time for true again, after its clock once stood in the future."`
	Content contentCmd `cmd:"" help:"Look after lessons, messages, set-ups and scenarios."`
	Wiring  wiringCmd  `cmd:"" help:"Check a set-up's fuse, wire and volts at their worst."`

	Diagnose diagnoseCmd `cmd:"" help:"Say what to look at or do next, from what was seen of a set-up, and what may be wrong."`
	Verify   verifyCmd   `cmd:"" help:"Check a proof of a sign-off, or everything that was signed."`
	Person   personCmd   `cmd:"" help:"Let the first administrator and the first educator in."`
	Site     siteCmd     `cmd:"" help:"Look after the sites of a data folder."`
	SetUp    setUpCmd    `cmd:"" name:"set-up" help:"Look after the set-ups in the records."`
	Log      logCmd      `cmd:"" help:"Look after the log of what was signed."`

	Simulate simulateCmd `cmd:"" help:"Say how well the search for the fault does on a set-up."`
}

// The exit codes.
const (
	exitOK      = 0
	exitFailure = 1
	exitInvalid = 2 // what was asked for cannot be right
)

func main() { os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) }

func run(args []string, in io.Reader, out, problems io.Writer) int {
	parser, err := kong.New(&commands{},
		kong.Name("lampwright"),
		kong.Description("A training and self-check kiosk for people who care for someone whose ventilator rides on a wheelchair."),
		kong.Writers(out, problems),
		kong.WithHyphenPrefixedParameters(true), // so that --temperature -5 is read
		kong.BindTo(in, (*io.Reader)(nil)),
		kong.BindTo(out, (*io.Writer)(nil)),
	)
	if err != nil {
		return fail(problems, err, exitFailure)
	}
	command, err := parser.Parse(args)
	if err != nil {
		return fail(problems, fmt.Errorf("%w (see lampwright --help)", err), exitInvalid)
	}
	switch err := command.Run(); {
	case err == nil:
		return exitOK
	case problem.Is(err, problem.Invalid):
		return fail(problems, err, exitInvalid)
	default:
		return fail(problems, err, exitFailure)
	}
}

func fail(problems io.Writer, err error, code int) int {
	for _, e := range each(err) {
		fmt.Fprintln(problems, "lampwright: "+plain(e))
	}
	return code
}

// plain is an error in words. Whoever types commands is told the cause, which
// names file and line, or flag; of what cannot be had now, what that means too.
func plain(err error) string {
	var p *problem.Problem
	if !errors.As(err, &p) {
		return err.Error()
	}
	b, broken := locales.Load()
	if broken != nil {
		return p.Key
	}
	said := b.Speak("en").Problem(p)
	switch {
	case p.Cause == nil:
		return said
	case p.Code != problem.Unavailable:
		return p.Cause.Error()
	}
	return said + " (" + plain(p.Cause) + ")"
}
