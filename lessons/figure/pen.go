package figure

import (
	"fmt"
	"html"
	"math"
	"slices"
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
	asked  bool      // what is wrong is asked: nothing marks it
	scales []float64 // of the open groups, the innermost last
}

func num(v float64) string { return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64) }

func (p *pen) line(class string, x1, y1, x2, y2 float64) {
	fmt.Fprintf(p, "<path class=\"%s\" d=\"M%s %sL%s %s\"/>\n", class, num(x1), num(y1), num(x2), num(y2))
}

func (p *pen) path(class, d string) { fmt.Fprintf(p, "<path class=\"%s\" d=\"%s\"/>\n", class, d) }

// mark is drawn at what is wrong, and is no part of it.
func (p *pen) mark(d string) {
	if !p.asked {
		p.path("fig-line fig-bad", d)
	}
}

// fray is a part of what is wrong, which stands out only where that is not asked.
func (p *pen) fray(d string) {
	if p.asked {
		p.path("fig-line", d)
		return
	}
	p.path("fig-line fig-bad", d)
}

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
	p.write(class, anchor, direction, "", x, y, size, s)
}

// lines is text wrapped beforehand, centred on x, the first line's foot at y.
func (p *pen) lines(class string, x, y, size, width float64, lines []string) {
	for i, s := range lines {
		p.squeezed(class, x, y+float64(i)*size*lineHeight, size, width, s)
	}
}

// squeezed is one centred line that keeps to its width.
func (p *pen) squeezed(class string, x, y, size, width float64, s string) {
	p.held(class, "middle", x, y, size, width, s)
}

// held is one line that keeps to its width from its anchor.
func (p *pen) held(class, anchor string, x, y, size, width float64, s string) {
	takes, direction := textWidth(s, size), ""
	if strings.Contains(class, "fig-strong") || strings.Contains(class, "fig-heading") || strings.Contains(class, "fig-wrong") {
		takes *= heavy
	}
	if p.rtl {
		direction = ` direction="rtl"`
	}
	p.fit(class, anchor, direction, x, y, size, width, takes, s)
}

// device is words that stand on the equipment itself, in bold: never
// translated, never turned. On its screens all signs are as wide.
func (p *pen) device(class string, x, y, size, width float64, s string) {
	const ltr = ` direction="ltr"`
	if class != "fig-screen-words" {
		p.fit(class, "middle", ltr, x, y, size, width, heavy*textWidth(s, size), s)
		return
	}
	length := ""
	if .61*size*float64(len([]rune(s))) > width {
		length = narrowed(width)
	}
	p.write(class, "middle", ltr, length, x, y, size, s)
}

// fit is one line, smaller where it might leave its width, and narrowed by the
// browser only where it surely would, so that none is stretched.
func (p *pen) fit(class, anchor, direction string, x, y, size, width, takes float64, s string) {
	const smallest = .8
	length := ""
	if takes > width {
		size *= max(smallest, width/takes)
	}
	if takes*smallest > width {
		length = narrowed(width)
	}
	p.write(class, anchor, direction, length, x, y, size, s)
}

func narrowed(width float64) string {
	return fmt.Sprintf(` textLength="%s" lengthAdjust="spacingAndGlyphs"`, num(width))
}

func (p *pen) write(class, anchor, direction, length string, x, y, size float64, s string) {
	fmt.Fprintf(p, "<text class=\"%s\" x=\"%s\" y=\"%s\" font-size=\"%s\" text-anchor=\"%s\"%s%s>%s</text>\n",
		class, num(x), num(y), num(size), anchor, direction, length, html.EscapeString(s))
}

const lineHeight = 1.2

// heavy is how much more a line takes in bold.
const heavy = 1.11

// textWidth is what a line takes at most, by its script: no font is known here.
func textWidth(s string, size float64) float64 {
	w, next := 0.0, ' '
	for _, r := range slices.Backward([]rune(s)) {
		switch {
		case unicode.In(r, unicode.Mn, unicode.Cf): // marks on letters, and those that only turn words
			continue
		case r >= 0x2e80: // CJK
			w++
		case unicode.Is(unicode.Arabic, r):
			w += arabicWidth(r, next)
		default:
			w += latinWidth(r)
		}
		next = r
	}
	return w * size
}

// latinWidth is what a letter takes in DejaVu Sans, the widest of the usual
// fonts.
func latinWidth(r rune) float64 {
	switch {
	case strings.ContainsRune("ijlI.,:;'’|! \u00a0\u202f", r):
		return .33
	case strings.ContainsRune("ftrîï()[]-\"“”·", r):
		return .42
	case strings.ContainsRune("csz«»", r):
		return .56
	case strings.ContainsRune("mwMWœŒ%…→", r):
		return .98
	case strings.ContainsRune("CDGHNOQU", r):
		return .78
	case unicode.IsUpper(r):
		return .69
	}
	return .64
}

// arabicWidth is what an Arabic letter takes before another: many are narrow
// inside a word and spread at its end.
func arabicWidth(r, next rune) float64 {
	inside, end := .55, .55
	switch {
	case strings.ContainsRune("اأإآ،؛", r):
		inside, end = .34, .34
	case strings.ContainsRune("بتثنيىئل", r):
		inside, end = .36, .85
	case strings.ContainsRune("سشصض", r):
		inside, end = .85, 1.22
	case strings.ContainsRune("طظ", r):
		inside, end = .85, .85
	case strings.ContainsRune("فقك", r):
		inside, end = .6, .9
	}
	if unicode.Is(unicode.Arabic, next) && unicode.IsLetter(next) {
		return inside
	}
	return end
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
