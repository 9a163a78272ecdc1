package locales

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"
	"github.com/nicksnyder/go-i18n/v2/i18n"
)

var (
	fileForm = regexp.MustCompile(`^([a-z]+)\.([a-z]{2})\.yaml$`)
	keyForm  = regexp.MustCompile(`^[a-z][a-z0-9]*(-[a-z0-9]+)*(\.[a-z0-9]+(-[a-z0-9]+)*)+$`)
	nameForm = regexp.MustCompile(`\{\{\.([A-Z][A-Za-z0-9]*)\}\}`)
	markup   = regexp.MustCompile(`<[A-Za-z/!]|&[a-z]+;`)
)

// reserved ids make the library read a file as one message instead of many.
var reserved = []string{
	"id", "description", "hash", "leftdelim", "rightdelim",
	"zero", "one", "two", "few", "many", "other",
}

// message is one entry of a file: its text by plural form, only "other" where
// it has no plural.
type message struct {
	key    string
	file   string
	line   int
	plural bool
	texts  map[string]string
}

// plain reports whether it says the same whatever it is given.
func (m message) plain() bool { return !m.plural && len(m.names()) == 0 }

// names are the values it wants, each once, in order of the alphabet.
func (m message) names() []string {
	var names []string
	for _, text := range m.texts {
		for _, found := range nameForm.FindAllStringSubmatch(text, -1) {
			names = append(names, found[1])
		}
	}
	slices.Sort(names)
	return slices.Compact(names)
}

func (m message) template() *i18n.Message {
	return &i18n.Message{
		ID: m.key, Zero: m.texts["zero"], One: m.texts["one"], Two: m.texts["two"],
		Few: m.texts["few"], Many: m.texts["many"], Other: m.texts["other"],
	}
}

// readMessages reads one file, strictly; name is <area>.<language>.yaml. Every
// error names file, line, what stands there and what was expected.
func readMessages(name string, data []byte) (Language, []message, error) {
	r := reader{name: name}
	parts := fileForm.FindStringSubmatch(name)
	if parts == nil {
		return Language{}, nil, r.wrong(1, strconv.Quote(name), "a file named area.language.yaml")
	}
	l, ok := known(parts[2])
	if !ok {
		return Language{}, nil, r.wrong(1, strconv.Quote(parts[2]), "a language among "+tags())
	}
	r.forms = forms[l.Tag]
	file, err := parser.ParseBytes(data, 0)
	if err != nil {
		return Language{}, nil, r.fromYAML(err)
	}
	if len(file.Docs) != 1 {
		return Language{}, nil, r.wrong(1, fmt.Sprintf("%d documents", len(file.Docs)), "one map of messages")
	}
	messages, err := r.messages(file.Docs[0].Body)
	return l, messages, err
}

func tags() string {
	var all []string
	for _, l := range Languages {
		all = append(all, l.Tag)
	}
	return strings.Join(all, ", ")
}

type reader struct {
	name  string
	forms []string
}

func (r reader) wrong(line int, got, wanted string) error {
	return fmt.Errorf("%s:%d: got %s, expected %s", r.name, line, got, wanted)
}

func (r reader) fromYAML(err error) error {
	line, got := 1, strings.SplitN(err.Error(), "\n", 2)[0]
	var y yaml.Error
	if errors.As(err, &y) {
		got = y.GetMessage()
		if t := y.GetToken(); t != nil && t.Position != nil {
			line = t.Position.Line
		}
	}
	return r.wrong(line, got, "YAML: a map of messages")
}

func (r reader) messages(body ast.Node) ([]message, error) {
	entries, ok := body.(ast.MapNode)
	if !ok {
		return nil, r.wrong(1, "no map", "a map of messages")
	}
	var messages []message
	for at := entries.MapRange(); at.Next(); {
		m := message{key: at.Key().GetToken().Value, file: r.name, line: lineOf(at.Key())}
		if slices.Contains(reserved, m.key) {
			return nil, r.wrong(m.line, strconv.Quote(m.key), "a key that is not reserved")
		}
		if !keyForm.MatchString(m.key) {
			return nil, r.wrong(m.line, strconv.Quote(m.key), "a key such as figure.look.half-home")
		}
		if err := r.texts(&m, at.Value()); err != nil {
			return nil, err
		}
		messages = append(messages, m)
	}
	return messages, nil
}

func (r reader) texts(m *message, value ast.Node) error {
	m.texts = map[string]string{}
	entries, plural := value.(ast.MapNode)
	if !plural {
		text, err := r.text(value, m.line)
		m.texts["other"] = text
		return err
	}
	m.plural = true
	for at := entries.MapRange(); at.Next(); {
		form, line := at.Key().GetToken().Value, lineOf(at.Key())
		if !slices.Contains(r.forms, form) {
			return r.wrong(line, strconv.Quote(form), "a plural form among "+strings.Join(r.forms, ", "))
		}
		text, err := r.text(at.Value(), line)
		if err != nil {
			return err
		}
		m.texts[form] = text
	}
	for _, form := range r.forms {
		if m.texts[form] == "" {
			return r.wrong(m.line, "no "+strconv.Quote(form), "all plural forms: "+strings.Join(r.forms, ", "))
		}
	}
	return nil
}

func (r reader) text(value ast.Node, line int) (string, error) {
	var text string
	switch v := value.(type) {
	case *ast.StringNode:
		text = v.Value
	case *ast.LiteralNode:
		text = v.Value.Value
	default:
		return "", r.wrong(line, value.Type().String(), "text in quotes")
	}
	text = strings.TrimSpace(text)
	switch rest := nameForm.ReplaceAllString(text, ""); {
	case text == "":
		return "", r.wrong(line, "nothing", "text")
	case strings.ContainsAny(rest, "{}"):
		return "", r.wrong(line, strconv.Quote(text), "values written as {{.Name}} and no other braces")
	case markup.MatchString(text):
		return "", r.wrong(line, strconv.Quote(text), "text without markup")
	}
	return text, nil
}

func lineOf(n ast.Node) int {
	if t := n.GetToken(); t != nil && t.Position != nil {
		return t.Position.Line
	}
	return 1
}
