package figure

import (
	"fmt"
	"html"
	"slices"
	"strconv"
	"strings"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
)

// A row of the chain: tiles between the ends of wire that lead into it and out
// of it.
const (
	chainWidth = 480.0
	columns    = 4
	rowEnd     = 12.0
	column     = (chainWidth - 2*rowEnd) / columns
	tileHead   = 29.0 // above a tile's picture: its number, the pointer, the mark
	tileScale  = .4   // of a part's picture in a tile
	tileMiddle = tileHead + 70*tileScale
	tileEnd    = 6.0          // of its picture, all wire
	tileReach  = column/2 - 2 // of what can be pressed, or is pointed at
	badge      = 41.0         // how far the number and the mark are from the middle
	labelSize  = 17.0
	labelWidth = column - 8
)

// ventilator stands for the whole machine at the end of a row of tiles; it is
// no part, so it has no id.
const ventilator = ""

// tile is one step of the chain, ready to be laid out.
type tile struct {
	part  string
	label []string
	wrong []string // what is seen to be wrong, in words
	live  bool     // volts after it
	in    bool     // the wire into it is whole; false where a plug is parked
	out   bool     // a plug that is not in the inlet behind it
}

// Chain is every part from the chair's battery to the ventilator, in numbered
// steps and in reading direction, then the mains side, then the battery inside.
func Chain(v View) string {
	r := &rows{View: &v, pen: &pen{rtl: v.RTL, asked: v.Asked}, foot: -6}
	linked := false
	desc := []string{}
	for _, section := range []struct {
		key   string
		parts []string
	}{
		{"figure.chain.from-chair", v.fromChair()},
		{"figure.chain.from-wall", v.fromWall()},
		{"figure.chain.inside", []string{setup.InternalID}},
	} {
		heading := v.Words(section.key)
		desc = append(desc, heading+":")
		tiles := v.tiles(section.parts)
		for i, t := range tiles {
			desc = append(desc, v.step(i, t))
			linked = linked || t.part != ventilator && v.href(t.part) != ""
		}
		if len(tiles) == 1 && r.used <= columns-2 {
			r.beside(heading, tiles[0])
		} else {
			r.section(heading, tiles)
		}
	}
	if v.Point != "" {
		desc = append(desc, v.Words("figure.point", "Part", v.name(v.Point)))
	}
	body := &pen{}
	body.begin(0, 0, 1)
	body.WriteString(r.String())
	body.end()
	return v.finish("chain", "fig-chain", v.Words("figure.chain.title", "Tag", v.Setup.Tag), desc, chainWidth, r.foot+12, linked, body.String())
}

func (v *View) fromChair() []string {
	var parts []string
	for i := range v.Setup.Chain {
		parts = append(parts, v.Setup.Chain[i].ID)
	}
	if in := v.Setup.Ventilator.InletFor(setup.Chair); in != nil {
		if in.Switch != "" {
			parts = append(parts, in.Switch)
		}
		parts = append(parts, in.ID)
	}
	return append(parts, ventilator)
}

func (v *View) fromWall() []string {
	var parts []string
	for i := range v.Setup.Mains {
		parts = append(parts, v.Setup.Mains[i].ID)
	}
	if in := v.Setup.Ventilator.InletFor(setup.Mains); in != nil {
		parts = append(parts, in.ID)
	}
	return append(parts, ventilator)
}

// step says one tile in words.
func (v *View) step(i int, t tile) string {
	var seen []string
	if t.out {
		seen = append(seen, v.Words("figure.parked"))
	}
	seen = append(seen, t.wrong...)
	switch {
	case t.part == ventilator:
	case v.Asked && (!t.out || v.State.Look(t.part) != setup.LookSound):
		seen = append(seen, v.seen(t.part))
	case !v.Reveal, v.Asked, t.part == setup.InternalID:
	case t.live:
		seen = append(seen, v.Words("figure.wire.live"))
	default:
		seen = append(seen, v.Words("figure.wire.dead"))
	}
	return strconv.Itoa(i+1) + ". " + v.told(v.nameOf(t.part), seen) + "."
}

// told is a name and what is seen of it.
func (v *View) told(name string, seen []string) string {
	if len(seen) == 0 {
		return name
	}
	return strings.TrimSuffix(v.says(name, List(v.Words, seen)), ".")
}

func (v *View) nameOf(part string) string {
	if part == ventilator {
		return v.Words("figure.ventilator", "Model", v.Setup.Ventilator.Model)
	}
	return v.name(part)
}

// tiles finds, for a row of parts, what is live and what looks wrong.
func (v *View) tiles(parts []string) []tile {
	ts := make([]tile, len(parts))
	for i, id := range parts {
		t := tile{part: id, label: wrap(v.nameOf(id), labelSize, labelWidth), in: true}
		if i > 0 && v.isInlet(id) {
			if t.in = v.follows(parts[i-1], id); !t.in && v.Reveal {
				ts[i-1].out = true
				ts[i-1].label = append(ts[i-1].label, wrap("("+v.Words("figure.parked")+")", labelSize, labelWidth)...)
			}
		}
		if v.Reveal && !v.Asked && id != ventilator {
			t.live = t.in && v.live(id)
			if look := v.State.Look(id); look != setup.LookSound && !v.hidden(id) {
				t.wrong = append(t.wrong, v.Words("figure.look."+string(look)))
			}
			if heat := v.State.Heat(id); heat != circuit.Cool {
				t.wrong = append(t.wrong, v.Words("figure.heat."+string(heat)))
			}
		}
		ts[i] = t
	}
	return ts
}

func (v *View) isInlet(id string) bool {
	k, _ := v.Setup.PartKind(id)
	return k == setup.KindInlet
}

// follows reports whether an inlet is solved right behind a part: with one
// shared inlet, only the plug that is in it is.
func (v *View) follows(before, inlet string) bool {
	at := func(id string) int {
		return slices.IndexFunc(v.State.Nodes, func(n circuit.Node) bool { return n.ID == id })
	}
	b, i := at(before), at(inlet)
	return b >= 0 && i == b+1
}

// live is whether there are volts after a part. What alternates is not solved:
// outlet and cord are as live as the adapter, or up to the first that is
// seen to be wrong; an isolator that the tap goes round is as live as the pack.
func (v *View) live(id string) bool {
	switch k, _ := v.Setup.PartKind(id); k {
	case setup.KindOutlet, setup.KindCord:
		adapter, broken := false, false
		for i := range v.Setup.Mains {
			m := &v.Setup.Mains[i]
			broken = broken || v.State.Look(m.ID) != setup.LookSound
			if m.ID == id && broken {
				return false
			}
			adapter = adapter || m.Adapter != nil && v.State.Live[m.ID]
		}
		return adapter || broken
	case setup.KindIsolator:
		if v.bypassed() {
			return v.State.Live[v.Setup.Chain[0].ID]
		}
	}
	return v.State.Live[id]
}

// bypassed is whether the tap sits at the posts, so that the chair's isolator
// does not cut this chain.
func (v *View) bypassed() bool {
	return slices.ContainsFunc(v.Setup.Chain, func(p setup.Part) bool { return p.Tap != nil && p.Tap.At == setup.AtPosts })
}

// rows are tiles that follow one another as lines of text do.
type rows struct {
	*View
	*pen
	top, foot float64 // of the last row
	used      int     // columns of it
}

// at is so far along from the middle of a column.
func (r *rows) at(i int, along float64) float64 {
	x := rowEnd + (float64(i)+.5)*column + along
	if r.RTL {
		return chainWidth - x
	}
	return x
}

// height is what a row takes.
func height(row []tile) float64 {
	lines := 0
	for _, t := range row {
		lines = max(lines, len(t.label)+len(wrapAll(t.wrong)))
	}
	return tileHead + 140*tileScale + 8 + float64(lines)*labelSize*lineHeight + 11
}

// section is a heading and its tiles, joined by wires.
func (r *rows) section(heading string, ts []tile) {
	const half = 120*tileScale - tileEnd
	r.foot += 46
	r.text("fig-heading", "start", r.at(0, -column/2+2), r.foot-12, 20, heading)
	for first := 0; first < len(ts); first += columns {
		row := ts[first:min(first+columns, len(ts))]
		r.used, r.top = len(row), r.foot
		r.foot = r.top + height(row)
		for i, t := range row {
			r.tile(r.pen, t, first+i+1, len(ts) > 1, r.at(i, 0), r.top, r.foot-r.top-6)
		}
		y := r.top + tileMiddle
		for i, t := range row {
			if first+i > 0 {
				r.wire(r.wireClass(ts[first+i-1], t), r.at(i, half-column), y, r.at(i, -half))
			}
		}
		if next := first + columns; next < len(ts) {
			r.wire(r.wireClass(ts[next-1], ts[next]), r.at(columns-1, half), y, r.at(columns, -half))
		}
	}
}

// beside is one tile at the end of the last row, with its heading before it.
func (r *rows) beside(heading string, t tile) {
	const size = 18.0
	lines := wrap(heading, size, (column-16)/heavy)
	for i, line := range lines {
		y := r.top + tileMiddle + size*lineHeight*(float64(i)-float64(len(lines))/2+.75)
		r.held("fig-heading", "start", r.at(columns-2, 18-column/2), y, size, column-16, line)
	}
	tall := height([]tile{t})
	r.tile(r.pen, t, 1, false, r.at(columns-1, 0), r.top, tall-6)
	r.foot = max(r.foot, r.top+tall)
}

func wrapAll(words []string) []string {
	var out []string
	for _, w := range words {
		out = append(out, wrap(w, labelSize, labelWidth/heavy)...)
	}
	return out
}

func (v *View) wireClass(from, to tile) string {
	switch {
	case !v.Reveal, v.Asked:
		return "fig-plain"
	case from.live && to.in:
		return "fig-live"
	}
	return "fig-dead"
}

// wire goes straight from one tile to the next, with an arrowhead where live.
func (p *pen) wire(class string, from, y, to float64) {
	p.line("fig-wire "+class, from, y, to, y)
	if class == "fig-live" {
		way := 1.0
		if to < from {
			way = -1
		}
		p.head((from+to)/2+way*7, y, way)
	}
}

// head is an arrowhead with its tip at x.
func (p *pen) head(x, y, way float64) {
	p.path("fig-head", fmt.Sprintf("M%s %sl%s -9v18z", num(x), num(y), num(-way*14)))
}

func (p *pen) link(href, label string) {
	fmt.Fprintf(p, "<a class=\"fig-link\" href=\"%s\" aria-label=\"%s\">\n", html.EscapeString(href), html.EscapeString(label))
}

func (v *View) tile(p *pen, t tile, number int, numbered bool, x, y, height float64) {
	href := ""
	if t.part != ventilator {
		href = v.href(t.part)
	}
	if href != "" {
		label := v.told(v.name(t.part), t.wrong)
		if numbered {
			label = strconv.Itoa(number) + ". " + label
		}
		p.link(href, label)
		p.rect("fig-hit", x-tileReach, y+1, 2*tileReach, height, 12)
	}
	side := -1.0
	if v.RTL {
		side = 1
	}
	if numbered {
		p.circle("fig-number", x+side*badge, y+15, 13)
		p.device("fig-number-word", x+side*badge, y+21, 17, 25, strconv.Itoa(number))
	}
	p.begin(x-120*tileScale, y+tileHead, tileScale)
	look := v.State.Look(t.part)
	if k, _ := v.Setup.PartKind(t.part); t.out && k == setup.KindPlug && look == setup.LookSound {
		look = setup.LookApart
	}
	v.picture(p, t.part, look, !v.Reveal, false)
	p.end()
	if len(t.wrong) > 0 {
		p.circle("fig-mark", x-side*badge, y+15, 12)
		p.line("fig-mark-line", x-side*badge, y+8, x-side*badge, y+16)
		p.circle("fig-mark-dot", x-side*badge, y+21.5, 2)
	}
	foot := y + tileHead + 140*tileScale + 8 + labelSize
	p.lines("fig-label", x, foot, labelSize, labelWidth, t.label)
	p.lines("fig-label fig-wrong", x, foot+float64(len(t.label))*labelSize*lineHeight, labelSize, labelWidth, wrapAll(t.wrong))
	if href != "" {
		p.WriteString("</a>\n")
	}
	if t.part != ventilator && t.part == v.Point {
		p.ring(x-tileReach, y+1, 2*tileReach, height)
		p.arrow(x, y+tileHead-4)
	}
}
