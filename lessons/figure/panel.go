package figure

import (
	"math"
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
	linked := false
	face, height := v.face(func(p *pen, it setup.Item, f frame, draw func()) {
		href := v.href(it.ID)
		if href != "" {
			linked = true
			p.link(href, v.name(it.ID))
			p.rect("fig-hit", f.x, f.y, f.w, f.h, 14)
		}
		draw()
		if href != "" {
			p.WriteString("</a>\n")
		}
		if v.Point == it.ID {
			p.ring(f.x, f.y, f.w, f.h)
			p.arrow(f.x+f.w/2, f.y-1)
		}
	})
	desc := v.read()
	if k, _ := v.Setup.PartKind(v.Point); k == setup.KindLamp || k == setup.KindScreen {
		desc = append(desc, v.Words("figure.point", "Part", v.name(v.Point)))
	}
	p := &pen{rtl: v.RTL}
	p.begin(0, 0, 1)
	p.WriteString(face)
	p.end()
	return v.finish("panel", "fig-panel", v.Words("figure.panel.title", "Model", v.Setup.Ventilator.Model), desc, panelWidth, height, linked, p.String())
}

// read is the face in sentences, item by item, then the alarm.
func (v *View) read() []string {
	var said []string
	for _, it := range v.Setup.Ventilator.Panel {
		said = append(said, v.says(v.name(it.ID), v.seenOnPanel(it, v.indication(it.ID))))
	}
	if v.ring() == crossed {
		return append(said, v.Words("figure.alarm.said.silenced"))
	}
	return append(said, v.Words("figure.alarm.said."+string(v.State.Alarm)))
}

// ring is what the bell on the face does.
func (v *View) ring() ring {
	switch {
	case v.State.Silenced, v.State.Look(setup.AlarmID) == setup.LookSilenced:
		return crossed
	case v.State.Alarm != setup.NoAlarm:
		return ringing
	}
	return quiet
}

// frame is where an item of the face stands.
type frame struct{ x, y, w, h float64 }

// face draws the panel and says how high it is; around draws what goes around
// an item.
func (v *View) face(around func(p *pen, it setup.Item, f frame, draw func())) (svg string, height float64) {
	var lamps, screens []setup.Item
	for _, it := range v.Setup.Ventilator.Panel {
		if it.Lamp != "" {
			lamps = append(lamps, it)
		} else {
			screens = append(screens, it)
		}
	}
	items := &pen{rtl: v.RTL}
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
				around(items, it, frame{x + 3, y, cell - 6, height}, func() { v.lampCell(items, it, v.indication(it.ID), x+cell/2, y, cell-16) })
			}
			y += height + 30
		}
		y -= 30
	}
	for _, it := range screens {
		if len(lamps) > 0 {
			y += 34
		}
		around(items, it, frame{panelEdge + 12, y, panelWidth - 2*panelEdge - 24, 122},
			func() { v.screenCell(items, v.indication(it.ID), panelEdge+22, y+10, panelWidth-2*panelEdge-44) })
		y += 122
	}
	y += 22

	p := &pen{rtl: v.RTL}
	p.rect("fig-case", panelEdge/2, panelEdge/2, panelWidth-panelEdge, y-panelEdge/2, 22)
	p.device("fig-model", 110, 50, 30, 180, v.Setup.Ventilator.Model)
	if r := v.ring(); r != quiet {
		key := "figure.alarm.silenced"
		if r == ringing {
			key = "figure.alarm." + string(v.State.Alarm)
		}
		p.rect("fig-alarm-box", 214, 18, 246, 52, 10)
		p.bell(246, 47, r)
		p.squeezed("fig-word fig-strong", 366, 51, 20, 176, v.Words(key))
	}
	return p.String() + items.String(), y + panelEdge/2
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
		g := glowOf(in)
		if g == flicker && v.State.Period > 0 {
			return v.Words("figure.lamp.period", "Count", max(1, int(math.Round(v.State.Period))))
		}
		return v.Words(g.key())
	}
	if in.Screen == "" {
		return v.Words("figure.screen.blank")
	}
	if in.Flicker {
		return v.Words("figure.screen.changes", "Text", in.Screen, "Other", in.Other)
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
	if in.Flicker { // both at once, so that it is told without motion
		p.device("fig-screen-words", x+w/2, y+30, 24, w-24, in.Screen)
		p.device("fig-screen-words", x+w/2, y+61, 24, w-24, in.Other)
		p.squeezed("fig-word fig-strong", x+w/2, y+96, 21, w, v.Words("figure.screen.swaps"))
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
