package server_test

import (
	"context"
	"html"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"lampwright/lessons"
	"lampwright/lessons/figure"
	"lampwright/lessons/setup"
	"lampwright/locales"
	"lampwright/server"
	"lampwright/server/record"
)

// rowsOf are the sources of a set-up's card, as they are said.
func rowsOf(a answer) (rows []string) {
	for _, row := range strings.Split(a.body, `<section class="source">`)[1:] {
		row, _, _ = strings.Cut(row, "</section>")
		rows = append(rows, html.UnescapeString(spaces.ReplaceAllString(tags.ReplaceAllString(row[strings.Index(row, "</svg>"):], " "), " ")))
	}
	return rows
}

func lampLit(s locales.Speaker, e *setup.Setup, id string) string {
	return s.T("figure.says", "Part", figure.Name(s.T, e, id), "Seen", s.T("figure.lamp.lit"))
}

// TestSetupCard: for every set-up and language, each source with exactly the
// lamps that are lit for it and the words that name it; the numbers, and what
// the card was made from and when, on the site's clock.
func TestSetupCard(t *testing.T) {
	t.Parallel()
	evening := time.Date(2026, 3, 3, 5, 0, 0, 0, time.UTC) // the day before in Vancouver
	h := serveWith(t, server.Config{Data: demoDir(t)}, &clock{at: evening})
	content, err := lessons.Load()
	must(t, err)
	sources := []setup.Source{setup.Mains, setup.Chair, setup.Internal, setup.None}
	inEach(t, func(t *testing.T, language string) {
		r := h.reader(t, language)
		s := r.speaker()
		for _, id := range setup.DemoNames {
			e, err := setup.Demo(id)
			must(t, err)
			file, err := setup.DemoFile(id)
			must(t, err)
			a := r.get("/paper/"+id).wants(t, 200)
			a.whole(t, s)
			stamp := s.T("paper.stamp", "Setup", hashed(string(file))[:8], "Lessons", content.Version()[:8], "Date", "2026-03-02")
			a.holds(t, e.Tag, s.T("figure.ventilator", "Model", e.Ventilator.Model), "555-0100", "555-0110", "555-0120", "555-0130",
				s.T("page.line.clinical"), s.T("page.line.between", "From", "08:00", "To", "18:00"), s.T("page.line.between", "From", "09:00", "To", "17:00"),
				s.T("paper.person"), s.T("paper.then.hours"), s.T("paper.print"), s.T("common.caution"), stamp)
			rows := rowsOf(a)
			if len(rows) != len(sources) {
				t.Fatalf("%s: %d sources", id, len(rows))
			}
			for i, source := range sources {
				key := "paper.do." + string(source)
				if source == setup.Internal && id == "chair-7" {
					key += ".one-inlet"
				}
				for _, text := range []string{s.T("common.source." + string(source)), s.T(key)} {
					if !strings.Contains(rows[i], text) {
						t.Errorf("%s on %s lacks %q: %s", id, source, text, rows[i])
					}
				}
				if calls := strings.Contains(rows[i], "555-0100"); calls != (i > 1) {
					t.Errorf("%s on %s gives the emergency number: %v", id, source, calls)
				}
				for _, it := range e.Ventilator.Panel {
					if it.Lamp != "" {
						if lit := strings.Contains(rows[i], lampLit(s, e, it.ID)); lit != slices.Contains(it.LitOn, source) {
							t.Errorf("%s on %s: lamp %s is said to be lit: %v", id, source, it.ID, lit)
						}
						continue
					}
					for on, words := range it.Screen {
						words = strings.ReplaceAll(words, " ", "\u00a0")
						if said := strings.Contains(rows[i], words); said != (on == source && id == "chair-21") {
							t.Errorf("%s on %s: the screen is said to read %q: %v", id, source, words, said)
						}
					}
				}
			}
			for key, on := range map[string]map[string][]setup.Source{
				"paper.no-lamp":      {"chair-12": {setup.None}, "chair-7": {setup.Internal, setup.None}},
				"paper.screen-lit":   {"chair-7": {setup.Internal}},
				"paper.screen-blank": {"chair-7": {setup.None}, "chair-21": {setup.None}},
				"paper.alarm":        {"chair-12": {setup.Internal, setup.None}, "chair-7": {setup.Internal, setup.None}, "chair-21": {setup.Internal}},
				"paper.silent":       {"chair-21": {setup.None}},
			} {
				for i, source := range sources {
					row := rows[i]
					if key == "paper.alarm" { // in some languages the other holds its words
						row = strings.ReplaceAll(row, s.T("paper.silent"), "")
					}
					if said := strings.Contains(row, s.T(key)); said != slices.Contains(on[id], source) {
						t.Errorf("%s on %s says %q: %v", id, source, s.T(key), said)
					}
				}
			}
			if level := strings.Contains(html.UnescapeString(a.body), s.T("paper.percent")); level != (id == "chair-7") {
				t.Errorf("%s tells of a level: %v", id, level)
			}
		}
	})
}

// TestStoppedCard: the emergency card's lesson with its numbers, for a set-up.
func TestStoppedCard(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	content, err := lessons.Load()
	must(t, err)
	inEach(t, func(t *testing.T, language string) {
		r := h.reader(t, language)
		s := r.speaker()
		l, _ := content.Lesson(lessons.StoppedID, language)
		for _, id := range setup.DemoNames {
			e, err := setup.Demo(id)
			must(t, err)
			file, err := setup.DemoFile(id)
			must(t, err)
			a := r.get("/paper/"+id+"/stopped").wants(t, 200)
			a.whole(t, s)
			a.holds(t, l.Title, l.Cards[0].Title, e.Tag, "555-0100</bdi></span>", "555-0110", "555-0120", s.T("paper.print"), s.T("common.caution"),
				s.T("page.local", "Programme", "Alder Bay Home Breathing Service"),
				s.T("paper.stamp", "Setup", hashed(string(file))[:8], "Lessons", content.Version()[:8], "Date", "2026-03-02"))
			if strings.Contains(a.body, "555-0130") {
				t.Error("the chair's vendor is offered where breaths are needed")
			}
		}
	})
}

func TestCardOfNoSetup(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		r := h.reader(t, language)
		for _, path := range []string{"/paper/none", "/paper/none/stopped", "/paper/%3Cscript%3E"} {
			r.get(path).says(t, r.speaker(), 404, "problem.unknown-setup")
		}
		r.get("/paper/chair-12/other").says(t, r.speaker(), 404, "problem.not-found")
	})
}

// TestCardsAreNobodys: whoever prints one is not on it.
func TestCardsAreNobodys(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	for _, r := range []*reader{h.learner(t, rowan, "en"), h.educator(t, "en")} {
		for _, path := range []string{"/paper/chair-12", "/paper/chair-12/stopped"} {
			a := r.get(path).wants(t, 200)
			for _, name := range []string{"Rowan", "Mara", "HERON-12", "demo-", `name="token"`} {
				if strings.Contains(a.body, name) {
					t.Errorf("%s holds %q", path, name)
				}
			}
		}
	}
}

// TestWaysToTheCards: from a set-up's lessons, and from the pages for an
// emergency where a set-up is known: this device's before the reader's own.
func TestWaysToTheCards(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	withRecords(t, dir, func(s *record.Store) {
		must(t, s.SetKiosk(context.Background(), server.SiteID, hashed("OURS"), "chair-7", morning))
	})
	h := serve(t, dir)
	bound := func(r *reader, token string) *reader {
		u, err := url.Parse(h.url)
		must(t, err)
		r.client.Jar.SetCookies(u, []*http.Cookie{{Name: "lw-kiosk", Value: token}})
		return r
	}
	inEach(t, func(t *testing.T, language string) {
		for _, c := range []struct {
			who  string
			r    *reader
			path string
			want string
		}{
			{"a guest", h.reader(t, language), "/lessons/chair-21", "chair-21"},
			{"a guest", h.reader(t, language), "/call", ""},
			{"a guest", h.reader(t, language), "/stopped", ""},
			{"a learner", h.learner(t, rowan, language), "/call", "chair-12"},
			{"a learner", h.learner(t, rowan, language), "/stopped", "chair-12"},
			{"an educator", h.educator(t, language), "/stopped", ""},
			{"a bound device", bound(h.reader(t, language), "OURS"), "/call", "chair-7"},
			{"a bound device", bound(h.reader(t, language), "OURS"), "/stopped", "chair-7"},
			{"a learner at a bound device", bound(h.learner(t, rowan, language), "OURS"), "/stopped", "chair-7"},
			{"a device that lost its binding", bound(h.reader(t, language), "GONE"), "/stopped", ""},
		} {
			a := c.r.get(c.path).wants(t, 200)
			for _, id := range setup.DemoNames {
				for _, link := range []string{`href="/paper/` + id + `"`, `href="/paper/` + id + `/stopped"`} {
					if got := strings.Contains(a.body, link); got != (id == c.want) {
						t.Errorf("%s on %s: %s: %v", c.who, c.path, link, got)
					}
				}
			}
		}
	})
}

// TestCardWhereSourcesLookAlike: what a panel shows alike is one row, with what
// to do for the more careful of the two.
func TestCardWhereSourcesLookAlike(t *testing.T) {
	t.Parallel()
	file, err := setup.DemoFile("chair-12")
	must(t, err)
	const was = "    - {id: lamp-chair, lamp: direct-current, lit-on: [chair]}\n"
	alike := strings.Replace(string(file), "lit-on: [mains]", "lit-on: [mains, chair]", 1)
	if alike = strings.Replace(alike, was, "", 1); len(alike) > len(file) {
		t.Fatal("the panel is not as it was")
	}
	dir := demoDir(t)
	withRecords(t, dir, func(s *record.Store) {
		must(t, s.PutSetup(context.Background(), record.Setup{ID: "alike", SiteID: server.SiteID, Tag: "Alike", YAML: []byte(alike)}, morning))
	})
	h := serve(t, dir)
	inEach(t, func(t *testing.T, language string) {
		r := h.reader(t, language)
		s := r.speaker()
		rows := rowsOf(r.get("/paper/alike").wants(t, 200))
		if len(rows) != 3 {
			t.Fatalf("%d rows", len(rows))
		}
		if both := s.T("common.source.mains") + " / " + s.T("common.source.chair"); !strings.Contains(rows[0], both) || !strings.Contains(rows[0], s.T("paper.do.chair")) {
			t.Errorf("%q", rows[0])
		}
	})
}

// TestWhomACardSaysToCall follows the programme's lines and their hours.
func TestWhomACardSaysToCall(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		site func(*record.Site)
		says string
		not  []string
	}{
		"at any hour": {func(s *record.Site) { s.TechnologistHours = "always" }, "paper.then", []string{"08:00"}},
		"by hours":    {func(*record.Site) {}, "paper.then.hours", nil},
		"where the clinical line sleeps too": {
			func(s *record.Site) { s.ClinicalHours = "07:00–21:00" }, "paper.then.hours.rescue", nil,
		},
		"without a technologist": {
			func(s *record.Site) { s.TechnologistLine, s.TechnologistHours = "", "" }, "paper.then.clinical", []string{"555-0120"},
		},
		"without any line": {
			func(s *record.Site) {
				s.RescueLine, s.ClinicalLine, s.TechnologistLine, s.TechnologistHours, s.ChairLine = "", "", "", "", ""
			},
			"page.line.rescue.local",
			[]string{"555-01"},
		},
	} {
		t.Run(name, func(t *testing.T) {
			dir := demoDir(t)
			putSite(t, dir, c.site)
			h := serve(t, dir)
			inEach(t, func(t *testing.T, language string) {
				r := h.reader(t, language)
				a := r.get("/paper/chair-12").says(t, r.speaker(), 200, c.says)
				for _, text := range c.not {
					if strings.Contains(a.body, text) {
						t.Errorf("the card has %q", text)
					}
				}
			})
		})
	}
}
