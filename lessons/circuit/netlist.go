package circuit

import (
	"fmt"
	"strings"
)

// deck is the body of a netlist: the solved discrete state as SPICE elements.
type deck struct{ lines, nodes []string }

// SpiceName is a node's name in a netlist: lower case, every other character
// an underscore.
func SpiceName(id string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			return r
		}
		return '_'
	}, strings.ToLower(id))
}

func (d *deck) add(format string, args ...any) {
	d.lines = append(d.lines, fmt.Sprintf(format, args...))
}

const (
	bleed = 10e6 // Ω, on every node nothing feeds
	wire  = 1e-6 // Ω, where a part has none: SPICE takes no zero, and far smaller drowns in its rounding
)

// series writes a stretch and bleeds the nodes behind an opening.
// start is where the solver begins each node: the source's volts, for from a
// zero start it wanders to the low root or nowhere.
func (d *deck) series(g *segment, from string, start float64) (end string, whole bool) {
	end, whole = from, true
	for i, id := range g.ids {
		to := SpiceName(id)
		if g.open[i] || !whole {
			whole, start = false, 0
			d.add("Rbleed_%s %s 0 %.12g", to, to, bleed)
		}
		if !g.open[i] {
			d.add("R_%s %s %s %.12g", to, end, to, max(g.ohms[i], wire))
		}
		d.add(".nodeset v(%s)=%.12g", to, start)
		d.nodes = append(d.nodes, to)
		end = to
	}
	return end, whole
}

func (n *network) write(op operating, lit bool, adapter float64) deck {
	d := deck{}
	tap := "emf_"
	battery := SpiceName(n.battery)
	d.add("V_emf %s 0 %.12g", tap, n.emf)
	from := "terminal_"
	d.add("R_inner %s %s %.12g", tap, from, max(n.inner, wire))
	d.add(".nodeset v(%s)=%.12g", from, n.emf)
	d.add("V_above %s %s %.12g", battery, from, n.above)
	d.nodes = append(d.nodes, battery)
	end, whole := d.series(&n.input, from, n.emf)
	if n.converter != nil {
		out := SpiceName(n.converterID)
		d.nodes = append(d.nodes, out)
		volts := 0.0
		if lit && whole {
			volts = float64(n.converter.Output)
		}
		d.add("V_%s %s 0 %.12g", out, out, volts)
		if volts > 0 {
			// Input power = output power + losses, the losses straight between
			// the points of the curve.
			points := fmt.Sprintf("0,%.12g", float64(n.converter.Idle))
			for _, e := range n.converter.Efficiency {
				points += fmt.Sprintf(",%.12g,%.12g", float64(e.Load), float64(e.Load)*(1/e.Ratio-1))
			}
			last := n.converter.Efficiency[len(n.converter.Efficiency)-1]
			far := 1e4 + float64(last.Load)
			points += fmt.Sprintf(",%.12g,%.12g", far, loss(n.converter, far))
			d.add("B_%s %s 0 I = (-%.12g*i(V_%s) + pwl(-%.12g*i(V_%s),%s))/v(%s)", out, end, volts, out, volts, out, points, end)
		}
		end, _ = d.series(&n.output, out, volts)
	}
	if op.chairLoad > 0 {
		d.load(end, op.chairLoad)
	}
	if n.adapterID != "" {
		d.add("V_mains mains_ 0 %.12g", adapter)
		end, _ = d.series(&n.mains, "mains_", adapter)
		if op.mainsLoad > 0 {
			d.load(end, op.mainsLoad)
		}
	}
	return d
}

// load is a constant-power load.
func (d *deck) load(at string, watts float64) {
	d.add("B_load_%s %s 0 I = %.12g/v(%s)", at, at, watts, at)
}

// Netlist writes the solved state as a SPICE deck that prints v(id) for each
// node. Converter, loads and losses are its own elements; only which switches
// and cut-outs are open is taken from the solution.
func (s *State) Netlist(title string) string {
	var b strings.Builder
	fmt.Fprintf(&b, "* %s: source %s, %s\n", strings.Join(strings.Fields(title), " "), s.Source, s.Kind)
	b.WriteString(".options reltol=1e-9 vntol=1e-12 abstol=1e-15\n")
	b.WriteString(strings.Join(s.deck.lines, "\n"))
	b.WriteString("\n.control\nset numdgt=9\nop\n")
	for _, n := range s.deck.nodes {
		fmt.Fprintf(&b, "print v(%s)\n", n)
	}
	b.WriteString("quit 0\n.endc\n.end\n")
	return b.String()
}
