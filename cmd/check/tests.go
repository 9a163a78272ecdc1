package main

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
)

// testEnv tells tests where their tools are, and that doing without is a failure.
func (c *check) testEnv() []string {
	env := []string{
		"CGO_ENABLED=1",
		"LAMPWRIGHT_REQUIRE=browser,ngspice",
		"LAMPWRIGHT_CHROMIUM=" + find("chromium", "chromium-browser"),
		"LAMPWRIGHT_NGSPICE=" + find("ngspice"),
		"LAMPWRIGHT_AXE=" + filepath.Join(c.root, ".tools", "npm", "node_modules", "axe-core", "axe.min.js"),
		"LAMPWRIGHT_ACE=" + filepath.Join(c.root, ".tools", "npm", "node_modules", "accessibility-checker-engine", "ace.js"),
	}
	if c.long {
		env = append(env, "LAMPWRIGHT_LONG=1")
	}
	return env
}

// goTest runs tests and counts each of them, and each subtest. (vet has a step of its own.)
func (c *check) goTest(env []string, what ...string) result {
	args := []string{"test", "-json", "-vet=off", "-timeout=15m"}
	if c.long {
		args = append(args, "-timeout=1h")
	}
	cmd := exec.Command("go", append(args, what...)...)
	cmd.Dir = c.root
	cmd.Env = append(append(os.Environ(), c.testEnv()...), env...)
	var trouble bytes.Buffer
	cmd.Stderr = &trouble
	out, err := cmd.Output()
	r := readTests(out)
	if err != nil && r.failed == 0 {
		r.failed++
		r.output += trouble.String() + err.Error()
	}
	r.note = r.counts.String()
	return r
}

// A testEvent is one line of go test -json.
type testEvent struct {
	Action      string
	Package     string
	Test        string
	Output      string
	ImportPath  string
	FailedBuild string
}

// needsTool matches the reason of a skip that check does not accept: it has installed these.
var needsTool = regexp.MustCompile(`(?i)chromium|browser|\baxe\b|\bace\b|ngspice|golangci`)

// readTests counts what go test -json printed and keeps the output of what failed.
// A package that fails without a failing test (it did not build, it called os.Exit) counts as one failure.
func readTests(stream []byte) result {
	type name struct{ pkg, test string }
	var (
		r       result
		shown   strings.Builder
		printed = map[string][]testEvent{}      // by package
		builds  = map[string]*strings.Builder{} // by import path
		quiet   = map[name]bool{}               // tests that passed or were skipped
		blamed  = map[string]bool{}             // packages with a failed test
	)
	for line := range bytes.Lines(stream) {
		var e testEvent
		if json.Unmarshal(line, &e) != nil {
			shown.Write(line) // go's own words, outside any package
			continue
		}
		switch {
		case e.Action == "build-output":
			if builds[e.ImportPath] == nil {
				builds[e.ImportPath] = &strings.Builder{}
			}
			builds[e.ImportPath].WriteString(e.Output)
		case e.Action == "output":
			printed[e.Package] = append(printed[e.Package], e)
		case e.Action == "pass" && e.Test != "":
			r.passed++
			quiet[name{e.Package, e.Test}] = true
		case e.Action == "skip" && e.Test != "":
			quiet[name{e.Package, e.Test}] = true
			if why := reason(printed[e.Package], e.Test); needsTool.MatchString(why) && !strings.Contains(why, "LAMPWRIGHT_LONG") {
				r.failed++
				shown.WriteString(e.Package + " " + e.Test + " was skipped, and must not be:\n" + why)
				continue
			}
			r.skipped++
		case e.Action == "fail" && e.Test != "":
			r.failed++
			blamed[e.Package] = true
		case e.Action == "fail":
			if !blamed[e.Package] {
				r.failed++
			}
			if build := builds[e.FailedBuild]; build != nil {
				shown.WriteString(build.String())
			}
			for _, p := range printed[e.Package] {
				if !quiet[name{p.Package, p.Test}] && !strings.HasPrefix(p.Output, "=== ") {
					shown.WriteString(p.Output)
				}
			}
		}
	}
	r.output = shown.String()
	return r
}

// reason returns what a test printed itself, without go's headings.
func reason(printed []testEvent, test string) string {
	var why strings.Builder
	for _, p := range printed {
		if p.Test == test && !strings.HasPrefix(p.Output, "=== ") && !strings.HasPrefix(strings.TrimSpace(p.Output), "--- ") {
			why.WriteString(p.Output)
		}
	}
	return why.String()
}
