package circuit

import (
	"fmt"
	"math"
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
			if pl.drop > 0 && whole {
				d.add("V_%s %s drop_%s %.12g", to, end, to, pl.drop)
				d.add(".nodeset v(drop_%s)=%.12g", to, start)
				end = "drop_" + to
			}
			d.add("R_%s %s %s %.12g", to, end, to, math.Max(pl.ohms, wire))
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
	d.add("V_emf emf_ 0 %.12g", b.emf)
	d.add("R_inner emf_ posts_ %.12g", math.Max(b.ohms, wire))
	d.add(".nodeset v(posts_)=%.12g", b.emf)
	d.add("R_above posts_ above_ %.12g", math.Max(b.aboveOhms, wire))
	d.add(".nodeset v(above_)=%.12g", b.emf)
	d.add("V_above %s above_ %.12g", battery, b.aboveEMF)
	d.add(".nodeset v(%s)=%.12g", battery, b.emf+b.aboveEMF)
	d.nodes = append(d.nodes, battery)
	if b.charger > 0 {
		d.add("I_charger 0 %s %.12g", battery, b.charger)
	}
	if p.Drive > 0 {
		d.load(battery, m.Drive)
	}
	away := n.shared && m.Mains
	end, whole := d.series(&n.input, "posts_", b.emf, m.Tilted, away && n.converter == nil)
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
	d.add("V_mains mains_ 0 %.12g", wall)
	end, _ = d.series(&n.mains, "mains_", wall, m.Tilted, n.shared && !m.Mains)
	if p.mainsLoad > 0 {
		d.load(end, p.mainsLoad)
	}
	return d
}

// load is a constant-power load.
func (d *deck) load(at string, watts float64) {
	d.add("B_load_%s %s 0 I = %.12g/v(%s)", at, at, watts, at)
}

// Netlist writes the solved state as a SPICE deck that prints v(id) for each
// node.
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
