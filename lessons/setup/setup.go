package setup

import "slices"

// Source is what carries the ventilator.
type Source string

// The sources, and none of them.
const (
	Mains    Source = "mains"
	Chair    Source = "chair"
	Internal Source = "internal"
	None     Source = "none"
)

// Setup is one person's equipment, known by its tag.
type Setup struct {
	Schema     int        `yaml:"schema"`
	Tag        string     `yaml:"tag"`
	Dependence Dependence `yaml:"dependence"`
	Policy     Policy     `yaml:"policy"`
	Drive      Drive      `yaml:"drive"`
	Mains      []Part     `yaml:"mains"` // outlet, cord, adapter and what lies between it and the inlet
	Chain      []Part     `yaml:"chain"` // from the chair's battery to the plug
	Ventilator Ventilator `yaml:"ventilator"`
}

// Dependence is how long the person can breathe without the ventilator; never
// who they are. Zero is the most dependent.
type Dependence struct {
	Unaided Minutes `yaml:"unaided"`
}

// Policy is what the programme lets a caregiver do here; all no by default.
type Policy struct {
	RemateJoint bool `yaml:"re-mate-joint"`
	OpenHolder  bool `yaml:"open-fuse-holder"`
}

// Drive is what the chair itself takes from its battery. What a file leaves
// out is filled in by Read (from memory: 25 to 45 Wh/km).
type Drive struct {
	Energy WattHoursPerKm `yaml:"energy"`
	Speed  KmPerHour      `yaml:"speed"`
	Ramp   Watts          `yaml:"ramp"` // the peak on a ramp or a kerb
}

// Part is one thing in the mains side or the chain: an id and exactly one kind.
type Part struct {
	ID        string     `yaml:"id"`
	Battery   *Battery   `yaml:"battery"`
	Isolator  *Isolator  `yaml:"isolator"`
	Tap       *Tap       `yaml:"tap"`
	Lead      *Lead      `yaml:"lead"`
	Joint     *Joint     `yaml:"joint"`
	Fuse      *Fuse      `yaml:"fuse"`
	Diode     *Diode     `yaml:"diode"`
	Converter *Converter `yaml:"converter"`
	Plug      *Plug      `yaml:"plug"`
	Outlet    *Outlet    `yaml:"outlet"`
	Cord      *Cord      `yaml:"cord"`
	Adapter   *Adapter   `yaml:"adapter"`
}

// Kind is what a part is; faults and looks go by it.
type Kind string

// The kinds, those in the mains side and the chain first, then those inside
// the ventilator.
const (
	KindBattery   Kind = "battery"
	KindIsolator  Kind = "isolator"
	KindTap       Kind = "tap"
	KindLead      Kind = "lead"
	KindJoint     Kind = "joint"
	KindFuse      Kind = "fuse"
	KindDiode     Kind = "diode"
	KindConverter Kind = "converter"
	KindPlug      Kind = "plug"
	KindOutlet    Kind = "outlet"
	KindCord      Kind = "cord"
	KindAdapter   Kind = "adapter"
	KindInlet     Kind = "inlet"
	KindSwitch    Kind = "switch"
	KindInternal  Kind = "internal"
	KindLamp      Kind = "lamp"
	KindScreen    Kind = "screen"
	KindAlarm     Kind = "alarm"
	KindPanel     Kind = "panel" // the whole face, as a person reads it
)

// Kind is the part's kind, "" for a part that has none (never after Read).
func (p *Part) Kind() Kind {
	switch {
	case p.Battery != nil:
		return KindBattery
	case p.Isolator != nil:
		return KindIsolator
	case p.Tap != nil:
		return KindTap
	case p.Lead != nil:
		return KindLead
	case p.Joint != nil:
		return KindJoint
	case p.Fuse != nil:
		return KindFuse
	case p.Diode != nil:
		return KindDiode
	case p.Converter != nil:
		return KindConverter
	case p.Plug != nil:
		return KindPlug
	case p.Outlet != nil:
		return KindOutlet
	case p.Cord != nil:
		return KindCord
	case p.Adapter != nil:
		return KindAdapter
	}
	return ""
}

func (p *Part) kinds() int {
	n := 0
	for _, has := range []bool{
		p.Battery != nil, p.Isolator != nil, p.Tap != nil, p.Lead != nil, p.Joint != nil, p.Fuse != nil,
		p.Diode != nil, p.Converter != nil, p.Plug != nil, p.Outlet != nil, p.Cord != nil, p.Adapter != nil,
	} {
		if has {
			n++
		}
	}
	return n
}

// Chemistry of a chair battery's blocks.
type Chemistry string

// The chemistries whose open-circuit voltage is known.
const (
	AGM     Chemistry = "agm"
	Gel     Chemistry = "gel"
	Flooded Chemistry = "flooded"
	Lithium Chemistry = "lithium"
)

// Battery is the chair's pack: blocks in series, the pack's negative first.
type Battery struct {
	Chemistry Chemistry `yaml:"chemistry"`
	Years     float64   `yaml:"years"`
	Blocks    []Block   `yaml:"blocks"`
	Charger   Amps      `yaml:"charger"` // of the chair; a tenth of the capacity if left out
}

// Block is one 12 V unit of a pack.
type Block struct {
	Capacity   AmpHours `yaml:"capacity"`   // at the 20-hour rate
	Resistance Ohms     `yaml:"resistance"` // when new and warm
	Charge     float64  `yaml:"charge"`     // 0 to 1
}

// Isolator is the chair's own switch or breaker.
type Isolator struct {
	Resistance Ohms `yaml:"resistance"`
}

// TapAt is where a chain takes its power.
type TapAt string

// The places of a tap.
const (
	AtPosts    TapAt = "posts"    // the battery posts, whatever the chair's switches say
	AtIsolator TapAt = "isolator" // behind the chair's isolator or breaker
	AtPort     TapAt = "port"     // an accessory port that sleeps with the chair
)

// Tap takes the whole pack, or one block (only the one at the pack's negative:
// higher up, the return would float above it).
type Tap struct {
	At         TapAt `yaml:"at"`
	Block      int   `yaml:"block"` // 0 the whole pack, 1 the lowest block
	Resistance Ohms  `yaml:"resistance"`
}

// Lead is a two-conductor cable.
type Lead struct {
	Length    Metres   `yaml:"length"`
	Conductor SquareMM `yaml:"conductor"`
}

// Joint is a mated connector pair. Colours and key are data, for pictures.
type Joint struct {
	Contact Ohms   `yaml:"contact"`
	Rating  Amps   `yaml:"rating"` // what its contacts carry all day; 15 A if left out
	Colour  string `yaml:"colour"` // of the shells: one of Colours
	Key     string `yaml:"key"`    // of the shells: one of Keys
	Sense   bool   `yaml:"sense"`  // has a third, sensing contact
}

// Fuse is an in-line blade fuse in its holder.
type Fuse struct {
	Rating Amps  `yaml:"rating"`
	Cold   Ohms  `yaml:"cold"`          // of the element
	Holder Ohms  `yaml:"holder"`        // of its two contacts
	Most   Amps  `yaml:"holder-rating"` // what the holder carries; 20 A if left out
	Volts  Volts `yaml:"volts"`         // direct, that it can interrupt; 32 V if left out
	Cover  bool  `yaml:"clear-cover"`
}

// Diode lets current through one way, at the price of its drop.
type Diode struct {
	Drop       Volts `yaml:"drop"`
	Resistance Ohms  `yaml:"resistance"`
}

// ConverterKind says which way a converter moves volts.
type ConverterKind string

// The kinds of converter; a chain without one has no converter part.
const (
	Buck  ConverterKind = "buck"  // down
	Boost ConverterKind = "boost" // up
)

// Converter makes the chair's volts into the ventilator's.
type Converter struct {
	Kind       ConverterKind `yaml:"kind"`
	Isolated   bool          `yaml:"isolated"`
	Output     Volts         `yaml:"output"`
	Limit      Amps          `yaml:"limit"`      // of the output
	Idle       Watts         `yaml:"idle"`       // taken with no load
	Efficiency []Efficiency  `yaml:"efficiency"` // by rising output watts
	CutOut     Volts         `yaml:"cut-out"`    // input below this: off
	Restart    Volts         `yaml:"restart"`    // input above this: on again
	Delay      Seconds       `yaml:"delay"`      // from restart to output; 1 s if left out
	Latched    bool          `yaml:"latched"`    // once off, stays off until reset by staff
}

// Efficiency is one point of a converter's curve.
type Efficiency struct {
	Load  Watts   `yaml:"load"`
	Ratio float64 `yaml:"ratio"` // output over input, 0 to 1
}

// Plug goes into the ventilator's inlet.
type Plug struct {
	Contact Ohms `yaml:"contact"`
	Rating  Amps `yaml:"rating"` // what its contacts carry all day; 7.5 A if left out
	Sense   bool `yaml:"sense"`
}

// Outlet is the wall outlet; its volts are alternating and not modelled.
type Outlet struct {
	Switched bool `yaml:"switched"`
}

// Cord goes from the outlet to the adapter.
type Cord struct{}

// Adapter makes the mains into the ventilator's direct volts.
type Adapter struct {
	Output     Volts `yaml:"output"`
	Limit      Amps  `yaml:"limit"`
	Resistance Ohms  `yaml:"resistance"` // of its output and cable
}

// Ventilator is what is being fed.
type Ventilator struct {
	Model    string   `yaml:"model"`
	Draw     Draw     `yaml:"draw"`
	Charger  Charger  `yaml:"charger"`
	Order    []Source `yaml:"order"` // which outside source it takes first
	Inlets   []Inlet  `yaml:"inlets"`
	Internal Cell     `yaml:"internal"`
	Panel    []Item   `yaml:"panel"`
	Alarm    Alarms   `yaml:"alarm"`
}

// Draw is what breathing takes, by setting, and the peak of one breath at the
// high setting.
type Draw struct {
	Low    Watts   `yaml:"low"`
	Usual  Watts   `yaml:"usual"`
	High   Watts   `yaml:"high"`
	Peak   Watts   `yaml:"peak"`
	Breath Seconds `yaml:"breath"` // from one to the next; 4 s if left out
}

// PeakAt is the top of a breath at a setting of these average watts: it rises
// with the setting (common practice, no source).
func (d Draw) PeakAt(average Watts) Watts { return average * d.Peak / d.High }

// Charger is what charging the internal battery adds, by source.
type Charger struct {
	Mains Watts `yaml:"mains"`
	Chair Watts `yaml:"chair"`
}

// Inlet is where an outside source enters.
type Inlet struct {
	ID      string   `yaml:"id"`
	Takes   []Source `yaml:"takes"`   // mains, chair, or both: one shared inlet
	Low     Volts    `yaml:"low"`     // below this, under load, it lets go
	High    Volts    `yaml:"high"`    // above this it does not take
	Delay   Seconds  `yaml:"delay"`   // before it takes
	HoldUp  Seconds  `yaml:"hold-up"` // before it lets go; 20 ms if left out
	Sense   bool     `yaml:"sense"`   // takes only while the plug's sense contact meets
	Contact Ohms     `yaml:"contact"`
	Switch  string   `yaml:"switch"`  // id of a switch beside it, "" for none
	Retries bool     `yaml:"retries"` // takes again after it let go
}

// Cell is the internal battery.
type Cell struct {
	Energy   WattHours `yaml:"energy"`
	Charge   float64   `yaml:"charge"`    // 0 to 1
	Tested   Minutes   `yaml:"tested"`    // runtime last measured
	TestedOn string    `yaml:"tested-on"` // its date, YYYY-MM-DD
}

// Item is one thing on the panel: a lamp lit for some sources, or a screen
// with words for each.
type Item struct {
	ID     string            `yaml:"id"`
	Lamp   string            `yaml:"lamp"`   // its symbol: one of Symbols; "" for a screen
	LitOn  []Source          `yaml:"lit-on"` // a lamp is lit while one of these carries
	Screen map[Source]string `yaml:"screen"` // words by source; {percent} is the internal charge
}

// Alarms is the priority the ventilator gives each condition.
type Alarms struct {
	Internal Priority `yaml:"internal"` // on its own battery
	Low      Priority `yaml:"low"`      // and little is left
	LowBelow float64  `yaml:"low-below"`
	Stopped  Priority `yaml:"stopped"` // may be none: silent
}

// Priority of an alarm, as IEC 60601-1-8 ranks them.
type Priority string

// The priorities.
const (
	NoAlarm Priority = "none"
	Low     Priority = "low"
	Medium  Priority = "medium"
	High    Priority = "high"
)

// What a file may name for pictures.
var (
	Symbols = []string{"alternating-current", "direct-current", "battery"}
	Colours = []string{"black", "white", "grey", "yellow", "blue"}
	Keys    = []string{"flat", "notch", "ridge"}
)

// PartKind is the kind of any part by id, also those inside the ventilator.
func (s *Setup) PartKind(id string) (Kind, bool) {
	for _, list := range [][]Part{s.Mains, s.Chain} {
		for i := range list {
			if list[i].ID == id {
				return list[i].Kind(), true
			}
		}
	}
	for _, in := range s.Ventilator.Inlets {
		if in.ID == id {
			return KindInlet, true
		}
		if in.Switch != "" && in.Switch == id {
			return KindSwitch, true
		}
	}
	for _, it := range s.Ventilator.Panel {
		if it.ID == id {
			if it.Lamp != "" {
				return KindLamp, true
			}
			return KindScreen, true
		}
	}
	switch id {
	case InternalID:
		return KindInternal, true
	case AlarmID:
		return KindAlarm, true
	case PanelID:
		return KindPanel, true
	}
	return "", false
}

// The ids every ventilator has: its internal battery, its alarm, and its whole
// face as a person reads it.
const (
	InternalID = "internal"
	AlarmID    = "alarm"
	PanelID    = "panel"
)

// Part is a part of the mains side or the chain by id, nil for one inside the
// ventilator.
func (s *Setup) Part(id string) *Part {
	for _, list := range [][]Part{s.Mains, s.Chain} {
		for i := range list {
			if list[i].ID == id {
				return &list[i]
			}
		}
	}
	return nil
}

// Battery is the chair's pack, in every set-up that was read.
func (s *Setup) Battery() *Battery {
	for i := range s.Chain {
		if b := s.Chain[i].Battery; b != nil {
			return b
		}
	}
	return nil
}

// Tap is where the chain takes its power, in every set-up that was read.
func (s *Setup) Tap() *Tap {
	for i := range s.Chain {
		if t := s.Chain[i].Tap; t != nil {
			return t
		}
	}
	return nil
}

// InletFor is the inlet that takes a source, nil if none does.
func (v *Ventilator) InletFor(s Source) *Inlet {
	for i := range v.Inlets {
		if slices.Contains(v.Inlets[i].Takes, s) {
			return &v.Inlets[i]
		}
	}
	return nil
}

// Shared reports whether adapter and chair lead use one and the same inlet, so
// that changing source always opens the path.
func (v *Ventilator) Shared() bool {
	m, c := v.InletFor(Mains), v.InletFor(Chair)
	return m != nil && m == c
}

// IDs lists every part once: mains side, chain, inlets with their switches,
// internal battery, lamps and screens, alarm, panel.
func (s *Setup) IDs() []string {
	var ids []string
	for _, list := range [][]Part{s.Mains, s.Chain} {
		for i := range list {
			ids = append(ids, list[i].ID)
		}
	}
	for _, in := range s.Ventilator.Inlets {
		ids = append(ids, in.ID)
		if in.Switch != "" {
			ids = append(ids, in.Switch)
		}
	}
	ids = append(ids, InternalID)
	for _, it := range s.Ventilator.Panel {
		ids = append(ids, it.ID)
	}
	return append(ids, AlarmID, PanelID)
}
