package locales

import (
	"strings"
	"testing"
)

func TestReadMessages(t *testing.T) {
	l, messages, err := readMessages("figure.en.yaml", []byte("# note\nfigure.a: \"One {{.Name}}\"\n\nfigure.b: {one: \"{{.Count}} lamp\", other: \"{{.Count}} lamps\"}\nfigure.c: |\n  Long\n  text\n"))
	if err != nil || l.Tag != "en" || len(messages) != 3 {
		t.Fatalf("%v, %d messages, %v", l, len(messages), err)
	}
	a, b, c := messages[0], messages[1], messages[2]
	if a.line != 2 || b.line != 4 || a.plural || !b.plural || a.plain() || !c.plain() {
		t.Errorf("%+v\n%+v", a, b)
	}
	if c.texts["other"] != "Long\ntext" {
		t.Errorf("%q", c.texts["other"])
	}
}

// A file that cannot be right, and what its error must say.
func TestReadMessagesRefuses(t *testing.T) {
	arabic := "a.b: {zero: ص, one: و, two: ث, few: ق, other: غ}"
	for name, c := range map[string]struct{ file, text, want string }{
		"name without language": {"page.yaml", "a.b: c", `page.yaml:1: got "page.yaml", expected a file named`},
		"language not spoken":   {"page.xx.yaml", "a.b: c", `page.xx.yaml:1: got "xx", expected a language among en, fr, ar`},
		"empty":                 {"page.en.yaml", "", "page.en.yaml:1: "},
		"a list":                {"page.en.yaml", "- a", "page.en.yaml:1: got no map"},
		"broken":                {"page.en.yaml", "a.b: c\nd.e: [", "page.en.yaml:2: "},
		"the same key twice":    {"page.en.yaml", "a.b: c\na.b: d", "page.en.yaml:2: "},
		"reserved":              {"page.en.yaml", "a.b: c\nother: d", `page.en.yaml:2: got "other", expected a key that is not reserved`},
		"reserved description":  {"page.en.yaml", "description: d", `page.en.yaml:1: got "description"`},
		"key with capitals":     {"page.en.yaml", "a.B: c", `page.en.yaml:1: got "a.B"`},
		"key without dot":       {"page.en.yaml", "alone: c", `page.en.yaml:1: got "alone"`},
		"number":                {"page.en.yaml", "a.b: 3", "page.en.yaml:1: got Integer, expected text in quotes"},
		"nothing said":          {"page.en.yaml", "a.b: \"  \"", "page.en.yaml:1: got nothing"},
		"null":                  {"page.en.yaml", "a.b:", "page.en.yaml:1: "},
		"plural form missing":   {"page.ar.yaml", arabic, `page.ar.yaml:1: got no "many"`},
		"form not of English":   {"page.en.yaml", "a.b:\n  one: a\n  few: b\n  other: c", `page.en.yaml:3: got "few"`},
		"action":                {"page.en.yaml", "a.b: \"{{if .X}}y{{end}}\"", "values written as {{.Name}}"},
		"spaced value":          {"page.en.yaml", "a.b: \"{{ .Name }}\"", "values written as {{.Name}}"},
		"half a value":          {"page.en.yaml", "a.b: \"{.Name}\"", "values written as {{.Name}}"},
		"markup":                {"page.en.yaml", "a.b: \"now <b>go</b>\"", "text without markup"},
		"entity":                {"page.en.yaml", "a.b: \"now&nbsp;go\"", "text without markup"},
		"two documents":         {"page.en.yaml", "a.b: c\n---\nd.e: f", "2 documents"},
	} {
		t.Run(name, func(t *testing.T) {
			_, _, err := readMessages(c.file, []byte(c.text))
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got  %v\nwant %s", err, c.want)
			}
		})
	}
}

func FuzzReadMessages(f *testing.F) {
	f.Add([]byte("a.b: \"c {{.D}}\"\ne.f: {one: g, other: h}\n"))
	f.Add([]byte("? [a]\n: b"))
	f.Add([]byte("a.b: &x c\nd.e: *x\n<<: *x"))
	f.Fuzz(func(t *testing.T, data []byte) {
		_, _, err := readMessages("page.en.yaml", data)
		if err != nil && !strings.HasPrefix(err.Error(), "page.en.yaml:") {
			t.Fatalf("an error without file and line: %v", err)
		}
	})
}
