package figure

import (
	"fmt"
	"strconv"

	"lampwright/lessons/setup"
)

// Person is the person in the chair with the tube, a helper's hand with the
// bag beside, and the four signs to look at, numbered. With no source left it
// is the person off the ventilator, given breaths with the bag, and the
// numbers are what is done, in order.
func Person(v View) string {
	const width, margin, size = 480.0, 20.0, 20.0
	stopped := v.State.Source == setup.None
	what, keys := "figure.person.", []string{"chest", "breathing", "lips", "oximeter"}
	if stopped {
		what, keys = "figure.stopped.", []string{"off", "bag", "tube", "call"}
	}
	p := &pen{rtl: v.RTL}
	p.begin(0, 0, 1)
	p.seat()
	if stopped {
		p.sitter(tubeOff)
		p.path("fig-motion", "M160 152Q146 152 134 164M138 152L133 165L147 165")
		p.rise(254)
		p.breaths()
		p.speakerphone()
		for i, at := range [][4]float64{{62, 112, 100, 154}, {366, 92, 318, 118}, {190, 206, 190, 150}, {424, 276, 0, 0}} {
			p.sign(i+1, at)
		}
	} else {
		p.sitter(tubeOn)
		p.bagReady()
		p.squeezed("fig-label", 396, 126, labelSize, 160, v.Words("figure.bag"))
		p.oximeter()
		p.rise(218)
		for i, at := range [][4]float64{{236, 244, 0, 0}, {288, 126, 208, 130}, {288, 80, 204, 110}, {432, 342, 0, 0}} {
			p.sign(i+1, at)
		}
	}
	y := 424.0
	desc := []string{v.Words(what + "drawn")}
	for i, key := range keys {
		words := v.Words(what + key)
		desc = append(desc, strconv.Itoa(i+1)+". "+words)
		at, from, anchor := margin+14, margin+42, "start"
		if v.RTL {
			at, from = width-at, width-from
		}
		p.sign(i+1, [4]float64{at, y + 14})
		for _, line := range wrap(words, size, width-2*margin-42) {
			p.held("fig-word", anchor, from, y+21, size, width-2*margin-42, line)
			y += size * lineHeight
		}
		y += 14
	}
	p.end()
	return v.finish("person", "fig-person", v.Words(what+"title"), desc, width, y, false, p.String())
}

// sign is a number at the place it means, with a line to it where it stands
// apart.
func (p *pen) sign(number int, at [4]float64) {
	if at[2] > 0 {
		p.leader(at[0], at[1], at[2], at[3])
	}
	p.circle("fig-number", at[0], at[1], 15)
	p.device("fig-number-word", at[0], at[1]+7, 20, 26, strconv.Itoa(number))
}

// leader leads from a label to what it names; it is thin, so that nobody
// takes it for a wire.
func (p *pen) leader(x1, y1, x2, y2 float64) {
	p.line("fig-leader-edge", x1, y1, x2, y2)
	p.line("fig-leader", x1, y1, x2, y2)
	p.circle("fig-ink", x2, y2, 3.5)
}

// seat is the chair behind the person, from the front, with the ventilator
// that rides on its back looking out beside it.
func (p *pen) seat() {
	p.rect("fig-case", 10, 232, 92, 74, 8) // the ventilator
	p.rect("fig-screen fig-blank", 20, 244, 40, 24, 4)
	p.rect("fig-case", 126, 16, 128, 96, 26)
	for _, x := range []float64{56, 284} {
		p.rect("fig-tyre", x, 352, 40, 56, 12)
	}
}

const (
	tubeOn  = "M178 144C150 152 120 140 88 152C56 166 46 190 46 236"
	tubeOff = "M112 168C90 176 60 168 50 194C46 206 46 216 46 234"
)

// hose is a breathing tube: ribbed, and wider than any wire.
func (p *pen) hose(d string) {
	p.path("fig-hose-edge", d)
	p.path("fig-hose", d)
	p.path("fig-hose-ribs", d)
}

// sitter is the person, from the front, with the tube at the throat.
func (p *pen) sitter(tube string) {
	p.path("fig-case", "M92 344H288V396H92z")                                         // the seat
	p.path("fig-body", "M106 336C98 368 98 392 100 408H280C282 392 282 368 274 336z") // lap
	p.line("fig-line", 190, 372, 190, 408)
	p.path("fig-body", "M164 116C164 140 150 148 128 154C108 160 98 172 98 192L106 344H274L282 192C282 172 272 160 252 154C230 148 216 140 216 116z")
	p.path("fig-line", "M150 148C160 172 220 172 230 148") // neckline
	for _, way := range []string{"", ` transform="translate(380 0) scale(-1 1)"`} {
		fmt.Fprintf(p, "<g%s>\n", way)
		p.rect("fig-ink", 46, 330, 76, 14, 7) // armrest
		p.path("fig-body", "M98 184C84 206 68 262 66 306Q66 330 84 332H102Q114 332 112 318L104 304C106 272 114 240 120 214")
		p.path("fig-line", "M66 300L104 304")
		p.WriteString("</g>\n")
	}
	// The head: hair, eyes, nose, lips.
	p.path("fig-body", "M150 76C150 40 168 26 190 26S230 40 230 76C230 106 212 130 190 130S150 106 150 76z")
	p.path("fig-hair", "M148 76C142 40 166 18 190 18S238 40 232 76C230 58 214 48 190 50C168 48 152 56 148 76z")
	p.circle("fig-ink", 175, 76, 3.4)
	p.circle("fig-ink", 205, 76, 3.4)
	p.path("fig-line", "M190 78L185 93H191")
	p.path("fig-lips", "M174 109Q183 102 190 105Q197 102 206 109Q190 121 174 109z")
	p.line("fig-line", 176, 109, 204, 109)
	p.hose(tube)
	// What holds the tube at the throat.
	p.path("fig-line", "M163 138H217")
	p.rect("fig-body", 170, 130, 40, 17, 7)
	p.circle("fig-clear", 190, 139, 8)
}

// rise is the chest going up and down.
func (p *pen) rise(y float64) {
	p.path("fig-motion", fmt.Sprintf("M140 %sQ190 %s 240 %sM140 %sQ190 %s 240 %s", num(y), num(y-22), num(y), num(y+58), num(y+80), num(y+58)))
	p.path("fig-motion", fmt.Sprintf("M190 %sv48m-8 -9l8 9l8 -9m-16 -30l8 -9l8 9", num(y+4)))
}

// bag is the bag for breaths lying level, its mouth at x, y, pressed in by so
// much on either side.
func (p *pen) bag(x, y, pressed float64) {
	bulge := 44 - pressed
	p.path("fig-body", fmt.Sprintf("M%s %sC%s %s %s %s %s %sV%sC%s %s %s %s %s %sz",
		num(x+32), num(y-12), num(x+48), num(y-bulge), num(x+112), num(y-bulge), num(x+128), num(y-12),
		num(y+12), num(x+112), num(y+bulge), num(x+48), num(y+bulge), num(x+32), num(y+12)))
	p.rect("fig-case", x, y-9, 14, 18, 3)
	p.rect("fig-case", x+12, y-14, 22, 28, 4)
	p.rect("fig-case", x+126, y-11, 16, 22, 4)
}

// hand holds from below what lies at x, y: the arm comes along one path, and
// is in its sleeve along the other.
func (p *pen) hand(x, y float64, arm, sleeve string) {
	p.path("fig-arm-edge", arm)
	p.path("fig-arm", arm)
	p.path("fig-sleeve-edge", sleeve)
	p.path("fig-sleeve", sleeve)
	at := func(dx, dy float64) string { return num(x+dx) + " " + num(y+dy) }
	p.path("fig-palm", "M"+at(-36, 10)+"Q"+at(-36, 46)+" "+at(-22, 56)+"H"+num(x+26)+"Q"+at(40, 46)+" "+at(40, 10)+"z")
	p.path("fig-line", "M"+at(-36, 14)+"Q"+at(-36, 46)+" "+at(-23, 58)+"M"+at(40, 14)+"Q"+at(40, 44)+" "+at(27, 58))
	for i := range 4 {
		p.rect("fig-body", x-36+float64(i)*19, y-18, 19, 46, 9)
	}
}

// bagReady is the bag in a helper's hand.
func (p *pen) bagReady() {
	p.bag(324, 180, 0)
	p.hand(388, 196, "M390 226C392 262 424 282 450 300", "M424 288C446 302 470 306 500 314")
}

// breaths is the bag on the tube, being pressed.
func (p *pen) breaths() {
	p.bag(198, 139, 14)
	p.hand(262, 154, "M264 186C270 232 320 240 360 236", "M350 239C390 240 430 226 500 204")
	p.path("fig-motion", "M262 74V98M254 89L262 98L270 89")
}

// oximeter is its clip on a finger and its display, which shows a pulse and no
// number: what is usual differs.
func (p *pen) oximeter() {
	p.path("fig-line", "M320 318C334 318 330 340 346 342")
	p.rect("fig-case", 288, 306, 32, 24, 6)
	p.line("fig-line", 294, 318, 320, 318)
	p.rect("fig-screen", 346, 322, 66, 40, 6)
	p.path("fig-display", "M354 344H368L374 332L382 354L388 344H404")
}

// speakerphone is a phone lying there, loud.
func (p *pen) speakerphone() {
	p.rect("fig-case", 400, 296, 48, 88, 8)
	p.rect("fig-screen", 407, 308, 34, 58, 3)
	p.path("fig-line", "M418 375H430")
	p.path("fig-motion", "M388 352q-8 -10 0 -22M376 362q-16 -20 0 -42")
}
