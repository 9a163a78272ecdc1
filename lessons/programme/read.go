package programme

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/goccy/go-yaml/ast"

	"lampwright/lessons/setup"
)

// Bounds of a programme.
const (
	mostName       = 80  // characters
	mostText       = 300 // characters of the local text: it stands on the page for an emergency
	mostCaution    = 120 // characters of one
	mostCautions   = 4   // in one language
	mostPhone      = 24  // characters
	mostDays       = 366 // that a sign-off is valid
	mostCaregivers = 20  // that a set-up must have
	fewestKept     = 90  // days that runs are kept: as long as a refresher may be due
	mostKept       = 3653
)

// file is a programme as it is written.
type file struct {
	Schema  float64 `yaml:"schema"` // counts are floats, so that 1.5 is seen and not cut off
	Name    string  `yaml:"name"`
	Zone    string  `yaml:"zone"`
	Numbers struct {
		Emergency    *line `yaml:"emergency"`
		Clinical     *line `yaml:"clinical"`
		Technologist *line `yaml:"technologist"`
		ChairVendor  *line `yaml:"chair-vendor"`
	} `yaml:"numbers"`
	Policies struct {
		RemateJoint      bool     `yaml:"re-mate-joint"`
		OpenHolder       bool     `yaml:"open-fuse-holder"`
		SignOffDays      *float64 `yaml:"sign-off-days"`
		FewestCaregivers *float64 `yaml:"fewest-caregivers"`
		OneTimeCodes     *bool    `yaml:"one-time-codes"`
		KeepRunsDays     *float64 `yaml:"keep-runs-days"`
	} `yaml:"policies"`
	Joints struct {
		Battery    []string `yaml:"battery"`
		Ventilator []string `yaml:"ventilator"`
	} `yaml:"joint-colours"`
	LocalText map[string]string   `yaml:"local-text"`
	Cautions  map[string][]string `yaml:"cautions"`
}

type line struct {
	Number verbatim `yaml:"number"`
	Hours  string   `yaml:"hours"`
}

// verbatim is text just as it stands: a phone number is no number, and must
// not lose its plus or its first zeros.
type verbatim string

// UnmarshalYAML reads what stands there, whatever kind it looks like.
func (v *verbatim) UnmarshalYAML(n ast.Node) error {
	if s, ok := n.(*ast.StringNode); ok {
		*v = verbatim(s.Value)
	} else if t := n.GetToken(); t != nil {
		*v = verbatim(t.Value)
	}
	return nil
}

// Read reads a programme from YAML. name is the file's, for errors: all that
// is wrong, joined, each a problem.Invalid whose text names file, line, what
// stands there and what was expected.
func Read(name string, data []byte) (*Programme, error) {
	var f file
	d, err := setup.Decode(name, data, "programme", &f)
	if err != nil {
		return nil, err
	}
	c := &checker{document: d}
	p := c.programme(&f)
	if len(c.errs) > 0 {
		return nil, errors.Join(c.errs...)
	}
	return p, nil
}

// checker finds all in a decoded programme that cannot be right.
type checker struct {
	document *setup.Document
	errs     []error
}

func (c *checker) fail(path, got, wanted string) {
	c.errs = append(c.errs, c.document.Wrong(path, got, wanted))
}

func (c *checker) programme(f *file) *Programme {
	p := &Programme{Zone: f.Zone, text: map[string]string{}, cautions: map[string][]string{}}
	if f.Schema != 1 {
		c.fail("$.schema", plain(f.Schema), "1")
	}
	p.Name = c.words("$.name", f.Name, mostName)
	if _, err := time.LoadLocation(f.Zone); f.Zone == "" || f.Zone == "Local" || err != nil {
		c.fail("$.zone", strconv.Quote(f.Zone), "a zone such as America/Vancouver")
	}
	p.Emergency = c.needed("$.numbers.emergency", f.Numbers.Emergency)
	if p.Emergency.Hours != "" && p.Emergency.Hours != Always {
		c.fail("$.numbers.emergency.hours", strconv.Quote(p.Emergency.Hours), Always+": in an emergency someone must answer")
	}
	p.Clinical = c.needed("$.numbers.clinical", f.Numbers.Clinical)
	p.Technologist = c.needed("$.numbers.technologist", f.Numbers.Technologist)
	if f.Numbers.ChairVendor != nil {
		p.ChairVendor = c.line("$.numbers.chair-vendor", f.Numbers.ChairVendor)
	}
	p.Policies = Policies{
		RemateJoint: f.Policies.RemateJoint, OpenHolder: f.Policies.OpenHolder,
		SignOffDays:      c.count("$.policies.sign-off-days", f.Policies.SignOffDays, Usual.SignOffDays, 1, mostDays),
		FewestCaregivers: c.count("$.policies.fewest-caregivers", f.Policies.FewestCaregivers, Usual.FewestCaregivers, 1, mostCaregivers),
		OneTimeCodes:     f.Policies.OneTimeCodes == nil || *f.Policies.OneTimeCodes,
		KeepRunsDays:     c.count("$.policies.keep-runs-days", f.Policies.KeepRunsDays, Usual.KeepRunsDays, fewestKept, mostKept),
	}
	p.Joints = Joints{f.Joints.Battery, f.Joints.Ventilator}
	c.joints(p.Joints)
	c.local(f, p)
	return p
}

// words is a line of words of at most so many characters.
func (c *checker) words(path, text string, most int) string {
	text = strings.TrimSpace(text)
	switch n := utf8.RuneCountInString(text); {
	case n > most:
		c.fail(path, fmt.Sprintf("%d characters", n), fmt.Sprintf("at most %d", most))
	case text == "" || !utf8.ValidString(text) || strings.ContainsFunc(text, unicode.IsControl):
		c.fail(path, strconv.Quote(text), "words on one line")
	}
	return text
}

func (c *checker) needed(path string, l *line) Line {
	if l == nil {
		c.fail(path, "nothing", "a number and its hours")
		return Line{}
	}
	return c.line(path, l)
}

var (
	phoneForm = regexp.MustCompile(`^\+?[(0-9][-() 0-9]*[0-9]$`)
	hoursForm = regexp.MustCompile(`^((?:[01][0-9]|2[0-3]):[0-5][0-9])[-–]((?:[01][0-9]|2[0-3]):[0-5][0-9])$`)
)

func (c *checker) line(path string, l *line) Line {
	number := string(l.Number)
	digits := 0
	for _, r := range number {
		if r >= '0' && r <= '9' {
			digits++
		}
	}
	if !phoneForm.MatchString(number) || digits < 3 || len(number) > mostPhone {
		c.fail(path+".number", strconv.Quote(number), fmt.Sprintf("a phone number of digits, spaces, +, - and brackets, at least 3 digits, at most %d characters", mostPhone))
	}
	hours := l.Hours
	if hours != Always {
		m := hoursForm.FindStringSubmatch(hours)
		if m == nil || m[1] == m[2] {
			c.fail(path+".hours", strconv.Quote(hours), "always, or hours such as 08:00–18:00")
		} else {
			hours = m[1] + "–" + m[2] // a hyphen will do to type
		}
	}
	return Line{number, hours}
}

// count is a whole number, or what is usual where none is given.
func (c *checker) count(path string, v *float64, usual, fewest, most int) int {
	if v == nil {
		return usual
	}
	if *v != math.Trunc(*v) || *v < float64(fewest) || *v > float64(most) {
		c.fail(path, plain(*v), fmt.Sprintf("a whole number from %d to %d", fewest, most))
		return usual
	}
	return int(*v)
}

func plain(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

func (c *checker) joints(j Joints) {
	seen := map[string]bool{}
	for _, side := range []struct {
		name    string
		colours []string
	}{{"battery", j.Battery}, {"ventilator", j.Ventilator}} {
		for i, colour := range side.colours {
			path := fmt.Sprintf("$.joint-colours.%s[%d]", side.name, i)
			switch {
			case !slices.Contains(setup.Colours, colour):
				c.fail(path, strconv.Quote(colour), "one of "+strings.Join(setup.Colours, ", "))
			case seen[colour]:
				c.fail(path, strconv.Quote(colour), "each colour once, on one side")
			}
			seen[colour] = true
		}
	}
}

var (
	languageForm = regexp.MustCompile(`^[a-z]{2}$`)
	wordForm     = regexp.MustCompile(`^[A-Za-z-]+$`)
)

// local takes in what the programme says in its own words. What is said in one
// language is said in all of them, so that nobody reads half of it.
func (c *checker) local(f *file, p *Programme) {
	tags := map[string]bool{English: true}
	for _, tag := range slices.Sorted(maps.Keys(f.LocalText)) {
		if c.language("$.local-text", tag) {
			tags[tag] = true
			p.text[tag] = c.words("$.local-text."+tag, f.LocalText[tag], mostText)
		}
	}
	for _, tag := range slices.Sorted(maps.Keys(f.Cautions)) {
		if c.language("$.cautions", tag) {
			tags[tag] = true
			p.cautions[tag] = c.list("$.cautions."+tag, f.Cautions[tag])
		}
	}
	const wanted = "English, and every language of local-text and cautions"
	for _, tag := range slices.Sorted(maps.Keys(tags)) {
		if _, ok := p.text[tag]; !ok && len(p.text) > 0 {
			c.fail("$.local-text", "nothing in "+tag, wanted)
		}
		list, ok := p.cautions[tag]
		english, in := p.cautions[English]
		switch {
		case !ok && len(p.cautions) > 0:
			c.fail("$.cautions", "nothing in "+tag, wanted)
		case ok && in && len(list) != len(english):
			c.fail("$.cautions."+tag, strconv.Itoa(len(list)), fmt.Sprintf("%d cautions, as in English", len(english)))
		}
	}
}

func (c *checker) list(path string, texts []string) (out []string) {
	if n := len(texts); n < 1 || n > mostCautions {
		c.fail(path, strconv.Itoa(n), fmt.Sprintf("1 to %d cautions", mostCautions))
		return nil
	}
	for i, text := range texts {
		out = append(out, c.words(fmt.Sprintf("%s[%d]", path, i), text, mostCaution))
	}
	return out
}

func (c *checker) language(path, tag string) bool {
	if languageForm.MatchString(tag) {
		return true
	}
	if wordForm.MatchString(tag) { // so that its own line is named
		path += "." + tag
	}
	c.fail(path, strconv.Quote(tag), "a language of two small letters, such as en")
	return false
}
