package lessons

import (
	"bytes"
	"fmt"
	"html"
	"regexp"
	"slices"
	"strings"

	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/ast"
	"github.com/yuin/goldmark/renderer"
	"github.com/yuin/goldmark/text"
	"github.com/yuin/goldmark/util"
)

// Lines are the phone lines a text can name, as [words](line:clinical). A
// lesson never holds a number: the programme's are filled in by WithLines,
// and the words stand alone where it has none.
var Lines = []string{"emergency", "clinical", "technologist", "chair-vendor"}

// schemes are what a link may name, each with its names.
var schemes = map[string][]string{"line": Lines, "fact": Facts}

// markdown is what cards are written in: no raw HTML, no link but a phone line
// or a fact of the set-up.
var markdown = goldmark.New(goldmark.WithRendererOptions(
	renderer.WithNodeRenderers(util.Prioritized(place{}, 100))))

// place renders a link to a phone line or a fact as a place for it.
type place struct{}

func (place) RegisterFuncs(r renderer.NodeRendererFuncRegisterer) {
	r.Register(ast.KindLink, func(w util.BufWriter, _ []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
		mark := "</span>"
		if entering {
			scheme, name, _ := strings.Cut(string(n.(*ast.Link).Destination), ":")
			mark = fmt.Sprintf(`<span class=%q data-%s="%s">`, scheme, scheme, html.EscapeString(name))
		}
		_, err := w.WriteString(mark)
		return ast.WalkContinue, err
	})
}

var filled = regexp.MustCompile(`(<span class="line" data-line="([a-z-]+)">[^<]*)</span>`)

// WithLines is the lesson with the programme's numbers after the lines' words.
func (l Lesson) WithLines(numbers map[string]string) Lesson {
	return l.filled(filled, numbers, `<bdi dir="ltr">`)
}

// prose is one card's text.
type prose struct {
	id, title, html string
	line            int
	plain           []string // one for each heading, paragraph and list item
}

// allowed are the kinds of Markdown a card is made of.
var allowed = []ast.NodeKind{
	ast.KindDocument, ast.KindHeading, ast.KindParagraph, ast.KindTextBlock, ast.KindList, ast.KindListItem,
	ast.KindText, ast.KindString, ast.KindEmphasis, ast.KindLink,
}

// prose splits a body into its cards. skip is how many lines stand before it.
func (f *file) prose(body []byte, skip int) []prose {
	doc := markdown.Parser().Parse(text.NewReader(body))
	f.allow(doc, body, skip)
	if len(f.problems) > 0 {
		return nil // what is not allowed is not rendered either
	}
	var cards []prose
	var out bytes.Buffer
	for n := doc.FirstChild(); n != nil; n = n.NextSibling() {
		line := skip + lineOf(n, body)
		h, heading := n.(*ast.Heading)
		switch {
		case heading && h.Level == 2:
			cards = append(cards, prose{id: plain(n, body), line: line})
			continue
		case len(cards) == 0:
			f.fail(line, "text before the first card", "## and a card's id")
			return nil
		}
		card := &cards[len(cards)-1]
		card.plain = append(card.plain, blocks(n, body)...)
		switch {
		case heading && h.Level == 3 && card.title == "" && card.html == "":
			card.title = plain(n, body)
		case heading:
			f.fail(line, "another heading", "one ### title, first in its card")
		default:
			out.Reset()
			if err := markdown.Renderer().Render(&out, body, n); err != nil {
				f.fail(line, err.Error(), "Markdown that renders")
			}
			card.html += out.String()
		}
	}
	for _, c := range cards {
		if c.title == "" || c.html == "" {
			f.fail(c.line, "card "+c.id+" without a title or without text", "a ### title, then text")
		}
	}
	return cards
}

// allow fails on the first node of each kind of Markdown that no card may hold.
func (f *file) allow(doc ast.Node, body []byte, skip int) {
	_ = ast.Walk(doc, func(n ast.Node, entering bool) (ast.WalkStatus, error) { // our walker gives no error
		if !entering {
			return ast.WalkContinue, nil
		}
		line := skip + lineOf(n, body)
		inside := n.Kind() == ast.KindHeading && n.Parent() != doc
		if inside || !slices.Contains(allowed, n.Kind()) {
			f.fail(line, n.Kind().String(), "headings, paragraphs, lists, emphasis, phone lines and facts only")
			return ast.WalkSkipChildren, nil
		}
		if link, ok := n.(*ast.Link); ok {
			scheme, name, _ := strings.Cut(string(link.Destination), ":")
			if !slices.Contains(schemes[scheme], name) {
				f.fail(line, "a link to "+string(link.Destination), "line: and one of "+strings.Join(Lines, ", ")+", or fact: and one of "+strings.Join(Facts, ", "))
			}
			for c := link.FirstChild(); c != nil; c = c.NextSibling() {
				if c.Kind() != ast.KindText {
					f.fail(line, "a link with "+c.Kind().String(), "plain words")
				}
			}
		}
		return ast.WalkContinue, nil
	})
}

// blocks is the plain text of each block that holds words.
func blocks(n ast.Node, body []byte) []string {
	switch n.Kind() {
	case ast.KindHeading, ast.KindParagraph, ast.KindTextBlock:
		return []string{plain(n, body)}
	}
	var out []string
	for c := n.FirstChild(); c != nil; c = c.NextSibling() {
		out = append(out, blocks(c, body)...)
	}
	return out
}

func plain(n ast.Node, body []byte) string {
	var b strings.Builder
	_ = ast.Walk(n, func(n ast.Node, entering bool) (ast.WalkStatus, error) { // our walker gives no error
		if !entering {
			return ast.WalkContinue, nil
		}
		switch t := n.(type) {
		case *ast.Text:
			b.Write(util.ResolveEntityNames(util.UnescapePunctuations(t.Segment.Value(body))))
			if t.SoftLineBreak() || t.HardLineBreak() {
				b.WriteByte(' ')
			}
		case *ast.String:
			b.Write(t.Value)
		}
		return ast.WalkContinue, nil
	})
	return strings.TrimSpace(b.String())
}

// lineOf is the line a node starts on, from 1: its own, or that of what holds it.
func lineOf(n ast.Node, body []byte) int {
	for ; n != nil; n = n.Parent() {
		if n.Type() == ast.TypeInline {
			if t, ok := n.(*ast.Text); ok {
				return 1 + bytes.Count(body[:t.Segment.Start], []byte("\n"))
			}
			continue
		}
		for at := n; at != nil; at = at.FirstChild() {
			if at.Type() == ast.TypeInline {
				break
			}
			if l := at.Lines(); l != nil && l.Len() > 0 {
				return 1 + bytes.Count(body[:l.At(0).Start], []byte("\n"))
			}
		}
	}
	return 1
}
