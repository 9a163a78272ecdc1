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
	p := &pen{rtl: v.RTL, asked: v.Asked}
	p.begin(0, 0, 1)
	name := v.nameOf(part)
	seen := v.seen(part)
	room := (width - 40) / heavy // for words that may be in bold
	lines := [][]string{wrap(seen, 22, room)}
	if kind, _ := v.Setup.PartKind(part); kind == setup.KindPanel || v.Asked {
		lines = nil // the face says it in its own words; a question leaves it to the picture
	}
	y := 30.0
	heat := v.State.Heat(part)
	if heat != circuit.Cool {
		y = 64
		p.waves(map[circuit.Heat]int{circuit.Warm: 2, circuit.Hot: 4}[heat], width/2, 54)
		lines = append(lines, wrap(v.Words("figure.feels."+string(heat)), 22, room))
	}
	p.begin((width-240*scale)/2, y, scale)
	v.picture(p, part, v.State.Look(part), false, true)
	p.end()
	y += 140*scale + 38
	p.squeezed("fig-heading", width/2, y, 26, width-32, name)
	y += 36
	class := "fig-word"
	if v.State.Look(part) != setup.LookSound && !v.hidden(part) && !v.Asked {
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

// Sound is how a part looks that is in order: of a switch, that it is on.
func Sound(w Words, s *setup.Setup, part string) string {
	if switched(s, part) {
		return w("figure.seen.on")
	}
	return w("figure.seen.sound")
}

// switched is whether a part stands at an I or an O.
func switched(s *setup.Setup, part string) bool {
	kind, _ := s.PartKind(part)
	return kind == setup.KindSwitch || kind == setup.KindIsolator || kind == setup.KindOutlet && s.Part(part).Outlet.Switched
}

// seen is what a close look at a part finds, in a sentence; where that is
// asked, what there is to be seen, without its name.
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
	case v.Asked:
		return v.Words("figure.shows." + v.shows(part))
	case kind == setup.KindBattery && look == setup.LookDark:
		return v.Words("figure.seen.blank")
	case v.pilot(part, look) == dark && look == setup.LookSound && (kind == setup.KindConverter || kind == setup.KindAdapter):
		return v.Words("figure.seen.dark")
	case kind == setup.KindBattery && v.packLevel(look, false) == 0, kind == setup.KindInternal && v.insideLevel(look, false) == 0:
		return v.Words("figure.seen.low") // no bar is drawn, whatever the cause
	case look == setup.LookSound:
		return Sound(v.Words, v.Setup, part)
	}
	return v.Words("figure.seen." + string(look))
}

// shows is what there is to be seen of a part, by the key of its words.
func (v *View) shows(part string) string {
	look, pt := v.State.Look(part), v.Setup.Part(part)
	kind, _ := v.Setup.PartKind(part)
	switch {
	case kind == setup.KindBattery && look == setup.LookDark:
		return "blank"
	case kind == setup.KindOutlet && !pt.Outlet.Switched: // its little lamp tells
		return map[bool]string{true: "dark", false: "lit"}[look == setup.LookOff]
	case look != setup.LookSound:
		return string(look)
	case switched(v.Setup, part):
		return "on"
	case kind == setup.KindConverter, kind == setup.KindAdapter:
		return map[glow]string{dark: "dark", lit: "lit"}[v.pilot(part, look)]
	case kind == setup.KindTap && pt.Tap.At == setup.AtPort:
		return "lit"
	case kind == setup.KindBattery, kind == setup.KindInternal:
		return "level"
	}
	return string(look)
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
