package competency

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"

	"lampwright/locales/problem"
)

// Bounds of a file and of a competency in it.
const (
	MaxFile     = 32 << 10 // bytes
	mostItems   = 20       // of a checklist: more cannot be watched
	mostRating  = 10
	mostDays    = 366 // that a sign-off is valid
	mostRefresh = 90  // days until a critical objective is refreshed
	mostGrace   = 30  // days more
	mostDepth   = 8   // brackets in brackets: the library is slow on many
	mostErrors  = 50  // that are said at once
)

// written is a file of competencies as it is written. Counts are floats, so
// that 1.5 is seen and not cut off.
type written struct {
	Schema       float64 `yaml:"schema"`
	Competencies []struct {
		ID         string `yaml:"id"`
		Objectives struct {
			Critical []string `yaml:"critical"`
			Other    []string `yaml:"other"`
		} `yaml:"objectives"`
		Lessons       []string `yaml:"lessons"`
		Scenarios     []string `yaml:"scenarios"`
		Demonstration struct {
			Version float64 `yaml:"version"`
			Items   []struct {
				ID       string `yaml:"id"`
				Critical bool   `yaml:"critical"`
				Anchor   string `yaml:"anchor"`
			} `yaml:"items"`
			Rating struct {
				Lowest  float64 `yaml:"lowest"`
				Passing float64 `yaml:"passing"`
				Highest float64 `yaml:"highest"`
			} `yaml:"rating"`
		} `yaml:"demonstration"`
		ValidDays  float64 `yaml:"valid-days"`
		Refreshers struct {
			Critical float64 `yaml:"critical-days"`
			Other    float64 `yaml:"other-days"`
			Grace    float64 `yaml:"grace-days"`
		} `yaml:"refreshers"`
		Parts    []string  `yaml:"parts"`
		Material []Feature `yaml:"material"`
	} `yaml:"competencies"`
}

// Read reads competencies from YAML. name is the file's, for errors: what is
// wrong, joined, each a problem.Invalid whose text names file, line, what
// stands there and what was expected. Whether there are such lessons,
// scenarios and kinds of part is for those who know them.
func Read(name string, data []byte) ([]Competency, error) {
	r := &reader{name: name}
	var w written
	if r.decode(data, &w) {
		list := r.competencies(&w)
		if len(r.errs) == 0 {
			return list, nil
		}
	}
	return nil, errors.Join(r.errs...)
}

// reader is one file being read, with all that is wrong in it.
type reader struct {
	name string
	file *ast.File
	errs []error
}

func (r *reader) fail(line int, got, wanted string) {
	r.errs = append(r.errs, problem.Wrap(fmt.Errorf("%s:%d: got %s, expected %s", r.name, line, got, wanted),
		problem.Invalid, "problem.setup", "File", r.name, "Line", line, "Got", got, "Expected", wanted))
}

// failAt fails at a YAML path such as $.competencies[0].id; where the key is
// missing, its nearest parent gives the line.
func (r *reader) failAt(path, got, wanted string) {
	if len(r.errs) == mostErrors {
		return
	}
	line := 1
	for at := path; at != "$"; at = at[:strings.LastIndexAny(at, ".[")] {
		if p, err := yaml.PathString(at); err == nil {
			if n, err := p.FilterFile(r.file); err == nil && n != nil && n.GetToken() != nil {
				line = n.GetToken().Position.Line
				break
			}
		}
	}
	r.fail(line, strings.TrimPrefix(path, "$.")+" "+got, wanted)
}

// decode reads the file strictly.
func (r *reader) decode(data []byte, into *written) bool {
	if len(data) > MaxFile {
		r.fail(1, fmt.Sprintf("%d bytes", len(data)), fmt.Sprintf("at most %d", MaxFile))
		return false
	}
	if !r.bare(data) {
		return false
	}
	file, err := parser.ParseBytes(data, 0)
	if err == nil && (len(file.Docs) != 1 || file.Docs[0].Body == nil) {
		r.fail(1, fmt.Sprintf("%d documents", len(file.Docs)), "one document of competencies")
		return false
	}
	if err == nil {
		err = yaml.NewDecoder(bytes.NewReader(data), yaml.Strict()).Decode(into)
	}
	if err != nil {
		r.fromYAML(err)
		return false
	}
	r.file = file
	return true
}

// bare fails at a tag, anchor or alias, and where brackets stand too deep: no
// competency needs them, and the library panics on some.
func (r *reader) bare(data []byte) bool {
	depth := 0
	for _, t := range lexer.Tokenize(string(data)) {
		switch t.Type {
		case token.TagType, token.AnchorType, token.AliasType, token.MergeKeyType:
			r.fail(t.Position.Line, t.Type.String(), "plain values")
			return false
		case token.SequenceStartType, token.MappingStartType:
			if depth++; depth > mostDepth {
				r.fail(t.Position.Line, fmt.Sprintf("%d brackets in each other", depth), fmt.Sprintf("at most %d", mostDepth))
				return false
			}
		case token.SequenceEndType, token.MappingEndType:
			depth--
		default:
		}
	}
	return true
}

// fromYAML says the library's errors as we say ours.
func (r *reader) fromYAML(err error) {
	line, got, wanted := 1, strings.SplitN(err.Error(), "\n", 2)[0], "YAML of the competencies' schema"
	if errors.Is(err, io.EOF) {
		got = "nothing"
	}
	var y yaml.Error
	if errors.As(err, &y) {
		got = y.GetMessage()
		if t := y.GetToken(); t != nil && t.Position != nil {
			line = t.Position.Line
		}
	}
	var unknown *yaml.UnknownFieldError
	var mistyped *yaml.TypeError
	switch {
	case errors.As(err, &unknown):
		wanted = "only keys of the schema"
	case errors.As(err, &mistyped):
		got, wanted = strconv.Quote(mistyped.Token.Value), inWords(mistyped.DstType.Kind())
	}
	r.fail(line, got, wanted)
}

func inWords(k reflect.Kind) string {
	switch k {
	case reflect.Bool:
		return "true or false"
	case reflect.Float64:
		return "a plain number"
	case reflect.String:
		return "text"
	case reflect.Slice:
		return "a list"
	}
	return "a map of the schema's keys"
}

func (r *reader) competencies(w *written) (list []Competency) {
	if w.Schema != 1 {
		r.failAt("$.schema", plain(w.Schema), "1")
	}
	if len(w.Competencies) == 0 {
		r.failAt("$.competencies", "none", "at least one competency")
	}
	var ids []string
	for i := range w.Competencies {
		c, at := &w.Competencies[i], fmt.Sprintf("$.competencies[%d]", i)
		ids = append(ids, c.ID)
		r.id(at+".id", ids)
		d, days := &c.Demonstration, &c.Refreshers
		out := Competency{
			ID: c.ID, Lessons: c.Lessons, Scenarios: c.Scenarios, Parts: c.Parts, Matters: c.Material,
			Version:   strconv.Itoa(r.count(at+".demonstration.version", d.Version, 1, 9999)),
			ValidDays: r.count(at+".valid-days", c.ValidDays, 1, mostDays),
			Rating:    Rating{Lowest: r.count(at+".demonstration.rating.lowest", d.Rating.Lowest, 1, mostRating-1)},
			Refresh: Refresh{
				Critical: r.count(at+".refreshers.critical-days", days.Critical, 1, mostRefresh),
				Grace:    r.count(at+".refreshers.grace-days", days.Grace, 0, mostGrace),
			},
		}
		out.Rating.Passing = r.count(at+".demonstration.rating.passing", d.Rating.Passing, out.Rating.Lowest+1, mostRating)
		out.Rating.Highest = r.count(at+".demonstration.rating.highest", d.Rating.Highest, out.Rating.Passing, mostRating)
		out.Refresh.Other = r.count(at+".refreshers.other-days", days.Other, out.Refresh.Critical, mostDays)
		r.ids(at+".objectives.critical", c.Objectives.Critical, "objective")
		for _, id := range c.Objectives.Critical {
			out.Objectives = append(out.Objectives, Objective{id, true})
		}
		for j, id := range c.Objectives.Other {
			r.id(fmt.Sprintf("%s.objectives.other[%d]", at, j), append(slices.Clone(c.Objectives.Critical), c.Objectives.Other[:j+1]...))
			out.Objectives = append(out.Objectives, Objective{id, false})
		}
		r.ids(at+".lessons", c.Lessons, "lesson")
		r.ids(at+".scenarios", c.Scenarios, "scenario")
		r.ids(at+".parts", c.Parts, "kind of part")
		r.material(at+".material", c.Material)
		for _, it := range d.Items {
			out.Items = append(out.Items, Item(it))
		}
		r.items(at+".demonstration.items", out.Items)
		list = append(list, out)
	}
	return list
}

var idForm = regexp.MustCompile(`^[a-z][a-z0-9-]{0,39}$`)

// id checks the last of some ids, none of which stands twice.
func (r *reader) id(path string, ids []string) {
	last := len(ids) - 1
	if !idForm.MatchString(ids[last]) || slices.Contains(ids[:last], ids[last]) {
		r.failAt(path, strconv.Quote(ids[last]), "an id of small letters, digits and hyphens that stands once")
	}
}

func (r *reader) ids(path string, ids []string, what string) {
	if len(ids) == 0 {
		r.failAt(path, "none", "at least one "+what)
	}
	for i := range ids {
		r.id(fmt.Sprintf("%s[%d]", path, i), ids[:i+1])
	}
}

func (r *reader) material(path string, list []Feature) {
	if len(list) == 0 {
		r.failAt(path, "none", "at least one feature")
	}
	for i, f := range list {
		if !slices.Contains(features, f) || slices.Contains(list[:i], f) {
			r.failAt(fmt.Sprintf("%s[%d]", path, i), strconv.Quote(string(f)), "each once, one of "+named(features))
		}
	}
}

func named(list []Feature) string {
	var out []string
	for _, f := range list {
		out = append(out, string(f))
	}
	return strings.Join(out, ", ")
}

func (r *reader) items(path string, list []Item) {
	if len(list) > mostItems {
		r.failAt(path, strconv.Itoa(len(list)), fmt.Sprintf("at most %d items", mostItems))
	}
	if !slices.ContainsFunc(list, func(it Item) bool { return it.Critical }) {
		r.failAt(path, "no critical item", "at least one")
	}
	var ids []string
	for i, it := range list {
		at := fmt.Sprintf("%s[%d]", path, i)
		ids = append(ids, it.ID)
		r.id(at+".id", ids)
		if !idForm.MatchString(it.Anchor) {
			r.failAt(at+".anchor", strconv.Quote(it.Anchor), "what counts as seen, as an id")
		}
	}
}

// count is a whole number; least where it is none.
func (r *reader) count(path string, v float64, least, most int) int {
	if v != math.Trunc(v) || v < float64(least) || v > float64(most) { // a NaN is not equal to itself
		r.failAt(path, plain(v), fmt.Sprintf("a whole number from %d to %d", least, most))
		return least
	}
	return int(v)
}

func plain(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
