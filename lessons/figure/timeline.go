package figure

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"lampwright/lessons/outing"
	"lampwright/lessons/setup"
)

const (
	timelineWidth = 480.0
	timelineStart = 56.0 // the charges' percents stand before it
	timelineEnd   = 472.0
	wordSize      = 17.0
	timeSize      = 20.0
	flagHeight    = 50.0
	flagGap       = 12.0
	stripHeight   = 68.0
)

// Timeline is an outing in time, in reading direction: the charges from worst
// to typical, the legs, the source in the worst case, and by when to leave for
// mains and to be on it. The state of the view is not looked at.
func Timeline(v View, p outing.Plan, f outing.Forecast) string {
	t := &timeline{pen: &pen{rtl: v.RTL}, over: &pen{rtl: v.RTL}, view: &v, forecast: &f, times: Clock{v.Words, p.Leaves}, said: map[string]bool{}}
	t.begin(0, 0, 1)
	t.frame(p.Leaves)
	y := t.stretches(t.place(t.heading()))
	y = t.lane(y, 124, "fig-plot", v.Words("figure.kind.battery"), func(s outing.Sample) float64 { return s.Chair })
	y = t.lane(y, 96, "fig-plot fig-reserve", v.Words("figure.timeline.reserve"), func(s outing.Sample) float64 { return s.Inside })
	lanes := t.pen // the poles stand before the lanes and behind all else
	t.pen = &pen{rtl: v.RTL, scales: lanes.scales}
	y = t.sources(t.legs(y, &p))
	strips := t.String()
	t.pen = lanes
	t.poles(y)
	t.WriteString(t.over.String())
	t.WriteString(strips)
	t.flags()
	y = t.key(t.axis(y))
	t.end()
	return v.finish("timeline", "fig-timeline", v.Words("figure.timeline.title", "Tag", v.Setup.Tag), t.tell(), timelineWidth, y, false, t.String())
}

// timeline is an outing while it is drawn. Places along it are in reading
// direction, from 0 to its width; only what draws turns them round.
type timeline struct {
	*pen
	over     *pen // what stands over the poles
	view     *View
	forecast *outing.Forecast
	times    Clock
	leaves   time.Time
	ends     time.Time // of the plan
	there    bool      // it ends on arriving at mains
	until    time.Time // the end of the picture
	marks    []mark
	said     map[string]bool // signs that stand beside their word
	signs    []string        // all signs, in the order they came
}

// mark is a moment with a flag on a pole.
type mark struct {
	at      time.Time
	style   string // what its class ends in
	what    string
	when    string // or why
	number  int    // of the stretch it is of, where there are several
	warns   bool
	beyond  bool // later than the picture, or than its stretch where another follows
	pole    float64
	x, w, y float64 // the flag
}

// frame finds where the picture begins and ends, and what gets a flag in it.
func (t *timeline) frame(leaves time.Time) {
	last := 60.0
	t.there = true
	if n := len(t.forecast.Worst.Events); n > 0 {
		last = math.Max(last, t.forecast.Worst.Events[n-1].Seconds)
		t.there = t.forecast.Worst.Events[n-1].What == outing.Arrives
	}
	t.leaves = leaves
	t.ends = t.after(last)
	t.until = t.ends
	t.moments()
	// A moment soon after the plan is shown; a later one is pointed at.
	span := t.ends.Sub(leaves)
	for i := range t.marks {
		m := &t.marks[i]
		m.beyond = m.beyond || m.at.After(t.ends.Add(span/3))
		if !m.beyond && m.at.After(t.until) {
			t.until = m.at.Add(span / 24)
		}
	}
	slices.SortStableFunc(t.marks, func(a, b mark) int {
		switch {
		case a.beyond && b.beyond:
			return cmp.Compare(a.number, b.number)
		case a.beyond:
			return 1
		case b.beyond:
			return -1
		}
		return a.at.Compare(b.at)
	})
}

func (t *timeline) after(seconds float64) time.Time {
	return t.leaves.Add(time.Duration(seconds * float64(time.Second))).Round(time.Second)
}

// x is where a time is, in reading direction.
func (t *timeline) x(at time.Time) float64 {
	share := float64(at.Sub(t.leaves)) / float64(t.until.Sub(t.leaves))
	return timelineStart + (timelineEnd-timelineStart)*min(1, max(0, share))
}

// turned is a place as it is drawn.
func (t *timeline) turned(x float64) float64 {
	if t.rtl {
		return timelineWidth - x
	}
	return x
}

func (t *timeline) box(class string, x, y, w, h, r float64) {
	if t.rtl {
		x = timelineWidth - x - w
	}
	t.rect(class, x, y, w, h, r)
}

func (t *timeline) upright(class string, x, from, to float64) {
	t.line(class, t.turned(x), from, t.turned(x), to)
}

// word is centred on x, and keeps to its width.
func (t *timeline) word(class string, x, y, size, width float64, s string) {
	t.squeezed(class, t.turned(x), y, size, width, s)
}

// plain is words without the marks that keep a value's direction: one value
// within another would hide which way the whole one reads.
func plain(s string) string { return strings.NewReplacer("\u2068", "", "\u2069", "").Replace(s) }

// start is a line of words that begins at x.
func (t *timeline) start(class string, x, y, size float64, s string) {
	t.text(class, "start", t.turned(x), y, size, s)
}

// moments are what gets a flag.
func (t *timeline) moments() {
	w := t.view.Words
	add := func(m mark, key string) {
		m.what = w("figure.timeline." + key)
		if m.when == "" {
			m.when = t.times.says(m.at, shortDays)
		}
		t.marks = append(t.marks, m)
	}
	for i, st := range t.forecast.Stretches {
		number := 0
		if len(t.forecast.Stretches) > 1 {
			number = i + 1
		}
		later := func(at time.Time) bool { return i < len(t.forecast.Stretches)-1 && at.After(st.Ends) }
		if st.Never() {
			add(mark{at: st.Begins, style: "leave", when: w("figure.timeline.never-why"), number: number, warns: true}, "never")
		} else {
			add(mark{at: st.LeaveBy, style: "leave", number: number, warns: !st.OK, beyond: later(st.LeaveBy)}, "leave-by")
		}
		add(mark{at: st.MainsBy, style: "mains", number: number, warns: !st.OK, beyond: later(st.MainsBy)}, "mains-by")
	}
	for _, ev := range t.forecast.Worst.Events {
		m := mark{at: t.after(ev.Seconds), style: "event", warns: true}
		switch ev.What {
		case outing.Stranded:
			add(m, "stranded")
		case outing.FuseOpens:
			add(m, "fuse")
		}
	}
	if at := t.forecast.StopsAt; !at.IsZero() {
		add(mark{at: at, style: "event", warns: true}, "stopped")
	}
	for at := range t.quarters(t.ends) {
		_, offset := at.Zone()
		_, before := at.Add(-time.Second).Zone()
		switch {
		case at.Equal(t.leaves) || offset == before:
		case offset < before:
			add(mark{at: at, style: "clocks"}, "back")
		default:
			add(mark{at: at, style: "clocks"}, "forward")
		}
	}
}

// quarters are the quarters of an hour on the way, on the site's clock: no
// zone has been off by less since before these outings.
func (t *timeline) quarters(until time.Time) func(yield func(time.Time) bool) {
	return func(yield func(time.Time) bool) {
		at := t.leaves.Truncate(15 * time.Minute)
		if at.Before(t.leaves) {
			at = at.Add(15 * time.Minute)
		}
		for ; !at.After(until); at = at.Add(15 * time.Minute) {
			if !yield(at) {
				return
			}
		}
	}
}

func sameDay(a, b time.Time) bool { return a.Format(time.DateOnly) == b.Format(time.DateOnly) }

// Clock says the times of an outing, on the site's clock.
type Clock struct {
	Words  Words
	Leaves time.Time
}

// Says is a time, with its day where that is not the day of leaving.
func (c Clock) Says(at time.Time) string { return c.says(at, wholeDays) }

func (c Clock) says(at time.Time, weekdays string) string {
	if sameDay(at, c.Leaves) {
		return plain(c.hour(at))
	}
	return c.dated(at, weekdays)
}

// hour is a time, and which of the two is meant when the clocks go back.
func (c Clock) hour(at time.Time) string {
	const stamp = "2006-01-02 15:04"
	said, now := at.Format("15:04"), at.Format(stamp)
	for _, gap := range []time.Duration{30 * time.Minute, time.Hour} {
		switch now {
		case at.Add(gap).Format(stamp):
			return c.Words("figure.timeline.time-first", "Time", said)
		case at.Add(-gap).Format(stamp):
			return c.Words("figure.timeline.time-second", "Time", said)
		}
	}
	return said
}

// dated is a time with its day; with its month too where that weekday has come
// before on the way.
func (c Clock) dated(at time.Time, weekdays string) string {
	day := c.day(at, weekdays)
	if at.Format(time.DateOnly) > c.Leaves.AddDate(0, 0, 6).Format(time.DateOnly) {
		month := c.Words("figure.month." + strings.ToLower(at.Month().String()))
		day = c.Words("figure.timeline.day-month", "Weekday", c.weekday(at, weekdays), "Day", at.Day(), "Month", month)
	}
	return plain(c.Words("figure.timeline.day-time", "Day", day, "Time", c.hour(at)))
}

// day is a weekday and its number in the month.
func (c Clock) day(at time.Time, weekdays string) string {
	return c.Words("figure.timeline.day", "Weekday", c.weekday(at, weekdays), "Day", at.Day())
}

func (c Clock) weekday(at time.Time, weekdays string) string {
	return c.Words(weekdays + strings.ToLower(at.Weekday().String()))
}

// The names of weekdays: whole for who is read to, short in the picture.
const (
	wholeDays = "figure.weekday."
	shortDays = "figure.weekday-short."
)

// arrival says when mains is reached, or that it is not.
func (t *timeline) arrival(weekdays string) string {
	if !t.there {
		return t.view.Words("figure.timeline.not-there")
	}
	return t.view.Words("figure.timeline.arrives", "At", t.times.says(t.ends, weekdays))
}

// heading says when it leaves and arrives, and whether the margin is kept.
func (t *timeline) heading() float64 {
	w, y := t.view.Words, 26.0
	for _, s := range []string{w("figure.timeline.leaves", "At", t.times.dated(t.leaves, shortDays)), t.arrival(shortDays)} {
		t.start("fig-heading", 12, y, 20, s)
		y += 26
	}
	if t.forecast.OK {
		t.path("fig-line", fmt.Sprintf("M%s %sl7 8l13 -17", num(t.turned(22)-10), num(y-8)))
	} else {
		t.exclaim(23, y-7)
	}
	t.start("fig-heading", 42, y, 20, w(t.verdict()))
	if t.forecast.NoMains {
		for _, s := range wrap(w("figure.timeline.no-mains"), wordSize, timelineEnd-42) {
			y += 24
			t.start("fig-word", 42, y, wordSize, s)
		}
	}
	return y + 16
}

func (t *timeline) verdict() string {
	if t.forecast.OK {
		return "figure.timeline.ok"
	}
	return "figure.timeline.not-ok"
}

// exclaim is the mark of what is wrong.
func (t *timeline) exclaim(x, y float64) {
	x = t.turned(x)
	t.circle("fig-mark", x, y, 10)
	t.line("fig-mark-line", x, y-5.5, x, y+1)
	t.circle("fig-mark-dot", x, y+5.5, 2)
}

// place finds a place for every flag, so that none covers another, and says
// where they end.
func (t *timeline) place(y float64) float64 {
	row := make([]int, len(t.marks))
	near := 0
	for i := range t.marks {
		m := &t.marks[i]
		m.w = max(textWidth(m.what, wordSize), heavy*textWidth(m.when, timeSize)) + 16
		if m.number > 0 {
			m.w += 26
		}
		if m.w, m.pole = math.Min(m.w, timelineWidth-32), t.x(m.at); !m.beyond {
			near = i + 1
		}
	}
	rows := t.byTheirPoles(row[:near])
	// Those beyond the picture stand above all others, in their order.
	free := timelineEnd + 4
	for i := len(t.marks) - 1; i >= near; i-- {
		m := &t.marks[i]
		if m.x = free - 16 - m.w; i == len(t.marks)-1 || m.x < 8 {
			rows++
			m.x = timelineEnd + 4 - 16 - m.w
		}
		row[i], free = rows-1, m.x-4
	}
	for i := range t.marks {
		t.marks[i].y = y + flagGap + float64(rows-1-row[i])*(flagHeight+flagGap)
	}
	return y + float64(rows)*(flagHeight+flagGap) + flagGap
}

// byTheirPoles puts flags at their poles, the last one first: to one side, to
// the other, or as the edge allows; a row up where one would cover another or,
// if it can be helped, stand in a pole's way.
func (t *timeline) byTheirPoles(row []int) (rows int) {
	crosses := func(pole float64, m *mark) bool { return pole > m.x+3 && pole < m.x+m.w-3 }
	for i := len(row) - 1; i >= 0; i-- {
		m := &t.marks[i]
		cost := func(r int) float64 {
			cost := float64(r)
			for j := i + 1; j < len(row); j++ {
				o := &t.marks[j]
				switch {
				case row[j] == r && m.x < o.x+o.w+flagGap && o.x < m.x+m.w+flagGap:
					cost += 1e6
				case row[j] < r && crosses(m.pole, o), row[j] > r && crosses(o.pole, m):
					cost += 1e3
				}
			}
			return cost
		}
		best, at := math.Inf(1), 0.0
		for r := range len(row) {
			for _, x := range []float64{m.pole - 1.5, m.pole + 1.5 - m.w, timelineEnd + 4 - m.w, 8} {
				m.x = min(max(x, 8), timelineEnd+4-m.w)
				if c := cost(r); c < best && m.x <= m.pole && m.pole <= m.x+m.w {
					best, at, row[i] = c, m.x, r
				}
			}
		}
		m.x = at
		rows = max(rows, row[i]+1)
	}
	return rows
}

// poles stand on a foot.
func (t *timeline) poles(foot float64) {
	for i := range t.marks {
		if m := &t.marks[i]; !m.beyond {
			t.upright("fig-pole fig-pole-"+m.style, m.pole, m.y+flagHeight, foot)
		}
	}
}

func (t *timeline) flags() {
	for i := range t.marks {
		m := &t.marks[i]
		t.box("fig-flag fig-flag-"+m.style, m.x, m.y, m.w, flagHeight, 5)
		x, w := m.x, m.w
		if m.number > 0 {
			t.numbered(m.number, x+19, m.y+flagHeight/2)
			x, w = x+26, w-26
		}
		t.word("fig-word", x+w/2, m.y+20, wordSize, w-10, m.what)
		t.word("fig-word fig-strong", x+w/2, m.y+42, timeSize, w-10, m.when)
		if m.warns {
			t.exclaim(m.x+m.w-8, m.y)
		}
		if m.beyond {
			t.later(m.x+m.w+14, m.y+flagHeight/2)
		}
	}
}

// later is a head whose tip points at what comes after.
func (t *timeline) later(tip, y float64) {
	way := 1.0
	if t.rtl {
		way = -1
	}
	t.path("fig-ink", fmt.Sprintf("M%s %sl%s -8v16z", num(t.turned(tip)), num(y), num(-way*11)))
}

func (t *timeline) numbered(n int, x, y float64) {
	t.circle("fig-number", t.turned(x), y, 12)
	t.device("fig-number-word", t.turned(x), y+6, wordSize, 20, strconv.Itoa(n))
}

// stretches number the parts away from mains, where there are several.
func (t *timeline) stretches(y float64) float64 {
	all := t.forecast.Stretches
	if len(all) < 2 {
		return y
	}
	for i, st := range all {
		from, to := t.x(st.Begins)+2, t.x(st.Ends)-2
		t.over.path("fig-axis", fmt.Sprintf("M%s %sv-10H%sv10", num(t.turned(from)), num(y+24), num(t.turned(to))))
		pen := t.pen
		t.pen = t.over
		t.numbered(i+1, (from+to)/2, y+13)
		t.pen = pen
	}
	return y + 28
}

// lane is one battery's charge, from worst to typical.
func (t *timeline) lane(y, height float64, class, name string, of func(outing.Sample) float64) float64 {
	t.over.text("fig-heading fig-halo", "start", t.turned(12), y+20, 18, name)
	y += 30
	end := t.x(t.ends)
	t.box(class, timelineStart, y, end-timelineStart, height, 0)
	t.ticks(func(x float64, _ time.Time) {
		if x < end {
			t.upright("fig-grid", x, y, y+height)
		}
	})
	t.midnights(func(x float64, _ time.Time) {
		if x < end {
			t.upright("fig-midnight", x, y, y+height)
		}
	})
	for _, level := range []float64{1, .5, 0} {
		at := y + height*(1-level)
		t.line("fig-grid", t.turned(timelineStart), at, t.turned(end), at)
		t.share("fig-word fig-halo", timelineStart-6, min(max(at+6, y+12), y+height), level)
	}
	points := func(track *outing.Track) []string {
		var ps []string
		for _, s := range track.Samples {
			at := num(t.turned(t.x(t.after(s.Seconds)))) + " " + num(y+height*(1-of(s)))
			if len(ps) == 0 || ps[len(ps)-1] != at {
				ps = append(ps, at)
			}
		}
		return ps
	}
	worst, typical := points(&t.forecast.Worst), points(&t.forecast.Typical)
	if len(worst) == 0 || len(typical) == 0 {
		return y + height + 14
	}
	around := slices.Clone(typical)
	slices.Reverse(around)
	t.path("fig-charge", "M"+strings.Join(append(slices.Clone(worst), around...), "L")+"z")
	t.path("fig-typical", "M"+strings.Join(typical, "L"))
	t.path("fig-worst", "M"+strings.Join(worst, "L"))
	last := t.forecast.Worst.Samples[len(t.forecast.Worst.Samples)-1]
	level := y + height*(1-of(last))
	t.circle("fig-ink", t.turned(end), level, 5)
	foot := level + 21
	if foot > y+height-3 {
		foot = level - 9
	}
	t.share("fig-word fig-strong fig-halo", end-8, foot, of(last))
	return y + height + 14
}

// share is a percentage that ends at x; its digits and sign run from left to
// right everywhere.
func (t *timeline) share(class string, x, y, share float64) {
	anchor := "end"
	if t.rtl {
		anchor = "start"
	}
	fmt.Fprintf(t.over, "<text class=\"%s\" x=\"%s\" y=\"%s\" font-size=\"%s\" text-anchor=\"%s\" direction=\"ltr\">%s</text>\n",
		class, num(t.turned(x)), num(y), num(wordSize), anchor, percent(share))
}

// percent rounds down: what is left is never made more.
func percent(share float64) string { return strconv.Itoa(int(share*100+1e-6)) + "%" }

// stay is a part of a strip.
type stay struct {
	from, to float64 // seconds
	what     string
	words    string
	besides  []string // more signs
}

// strip draws what follows one another, each with its sign and its word where
// there is room.
func (t *timeline) strip(y float64, heading, kind string, stays []stay) float64 {
	t.start("fig-heading fig-halo", 12, y+20, 18, heading)
	y += 30
	for _, s := range stays {
		x, end := t.x(t.after(s.from)), t.x(t.after(s.to))
		w := end - x
		t.fill(kind+s.what, x, y, w, stripHeight)
		wanted := append([]string{kind + s.what}, s.besides...)
		for _, sign := range wanted {
			if !slices.Contains(t.signs, sign) {
				t.signs = append(t.signs, sign)
			}
		}
		across := float64(len(wanted)) * 40
		switch {
		case across <= w && textWidth(s.words, wordSize) <= w-8:
			if s.what == "hunting" || s.what == "internal" {
				ground := textWidth(s.words, wordSize)
				t.box("fig-disc", x+w/2-ground/2, y+stripHeight-26, ground, 22, 4)
			}
			t.word("fig-word", x+w/2, y+stripHeight-9, wordSize, w-6, s.words)
			t.said[wanted[0]] = true
			t.row(wanted, x+w/2, y+27)
		case across-4 <= w:
			t.row(wanted, x+w/2, y+stripHeight/2)
		case w >= 36 && len(wanted) > 1:
			t.row(wanted[:1], x+w/2, y+22)
			t.row(wanted[1:min(len(wanted), 1+int(w/38))], x+w/2, y+52)
		}
	}
	return y + stripHeight + 14
}

// row draws signs side by side, centred on x.
func (t *timeline) row(signs []string, x, y float64) {
	for i, sign := range signs {
		t.sign(sign, x+(float64(i)-float64(len(signs)-1)/2)*41, y)
	}
}

// fill is the ground of a leg or a source: told apart without colour and
// without its sign.
func (t *timeline) fill(sign string, x, y, w, h float64) {
	class := "fig-stay"
	switch sign {
	case "leg.drive":
		class = "fig-stay fig-stay-drive"
	case "source.none":
		class = "fig-stay fig-stay-none"
	}
	t.box(class, x, y, w, h, 0)
	inner := &timeline{pen: &pen{rtl: t.rtl}}
	switch sign {
	case "source.hunting":
		for c := x - h + 5; c < x+w; c += 10 {
			from, to := max(c, x), min(c+h, x+w)
			inner.line("fig-hatch", t.turned(from), y+h-(from-c), t.turned(to), y+h-(to-c))
		}
	case "source.internal":
		for c := y + 8; c < y+h-2; c += 8 {
			inner.line("fig-hatch", t.turned(x), c, t.turned(x+w), c)
		}
	case "leg.mains", "source.mains":
		inner.box("fig-ink", x, y, w, 6, 0)
	}
	t.WriteString(inner.String())
}

// sign draws a leg's or a source's sign, about 34 wide.
func (t *timeline) sign(sign string, x, y float64) {
	x = t.turned(x)
	way := 1.0
	if t.rtl {
		way = -1
	}
	named := func(name string) {
		t.begin(x, y, .5)
		t.symbol(name, 0, 0)
		t.end()
	}
	switch sign {
	case "leg.drive":
		t.circle("fig-wheel", x-way*6, y, 10)
		t.circle("fig-ink", x-way*6, y, 3)
		t.path("fig-line", fmt.Sprintf("M%s %sl%s 7l%s 7", num(x+way*9), num(y-7), num(way*7), num(-way*7)))
	case "leg.stand":
		t.circle("fig-wheel", x, y-1, 10)
		t.circle("fig-ink", x, y-1, 3)
		t.path("fig-line", fmt.Sprintf("M%s %sh34", num(x-17), num(y+11)))
		t.path("fig-ink", fmt.Sprintf("M%s %sl-8 -9v9zm20 0l8 -9v9z", num(x-10), num(y+11)))
	case "leg.not-there":
		t.path("fig-line", fmt.Sprintf("M%s %sl18 18m0 -18l-18 18", num(x-9), num(y-9)))
	case "leg.mains":
		t.rect("fig-body", x-13, y-13, 26, 26, 5)
		t.circle("fig-ink", x-5, y, 3)
		t.circle("fig-ink", x+5, y, 3)
	case "adapter", "source.mains":
		named("alternating-current")
	case "charger": // an arrow into a battery
		t.rect("fig-line", x-8, y-7, 22, 14, 2)
		t.rect("fig-ink", x+14, y-3, 4, 6, 1)
		if t.rtl {
			x += 4
		}
		t.path("fig-line", fmt.Sprintf("M%s %sh%sm%s -5l%s 5l%s 5", num(x-way*19), num(y), num(way*18), num(-way*6), num(way*6), num(-way*6)))
	case "source.chair":
		named("direct-current")
	case "source.hunting":
		t.rect("fig-disc", x-20, y-12, 40, 24, 4)
		named("direct-current")
	case "source.internal":
		t.rect("fig-disc", x-20, y-12, 40, 24, 4)
		named("battery")
	case "source.none":
		t.path("fig-cross", fmt.Sprintf("M%s %sl18 18m0 -18l-18 18", num(x-9), num(y-9)))
	}
}

// legs are the parts of the plan.
func (t *timeline) legs(y float64, p *outing.Plan) float64 {
	var stays []stay
	for _, ev := range t.forecast.Worst.Events {
		if !slices.Contains([]outing.What{outing.Leaves, outing.LegBegins, outing.NotThere, outing.Arrives}, ev.What) {
			continue
		}
		if n := len(stays); n > 0 {
			stays[n-1].to = ev.Seconds
		}
		if ev.Leg == len(p.Legs) {
			break
		}
		if ev.What == outing.NotThere {
			stays = append(stays, stay{from: ev.Seconds, what: "not-there", words: t.view.Words("figure.timeline.leg.not-there")})
			continue
		}
		l := p.Legs[ev.Leg]
		s := stay{from: ev.Seconds, what: string(l.Kind), words: t.view.Words("figure.timeline.leg." + string(l.Kind))}
		if l.Kind == outing.Mains && l.Adapter {
			s.besides = append(s.besides, "adapter")
		}
		if l.Kind == outing.Mains && l.ChairCharger {
			s.besides = append(s.besides, "charger")
		}
		stays = append(stays, s)
	}
	return t.strip(y, t.view.Words("figure.timeline.legs"), "leg.", stays)
}

// sources are what carries the ventilator in the worst case.
func (t *timeline) sources(y float64) float64 {
	var stays []stay
	for i, ev := range t.forecast.Worst.Events {
		what, n := string(ev.Source), len(stays)
		if ev.Source != setup.None && (ev.What == outing.Hunts || ev.Period > 0) {
			what = "hunting"
		}
		if n > 0 {
			stays[n-1].to = ev.Seconds
		}
		if i < len(t.forecast.Worst.Events)-1 && (n == 0 || stays[n-1].what != what) {
			stays = append(stays, stay{from: ev.Seconds, what: what, words: t.view.Words("figure.timeline.source." + what)})
		}
	}
	return t.strip(y, t.view.Words("figure.timeline.source"), "source.", slices.DeleteFunc(stays, func(s stay) bool { return s.to <= s.from }))
}

// step is the hours between two ticks, so that their words have room.
func (t *timeline) step() int {
	hour := (timelineEnd - timelineStart) / t.until.Sub(t.leaves).Hours()
	for _, step := range []int{1, 2, 3, 4, 6, 12} {
		if hour*float64(step) >= 58 {
			return step
		}
	}
	return 24
}

// ticks are the full local hours.
func (t *timeline) ticks(each func(x float64, at time.Time)) {
	step := t.step()
	for at := range t.quarters(t.until) {
		if at.Minute() == 0 && at.Hour()%step == 0 {
			each(t.x(at), at)
		}
	}
}

// midnights are where the local day changes.
func (t *timeline) midnights(each func(x float64, at time.Time)) {
	day := t.leaves
	for at := range t.quarters(t.until) {
		if !sameDay(at, day) {
			each(t.x(at), at)
		}
		day = at
	}
}

// axis is the clock, and the days below it.
func (t *timeline) axis(y float64) float64 {
	t.line("fig-axis", t.turned(timelineStart), y, t.turned(timelineEnd), y)
	free := 0.0
	half := textWidth("00:00", wordSize) / 2
	t.ticks(func(x float64, at time.Time) {
		t.upright("fig-axis", x, y, y+7)
		if x = min(x, timelineWidth-half); x-half >= free {
			t.device("fig-word", t.turned(x), y+25, wordSize, 2*half, at.Format("15:04"))
			free = x + half
		}
	})
	y += 34
	from, day := timelineStart, t.leaves
	label := func(to float64) {
		for _, s := range []string{plain(t.times.day(day, shortDays)), strconv.Itoa(day.Day())} {
			if heavy*textWidth(s, wordSize) <= to-from-6 {
				t.word("fig-word fig-strong", (from+to)/2, y+19, wordSize, to-from, s)
				return
			}
		}
	}
	t.midnights(func(x float64, at time.Time) {
		label(x)
		t.upright("fig-midnight", x, y-1, y+26)
		from, day = x, at
	})
	label(timelineEnd)
	return y + 30
}

// key explains lines and signs, two in a row.
func (t *timeline) key(y float64) float64 {
	w := t.view.Words
	type entry struct {
		words string
		draw  func(x, y float64)
	}
	entries := []entry{
		{w("figure.timeline.worst"), func(x, y float64) { t.line("fig-worst", t.turned(x-20), y, t.turned(x+20), y) }},
		{w("figure.timeline.typical"), func(x, y float64) { t.line("fig-typical", t.turned(x-20), y, t.turned(x+20), y) }},
	}
	if len(t.forecast.Stretches) > 1 {
		entries = append(entries, entry{w("figure.timeline.stretch"), func(x, y float64) { t.numbered(1, x, y) }})
	}
	if slices.ContainsFunc(t.marks, func(m mark) bool { return m.beyond }) {
		entries = append(entries, entry{w("figure.timeline.later"), func(x, y float64) { t.later(x+6, y) }})
	}
	for _, sign := range t.signs {
		if t.said[sign] {
			continue
		}
		entries = append(entries, entry{w("figure.timeline." + sign), func(x, y float64) {
			if strings.Contains(sign, ".") {
				t.fill(sign, x-23, y-17, 46, 34)
			}
			t.sign(sign, x, y)
		}})
	}
	const half = timelineWidth / 2
	y += 14
	for pair := range slices.Chunk(entries, 2) {
		height := 44.0
		for i, e := range pair {
			x := float64(i) * half
			lines := wrap(e.words, wordSize, half-66)
			height = max(height, float64(len(lines))*wordSize*lineHeight+10)
			e.draw(x+33, y+16)
			for j, s := range lines {
				t.start("fig-word", x+64, y+22+(float64(j)-float64(len(lines)-1)/2)*wordSize*lineHeight, wordSize, s)
			}
		}
		y += height
	}
	return y
}

// tell is the gist in sentences.
func (t *timeline) tell() []string {
	w, f := t.view.Words, t.forecast
	said := []string{
		w("figure.timeline.leaves", "At", t.times.dated(t.leaves, wholeDays)) + ".",
		t.arrival(wholeDays) + ".",
		w(t.verdict()) + ".",
	}
	if f.NoMains {
		said = append(said, w("figure.timeline.no-mains"))
	}
	if n := len(f.Worst.Samples); n > 0 {
		last := f.Worst.Samples[n-1]
		left := "figure.timeline.left"
		if !t.there {
			left = "figure.timeline.left-not-there"
		}
		said = append(said, w(left, "Chair", percent(last.Chair), "Internal", percent(last.Inside)))
	}
	for _, st := range f.Stretches {
		if len(f.Stretches) > 1 {
			said = append(said, w("figure.timeline.away", "From", t.times.says(st.Begins, wholeDays), "To", t.times.says(st.Ends, wholeDays)))
		}
		if st.Lacks != outing.NoLack {
			said = append(said, w("figure.timeline.lack."+string(st.Lacks)))
		}
		if st.Never() {
			said = append(said, t.view.says(w("figure.timeline.never"), w("figure.timeline.never-why")))
		} else {
			said = append(said, t.view.says(w("figure.timeline.leave-by"), t.times.says(st.LeaveBy, wholeDays)))
		}
		said = append(said, t.view.says(w("figure.timeline.mains-by"), t.times.says(st.MainsBy, wholeDays)))
	}
	what := w("figure.timeline.out." + cmp.Or(string(f.First), string(outing.NothingOut)))
	switch {
	case f.First == outing.NothingOut || f.First == "":
		said = append(said, w("figure.timeline.first-none", "What", what))
	case f.FirstAt.After(t.ends):
		said = append(said, w("figure.timeline.first-later", "What", what, "At", t.times.says(f.FirstAt, wholeDays)))
	default:
		said = append(said, w("figure.timeline.first-on-the-way", "What", what, "At", t.times.says(f.FirstAt, wholeDays)))
	}
	for _, m := range t.marks {
		if m.style == "event" || m.style == "clocks" {
			said = append(said, t.view.says(m.what, t.times.says(m.at, wholeDays)))
		}
	}
	return said
}
