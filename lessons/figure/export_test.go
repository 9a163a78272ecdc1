package figure

// Tile is a part's picture as it stands in the chain, in its own field.
func Tile(v View, part string) string {
	p := &pen{rtl: v.RTL}
	p.begin(0, 0, 1)
	v.picture(p, part, v.State.Look(part), !v.Reveal, false)
	p.end()
	return v.finish("tile", "fig-chain", v.name(part), []string{string(v.State.Look(part))}, 240, 140, false, p.String())
}
