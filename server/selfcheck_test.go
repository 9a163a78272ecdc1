package server_test

import (
	"html"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	qr "github.com/piglig/go-qr"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
	"lampwright/quiz/diagnosis"
	"lampwright/server"
	"lampwright/server/record"
)

var (
	checkLink = regexp.MustCompile(`href="(/check/[^"]*)"`)
	mainPart  = regexp.MustCompile(`(?s)<main.*</main>`)
	stepBack  = regexp.MustCompile(`<a class="plain step-back"[^>]*>`)
	qrTag     = regexp.MustCompile(`(?s)<svg viewBox="0 0 (\d+) (\d+)" role="img"[^>]*>.*?<path class="qr-ink" d="([^"]*)"`)
	qrText    = regexp.MustCompile(`(?s)<pre>(.*?)</pre>`)
)

// links are the ways on from a screen of the self-check, by what they add.
func (a answer) links() map[string]string {
	out := map[string]string{}
	on := stepBack.ReplaceAllString(mainPart.FindString(a.body), "")
	for _, m := range checkLink.FindAllStringSubmatch(on, -1) {
		at := html.UnescapeString(m[1])
		u, err := url.Parse(at)
		if err != nil {
			continue
		}
		q := u.Query()
		switch did := q["did"]; {
		case q.Has("more"):
			out["more"] = at
		case q.Has("stop"):
			out["stop"] = at
		case q.Has("packed"):
			out["packed="+q.Get("packed")] = at
		case len(did) > 0:
			if last := did[len(did)-1]; out[last] == "" {
				out[last] = at
			}
		case q.Has("for"):
			out["for="+q.Get("for")] = at
		}
	}
	return out
}

// caregiver stands at a real set-up and answers by what is there.
type caregiver struct {
	*reader
	id    string
	setup *setup.Setup
	at    circuit.Conditions
	asked []string // what was asked or done, in order
}

func (r *reader) caregiver(id string, faults ...setup.Fault) *caregiver {
	r.t.Helper()
	s, err := setup.Demo(id)
	must(r.t, err)
	return &caregiver{reader: r, id: id, setup: s, at: circuit.Usual(faults...)}
}

// cares answers the questions that are asked once.
func (g *caregiver) cares(purpose string, pairs ...string) string {
	v := url.Values{"for": {purpose}, "did": {"person:ok"}, "mains": {"yes"}, "minutes": {"120"}, "when": {"day"}, "with": {"two"}, "bag": {"yes"}}
	for i := 0; i < len(pairs); i += 2 {
		v.Set(pairs[i], pairs[i+1])
	}
	return "/check/" + g.id + "?" + v.Encode()
}

// walk follows the links from an address to an ending.
func (g *caregiver) walk(at string) answer {
	g.t.Helper()
	for range 45 {
		a := g.get(at).wants(g.t, 200)
		a.whole(g.t, g.speaker())
		if strings.Contains(a.body, `<article class="ending">`) {
			return a
		}
		at = g.next(a)
	}
	g.t.Fatalf("no ending: %q", g.asked)
	return answer{}
}

// next is the link that a truthful caregiver takes.
func (g *caregiver) next(a answer) string {
	g.t.Helper()
	links, body := a.links(), html.UnescapeString(a.body)
	if at := links["packed=yes"]; at != "" {
		return at
	}
	st, err := circuit.Solve(g.setup, g.at)
	must(g.t, err)
	for last, at := range links {
		rest, is := strings.CutPrefix(last, "do:")
		if !is || !strings.Contains(body, g.speaker().T("selfcheck.cannot")) {
			continue
		}
		verb, part, _ := strings.Cut(rest, ":")
		if diagnosis.Verb(verb) == diagnosis.PlugIn {
			g.at.Mains = true
		} else {
			g.at.Faults = slices.DeleteFunc(slices.Clone(g.at.Faults), func(f setup.Fault) bool { return f.Part == part })
		}
		g.asked = append(g.asked, last)
		return at
	}
	for _, c := range diagnosis.Checks(g.setup) {
		if links[c.ID+":unclear"] == "" || !strings.Contains(body, g.speaker().T("selfcheck.unclear")) {
			continue
		}
		shows := c.ID + ":" + string(c.Shows(g.setup, &st))
		at := links[shows]
		if at == "" {
			return links["more"]
		}
		g.asked = append(g.asked, shows)
		return at
	}
	g.t.Fatalf("nothing to answer on %s:\n%s", a.asked, wordsOf(a.body))
	return ""
}

// path is the address of a self-check: what was asked once, then what was done.
func (g *caregiver) path(purpose string, did ...string) string {
	at := g.cares(purpose)
	for _, d := range did {
		at += "&did=" + url.QueryEscape(d)
	}
	return at
}

func TestSelfCheckEndings(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inlet := setup.Fault{Part: "isolator", Mode: setup.Off}
	for _, c := range []struct {
		name, id, purpose string
		faults            []setup.Fault
		care              []string
		ending            string
		says              []string // message keys on the last page
	}{
		{"the isolator is off", "chair-7", "now", []setup.Fault{inlet}, nil, "solved", []string{"selfcheck.end.solved.1"}},
		{"nothing is to be found", "chair-12", "now", nil, nil, "untrusted", []string{"selfcheck.end.untrusted.2"}},
		{"the fuse is blown", "chair-12", "now", []setup.Fault{{Part: "fuse", Mode: setup.Blown}}, nil, "call", []string{"page.line.technologist", "bench.spare.fuse"}},
		{"on internal, few minutes, no outlet", "chair-12", "now", []setup.Fault{{Part: "fuse", Mode: setup.Blown}}, []string{"mains", "no", "minutes", ""}, "call", []string{"gate.few-minutes", "page.line.clinical"}},
		{"all is well before an outing", "chair-12", "out", nil, nil, "in-order", []string{"selfcheck.end.out"}},
		{"all is well as the shift starts", "chair-21", "shift", nil, nil, "in-order", []string{"selfcheck.end.in-order.1"}},
		{"a blown fuse before an outing", "chair-21", "out", []setup.Fault{{Part: "fuse", Mode: setup.Blown}}, nil, "call", []string{"bench.spare.fuse"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			g := h.reader(t, "en").caregiver(c.id, c.faults...)
			a := g.walk(g.cares(c.purpose, c.care...)).says(t, g.speaker(), 200, "selfcheck.end."+c.ending)
			for _, key := range c.says {
				a.holds(t, g.speaker().T(key))
			}
		})
	}
}

// TestSelfCheckFromTheFirstScreen goes the whole way by links and the one
// form, signed in to nothing, with nothing kept.
func TestSelfCheckFromTheFirstScreen(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inBoth(t, func(t *testing.T, language string) {
		g := h.reader(t, language).caregiver("chair-12", setup.Fault{Part: "fuse", Mode: setup.Blown})
		g.get("/looks").holds(t, `href="/check/chair-12"`)
		start := g.get("/check/chair-12").says(t, g.speaker(), 200, "page.looks").holds(t, `href="/safe"`)
		person := g.get(start.links()["for=now"]).says(t, g.speaker(), 200, "selfcheck.person.lips")
		care := g.get(person.links()["person:ok"]).says(t, g.speaker(), 200, "selfcheck.care")
		care.holds(t, `name="for" value="now"`, `name="did" value="person:ok"`)
		end := g.walk(g.cares("now")).says(t, g.speaker(), 200, "selfcheck.end.call")
		if !strings.HasSuffix(strings.Join(g.asked, " "), "fuse:blown") {
			t.Errorf("asked %s", g.asked)
		}
		end.holds(t, g.speaker().T("selfcheck.say.tag", "Tag", "Chair 12"), g.speaker().T("figure.seen.blown"), "555-0")
		g.get(person.links()["person:not-ok"]).says(t, g.speaker(), 200, "selfcheck.end.emergency").holds(t, `href="/stopped"`, g.speaker().T("selfcheck.end.emergency.5"))
		if g.cookies() != "" && strings.Contains(g.cookies(), "lw-session") {
			t.Error("a session began")
		}
	})
}

func TestSelfCheckAsksOneInletTwice(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	g := h.reader(t, "en").caregiver("chair-7", setup.Fault{Part: "fuse", Mode: setup.Blown})
	g.walk(g.cares("now"))
	alarm, plug := slices.Index(g.asked, "alarm:ringing"), slices.Index(g.asked, "do:plug-in:outlet")
	if alarm < 0 || plug < alarm {
		t.Errorf("asked %s: the alarm before the lead is changed", g.asked)
	}
	for name, care := range map[string][]string{"no bag": {"bag", "no"}, "no bag, and few minutes": {"bag", "no", "minutes", ""}} {
		g := h.reader(t, "en").caregiver("chair-7", setup.Fault{Part: "fuse", Mode: setup.Blown})
		g.walk(g.cares("now", care...))
		if slices.Contains(g.asked, "do:plug-in:outlet") {
			t.Errorf("%s: asked %s", name, g.asked)
		}
	}
	g.get(g.path("now", "panel:internal", "alarm:ringing")).says(t, g.speaker(), 200, "selfcheck.do.change-over.caution")
	g.get(g.path("now", "panel:internal", "alarm:quiet")).says(t, g.speaker(), 200, "gate.one-inlet")
	bare := g.get(g.cares("now", "bag", "no")+"&did=panel:internal&did=alarm:ringing").says(t, g.speaker(), 200, "gate.bag-first")
	bare.holds(t, g.speaker().T("selfcheck.bag-now"))
}

// TestSelfCheckAloneUnplugsNothing: one pair of hands cannot bag and hold a
// plug.
func TestSelfCheckAloneUnplugsNothing(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	for _, with := range []string{"two", "alone"} {
		seen := false
		g := h.reader(t, "en").caregiver("chair-12", setup.Fault{Part: "plug", Mode: setup.PushedIn})
		g.at.Mains = true
		at := g.cares("now", "with", with)
		for _, did := range []string{"panel:internal", "do:plug-in:outlet", "panel:mains", "adapter:sound"} { // two signs of mains
			at += "&did=" + did
		}
		for range 45 {
			a := g.get(at).wants(t, 200)
			if strings.Contains(a.body, `<article class="ending">`) {
				break
			}
			seen = seen || strings.Contains(html.UnescapeString(a.body), g.speaker().T("selfcheck.how.unplug"))
			at = g.next(a)
		}
		if want := with == "two"; seen != want {
			t.Errorf("%s: asked to unplug: %v, expected %v; %s", with, seen, want, g.asked)
		}
	}
}

func TestSelfCheckRefuses(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	r := h.reader(t, "en")
	g := r.caregiver("chair-12")
	long := slices.Repeat([]string{"panel:unclear"}, 40)
	for name, c := range map[string]struct{ at, expected string }{
		"no such purpose":          {"/check/chair-12?for=fun", "now, out, shift"},
		"no purpose":               {"/check/chair-12?did=person:ok", "now, out, shift"},
		"half of what is asked":    {"/check/chair-12?for=now&mains=yes", "expected"},
		"another answer":           {g.cares("now", "mains", "maybe"), "yes, no"},
		"minutes as words":         {g.cares("now", "minutes", "many"), "a whole number from 0 to 1440"},
		"minutes below none":       {g.cares("now", "minutes", "-1"), "a whole number from 0 to 1440"},
		"minutes beyond a day":     {g.cares("now", "minutes", "1441"), "a whole number from 0 to 1440"},
		"a bag that is perhaps":    {g.cares("out") + "&packed=perhaps", "yes, no"},
		"a stop that is no":        {g.cares("now") + "&stop=no", "yes"},
		"the person not first":     {"/check/chair-12?for=now&did=panel:chair", "did=person:ok"},
		"the person again":         {g.path("now", "person:ok"), "did=person:ok"},
		"no result":                {g.path("now", "panel"), "CHECK:RESULT"},
		"no such check":            {g.path("now", "wheel:sound"), "one of the checks"},
		"a result it cannot have":  {g.path("now", "fuse:ringing"), "for fuse one of"},
		"an act nobody offers":     {g.path("now", "do:replace-fuse:fuse"), "do:plug-in:PART"},
		"a part there is not":      {g.path("now", "do:push-home:wheel"), "do:push-home:PART"},
		"plugging in no outlet":    {g.path("now", "do:plug-in:fuse"), "do:plug-in:PART"},
		"odd bytes":                {"/check/chair-12?for=%ff%00%3Cb%3E", "now, out, shift"},
		"more than can be taken":   {g.path("now", long...), "at most 40"},
		"a person in two minds":    {"/check/chair-12?for=now&did=person:maybe", "person=ok or person=not-ok"},
		"an empty thing done":      {g.path("now", ""), "CHECK:RESULT"},
		"a switch on of the panel": {g.path("now", "do:switch-on:panel"), "do:switch-on:PART"},
	} {
		t.Run(name, func(t *testing.T) {
			a := r.get(c.at).wants(t, 422)
			a.whole(t, r.speaker())
			a.holds(t, c.expected)
		})
	}
	r.get("/check/chair-99").wants(t, 404)
}

func TestSelfCheckEndsAtTheMost(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	g := h.reader(t, "en").caregiver("chair-12")
	did := slices.Repeat([]string{"do:switch-on:isolator", "panel:mains"}, 20)[:39]
	g.get(g.path("now", did...)).says(t, g.speaker(), 200, "selfcheck.end.call")
}

func TestSelfCheckCountsMinutesDown(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	g := h.reader(t, "en").caregiver("chair-12")
	says := func(at string, count int) {
		t.Helper()
		g.get(at).holds(t, g.speaker().T("selfcheck.minutes", "Count", count))
	}
	says(g.cares("now", "mains", "no", "minutes", "60"), 60)
	// Panel 10 s, isolator 20 s, fuse 45 s.
	says(g.cares("now", "mains", "no", "minutes", "60")+"&did=panel:internal&did=isolator:sound&did=fuse:sound", 58)
	g.get(g.cares("now", "minutes", "")).says(t, g.speaker(), 200, "selfcheck.minutes.unknown")
	g.get(g.cares("now", "minutes", "٤٥")).holds(t, g.speaker().T("selfcheck.minutes", "Count", 45))
	if a := g.get(g.path("now", "panel:mains")); strings.Contains(a.body, `class="minutes"`) {
		t.Error("minutes count on mains")
	}
}

func TestSelfCheckGoesBack(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	r := h.reader(t, "en")
	g := r.caregiver("chair-12")
	at, back := g.path("now", "panel:internal")+"&stop=yes", regexp.MustCompile(`class="plain step-back" href="([^"]*)"`)
	var trail []string
	for range 8 {
		found := back.FindStringSubmatch(r.get(at).wants(t, 200).body)
		if found == nil {
			break
		}
		at = html.UnescapeString(found[1])
		trail = append(trail, at)
	}
	if len(trail) != 5 || at != "/check/chair-12" {
		t.Errorf("back over %d screens: %q", len(trail), trail)
	}
}

func TestSelfCheckCode(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inBoth(t, func(t *testing.T, language string) {
		g := h.reader(t, language).caregiver("chair-12", setup.Fault{Part: "lead-battery", Mode: setup.Open})
		a := g.walk(g.cares("now"))
		drawn, text := qrTag.FindStringSubmatch(a.body), qrText.FindStringSubmatch(a.body)
		if drawn == nil || text == nil {
			t.Fatalf("no code: %s", wordsOf(a.body))
		}
		said := html.UnescapeString(text[1])
		if len(said) > 400 || !strings.Contains(said, "Chair 12") || !strings.Contains(said, g.speaker().T("figure.look.damaged")) || strings.ContainsAny(said, "\u2068\u2069") {
			t.Errorf("the code says %d bytes: %q", len(said), said)
		}
		code, err := qr.EncodeText(said, qr.Low)
		must(t, err)
		if size := strconv.Itoa(code.Size() + 8); drawn[1] != size || drawn[2] != size {
			t.Errorf("the code is %s by %s units, expected %s", drawn[1], drawn[2], size)
		}
		dark, want := 0, 0
		for _, run := range regexp.MustCompile(`h(\d+)v1h`).FindAllStringSubmatch(drawn[3], -1) {
			n, err := strconv.Atoi(run[1])
			must(t, err)
			dark += n
		}
		for y := range code.Size() {
			for x := range code.Size() {
				if code.Module(x, y) {
					want++
				}
			}
		}
		if dark != want {
			t.Errorf("%d dark modules, expected %d", dark, want)
		}
	})
}

func TestSelfCheckReport(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	h := serve(t, dir)
	r := h.reader(t, "ar")
	g := r.caregiver("chair-12", setup.Fault{Part: "fuse", Mode: setup.Blown})
	const to = "/check/chair-12/report"
	end := g.walk(g.cares("now"))
	end.holds(t, r.speaker().T("selfcheck.send.why"))
	form := end.form(t, to)
	// The form carries every step, which a map of single values cannot hold.
	form["did"] = nil
	for _, m := range regexp.MustCompile(`name="did" value="([^"]*)"`).FindAllStringSubmatch(end.body, -1) {
		form["did"] = append(form["did"], html.UnescapeString(m[1]))
	}
	r.post(to, without(form, "token")).wants(t, 403)
	r.post(to, without(form, "key")).wants(t, 422)
	r.post(to, with(form, "did", "person:ok")).wants(t, 422) // no ending yet
	r.post(to, with(form, "callback", strings.Repeat("ب", record.MostCallback+1))).wants(t, 422).holds(t, r.speaker().T("selfcheck.send"))
	for range 2 { // the same form twice counts once
		sent := r.post(to, with(form, "callback", "555-0142")).wants(t, 303).location()
		r.get(sent).says(t, r.speaker(), 200, "selfcheck.sent").holds(t, r.speaker().T("page.line.technologist"))
	}
	for n := range 19 {
		r.post(to, with(form, "key", "another-form-key-"+strconv.Itoa(n))).wants(t, 303)
	}
	r.post(to, with(form, "key", "one-form-key-too-many")).wants(t, 429).holds(t, r.speaker().T("selfcheck.end.call"))
	must(t, h.stop())
	withRecords(t, dir, func(s *record.Store) {
		list, err := s.OpenOutages(t.Context(), server.SiteID)
		must(t, err)
		if len(list) != 1 || list[0].Reports != 20 || list[0].Newest.Ending != string(diagnosis.CallTech) || list[0].Newest.Language != "ar" {
			t.Errorf("the records hold %+v", list)
		}
	})
}
