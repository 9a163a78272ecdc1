package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

// steps are in the order in which they run: what is cheap and what others need come first.
var steps = []step{
	{"tools", "install what is missing: browser, ngspice, fonts, npm tools", installTools},
	{"modules", "go mod verify, go mod tidy -diff", command(
		[]string{"go", "mod", "verify"},
		[]string{"go", "mod", "tidy", "-diff"})},
	{"gofumpt", "formatting", formatting},
	{"vet", "go vet", command([]string{"go", "vet", "./..."})},
	{"staticcheck", "staticcheck", command([]string{"go", "tool", "staticcheck", "./..."})},
	{"layers", "imports go down only (golangci-lint, depguard)", layers},
	{"templ", "generated pages are fresh", pagesFresh},
	{"vulns", "known vulnerabilities that the code can reach", vulnerabilities},
	{"cgo", "SQLite can be built", cgo},
	{"pure", "tests of the packages without a server", pureTests},
	{"engine", "the search for the fault on every random set-up", engineTests},
	{"rest", "all other tests", otherTests},
	{"content", "lessons, set-ups and translations are whole", content},
}

// tracked returns the tracked files that match a pattern and are still there.
func (c *check) tracked(pattern string) ([]string, error) {
	out, err := c.exec(nil, "git", "ls-files", "-z", pattern)
	if err != nil {
		return nil, fmt.Errorf("%w\n%s", err, out)
	}
	var files []string
	for name := range strings.SplitSeq(out, "\x00") {
		if name != "" && exists(filepath.Join(c.root, name)) {
			files = append(files, name)
		}
	}
	return files, nil
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

func formatting(c *check) result {
	files, err := c.tracked("*.go")
	if err != nil {
		return failed(err.Error())
	}
	args := []string{"go", "tool", "gofumpt", "-l"}
	for _, name := range files {
		if !strings.HasSuffix(name, "_templ.go") {
			args = append(args, name)
		}
	}
	if len(args) == 4 {
		return skipped("no Go file is tracked yet")
	}
	out, err := c.exec(nil, args...)
	if err != nil {
		return failed(out + err.Error())
	}
	if out = strings.TrimSpace(out); out != "" {
		return failed("not formatted:\n" + out + "\nmend with: go tool gofumpt -w " + strings.ReplaceAll(out, "\n", " "))
	}
	return passed("")
}

// golangci builds golangci-lint, which has a module file of its own, and returns where it is.
func (c *check) golangci() (string, error) {
	cmd := exec.Command("go", "tool", "-n", "-modfile=.ci/golangci/go.mod", "golangci-lint")
	cmd.Dir = c.root
	var trouble strings.Builder
	cmd.Stderr = &trouble
	out, err := cmd.Output()
	if err != nil {
		return "", fmt.Errorf("building golangci-lint: %w\n%s", err, trouble.String())
	}
	return strings.TrimSpace(string(out)), nil
}

func layers(c *check) result {
	linter, err := c.golangci()
	if err != nil {
		return failed(err.Error())
	}
	out, err := c.exec(nil, linter, "run", "-c", ".ci/golangci.yml", "./...")
	if err != nil {
		return failed(out + err.Error())
	}
	return passed("")
}

// pagesFresh fails when a generated page differs from its template, or has lost it. It writes nothing.
func pagesFresh(c *check) result {
	out, err := c.exec(nil, "go", "tool", "templ", "generate", "-check", "-keep-orphaned-files")
	if err != nil {
		return failed(out + err.Error() + "\nmend with: go tool templ generate")
	}
	generated, err := c.tracked("*_templ.go")
	if err != nil {
		return failed(err.Error())
	}
	for _, name := range generated {
		if !exists(filepath.Join(c.root, strings.TrimSuffix(name, "_templ.go")+".templ")) {
			return failed(name + " has no template any more: remove it")
		}
	}
	return passed("")
}

// vulnerabilities asks govulncheck, with the database that lies beside the repository if there is one, else online.
func vulnerabilities(c *check) result {
	args := []string{"go", "tool", "govulncheck"}
	archive := filepath.Join(c.root, "..", "shared", "vulndb.tgz")
	if exists(archive) {
		database, err := os.MkdirTemp("", "vulndb")
		if err != nil {
			return failed(err.Error())
		}
		defer os.RemoveAll(database)
		if out, err := c.exec(nil, "tar", "-xzf", archive, "--strip-components=1", "-C", database); err != nil {
			return failed(out + err.Error())
		}
		args = append(args, "-db", "file://"+filepath.ToSlash(database))
	}
	out, err := c.exec(nil, append(args, "./...")...)
	return vulnerabilityVerdict(out, err, c.ci)
}

// vulnerabilityVerdict: govulncheck fails for a vulnerability that the code can reach, not for one it never calls.
// Outside CI a database that could not be fetched is no failure.
func vulnerabilityVerdict(out string, err error, ci bool) result {
	switch {
	case err == nil:
		return passed("")
	case !ci && strings.Contains(out, "fetching vulnerabilities:"):
		return skipped("the vulnerability database could not be reached")
	}
	return failed(out + err.Error())
}

func cgo(c *check) result {
	out, err := c.exec(nil, "go", "env", "CGO_ENABLED")
	if err != nil {
		return failed(out + err.Error())
	}
	if strings.TrimSpace(out) != "1" {
		return failed("CGO_ENABLED is " + strings.TrimSpace(out) + ": SQLite would be built as a stub that fails when it is opened.\n" +
			"Set CGO_ENABLED=1. " + compilerAdvice)
	}
	return passed("")
}

func pureTests(c *check) result {
	r := c.goTest(nil, "./lessons/...", "./quiz/...", "./locales/...")
	r.note += " (budget 60 s from cold)"
	return r
}

// engineTests are those of the pure tests that take long on all set-ups.
func engineTests(c *check) result {
	return c.goTest([]string{"LAMPWRIGHT_EVERY=1"}, "-run=^(TestEveryPathEnds|TestCostIsNearTheOptimum)$", "./quiz/diagnosis")
}

func otherTests(c *check) result {
	linter, err := c.golangci() // for the test of the layers
	if err != nil {
		return failed(err.Error())
	}
	return c.goTest([]string{"LAMPWRIGHT_GOLANGCI=" + linter}, "./cmd/...", "./server/...", "./static/...")
}

func content(c *check) result {
	out, err := c.exec(c.testEnv(), "go", "run", "./cmd/lampwright", "content", "check")
	if err != nil {
		return failed(out + err.Error())
	}
	return passed("")
}
