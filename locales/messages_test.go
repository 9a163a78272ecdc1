package locales

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// allMessages reads every file as Load does.
func allMessages(t *testing.T) map[string]map[string]message {
	t.Helper()
	spoken, err := readAll()
	if err != nil {
		t.Fatal(err)
	}
	return spoken
}

func TestSameMessagesInEveryLanguage(t *testing.T) {
	spoken := allMessages(t)
	english := spoken[Languages[0].Tag]
	for _, l := range Languages[1:] {
		for key, m := range english {
			other, ok := spoken[l.Tag][key]
			switch {
			case !ok:
				t.Errorf("%s:%d: %s is not said in %s", m.file, m.line, key, l.Tag)
			case !slices.Equal(m.names(), other.names()):
				t.Errorf("%s:%d: %s wants %v, in English %v", other.file, other.line, key, other.names(), m.names())
			case m.plural != other.plural:
				t.Errorf("%s:%d: %s has a plural in one language and not in English or the other way round", other.file, other.line, key)
			case m.plural && !slices.Contains(m.names(), "Count"):
				t.Errorf("%s:%d: %s has a plural and never says Count", m.file, m.line, key)
			case area(m.file) != area(other.file):
				t.Errorf("%s:%d: %s is in %s in English", other.file, other.line, key, m.file)
			}
		}
		for key, m := range spoken[l.Tag] {
			if _, ok := english[key]; !ok {
				t.Errorf("%s:%d: %s is not said in English", m.file, m.line, key)
			}
		}
	}
}

func area(file string) string {
	first, _, _ := strings.Cut(file, ".")
	return first
}

func TestEveryMessageIsSaidWhole(t *testing.T) {
	b := load(t)
	for tag, messages := range allMessages(t) {
		s := b.Speak(tag)
		for key, m := range messages {
			var pairs []any
			for _, name := range m.names() {
				if name != "Count" {
					pairs = append(pairs, name, "["+name+"]")
				}
			}
			for _, count := range []any{0, 1, 2, 3, 11, 100, "1.5"} {
				text := s.T(key, append(pairs, "Count", count)...)
				if text == "" || text == key || strings.ContainsAny(text, "{}") || strings.Contains(text, "<no value>") || strings.Contains(text, "<nil>") {
					t.Errorf("%s:%d: %s is said as %q", m.file, m.line, key, text)
				}
			}
		}
	}
}

// A message's place in the source and what is written there.
type mention struct {
	at  string
	key string
}

var prefixForm = regexp.MustCompile(`^[a-z][a-z0-9]*(-[a-z0-9]+)*(\.[a-z0-9]+(-[a-z0-9]+)*)*\.$`)

// quoted finds literals where no parser of ours reads: in templ files.
var quoted = regexp.MustCompile("[\"`]([a-z0-9.-]+)[\"`]")

// TestKeysAreThoseOfTheSource: a key that the source mentions exists, and one
// that exists is mentioned, whole or by a prefix such as "figure.look.".
func TestKeysAreThoseOfTheSource(t *testing.T) {
	english := allMessages(t)[Languages[0].Tag]
	areas := map[string]bool{}
	for key, m := range english {
		areas[area(key)], areas[area(m.file)] = true, true
	}
	used, prefixes := map[string]bool{}, map[string]string{}
	for _, m := range mentions(t, "..") {
		switch {
		case !areas[area(m.key)]:
		case prefixForm.MatchString(m.key):
			prefixes[m.key] = m.at
		case keyForm.MatchString(m.key) && !isFileName(m.key):
			used[m.key] = true
			if _, ok := english[m.key]; !ok {
				t.Errorf("%s: missing: no message %s", m.at, m.key)
			}
		}
	}
	for prefix, at := range prefixes {
		if !anyKey(english, func(key string) bool { return strings.HasPrefix(key, prefix) }) {
			t.Errorf("%s: missing: no message begins with %s", at, prefix)
		}
	}
	for _, key := range slices.Sorted(maps.Keys(english)) {
		inFamily := func(prefix string) bool { return strings.HasPrefix(key, prefix) }
		if !used[key] && !slices.ContainsFunc(slices.Collect(maps.Keys(prefixes)), inFamily) {
			t.Errorf("%s:%d: unused: nothing mentions %s", english[key].file, english[key].line, key)
		}
	}
}

func anyKey(messages map[string]message, is func(string) bool) bool {
	return slices.ContainsFunc(slices.Collect(maps.Keys(messages)), is)
}

func isFileName(s string) bool {
	return slices.Contains([]string{".go", ".templ", ".yaml", ".svg", ".css", ".js", ".csv", ".json", ".html", ".sql", ".db", ".txt", ".png", ".pdf", ".ics", ".md"}, filepath.Ext(s))
}

// mentions are the string literals of the program's source, tests and
// generated files left out.
func mentions(t *testing.T, root string) []mention {
	t.Helper()
	var found []mention
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		name := d.Name()
		switch {
		case d.IsDir() && path != root && (strings.HasPrefix(name, ".") || name == "testdata" || name == "node_modules"):
			return filepath.SkipDir
		case d.IsDir() || strings.HasSuffix(name, "_test.go") || strings.HasSuffix(name, "_templ.go"):
			return nil
		case filepath.Ext(name) == ".go":
			in, err := inGo(path)
			found = append(found, in...)
			return err
		case filepath.Ext(name) == ".templ":
			in, err := inTempl(path)
			found = append(found, in...)
			return err
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return found
}

// inGo leaves out imports and the function names that problem.In is given.
func inGo(path string) ([]mention, error) {
	files := token.NewFileSet()
	file, err := parser.ParseFile(files, path, nil, parser.SkipObjectResolution)
	if err != nil {
		return nil, err
	}
	var found []mention
	ast.Inspect(file, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.ImportSpec:
			return false
		case *ast.CallExpr:
			called, ok := n.Fun.(*ast.SelectorExpr)
			return !ok || called.Sel.Name != "In"
		case *ast.BasicLit:
			if n.Kind == token.STRING {
				if text, err := strconv.Unquote(n.Value); err == nil {
					found = append(found, mention{files.Position(n.Pos()).String(), text})
				}
			}
		}
		return true
	})
	return found, nil
}

func inTempl(path string) ([]mention, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	var found []mention
	for i, line := range strings.Split(string(data), "\n") {
		for _, m := range quoted.FindAllStringSubmatch(line, -1) {
			found = append(found, mention{path + ":" + strconv.Itoa(i+1), m[1]})
		}
	}
	return found, nil
}

// TestMentionsAreFound guards the guard: were nothing found, all would pass.
func TestMentionsAreFound(t *testing.T) {
	dir := t.TempDir()
	for name, text := range map[string]string{
		"a.go":       "package a\nimport \"page.import\"\nfunc _() { T(\"page.go-key\", `page.raw`, \"page.look.\"+x); problem.In(&err, \"page.function\") }\n",
		"b.templ":    `<p class="page.attribute">{ s.T("page.templ-key", "Count", 3) } { s.T("page.family." + x) }</p>`,
		"a_test.go":  "package a\nvar _ = \"page.test\"\n",
		"b_templ.go": "package a\nvar _ = \"page.generated\"\n",
	} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	var got []string
	for _, m := range mentions(t, dir) {
		if strings.HasPrefix(m.key, "page.") {
			got = append(got, m.key)
		}
	}
	slices.Sort(got)
	want := []string{"page.attribute", "page.family.", "page.go-key", "page.look.", "page.raw", "page.templ-key"}
	if !slices.Equal(got, want) {
		t.Errorf("found %v\nwant  %v", got, want)
	}
}
