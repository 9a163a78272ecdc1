package page

import (
	"slices"
	"strings"

	"github.com/a-h/templ"
)

// Outing is the form of a plan of an outing and, once it was sent whole, what
// is foreseen of it.
type Outing struct {
	Frame
	Setup   string
	Action  string // where the form goes
	Leaves  Field
	Legs    []Leg
	Whole   string // what is wrong with the legs together, "" for nothing
	Setting Field
	State   []Field // temperature, then what is known of the batteries
	Wrong   []Field // those that have to be looked at again
	Ahead   *Ahead  // nil until there is a whole plan
}

// Field is one answer of a form as it was given, and what is wrong with it.
type Field struct {
	Name, Label, Value string
	Hint               string
	Wrong              string // message, "" for nothing
}

// Leg is one leg of the plan as it was given.
type Leg struct {
	Label            string
	Kind, Amount     Field
	Adapter, Charger bool
	Ticks            [2]string // names of the two ticks
}

// legsOpen are shown at once; the rest can be opened.
const legsOpen = 3

// longer tells whether the plan uses a leg beyond those shown at once.
func (o Outing) longer() bool {
	return slices.ContainsFunc(o.Legs[legsOpen:], func(l Leg) bool { return l.Kind.Value != "none" })
}

// described names the texts that belong to a field.
func (f Field) described() templ.Attributes {
	out, by := templ.Attributes{}, ""
	if f.Hint != "" {
		by = "hint-" + f.Name
	}
	if f.Wrong != "" {
		by += " wrong-" + f.Name
		out["aria-invalid"] = "true"
	}
	if by != "" {
		out["aria-describedby"] = strings.TrimSpace(by)
	}
	return out
}

// Ahead is what is foreseen of a plan, in words and times of the reader.
type Ahead struct {
	OK        bool
	NoMains   bool    // mains cannot carry the ventilator
	Basis     []Field // the answers it rests on
	Stops     string  // when the ventilator stops in the worst case, "" for not at all
	Stretches []Stretch
	First     string // what runs out first, and when
	Helps     []string
	Picture   string // SVG
	Moments   []Moment
	Fewer     bool // some moments were left out
}

// Stretch is a part of an outing away from mains.
type Stretch struct {
	Name             string // "" where there is only one
	LeaveBy, MainsBy string // LeaveBy is "" where the margin cannot be kept
	Lacks            string // what it lacks to keep the margin, "" for nothing
	Late             string // that it is too late or never, "" for in time
}

// Moment is a row of the table: figures run from the worst case to the typical
// one, "" where they are not worked out.
type Moment struct {
	At, What, Source                      string
	Worst                                 bool // only in the worst case
	Chair, Internal, OnChair, Minutes, Km string
}
