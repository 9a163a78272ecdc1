package figure

import (
	"slices"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
)

const (
	panelWidth = 480.0
	panelEdge  = 14.0
)

// Panel is the ventilator's face. It stands as the equipment does, whatever
// way the page reads.
func Panel(v View) string {
	p := &pen{rtl: v.RTL}
	vent := &v.Setup.Ventilator
	var lamps, screens []setup.Item
	for _, it := range vent.Panel {
		if it.Lamp != "" {
			lamps = append(lamps, it)
		} else {
			screens = append(screens, it)
		}
	}
	title := v.Words("figure.panel.title", "Model", vent.Model)
	var desc []string
	linked := false
	each := func(it setup.Item, in circuit.Indication, x, y, w, h float64, draw func()) {
		seen := v.seenOnPanel(it, in)
		desc = append(desc, v.says(v.name(it.ID), seen))
		href := v.href(it.ID)
		if href != "" {
			linked = true
			p.link(href, v.name(it.ID))
			p.rect("fig-hit", x, y, w, h, 14)
		}
		draw()
		if href != "" {
			p.WriteString("</a>\n")
		}
		if v.Point == it.ID {
			p.ring(x, y, w, h)
			p.arrow(x+w/2, y-1)
			desc = append(desc, v.Words("figure.point", "Part", v.name(it.ID)))
		}
	}

	inner := &pen{rtl: v.RTL}
	p = inner
	y := 98.0
	if len(lamps) > 0 {
		cell := (panelWidth - 2*panelEdge - 12) / float64(min(len(lamps), 4))
		for row := range slices.Chunk(lamps, 4) {
			lines := 1
			for _, it := range row {
				lines = max(lines, len(wrap(v.Words(glowOf(v.indication(it.ID)).key()), 21, cell-16)))
			}
			height := 122 + float64(lines)*26
			for i, it := range row {
				x := panelEdge + 6 + float64(i)*cell
				in := v.indication(it.ID)
				each(it, in, x+3, y, cell-6, height, func() { v.lampCell(p, it, in, x+cell/2, y, cell-16) })
			}
			y += height + 30
		}
		y -= 30
	}
	for _, it := range screens {
		if len(lamps) > 0 {
			y += 34
		}
		in := v.indication(it.ID)
		each(it, in, panelEdge+12, y, panelWidth-2*panelEdge-24, 122, func() { v.screenCell(p, in, panelEdge+22, y+10, panelWidth-2*panelEdge-44) })
		y += 122
	}
	y += 22

	p = &pen{rtl: v.RTL}
	p.begin(0, 0, 1)
	p.rect("fig-case", panelEdge/2, panelEdge/2, panelWidth-panelEdge, y-panelEdge/2, 22)
	p.device("fig-model", 110, 50, 30, 180, vent.Model)
	if v.State.Alarm != setup.NoAlarm {
		word := v.Words("figure.alarm." + string(v.State.Alarm))
		p.rect("fig-alarm-box", 214, 18, 246, 52, 10)
		p.bell(246, 47)
		p.squeezed("fig-word fig-strong", 366, 51, 20, 176, word)
	}
	p.WriteString(inner.String())
	p.end()
	desc = append(desc, v.Words("figure.alarm.said."+string(v.State.Alarm)))
	return v.finish("panel", "fig-panel", title, desc, panelWidth, y+panelEdge/2, linked, p.String())
}

// indication is what an item of the panel shows.
func (v *View) indication(id string) circuit.Indication {
	i := slices.IndexFunc(v.State.Panel, func(in circuit.Indication) bool { return in.ID == id })
	if i < 0 {
		return circuit.Indication{ID: id}
	}
	return v.State.Panel[i]
}

func glowOf(in circuit.Indication) glow {
	switch {
	case in.Flicker:
		return flicker
	case in.Lit:
		return lit
	}
	return dark
}

func (v *View) seenOnPanel(it setup.Item, in circuit.Indication) string {
	if it.Lamp != "" {
		return v.Words(glowOf(in).key())
	}
	if in.Screen == "" {
		return v.Words("figure.screen.blank")
	}
	return v.Words("figure.screen.shows", "Text", in.Screen)
}

func (v *View) lampCell(p *pen, it setup.Item, in circuit.Indication, x, y, width float64) {
	g := glowOf(in)
	p.symbol(it.Lamp, x, y+26)
	p.lamp(g, x, y+82, 18)
	class := "fig-word fig-quiet"
	if g != dark {
		class = "fig-word fig-strong"
	}
	p.lines(class, x, y+137, 21, width, wrap(v.Words(g.key()), 21, width))
}

func (v *View) screenCell(p *pen, in circuit.Indication, x, y, w float64) {
	p.rect(screenClass(in), x, y, w, 72, 8)
	if in.Screen == "" {
		p.squeezed("fig-word fig-quiet", x+w/2, y+96, 21, w, v.Words("figure.screen.blank"))
		return
	}
	p.device("fig-screen-words", x+w/2, y+47, 30, w-24, in.Screen)
	p.squeezed("fig-word", x+w/2, y+96, 21, w, v.Words("figure.screen.lit"))
}

func screenClass(in circuit.Indication) string {
	if in.Screen == "" {
		return "fig-screen fig-blank"
	}
	return "fig-screen"
}
