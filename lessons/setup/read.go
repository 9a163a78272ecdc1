package setup

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"

	"lampwright/locales/problem"
)

// MaxFile is the largest file that is read, in bytes.
const MaxFile = 256 << 10

// Document is a YAML file of the house, decoded strictly: keys of its schema
// only, quantities with their units. Every error about it is a problem.Invalid
// whose text names file, line, what stands there and what was expected.
type Document struct {
	name string
	file *ast.File
}

// Decode decodes a file into what v points at. name is the file's, for errors,
// what is what it should be.
func Decode(name string, data []byte, what string, v any) (*Document, error) {
	if len(data) > MaxFile {
		return nil, invalid(name, 1, fmt.Sprintf("%d bytes", len(data)), fmt.Sprintf("at most %d", MaxFile))
	}
	file, err := parser.ParseBytes(data, 0)
	if err != nil {
		return nil, fromYAML(name, what, nil, err)
	}
	if len(file.Docs) != 1 || file.Docs[0].Body == nil {
		return nil, invalid(name, 1, fmt.Sprintf("%d documents", len(file.Docs)), "one "+what)
	}
	if err := strictly(data, v); err != nil {
		if errors.Is(err, io.EOF) {
			return nil, invalid(name, 1, "nothing", "a "+what)
		}
		return nil, fromYAML(name, what, file, err)
	}
	return &Document{name, file}, nil
}

// Wrong is an error about what stands at a YAML path such as
// $.chain[2].lead.length; where the key is missing, its nearest parent gives
// the line.
func (d *Document) Wrong(path, got, wanted string) error {
	line := 1
	for at := path; strings.Contains(at, "."); at = at[:strings.LastIndexAny(at, ".[")] {
		p, err := yaml.PathString(at)
		if err != nil {
			continue
		}
		if n, err := p.FilterFile(d.file); err == nil && n != nil && n.GetToken() != nil {
			line = n.GetToken().Position.Line
			break
		}
	}
	return invalid(d.name, line, strings.TrimPrefix(path, "$.")+" "+got+partAt(d.file, line), wanted)
}

// Read reads a set-up from YAML. name is the file's, for errors.
func Read(name string, data []byte) (*Setup, error) {
	var s Setup
	d, err := Decode(name, data, "set-up", &s)
	if err != nil {
		return nil, err
	}
	c := &checker{document: d}
	c.setup(&s)
	if c.err != nil {
		return nil, c.err
	}
	s.fill()
	return &s, nil
}

// fill puts in what a file may leave out (common practice, no source).
func (s *Setup) fill() {
	unset(&s.Drive.Energy, 35)
	unset(&s.Drive.Speed, 5)
	unset(&s.Drive.Ramp, 600)
	b := s.Battery()
	unset(&b.Charger, Amps(b.Blocks[0].Capacity)/10)
	for _, side := range [][]Part{s.Mains, s.Chain} {
		for i := range side {
			side[i].fill()
		}
	}
	unset(&s.Ventilator.Draw.Breath, 4)
	for i := range s.Ventilator.Inlets {
		unset(&s.Ventilator.Inlets[i].HoldUp, .02)
	}
}

func (p *Part) fill() {
	switch {
	case p.Joint != nil:
		unset(&p.Joint.Rating, 15)
	case p.Fuse != nil:
		unset(&p.Fuse.Most, 20)
		unset(&p.Fuse.Volts, 32)
	case p.Converter != nil:
		unset(&p.Converter.Delay, 1)
	case p.Plug != nil:
		unset(&p.Plug.Rating, 7.5)
	}
}

func unset[T ~float64](v *T, usual T) {
	if *v == 0 {
		*v = usual
	}
}

// strictly outlives the library, which panics over some tags before a list.
func strictly(data []byte, v any) (err error) {
	defer func() {
		if recover() != nil {
			err = errors.New("tags that cannot be decoded")
		}
	}()
	return yaml.NewDecoder(bytes.NewReader(data), yaml.Strict()).Decode(v)
}

func invalid(name string, line int, got, wanted string) error {
	return problem.Wrap(fmt.Errorf("%s:%d: got %s, expected %s", name, line, got, wanted),
		problem.Invalid, "problem.setup", "File", name, "Line", line, "Got", got, "Expected", wanted)
}

// fromYAML turns the library's errors, and ours inside them, into one form.
func fromYAML(name, what string, file *ast.File, err error) error {
	var v *valueError
	if errors.As(err, &v) {
		return invalid(name, v.line, v.got+partAt(file, v.line), v.wanted)
	}
	line, wanted := 1, "YAML of a "+what
	var y yaml.Error
	if errors.As(err, &y) {
		if t := y.GetToken(); t != nil && t.Position != nil {
			line = t.Position.Line
		}
		var unknown *yaml.UnknownFieldError
		if errors.As(err, &unknown) {
			wanted = "only keys of the schema"
		}
		var mistyped *yaml.TypeError
		if errors.As(err, &mistyped) {
			return invalid(name, line, strconv.Quote(mistyped.Token.Value), kindWords(mistyped.DstType.Kind()))
		}
		return invalid(name, line, y.GetMessage(), wanted)
	}
	return invalid(name, line, strings.SplitN(err.Error(), "\n", 2)[0], wanted)
}

// partAt names the part that a line of the file is about, " in part fuse";
// "" where it is about none.
func partAt(file *ast.File, line int) string {
	body, ok := file.Docs[0].Body.(*ast.MappingNode)
	if !ok {
		return ""
	}
	named := ""
	for _, section := range body.Values {
		list, ok := section.Value.(*ast.SequenceNode)
		if section.Key.GetToken().Position.Line > line {
			break
		}
		named = ""
		if !ok {
			continue
		}
		for _, item := range list.Values {
			m, ok := item.(*ast.MappingNode)
			if !ok || len(m.Values) == 0 || m.Values[0].Key.GetToken().Position.Line > line {
				continue
			}
			named = ""
			for _, kv := range m.Values {
				if kv.Key.GetToken().Value == "id" && kv.Value.GetToken() != nil {
					named = " in part " + kv.Value.GetToken().Value
				}
			}
		}
	}
	return named
}

func kindWords(k reflect.Kind) string {
	switch k {
	case reflect.Bool:
		return "true or false"
	case reflect.Int, reflect.Float64:
		return "a plain number"
	case reflect.String:
		return "text"
	case reflect.Slice:
		return "a list"
	}
	return "a map of the schema's keys"
}

// checker finds the first thing in a decoded set-up that cannot be right.
type checker struct {
	document *Document
	ids      map[string]bool
	err      error
}

// fail records the first failure.
func (c *checker) fail(path, got, wanted string) {
	if c.err == nil {
		c.err = c.document.Wrong(path, got, wanted)
	}
}

func (c *checker) positive(path string, v float64) {
	if v <= 0 {
		c.fail(path, strconv.FormatFloat(v, 'g', -1, 64), "a value above zero with its unit")
	}
}

func (c *checker) share(path string, v float64) {
	if !(v >= 0 && v <= 1) {
		c.fail(path, strconv.FormatFloat(v, 'g', -1, 64), "a number from 0 to 1")
	}
}

func oneOf[T ~string](c *checker, path string, v T, of ...T) {
	if !slices.Contains(of, v) {
		c.fail(path, strconv.Quote(string(v)), "one of "+join(of))
	}
}

func join[T ~string](of []T) string {
	s := make([]string, len(of))
	for i, v := range of {
		s[i] = string(v)
	}
	return strings.Join(s, ", ")
}

var idForm = regexp.MustCompile(`^[a-z][a-z0-9-]{0,39}$`)

func (c *checker) id(path, id string) {
	if !idForm.MatchString(id) {
		c.fail(path, strconv.Quote(id), "an id of small letters, digits and hyphens, such as joint-battery")
	}
	if c.ids[id] {
		c.fail(path, strconv.Quote(id), "an id that no other part has")
	}
	c.ids[id] = true
}

func (c *checker) setup(s *Setup) {
	c.ids = map[string]bool{InternalID: true, AlarmID: true, PanelID: true}
	if s.Schema != 1 {
		c.fail("$.schema", strconv.Itoa(s.Schema), "1")
	}
	if t := strings.TrimSpace(s.Tag); t == "" || len(t) > 40 || t != s.Tag {
		c.fail("$.tag", strconv.Quote(s.Tag), "a tag of at most 40 bytes, such as Chair 12")
	}
	c.mains(s.Mains)
	c.chain(s)
	c.ventilator(&s.Ventilator)
}

var (
	mainsKinds = []Kind{KindOutlet, KindCord, KindAdapter, KindLead, KindJoint, KindPlug}
	chainKinds = []Kind{KindBattery, KindIsolator, KindTap, KindLead, KindJoint, KindFuse, KindDiode, KindConverter, KindPlug}
)

func (c *checker) mains(parts []Part) {
	c.parts("$.mains", parts, mainsKinds, []Kind{KindOutlet, KindCord, KindAdapter, KindPlug})
	adapter := false
	for i := range parts {
		switch k := parts[i].Kind(); {
		case k == KindAdapter:
			adapter = true
		case (k == KindOutlet || k == KindCord) == adapter:
			c.fail(fmt.Sprintf("$.mains[%d]", i), string(k), "outlet and cord before the adapter, leads, joints and plug after it")
		}
	}
}

func (c *checker) chain(s *Setup) {
	c.parts("$.chain", s.Chain, chainKinds, []Kind{KindBattery, KindTap, KindPlug})
	if c.err != nil {
		return
	}
	if s.Chain[0].Battery == nil {
		c.fail("$.chain[0]", string(s.Chain[0].Kind()), "the battery, first in the chain")
	}
	var battery *Battery
	for i := range s.Chain {
		p := &s.Chain[i]
		at := fmt.Sprintf("$.chain[%d]", i)
		if p.Battery != nil {
			battery = p.Battery
		}
		if p.Isolator != nil && !(i == 1 && s.Chain[0].Battery != nil) {
			c.fail(at, "isolator", "the isolator right after the battery")
		}
		if t := p.Tap; t != nil {
			if i > 2 || (i == 2 && s.Chain[1].Isolator == nil) {
				c.fail(at, "tap", "the tap after battery and isolator")
			}
			if t.At == AtIsolator && s.Chain[1].Isolator == nil {
				c.fail(at+".tap.at", string(t.At), "posts or port: this chain has no isolator")
			}
			if t.Block > 1 || t.Block < 0 || battery != nil && t.Block == 1 && len(battery.Blocks) < 2 {
				c.fail(at+".tap.block", strconv.Itoa(t.Block), "0 for the whole pack, or 1 for the block at the negative of a pack of several")
			}
		}
	}
}

// parts checks a list of parts: its kinds, those it needs once, and each part.
func (c *checker) parts(path string, parts []Part, allowed, needed []Kind) {
	count := map[Kind]int{}
	for i := range parts {
		p, at := &parts[i], fmt.Sprintf("%s[%d]", path, i)
		if p.kinds() != 1 {
			c.fail(at, fmt.Sprintf("%d kinds", p.kinds()), "exactly one of "+join(allowed))
			return
		}
		c.id(at+".id", p.ID)
		if !slices.Contains(allowed, p.Kind()) {
			c.fail(at, string(p.Kind()), "one of "+join(allowed))
		}
		count[p.Kind()]++
		c.part(at, p)
	}
	for _, k := range needed {
		if count[k] != 1 {
			c.fail(path, fmt.Sprintf("%d of kind %s", count[k], k), "exactly one")
		}
	}
	for _, k := range []Kind{KindIsolator, KindFuse, KindDiode, KindConverter} {
		if count[k] > 1 {
			c.fail(path, fmt.Sprintf("%d of kind %s", count[k], k), "at most one")
		}
	}
	if len(parts) > 40 {
		c.fail(path, fmt.Sprintf("%d parts", len(parts)), "at most 40")
	}
	if n := len(parts); n > 0 && parts[n-1].Plug == nil {
		c.fail(fmt.Sprintf("%s[%d]", path, n-1), string(parts[n-1].Kind()), "a plug, last before the inlet")
	}
}

func (c *checker) part(at string, p *Part) {
	switch {
	case p.Battery != nil:
		c.battery(at+".battery", p.Battery)
	case p.Tap != nil:
		oneOf(c, at+".tap.at", p.Tap.At, AtPosts, AtIsolator, AtPort)
	case p.Lead != nil:
		c.positive(at+".lead.conductor", float64(p.Lead.Conductor))
		c.positive(at+".lead.length", float64(p.Lead.Length))
	case p.Joint != nil:
		c.positive(at+".joint.contact", float64(p.Joint.Contact))
		oneOf(c, at+".joint.colour", p.Joint.Colour, Colours...)
		oneOf(c, at+".joint.key", p.Joint.Key, Keys...)
	case p.Fuse != nil:
		c.positive(at+".fuse.rating", float64(p.Fuse.Rating))
		c.positive(at+".fuse.cold", float64(p.Fuse.Cold))
	case p.Diode != nil:
		c.positive(at+".diode.drop", float64(p.Diode.Drop))
		if p.Diode.Drop > 2 {
			c.fail(at+".diode.drop", fmt.Sprintf("%g V", p.Diode.Drop), "at most 2 V")
		}
	case p.Converter != nil:
		c.converter(at+".converter", p.Converter)
	case p.Plug != nil:
		c.positive(at+".plug.contact", float64(p.Plug.Contact))
	case p.Adapter != nil:
		c.positive(at+".adapter.output", float64(p.Adapter.Output))
		c.positive(at+".adapter.limit", float64(p.Adapter.Limit))
		c.positive(at+".adapter.resistance", float64(p.Adapter.Resistance))
	}
}

func (c *checker) battery(at string, b *Battery) {
	oneOf(c, at+".chemistry", b.Chemistry, AGM, Gel, Flooded, Lithium)
	if !(b.Years >= 0 && b.Years <= 30) {
		c.fail(at+".years", fmt.Sprint(b.Years), "years from 0 to 30")
	}
	if n := len(b.Blocks); n < 1 || n > 8 {
		c.fail(at+".blocks", fmt.Sprintf("%d blocks", n), "1 to 8 blocks")
	}
	for i, bl := range b.Blocks {
		p := fmt.Sprintf("%s.blocks[%d]", at, i)
		c.positive(p+".capacity", float64(bl.Capacity))
		c.positive(p+".resistance", float64(bl.Resistance))
		c.share(p+".charge", bl.Charge)
	}
}

func (c *checker) converter(at string, v *Converter) {
	oneOf(c, at+".kind", v.Kind, Buck, Boost)
	c.positive(at+".output", float64(v.Output))
	c.positive(at+".limit", float64(v.Limit))
	c.positive(at+".cut-out", float64(v.CutOut))
	if v.Restart <= v.CutOut {
		c.fail(at+".restart", fmt.Sprintf("%g V", v.Restart), "more than the cut-out")
	}
	if v.Kind == Buck && v.Output >= v.CutOut {
		c.fail(at+".output", fmt.Sprintf("%g V", v.Output), fmt.Sprintf("less than the cut-out of %g V: a buck only moves volts down", v.CutOut))
	}
	if v.Kind == Boost && v.Output <= v.Restart {
		c.fail(at+".output", fmt.Sprintf("%g V", v.Output), fmt.Sprintf("more than the restart of %g V: a boost only moves volts up", v.Restart))
	}
	if len(v.Efficiency) == 0 {
		c.fail(at+".efficiency", "nothing", "at least one point of load and ratio")
	}
	last := Watts(0)
	for i, e := range v.Efficiency {
		p := fmt.Sprintf("%s.efficiency[%d]", at, i)
		if e.Load <= last {
			c.fail(p+".load", fmt.Sprintf("%g W", e.Load), "loads that rise from above zero")
		}
		last = e.Load
		if !(e.Ratio > 0 && e.Ratio < 1) {
			c.fail(p+".ratio", fmt.Sprint(e.Ratio), "a number above 0 and below 1")
		}
	}
}

func (c *checker) ventilator(v *Ventilator) {
	const at = "$.ventilator"
	if v.Model == "" || len(v.Model) > 40 {
		c.fail(at+".model", strconv.Quote(v.Model), "a model name of at most 40 bytes")
	}
	c.positive(at+".draw.usual", float64(v.Draw.Usual))
	if v.Draw.Low > v.Draw.Usual || v.Draw.Usual > v.Draw.High || v.Draw.High > v.Draw.Peak {
		c.fail(at+".draw", "levels out of order", "low ≤ usual ≤ high ≤ peak")
	}
	if len(v.Order) != 2 || !slices.Contains(v.Order, Mains) || !slices.Contains(v.Order, Chair) {
		c.fail(at+".order", join(v.Order), "mains and chair, in the ventilator's own order")
	}
	c.positive(at+".internal.energy", float64(v.Internal.Energy))
	c.share(at+".internal.charge", v.Internal.Charge)
	if _, err := time.Parse(time.DateOnly, v.Internal.TestedOn); err != nil {
		c.fail(at+".internal.tested-on", strconv.Quote(v.Internal.TestedOn), "a date such as 2026-08-01")
	}
	c.inlets(at+".inlets", v)
	c.panel(at+".panel", v.Panel)
	for _, a := range []struct {
		key string
		p   Priority
	}{{"internal", v.Alarm.Internal}, {"low", v.Alarm.Low}, {"stopped", v.Alarm.Stopped}} {
		oneOf(c, at+".alarm."+a.key, a.p, NoAlarm, Low, Medium, High)
	}
	c.share(at+".alarm.low-below", v.Alarm.LowBelow)
}

func (c *checker) inlets(at string, v *Ventilator) {
	if n := len(v.Inlets); n < 1 || n > 2 {
		c.fail(at, fmt.Sprintf("%d inlets", n), "one shared inlet or two")
	}
	taken := map[Source]int{}
	for i, in := range v.Inlets {
		p := fmt.Sprintf("%s[%d]", at, i)
		c.id(p+".id", in.ID)
		if in.Switch != "" {
			c.id(p+".switch", in.Switch)
		}
		for _, s := range in.Takes {
			oneOf(c, p+".takes", s, Mains, Chair)
			taken[s]++
		}
		c.positive(p+".low", float64(in.Low))
		c.positive(p+".contact", float64(in.Contact))
		if in.High <= in.Low {
			c.fail(p+".high", fmt.Sprintf("%g V", in.High), "more than low")
		}
	}
	if taken[Mains] != 1 || taken[Chair] != 1 {
		c.fail(at, fmt.Sprintf("mains at %d, chair at %d", taken[Mains], taken[Chair]), "each taken by exactly one inlet")
	}
}

func (c *checker) panel(at string, items []Item) {
	if n := len(items); n < 1 || n > 6 {
		c.fail(at, fmt.Sprintf("%d items", n), "1 to 6 lamps and screens")
	}
	for i, it := range items {
		p := fmt.Sprintf("%s[%d]", at, i)
		c.id(p+".id", it.ID)
		if (it.Lamp != "") == (it.Screen != nil) {
			c.fail(p, "lamp and screen both or neither", "a lamp with lit-on, or a screen with words")
		}
		if it.Lamp != "" {
			oneOf(c, p+".lamp", it.Lamp, Symbols...)
			if len(it.LitOn) == 0 {
				c.fail(p+".lit-on", "nothing", "the sources it is lit for")
			}
			for _, s := range it.LitOn {
				oneOf(c, p+".lit-on", s, Mains, Chair, Internal)
			}
		}
		for s, words := range it.Screen {
			oneOf(c, p+".screen", s, Mains, Chair, Internal)
			if len(words) > 24 {
				c.fail(p+".screen", strconv.Quote(words), "at most 24 bytes")
			}
		}
	}
}
