package main

import (
	"encoding/json"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

const root = "../.."

// A package that no rule names would be free to import anything.
func TestEveryPackageHasItsLayer(t *testing.T) {
	config, err := os.ReadFile(filepath.Join(root, ".ci", "golangci.yml"))
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]bool{}
	err = filepath.WalkDir(root, func(path string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		name := entry.Name()
		if entry.IsDir() && path != root && (strings.HasPrefix(name, ".") || name == "testdata" || name == "node_modules") {
			return filepath.SkipDir
		}
		if filepath.Ext(name) == ".go" {
			folder, err := filepath.Rel(root, filepath.Dir(path))
			found[filepath.ToSlash(folder)] = true
			return err
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if !found["cmd/check"] {
		t.Fatal("this package itself was not found")
	}
	for folder := range found {
		rule := fmt.Sprintf("\n        %s:\n          list-mode: strict\n          files: [\"**/%s/*.go\"]\n", folder, folder)
		if !strings.Contains(string(config), rule) {
			t.Errorf("package %s has no layer: .ci/golangci.yml wants%s", folder, rule)
		}
	}
}

// Plants imports in an empty tree and asks the linter, with our configuration, which of them it refuses.
func TestLayersRefuseWhatGoesUp(t *testing.T) {
	linter := os.Getenv("LAMPWRIGHT_GOLANGCI")
	if linter == "" {
		t.Skip("no golangci-lint: go run ./cmd/check builds it and runs this")
	}
	config, err := filepath.Abs(filepath.Join(root, ".ci", "golangci.yml"))
	if err != nil {
		t.Fatal(err)
	}
	const (
		fiber   = "github.com/gofiber/fiber/v2"
		sqlite  = "github.com/mattn/go-sqlite3"
		goose   = "github.com/pressly/goose/v3"
		templ   = "github.com/a-h/templ"
		rapid   = "pgregory.net/rapid"
		yaml    = "github.com/goccy/go-yaml"
		problem = "lampwright/locales/problem"
		setup   = "lampwright/lessons/setup"
		circuit = "lampwright/lessons/circuit"
		record  = "lampwright/server/record"
	)
	tests := map[string]struct {
		folder  string
		file    string
		allowed []string
		refused []string
	}{
		"the ground floor stands on nothing":      {"locales/problem", "a.go", []string{"errors"}, []string{"lampwright/locales", setup, yaml}},
		"messages stand on the error type":        {"locales", "a.go", []string{"embed", problem, "golang.org/x/text/language", "github.com/nicksnyder/go-i18n/v2/i18n"}, []string{setup, "lampwright/static", fiber}},
		"static files know no messages":           {"static", "a.go", []string{"embed", "github.com/andybalholm/brotli"}, []string{"lampwright/locales", fiber}},
		"the set-up knows YAML and no circuit":    {"lessons/setup", "a.go", []string{"math", problem, yaml}, []string{circuit, "lampwright/quiz", record, fiber}},
		"the domain takes plain values":           {"lessons/setup", "b.go", []string{"time", "strings"}, []string{"context", "net/http", "math/rand", "math/rand/v2", "crypto/rand", "database/sql"}},
		"a circuit knows its set-up":              {"lessons/circuit", "a.go", []string{setup, problem}, []string{"lampwright/lessons/figure", yaml, "net/http"}},
		"a figure draws an outing too":            {"lessons/figure", "a.go", []string{setup, circuit, "lampwright/lessons/outing"}, []string{"lampwright/lessons", templ}},
		"an outing reads plans":                   {"lessons/outing", "a.go", []string{setup, circuit, yaml}, []string{"lampwright/lessons/figure", "context"}},
		"a programme knows set-ups only":          {"lessons/programme", "a.go", []string{setup, problem, yaml}, []string{circuit, "lampwright/lessons", "lampwright/locales", record, "context"}},
		"lessons know no quiz":                    {"lessons", "a.go", []string{setup, "lampwright/lessons/figure", "github.com/yuin/goldmark"}, []string{"lampwright/quiz", "lampwright/server", "context"}},
		"diagnosis knows no bench":                {"quiz/diagnosis", "a.go", []string{setup, circuit, problem}, []string{"lampwright/quiz/bench", "lampwright/quiz", "math/rand"}},
		"the bench knows diagnosis":               {"quiz/bench", "a.go", []string{setup, circuit, "lampwright/quiz/diagnosis"}, []string{"lampwright/quiz/recall", record}},
		"competency is rules only":                {"quiz/competency", "a.go", []string{"time", problem, yaml}, []string{setup, "database/sql", "lampwright/quiz/recall"}},
		"statistics have no domain words":         {"quiz/psychometrics", "a.go", []string{"math"}, []string{setup, "lampwright/quiz/competency"}},
		"recall is a formula":                     {"quiz/recall", "a.go", []string{"math"}, []string{setup, "context"}},
		"the quiz knows no server":                {"quiz", "a.go", []string{"lampwright/quiz/bench", circuit, yaml}, []string{"lampwright/server/page", "net/http", "lampwright/locales"}},
		"the log knows no store":                  {"server/ledger", "a.go", []string{"golang.org/x/mod/sumdb/tlog"}, []string{record, "database/sql", fiber, "github.com/transparency-dev/merkle/proof"}},
		"the log's tests ask another library too": {"server/ledger", "a_test.go", []string{"github.com/transparency-dev/merkle/proof", rapid}, []string{record}},
		"what leaves the house is not looked up":  {"server/credential", "a.go", []string{"lampwright/server/ledger", "github.com/go-jose/go-jose/v4", "github.com/arran4/golang-ical"}, []string{record, "database/sql", fiber, "github.com/golang-jwt/jwt/v5"}},
		"another library reads what left":         {"server/credential", "a_test.go", []string{"github.com/golang-jwt/jwt/v5"}, []string{record}},
		"records know SQL and no page":            {"server/record", "a.go", []string{"database/sql", sqlite, goose, "context", "lampwright/quiz/competency"}, []string{fiber, templ, "lampwright/server", "lampwright/server/page"}},
		"pages know templates and no records":     {"server/page", "a.go", []string{templ, "context", setup, "lampwright/locales"}, []string{fiber, record, "database/sql", "lampwright/server"}},
		"a generated page is no exception":        {"server/page", "made_templ.go", []string{templ}, []string{fiber}},
		"the server knows Fiber and no SQL":       {"server", "a.go", []string{fiber, "github.com/valyala/fasthttp", record, "lampwright/server/page", "net/http"}, []string{"database/sql", sqlite, goose, "lampwright/cmd/lampwright"}},
		"the command knows the server only":       {"cmd/lampwright", "a.go", []string{"github.com/alecthomas/kong", "lampwright/server"}, []string{fiber, "database/sql", sqlite}},
		"check knows nothing of the product":      {"cmd/check", "a.go", []string{"os/exec"}, []string{setup, "lampwright/server"}},
		"tests may use test libraries":            {"lessons/setup", "a_test.go", []string{"testing", "context", "math/rand", setup, rapid, "github.com/chromedp/chromedp", "github.com/rogpeppe/go-internal/testscript"}, []string{"database/sql", circuit, "lampwright/server"}},
		"what is no test has no test libraries":   {"lessons/setup", "c.go", nil, []string{"testing", rapid, "github.com/chromedp/chromedp", "github.com/rogpeppe/go-internal/testscript"}},
		"tests of the server keep away from SQL":  {"server", "a_test.go", []string{"net/http", "github.com/golang-jwt/jwt/v5", "lampwright/server", "github.com/chromedp/cdproto/page"}, []string{"database/sql", sqlite}},
		"tests of the records may look at tables": {"server/record", "a_test.go", []string{"database/sql", sqlite, rapid}, []string{fiber}},
	}

	tree := t.TempDir()
	write(t, filepath.Join(tree, "go.mod"), "module planted\n\ngo 1.26.0\n") // so that no import is found, and none makes a cycle
	for _, test := range tests {
		var text strings.Builder
		if strings.HasSuffix(test.file, "_templ.go") {
			text.WriteString("// Code generated by templ - DO NOT EDIT.\n\n")
		}
		fmt.Fprintf(&text, "package %s\n\n", filepath.Base(test.folder))
		for _, path := range append(test.allowed, test.refused...) {
			fmt.Fprintf(&text, "import _ %q\n", path)
		}
		write(t, filepath.Join(tree, test.folder, test.file), text.String())
	}
	refused := ask(t, linter, config, tree)
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			for _, path := range test.allowed {
				if refused[filepath.Join(test.folder, test.file)+" "+path] {
					t.Errorf("%s may not import %s", test.folder, path)
				}
			}
			for _, path := range test.refused {
				if !refused[filepath.Join(test.folder, test.file)+" "+path] {
					t.Errorf("%s may import %s", test.folder, path)
				}
			}
		})
	}
}

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// ask returns what the linter refuses in a tree, each as "file import".
func ask(t *testing.T, linter, config, tree string) map[string]bool {
	t.Helper()
	cmd := exec.Command(linter, "run", "-c", config, "--path-mode=abs", "--output.json.path=stdout", "--show-stats=false", "./...")
	cmd.Dir = tree
	var trouble strings.Builder
	cmd.Stderr = &trouble
	out, _ := cmd.Output() // it exits with 1 whenever it refuses something
	var report struct {
		Issues []struct {
			Text string
			Pos  struct{ Filename string }
		}
	}
	if err := json.Unmarshal(out, &report); err != nil {
		t.Fatalf("%v\n%s\n%s", err, out, &trouble)
	}
	refused := map[string]bool{}
	for _, issue := range report.Issues {
		file, err := filepath.Rel(tree, issue.Pos.Filename)
		words := strings.SplitN(issue.Text, "'", 3) // import 'path' is not allowed from list …
		if err != nil || len(words) != 3 {
			t.Fatalf("cannot read %+v", issue)
		}
		refused[file+" "+words[1]] = true
	}
	return refused
}
