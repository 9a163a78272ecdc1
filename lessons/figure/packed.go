package figure

// Packed is what goes along on a way out, each thing with its name. It is the
// same whatever the state.
func Packed(v View) string {
	const width, columns, field, size, scale = 480.0, 3, 118.0, 19.0, .92
	const across = width / columns
	p := &pen{rtl: v.RTL}
	p.begin(0, 0, 1)
	var desc []string
	y := 4.0
	things := []struct {
		key  string
		draw func() // on a field of 150 × 110
	}{
		{"bag", p.masked},
		{"suction", p.suction},
		{"tube", p.spareTube},
		{"adapter", p.cordedAdapter},
		{"ventilator", p.spareVentilator},
		{"phone", p.phone},
	}
	lines := 0
	for i, thing := range things {
		words := v.Words("figure.packed." + thing.key)
		desc = append(desc, words+".")
		x := across * (float64(i%columns) + .5)
		if v.RTL {
			x = width - x
		}
		p.begin(x-75*scale, y+8, scale)
		thing.draw()
		p.end()
		name := wrap(words, size, across-10)
		p.lines("fig-word", x, y+field+size, size, across-10, name)
		if lines = max(lines, len(name)); i%columns == columns-1 {
			y, lines = y+field+float64(lines)*size*lineHeight+28, 0
		}
	}
	p.end()
	return v.finish("packed", "fig-packed", v.Words("figure.packed.title"), desc, width, y-14, false, p.String())
}

// masked is the bag with its mask.
func (p *pen) masked() {
	p.begin(27, 58, .84)
	p.path("fig-body", "M2 -9L-14 -32H-18V32H-14L2 9z")
	p.rect("fig-case", -28, -36, 12, 72, 6)
	p.bag(0, 0, 0)
	p.end()
}

// suction is the unit with its jar, its tube and a catheter, and the sign that
// it has its own battery.
func (p *pen) suction() {
	p.path("fig-line", "M34 36V26Q34 20 40 20H64Q70 20 70 26V36") // handle
	p.rect("fig-case", 12, 36, 78, 66, 9)
	p.circle("fig-body", 33, 86, 7)
	p.begin(54, 58, .8)
	p.symbol("battery", 0, 0)
	p.end()
	p.rect("fig-clear", 96, 44, 38, 58, 6)
	p.rect("fig-ink", 93, 38, 44, 8, 3)
	for y := 60.0; y < 96; y += 12 {
		p.line("fig-line", 124, y, 134, y)
	}
	p.path("fig-line", "M106 38V24C106 4 146 2 146 24V84")
	p.rect("fig-case", 141, 82, 10, 14, 2)
	p.path("fig-line", "M146 96V110")
}

// spareTube is a tube for the throat, from the side: what the hose goes on, the
// plate at the neck, the bend.
func (p *pen) spareTube() {
	p.path("fig-hose-edge", "M48 50H70C104 50 116 72 116 104")
	p.path("fig-hose", "M48 50H70C104 50 116 72 116 106")
	p.path("fig-line", "M105 103Q116 112 127 103")
	p.path("fig-body", "M36 8Q52 10 52 28V72Q52 90 36 92Q42 50 36 8z")
	p.rect("fig-case", 12, 36, 26, 28, 3)
	p.line("fig-line", 20, 36, 20, 64)
}

// cordedAdapter is the mains adapter between its cord to the wall and its lead.
func (p *pen) cordedAdapter() {
	p.path("fig-line", "M42 74C18 74 16 50 34 40S56 22 44 18")
	p.rect("fig-body", 18, 6, 28, 24, 5)
	p.line("fig-element", 6, 13, 16, 13)
	p.line("fig-element", 6, 23, 16, 23)
	p.path("fig-line", "M112 74C142 74 144 48 122 40S104 20 114 18")
	p.rect("fig-body", 112, 6, 24, 24, 4)
	p.rect("fig-body", 136, 10, 10, 16, 2)
	p.rect("fig-case", 38, 52, 78, 46, 10)
	p.path("fig-line", "M52 75c5 -14 10 -14 15 0s10 14 15 0")
	p.lamp(dark, 99, 75, 6)
}

// spareVentilator is the other one.
func (p *pen) spareVentilator() {
	p.begin(5, 18, .62)
	p.machine()
	p.end()
}

// phone lies with the numbers to call, on a card.
func (p *pen) phone() {
	p.rect("fig-case", 20, 10, 52, 92, 9)
	p.rect("fig-screen", 27, 22, 38, 62, 3)
	p.rect("fig-display", 33, 44, 24, 18, 2) // its battery, full
	p.path("fig-display", "M60 50v6M39 49v8M45 49v8M51 49v8")
	p.line("fig-line", 40, 93, 52, 93)
	p.rect("fig-body", 88, 30, 48, 66, 4)
	for y := 46.0; y < 90; y += 17 {
		p.circle("fig-ink", 97, y, 2.5)
		p.line("fig-line", 106, y, 127, y)
	}
}
