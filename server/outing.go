package server

import (
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"

	"lampwright/lessons/figure"
	"lampwright/lessons/outing"
	"lampwright/lessons/setup"
	"lampwright/locales"
	"lampwright/locales/problem"
	"lampwright/server/page"
)

// Bounds of the plan that the page takes; those of its time are the outing's.
const (
	outingLegs    = 6
	outingKm      = 200
	outingMoments = 40 // rows of the table
	outingHelps   = 3
)

// outing asks for a plan and, once it is sent, says what is foreseen of it.
func (m *Main) outing(c *fiber.Ctx) error {
	r, err := m.setupHere(c)
	if err != nil {
		return err
	}
	v := m.guest(c)
	s, err := m.setupOf(r)
	if err != nil {
		return err
	}
	v.path = c.OriginalURL() // another language or size keeps the answers
	sheet := &planSheet{speak: v.speak, given: func(name string) string { return c.Query(name) }}
	sent := c.Context().QueryArgs().Has("leaves")
	if !sent {
		sheet.given = prefilled(outing.Usual(s, m.soon(v.at)))
	}
	plan := sheet.read(s, v.at.zone)
	p := sheet.page
	p.Frame, p.Setup, p.Action = v.frame(v.speak.T("outing.title")), r.Tag, "/outing/"+r.ID
	switch {
	case len(p.Wrong) > 0:
		c.Status(statuses[problem.Invalid])
	case sent:
		f, err := plan.Forecast(s)
		if err != nil {
			return err
		}
		p.Ahead = foreseer{v.speak, &plan, &f, figure.Clock{Words: v.speak.T, Leaves: plan.Leaves}}.ahead()
		p.Ahead.Basis = basis(v.speak, &plan, p)
		drawn := figure.View{Setup: s, Words: v.speak.T, RTL: v.speak.Dir == "rtl", ID: "outing"}
		p.Ahead.Picture = figure.Timeline(drawn, plan, f)
	}
	return m.render(c, page.OutingPage(p))
}

// basis are the answers that a result on paper rests on.
func basis(speak locales.Speaker, plan *outing.Plan, p page.Outing) []page.Field {
	out := slices.DeleteFunc(append([]page.Field{p.Leaves, p.Setting}, p.State...), func(f page.Field) bool {
		return f.Value == "" || f.Name == "years" && plan.Chair.Measured > 0
	})
	out[0].Value, out[1].Value = plan.Leaves.Format(localTime), speak.T("outing.setting."+p.Setting.Value)
	return out
}

// soon is the next quarter of an hour on the site's clock.
func (m *Main) soon(at *site) time.Time {
	const quarter = 15 * time.Minute
	return m.now().In(at.zone).Add(quarter - 1).Truncate(quarter)
}

// leavesForm is a time as a browser's field for it has it.
const leavesForm = "2006-01-02T15:04"

// prefilled are the answers that the form begins with: a short way out and
// back, with everything as the set-up says.
func prefilled(p outing.Plan) func(name string) string {
	answers := map[string]string{
		"leaves": p.Leaves.Format(leavesForm), "setting": "usual", "temperature": plain(p.Celsius),
		"chair": plain(down(slices.Min(p.Chair.Charges)*100, 1)), "years": plain(down(p.Chair.Years, .1)), "internal": plain(down(p.Internal.Charge*100, 1)),
		"kind-1": "drive", "amount-1": "1", "kind-2": "stand", "amount-2": "60", "kind-3": "drive", "amount-3": "1",
	}
	return func(name string) string { return answers[name] }
}

// planSheet reads the answers of the form; each keeps what was given, and what
// is wrong with it.
type planSheet struct {
	speak locales.Speaker
	given func(name string) string
	page  page.Outing
}

// field is an answer as it was given, its end cut off where it can be none.
func (a *planSheet) field(name, label string) page.Field {
	text := []rune(strings.ToValidUTF8(strings.TrimSpace(a.given(name)), "\ufffd"))
	return page.Field{Name: name, Label: label, Value: string(text[:min(len(text), 40)])}
}

// refuse says beside a field what stands there and what was expected. named
// is what the message calls it.
func (a *planSheet) refuse(f *page.Field, named, expected string) {
	if f.Value == "" {
		a.wrong(f, problem.New(problem.Invalid, "problem.empty", "Field", named, "Expected", expected))
		return
	}
	a.wrong(f, problem.New(problem.Invalid, "problem.value", "Field", named, "Value", f.Value, "Expected", expected))
}

func (a *planSheet) wrong(f *page.Field, p *problem.Problem) {
	f.Wrong = a.speak.Problem(p)
	a.page.Wrong = append(a.page.Wrong, *f)
}

// A number as people write it. Never more than two digits after the point, so
// that 1,000 is not taken for one.
var plainNumber = regexp.MustCompile(`^-?[0-9]{1,6}(\.[0-9]{1,2})?$`)

// westernDigits also takes the digits, points and signs of other keyboards.
var westernDigits = strings.NewReplacer("٠", "0", "١", "1", "٢", "2", "٣", "3", "٤", "4", "٥", "5", "٦", "6", "٧", "7", "٨", "8", "٩", "9",
	"٫", ".", ",", ".", "\u2212", "-")

// number reads a field within bounds.
func (a *planSheet) number(f *page.Field, named string, low, high float64) float64 {
	text := westernDigits.Replace(f.Value)
	n, err := strconv.ParseFloat(text, 64)
	if !plainNumber.MatchString(text) || err != nil || n < low || n > high {
		a.refuse(f, named, a.speak.T("outing.expect.number", "Low", low, "High", high))
	}
	return n
}

// state reads one of the numbers that the outing begins with.
func (a *planSheet) state(name string, low, high float64) float64 {
	f := a.field(name, a.speak.T("outing.state."+name))
	n := a.number(&f, f.Label, low, high)
	a.page.State = append(a.page.State, f)
	return n
}

// read makes a plan of the answers, of use only if nothing is wrong.
func (a *planSheet) read(s *setup.Setup, zone *time.Location) outing.Plan {
	plan := outing.Usual(s, a.leaves(zone)) // the test of the internal battery is as old as it will be then
	a.legs(s, &plan)
	plan.Load = a.setting(s)
	plan.Celsius = a.state("temperature", -40, 50)
	plan.Chair.Charges = slices.Repeat([]float64{a.state("chair", 0, 100) / 100}, len(plan.Chair.Charges))
	// What was measured says more than years do.
	if measured := a.field("measured", a.speak.T("outing.state.measured")); measured.Value == "" {
		plan.Chair.Years = a.state("years", 0, 30)
		a.page.State = append(a.page.State, measured)
	} else {
		a.page.State = append(a.page.State, a.field("years", a.speak.T("outing.state.years")))
		plan.Chair.Measured = setup.Minutes(a.state("measured", 1, outing.MostMinutes))
		plan.Chair.Since = 1 // whoever is asked seldom knows: it counts as a year old
	}
	a.page.State[len(a.page.State)-1].Hint = a.speak.T("outing.state.measured.hint")
	plan.Internal.Charge = a.state("internal", 0, 100) / 100
	return plan
}

func (a *planSheet) leaves(zone *time.Location) time.Time {
	f := a.field("leaves", a.speak.T("outing.leaves"))
	f.Hint = a.speak.T("outing.leaves.hint", "Zone", zone.String())
	t, err := outing.LocalTime(strings.Replace(f.Value, "T", " ", 1), zone)
	if err != nil {
		p := problem.Of(err)
		a.wrong(&f, problem.New(p.Code, "problem.leaves", "Value", strings.Replace(f.Value, "T", " ", 1), "Why", a.speak.Problem(p)))
	}
	a.page.Leaves = f
	return t
}

func (a *planSheet) setting(s *setup.Setup) setup.Watts {
	f := a.field("setting", a.speak.T("outing.setting"))
	f.Hint = a.speak.T("outing.setting.hint")
	watts, ok := map[string]setup.Watts{"low": s.Ventilator.Draw.Low, "usual": s.Ventilator.Draw.Usual, "high": s.Ventilator.Draw.High}[f.Value]
	if !ok {
		a.refuse(&f, f.Label, a.speak.T("outing.expect.setting"))
	}
	a.page.Setting = f
	return watts
}

// legs reads the legs that are used, in their order and first; so they are
// numbered as the result numbers them.
func (a *planSheet) legs(s *setup.Setup, p *outing.Plan) {
	var used, unused []int
	for n := 1; n <= outingLegs; n++ {
		if kind := a.given(legName("kind", n)); kind == "" || kind == "none" {
			unused = append(unused, n)
		} else {
			used = append(used, n)
		}
	}
	hours := 0.0
	for i, from := range slices.Concat(used, unused) {
		form, leg := a.leg(from, i+1)
		a.page.Legs = append(a.page.Legs, form)
		if i < len(used) {
			p.Legs = append(p.Legs, leg)
			hours += float64(leg.Km)/float64(s.Drive.Speed) + float64(leg.Minutes)/60
		}
	}
	switch most := outing.MostMinutes / 60; {
	case len(used) == 0:
		a.together(problem.New(problem.Invalid, "problem.no-leg"))
	case hours > float64(most):
		a.together(problem.New(problem.Invalid, "problem.long-outing", "Hours", math.Ceil(hours), "Most", most))
	}
}

// together says what is wrong with the legs as a whole.
func (a *planSheet) together(p *problem.Problem) {
	whole := page.Field{Name: "legs"}
	a.wrong(&whole, p)
	a.page.Whole = whole.Wrong
}

func legName(of string, n int) string { return of + "-" + strconv.Itoa(n) }

// leg reads one leg by the number it was given under, to be shown as number n.
func (a *planSheet) leg(from, n int) (page.Leg, outing.Leg) {
	as := func(of, label string) page.Field {
		f := a.field(legName(of, from), label)
		f.Name = legName(of, n)
		return f
	}
	form := page.Leg{
		Label: a.speak.T("outing.leg", "Number", n), Kind: as("kind", a.speak.T("outing.kind")), Amount: as("amount", a.speak.T("outing.amount")),
		Adapter: a.given(legName("adapter", from)) == "yes", Charger: a.given(legName("charger", from)) == "yes",
		Ticks: [2]string{legName("adapter", n), legName("charger", n)},
	}
	leg := outing.Leg{Kind: outing.Kind(form.Kind.Value)}
	switch leg.Kind {
	case "", "none":
		form.Kind.Value = "none"
	case outing.Drive:
		leg.Km = setup.Kilometres(a.number(&form.Amount, a.speak.T("outing.leg.km", "Number", n), .1, outingKm))
	case outing.Mains:
		leg.Adapter, leg.ChairCharger = form.Adapter, form.Charger
		fallthrough
	case outing.Stand:
		leg.Minutes = setup.Minutes(a.number(&form.Amount, a.speak.T("outing.leg.minutes", "Number", n), 1, outing.MostMinutes))
	default:
		a.refuse(&form.Kind, form.Label, a.speak.T("outing.expect.kind"))
	}
	return form, leg
}

// foreseer says a forecast in the reader's words.
type foreseer struct {
	speak locales.Speaker
	plan  *outing.Plan
	f     *outing.Forecast
	clock figure.Clock // as the picture has it
}

func (r foreseer) ahead() *page.Ahead {
	a := &page.Ahead{OK: r.f.OK, NoMains: r.f.NoMains, First: r.first()}
	if !r.f.StopsAt.IsZero() {
		a.Stops = r.speak.T("outing.stops", "At", r.clock.Says(r.f.StopsAt))
	}
	for _, st := range r.f.Stretches {
		a.Stretches = append(a.Stretches, r.stretch(st))
	}
	for _, h := range r.f.Helps {
		minutes := down(h.Minutes, 5)
		if minutes < 5 || len(a.Helps) == outingHelps {
			break // they come with most first
		}
		a.Helps = append(a.Helps, r.speak.T("outing.help", "What", r.speak.T("outing.help."+string(h.What), "Leg", h.Leg+1), "Count", minutes))
	}
	a.Moments, a.Fewer = r.moments()
	return a
}

func (r foreseer) stretch(st outing.Stretch) page.Stretch {
	var out page.Stretch
	if len(r.f.Stretches) > 1 {
		out.Name = r.speak.T("outing.stretch", "First", st.First+1, "Last", st.Last+1)
	}
	out.MainsBy = r.clock.Says(st.MainsBy)
	if st.Lacks != outing.NoLack {
		out.Lacks = r.speak.T("figure.timeline.lack." + string(st.Lacks))
	}
	if st.Never() {
		out.Late = r.speak.T("outing.late.never")
		return out
	}
	out.LeaveBy = r.clock.Says(st.LeaveBy)
	switch {
	case st.OK || !st.Sets.Truncate(time.Minute).After(st.LeaveBy):
	case st.Travel > 0:
		out.Late = r.speak.T("outing.late.leaves", "At", r.clock.Says(st.Sets))
	default:
		out.Late = r.speak.T("outing.late.arrives", "At", r.clock.Says(st.Ends))
	}
	return out
}

func (r foreseer) first() string {
	what := r.speak.T("figure.timeline.out." + string(r.f.First))
	last := r.f.Rows[len(r.f.Rows)-1]
	switch {
	case r.f.First == outing.NothingOut:
		return r.speak.T("figure.timeline.first-none", "What", what)
	case r.f.FirstAt.After(last.At):
		return r.speak.T("figure.timeline.first-later", "What", what, "At", r.clock.Says(r.f.FirstAt))
	}
	return r.speak.T("figure.timeline.first-on-the-way", "What", what, "At", r.clock.Says(r.f.FirstAt))
}

// moments are the rows of the table: all that is planned, and as much of what
// happens in the worst case as there is room for.
func (r foreseer) moments() (out []page.Moment, fewer bool) {
	room := outingMoments - len(r.plan.Legs) - 1
	for i := range r.f.Rows {
		row := &r.f.Rows[i]
		if row.Worst {
			if room--; room < 0 {
				fewer = true
				continue
			}
		}
		m := page.Moment{
			At: r.clock.Says(row.At), What: r.what(row), Source: r.speak.T("common.source." + string(row.Source)), Worst: row.Worst || row.What == outing.NotThere,
			Chair: band(row.Chair, 100, 1) + " %", Internal: band(row.Inside, 100, 1) + " %",
		}
		if !row.Worst { // it is not looked ahead from there
			m.OnChair, m.Minutes, m.Km = band(row.OnChair, 1, 5), band(row.Minutes, 1, 5), band(row.Km, 1, .5)
		}
		out = append(out, m)
	}
	return out, fewer
}

func (r foreseer) what(row *outing.Row) string {
	switch {
	case row.What == outing.NotThere && row.Leg == len(r.plan.Legs):
		return r.speak.T("outing.happens.not-there-mains")
	case row.What == outing.NotThere:
		return r.speak.T("outing.happens.not-there", "Number", row.Leg+1)
	case row.What == outing.Leaves || row.What == outing.LegBegins:
		l := r.plan.Legs[row.Leg]
		does := "outing.does." + string(l.Kind)
		if l.Adapter {
			does += "-adapter"
		}
		if l.ChairCharger {
			does += "-charger"
		}
		return r.speak.T("outing.happens.leg", "Number", row.Leg+1, "Does", r.speak.T(does, "Km", float64(l.Km), "Minutes", float64(l.Minutes)))
	}
	return r.speak.T("outing.happens." + string(row.What))
}

// down rounds down to whole steps; a hair below a step is that step.
func down(v, step float64) float64 { return max(0, math.Floor(v/step+1e-9)*step) }

// band is a figure from the worst case to the typical one, rounded down. Where
// the worst case charges sooner, its figure is the higher: the lower is first.
func band(b outing.Band, times, step float64) string {
	low, high := down(min(b.Worst, b.Typical)*times, step), down(max(b.Worst, b.Typical)*times, step)
	if low == high {
		return plain(low)
	}
	return plain(low) + "–" + plain(high)
}

// plain is a number with at most two digits after the point.
func plain(v float64) string { return strconv.FormatFloat(math.Round(v*100)/100, 'f', -1, 64) }
