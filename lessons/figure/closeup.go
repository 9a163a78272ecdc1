package figure

import (
	"slices"
	"strings"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
)

// CloseUp is one part, large, as it looks and feels now.
func CloseUp(v View, part string) string {
	const width, scale = 480.0, 1.8
	p := &pen{rtl: v.RTL}
	p.begin(0, 0, 1)
	name := v.nameOf(part)
	seen := v.seen(part)
	lines := [][]string{wrap(seen, 22, width-40)}
	if kind, _ := v.Setup.PartKind(part); kind == setup.KindPanel {
		lines = nil // the face says it in its own words
	}
	y := 30.0
	heat := v.State.Heat(part)
	if heat != circuit.Cool {
		y = 64
		p.waves(map[circuit.Heat]int{circuit.Warm: 2, circuit.Hot: 4}[heat], width/2, 54)
		lines = append(lines, wrap(v.Words("figure.feels."+string(heat)), 22, width-40))
	}
	p.begin((width-240*scale)/2, y, scale)
	v.picture(p, part, v.State.Look(part), false, true)
	p.end()
	y += 140*scale + 38
	p.squeezed("fig-heading", width/2, y, 26, width-32, name)
	y += 36
	class := "fig-word"
	if v.State.Look(part) != setup.LookSound && !v.hidden(part) {
		class = "fig-word fig-strong"
	}
	for _, l := range lines {
		p.lines(class, width/2, y, 22, width-32, l)
		y += float64(len(l)) * 22 * lineHeight
	}
	p.end()
	desc := []string{v.says(name, seen)}
	if heat != circuit.Cool {
		desc = append(desc, v.Words("figure.feels."+string(heat)))
	}
	return v.finish("close-up-"+part, "fig-close-up", v.Words("figure.close-up.title", "Part", name), desc, width, y, false, p.String())
}

// seen is what a close look at a part finds, in a sentence.
func (v *View) seen(part string) string {
	look := v.State.Look(part)
	kind, _ := v.Setup.PartKind(part)
	switch {
	case v.hidden(part):
		return v.Words("figure.seen.covered")
	case kind == setup.KindLamp, kind == setup.KindScreen:
		for _, it := range v.Setup.Ventilator.Panel {
			if it.ID == part {
				return v.seenOnPanel(it, v.indication(part))
			}
		}
	case kind == setup.KindPanel:
		return strings.TrimSuffix(strings.Join(v.read(), " "), ".")
	case kind == setup.KindAlarm && look == setup.LookSound:
		return v.Words(map[ring]string{quiet: "figure.seen.quiet", ringing: "figure.seen.ringing"}[v.ring()])
	case kind == setup.KindBattery && look == setup.LookDark:
		return v.Words("figure.seen.blank")
	case v.pilot(part, look) == dark && look == setup.LookSound && (kind == setup.KindConverter || kind == setup.KindAdapter):
		return v.Words("figure.seen.dark")
	}
	return v.Words("figure.seen." + string(look))
}

// hidden is whether a fuse's cover keeps its look from being seen.
func (v *View) hidden(part string) bool {
	pt := v.Setup.Part(part)
	look := v.State.Look(part)
	return pt != nil && pt.Fuse != nil && !pt.Fuse.Cover && slices.Contains(
		[]setup.Look{setup.LookSound, setup.LookBlown, setup.LookEmpty, setup.LookMismatched}, look)
}

// pilot is the little lamp on a converter or adapter: lit while there are
// volts behind it.
func (v *View) pilot(part string, look setup.Look) glow {
	if look != setup.LookDark && v.State.Live[part] {
		return lit
	}
	return dark
}
