// Package figure draws a set-up in a solved state as SVG: the ventilator's
// panel, the chain of parts, one part close up, the back of the chair, the
// person in it and what goes along, in the page's language and reading direction,
// with the same said in words for those who cannot see it.
//
// What is drawn comes from the state alone; nothing here solves or judges. No
// file, no page and no style sheet of the pages may live here: the classes
// used here are dressed by CSS, which takes the page's colours.
package figure

import (
	_ "embed"
	"fmt"
	"html"
	"strings"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
)

// CSS dresses every class the figures use, in the page's own colours.
//
//go:embed figure.css
var CSS string

// Words says a message in the page's language. Pairs are name, value.
type Words func(key string, pairs ...any) string

// View is what is drawn, and for whom.
type View struct {
	Setup  *setup.Setup
	State  circuit.State
	Words  Words
	RTL    bool   // the page reads from right to left
	ID     string // prefix that makes element ids unique on the page
	Point  string // part that gets a ring and an arrow; "" for none
	Reveal bool   // the chain shows what is live, and how each part looks
	Asked  bool   // how parts look is asked: no word and no mark judges them
	Link   func(part string) string
}

func (v *View) href(part string) string {
	if v.Link == nil {
		return ""
	}
	return v.Link(part)
}

// name is a part's name in the page's language.
func (v *View) name(part string) string { return Name(v.Words, v.Setup, part) }

// says is a part and what is seen of it, as a sentence.
func (v *View) says(part, seen string) string {
	return v.Words("figure.says", "Part", part, "Seen", seen)
}

// List joins what is named one after the other, in the page's language.
func List(w Words, items []string) string {
	if len(items) == 0 {
		return ""
	}
	all := items[0]
	for _, item := range items[1:] {
		all = w("figure.list", "Before", all, "Then", item)
	}
	return all
}

// named are the part ids that have a name of their own, while they are of this
// kind: a file may give any id to any part.
var named = map[string]setup.Kind{
	"lead-battery": setup.KindLead, "lead-middle": setup.KindLead, "lead-out": setup.KindLead, "lead-ventilator": setup.KindLead,
	"joint-battery": setup.KindJoint, "joint-ventilator": setup.KindJoint, "adapter-plug": setup.KindPlug,
	"inlet-mains": setup.KindInlet, "inlet-chair": setup.KindInlet,
	"lamp-mains": setup.KindLamp, "lamp-chair": setup.KindLamp, "lamp-internal": setup.KindLamp,
}

// Name is a part's name in the page's language: its own, or its kind's, with
// the id where the kind alone would not tell it from another part.
func Name(w Words, s *setup.Setup, part string) string {
	kind, ok := s.PartKind(part)
	if !ok {
		return part
	}
	if k, ok := named[part]; ok && k == kind {
		return w("figure.part." + part)
	}
	alone := w("figure.kind." + string(kind))
	if kind == setup.KindTap && s.Part(part).Tap.At == setup.AtPort {
		alone = w("figure.part.port")
	}
	for _, id := range s.IDs() {
		if k, _ := s.PartKind(id); k == kind && id != part && named[id] != kind {
			return w("figure.named", "Kind", alone, "ID", part)
		}
	}
	return alone
}

// finish wraps what was drawn: role, title and description, and the size it
// was drawn for.
func (v *View) finish(what, class, title string, desc []string, width, height float64, linked bool, body string) string {
	role := "img"
	if linked {
		role = "group"
	}
	id := html.EscapeString(v.ID + "-" + what)
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" class="fig %s" viewBox="0 0 %s %s" role="%s" aria-labelledby="%s-title %s-desc">`,
		class, num(width), num(height), role, id, id)
	fmt.Fprintf(&b, "\n<title id=\"%s-title\">%s</title>\n<desc id=\"%s-desc\">%s</desc>\n",
		id, html.EscapeString(title), id, html.EscapeString(strings.Join(desc, " ")))
	b.WriteString(body)
	b.WriteString("</svg>\n")
	return b.String()
}
