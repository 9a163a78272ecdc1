package circuit

import (
	"fmt"
	"slices"
	"strings"
)

// deck is the body of a netlist: the solved discrete state as SPICE elements.
type deck struct{ lines, nodes []string }

// reserved are words that ngspice takes for ground, for every node, for the
// temperature, or for an operator.
var reserved = []string{"gnd", "all", "alli", "allv", "ally", "temper", "not", "and", "or", "eq", "ge", "gt", "le", "lt", "ne"}

// SpiceName is a node's name in a netlist: lower case, every other character
// an underscore, and one before a word that ngspice takes for its own. The
// deck's own nodes and elements start with one too, as no part's can.
func SpiceName(id string) string {
	if slices.Contains(reserved, id) {
		return "_" + id
	}
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

// bleed is on every node nothing feeds, Ω.
const bleed = 10e6

// resistor joins two nodes. Without ohms it is a source of no volts: SPICE
// takes no zero, and what is next to it drowns in rounding.
func (d *deck) resistor(name, from, to string, ohms float64) {
	if ohms > 0 {
		d.add("R_%s %s %s %.12g", name, from, to, ohms)
	} else {
		d.add("V_%s %s %s 0", name, from, to)
	}
}

// series writes a stretch and bleeds the nodes behind an opening. Parked, it
// ends before the inlet. start is where the solver begins each node: the
// source's volts, for from a zero start it wanders to the low root or nowhere.
func (d *deck) series(g *segment, from string, start float64, tilted, parked bool) (end string, whole bool) {
	end, whole = from, true
	for i := range g.places {
		if parked && i == len(g.places)-1 {
			break
		}
		pl := &g.places[i]
		to := SpiceName(pl.id)
		open := pl.open || tilted && pl.tilted
		if open || !whole {
			whole, start = false, 0
			d.add("Rbleed_%s %s 0 %.12g", to, to, bleed)
		}
		if !open {
			if pl.drop > 0 && start > 0 {
				d.add("V__drop_%s %s _drop_%s %.12g", to, end, to, pl.drop)
				d.add(".nodeset v(_drop_%s)=%.12g", to, start)
				end = "_drop_" + to
			}
			d.resistor(to, end, to, pl.ohms)
		}
		d.add(".nodeset v(%s)=%.12g", to, start)
		d.nodes = append(d.nodes, to)
		end = to
	}
	return end, whole
}

// write makes the deck of a solved moment. Battery, converter, loads, motors
// and chargers are elements of their own; only which switches and cut-outs are
// open is taken from the solution.
func (n *Network) write(m *Moment, p *Point) deck {
	d := deck{}
	b := n.bank(m)
	battery := SpiceName(n.battery)
	d.add("V__emf _emf 0 %.12g", b.emf)
	d.resistor("_inner", "_emf", "_posts", b.ohms)
	d.add(".nodeset v(_posts)=%.12g", b.emf)
	above := "_posts"
	if b.aboveOhms > 0 {
		above = "_above"
		d.resistor("_above", "_posts", "_above", b.aboveOhms)
		d.add(".nodeset v(_above)=%.12g", b.emf)
	}
	d.add("V__above %s %s %.12g", battery, above, b.aboveEMF)
	d.add(".nodeset v(%s)=%.12g", battery, b.emf+b.aboveEMF)
	d.nodes = append(d.nodes, battery)
	if b.charger > 0 {
		d.add("I__charger 0 %s %.12g", battery, b.charger)
	}
	if p.Drive > 0 {
		d.load(battery, m.Drive)
	}
	away := n.shared && m.Mains
	end, whole := d.series(&n.input, "_posts", b.emf, m.Tilted, away && n.converter == nil)
	if n.converter != nil {
		out := SpiceName(n.converterID)
		d.nodes = append(d.nodes, out)
		volts := 0.0
		if p.Lit && whole {
			volts = n.converterV
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
		end, _ = d.series(&n.output, out, volts, m.Tilted, away)
	}
	if p.chairLoad > 0 {
		d.load(end, p.chairLoad)
	}
	wall := 0.0
	if n.alive && m.Mains {
		wall = n.adapterV
	}
	d.add("V__mains _mains 0 %.12g", wall)
	end, _ = d.series(&n.mains, "_mains", wall, m.Tilted, n.shared && !m.Mains)
	if p.mainsLoad > 0 {
		d.load(end, p.mainsLoad)
	}
	return d
}

// load is a constant-power load.
func (d *deck) load(at string, watts float64) {
	d.add("B__load_%s %s 0 I = %.12g/v(%s)", at, at, watts, at)
}

// Netlist writes the solved state as a SPICE deck that prints v(id) for each
// node.
func (s *State) Netlist(title string) string {
	var b strings.Builder
	fmt.Fprintf(&b, "* %s: source %s, %s\n", strings.Join(strings.Fields(title), " "), s.Source, s.Kind)
	b.WriteString(".options reltol=1e-9 vntol=1e-9 abstol=1e-9\n") // finer drowns in the rounding of volts behind milliohms
	b.WriteString(strings.Join(s.deck.lines, "\n"))
	b.WriteString("\n.control\nset numdgt=9\nop\n")
	for _, n := range s.deck.nodes {
		fmt.Fprintf(&b, "print v(%s)\n", n)
	}
	b.WriteString("quit 0\n.endc\n.end\n")
	return b.String()
}
