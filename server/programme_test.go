package server_test

import (
	"context"
	"html"
	"strings"
	"testing"

	"lampwright/lessons/programme"
	"lampwright/lessons/setup"
	"lampwright/locales"
	"lampwright/server"
	"lampwright/server/record"
)

func TestProgrammeIsSaidBesideItsNumbers(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	p, err := programme.Demo()
	must(t, err)
	inEach(t, func(t *testing.T, language string) {
		r := h.reader(t, language)
		s, words := r.speaker(), p.In(language)
		for _, path := range []string{"/call", "/stopped"} {
			a := r.get(path).says(t, s, 200, "page.local", "Programme", p.Name)
			a.holds(t, `<div lang="`+language+`" dir="`+s.Dir+`">`, words.Text, s.T("page.line.clinical"), "555-0110", between(s, "08:00", "18:00"))
			a.holds(t, words.Cautions...)
		}
		r.get("/call").says(t, s, 200, "page.line.chair").holds(t, `href="tel:555-0130"`, between(s, "09:00", "17:00"), s.T("page.call.doubt"))
		if a := r.get("/stopped"); strings.Contains(a.body, "555-0130") {
			t.Error("the chair's vendor is offered where breaths are needed")
		}
		if a := r.get("/safe"); strings.Contains(html.UnescapeString(a.body), words.Text) {
			t.Error("the programme speaks to someone whose equipment it does not know")
		}
		r.get("/lessons/chair-12/stop-and-call/3").wants(t, 200).holds(t, `<bdi dir="ltr">555-0130`)
	})
}

// between is how hours are said.
func between(s locales.Speaker, from, to string) string {
	return "<bdi>" + s.T("page.line.between", "From", from, "To", to) + "</bdi>"
}

// putSite changes the site of a demo's folder.
func putSite(t *testing.T, dir string, change func(*record.Site)) {
	t.Helper()
	withRecords(t, dir, func(s *record.Store) {
		site, err := s.Site(context.Background(), server.SiteID)
		must(t, err)
		change(&site)
		must(t, s.PutSite(context.Background(), site, morning))
	})
}

func TestHoursOfLines(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	putSite(t, dir, func(s *record.Site) {
		s.ClinicalHours, s.TechnologistHours, s.ChairLine = "07:00–21:00", programme.Always, "+1 (555) 0130"
	})
	h := serve(t, dir)
	inEach(t, func(t *testing.T, language string) {
		r := h.reader(t, language)
		s := r.speaker()
		a := r.get("/call").says(t, s, 200, "page.call.doubt.hours")
		a.holds(t, s.T("page.line.clinical.plain"), between(s, "07:00", "21:00"), s.T("page.line.always"), `href="tel:+1(555)0130"`, "+1 (555) 0130")
		for _, key := range []string{"page.line.clinical", "page.call.doubt"} {
			if strings.Contains(a.body, s.T(key)) {
				t.Errorf("it says %q of a line that sleeps", s.T(key))
			}
		}
	})
}

func TestSelfCheckCallsTheChairsVendor(t *testing.T) {
	t.Parallel()
	apart := setup.Fault{Part: "tap", Mode: setup.Open}
	for name, c := range map[string]struct {
		site func(*record.Site)
		says []string // message keys
		text []string
	}{
		"whose number is known": {func(*record.Site) {}, []string{"page.line.chair", "selfcheck.after-hours"}, []string{"555-0130", "09:00", "17:00", "555-0110"}},
		"at any hour": {
			func(s *record.Site) { s.ChairHours = programme.Always }, []string{"page.line.chair"}, []string{"555-0130"},
		},
		"where every chair has its own": {func(s *record.Site) { s.ChairLine, s.ChairHours = "", "" }, []string{"selfcheck.line.chair"}, nil},
		"where the clinical line sleeps too": {
			func(s *record.Site) { s.ClinicalHours = "07:00–21:00" },
			[]string{"page.line.chair", "selfcheck.after-hours.rescue"},
			[]string{"555-0130", "09:00", "17:00", "555-0100"},
		},
	} {
		t.Run(name, func(t *testing.T) {
			dir := demoDir(t)
			putSite(t, dir, c.site)
			h := serve(t, dir)
			inEach(t, func(t *testing.T, language string) {
				g := h.reader(t, language).caregiver("chair-12", apart)
				a := g.walk(g.cares("now")).says(t, g.speaker(), 200, "selfcheck.end.call")
				from := strings.Index(a.body, `class="call-now"`)
				call := answer{asked: a.asked, body: a.body[from : from+strings.Index(a.body[from:], "</p>")]}
				for _, key := range c.says {
					call.holds(t, g.speaker().T(key))
				}
				call.holds(t, c.text...)
				if name == "at any hour" && strings.Contains(call.body, "after-hours") {
					t.Error("it knows other hours than any")
				}
			})
		})
	}
}

// Records of a demo from before there were programme files get the programme;
// one that was put in since stays.
func TestDemoOfOlderRecords(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		change func(*record.Site)
		line   string
	}{
		"from before": {func(s *record.Site) { s.ChairLine, s.ChairHours, s.ClinicalHours, s.Programme = "", "", "", "" }, "555-0130"},
		"with its own": {func(s *record.Site) {
			s.ChairLine, s.Programme = "555-0139", strings.Replace(s.Programme, "555-0130", "555-0139", 1)
		}, "555-0139"},
	} {
		t.Run(name, func(t *testing.T) {
			dir := demoDir(t)
			putSite(t, dir, c.change)
			_, err := server.Demo(context.Background(), dir, morning)
			must(t, err)
			serve(t, dir).reader(t, "en").get("/call").wants(t, 200).holds(t, c.line)
		})
	}
}

// The pages for an emergency stand without what the programme adds.
func TestPagesStandWithoutTheProgramme(t *testing.T) {
	t.Parallel()
	for name, yaml := range map[string]string{"none": "", "one that cannot be read": "schema: 9\n"} {
		t.Run(name, func(t *testing.T) {
			dir := demoDir(t)
			putSite(t, dir, func(s *record.Site) { s.Programme = yaml })
			h := serve(t, dir)
			inEach(t, func(t *testing.T, language string) {
				r := h.reader(t, language)
				for _, path := range []string{"/call", "/stopped"} {
					a := r.get(path).says(t, r.speaker(), 200, "page.line.rescue").holds(t, "555-0100")
					if strings.Contains(a.body, "Alder Bay") {
						t.Errorf("%s: the programme speaks", path)
					}
				}
			})
			if logged := strings.Contains(h.log.String(), "programme:1: got schema 9"); logged != (yaml != "") {
				t.Errorf("logged: %t", logged)
			}
		})
	}
}
