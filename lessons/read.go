package lessons

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
	"lampwright/locales/problem"
)

// MaxFile is the largest lesson file that is read, in bytes.
const MaxFile = 64 << 10

// written is the front matter of an English lesson.
type written struct {
	ID    string `yaml:"id"`
	Order int    `yaml:"order"`
	Title string `yaml:"title"`
	Cards []struct {
		ID        string   `yaml:"id"`
		Objective string   `yaml:"objective"`
		Figure    Figure   `yaml:"figure"`
		When      []string `yaml:"when"`
	} `yaml:"cards"`
	Question *Question `yaml:"question"`
}

// translated is the front matter of a translation.
type translated struct {
	ID     string `yaml:"id"`
	Title  string `yaml:"title"`
	Source string `yaml:"source"` // content hash of the English file it was made from
	Status string `yaml:"status"` // one of statuses
}

var statuses = []string{"draft", "reviewed", "approved"}

// file is one file being read, with the problems found in it.
type file struct {
	name     string
	front    *ast.File
	problems []error
}

func (f *file) fail(line int, got, wanted string) {
	f.problems = append(f.problems, problem.Wrap(fmt.Errorf("%s:%d: got %s, expected %s", f.name, line, got, wanted),
		problem.Invalid, "problem.lesson", "File", f.name, "Line", line, "Got", got, "Expected", wanted))
}

// failAt fails at a YAML path such as $.cards[2].objective; where the key is
// missing, its nearest parent gives the line.
func (f *file) failAt(at, got, wanted string) {
	line := 1
	for at != "$" {
		if p, err := yaml.PathString(at); err == nil {
			if n, err := p.FilterFile(f.front); err == nil && n != nil && n.GetToken() != nil {
				line = n.GetToken().Position.Line
				break
			}
		}
		at = at[:strings.LastIndexAny(at, ".[")]
	}
	f.fail(line, got, wanted)
}

// split parts front matter from body; skip is the number of lines before the body.
func (f *file) split(data []byte) (front, body []byte, skip int, ok bool) {
	const fence = "---\n"
	if len(data) > MaxFile {
		f.fail(1, fmt.Sprintf("%d bytes", len(data)), fmt.Sprintf("at most %d", MaxFile))
		return nil, nil, 0, false
	}
	if path.Ext(f.name) != ".md" {
		f.fail(1, "a file of another kind", "Markdown, in a file ending .md")
		return nil, nil, 0, false
	}
	end := bytes.Index(data, []byte("\n"+fence))
	if !bytes.HasPrefix(data, []byte(fence)) || end < 0 {
		f.fail(1, "no front matter", "a line ---, YAML, a line ---")
		return nil, nil, 0, false
	}
	front, body = data[:end+1], data[end+1+len(fence):]
	return front, body, bytes.Count(data[:len(data)-len(body)], []byte("\n")), true
}

// decode reads front matter strictly into one of its two forms. The opening
// fence stays in, so that lines count as in the file.
func (f *file) decode(front []byte, into any) bool {
	if !f.bare(front) {
		return false
	}
	parsed, err := parser.ParseBytes(front, 0)
	if err == nil {
		err = yaml.NewDecoder(bytes.NewReader(front), yaml.Strict()).Decode(into)
	}
	if err == nil {
		f.front = parsed
		return true
	}
	line, got, wanted := 1, strings.SplitN(err.Error(), "\n", 2)[0], "front matter of a lesson"
	if errors.Is(err, io.EOF) {
		got = "nothing"
	}
	var y yaml.Error
	if errors.As(err, &y) {
		got = y.GetMessage()
		if t := y.GetToken(); t != nil && t.Position != nil {
			line = t.Position.Line
		}
		var unknown *yaml.UnknownFieldError
		if errors.As(err, &unknown) {
			wanted = "only the keys of a lesson"
		}
	}
	f.fail(line, got, wanted)
	return false
}

// bare fails on tags, anchors and aliases: no lesson needs them, and the
// library panics on some.
func (f *file) bare(front []byte) bool {
	before := len(f.problems)
	for _, t := range lexer.Tokenize(string(front)) {
		switch t.Type {
		case token.TagType, token.AnchorType, token.AliasType, token.MergeKeyType:
			f.fail(t.Position.Line, t.Type.String(), "plain values")
		default:
		}
	}
	return len(f.problems) == before
}

// plainLines makes every line end alike, so that a checkout that turns them
// into two characters keeps its hashes.
func plainLines(data []byte) []byte { return bytes.ReplaceAll(data, []byte("\r\n"), []byte("\n")) }

func hash(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:8])
}

var idForm = regexp.MustCompile(`^[a-z][a-z0-9-]{0,39}$`)

// readSource reads an English lesson, checked but for its figures.
func (f *file) readSource(data []byte) (Lesson, int) {
	data = plainLines(data)
	front, body, skip, ok := f.split(data)
	var w written
	if !ok || !f.decode(front, &w) {
		return Lesson{}, 0
	}
	l := Lesson{ID: w.ID, Title: w.Title, Language: English, Dir: direction(English), Version: hash(data), Question: w.Question}
	f.head(w.ID, w.Title)
	least := 3
	if w.ID == StoppedID {
		least = 1
	}
	if n := len(w.Cards); n < least || n > MostWritten {
		f.failAt("$.cards", fmt.Sprintf("%d cards", n), fmt.Sprintf("%d to %d", least, MostWritten))
	}
	ids := make([]string, len(w.Cards))
	for i, c := range w.Cards {
		at := fmt.Sprintf("$.cards[%d]", i)
		if !idForm.MatchString(c.ID) || slices.Contains(ids[:i], c.ID) {
			f.failAt(at+".id", strconv.Quote(c.ID), "an id of small letters, digits and hyphens that no other card has")
		}
		if !slices.Contains(Objectives, c.Objective) {
			f.failAt(at+".objective", strconv.Quote(c.Objective), "one of "+strings.Join(Objectives, ", "))
		}
		for j, name := range c.When {
			if conditions[name] == nil {
				f.failAt(fmt.Sprintf("%s.when[%d]", at, j), strconv.Quote(name), "one of "+strings.Join(Conditions(), ", "))
			}
		}
		ids[i] = c.ID
		l.Cards = append(l.Cards, Card{ID: c.ID, Objective: c.Objective, Figure: c.Figure, When: c.When})
	}
	f.question(w)
	cards := f.prose(body, skip)
	f.match(&l, ids, cards)
	f.easy(cards)
	return l, w.Order
}

func (f *file) head(id, title string) {
	if want := strings.TrimSuffix(path.Base(f.name), ".md"); id != want || !idForm.MatchString(id) {
		f.failAt("$.id", strconv.Quote(id), "the file's name, "+strconv.Quote(want)+", of small letters, digits and hyphens")
	}
	if strings.TrimSpace(title) == "" {
		f.failAt("$.title", "no title", "a title")
	}
}

func (f *file) question(w written) {
	q := w.Question
	if (q == nil) != (w.ID == StoppedID) {
		f.failAt("$.question", fmt.Sprintf("a question: %t", q != nil), "one in every lesson, none in the emergency card")
	}
	if q == nil {
		return
	}
	of, ok := options[q.Ask]
	if !ok {
		f.failAt("$.question.ask", strconv.Quote(q.Ask), "first, ending, source, part, look, hands or go")
		return
	}
	if len(q.Options) < 2 {
		f.failAt("$.question.options", fmt.Sprintf("%d options", len(q.Options)), "at least two")
	}
	for i, option := range q.Options {
		if !slices.Contains(of, option) || slices.Contains(q.Options[:i], option) {
			f.failAt(fmt.Sprintf("$.question.options[%d]", i), strconv.Quote(option), "each once, of "+strings.Join(of, ", "))
		}
	}
}

// match puts each card's text to its id.
func (f *file) match(l *Lesson, ids []string, cards []prose) {
	if len(f.problems) > 0 {
		return
	}
	seen := map[string]bool{}
	for _, p := range cards {
		i := slices.Index(ids, p.id)
		if i < 0 || seen[p.id] {
			f.fail(p.line, "card "+strconv.Quote(p.id), "each once, of "+strings.Join(ids, ", "))
			continue
		}
		seen[p.id] = true
		l.Cards[i].Title, l.Cards[i].HTML = p.title, p.html
	}
	for i, id := range ids {
		if !seen[id] {
			f.failAt(fmt.Sprintf("$.cards[%d].id", i), "no text for card "+strconv.Quote(id), "## "+id)
		}
	}
}

// easy holds English to what a tired reader can take in.
func (f *file) easy(cards []prose) {
	words, sentences, sounds := 0, 0, 0
	for _, c := range cards {
		before := words
		for _, block := range c.plain {
			for _, s := range Sentences(block) {
				ws := Words(s)
				if len(ws) > MostSentenceWords {
					f.fail(c.line, fmt.Sprintf("%d words in %q", len(ws), s), fmt.Sprintf("at most %d in a sentence", MostSentenceWords))
				}
				words, sentences = words+len(ws), sentences+1
				for _, w := range ws {
					sounds += Syllables(w)
				}
			}
		}
		if n := words - before; n > MostCardWords {
			f.fail(c.line, fmt.Sprintf("%d words in card %s", n, c.id), fmt.Sprintf("at most %d", MostCardWords))
		}
	}
	if g := Grade(words, sentences, sounds); g > MostGrade {
		f.fail(1, fmt.Sprintf("grade %.1f", g), fmt.Sprintf("at most %g: shorter words and sentences", MostGrade))
	}
}

// readTranslation reads a translation against the lesson it was made from.
// One made from an earlier text is not looked into: its cards may differ.
func (f *file) readTranslation(data []byte, language string, source Lesson) Lesson {
	front, body, skip, ok := f.split(plainLines(data))
	var t translated
	if !ok || !f.decode(front, &t) {
		return Lesson{}
	}
	f.head(t.ID, t.Title)
	if !slices.Contains(statuses, t.Status) {
		f.failAt("$.status", strconv.Quote(t.Status), "one of "+strings.Join(statuses, ", "))
	}
	switch {
	case t.Source == "":
		f.failAt("$.source", "no source", "the content hash of the English file, now "+source.Version)
	case t.Source != source.Version:
		return Lesson{Notice: Outdated}
	}
	l := source
	l.Title, l.Language, l.Dir = t.Title, language, direction(language)
	l.Cards = slices.Clone(source.Cards)
	ids := make([]string, len(l.Cards))
	for i := range l.Cards {
		ids[i] = l.Cards[i].ID
	}
	f.match(&l, ids, f.prose(body, skip))
	if t.Status == statuses[0] {
		l.Notice = Missing
	}
	return l
}

// figures checks that every figure of a lesson can be drawn on the demo
// set-ups, and that its question has an answer there.
func (f *file) figures(l Lesson, on []*setup.Setup) {
	for _, s := range on {
		if n := len(l.On(s).Cards); n > MostCards || n < min(3, len(l.Cards)) {
			f.failAt("$.cards", fmt.Sprintf("%d cards on %s", n, s.Tag), fmt.Sprintf("3 to %d on every demo set-up", MostCards))
		}
	}
	for i, c := range l.Cards {
		shown := slices.DeleteFunc(slices.Clone(on), func(s *setup.Setup) bool { return !c.Applies(s) })
		f.figure(fmt.Sprintf("$.cards[%d].figure", i), c.Figure, shown)
	}
	if l.Question == nil {
		return
	}
	if !f.figure("$.question.figure", l.Question.Figure, on) {
		return
	}
	for _, s := range on {
		if _, err := l.Question.Key(s); err != nil {
			f.failAt("$.question", s.Tag+": "+err.Error(), "an answer on every demo set-up")
		}
	}
}

func (f *file) figure(at string, fig Figure, on []*setup.Setup) bool {
	before := len(f.problems)
	switch fig.Kind {
	case Panel, Chain, CloseUp, Back, Person, Packed:
	default:
		f.failAt(at+".kind", strconv.Quote(fig.Kind), "panel, chain, close-up, chair-back, person or packed")
	}
	if (fig.Part != "") != (fig.Kind == CloseUp) && (fig.Part == "" || fig.Kind != Back) {
		f.failAt(at+".part", "part "+strconv.Quote(fig.Part)+" in a "+fig.Kind, "a part in a close-up, perhaps one on a chair-back, and nowhere else")
	}
	for _, s := range on {
		if fig.Part != "" {
			if _, ok := s.PartKind(fig.On(s).Part); !ok {
				f.failAt(at+".part", strconv.Quote(fig.Part), "a part of "+s.Tag)
			}
		}
		c, err := fig.Conditions(s)
		if err == nil {
			_, err = circuit.Solve(s, c)
		}
		if err != nil {
			f.failAt(at+".faults", s.Tag+": "+problem.Of(err).Cause.Error(), "faults every demo set-up can have")
		}
	}
	return len(f.problems) == before
}

func cutFault(text string) (part, mode string, ok bool) { return strings.Cut(text, "=") }

// LoadFS reads a catalogue with one folder for each language. All problems
// found are joined, each naming file and line.
func LoadFS(fsys fs.FS) (*Catalogue, error) {
	var on []*setup.Setup
	for _, name := range setup.DemoNames {
		s, err := setup.Demo(name)
		if err != nil {
			return nil, fmt.Errorf("lessons: %w", err)
		}
		on = append(on, s)
	}
	c := &Catalogue{lessons: map[string]map[string]Lesson{}}
	problems, err := c.sources(fsys, on)
	if err != nil {
		return nil, err
	}
	found, err := c.translations(fsys)
	if err != nil {
		return nil, err
	}
	if problems = append(problems, found...); len(problems) > 0 {
		return nil, errors.Join(problems...)
	}
	return c, nil
}

// sources reads the English lessons, their order and their version.
func (c *Catalogue) sources(fsys fs.FS, on []*setup.Setup) (problems []error, err error) {
	orders := map[int]string{}
	var versions strings.Builder
	err = each(fsys, English, func(f *file, data []byte) {
		l, order := f.readSource(data)
		if len(f.problems) == 0 {
			f.figures(l, on)
		}
		if l.ID != StoppedID && f.front != nil {
			if order < 1 || orders[order] != "" {
				f.failAt("$.order", strconv.Itoa(order), "a number from 1 that no other lesson has")
			}
			orders[order] = l.ID
			c.order = append(c.order, l.ID)
		}
		c.lessons[l.ID] = map[string]Lesson{English: l}
		fmt.Fprintln(&versions, l.ID, l.Version)
		problems = append(problems, f.problems...)
	})
	if err != nil {
		return nil, err
	}
	place := map[string]int{}
	for order, id := range orders {
		place[id] = order
	}
	slices.SortFunc(c.order, func(a, b string) int { return place[a] - place[b] })
	c.version = hash([]byte(versions.String()))
	return problems, nil
}

func (c *Catalogue) translations(fsys fs.FS) (problems []error, err error) {
	languages, err := fs.ReadDir(fsys, ".")
	if err != nil {
		return nil, fmt.Errorf("lessons: %w", err)
	}
	for _, dir := range languages {
		language := dir.Name()
		if !dir.IsDir() || language == English {
			continue
		}
		err := each(fsys, language, func(f *file, data []byte) {
			id := strings.TrimSuffix(path.Base(f.name), ".md")
			if in, ok := c.lessons[id]; ok {
				in[language] = f.readTranslation(data, language, in[English])
			} else {
				f.fail(1, "a translation of "+strconv.Quote(id), "an English lesson of that name that can be read")
			}
			problems = append(problems, f.problems...)
		})
		if err != nil {
			return nil, err
		}
	}
	return problems, nil
}

// each reads the files of a language, in the order of their names.
func each(fsys fs.FS, language string, read func(*file, []byte)) error {
	entries, err := fs.ReadDir(fsys, language)
	if err != nil {
		return fmt.Errorf("lessons: %w", err)
	}
	for _, e := range entries {
		f := &file{name: path.Join(language, e.Name())}
		data, err := fs.ReadFile(fsys, f.name)
		if err != nil {
			return fmt.Errorf("lessons: %w", err)
		}
		read(f, data)
	}
	return nil
}
