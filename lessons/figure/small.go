package figure

import (
	"slices"

	"lampwright/lessons/setup"
)

// The small panel's width, of which the bell takes a column.
const (
	smallWidth = 360.0
	smallBell  = 58.0
)

// SmallPanel is the ventilator's face for paper, where many stand on a sheet
// with their words beside them: the lamps, the screen, and the bell while it
// sounds; no words but those on the equipment itself. It is for a steady state,
// and stands as the equipment does, whatever way the page reads.
func SmallPanel(v View) string {
	const edge, row, screen = 10.0, 112.0, 48.0
	var lamps, screens []setup.Item
	for _, it := range v.Setup.Ventilator.Panel {
		if it.Lamp != "" {
			lamps = append(lamps, it)
		} else {
			screens = append(screens, it)
		}
	}
	width := smallWidth - smallBell
	items := &pen{}
	y := edge
	cell := (width - edge) / float64(min(max(len(lamps), 1), 4))
	for four := range slices.Chunk(lamps, 4) {
		for i, it := range four {
			x := edge + (float64(i)+.5)*cell
			items.symbol(it.Lamp, x, y+24)
			items.lamp(glowOf(v.indication(it.ID)), x, y+76, 20)
		}
		y += row
	}
	for _, it := range screens {
		in := v.indication(it.ID)
		items.rect(screenClass(in), 2*edge, y+edge, width-2*edge, screen, 8)
		if in.Screen != "" {
			size := 44.0 // a level is short, and words are long
			if textWidth(in.Screen, size) > width-4*edge {
				size = 36
			}
			items.device("fig-screen-words", edge+width/2-edge/2, y+edge+24+size*.36, size, width-4*edge, in.Screen)
		}
		y += screen + 2*edge
	}
	if r := v.ring(); r != quiet {
		items.bell(smallWidth-smallBell/2-6, y/2+4, r)
	}
	height := y + edge
	p := &pen{}
	p.begin(0, 0, 1)
	p.rect("fig-case", edge/2, edge/2, smallWidth-edge, height-edge, 18)
	p.WriteString(items.String())
	p.end()
	return v.finish("panel", "fig-panel", v.Words("figure.panel.title", "Model", v.Setup.Ventilator.Model), v.read(), smallWidth, height, false, p.String())
}
