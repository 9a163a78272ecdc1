package circuit

import (
	"math"
	"slices"

	"lampwright/lessons/setup"
)

// WiringReport is what a check of the chain as designed finds: no fault is in
// it, and everything is at its worst at once.
type WiringReport struct {
	OK      bool       // the fuse in it carries the load and protects the chain: no row fails but advice
	Fitted  setup.Amps // the fuse in the chain; 0 without one
	Least   setup.Amps // the smallest standard rating that carries the load; 0 where none does
	Most    setup.Amps // the largest that protects what is behind it; 0 where none does
	Worst   WorstCase
	Ratings []FuseRating // the standard ones and the fitted one, rising
	Rows    []WiringRow  // the chain as it is, with the fitted fuse
}

// WorstCase is the most that the fuse has to carry: the top of a breath at the
// high setting, taken as if it lasted, with the internal battery charging, at
// the lowest volts, in a warm holder.
type WorstCase struct {
	Celsius   float64     // of the holder and of the leads' copper
	Around    float64     // °C around the cords for which their table is, whatever the holder's warmth
	Column    float64     // °C, the column of the fuse table that is read
	Volts     setup.Volts // at the converter's input, or at the inlet without one
	Watts     setup.Watts // into the ventilator, on average
	PeakWatts setup.Watts // at the top of a breath
	Amps      setup.Amps  // through the fuse, on average
	PeakAmps  setup.Amps  // at the top of a breath
}

// FuseRating is a rating that might be fitted. One that is not OK has failed
// rows of its own.
type FuseRating struct {
	Amps   setup.Amps
	OK     bool
	Failed []WiringRow
}

// WiringRow is one value against its limit. Why is the key of a message; a row
// without a unit is a note, and has neither value nor limit. What fails as
// advice spoils no verdict.
type WiringRow struct {
	What   string // after wiring.what. in the messages
	Part   string
	Rating setup.Amps // of the fuse that the row is about; 0 where it is about none
	Value  float64
	Limit  float64
	Unit   string
	OK     bool
	Advice bool
	Why    string
}

func compare(what, part string, value, limit float64, unit string, ok bool) WiringRow {
	why := "wiring.fail."
	if ok {
		why = "wiring.pass."
	}
	return WiringRow{What: what, Part: part, Value: value, Limit: limit, Unit: unit, OK: ok, Why: why + what}
}

// standardRatings of blade fuses, A (maker data referring to ISO 8820-3).
var standardRatings = []setup.Amps{1, 2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30, 35, 40}

// warmColumns is the share of its rating that a fuse carries all day, by the
// warmth of its holder (maker data for 10 A, scaled): the next warmer column
// is read, never a value between two.
var warmColumns = []struct{ celsius, share float64 }{{20, 1}, {65, .8}, {85, .7}}

func warmColumn(celsius float64) (column, share float64) {
	for _, c := range warmColumns {
		if celsius <= c.celsius {
			return c.celsius, c.share
		}
	}
	last := warmColumns[len(warmColumns)-1]
	return last.celsius, last.share
}

// FuseCarries is what a blade fuse of a rating carries all day in a holder of
// this warmth.
func FuseCarries(rating setup.Amps, celsius float64) setup.Amps {
	_, share := warmColumn(celsius)
	return rating * setup.Amps(share)
}

const (
	usualShare   = .75 // of the rating at 25 °C, for a load all day (maker's rule of thumb)
	nearTap      = .18 // m of lead before the fuse (common practice, no source)
	dropAdvice   = 3   // % in one circuit (NEC 210.19(A)(1) informational note)
	dropInAll    = 5   // % in all of them (NEC 215.2 informational note)
	thinnestCord = 18  // AWG, the first of cords
)

// cordCelsius is the warmth around a cord for which the table of cords is
// (from memory). Where it is warmer they carry less; a fuse holder's own warmth
// is not what lies around the cords, and is not read here.
const cordCelsius = 30

// cords is what a cord of two loaded conductors carries with cordCelsius around
// it, by gauge, thinnest first (NEC table 400.5(A)(1), from memory).
var cords = []struct {
	gauge int
	amps  float64
}{{thinnestCord, 10}, {16, 13}, {14, 18}, {12, 25}, {10, 30}}

// cordAmps is what a lead of this area carries: that of the gauge in the table
// it is no thinner than, 0 where it is thinner than all.
func cordAmps(size setup.SquareMM) float64 {
	carries := 0.0
	for _, c := range cords {
		if float64(size) >= float64(setup.AWG(c.gauge))*(1-1e-9) {
			carries = c.amps
		}
	}
	return carries
}

// stretch is the weakest of each kind along some parts; nil where there is
// none.
type stretch struct{ lead, joint, plug *setup.Part }

func weakest(parts []setup.Part) stretch {
	var w stretch
	for i := range parts {
		switch p := &parts[i]; {
		case p.Lead != nil && (w.lead == nil || p.Lead.Conductor < w.lead.Lead.Conductor):
			w.lead = p
		case p.Joint != nil && (w.joint == nil || p.Joint.Rating < w.joint.Joint.Rating):
			w.joint = p
		case p.Plug != nil:
			w.plug = p
		}
	}
	return w
}

// hold compares amps with what the weakest of each kind carries.
func (w stretch) hold(amps float64, wire, joint, plug string) []WiringRow {
	var rows []WiringRow
	add := func(what string, p *setup.Part, carries float64) {
		rows = append(rows, compare(what, p.ID, amps, carries, "A", amps <= carries))
	}
	if p := w.lead; p != nil {
		if carries := cordAmps(p.Lead.Conductor); carries > 0 {
			add(wire, p, carries)
		} else {
			rows = append(rows, compare("thin", p.ID, float64(p.Lead.Conductor), float64(setup.AWG(thinnestCord)), "mm²", false))
		}
	}
	if p := w.joint; p != nil {
		add(joint, p, float64(p.Joint.Rating))
	}
	if p := w.plug; p != nil {
		add(plug, p, float64(p.Plug.Rating))
	}
	return rows
}

// draw is what one load at the inlet makes of the chain at its lowest volts.
type draw struct {
	input float64 // A before the converter
	out   float64 // A behind it; the same without one
	inlet float64 // V; 0 where the load has no operating point
}

// wiring is a chain under check.
type wiring struct {
	net       *Network
	celsius   float64
	tap       int // its place in the chain
	fuse      int // likewise, -1 without one
	converter int // likewise

	lowest         setup.Volts // at the converter's input, or at the inlet without one
	average, peak  draw
	fused, fusedUp float64 // A through the fuse: on average, at the top of a breath
	share          float64 // of its rating that a fuse carries in this warmth
	protected      stretch // in line with the fuse: what carries its current
}

// Wiring checks the fuse, the wire and the volts of a set-up that was read,
// with its fuse holder and its leads' copper at a temperature in °C. What a
// cord carries is not read at that temperature: its table is for about 30 °C
// around the cord. Errors are problem.Invalid: what fails the check is an
// answer.
func Wiring(s *setup.Setup, celsius float64) (WiringReport, error) {
	n, err := Build(s, nil, celsius)
	if err != nil {
		return WiringReport{}, err
	}
	at := func(has func(p setup.Part) bool) int { return slices.IndexFunc(s.Chain, has) }
	w := &wiring{
		net: n, celsius: celsius,
		tap:       at(func(p setup.Part) bool { return p.Tap != nil }),
		fuse:      at(func(p setup.Part) bool { return p.Fuse != nil }),
		converter: at(func(p setup.Part) bool { return p.Converter != nil }),
	}
	r := WiringReport{Worst: w.worst()}
	if w.fuse >= 0 {
		r.Fitted = n.fuse.Rating
	}
	w.protected = weakest(w.line())
	r.ratings(w)
	if w.fuse >= 0 {
		r.Rows = append(w.bears(r.Fitted), w.protects(r.Fitted)...)
	} else {
		r.Rows = append(r.Rows, compare("no-fuse", s.Chain[w.tap].ID, 0, float64(r.Least), "A", false))
	}
	r.Rows = append(r.Rows, w.around()...)
	r.OK = !slices.ContainsFunc(r.Rows, func(row WiringRow) bool { return !row.OK && !row.Advice })
	return r, nil
}

// line is what the fuse's current flows through, before it and behind it: from
// the tap to the converter, or, for a fuse behind the converter, from there to
// the inlet.
func (w *wiring) line() []setup.Part {
	chain := w.net.setup.Chain
	switch {
	case w.behind():
		return chain[w.converter:]
	case w.converter >= 0:
		return chain[w.tap:w.converter]
	}
	return chain[w.tap:]
}

// worst finds the worst case, and keeps what the rows need of it.
func (w *wiring) worst() WorstCase {
	v := &w.net.setup.Ventilator
	w.lowest = w.net.chairInlet.Low
	if c := w.net.converter; c != nil {
		w.lowest = c.CutOut
	}
	c := WorstCase{Celsius: w.celsius, Around: cordCelsius, Volts: w.lowest, Watts: v.Draw.High + v.Charger.Chair, PeakWatts: v.Draw.Peak + v.Charger.Chair}
	c.Column, w.share = warmColumn(w.celsius)
	w.average, w.peak = w.draws(float64(c.Watts)), w.draws(float64(c.PeakWatts))
	w.fused, w.fusedUp = w.average.input, w.peak.input
	if w.behind() {
		w.fused, w.fusedUp = w.average.out, w.peak.out
	}
	c.Amps, c.PeakAmps = setup.Amps(w.fused), setup.Amps(w.fusedUp)
	return c
}

// behind tells whether the fuse sits behind the converter.
func (w *wiring) behind() bool { return w.converter >= 0 && w.fuse > w.converter }

// draws is a load at the lowest volts. Where it has no operating point behind
// the converter, the converter's limit holds the current.
func (w *wiring) draws(watts float64) draw {
	n := w.net
	if n.converter == nil {
		b := n.bank(&Moment{Blocks: make([]float64, len(n.blocks))}) // spent
		v, _ := UpperRoot(b.emf-n.input.drop, b.ohms+n.input.ohms, watts)
		amps := watts / float64(w.lowest)
		return draw{input: amps, out: amps, inlet: v}
	}
	v, ok := UpperRoot(n.converterV-n.output.drop, n.output.ohms, watts)
	out := float64(n.converter.Limit)
	if ok {
		out = watts / v
	}
	return draw{input: InputWatts(n.converter, n.converterV*out) / float64(w.lowest), out: out, inlet: v}
}

// bears tells whether a fuse carries the worst case.
func (w *wiring) bears(rating setup.Amps) []WiringRow {
	id, a := w.net.fuseID, float64(rating)
	return about(rating, []WiringRow{
		compare("warm", id, w.fusedUp, w.share*a, "A", w.fusedUp <= w.share*a),
		compare("share", id, w.fused, usualShare*a, "A", w.fused <= usualShare*a),
	})
}

// protects tells whether everything in line with a fuse, and its holder,
// carries what the fuse lets through.
func (w *wiring) protects(rating setup.Amps) []WiringRow {
	a := float64(rating)
	rows := w.protected.hold(a, "wire", "joint", "plug")
	if f := w.net.fuse; f != nil {
		rows = append(rows, compare("holder", w.net.fuseID, a, float64(f.Most), "A", rating <= f.Most))
	}
	return about(rating, rows)
}

func about(rating setup.Amps, rows []WiringRow) []WiringRow {
	for i := range rows {
		rows[i].Rating = rating
	}
	return rows
}

// ratings tries every rating. A larger fuse never carries less, nor protects
// more, so the ends of the window are found one by one.
func (r *WiringReport) ratings(w *wiring) {
	all := slices.Clone(standardRatings)
	if r.Fitted > 0 && !slices.Contains(all, r.Fitted) {
		all = append(all, r.Fitted)
		slices.Sort(all)
	}
	for _, amps := range all {
		carried, protected := failed(w.bears(amps)), failed(w.protects(amps))
		if slices.Contains(standardRatings, amps) {
			if len(carried) == 0 && r.Least == 0 {
				r.Least = amps
			}
			if len(protected) == 0 {
				r.Most = amps
			}
		}
		why := slices.Concat(carried, protected)
		r.Ratings = append(r.Ratings, FuseRating{Amps: amps, OK: len(why) == 0, Failed: why})
	}
}

func failed(rows []WiringRow) []WiringRow {
	return slices.DeleteFunc(rows, func(r WiringRow) bool { return r.OK })
}

// around is everything but the rating: the fuse's place and volts, what lies
// behind the converter, the volts that arrive, and what is lost on the way.
func (w *wiring) around() []WiringRow {
	n, chain := w.net, w.net.setup.Chain
	full := make([]float64, len(n.blocks))
	for i := range full {
		full[i] = 1
	}
	b := n.bank(&Moment{Blocks: full, ChairCharger: float64(chain[0].Battery.Charger)})
	charging := b.emf + b.ohms*b.charger // of the tapped blocks
	var rows []WiringRow
	if n.fuse != nil {
		before := 0.0
		for _, p := range chain[w.tap:w.fuse] {
			if p.Lead != nil {
				before += float64(p.Lead.Length)
			}
		}
		place := "place"
		if w.behind() {
			place = "behind"
		}
		pack := charging + b.aboveEMF + b.aboveOhms*b.charger
		rows = append(rows,
			compare(place, n.fuseID, before, nearTap, "m", before <= nearTap && !w.behind()),
			compare("fuse-volts", n.fuseID, pack, float64(n.fuse.Volts), "V", pack <= float64(n.fuse.Volts)))
	}
	highest := charging - n.input.drop
	if c := n.converter; c != nil {
		highest = n.converterV - n.output.drop
		rows = append(rows, compare("limit", n.converterID, w.peak.out, float64(c.Limit), "A", w.peak.out <= float64(c.Limit)))
		rows = append(rows, weakest(chain[w.converter:]).hold(w.average.out, "output", "output", "output")...)
	}
	in := n.chairInlet
	low := "inlet-low"
	if w.peak.inlet == 0 {
		low = "collapse"
	}
	rows = append(rows,
		compare(low, in.ID, w.peak.inlet, float64(in.Low), "V", w.peak.inlet >= float64(in.Low)),
		compare("inlet-high", in.ID, highest, float64(in.High), "V", highest <= float64(in.High)))
	rows = append(rows, w.drops()...)
	if c := n.converter; c != nil && !c.Isolated {
		rows = append(rows, WiringRow{What: "isolation", Part: n.converterID, OK: true, Why: "wiring.note.not-isolated"})
	}
	if at := chain[w.tap].Tap.At; at != setup.AtPosts {
		rows = append(rows, WiringRow{What: "tap", Part: chain[w.tap].ID, OK: true, Why: "wiring.note." + string(at)})
	}
	return rows
}

// drops is what the leads lose at the top of a breath, in % of the volts they
// carry: before the converter, and in all.
func (w *wiring) drops() []WiringRow {
	chain, n := w.net.setup.Chain, w.net
	from, to := w.tap, len(chain)
	if w.converter >= 0 {
		to = w.converter
	}
	before, lead := w.loses(chain[from:to], w.peak.input, float64(w.lowest))
	before = math.Min(100, before) // amps at the lowest volts may ask more than there are
	var rows []WiringRow
	if lead != "" {
		rows = append(rows, compare("drop", lead, before, dropAdvice, "%", before <= dropAdvice))
	}
	if after, lead := w.loses(chain[to:], w.peak.out, n.converterV); lead != "" {
		all := math.Min(100, before+after)
		rows = append(rows, compare("drop-all", lead, all, dropInAll, "%", all <= dropInAll))
	}
	for i := range rows {
		rows[i].Advice = true
	}
	return rows
}

// loses is the share of the volts that the leads among some parts lose, in %,
// and the lead that loses most, "" where there is none.
func (w *wiring) loses(parts []setup.Part, amps, volts float64) (share float64, most string) {
	worst := math.Inf(-1)
	for i := range parts {
		if l := parts[i].Lead; l != nil {
			lost := amps * float64(setup.CopperLoop(l.Length, l.Conductor, w.celsius)) / volts * 100
			share += lost
			if lost > worst {
				worst, most = lost, parts[i].ID
			}
		}
	}
	return share, most
}
