package figure

import (
	"fmt"
	"math"
	"strconv"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
)

// picture draws a part on a field of 240 × 140 whose wires come in at the
// left and go out at the right, at half height. Nothing in it mirrors: what
// has a plus has it on its own side. A neutral picture is that of a sound part
// and tells nothing of the state; a fine one has what only shows close up.
func (v *View) picture(p *pen, part string, look setup.Look, neutral, fine bool) {
	if neutral {
		look = setup.LookSound
	}
	pilot := v.pilot(part, look)
	turned := v.RTL && !fine // close up, no neighbour gives it a direction
	if part == ventilator {
		p.along(turned, p.machine)
		return
	}
	kind, _ := v.Setup.PartKind(part)
	switch pt := v.Setup.Part(part); kind {
	case setup.KindBattery:
		p.along(turned, func() { p.line("fig-line", 202, 70, 240, 70) })
		p.pack(v.packLevel(look, neutral), look == setup.LookDark)
	case setup.KindIsolator:
		p.isolator(look, v.bypassed())
	case setup.KindTap:
		p.along(turned, func() { p.tap(pt.Tap.At, look) })
		p.tapped(pt.Tap.At, turned)
	case setup.KindLead:
		p.lead(look)
	case setup.KindJoint:
		p.joint(pt.Joint, look)
	case setup.KindFuse:
		p.fuse(pt.Fuse, look, fine)
	case setup.KindDiode:
		p.along(turned, p.diode)
	case setup.KindConverter:
		p.converter(pt.Converter, look, pilot, neutral, fine, turned)
	case setup.KindPlug:
		p.along(turned, func() { p.plug(pt.Plug, look, fine) })
	case setup.KindOutlet:
		p.along(turned, func() { p.line("fig-line", 190, 70, 240, 70) })
		p.outlet(pt.Outlet, look)
	case setup.KindCord:
		p.along(turned, func() { p.cord(look) })
	case setup.KindAdapter:
		p.adapter(pt.Adapter, look, pilot, neutral, fine, turned)
	case setup.KindInlet:
		p.inlet(v.Setup, part)
	case setup.KindSwitch:
		p.toggle(look == setup.LookOff)
	case setup.KindInternal:
		p.inside(v.insideLevel(look, neutral))
	case setup.KindLamp, setup.KindScreen:
		v.shown(p, part)
	case setup.KindAlarm:
		v.alarm(p)
	case setup.KindPanel:
		v.small(p)
	}
}

// along draws what has a direction along the way the chain runs.
func (p *pen) along(turned bool, draw func()) {
	if turned {
		p.WriteString("<g transform=\"translate(240 0) scale(-1 1)\">\n")
		defer p.WriteString("</g>\n")
	}
	draw()
}

// bars is how many of four level bars are full; unknown draws none of them.
type bars int

const unknown bars = -1

func level(charge float64) bars { return bars(min(4, int(charge*4+.5))) }

func (v *View) packLevel(look setup.Look, neutral bool) bars {
	switch {
	case neutral:
		return unknown
	case look == setup.LookLow:
		return 0
	}
	return level(v.State.Chair)
}

func (v *View) insideLevel(look setup.Look, neutral bool) bars {
	switch {
	case neutral:
		return unknown
	case look == setup.LookLow:
		return 0
	}
	return level(v.State.Inside)
}

// leads are the two ends of wire that a picture hangs on.
func (p *pen) leads(left, right float64) {
	p.line("fig-line", 0, 70, left, 70)
	p.line("fig-line", right, 70, 240, 70)
}

// plus and minus are drawn, not written, so that no font turns them.
func (p *pen) plus(x, y float64) {
	p.path("fig-line", fmt.Sprintf("M%s %sh20m-10 -10v20", num(x-10), num(y)))
}

func (p *pen) minus(x, y float64) { p.line("fig-line", x-10, y, x+10, y) }

// stain is where a part has been hot: a brown patch with a ragged edge and a
// charred middle, so that it does not rest on colour.
func (p *pen) stain(x, y, w, h float64) {
	blot := func(class string, size float64) {
		const waves = 9
		at := func(i int, r float64) string {
			sin, cos := math.Sincos(math.Pi * (float64(i) + .4) / waves)
			return num(x+w/2+cos*r*w*size/2) + " " + num(y+h/2+sin*r*h*size/2)
		}
		d := "M" + at(0, .9)
		for i := range waves { // bulges and dents in turn
			d += "Q" + at(2*i+1, 1.18-.3*float64(i%2)) + " " + at(2*i+2, .9)
		}
		p.path(class, d+"z")
	}
	blot("fig-brown", 1)
	blot("fig-char", .56)
}

// unequal is the sign that what stands there is not what belongs there.
func (p *pen) unequal(x, y, size float64) {
	p.mark(fmt.Sprintf("M%s %sh%sM%s %sh%sM%s %sL%s %s",
		num(x-size), num(y-size*.36), num(2*size), num(x-size), num(y+size*.36), num(2*size),
		num(x+size*.5), num(y-size), num(x-size*.5), num(y+size)))
}

// stranger draws a part of the wrong type smaller, beside the label on its
// wire that says what belongs there.
func (p *pen) stranger(belongs string, draw func()) {
	p.begin(0, 21, .7)
	draw()
	p.end()
	p.line("fig-line", 168, 70, 240, 70)
	p.unequal(200, 38, 20)
	p.line("fig-line", 200, 70, 200, 86)
	p.rect("fig-body", 162, 86, 76, 42, 6)
	p.device("fig-device", 200, 116, 26, 66, belongs)
}

// otherVolts is what is written on a part of the wrong type.
func otherVolts(v setup.Volts) setup.Volts { return setup.Volts(circuit.OtherFamily(float64(v))) }

// sliver is what is left of a level that is low.
func (p *pen) sliver(x, y, h float64) {
	class := "fig-low"
	if p.asked {
		class = "fig-ink"
	}
	p.rect(class, x, y, 7, h, 2)
}

// ghost is where something should stand.
func (p *pen) ghost(x, y, w, h float64) {
	if !p.asked {
		p.rect("fig-ghost", x, y, w, h, 2)
	}
}

func (p *pen) levelBars(n bars, x, y, w, h float64) {
	if n == unknown {
		return
	}
	step := w / 4
	for i := range 4 {
		class := "fig-bar"
		if bars(i) < n {
			class = "fig-bar fig-bar-full"
		}
		p.rect(class, x+float64(i)*step+2, y, step-6, h, 3)
	}
}

func (p *pen) pack(n bars, blank bool) {
	p.rect("fig-ink", 66, 18, 24, 14, 3)
	p.rect("fig-ink", 150, 18, 24, 14, 3)
	p.rect("fig-body", 38, 30, 164, 94, 8)
	p.minus(78, 50)
	p.plus(162, 50)
	if blank { // its gauge shows nothing at all
		p.rect("fig-screen fig-blank", 56, 70, 128, 44, 5)
		p.mark("M72 106L168 78")
		return
	}
	p.levelBars(n, 56, 74, 132, 36)
	if n == 0 { // one sliver left
		p.sliver(61, 78, 28)
	}
}

func (p *pen) inside(n bars) {
	p.rect("fig-case", 26, 8, 188, 124, 16)
	p.rect("fig-body", 56, 42, 116, 58, 6)
	p.rect("fig-ink", 172, 60, 12, 22, 2)
	p.levelBars(n, 64, 52, 104, 38)
	if n == 0 {
		p.sliver(68, 56, 30)
	}
	if n == unknown {
		p.minus(88, 71)
		p.plus(140, 71)
	}
}

// isolator is the chair's own dial: its mark stands at the O or at the I.
func (p *pen) isolator(look setup.Look, bypassed bool) {
	if bypassed {
		p.path("fig-line", "M0 70H26V134H214V70H240")
	} else {
		p.leads(76, 164)
	}
	p.circle("fig-body", 120, 76, 44)
	p.dial(120, 76, 36, look == setup.LookOff)
	if look == setup.LookDiscoloured {
		p.stain(52, 70, 66, 64)
	}
	p.offMark(68, 22)
	p.onMark(172, 22)
}

// dial is a knob of this reach, whose mark points up to the I, or to the O
// before it.
func (p *pen) dial(x, y, reach float64, off bool) {
	turn := 45
	if off {
		turn = -45
	}
	fmt.Fprintf(p, "<g transform=\"rotate(%d %s %s)\">\n", turn, num(x), num(y))
	p.path("fig-ink", fmt.Sprintf("M%s %sL%s %sV%sH%sV%sz", num(x), num(y-reach), num(x+reach*.36), num(y-reach*.5), num(y+reach*.8), num(x-reach*.36), num(y-reach*.5)))
	p.WriteString("</g>\n")
}

// onMark and offMark are a switch's I and O.
func (p *pen) onMark(x, y float64)  { p.line("fig-line", x, y-11, x, y+11) }
func (p *pen) offMark(x, y float64) { p.circle("fig-line", x, y, 11) }

func (p *pen) toggle(off bool) {
	p.leads(30, 210)
	p.rect("fig-case", 30, 16, 180, 108, 14)
	p.rect("fig-rail", 62, 62, 116, 44, 22)
	p.onMark(84, 40)
	p.offMark(156, 40)
	if off {
		p.circle("fig-knob", 156, 84, 26)
	} else {
		p.circle("fig-knob", 84, 84, 26)
	}
}

// tap is where the supply is taken off: an eye on either post, of the battery
// or behind the isolator, and both wires into one lead.
func (p *pen) tap(at setup.TapAt, look setup.Look) {
	if at == setup.AtPort {
		p.port(look)
		return
	}
	p.line("fig-line", 0, 70, 20, 70)
	p.rect("fig-body", 20, 62, 128, 66, 8)
	p.rect("fig-ink", 42, 46, 16, 16, 2)
	p.rect("fig-ink", 110, 46, 16, 16, 2)
	p.path("fig-line", "M50 40C50 2 196 -6 200 60")
	eye := 118.0
	if look == setup.LookApart { // one eye hangs beside its post
		eye = 162
		p.path("fig-line", "M162 28C172 28 186 40 190 60")
		p.gap(126, 148, 28)
	} else {
		p.path("fig-line", "M118 40C124 16 184 24 190 60")
	}
	p.circle("fig-nut", 50, 44, 14)
	p.circle("fig-ink", 50, 44, 5)
	p.circle("fig-nut", eye, 44, 14)
	if eye > 118 {
		p.circle("fig-clear", eye, 44, 6)
	} else {
		p.circle("fig-ink", eye, 44, 5)
	}
	p.rect("fig-body", 182, 58, 30, 24, 5)
	p.line("fig-line", 212, 70, 240, 70)
	if look == setup.LookDiscoloured {
		p.stain(86, 12, 66, 66)
	}
}

// tapped is what the tap sits on, which never turns: the battery's plus and
// minus, or the isolator's dial.
func (p *pen) tapped(at setup.TapAt, turned bool) {
	x := 84.0
	if turned {
		x = 240 - x
	}
	switch at {
	case setup.AtIsolator:
		p.circle("fig-line", x, 96, 24)
		p.dial(x, 96, 19, false)
	case setup.AtPosts:
		p.minus(x-34, 92)
		p.plus(x+34, 92)
	}
}

// port is an accessory port with its plug in, and a little lamp that is dark
// while the chair sleeps.
func (p *pen) port(look setup.Look) {
	p.leads(24, 216)
	p.rect("fig-case", 24, 10, 120, 120, 14)
	g := lit
	if look == setup.LookDark {
		g = dark
	}
	p.lamp(g, 56, 36, 11)
	p.rect("fig-slot", 104, 46, 40, 48, 4)
	mouth := 130.0
	if look == setup.LookApart {
		mouth = 184
		p.gap(144, mouth, 24)
	}
	p.rect("fig-body", mouth, 44, 216-mouth, 52, 8)
	if look == setup.LookDiscoloured {
		p.stain(96, 38, 68, 64)
	}
}

func (p *pen) lead(look setup.Look) {
	if look != setup.LookDamaged {
		p.path("fig-cable-edge", "M0 70C60 20 90 20 120 70S180 120 240 70")
		p.path("fig-cable", "M0 70C60 20 90 20 120 70S180 120 240 70")
		return
	}
	p.path("fig-cable-edge", "M0 70C34 42 60 40 84 52M156 88C180 100 206 98 240 70")
	p.path("fig-cable", "M0 70C34 42 60 40 84 52M156 88C180 100 206 98 240 70")
	p.fray("M84 46l22 2M86 56l24 8M80 62l16 14M156 80l-22 -10M154 90l-24 0M158 98l-18 10")
	p.mark("M92 22l8 14M120 14v18M148 22l-8 14")
}

// half is one shell of a joint, from its back at x to its mouth.
func (p *pen) half(j *setup.Joint, x, w float64, right, turned, stranger bool) {
	y, h, r := 30.0, 80.0, 6.0
	colour := j.Colour
	if stranger {
		y, h, r = 42, 56, 24
		if colour = "yellow"; j.Colour == "yellow" {
			colour = "blue"
		}
	}
	p.rect("fig-body", x, y, w, h, r)
	band := x + 8
	if right {
		band = x + w - 26
	}
	p.rect("fig-band fig-shell-"+colour, band, y+7, 18, h-14, 3)
	key := j.Key
	if stranger {
		key = map[string]string{"flat": "ridge", "ridge": "notch", "notch": "ridge"}[j.Key]
	}
	at := x + w - 30
	if right {
		at = x + 8
	}
	top := y
	if turned {
		top = y + h
	}
	switch key {
	case "ridge":
		if turned {
			p.rect("fig-key", at, top, 22, 13, 3)
		} else {
			p.rect("fig-key", at, top-13, 22, 13, 3)
		}
	case "notch":
		if turned {
			p.rect("fig-key", at, top-13, 22, 13, 3)
		} else {
			p.rect("fig-key", at, top, 22, 13, 3)
		}
	}
}

func (p *pen) joint(j *setup.Joint, look setup.Look) {
	left, right, w := 42.0, 120.0, 78.0
	switch look {
	case setup.LookHalfHome:
		left, right = 22, 140
	case setup.LookApart:
		left, right, w = 8, 164, 68
	}
	p.leads(left, right+w)
	contacts := 2
	if j.Sense {
		contacts = 3
	}
	if gap := right - left - w; gap > 0 {
		long := gap
		if look == setup.LookApart {
			long = 26
		}
		for i := range contacts {
			p.rect("fig-pin", right-long, contactY(i, contacts)-5, long, 10, 2)
		}
	}
	p.half(j, left, w, false, false, false)
	if look == setup.LookMismatched { // of another make: its own form and letter
		p.path("fig-body", "M120 46L140 24H180L200 46V94L180 116H140L120 94z")
		p.rect("fig-band fig-shell-"+j.Colour, 174, 44, 14, 52, 3)
		p.device("fig-device", 90, 81, 32, 34, "A")
		p.device("fig-device", 148, 81, 32, 34, "B")
		p.unequal(120, 126, 13)
		return
	}
	p.half(j, right, w, true, look == setup.LookReversed, look == setup.LookCrossed)
	switch look {
	case setup.LookSound, setup.LookHalfHome, setup.LookApart, setup.LookDiscoloured:
		p.plus(left+w-22, 59)
		p.minus(left+w-22, 91)
		p.plus(right+22, 59)
		p.minus(right+22, 91)
	case setup.LookReversed:
		p.plus(left+w-22, 59)
		p.minus(left+w-22, 91)
		p.minus(right+22, 59)
		p.plus(right+22, 91)
		p.mark("M100 20q20 -18 40 0m0 0l-2 -13m2 13l-13 -1M140 120q-20 18 -40 0m0 0l2 13m-2 -13l13 1")
	case setup.LookCrossed:
		p.plus(left+w-22, 59)
		p.minus(left+w-22, 91)
		p.mark("M106 114l24 22m0 -22l-24 22")
	}
	switch look {
	case setup.LookHalfHome: // how wide the gap is
		p.mark("M100 6v124M140 6v124M60 14h32m-10 -8l10 8l-10 8M180 14h-32m10 -8l-10 8l10 8")
	case setup.LookDiscoloured:
		p.stain(78, 26, 84, 88)
	case setup.LookContactIn:
		p.opened(contacts)
	}
}

// opened is a look into a joint whose first contact has been pushed back: it
// stands out behind its shell and does not reach its partner.
func (p *pen) opened(contacts int) {
	p.rect("fig-clear", 70, 34, 100, 72, 4)
	for i := range contacts {
		y := 70 + (contactY(i, contacts)-70)*1.5
		if contacts > 2 {
			y = contactY(i, contacts)
		}
		if i > 0 {
			p.rect("fig-pin", 70, y-7, 100, 14, 2)
			continue
		}
		p.rect("fig-pin", 70, y-7, 38, 14, 2)
		p.rect("fig-pin", 152, y-7, 80, 14, 2)
		p.ghost(111, y-7, 38, 14)
		p.mark(fmt.Sprintf("M196 %sh34m-10 -8l10 8l-10 8", num(y-20)))
	}
}

// contactY spreads n contacts over a face.
func contactY(i, n int) float64 { return 70 + (float64(i)-float64(n-1)/2)*24 }

func (p *pen) fuse(f *setup.Fuse, look setup.Look, fine bool) {
	if look == setup.LookMismatched && f.Cover {
		p.stranger(amps(f.Rating), func() {
			p.fuse(f, setup.LookSound, false)
			p.device("fig-device", 120, 106, 32, 56, amps(circuit.WrongRating))
		})
		return
	}
	p.leads(44, 196)
	p.rect("fig-clear", 44, 10, 152, 120, 14)
	if look == setup.LookBrowned {
		p.stain(34, 70, 66, 64)
		p.stain(140, 70, 66, 64)
	}
	if !f.Cover {
		p.rect("fig-case", 44, 10, 152, 90, 14)
		p.line("fig-line", 70, 34, 170, 34)
		return
	}
	if look == setup.LookEmpty {
		p.rect("fig-slot", 70, 74, 18, 44, 3)
		p.rect("fig-slot", 152, 74, 18, 44, 3)
		return
	}
	p.rect("fig-pin", 70, 62, 18, 56, 3)
	p.rect("fig-pin", 152, 62, 18, 56, 3)
	if look == setup.LookBlown {
		p.path("fig-soot", "M92 36Q88 18 108 20T138 16Q160 24 150 40Q140 56 122 48T92 36z")
		p.path("fig-element", "M79 62V44Q79 30 92 32L96 40M161 62V44Q161 30 148 30L146 22")
		p.mark("M108 24l26 26m0 -26l-26 26")
	} else {
		p.path("fig-element", "M79 62V44Q79 28 98 28H142Q161 28 161 44V62")
	}
	if fine {
		p.device("fig-device", 120, 96, 17, 58, amps(f.Rating))
	}
}

func amps(a setup.Amps) string { return strconv.FormatFloat(float64(a), 'g', -1, 64) + " A" }

func volts(v setup.Volts) string { return strconv.FormatFloat(float64(v), 'g', -1, 64) + " V" }

// diode is its own sign in a block: the way it lets through, and the bar
// against coming back.
func (p *pen) diode() {
	p.leads(46, 194)
	p.rect("fig-case", 46, 22, 148, 96, 10)
	p.line("fig-line", 62, 70, 92, 70)
	p.path("fig-ink", "M92 42L144 70L92 98z")
	p.line("fig-element", 148, 44, 148, 96)
	p.line("fig-line", 148, 70, 178, 70)
}

// way is the arrow of a part that makes one kind of volts into another.
func (p *pen) way(x, length float64, turned bool) {
	tip, back := x+length, -1.0
	if turned {
		tip, back = x, 1
	}
	p.path("fig-line", fmt.Sprintf("M%s 70h%sM%s 58L%s 70L%s 82", num(x), num(length), num(tip+back*12), num(tip), num(tip+back*12)))
}

func (p *pen) converter(c *setup.Converter, look setup.Look, pilot glow, neutral, fine, turned bool) {
	body := func() {
		p.leads(30, 210)
		p.rect("fig-case", 30, 20, 180, 100, 10)
		for x := 54.0; x <= 186; x += 22 {
			p.line("fig-line", x, 20, x, 36)
			p.line("fig-line", x, 104, x, 120)
		}
		if !neutral {
			p.lamp(pilot, 180, 70, 12)
		}
	}
	if look == setup.LookMismatched {
		p.stranger(volts(c.Output), func() {
			body()
			p.device("fig-device", 98, 83, 38, 110, volts(otherVolts(c.Output)))
		})
		return
	}
	body()
	p.way(44, 36, turned)
	if fine {
		p.device("fig-device", 122, 76, 15, 56, volts(c.Output))
	}
}

// plug is seen from the side with the inlet it belongs in; close up, also its
// face.
func (p *pen) plug(pl *setup.Plug, look setup.Look, fine bool) {
	contacts := 2
	if pl.Sense {
		contacts = 3
	}
	const wall = 184.0
	mouth := wall
	switch look {
	case setup.LookHalfHome:
		mouth = wall - 34
	case setup.LookApart, setup.LookContactIn:
		mouth = 100
	}
	if fine {
		p.begin(0, 29, .58)
		defer p.face(contacts, look)
	}
	p.line("fig-line", 0, 70, mouth-90, 70)
	if !fine {
		p.line("fig-line", wall+30, 70, 240, 70)
	}
	p.rect("fig-case", wall, 24, 40, 92, 6)
	out := mouth < wall
	for i := range contacts {
		y := contactY(i, contacts)
		if out && !(look == setup.LookContactIn && i == 0) {
			p.rect("fig-pin", mouth, y-5, 34, 10, 2)
		}
		if look == setup.LookApart || look == setup.LookContactIn {
			p.rect("fig-slot", wall, y-6, 18, 12, 2)
		}
	}
	p.rect("fig-body", mouth-66, 32, 66, 76, 8)
	p.rect("fig-body", mouth-90, 52, 24, 36, 4)
	switch look {
	case setup.LookHalfHome:
		p.gap(mouth, wall, 14)
	case setup.LookContactIn: // where the contact should stand
		y := contactY(0, contacts)
		p.ghost(mouth+3, y-6, 34, 12)
		p.mark(fmt.Sprintf("M%s 16H%sm12 -9l-12 9l12 9M%s %sV26", num(mouth+42), num(mouth-4), num(mouth+20), num(y-10)))
	case setup.LookDiscoloured:
		p.stain(mouth-46, 30, 84, 80)
	}
	if fine {
		p.end()
	}
}

// gap measures an opening that should not be there.
func (p *pen) gap(from, to, y float64) {
	p.mark(fmt.Sprintf("M%s %sv22M%s %sv22M%s %sH%sm-8 -6l8 6l-8 6M%s %sH%sm8 -6l-8 6l8 6",
		num(from), num(y-11), num(to), num(y-11), num(from-26), num(y), num(from), num(to+26), num(y), num(to)))
}

// face is a plug seen from the inlet: contacts level, or one deep in its hole.
func (p *pen) face(contacts int, look setup.Look) {
	p.circle("fig-body", 192, 72, 48)
	p.rect("fig-key", 182, 20, 20, 10, 2)
	if look == setup.LookDiscoloured {
		p.stain(158, contactY(contacts-1, contacts)-26, 68, 56)
	}
	for i := range contacts {
		y := contactY(i, contacts)
		if look == setup.LookContactIn && i == 0 {
			p.circle("fig-hole", 192, y, 7)
			if !p.asked {
				p.circle("fig-line fig-bad", 192, y, 14)
			}
			continue
		}
		p.circle("fig-pin", 192, y, 8.5)
	}
}

func (p *pen) outlet(o *setup.Outlet, look setup.Look) {
	p.rect("fig-body", 46, 6, 144, 128, 12)
	p.rect("fig-case", 58, 24, 70, 92, 28)
	p.line("fig-element", 80, 50, 80, 68)
	p.line("fig-element", 106, 50, 106, 68)
	p.circle("fig-ink", 93, 92, 7)
	off := look == setup.LookOff
	if !o.Switched { // no switch: a little lamp tells whether it has tripped
		g := lit
		if off {
			g = dark
		}
		p.lamp(g, 159, 70, 10)
		return
	}
	p.rect("fig-rail", 146, 42, 26, 56, 13)
	p.onMark(159, 25)
	p.offMark(159, 115)
	if off {
		p.circle("fig-knob", 159, 83, 12)
	} else {
		p.circle("fig-knob", 159, 57, 12)
	}
}

// cord ends in the connector that goes into the adapter, which carries the
// sign of what alternates.
func (p *pen) cord(look setup.Look) {
	mouth := 170.0
	switch look {
	case setup.LookHalfHome:
		mouth = 134
		p.rect("fig-pin", mouth, 53, 36, 10, 2)
		p.rect("fig-pin", mouth, 77, 36, 10, 2)
		p.gap(mouth, 170, 18)
	case setup.LookDamaged:
		p.fray("M34 64l14 -6M34 70h16M34 76l14 6M76 64l-14 -8M76 72l-14 0M76 78l-12 8")
		p.mark("M44 36l4 10M56 32v12M68 36l-4 10")
	}
	if look == setup.LookDamaged {
		p.line("fig-cable-edge", 0, 70, 34, 70)
		p.line("fig-cable", 0, 70, 34, 70)
		p.line("fig-cable-edge", 76, 70, mouth-60, 70)
		p.line("fig-cable", 76, 70, mouth-60, 70)
	} else {
		p.line("fig-cable-edge", 0, 70, mouth-60, 70)
		p.line("fig-cable", 0, 70, mouth-60, 70)
	}
	p.path("fig-body", fmt.Sprintf("M%s 56L%s 38H%sV102H%sL%s 84z", num(mouth-64), num(mouth-40), num(mouth), num(mouth-40), num(mouth-64)))
	p.path("fig-case", "M240 28H170V112H240")
	p.begin(207, 70, .8)
	p.symbol("alternating-current", 0, 0)
	p.end()
}

func (p *pen) adapter(a *setup.Adapter, look setup.Look, pilot glow, neutral, fine, turned bool) {
	if look == setup.LookMismatched {
		p.stranger(volts(a.Output), func() {
			p.leads(34, 206)
			p.rect("fig-case", 34, 26, 172, 88, 18)
			p.device("fig-device", 100, 83, 38, 104, volts(otherVolts(a.Output)))
			p.lamp(pilot, 178, 70, 12)
		})
		return
	}
	p.leads(34, 206)
	p.rect("fig-case", 34, 26, 172, 88, 18)
	from, to := 58.0, 142.0 // of what comes in, and of what goes out
	if turned {
		from, to = 146, 54
	}
	p.path("fig-line", fmt.Sprintf("M%s 70c6 -18 12 -18 18 0s12 18 18 0", num(from)))
	p.way(110, 20, turned)
	if neutral {
		p.path("fig-line", fmt.Sprintf("M%s 64h44M%s 78h10m7 0h10m7 0h10", num(to), num(to)))
		return
	}
	p.lamp(pilot, to+24, 70, 13)
	if fine {
		p.device("fig-device", 106, 105, 15, 60, volts(a.Output))
	}
}

// inlet carries the signs of the sources it takes.
func (p *pen) inlet(s *setup.Setup, part string) {
	p.line("fig-line", 0, 70, 30, 70)
	p.line("fig-line", 210, 70, 240, 70)
	p.rect("fig-case", 30, 8, 180, 124, 14)
	p.circle("fig-body", 88, 70, 42)
	p.circle("fig-hole", 88, 57, 8)
	p.circle("fig-hole", 88, 83, 8)
	for _, in := range s.Ventilator.Inlets {
		if in.ID != part {
			continue
		}
		y := 70 - float64(len(in.Takes)-1)*22
		for _, source := range in.Takes {
			p.symbol(map[setup.Source]string{setup.Mains: "alternating-current", setup.Chair: "direct-current"}[source], 174, y)
			y += 44
		}
	}
}

func (p *pen) machine() {
	p.line("fig-line", 0, 70, 30, 70)
	p.path("fig-case", "M46 16H182Q196 16 196 30V118Q196 130 182 130H46Q30 130 30 118V30Q30 16 46 16z")
	p.rect("fig-screen fig-blank", 50, 34, 90, 40, 5)
	p.circle("fig-line", 168, 54, 12)
	p.line("fig-line", 52, 100, 138, 100)
	p.path("fig-line", "M196 88h10q12 0 12 12v8q0 12 12 12h10M196 108h2q4 0 4 8v4q0 18 18 18h20")
}

// shown is a lamp or a screen of the panel, large.
func (v *View) shown(p *pen, part string) {
	in := v.indication(part)
	p.rect("fig-case", 20, 4, 200, 132, 14)
	for _, it := range v.Setup.Ventilator.Panel {
		if it.ID != part {
			continue
		}
		if it.Lamp != "" {
			p.symbol(it.Lamp, 120, 36)
			p.lamp(glowOf(in), 120, 94, 20)
			continue
		}
		p.rect(screenClass(in), 36, 36, 168, 68, 6)
		p.device("fig-screen-words", 120, 78, 22, 152, in.Screen)
	}
}

// alarm is the alarm's own sign: ringing, quiet or crossed.
func (v *View) alarm(p *pen) {
	p.rect("fig-case", 50, 4, 140, 132, 14)
	p.begin(120, 70, 2.2)
	p.bell(0, 0, v.ring())
	p.end()
}

// small is the whole panel in a part's field.
func (v *View) small(p *pen) {
	face, height := v.face(func(_ *pen, _ setup.Item, _ frame, draw func()) { draw() })
	scale := min(240/panelWidth, 140/height)
	p.begin(120-panelWidth*scale/2, 70-height*scale/2, scale)
	p.WriteString(face)
	p.end()
}
