package figure

import (
	"fmt"
	"html"
	"math"
	"strconv"
	"strings"
	"unicode"
)

// weight is the one line weight of every figure.
const weight = 3.0

// pen writes shapes. Shapes take classes and never colours.
type pen struct {
	strings.Builder
	rtl    bool
	scales []float64 // of the open groups, the innermost last
}

func num(v float64) string { return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64) }

func (p *pen) line(class string, x1, y1, x2, y2 float64) {
	fmt.Fprintf(p, "<path class=\"%s\" d=\"M%s %sL%s %s\"/>\n", class, num(x1), num(y1), num(x2), num(y2))
}

func (p *pen) path(class, d string) { fmt.Fprintf(p, "<path class=\"%s\" d=\"%s\"/>\n", class, d) }

func (p *pen) rect(class string, x, y, w, h, r float64) {
	fmt.Fprintf(p, "<rect class=\"%s\" x=\"%s\" y=\"%s\" width=\"%s\" height=\"%s\" rx=\"%s\"/>\n", class, num(x), num(y), num(w), num(h), num(r))
}

func (p *pen) circle(class string, x, y, r float64) {
	fmt.Fprintf(p, "<circle class=\"%s\" cx=\"%s\" cy=\"%s\" r=\"%s\"/>\n", class, num(x), num(y), num(r))
}

// begin opens a group drawn at a scale, whose lines keep the one weight.
func (p *pen) begin(x, y, scale float64) {
	p.scales = append(p.scales, scale)
	whole := 1.0
	for _, s := range p.scales {
		whole *= s
	}
	fmt.Fprintf(p, "<g transform=\"translate(%s %s) scale(%s)\" stroke-width=\"%s\">\n",
		num(x), num(y), strconv.FormatFloat(scale, 'f', -1, 64), num(weight/whole))
}

func (p *pen) end() {
	p.scales = p.scales[:len(p.scales)-1]
	p.WriteString("</g>\n")
}

// text is one line of the page's words, in its direction.
func (p *pen) text(class, anchor string, x, y, size float64, s string) {
	direction := ""
	if p.rtl {
		direction = ` direction="rtl"`
	}
	fmt.Fprintf(p, "<text class=\"%s\" x=\"%s\" y=\"%s\" font-size=\"%s\" text-anchor=\"%s\"%s>%s</text>\n",
		class, num(x), num(y), num(size), anchor, direction, html.EscapeString(s))
}

// lines is text wrapped beforehand, centred on x, the first line's foot at y.
func (p *pen) lines(class string, x, y, size, width float64, lines []string) {
	for i, s := range lines {
		p.squeezed(class, x, y+float64(i)*size*lineHeight, size, width, s)
	}
}

// squeezed is one centred line, narrowed by the browser where it would
// otherwise leave its width.
func (p *pen) squeezed(class string, x, y, size, width float64, s string) {
	p.held(class, "middle", x, y, size, width, s)
}

// held is one line that keeps to its width from its anchor.
func (p *pen) held(class, anchor string, x, y, size, width float64, s string) {
	fit, direction := "", ""
	if textWidth(s, size) > width {
		fit = fmt.Sprintf(` textLength="%s" lengthAdjust="spacingAndGlyphs"`, num(width))
	}
	if p.rtl {
		direction = ` direction="rtl"`
	}
	fmt.Fprintf(p, "<text class=\"%s\" x=\"%s\" y=\"%s\" font-size=\"%s\" text-anchor=\"%s\"%s%s>%s</text>\n",
		class, num(x), num(y), num(size), anchor, direction, fit, html.EscapeString(s))
}

// device is words that stand on the equipment itself: never translated, never
// turned.
func (p *pen) device(class string, x, y, size, width float64, s string) {
	fit := ""
	if textWidth(s, size) > width {
		fit = fmt.Sprintf(` textLength="%s" lengthAdjust="spacingAndGlyphs"`, num(width))
	}
	fmt.Fprintf(p, "<text class=\"%s\" x=\"%s\" y=\"%s\" font-size=\"%s\" text-anchor=\"middle\" direction=\"ltr\"%s>%s</text>\n",
		class, num(x), num(y), num(size), fit, html.EscapeString(s))
}

const lineHeight = 1.2

// textWidth is what a line takes at most, by its script: no font is known here.
func textWidth(s string, size float64) float64 {
	w := 0.0
	for _, r := range s {
		switch {
		case unicode.In(r, unicode.Mn, unicode.Cf): // marks on letters, and those that only turn words
		case r >= 0x2e80: // CJK
			w++
		case unicode.Is(unicode.Arabic, r):
			w += .72
		case strings.ContainsRune("iljtfrI.,:;'|!()[] -", r):
			w += .4
		case strings.ContainsRune("mwMW%", r):
			w += .98
		case unicode.IsUpper(r):
			w += .78
		default:
			w += .66
		}
	}
	return w * size
}

// wrap breaks words into lines of a width; scripts without spaces break
// between any two signs.
func wrap(s string, size, width float64) []string {
	var out []string
	line := ""
	for _, word := range breakable(s) {
		if line != "" && textWidth(strings.TrimSpace(line+word), size) > width {
			out = append(out, strings.TrimSpace(line))
			line = ""
		}
		line += word
	}
	if line = strings.TrimSpace(line); line != "" || len(out) == 0 {
		out = append(out, line)
	}
	return out
}

func breakable(s string) []string {
	var out []string
	word := ""
	for _, r := range s {
		word += string(r)
		if unicode.IsSpace(r) && r != '\u00a0' && r != '\u202f' || r == '-' || r >= 0x2e80 && !unicode.IsPunct(r) {
			out, word = append(out, word), ""
		}
	}
	if word != "" {
		out = append(out, word)
	}
	return out
}
