package server

import (
	"cmp"
	"context"
	"errors"
	"maps"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/gofiber/fiber/v2"

	"lampwright/quiz"
	"lampwright/quiz/competency"
	"lampwright/server/page"
	"lampwright/server/record"
)

// How much the roster shows at once: learners, and set-ups.
const (
	rosterPage  = 100
	mostCovers  = 100
	mostChoices = 50 // of set-ups for a kiosk
)

// standing is a row of the roster, judged.
type standing struct {
	*record.RosterRow
	competency.Judgement
}

// within tells whether it holds now, and lapses in so many days.
func (s standing) within(days int, now time.Time) bool {
	return s.Standing.Holds() && !now.Before(s.Lapses.Add(-time.Duration(days)*24*time.Hour))
}

// standings judges everyone's sign-offs for a competency, and who is there for
// each set-up. What cannot change a judgement is not read.
func (m *Main) standings(ctx context.Context, at *site, what *competency.Competency, setups []record.Setup, now time.Time) ([]standing, []competency.Cover, error) {
	// Three readings at once: each takes about as long as the others.
	var (
		p                 past
		fresh             map[[2]string]bool
		failed, failedToo error
		reading           sync.WaitGroup
	)
	reading.Go(func() { p.events, failed = m.store.Weighty(ctx, at.ID, acknowledged, observedToo) })
	reading.Go(func() { fresh, failedToo = m.fresh(ctx, at, what, now) })
	rows, err := m.store.Roster(ctx, at.ID, what.ID)
	reading.Wait()
	if err := errors.Join(err, failed, failedToo); err != nil {
		return nil, nil, err
	}
	ids, present := make([]string, len(setups)), make(map[string]string, len(setups)) // versions
	for i, s := range setups {
		ids[i], present[s.ID] = s.ID, s.Version
	}
	lately := make([]bool, len(rows)) // did all that is critical
	var left [][2]string
	signed := map[[2]string]string{} // for a set-up in another version, one of the sign-offs
	for i := range rows {
		row := &rows[i]
		if old(what, row, now) {
			pair := [2]string{row.PersonID, row.SetupID}
			if lately[i] = fresh[pair]; !lately[i] {
				left = append(left, pair)
			}
		}
		if row.SignOffID != "" && row.SetupVersion != present[row.SetupID] {
			signed[[2]string{row.SetupID, row.SetupVersion}] = row.SignOffID
		}
	}
	if p.again, err = m.stale(ctx, at, what, left, now); err != nil {
		return nil, nil, err
	}
	altered, err := m.alterations(ctx, at, signed)
	if err != nil {
		return nil, nil, err
	}

	all := freshly(what, now)
	same := &competency.Features{} // of a set-up that is as it was, whatever it is
	out, held := make([]standing, 0, len(rows)), make([]competency.Held, 0, len(rows))
	for i := range rows {
		row := &rows[i]
		s := standing{row, competency.Judgement{Standing: competency.Never}}
		if row.SignOffID == "" {
			out = append(out, s)
			continue
		}
		r := competency.Record{
			Signed: row.Signed, Lapses: row.Lapses, Zone: at.zone, Then: same, Now: same, Events: p.of(row.SignOffID, row.PersonID, row.SetupID),
		}
		switch {
		case !lately[i]:
		case r.Events == nil:
			r.Events = all
		default:
			r.Events = append(r.Events, all...)
		}
		if row.SetupVersion != present[row.SetupID] {
			c := altered[[2]string{row.SetupID, row.SetupVersion}]
			r.Then, r.Now = c.then, c.now
		}
		s.Judgement = what.Stands(r, now)
		out, held = append(out, s), append(held, competency.Held{Person: row.PersonID, Setup: row.SetupID, Judgement: s.Judgement})
	}
	return out, competency.Coverage(ids, held, at.policies().FewestCaregivers, now), nil
}

// alteration is what of a set-up was signed for, and is.
type alteration struct{ then, now *competency.Features }

// alterations reads them for set-ups in versions other than the present, by one
// of the sign-offs for each.
func (m *Main) alterations(ctx context.Context, at *site, signed map[[2]string]string) (map[[2]string]alteration, error) {
	kept, err := m.store.Features(ctx, at.ID, slices.Collect(maps.Values(signed)))
	if err != nil {
		return nil, err
	}
	out := make(map[[2]string]alteration, len(signed))
	for version, signOff := range signed {
		stored, err := m.store.Setup(ctx, at.ID, version[0])
		if err != nil {
			return nil, err
		}
		then, err := m.featuresThen(ctx, at.ID, version[0], version[1], []byte(kept[signOff]))
		if err != nil {
			return nil, err
		}
		out[version] = alteration{then, m.featuresIn(stored)}
	}
	return out, nil
}

// old tells whether a refresher can have been missed since a sign-off.
func old(what *competency.Competency, row *record.RosterRow, now time.Time) bool {
	return row.SignOffID != "" && now.Sub(row.Signed) >= time.Duration(what.Refresh.Critical)*24*time.Hour
}

// fresh tells who did all that is critical so lately that no refresher of it
// can have been missed: most, who need no closer look.
func (m *Main) fresh(ctx context.Context, at *site, what *competency.Competency, now time.Time) (map[[2]string]bool, error) {
	// A few lessons and scenarios that together teach all of it.
	left := map[string]bool{}
	for _, o := range what.Objectives {
		if o.Critical {
			left[o.ID] = true
		}
	}
	var scenarios []string
	for _, sc := range quiz.Needed() {
		scenarios = append(scenarios, sc.ID)
	}
	lessons := cover(left, m.lessons.IDs(), func(id string) []string { return m.objectives(id, "") })
	scenarios = cover(left, scenarios, func(id string) []string { return m.objectives("", id) })
	if len(left) > 0 {
		return nil, nil
	}
	return m.store.Fresh(ctx, at.ID, lessons, scenarios, now.AddDate(0, 0, 1-what.Refresh.Critical-what.Refresh.Grace))
}

// cover picks those that teach what is left, the one that teaches most of it
// first, and takes it from left.
func cover(left map[string]bool, ids []string, teaches func(id string) []string) (out []string) {
	for {
		var best string
		most := 0
		for _, id := range ids {
			n := 0
			for _, o := range teaches(id) {
				if left[o] {
					n++
				}
			}
			if n > most {
				best, most = id, n
			}
		}
		if most == 0 {
			return out
		}
		out = append(out, best)
		for _, o := range teaches(best) {
			delete(left, o)
		}
	}
}

// freshly is all that is critical done again just now, which stands for its
// having been done lately enough.
func freshly(what *competency.Competency, now time.Time) (out []competency.Event) {
	for _, o := range what.Objectives {
		if o.Critical {
			out = append(out, competency.Event{Kind: competency.KindRefreshed, At: now, Objective: o.ID})
		}
	}
	return out
}

// stale is what the others did again, by pairs of a person and a set-up. What
// they did longer ago keeps nothing from being missed; the days on top are for
// the calendar, and for the longest override.
func (m *Main) stale(ctx context.Context, at *site, what *competency.Competency, pairs [][2]string, now time.Time) (map[[2]string][]competency.Event, error) {
	list, err := m.store.AgainsOf(ctx, at.ID, pairs, now.AddDate(0, 0, -what.Refresh.Critical-what.Refresh.Grace-3))
	if err != nil {
		return nil, err
	}
	return m.refreshed(list), nil
}

// roster is who is signed off for a competency, who lapses when, and which
// set-ups have too few.
func (m *Main) roster(c *fiber.Ctx) error {
	return m.rosterWith(c, "", "")
}

// rosterWith has the tag for a kiosk as it was typed, and what is wrong with it.
func (m *Main) rosterWith(c *fiber.Ctx, tag, wrong string) error {
	v := m.view(c)
	v.path = "/desk"
	what := competency.Find(c.Query("competency", competency.PowerSources))
	if what == nil {
		return fiber.ErrNotFound
	}
	now, err := m.clock(c)
	if err != nil {
		return err
	}
	setups, err := m.store.SetupTags(ctx(c), m.at(c).ID)
	if err != nil {
		return err
	}
	rows, covers, err := m.standings(ctx(c), v.at, what, setups, now)
	if err != nil {
		return err
	}
	p := page.Roster{
		Frame: v.frame(v.speak.T("page.roster")), Lessons: len(m.lessons.IDs()), Scenes: len(quiz.Needed()), Fewest: v.at.policies().FewestCaregivers,
		Competency: what.ID, Pager: page.Pager{Search: sought(c)},
	}
	if days := c.QueryInt("lapses"); slices.Contains(competency.Within[:], days) {
		p.Within = days
	}
	link := func(of string, within, at int) string {
		q := url.Values{"competency": {of}}
		if p.Search != "" {
			q.Set("q", p.Search)
		}
		if within > 0 {
			q.Set("lapses", strconv.Itoa(within))
		}
		if at > 1 {
			q.Set("page", strconv.Itoa(at))
		}
		return "/desk?" + q.Encode()
	}
	for i := range competency.All() {
		each := &competency.All()[i]
		p.Tabs = append(p.Tabs, page.Step{Title: v.speak.T(each.Name()), Link: link(each.ID, p.Within, 0), Done: each == what})
	}
	if p.Search != "" {
		sought := strings.ToLower(p.Search)
		rows = slices.DeleteFunc(rows, func(s standing) bool {
			return !strings.Contains(strings.ToLower(s.Name), sought) && !strings.Contains(strings.ToLower(s.Team), sought)
		})
	}
	p.Lapses = []page.Lapse{{Count: len(rows), Link: link(what.ID, 0, 0), Here: p.Within == 0}}
	for _, days := range competency.Within {
		n := 0
		for i := range rows {
			if rows[i].within(days, now) {
				n++
			}
		}
		p.Lapses = append(p.Lapses, page.Lapse{Days: days, Count: n, Link: link(what.ID, days, 0), Here: p.Within == days})
	}
	if p.Within > 0 {
		rows = slices.DeleteFunc(rows, func(s standing) bool { return !s.within(p.Within, now) })
		slices.SortStableFunc(rows, func(a, b standing) int { return a.Lapses.Compare(b.Lapses) })
	}
	var to int
	p.Pager, to = paged(c, p.Search, len(rows), func(at int) string { return link(what.ID, p.Within, at) })
	tags := make(map[string]string, len(setups))
	for _, s := range setups {
		tags[s.ID] = s.Tag
	}
	if p.Rows, err = m.rosterRows(ctx(c), v.at, rows[p.From-1:to], tags); err != nil {
		return err
	}
	slices.SortStableFunc(covers, func(a, b competency.Cover) int { return cmp.Compare(fewFirst(a), fewFirst(b)) })
	for i, each := range covers {
		if each.Few {
			p.Few++
		}
		if i < mostCovers {
			p.Coverage = append(p.Coverage, page.Coverage{Setup: tags[each.Setup], Caregivers: len(each.Current), Overridden: len(each.Overridden), Few: each.Few})
		}
	}
	p.Others = len(covers) - len(p.Coverage)
	bound, _, err := m.kiosk(c)
	if err != nil {
		return err
	}
	p.Kiosk = bound.ID
	if p.ByTag = len(setups) > mostChoices; p.ByTag {
		p.Tag, p.Wrong = tags[p.Kiosk], wrong
		if wrong != "" {
			p.Tag = tag
		}
	} else {
		for _, s := range setups {
			p.Setups = append(p.Setups, page.Look{ID: s.ID, Setup: s.Tag})
		}
	}
	p.List = "/desk/roster.csv?" + url.Values{"competency": {what.ID}}.Encode()
	if v.person.Role == record.Educator {
		if p.Feed, err = m.feedForm(c, v, record.FeedSite); err != nil {
			return err
		}
	}
	return m.render(c, page.RosterPage(p))
}

// paged is the part of so many rows that a request asks for, from the pager's
// From up to and with to; link leads to such a part.
func paged(c *fiber.Ctx, search string, count int, link func(at int) string) (p page.Pager, to int) {
	at := min(max(c.QueryInt("page", 1), 1), max((count+rosterPage-1)/rosterPage, 1))
	p = page.Pager{Search: search, Found: count, From: (at-1)*rosterPage + 1}
	if at > 1 {
		p.Prev = link(at - 1)
	}
	if at*rosterPage < count {
		p.Next = link(at + 1)
	}
	return p, min(at*rosterPage, count)
}

// sought is what a request searches for.
func sought(c *fiber.Ctx) string { return cut(strings.TrimSpace(strings.Clone(c.Query("q")))) }

func fewFirst(c competency.Cover) int {
	if c.Few {
		return 0
	}
	return 1
}

// rosterRows are those shown, with how far each has come.
func (m *Main) rosterRows(ctx context.Context, at *site, rows []standing, tags map[string]string) (out []page.RosterRow, err error) {
	pairs, signOffs := make([][2]string, len(rows)), []string(nil)
	for i, s := range rows {
		pairs[i] = [2]string{s.PersonID, s.SetupID}
		if s.SignOffID != "" {
			signOffs = append(signOffs, s.SignOffID)
		}
	}
	progress, err := m.store.ProgressOf(ctx, at.ID, pairs)
	if err != nil {
		return nil, err
	}
	signed, err := m.store.SignedNames(ctx, at.ID, signOffs)
	if err != nil {
		return nil, err
	}
	for i, s := range rows {
		row := page.RosterRow{
			ID: s.PersonID, Name: s.Name, Team: s.Team, Setup: tags[s.SetupID], Standing: s.Standing,
			Lessons: progress[pairs[i]].Lessons, Scenes: progress[pairs[i]].Scenarios,
		}
		if s.SignOffID != "" {
			row.LastDay, row.SignedBy = competency.LastDay(s.Lapses, at.zone).Format(time.DateOnly), signed[s.SignOffID]
		}
		out = append(out, row)
	}
	return out, nil
}
