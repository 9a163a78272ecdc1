package figure

import "fmt"

// symbol draws a lamp's sign, centred, 60 wide, from its description in
// IEC 60417.
func (p *pen) symbol(name string, x, y float64) {
	switch name {
	case "alternating-current": // 5032: one period of a sine
		p.path("fig-line", fmt.Sprintf("M%s %sc10 -28 20 -28 30 0s20 28 30 0", num(x-30), num(y)))
	case "direct-current": // 5031: a line over a broken line
		p.line("fig-line", x-28, y-7, x+28, y-7)
		for i := range 3 {
			at := x - 28 + float64(i)*22
			p.line("fig-line", at, y+8, at+12, y+8)
		}
	case "battery": // 5001B: a cell lying on its side
		p.rect("fig-line", x-28, y-15, 50, 30, 3)
		p.rect("fig-ink", x+22, y-6, 6, 12, 1)
		p.line("fig-line", x-18, y, x-8, y)
		p.line("fig-line", x+4, y, x+14, y)
		p.line("fig-line", x+9, y-5, x+9, y+5)
	}
}

// ring is what a bell does.
type ring int

const (
	quiet ring = iota
	ringing
	crossed
)

// bell draws the alarm sign, 5307, a bell with its clapper: with arcs while it
// rings, and crossed out while it is silenced, 5576.
func (p *pen) bell(x, y float64, r ring) {
	p.path("fig-line fig-alarm", fmt.Sprintf("M%s %sh32c-6 -5 -6 -10 -6 -16c0 -13 -20 -13 -20 0c0 6 0 11 -6 16z", num(x-16), num(y+8)))
	p.path("fig-alarm-fill", fmt.Sprintf("M%s %sh10a5 5 0 0 1 -10 0z", num(x-5), num(y+11)))
	switch r {
	case ringing:
		p.path("fig-line fig-alarm", fmt.Sprintf("M%s %sc-5 6 -5 14 0 20M%s %sc5 6 5 14 0 20", num(x-20), num(y-17), num(x+20), num(y-17)))
	case crossed:
		p.path("fig-line fig-bad", fmt.Sprintf("M%s %sl36 36m0 -36l-36 36", num(x-18), num(y-18)))
	}
}

// glow is how a lamp is seen.
type glow int

const (
	dark glow = iota
	lit
	flicker
)

func (g glow) key() string { return "figure.lamp." + [...]string{"dark", "lit", "flicker"}[g] }

// lamp draws a lamp of radius r: lit is a full disc with rays all round, dark
// a hollow one, and one that comes and goes is half full with half the rays,
// and where motion is welcome turns from lit to dark a few times.
func (p *pen) lamp(g glow, x, y, r float64) {
	rays := [][2]float64{{.7, -.7}, {1, 0}, {.7, .7}, {0, 1}, {-.7, .7}, {-1, 0}, {-.7, -.7}, {0, -1}}
	switch g {
	case lit:
		p.circle("fig-lamp fig-lit", x, y, r)
	case flicker:
		p.circle("fig-lamp fig-dark", x, y, r)
		p.path("fig-lit fig-still", fmt.Sprintf("M%s %sa%s %s 0 0 1 0 %sz", num(x), num(y-r), num(r), num(r), num(2*r)))
		p.rays("fig-ray fig-still", rays[:3], x, y, r)
		p.circle("fig-lamp fig-lit fig-moving", x, y, r)
		p.rays("fig-ray fig-moving", rays, x, y, r)
		return
	default:
		p.circle("fig-lamp fig-dark", x, y, r)
		return
	}
	p.rays("fig-ray", rays, x, y, r)
}

func (p *pen) rays(class string, ways [][2]float64, x, y, r float64) {
	for _, d := range ways {
		p.line(class, x+d[0]*r*1.4, y+d[1]*r*1.4, x+d[0]*r*1.85, y+d[1]*r*1.85)
	}
}

// ring and arrow say which part is meant.
func (p *pen) ring(x, y, w, h float64) { p.rect("fig-ring", x, y, w, h, 14) }

// arrow points down at x, its tip at y.
func (p *pen) arrow(x, y float64) {
	p.path("fig-pointer", fmt.Sprintf("M%s %sl-12 -13h7v-12h10v12h7z", num(x), num(y)))
}

// waves rise from a warm part, more of them from a hot one.
func (p *pen) waves(n int, x, y float64) {
	for i := range n {
		at := x + (float64(i)-float64(n-1)/2)*22
		p.path("fig-heat", fmt.Sprintf("M%s %sc-9 -7 9 -13 0 -20s9 -13 0 -20", num(at), num(y)))
	}
}
