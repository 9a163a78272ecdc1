package figure

import (
	"fmt"
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
	if part == ventilator {
		p.machine()
		return
	}
	kind, _ := v.Setup.PartKind(part)
	switch pt := v.part(part); kind {
	case setup.KindBattery:
		p.pack(v.packLevel(pt, look, neutral))
	case setup.KindIsolator:
		p.isolator(look == setup.LookOff, v.bypassed())
	case setup.KindTap:
		p.tap(pt.Tap.At, look)
	case setup.KindLead:
		p.lead(look)
	case setup.KindJoint:
		p.joint(pt.Joint, look)
	case setup.KindFuse:
		p.fuse(pt.Fuse, look, fine)
	case setup.KindConverter:
		p.converter(pt.Converter, pilot, neutral, fine)
	case setup.KindPlug:
		p.plug(pt.Plug, look, fine)
	case setup.KindOutlet:
		p.outlet(pt.Outlet, look)
	case setup.KindCord:
		p.cord(look)
	case setup.KindAdapter:
		p.adapter(pilot, neutral)
	case setup.KindInlet:
		p.inlet(v.Setup, part)
	case setup.KindSwitch:
		p.toggle(look == setup.LookOff)
	case setup.KindInternal:
		p.inside(v.insideLevel(look, neutral))
	case setup.KindLamp, setup.KindScreen:
		v.shown(p, part)
	}
}

// bars is how many of four level bars are full; unknown draws none of them.
type bars int

const unknown bars = -1

func level(charge float64) bars { return bars(min(4, int(charge*4+.5))) }

// packLevel reads the pack's charge back from its solved volts.
func (v *View) packLevel(pt *setup.Part, look setup.Look, neutral bool) bars {
	switch {
	case neutral:
		return unknown
	case look == setup.LookLow:
		return 0
	}
	for _, n := range v.State.Nodes {
		if n.ID != pt.ID {
			continue
		}
		inner := 0.0
		for _, b := range pt.Battery.Blocks {
			inner += float64(b.Resistance)
		}
		volts := (n.Volts + v.State.Amps*inner) / float64(len(pt.Battery.Blocks))
		charge := 1.0
		for charge > 0 && circuit.OpenCircuit(pt.Battery.Chemistry, charge) > volts {
			charge -= .01
		}
		return level(charge)
	}
	return unknown
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

// stain is where a part has been hot: a brown patch, hatched so that it does
// not rest on colour.
func (p *pen) stain(x, y, w, h float64) {
	p.rect("fig-brown", x, y, w, h, 12)
	for at := x + 12; at < x+w-4; at += 16 {
		p.line("fig-brown-line", at, y+h-6, at+min(10, x+w-4-at), y+6)
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

func (p *pen) pack(n bars) {
	p.line("fig-line", 202, 70, 240, 70)
	p.rect("fig-ink", 66, 18, 24, 14, 3)
	p.rect("fig-ink", 150, 18, 24, 14, 3)
	p.rect("fig-body", 38, 30, 164, 94, 8)
	p.minus(78, 50)
	p.plus(162, 50)
	p.levelBars(n, 56, 74, 132, 36)
	if n == 0 { // one sliver left
		p.rect("fig-low", 61, 78, 7, 28, 2)
	}
}

func (p *pen) inside(n bars) {
	p.rect("fig-case", 26, 8, 188, 124, 16)
	p.rect("fig-body", 56, 42, 116, 58, 6)
	p.rect("fig-ink", 172, 60, 12, 22, 2)
	p.levelBars(n, 64, 52, 104, 38)
	if n == 0 {
		p.rect("fig-low", 68, 56, 7, 30, 2)
	}
	if n == unknown {
		p.minus(88, 71)
		p.plus(140, 71)
	}
}

func (p *pen) isolator(off, bypassed bool) {
	if bypassed {
		p.path("fig-line", "M0 70H26V134H214V70H240")
	} else {
		p.leads(76, 164)
	}
	p.circle("fig-body", 120, 70, 44)
	if off {
		p.rect("fig-knob", 109, 34, 22, 72, 8)
	} else {
		p.rect("fig-knob", 84, 59, 72, 22, 8)
	}
	p.offMark(120, 12)
	p.onMark(182, 46)
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

func (p *pen) tap(at setup.TapAt, look setup.Look) {
	if at == setup.AtPort {
		p.leads(40, 200)
		p.rect("fig-case", 40, 14, 160, 112, 14)
		p.circle("fig-body", 104, 70, 42)
		p.circle("fig-ink", 104, 70, 12)
		g := lit
		if look == setup.LookDark {
			g = dark
		}
		p.lamp(g, 172, 70, 11)
	} else {
		p.path("fig-line", "M0 70H66M92 44H150Q180 44 180 70H240M92 96H150Q180 96 180 70")
		p.rect("fig-body", 66, 20, 26, 100, 6)
		p.circle("fig-nut", 79, 44, 20)
		p.circle("fig-nut", 79, 96, 20)
		p.circle("fig-ink", 79, 44, 6)
		p.circle("fig-ink", 79, 96, 6)
		if look == setup.LookDark {
			p.lamp(dark, 206, 30, 11)
		}
	}
	if look == setup.LookDiscoloured {
		p.stain(56, 22, 74, 44)
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
	p.path("fig-line fig-bad", "M84 46l22 2M86 56l24 8M80 62l16 14M156 80l-22 -10M154 90l-24 0M158 98l-18 10")
	p.path("fig-line fig-bad", "M92 22l8 14M120 14v18M148 22l-8 14")
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
		p.path("fig-line fig-bad", "M100 20q20 -18 40 0m0 0l-2 -13m2 13l-13 -1M140 120q-20 18 -40 0m0 0l2 13m-2 -13l13 1")
	case setup.LookCrossed:
		p.plus(left+w-22, 59)
		p.minus(left+w-22, 91)
		p.path("fig-line fig-bad", "M106 114l24 22m0 -22l-24 22")
	}
	switch look {
	case setup.LookHalfHome: // how wide the gap is
		p.path("fig-line fig-bad", "M100 6v124M140 6v124M60 14h32m-10 -8l10 8l-10 8M180 14h-32m10 -8l-10 8l10 8")
	case setup.LookDiscoloured:
		p.stain(92, 36, 56, 68)
	}
}

// contactY spreads n contacts over a face.
func contactY(i, n int) float64 { return 70 + (float64(i)-float64(n-1)/2)*24 }

func (p *pen) fuse(f *setup.Fuse, look setup.Look, fine bool) {
	p.leads(44, 196)
	if look == setup.LookBrowned {
		p.rect("fig-clear", 44, 10, 152, 120, 14)
		p.stain(50, 76, 46, 50)
		p.stain(146, 76, 46, 50)
	} else {
		p.rect("fig-clear", 44, 10, 152, 120, 14)
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
		p.path("fig-soot", "M92 24Q104 12 124 18T150 30Q146 50 122 46T92 24z")
		p.path("fig-element", "M79 62V44Q79 28 92 28L102 36M161 62V44Q161 28 148 28L142 22")
	} else {
		p.path("fig-element", "M79 62V44Q79 28 98 28H142Q161 28 161 44V62")
	}
	if fine {
		p.device("fig-device", 120, 96, 17, 58, amps(f.Rating))
	}
}

func amps(a setup.Amps) string { return strconv.FormatFloat(float64(a), 'g', -1, 64) + " A" }

func volts(v setup.Volts) string { return strconv.FormatFloat(float64(v), 'g', -1, 64) + " V" }

func (p *pen) converter(c *setup.Converter, pilot glow, neutral, fine bool) {
	p.leads(30, 210)
	p.rect("fig-case", 30, 20, 180, 100, 10)
	for x := 54.0; x <= 186; x += 22 {
		p.line("fig-line", x, 20, x, 36)
		p.line("fig-line", x, 104, x, 120)
	}
	if !neutral {
		p.lamp(pilot, 180, 70, 12)
	}
	p.path("fig-line", "M44 70h36m-13 -12l13 12l-13 12")
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
		p.gap(mouth, wall, 12)
	case setup.LookContactIn: // where the contact should stand
		p.rect("fig-ghost", mouth+3, contactY(0, contacts)-6, 34, 12, 2)
	}
	if fine {
		p.end()
	}
}

// gap measures an opening that should not be there.
func (p *pen) gap(from, to, y float64) {
	p.path("fig-line fig-bad", fmt.Sprintf("M%s %sv20M%s %sv20M%s %sH%s", num(from), num(y-10), num(to), num(y-10), num(from), num(y), num(to)))
}

// face is a plug seen from the inlet: contacts level, or one deep in its hole.
func (p *pen) face(contacts int, look setup.Look) {
	p.circle("fig-body", 192, 72, 48)
	p.rect("fig-key", 182, 20, 20, 10, 2)
	for i := range contacts {
		y := contactY(i, contacts)
		if look == setup.LookContactIn && i == 0 {
			p.circle("fig-hole", 192, y, 7)
			p.circle("fig-line fig-bad", 192, y, 14)
			continue
		}
		p.circle("fig-pin", 192, y, 8.5)
	}
}

func (p *pen) outlet(o *setup.Outlet, look setup.Look) {
	p.line("fig-line", 190, 70, 240, 70)
	p.rect("fig-body", 50, 6, 140, 128, 12)
	p.line("fig-line", 84, 36, 84, 62)
	p.line("fig-line", 112, 36, 112, 62)
	p.circle("fig-line", 98, 86, 9)
	off := look == setup.LookOff
	if !o.Switched { // no switch: a little lamp tells whether it has tripped
		g := lit
		if off {
			g = dark
		}
		p.lamp(g, 154, 70, 10)
		return
	}
	p.rect("fig-rail", 142, 42, 26, 56, 13)
	p.onMark(155, 25)
	p.offMark(155, 115)
	if off {
		p.circle("fig-knob", 155, 83, 12)
	} else {
		p.circle("fig-knob", 155, 57, 12)
	}
}

// cord ends in the connector that goes into the adapter.
func (p *pen) cord(look setup.Look) {
	mouth := 170.0
	switch look {
	case setup.LookHalfHome:
		mouth = 134
		p.rect("fig-pin", mouth, 53, 36, 10, 2)
		p.rect("fig-pin", mouth, 77, 36, 10, 2)
		p.gap(mouth, 170, 18)
	case setup.LookDamaged:
		p.path("fig-line fig-bad", "M34 64l14 -6M34 70h16M34 76l14 6M76 64l-14 -8M76 72l-14 0M76 78l-12 8M44 36l4 10M56 32v12M68 36l-4 10")
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
	p.path("fig-case", "M240 34H170V106H240")
}

func (p *pen) adapter(pilot glow, neutral bool) {
	p.leads(34, 206)
	p.rect("fig-case", 34, 26, 172, 88, 18)
	p.path("fig-line", "M58 70c6 -18 12 -18 18 0s12 18 18 0")
	p.path("fig-line", "M106 70h20m-9 -8l9 8l-9 8")
	if neutral {
		p.path("fig-line", "M142 64h44M142 78h10m7 0h10m7 0h10")
		return
	}
	p.lamp(pilot, 166, 70, 13)
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
