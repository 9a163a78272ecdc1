package figure

import (
	"fmt"
	"html"
	"slices"
	"strconv"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
)

const (
	chainWidth = 480.0
	columns    = 3
	column     = chainWidth / columns
	tileHead   = 36.0 // above a tile's picture: its number, the pointer, the mark
	tileScale  = .5   // of a part's picture in a tile
	labelSize  = 17.0
	labelWidth = 138.0
	gutter     = 30.0 // below a row, where the wire returns
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
	p := &pen{rtl: v.RTL}
	y, linked := 6.0, false
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
		at, anchor := 14.0, "start"
		if v.RTL {
			at = chainWidth - 14
		}
		p.text("fig-heading", anchor, at, y+22, 20, heading)
		y += 34
		desc = append(desc, heading+":")
		tiles := v.tiles(section.parts)
		for i, t := range tiles {
			desc = append(desc, v.step(i, t))
			linked = linked || t.part != ventilator && v.href(t.part) != ""
		}
		y = v.rows(p, tiles, y) + 12
	}
	if v.Point != "" {
		desc = append(desc, v.Words("figure.point", "Part", v.name(v.Point)))
	}
	body := &pen{}
	body.begin(0, 0, 1)
	body.WriteString(p.String())
	body.end()
	return v.finish("chain", "fig-chain", v.Words("figure.chain.title", "Tag", v.Setup.Tag), desc, chainWidth, y, linked, body.String())
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
	s := strconv.Itoa(i+1) + ". " + v.nameOf(t.part)
	if t.out {
		s += ": " + v.Words("figure.parked")
	}
	for _, w := range t.wrong {
		s += ": " + w
	}
	if v.Reveal && t.part != ventilator && t.part != setup.InternalID {
		if t.live {
			s += ", " + v.Words("figure.wire.live")
		} else {
			s += ", " + v.Words("figure.wire.dead")
		}
	}
	return s + "."
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
		if v.Reveal && id != ventilator {
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

// rows lays tiles out three to a row and joins them by wires.
func (v *View) rows(p *pen, ts []tile, y float64) float64 {
	centre := func(i int) float64 {
		c := column/2 + float64(i%columns)*column
		if v.RTL {
			return chainWidth - c
		}
		return c
	}
	way := 1.0
	if v.RTL {
		way = -1
	}
	const half = 120 * tileScale
	for first := 0; first < len(ts); first += columns {
		row := ts[first:min(first+columns, len(ts))]
		lines := 0
		for _, t := range row {
			lines = max(lines, len(t.label)+len(wrapAll(t.wrong)))
		}
		mid := y + tileHead + 70*tileScale
		bottom := y + tileHead + 140*tileScale + 8 + float64(lines)*labelSize*lineHeight + 13
		for i, t := range row {
			n := first + i
			x := centre(n)
			if i > 0 {
				class := v.wireClass(ts[n-1], t)
				from, to := centre(n-1)+way*half, x-way*half
				p.wire(class, from, mid, to)
			}
			v.tile(p, t, n+1, len(ts) > 1, x, y, bottom-y-6)
		}
		if next := first + columns; next < len(ts) {
			last, class := ts[next-1], v.wireClass(ts[next-1], ts[next])
			edge, far := centre(next-1)+way*half, chainWidth-5.0
			start, into := 5.0, centre(next)-way*half
			if v.RTL {
				far, start = start, far
			}
			turn := bottom + gutter/2 - 4
			under := bottom + gutter + tileHead + 70*tileScale
			p.path("fig-wire "+class, fmt.Sprintf("M%s %sH%sV%sH%sV%sH%s", num(edge), num(mid), num(far), num(turn), num(start), num(under), num(into-way*3)))
			if last.live && ts[next].in {
				p.head(chainWidth/2, turn, -way)
				p.head(into, under, way)
			}
			y = bottom + gutter
			continue
		}
		y = bottom
	}
	return y
}

func wrapAll(words []string) []string {
	var out []string
	for _, w := range words {
		out = append(out, wrap(w, labelSize, labelWidth)...)
	}
	return out
}

func (v *View) wireClass(from, to tile) string {
	switch {
	case !v.Reveal:
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
		p.head((from+to)/2+way*8, y, way)
	}
}

// head is an arrowhead with its tip at x.
func (p *pen) head(x, y, way float64) {
	p.path("fig-head", fmt.Sprintf("M%s %sl%s -10v20z", num(x), num(y), num(-way*16)))
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
		label := v.name(t.part)
		if numbered {
			label = strconv.Itoa(number) + ". " + label
		}
		for _, w := range t.wrong {
			label += ": " + w
		}
		p.link(href, label)
		p.rect("fig-hit", x-66, y+2, 132, height, 14)
	}
	side := -1.0
	if v.RTL {
		side = 1
	}
	if numbered {
		p.circle("fig-number", x+side*48, y+18, 13)
		p.device("fig-number-word", x+side*48, y+24, 17, 22, strconv.Itoa(number))
	}
	p.begin(x-120*tileScale, y+tileHead, tileScale)
	look := v.State.Look(t.part)
	if k, _ := v.Setup.PartKind(t.part); t.out && k == setup.KindPlug && look == setup.LookSound {
		look = setup.LookApart
	}
	v.picture(p, t.part, look, !v.Reveal, false)
	p.end()
	if len(t.wrong) > 0 {
		p.circle("fig-mark", x-side*48, y+18, 13)
		p.line("fig-mark-line", x-side*48, y+11, x-side*48, y+19)
		p.circle("fig-mark-dot", x-side*48, y+24.5, 2)
	}
	foot := y + tileHead + 140*tileScale + 8 + labelSize
	p.lines("fig-label", x, foot, labelSize, labelWidth, t.label)
	p.lines("fig-label fig-wrong", x, foot+float64(len(t.label))*labelSize*lineHeight, labelSize, labelWidth, wrapAll(t.wrong))
	if href != "" {
		p.WriteString("</a>\n")
	}
	if t.part != ventilator && t.part == v.Point {
		p.ring(x-66, y+2, 132, height)
		p.arrow(x, y+tileHead-4)
	}
}
