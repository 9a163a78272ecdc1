package figure

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
)

const (
	backHeight = 612.0
	backColumn = 130.0 // for the names, on either side of the chair
	backWords  = 98.0  // of it, for the words beside a number
	backAlone  = 125.0 // and for words without one
	nameGap    = 10.0
)

// Back is the back of the chair as somebody standing behind it sees it, with
// everything that brings the power where it sits, numbered as in the chain.
// It stands as the equipment does, whatever way the page reads.
func Back(v View) string {
	b := back{View: &v, pen: &pen{rtl: v.RTL, asked: v.Asked}, steps: v.tiles(v.fromChair())}
	b.squeezed("fig-heading", chainWidth/2, 22, 20, chainWidth-28, v.Words("figure.back.heading", "Tag", v.Setup.Tag))
	b.chair()
	b.base()
	b.rider()
	b.supply()
	b.hung()
	drawn := b.beside()
	b.point()
	for _, f := range b.wrong {
		b.mark(f)
	}
	foot := math.Max(backHeight, drawn)
	notes := wrap(v.Words("figure.back.sides"), labelSize, chainWidth-28)
	b.lines("fig-word fig-quiet", chainWidth/2, foot+28, labelSize, chainWidth-28, notes)

	desc := []string{v.Words("figure.back.where"), v.Words("figure.chain.from-chair") + ":"}
	for i, t := range b.steps {
		desc = append(desc, v.step(i, t))
	}
	if b.pointed != nil {
		desc = append(desc, v.Words("figure.point", "Part", v.name(v.Point)))
	}
	p := &pen{}
	p.begin(0, 0, 1)
	p.WriteString(b.String())
	p.end()
	return v.finish("back", "fig-back", v.Words("figure.back.title", "Tag", v.Setup.Tag), desc, chainWidth, foot+28+float64(len(notes))*labelSize*lineHeight, false, p.String())
}

// back is that picture while it is drawn.
type back struct {
	*View
	*pen
	steps   []tile
	names   []name
	wrong   []frame // what has something wrong with it
	pointed *pointed
}

// name is what stands beside the chair, with a line to what it names.
type name struct {
	number     int // of the step, 0 for what is none
	lines      []string
	wrong      int // how many of the lines, the last, say what is wrong
	strong     bool
	face       bool    // what it names is read, so that nothing may cover it
	what       frame   // what it names
	right      bool    // the column it stands in
	top, wants float64 // where it stands, and where it would best
}

// room is what its words may take across.
func (n *name) room() float64 {
	if n.number > 0 {
		return backWords
	}
	return backAlone
}

// meets is how far down its line meets what it names: a face low, clear of what
// is plugged in beside it.
func (n *name) meets() float64 {
	if n.face {
		return n.what.y + n.what.h - 8
	}
	return n.what.y + n.what.h/2
}

func (n *name) height() float64 { return float64(max(1, len(n.lines))) * labelSize * lineHeight }

// pointed is what gets the ring and the arrow.
type pointed struct {
	frame
	from side
}

// side is where an arrow comes from.
type side int

const (
	above side = iota
	before
	behind
)

// put names what is drawn in a box, and points at it where it is meant.
func (b *back) put(part string, box frame, from side) {
	kind, _ := b.Setup.PartKind(part)
	n := name{what: box, strong: part != ventilator && part == b.Point, face: kind == setup.KindPanel || kind == setup.KindScreen}
	i := slices.IndexFunc(b.steps, func(t tile) bool { return t.part == part })
	n.number = i + 1
	room := n.room()
	if n.strong {
		room /= heavy
	}
	n.lines = wrap(b.nameOf(part), labelSize, room)
	if i >= 0 {
		if b.steps[i].out {
			n.lines = append(n.lines, wrap("("+b.Words("figure.parked")+")", labelSize, room)...)
		}
		for _, w := range b.steps[i].wrong {
			lines := wrap(w, labelSize, n.room()/heavy)
			n.lines, n.wrong = append(n.lines, lines...), n.wrong+len(lines)
		}
		if n.wrong > 0 {
			b.wrong = append(b.wrong, box)
		}
	}
	if n.strong {
		b.pointed = &pointed{box, from}
	}
	b.names = append(b.names, n)
}

// mark says that something is wrong there.
func (b *back) mark(box frame) {
	x, y := box.x+box.w+3, box.y-3
	if box.x+box.w/2 > chainWidth/2 {
		x = box.x - 3
	}
	b.circle("fig-mark", x, y, 10)
	b.line("fig-mark-line", x, y-5, x, y+1)
	b.circle("fig-mark-dot", x, y+5, 1.8)
}

// beside stands the names on either side, each as near to what it names as
// the others let it, and says how far down they go. What is in the middle is
// named on the side that brings all names nearest.
func (b *back) beside() float64 {
	var middle []*name
	for i := range b.names {
		n := &b.names[i]
		off := n.what.x + n.what.w/2 - chainWidth/2
		n.wants, n.right = n.meets()-labelSize*.7, off > 0
		if math.Abs(off) < 12 {
			middle = append(middle, n)
		}
	}
	choose := func(which int) {
		for i, n := range middle {
			n.right = which>>i&1 == 1
		}
	}
	best, least := 0, math.Inf(1)
	for which := range 1 << len(middle) {
		choose(which)
		if away, _ := b.stand(); away < least {
			best, least = which, away
		}
	}
	choose(best)
	_, foot := b.stand()
	for i := range b.names {
		b.write(&b.names[i])
	}
	return foot
}

// stand gives the names their tops, and says how far all are from where they
// would best stand, and how far down they go.
func (b *back) stand() (away, foot float64) {
	for _, right := range []bool{false, true} {
		var column []*name
		for i := range b.names {
			if b.names[i].right == right {
				column = append(column, &b.names[i])
			}
		}
		slices.SortStableFunc(column, func(m, n *name) int { return cmp.Compare(m.wants, n.wants) })
		spread(column, 40, backHeight)
		for _, n := range column {
			away += (n.top - n.wants) * (n.top - n.wants)
			foot = math.Max(foot, n.top+n.height())
		}
	}
	return away, foot
}

// write draws a name with its number and its line.
func (b *back) write(n *name) {
	edge, out, anchor := backColumn, -1.0, "end"
	if n.right {
		edge, out, anchor = chainWidth-backColumn, 1, "start"
	}
	if b.rtl { // an anchor goes by the way the words run
		anchor = map[string]string{"start": "end", "end": "start"}[anchor]
	}
	y := n.top + labelSize*.7
	inner := math.Max(0, n.what.w/2-9)
	if n.face { // at its edge
		inner = n.what.w / 2
	}
	b.leader(edge, y, n.what.x+n.what.w/2+out*inner, n.meets())
	at := edge + out*4
	if n.number > 0 {
		b.circle("fig-number", edge+out*13, y, 13)
		b.device("fig-number-word", edge+out*13, y+6, 17, 25, strconv.Itoa(n.number))
		at = edge + out*31
	}
	for i, line := range n.lines {
		class := "fig-label"
		switch {
		case i >= len(n.lines)-n.wrong:
			class += " fig-wrong"
		case n.strong:
			class += " fig-strong"
		}
		b.held(class, anchor, at, y+6+float64(i)*labelSize*lineHeight, labelSize, n.room(), line)
	}
}

// spread gives sorted names their tops: where they would best stand, and where
// that is too close, shifted together as little as possible.
func spread(column []*name, top, bottom float64) {
	type bunch struct {
		names      []*name
		tall, best float64
	}
	place := func(u bunch) float64 { return math.Max(top, math.Min(u.best, bottom-u.tall)) }
	var all []bunch
	for _, n := range column {
		all = append(all, bunch{[]*name{n}, n.height(), n.wants})
		for len(all) > 1 {
			last, prev := all[len(all)-1], all[len(all)-2]
			if place(prev)+prev.tall+nameGap <= place(last) {
				break
			}
			// Together, with the mean of what its names want.
			one := bunch{names: slices.Concat(prev.names, last.names), tall: prev.tall + nameGap + last.tall}
			sum, down := 0.0, 0.0
			for _, m := range one.names {
				sum += m.wants - down
				down += m.height() + nameGap
			}
			one.best = sum / float64(len(one.names))
			all = append(all[:len(all)-2], one)
		}
	}
	for _, u := range all {
		y := place(u)
		for _, n := range u.names {
			n.top = y
			y += n.height() + nameGap
		}
	}
}

// point draws the ring and the arrow.
func (b *back) point() {
	if b.pointed == nil {
		return
	}
	f := b.pointed.frame
	b.pen.ring(f.x-7, f.y-7, f.w+14, f.h+14)
	x, y := f.x+f.w/2, f.y-5
	turn := 0
	switch b.pointed.from {
	case before:
		x, y, turn = f.x-5, f.y+f.h/2, -90
	case behind:
		x, y, turn = f.x+f.w+5, f.y+f.h/2, 90
	}
	fmt.Fprintf(b, "<g transform=\"rotate(%d %s %s)\">\n", turn, num(x), num(y))
	b.arrow(x, y)
	b.WriteString("</g>\n")
}

// chair is what makes it a chair: headrest, backrest, push handles.
func (b *back) chair() {
	b.line("fig-line", 234, 80, 234, 94)
	b.line("fig-line", 246, 80, 246, 94)
	b.path("fig-hair", "M212 60C212 26 268 26 268 60z") // the person's head
	b.rect("fig-case", 202, 48, 76, 32, 14)
	b.rect("fig-case", 166, 92, 148, 190, 18)
	for _, x := range []float64{140, 312} {
		b.rect("fig-case", x, 108, 28, 9, 2)
	}
	b.rect("fig-knob", 136, 101, 22, 23, 8)
	b.rect("fig-knob", 322, 101, 22, 23, 8)
}

// base is low down: wheels and the battery box.
func (b *back) base() {
	for _, x := range []float64{130, 322} {
		b.rect("fig-tyre", x, 478, 28, 126, 12)
		for y := 494.0; y < 600; y += 16 {
			b.line("fig-line", x+7, y, x+21, y)
		}
	}
	b.rect("fig-case", 150, 297, 180, 12, 5) // the seat
	b.rect("fig-case", 208, 309, 64, 190, 4)
	b.line("fig-line", 224, 309, 224, 496)
	b.line("fig-line", 256, 309, 256, 496)
	b.rect("fig-case", 156, 542, 22, 22, 3)
	b.rect("fig-case", 302, 542, 22, 22, 3)
	b.rect("fig-tyre", 188, 584, 16, 20, 5)
	b.rect("fig-tyre", 276, 584, 16, 20, 5)
	b.rect("fig-case", 174, 496, 132, 94, 10)
	b.line("fig-line", 118, 605, 362, 605)
}

// rider is the ventilator on its tray: its face, and its inlets at the sides.
func (b *back) rider() {
	b.hose("M206 196C206 160 192 130 194 90")
	b.rect("fig-case", 168, 288, 144, 9, 3)
	b.path("fig-line", "M214 190V180H266V190")
	b.rect("fig-case", 180, 190, 120, 98, 10)
	b.device("fig-model", 222, 208, 14, 76, b.Setup.Ventilator.Model)
	var lamps, screens []setup.Item
	for _, it := range b.Setup.Ventilator.Panel {
		if it.Lamp != "" {
			lamps = append(lamps, it)
		} else {
			screens = append(screens, it)
		}
	}
	y := 216.0
	cell := 112 / math.Max(1, float64(len(lamps)))
	for i, it := range lamps {
		x := 184 + (float64(i)+.5)*cell
		b.begin(x, y+8, .42)
		b.symbol(it.Lamp, 0, 0)
		b.end()
		b.lamp(glowOf(b.shows(it.ID)), x, y+28, 6.5)
		if it.ID == b.Point {
			b.put(it.ID, frame{x - 15, y, 30, 40}, above)
		}
	}
	if len(lamps) > 0 {
		y += 44
	}
	for _, it := range screens {
		in := b.shows(it.ID)
		b.rect(screenClass(in), 190, y+2, 100, 24, 4)
		b.device("fig-screen-words", 240, y+18, 13, 92, in.Screen)
		if it.ID == b.Point {
			b.put(it.ID, frame{190, y + 2, 100, 24}, above)
		}
		y += 30
	}
	b.put(setup.PanelID, frame{184, 216, 112, y - 216}, above)
	b.put(ventilator, frame{180, 185, 120, 10}, above)
	if b.Point == setup.InternalID { // out of sight, in there
		b.put(setup.InternalID, frame{180, 190, 120, 98}, above)
	}
}

// shows is what an item of the panel shows, where the picture tells.
func (b *back) shows(id string) circuit.Indication {
	if !b.Reveal {
		return circuit.Indication{ID: id}
	}
	return b.indication(id)
}

// route is how the supply runs: from the tap up beside the posts, across under
// the tray, where the converter sits, and up to the inlet. The distances along
// it are where it goes up on the one side, where the converter is, and where
// it goes up on the other.
var route = run{{206, 486}, {206, 474}, {166, 474}, {166, 338}, {326, 338}, {326, 252}}

const (
	upFrom, upTo   = 52.0, 188.0
	converterAt    = 262.0
	endFrom, endTo = 348.0, 434.0
	berth          = 40.0 // what a part takes of the way up
	converterBerth = 92.0
	hanging        = 24.0 // how far a plug that is out hangs down
	inletY         = 232.0
)

// run is a line of level and upright stretches.
type run [][2]float64

// at is the point so far along it.
func (r run) at(d float64) (x, y float64) {
	for i := 1; i < len(r); i++ {
		long := math.Abs(r[i][0]-r[i-1][0]) + math.Abs(r[i][1]-r[i-1][1])
		if d <= long || i == len(r)-1 {
			k := math.Min(1, d/long)
			return r[i-1][0] + k*(r[i][0]-r[i-1][0]), r[i-1][1] + k*(r[i][1]-r[i-1][1])
		}
		d -= long
	}
	return r[0][0], r[0][1]
}

// between is the path from one point along it to another.
func (r run) between(from, to float64) string {
	x, y := r.at(from)
	d, gone := fmt.Sprintf("M%s %s", num(x), num(y)), 0.0
	for i := 1; i < len(r)-1; i++ {
		gone += math.Abs(r[i][0]-r[i-1][0]) + math.Abs(r[i][1]-r[i-1][1])
		if gone > from && gone < to {
			d += fmt.Sprintf("L%s %s", num(r[i][0]), num(r[i][1]))
		}
	}
	x, y = r.at(to)
	return d + fmt.Sprintf("L%s %s", num(x), num(y))
}

// seated is a part on the route, from and to so far along it.
type seated struct {
	step     int // in steps
	from, to float64
}

// seats gives the parts between tap and plug their places: those before the
// converter, or the first half of them, on the one side, the others on the
// other side. Leads are what lies between.
func (b *back) seats(first, last int, end float64) []seated {
	var solid []int
	half := -1
	for i := first; i < last; i++ {
		switch k, _ := b.Setup.PartKind(b.steps[i].part); k {
		case setup.KindLead:
			continue
		case setup.KindConverter:
			half = len(solid)
		}
		solid = append(solid, i)
	}
	var out []seated
	row := func(steps []int, lo, hi float64) {
		tall := math.Min(berth, (hi-lo)/float64(len(steps)+1))
		gap := (hi - lo - tall*float64(len(steps))) / float64(len(steps)+1)
		for j, i := range steps {
			from := lo + gap + float64(j)*(tall+gap)
			out = append(out, seated{i, from, from + tall})
		}
	}
	if half < 0 {
		half = (len(solid) + 1) / 2
		row(solid[:half], upFrom, upTo)
		row(solid[half:], endFrom, end)
		return out
	}
	row(solid[:half], upFrom, upTo)
	out = append(out, seated{solid[half], converterAt - converterBerth/2, converterAt + converterBerth/2})
	row(solid[half+1:], endFrom, end)
	return out
}

// supply draws the chain along its route, wires first.
func (b *back) supply() {
	kind := func(i int) setup.Kind { k, _ := b.Setup.PartKind(b.steps[i].part); return k }
	find := func(k setup.Kind) int {
		return slices.IndexFunc(b.steps, func(t tile) bool { got, _ := b.Setup.PartKind(t.part); return got == k })
	}
	tap, plug := find(setup.KindTap), find(setup.KindPlug)
	b.blocks()
	b.source(b.steps[tap])
	out := b.steps[plug].out || slices.Contains([]setup.Look{setup.LookApart, setup.LookContactIn}, b.looks(b.steps[plug].part))
	end := endTo
	if out {
		end -= hanging
	}
	parts := append(b.seats(tap+1, plug, end), seated{plug, end, end})
	was := seated{tap, 0, 0}
	var leads []seated
	for _, s := range parts {
		from, step := was.to, was.step
		between := s.step - was.step - 1
		for j := range between {
			middle := was.to + (s.from-was.to)*(float64(j)+.5)/float64(between)
			b.path("fig-wire "+b.wireClass(b.steps[step], b.steps[was.step+1+j]), route.between(from, middle))
			from, step = middle, was.step+1+j
			leads = append(leads, seated{step, middle, middle})
		}
		b.path("fig-wire "+b.wireClass(b.steps[step], b.steps[s.step]), route.between(from, s.from))
		was = s
	}
	for _, l := range leads {
		x, y := route.at(l.from)
		if b.looks(b.steps[l.step].part) == setup.LookDamaged {
			b.pen.mark(fmt.Sprintf("M%s %sl24 24m0 -24l-24 24", num(x-12), num(y-12)))
		}
		b.put(b.steps[l.step].part, frame{x - 11, y - 11, 22, 22}, b.inward(x))
	}
	for _, s := range parts[:len(parts)-1] {
		x, y := route.at((s.from + s.to) / 2)
		part := b.steps[s.step].part
		if kind(s.step) == setup.KindConverter {
			box := frame{x - converterBerth/2, y - 22, converterBerth, 44}
			b.brick(box, part)
			b.put(part, box, above)
			continue
		}
		tall := s.to - s.from
		b.begin(x, y, tall/berth)
		switch pt := b.Setup.Part(part); kind(s.step) {
		case setup.KindFuse:
			b.holder(pt.Fuse, b.looks(part))
		case setup.KindDiode:
			b.rect("fig-case", -13, -15, 26, 30, 5)
			b.path("fig-ink", "M0 -7L8 7H-8z")
			b.line("fig-line", -8, -8, 8, -8)
		default:
			b.mated(pt.Joint, b.looks(part))
		}
		b.end()
		b.put(part, frame{x - 15, y - tall/2, 30, tall}, b.inward(x))
	}
	b.inlets(plug, out)
}

// looks is how a part looks where the picture tells.
func (b *back) looks(part string) setup.Look {
	if !b.Reveal {
		return setup.LookSound
	}
	return b.State.Look(part)
}

// inward is the side of the chair's middle.
func (b *back) inward(x float64) side {
	if x < chainWidth/2 {
		return behind
	}
	return before
}

// holder is a fuse behind its cover.
func (b *back) holder(f *setup.Fuse, look setup.Look) {
	if !f.Cover {
		b.rect("fig-case", -15, -17, 30, 34, 6)
		b.line("fig-line", -8, -8, 8, -8)
		return
	}
	b.rect("fig-clear", -15, -17, 30, 34, 6)
	switch look {
	case setup.LookEmpty:
	case setup.LookBlown:
		b.path("fig-line", "M-7 9v-11M7 9v-11")
		b.pen.mark("M-4 -11l8 8m0 -8l-8 8")
	default:
		b.path("fig-line", "M-7 9v-12q0 -8 7 -8t7 8v12")
	}
}

// mated is a joint standing upright, the source below.
func (b *back) mated(j *setup.Joint, look setup.Look) {
	gap := map[setup.Look]float64{setup.LookHalfHome: 3, setup.LookApart: 6}[look]
	if gap > 0 {
		b.pins(-4, -gap, 2*gap, true)
	}
	b.rect("fig-body", -13, gap, 26, 18, 4)
	b.rect("fig-body", -13, -18-gap, 26, 18, 4)
	b.rect("fig-band fig-shell-"+j.Colour, -13, gap+8, 26, 7, 2)
	b.rect("fig-band fig-shell-"+j.Colour, -13, -15-gap, 26, 7, 2)
}

// brick is the converter with its fins.
func (b *back) brick(f frame, part string) {
	b.rect("fig-case", f.x, f.y, f.w, f.h, 7)
	for x := f.x + 14; x < f.x+f.w-8; x += 16 {
		b.line("fig-line", x, f.y, x, f.y+9)
		b.line("fig-line", x, f.y+f.h-9, x, f.y+f.h)
	}
	if b.Reveal {
		b.lamp(b.pilot(part, b.State.Look(part)), f.x+f.w/2, f.y+f.h/2, 5.5)
	}
}

// The battery's blocks in the box, and the chair's isolator beside them.
const (
	blocksX, blocksW = 184.0, 74.0
	blocksY, blocksH = 530.0, 50.0
	dialX, dialY     = 283.0, 552.0
)

// block is where a block's two posts are, of so many blocks.
func block(i, n int) (x, w float64) {
	w = blocksW / float64(n)
	return blocksX + float64(i)*w, w - 4
}

// blocks draws the battery in its box, and the isolator.
func (b *back) blocks() {
	battery := b.Setup.Battery()
	n := len(battery.Blocks)
	for i := range n {
		x, w := block(i, n)
		b.rect("fig-body", x, blocksY, w, blocksH, 4)
		if w < 26 {
			continue // no room for its signs
		}
		b.begin(x+w/2, blocksY+14, .5)
		b.minus(-w*.5, 0)
		b.plus(w*.5, 0)
		b.end()
	}
	b.put(b.steps[0].part, frame{blocksX, blocksY, blocksW - 4, blocksH}, before)
	i := slices.IndexFunc(b.steps, func(t tile) bool { k, _ := b.Setup.PartKind(t.part); return k == setup.KindIsolator })
	if i < 0 {
		return
	}
	b.path("fig-line", fmt.Sprintf("M%s %sH%s", num(blocksX+blocksW-4), num(dialY), num(dialX-15)))
	b.circle("fig-body", dialX, dialY, 15)
	b.dial(dialX, dialY, 12, b.looks(b.steps[i].part) == setup.LookOff)
	b.put(b.steps[i].part, frame{dialX - 15, dialY - 15, 30, 30}, behind)
}

// source is the tap: on the battery's posts, behind the isolator, or a port.
func (b *back) source(t tile) {
	n := len(b.Setup.Battery().Blocks)
	tap := b.Setup.Part(t.part).Tap
	var nuts [2]float64
	y := blocksY - 8
	switch tap.At {
	case setup.AtPort:
		b.path("fig-line", fmt.Sprintf("M%s 508V502H206V486", num(dialX)))
		b.rect("fig-case", dialX-14, 508, 28, 22, 5)
		b.rect("fig-slot", dialX-7, 515, 14, 8, 2)
		b.put(t.part, frame{dialX - 14, 508, 28, 22}, behind)
		return
	case setup.AtIsolator:
		nuts = [2]float64{dialX - 8, dialX + 8}
		b.path("fig-line", fmt.Sprintf("M%s %sV%sM%s %sV%s", num(nuts[0]), num(y), num(dialY-12), num(nuts[1]), num(y), num(dialY-12)))
	default:
		last := n - 1
		if tap.Block > 0 {
			last = tap.Block - 1
		}
		x, w := block(0, n)
		nuts[0] = x + w*.25
		x, w = block(last, n)
		nuts[1] = x + w*.75
		for _, at := range nuts {
			b.rect("fig-ink", at-4, blocksY-6, 8, 6, 0)
		}
	}
	b.path("fig-line", fmt.Sprintf("M%s %sV504M%s %sV504M%s 504H%sM206 504V486", num(nuts[0]), num(y), num(nuts[1]), num(y), num(math.Min(nuts[0], 206)), num(math.Max(nuts[1], 206))))
	for _, at := range nuts {
		b.circle("fig-nut", at, y, 6)
	}
	b.put(t.part, frame{nuts[0] - 8, y - 9, nuts[1] - nuts[0] + 16, 18}, above)
}

// inlets are at the ventilator's sides, with what is in them, and the plug
// that is in none hangs at the end of its wire.
func (b *back) inlets(plug int, out bool) {
	chair, mains := b.Setup.Ventilator.InletFor(setup.Chair), b.Setup.Ventilator.InletFor(setup.Mains)
	b.rect("fig-case", 300, inletY-13, 9, 26, 2)
	b.rect("fig-slot", 303, inletY-6, 6, 12, 1)
	if out {
		x, y := route.at(endTo - hanging)
		b.pins(x-5, y-34, 10, true)
		b.rect("fig-body", x-12, y-24, 24, 24, 4)
		b.put(b.steps[plug].part, frame{x - 12, y - 34, 24, 34}, before)
	} else {
		x := 309.0
		if b.looks(b.steps[plug].part) == setup.LookHalfHome {
			b.pins(x, inletY-5, 9, false)
			x += 8
		}
		b.rect("fig-body", x, inletY-12, 28, 24, 4)
		b.rect("fig-body", 321, inletY+12, 10, 9, 2)
		b.put(b.steps[plug].part, frame{x, inletY - 12, 28, 30}, above)
	}
	if chair.Switch != "" {
		b.rect("fig-rail", 264, 197, 28, 13, 6)
		at := 271.0
		if b.looks(chair.Switch) == setup.LookOff {
			at = 285
		}
		b.circle("fig-ink", at, 203.5, 5)
		b.put(chair.Switch, frame{264, 197, 28, 13}, above)
	}
	b.put(chair.ID, frame{298, inletY - 13, 11, 26}, above)
	b.fromWall(mains, chair, b.steps[plug].out)
}

// pins are a plug's two contacts.
func (b *back) pins(x, y, long float64, upright bool) {
	for i := range 2 {
		if upright {
			b.rect("fig-pin", x+float64(i)*7-1, y, 4, long, 0)
		} else {
			b.rect("fig-pin", x, y+float64(i)*7-1, long, 4, 0)
		}
	}
}

// fromWall is the inlet for mains where it has its own, and the adapter's plug
// and wire while they are there: with power, or in the inlet that both share.
func (b *back) fromWall(mains, chair *setup.Inlet, taken bool) {
	if mains == nil {
		return
	}
	own := mains.ID != chair.ID
	wire, box := "M145 244V604", frame{143, inletY - 12, 28, 30}
	if own {
		b.rect("fig-case", 171, inletY-13, 9, 26, 2)
		b.rect("fig-slot", 171, inletY-6, 6, 12, 1)
		b.put(mains.ID, frame{171, inletY - 13, 11, 26}, above)
	} else {
		wire, box = "M345 244V604", frame{309, inletY - 12, 40, 30}
	}
	last := b.Setup.Mains[len(b.Setup.Mains)-1].ID
	if !b.Reveal || !b.State.Live[last] && (own || !taken) {
		return
	}
	class := "fig-dead"
	if b.State.Live[last] {
		class = "fig-live"
	}
	b.path("fig-wire "+class, wire)
	b.rect("fig-body", box.x, box.y, box.w, 24, 4)
	b.put(last, box, above)
	for i := range b.Setup.Mains {
		if m := &b.Setup.Mains[i]; m.ID != last && (m.Adapter != nil || m.ID == b.Point) {
			y := 470.0
			if own {
				b.put(m.ID, frame{134, y, 22, 22}, above)
			} else {
				b.put(m.ID, frame{334, y, 22, 22}, above)
			}
		}
	}
}

// hung is the bag, on a push handle, within reach.
func (b *back) hung() {
	b.path("fig-line", "M147 142L139 126V116M147 142L155 126V116")
	b.WriteString("<g transform=\"rotate(90 147 138)\">\n")
	b.begin(147, 138, .52)
	b.bag(0, 0, 0)
	b.end()
	b.WriteString("</g>\n")
	b.names = append(b.names, name{what: frame{136, 165, 22, 22}, lines: wrap(b.Words("figure.bag"), labelSize, backAlone)})
}
