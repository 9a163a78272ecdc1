package figure_test

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"lampwright/lessons/circuit"
	"lampwright/lessons/figure"
	"lampwright/lessons/outing"
	"lampwright/lessons/setup"
)

func at(t *testing.T, zone, local string) time.Time {
	t.Helper()
	z, err := time.LoadLocation(zone)
	if err != nil {
		t.Fatal(err)
	}
	leaves, err := outing.LocalTime(local, z)
	if err != nil {
		t.Fatal(err)
	}
	return leaves
}

// timed is a set-up on its way.
type timed struct {
	setup *setup.Setup
	plan  outing.Plan
	ahead outing.Forecast
}

func ahead(t *testing.T, name string, leaves time.Time, change func(*outing.Plan), legs ...outing.Leg) timed {
	t.Helper()
	s := demo(t, name)
	p := outing.Usual(s, leaves)
	p.Legs = legs
	if change != nil {
		change(&p)
	}
	f, err := p.Forecast(s)
	if err != nil {
		t.Fatal(err)
	}
	return timed{s, p, f}
}

func outings(t *testing.T) map[string]timed {
	return map[string]timed{
		"plain": ahead(t, "chair-12", at(t, "America/Vancouver", "2026-11-25 09:20"), nil,
			outing.Leg{Kind: outing.Drive, Km: 2}, outing.Leg{Kind: outing.Stand, Minutes: 150}, outing.Leg{Kind: outing.Drive, Km: 3},
			outing.Leg{Kind: outing.Stand, Minutes: 45}, outing.Leg{Kind: outing.Drive, Km: 2}),
		"long": ahead(t, "chair-7", at(t, "Europe/Paris", "2026-11-25 17:30"), nil,
			outing.Leg{Kind: outing.Drive, Km: 3}, outing.Leg{Kind: outing.Stand, Minutes: 240}, outing.Leg{Kind: outing.Drive, Km: 1},
			outing.Leg{Kind: outing.Stand, Minutes: 270}, outing.Leg{Kind: outing.Drive, Km: 4}),
		"clocks": ahead(t, "chair-21", at(t, "America/Vancouver", "2025-11-01 19:00"), nil,
			outing.Leg{Kind: outing.Drive, Km: 5}, outing.Leg{Kind: outing.Stand, Minutes: 120},
			outing.Leg{Kind: outing.Mains, Minutes: 150, Adapter: true, ChairCharger: true},
			outing.Leg{Kind: outing.Stand, Minutes: 240}, outing.Leg{Kind: outing.Drive, Km: 5}),
	}
}

func TestTimeline(t *testing.T) {
	for language, rtl := range languages() {
		words := speaker(t, language)
		for name, o := range outings(t) {
			t.Run(name+" "+language, func(t *testing.T) {
				svg := figure.Timeline(figure.View{Setup: o.setup, Words: words, RTL: rtl, ID: "f"}, o.plan, o.ahead)
				sound(t, svg)
				golden(t, strings.Join([]string{"timeline", name, language}, "-"), svg)
			})
		}
	}
}

func draw(t *testing.T, o timed, language string) string {
	t.Helper()
	svg := figure.Timeline(figure.View{Setup: o.setup, Words: speaker(t, language), RTL: languages()[language], ID: "f"}, o.plan, o.ahead)
	sound(t, svg)
	return svg
}

// The gist is said, not only shown.
func TestTimelineInWords(t *testing.T) {
	all := outings(t)
	for name, says := range map[string][]string{
		"plain": {
			"Leaves: Wednesday 25, 09:20. Arrives at mains: 13:59.", "The plan keeps the margin.",
			"On arriving, in the worst case: chair battery " + whole(all["plain"].ahead.Rows[len(all["plain"].ahead.Rows)-1].Chair.Worst) + ", internal battery 100%.",
			"Leave for mains by: " + all["plain"].ahead.Stretches[0].LeaveBy.Format("Monday 2, 15:04."),
			"Be on mains by: " + all["plain"].ahead.Stretches[0].MainsBy.Format("Monday 2, 15:04."),
			"if the outing went on: the chair supply, " + all["plain"].ahead.FirstAt.Format("Monday 2, 15:04."),
		},
		"long": {
			"Leaves: Wednesday 25, 17:30. Worst case: mains is not reached. The plan does not keep the margin. At the end of the plan,",
			"The chair stops carrying the ventilator, or stops driving, before mains is reached. Do not set out: the margin cannot be kept.", "Worst case: no source left: Thursday 26, ",
			"What runs out first on the way, in the worst case: the chair supply, " + all["long"].ahead.FirstAt.Format("Monday 2, 15:04."),
		},
		"clocks": {"Away from mains from 19:00 to 22:00:", "Away from mains from Sunday 2, 00:30 to Sunday 2, 04:30:", "The clocks go back: Sunday 2, 01:00 (second)."},
	} {
		svg := draw(t, all[name], "en")
		desc := svg[strings.Index(svg, "<desc"):strings.Index(svg, "</desc>")]
		for _, s := range says {
			if !strings.Contains(desc, s) {
				t.Errorf("%s: want %q in %s", name, s, desc)
			}
		}
	}
}

func whole(share float64) string { return strconv.Itoa(int(share*100)) + "%" }

var tick = regexp.MustCompile(`class="fig-word" x="([\d.]+)" [^>]*>(\d\d:\d\d)</text>`)

// ticks are the words of the clock and where they stand, in the drawn order.
func ticks(t *testing.T, svg string) (words []string, at []float64) {
	t.Helper()
	for _, m := range tick.FindAllStringSubmatch(svg, -1) {
		x, err := strconv.ParseFloat(m[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		words, at = append(words, m[2]), append(at, x)
	}
	return words, at
}

// The clock on the wall, whatever the zone does to it, from either side.
func TestTimelineTicks(t *testing.T) {
	for situation, c := range map[string]struct {
		zone, leaves string
		minutes      setup.Minutes
		want         string
	}{
		"an ordinary morning":           {"America/Vancouver", "2025-11-25 09:20", 220, "10:00 11:00 12:00 13:00"},
		"a zone off by half an hour":    {"Asia/Kolkata", "2025-11-25 09:20", 220, "10:00 11:00 12:00 13:00"},
		"a zone off by three quarters":  {"Asia/Kathmandu", "2025-11-25 09:20", 220, "10:00 11:00 12:00 13:00"},
		"the clocks go back":            {"America/Vancouver", "2025-11-01 23:40", 220, "00:00 01:00 01:00 02:00"},
		"the clocks go forward":         {"America/Vancouver", "2025-03-08 23:40", 220, "00:00 01:00 03:00 04:00"},
		"they go back by half an hour":  {"Australia/Lord_Howe", "2025-04-05 23:40", 220, "00:00 01:00 02:00"},
		"midnight does not exist":       {"America/Santiago", "2025-09-06 22:40", 220, "23:00 01:00 02:00 03:00"},
		"midnight comes back as eleven": {"America/Santiago", "2025-04-05 22:40", 220, "23:00 23:00 00:00 01:00"},
		"longer, every third hour":      {"Europe/Paris", "2025-11-25 09:20", 1000, "12:00 15:00 18:00 21:00 00:00"},
		"days, midnights only":          {"Europe/Paris", "2025-11-25 09:20", 6000, "00:00 00:00 00:00 00:00"},
	} {
		t.Run(situation, func(t *testing.T) {
			// On mains all the way: the picture ends on arriving.
			o := ahead(t, "chair-21", at(t, c.zone, c.leaves), nil, outing.Leg{Kind: outing.Mains, Minutes: c.minutes, Adapter: true})
			words, xs := ticks(t, draw(t, o, "en"))
			if got := strings.Join(words, " "); got != c.want {
				t.Errorf("got %s, want %s", got, c.want)
			}
			mirrored, xm := ticks(t, draw(t, o, "ar"))
			if !slices.Equal(words, mirrored) {
				t.Fatalf("in Arabic %v", mirrored)
			}
			for i := range xs {
				if math.Abs(xs[i]+xm[i]-480) > .2 || i > 0 && xs[i] <= xs[i-1] {
					t.Errorf("%s stands at %g and %g", words[i], xs[i], xm[i])
				}
			}
		})
	}
}

var flagBox = regexp.MustCompile(`<rect class="fig-flag [^"]*" x="([\d.-]+)" y="([\d.-]+)" width="([\d.]+)" height="([\d.]+)"`)

// Whatever the plan, the picture is sound, every stretch has its two flags, and
// no flag covers another or leaves the picture.
func TestTimelineOfAnyPlan(t *testing.T) {
	words := map[bool]figure.Words{false: speaker(t, "en"), true: speaker(t, "ar")}
	setups := map[string]*setup.Setup{}
	for _, name := range setup.DemoNames {
		setups[name] = demo(t, name)
	}
	midnight := at(t, "America/Vancouver", "2025-11-01 00:00")
	rapid.Check(t, func(r *rapid.T) {
		s := setups[rapid.SampledFrom(setup.DemoNames).Draw(r, "set-up")]
		p := outing.Usual(s, midnight.Add(time.Duration(rapid.IntRange(0, 2879).Draw(r, "leaves"))*time.Minute))
		p.Internal.Charge = rapid.Float64Range(0, 1).Draw(r, "internal")
		for i := range p.Chair.Charges {
			p.Chair.Charges[i] = rapid.Float64Range(0, 1).Draw(r, "chair")
		}
		if ohms := rapid.IntRange(0, 8).Draw(r, "ohms"); ohms > 0 {
			p.Faults = []setup.Fault{{Part: "joint-battery", Mode: setup.HighResistance, Ohms: setup.Ohms(ohms)}}
		}
		for range rapid.IntRange(0, 8).Draw(r, "legs") {
			p.Legs = append(p.Legs, outing.Leg{
				Kind:         rapid.SampledFrom([]outing.Kind{outing.Drive, outing.Stand, outing.Mains}).Draw(r, "kind"),
				Km:           setup.Kilometres(rapid.IntRange(1, 12).Draw(r, "km")),
				Minutes:      setup.Minutes(rapid.IntRange(1, 600).Draw(r, "minutes")),
				Adapter:      rapid.Bool().Draw(r, "adapter"),
				ChairCharger: rapid.Bool().Draw(r, "charger"),
			})
		}
		f, err := p.Forecast(s)
		if err != nil {
			r.Fatal(err)
		}
		rtl := rapid.Bool().Draw(r, "rtl")
		svg := figure.Timeline(figure.View{Setup: s, Words: words[rtl], RTL: rtl, ID: "f"}, p, f)
		sound(t, svg)
		type box struct{ x, y, w, h float64 }
		var boxes []box
		for _, m := range flagBox.FindAllStringSubmatch(svg, -1) {
			var v [4]float64
			for i := range v {
				if v[i], err = strconv.ParseFloat(m[i+1], 64); err != nil {
					r.Fatal(err)
				}
			}
			b := box{v[0], v[1], v[2], v[3]}
			if b.x < 0 || b.x+b.w > 480 || b.y < 0 {
				r.Errorf("a flag leaves the picture: %v", b)
			}
			for _, o := range boxes {
				if b.x < o.x+o.w && o.x < b.x+b.w && b.y < o.y+o.h && o.y < b.y+b.h {
					r.Errorf("flags %v and %v cover one another", b, o)
				}
			}
			boxes = append(boxes, b)
		}
		says := func(key string) int { return strings.Count(svg, ">"+words[rtl]("figure.timeline."+key)+"<") }
		never, stops := 0, 0
		for _, st := range f.Stretches {
			if st.Never() {
				never++
			}
		}
		if !f.StopsAt.IsZero() {
			stops = 1
		}
		if says("never") != never || says("leave-by") != len(f.Stretches)-never || says("stopped") != stops {
			r.Errorf("%d times not to set out, %d to leave by, %d to stop: %+v", says("never"), says("leave-by"), says("stopped"), f.Stretches)
		}
		if ok := says("ok") == 1; ok != f.OK || ok == (says("not-ok") == 1) || ok != strings.Contains(svg, "l7 8l13 -17") {
			r.Errorf("kept is %v and shown as %v", f.OK, ok)
		}
		if end := f.Worst.Events[len(f.Worst.Events)-1]; (says("not-there") == 1) != (end.What == outing.NotThere) {
			r.Errorf("it ends with %s, not so the picture", end.What)
		}
		for style, class := range map[string]string{"to leave": "fig-flag-leave", "to be on mains": "fig-flag-mains"} {
			if n := strings.Count(svg, class); n != len(f.Stretches) {
				r.Errorf("%d flags %s for %d stretches", n, style, len(f.Stretches))
			}
		}
	})
}

// Mains that cannot carry the ventilator is said first; then there is no margin.
func TestTimelineWithoutMains(t *testing.T) {
	leaves := at(t, "America/Vancouver", "2026-11-25 09:20")
	legs := []outing.Leg{{Kind: outing.Drive, Km: 1}, {Kind: outing.Stand, Minutes: 60}, {Kind: outing.Drive, Km: 1}}
	off := func(p *outing.Plan) { p.Faults = []setup.Fault{{Part: "outlet", Mode: setup.Off}} }
	for name, change := range map[string]func(*outing.Plan){"without": off, "with": nil} {
		o := ahead(t, "chair-12", leaves, change, legs...)
		if o.ahead.NoMains != (change != nil) {
			t.Fatalf("%s mains, the model says %v", name, o.ahead.NoMains)
		}
		svg := draw(t, o, "en")
		for _, s := range []string{">Mains cannot carry", "The plan does not keep the margin. Mains cannot carry the ventilator: look at adapter, outlet and inlet first. "} {
			if strings.Contains(svg, s) != o.ahead.NoMains {
				t.Errorf("%s mains: %q", name, s)
			}
		}
		if strings.Contains(svg, "The plan keeps the margin") == o.ahead.NoMains {
			t.Errorf("%s mains: a wrong verdict", name)
		}
	}
}

// A leg that a stranded chair does not reach is none that is driven or stood in.
func TestTimelineOfAStrandedChair(t *testing.T) {
	o := ahead(t, "chair-12", at(t, "Europe/Paris", "2025-11-25 08:00"), func(p *outing.Plan) { p.Chair.Charges = []float64{.2, .2} },
		outing.Leg{Kind: outing.Drive, Km: 8}, outing.Leg{Kind: outing.Stand, Minutes: 200}, outing.Leg{Kind: outing.Drive, Km: 8})
	svg := draw(t, o, "en")
	for s, want := range map[string]bool{
		">Worst case: mains is not reached<": true, ">Worst case: the chair stops<": true, ">driving<": true, ">not reached<": true,
		">standing<": false, "Arrives at mains": false, "On arriving": false,
	} {
		if strings.Contains(svg, s) != want {
			t.Errorf("%q: want %v", s, want)
		}
	}
}

// Where a weekday comes again on the way, the month is named too.
func TestClock(t *testing.T) {
	leaves := at(t, "America/Vancouver", "2026-11-25 13:00")
	for language, want := range map[string][]string{
		"en": {"13:00", "Thursday 26, 00:30", "Tuesday 1, 23:30", "Wednesday 2 December, 00:30", "Friday 25 December, 13:00"},
		"ar": {"13:00", "الخميس 26، 00:30", "الثلاثاء 1، 23:30", "الأربعاء 2 ديسمبر، 00:30", "الجمعة 25 ديسمبر، 13:00"},
	} {
		clock := figure.Clock{Words: speaker(t, language), Leaves: leaves}
		for i, local := range []string{"2026-11-25 13:00", "2026-11-26 00:30", "2026-12-01 23:30", "2026-12-02 00:30", "2026-12-25 13:00"} {
			if got := clock.Says(at(t, "America/Vancouver", local)); got != want[i] {
				t.Errorf("%s: got %q, want %q", local, got, want[i])
			}
		}
	}
}

// A source that comes and goes is hatched and named; so is that none is left.
func TestTimelineOfASupplyThatComesAndGoes(t *testing.T) {
	legs := []outing.Leg{{Kind: outing.Drive, Km: 2}, {Kind: outing.Stand, Minutes: 400}}
	leaves := at(t, "Europe/Paris", "2025-11-25 17:30")
	whole := draw(t, ahead(t, "chair-12", leaves, nil, legs...), "en")
	hunts := draw(t, ahead(t, "chair-12", leaves, func(p *outing.Plan) {
		p.Faults = []setup.Fault{{Part: "joint-battery", Mode: setup.HighResistance, Ohms: 4}}
	}, legs...), "en")
	for _, want := range []string{"fig-hatch", "fig-stay-none", ">the chair supply<", ">comes and goes<", ">Worst case: no source left<"} {
		if !strings.Contains(hunts, want) || strings.Contains(whole, want) {
			t.Errorf("%s: want it where the supply comes and goes, and only there", want)
		}
	}
}

// A time that comes twice is told apart.
func TestTimelineHourThatComesTwice(t *testing.T) {
	for leaves, want := range map[string]string{"2025-11-02 00:10": "01:40 (first)", "2025-11-02 01:10": "01:40 (second)"} {
		minutes := setup.Minutes(90)
		o := ahead(t, "chair-21", at(t, "America/Vancouver", leaves), nil, outing.Leg{Kind: outing.Stand, Minutes: minutes})
		if svg := draw(t, o, "en"); !strings.Contains(svg, ">Arrives at mains: "+want+"<") {
			t.Errorf("leaving at %s, the hour is not told", leaves)
		}
	}
}

func TestTimelineWithLongWords(t *testing.T) {
	o := outings(t)["clocks"]
	long := func(key string, _ ...any) string { return strings.Repeat(key+"-incomprehensibilities ", 2) }
	svg := figure.Timeline(figure.View{Setup: o.setup, Words: long, ID: "f"}, o.plan, o.ahead)
	sound(t, svg)
	if !strings.Contains(svg, "textLength") {
		t.Error("long words are not held")
	}
}

// The marks that keep the direction of what stands between them.
var marks = strings.NewReplacer("\u2068", "", "\u2069", "")

// Where the page's words mark a value's direction, no value is marked within
// another: a day and its hour would change places.
func TestTimelineMarksNoValueTwice(t *testing.T) {
	words := speaker(t, "ar")
	marking := func(key string, pairs ...any) string {
		marked := slices.Clone(pairs)
		for i := 1; i < len(marked); i += 2 {
			marked[i] = "\u2068" + fmt.Sprint(marked[i]) + "\u2069"
		}
		return words(key, marked...)
	}
	for name, o := range outings(t) {
		svg := figure.Timeline(figure.View{Setup: o.setup, Words: marking, RTL: true, ID: "f"}, o.plan, o.ahead)
		if nested := regexp.MustCompile("\u2068[^\u2069]*\u2068").FindString(svg); nested != "" {
			t.Errorf("%s: %s", name, nested)
		}
	}
}

// Marks take no room: a picture whose words are full of them is the same.
func TestMarksTakeNoRoom(t *testing.T) {
	words := speaker(t, "ar")
	full := func(key string, pairs ...any) string {
		return strings.Repeat("\u2068", 20) + words(key, pairs...) + strings.Repeat("\u2069", 20)
	}
	o := outings(t)["clocks"]
	v := figure.View{Setup: o.setup, State: solve(t, o.setup, circuit.Usual()), RTL: true, ID: "f"}
	for name, drawn := range map[string]func(figure.View) string{
		"chain": figure.Chain, "panel": figure.Panel, "timeline": func(v figure.View) string { return figure.Timeline(v, o.plan, o.ahead) },
	} {
		v.Words = words
		bare := drawn(v)
		v.Words = full
		if svg := drawn(v); svg == bare || marks.Replace(svg) != bare {
			t.Errorf("%s: the marks move the picture, or there are none", name)
		}
	}
}
