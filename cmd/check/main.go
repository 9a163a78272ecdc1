// Command check does everything CI does: go run ./cmd/check.
// Here live its steps, the installing of the tools they need, and the counting of what passed.
// What must not live here: a test of the product itself, or anything the product imports.
package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

func main() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) }

func run(args []string, out, problems io.Writer) int {
	flags := flag.NewFlagSet("check", flag.ContinueOnError)
	flags.SetOutput(problems)
	long := flags.Bool("long", false, "run the long tests too (LAMPWRIGHT_LONG=1)")
	only := flags.String("only", "", "run only these steps: `name,name`")
	list := flags.Bool("list", false, "list the steps, and stop")
	if err := flags.Parse(args); err != nil {
		return 2
	}
	if *list {
		for _, s := range steps {
			fmt.Fprintf(out, "%-12s %s\n", s.name, s.about)
		}
		return 0
	}
	chosen, err := choose(*only)
	if err != nil {
		fmt.Fprintln(problems, err)
		return 2
	}
	root, err := repository()
	if err != nil {
		fmt.Fprintln(problems, err)
		return 2
	}
	c := &check{root: root, ci: os.Getenv("CI") == "true", long: *long}
	total := c.runSteps(chosen, out)
	fmt.Fprintln(out, total)
	if total.failed > 0 {
		return 1
	}
	return 0
}

// choose returns the steps named in a comma-separated list, in their own order; all of them for an empty list.
func choose(only string) ([]step, error) {
	if only == "" {
		return steps, nil
	}
	names := strings.Split(only, ",")
	var chosen []step
	for _, s := range steps {
		if i := slices.Index(names, s.name); i >= 0 {
			chosen = append(chosen, s)
			names = slices.Delete(names, i, i+1)
		}
	}
	if len(names) > 0 {
		return nil, fmt.Errorf("no step is called %q; see -list", strings.Join(names, ","))
	}
	return chosen, nil
}

// repository returns the folder that holds go.mod.
func repository() (string, error) {
	out, err := exec.Command("go", "env", "GOMOD").Output()
	mod := strings.TrimSpace(string(out))
	if err != nil || filepath.Base(mod) != "go.mod" {
		return "", errors.New("run this inside the repository, with Go installed")
	}
	return filepath.Dir(mod), nil
}

// A check is one run of the steps.
type check struct {
	root string
	ci   bool
	long bool
	say  func(string) // tells of something slow while a step runs
}

// A step is one line of the report.
type step struct {
	name  string
	about string
	do    func(*check) result
}

// A result is how a step went: its counts, a few words beside its duration, and what to show if it failed.
type result struct {
	counts
	note   string
	output string
}

type counts struct{ passed, failed, skipped int }

func (n counts) String() string {
	return fmt.Sprintf("%d passed, %d failed, %d skipped", n.passed, n.failed, n.skipped)
}

func passed(note string) result   { return result{counts: counts{passed: 1}, note: note} }
func skipped(note string) result  { return result{counts: counts{skipped: 1}, note: note} }
func failed(output string) result { return result{counts: counts{failed: 1}, output: output} }

// word sums a result up.
func (r result) word() string {
	switch {
	case r.failed > 0:
		return "FAIL"
	case r.passed == 0 && r.skipped > 0:
		return "skip"
	}
	return "ok"
}

// runSteps runs each step whatever became of the one before, prints a line for each, and adds up their counts.
func (c *check) runSteps(chosen []step, out io.Writer) counts {
	var total counts
	began := time.Now()
	for _, s := range chosen {
		fmt.Fprintf(out, "%-12s ", s.name)
		c.say = func(text string) { fmt.Fprintf(out, "%s\n%-12s ", text, s.name) }
		start := time.Now()
		r := s.do(c)
		fmt.Fprintln(out, strings.TrimSpace(fmt.Sprintf("%-4s %6.1f s  %s", r.word(), time.Since(start).Seconds(), r.note)))
		if r.failed > 0 {
			fmt.Fprintln(out, indent(r.output))
		}
		total.passed += r.passed
		total.failed += r.failed
		total.skipped += r.skipped
	}
	fmt.Fprintf(out, "%-17s %6.1f s\n", "all", time.Since(began).Seconds())
	return total
}

func indent(text string) string {
	return "    " + strings.ReplaceAll(strings.TrimSpace(text), "\n", "\n    ")
}

// exec runs a command at the top of the repository and returns all it printed.
func (c *check) exec(env []string, args ...string) (string, error) {
	cmd := exec.Command(args[0], args[1:]...)
	cmd.Dir = c.root
	cmd.Env = append(os.Environ(), env...)
	out, err := cmd.CombinedOutput()
	if err != nil {
		err = fmt.Errorf("%s: %w", strings.Join(args[:min(len(args), 4)], " "), err)
	}
	return string(out), err
}

// command is a step that runs commands, all of which must succeed.
func command(commands ...[]string) func(*check) result {
	return func(c *check) result {
		var trouble []string
		for _, args := range commands {
			if out, err := c.exec(nil, args...); err != nil {
				trouble = append(trouble, out, err.Error())
			}
		}
		if len(trouble) > 0 {
			return failed(strings.Join(trouble, "\n"))
		}
		return passed("")
	}
}
