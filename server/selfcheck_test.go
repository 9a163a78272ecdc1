package server_test

import (
	"html"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	qr "github.com/piglig/go-qr"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
	"lampwright/locales"
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
	v := url.Values{"for": {purpose}, "did": {"person:ok"}, "mains": {"yes"}, "minutes": {"120"}, "when": {"day"}, "with": {"two"}, "bag": {"yes"}, "since": {g.minute(0)}}
	for i := 0; i < len(pairs); i += 2 {
		v.Set(pairs[i], pairs[i+1])
	}
	return "/check/" + g.id + "?" + v.Encode()
}

// minute is one that long ago, as addresses have it.
func (g *caregiver) minute(ago time.Duration) string {
	return strconv.FormatInt(g.h.clock.now().Add(-ago).Unix()/60, 10)
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
	inEach(t, func(t *testing.T, language string) {
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

// TestSelfCheckUnplugsNothing: contacts are asked about only where the plug is
// out already.
func TestSelfCheckUnplugsNothing(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	for _, with := range []string{"two", "alone"} {
		for _, fault := range []setup.Fault{{Part: "plug", Mode: setup.PushedIn}, {Part: "plug", Mode: setup.HalfHome}, {Part: "fuse", Mode: setup.Blown}} {
			g := h.reader(t, "en").caregiver("chair-12", fault)
			g.walk(g.cares("now", "with", with))
			if slices.ContainsFunc(g.asked, func(s string) bool { return strings.HasPrefix(s, "plug-contacts:") }) && !slices.Contains(g.asked, "plug:apart") {
				t.Errorf("%v, %s: asked %s", fault, with, g.asked)
			}
		}
	}
}

func TestSelfCheckRefuses(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	r := h.reader(t, "en")
	g := r.caregiver("chair-12")
	for name, c := range map[string]struct{ at, expected string }{
		"no such purpose":       {"/check/chair-12?for=fun", "now, out, shift"},
		"no purpose":            {"/check/chair-12?did=person:ok", "now, out, shift"},
		"a bag that is perhaps": {g.cares("out") + "&packed=perhaps", "yes, no"},
		"a stop that is no":     {g.cares("now") + "&stop=no", "yes"},
		"odd bytes":             {"/check/chair-12?for=%ff%00%3Cb%3E", "now, out, shift"},
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

// TestSelfCheckCannotReadWhatWasDone: a link that is broken or out of date is
// a call, and says nothing of how parts are called inside.
func TestSelfCheckCannotReadWhatWasDone(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		r := h.reader(t, language)
		g := r.caregiver("chair-12")
		for name, at := range map[string]string{
			"the person not first":     "/check/chair-12?for=now&did=panel:chair",
			"the person again":         g.path("now", "person:ok"),
			"no result":                g.path("now", "panel"),
			"no such check":            g.path("now", "wheel:sound"),
			"a result it cannot have":  g.path("now", "fuse:ringing"),
			"an act nobody offers":     g.path("now", "do:replace-fuse:fuse"),
			"a part there is not":      g.path("now", "do:push-home:wheel"),
			"plugging in no outlet":    g.path("now", "do:plug-in:fuse"),
			"more than can be taken":   g.path("now", slices.Repeat([]string{"panel:unclear"}, 40)...),
			"a person in two minds":    "/check/chair-12?for=now&did=person:maybe",
			"an empty thing done":      g.path("now", ""),
			"a switch on of the panel": g.path("now", "do:switch-on:panel"),
			"a word in no alphabet":    "/check/chair-12?for=now&did=person:ok&did=%ff%00%3Cb%3E",
		} {
			t.Run(name, func(t *testing.T) {
				a := r.get(at).says(t, r.speaker(), 422, "selfcheck.end.call")
				a.whole(t, r.speaker())
				a.holds(t, r.speaker().T("selfcheck.end.unread"), `href="/check/chair-12">`+r.speaker().T("selfcheck.start-again"), r.speaker().T("selfcheck.end.own.1"))
				ordered(t, a, r.speaker().T("selfcheck.call-now", "Line", r.speaker().T("page.line.rescue")), r.speaker().T("selfcheck.call-now", "Line", r.speaker().T("page.line.clinical")))
				for _, inside := range []string{"lead-battery", "joint-ventilator", "do:plug-in", "CHECK", `action="/check/chair-12/report"`} {
					if strings.Contains(mainPart.FindString(a.body), inside) {
						t.Errorf("it says %q", inside)
					}
				}
			})
		}
	})
}

// ordered wants texts on a page, one after the other.
func ordered(t *testing.T, a answer, texts ...string) {
	t.Helper()
	rest := html.UnescapeString(mainPart.FindString(a.body))
	for _, text := range texts {
		_, after, found := strings.Cut(rest, text)
		if !found {
			t.Fatalf("%q is not on the page, or not in its place:\n%s", text, wordsOf(mainPart.FindString(a.body)))
		}
		rest = after
	}
}

func TestSelfCheckAsksAgainWhatWasFilledInWrongly(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		r := h.reader(t, language)
		g, say := r.caregiver("chair-12"), r.speaker()
		number := say.T("selfcheck.expect.minutes", "Most", 1440)
		for name, c := range map[string]struct {
			at    string
			holds []string
		}{
			"minutes as a word":        {g.cares("now", "minutes", "abc"), []string{`value="abc"`, `id="wrong-minutes"`, number}},
			"minutes with their unit":  {g.cares("now", "minutes", "40 min"), []string{`value="40 min"`, number}},
			"minutes in Arabic words":  {g.cares("now", "minutes", "٤٠ دقيقة"), []string{`value="٤٠ دقيقة"`, number}},
			"minutes below none":       {g.cares("now", "minutes", "-1"), []string{`value="-1"`, number}},
			"minutes beyond a day":     {g.cares("now", "minutes", "1441"), []string{`value="1441"`, number}},
			"an answer there is not":   {g.cares("now", "mains", "maybe"), []string{`id="wrong-mains"`, say.T("selfcheck.care.choose"), `value="120"`}},
			"half of what is asked":    {"/check/chair-12?for=now&did=person:ok&mains=yes", []string{`id="wrong-bag"`, `id="wrong-with"`, `id="wrong-when"`}},
			"once looking has begun":   {g.cares("now", "minutes", "abc") + "&did=panel:internal", []string{`value="abc"`, `name="did" value="panel:internal"`}},
			"more than can be shown":   {g.cares("now", "minutes", strings.Repeat("9", 500)), []string{`value="` + strings.Repeat("9", 20) + `"`}},
			"what is in no alphabet":   {g.cares("now", "minutes", "\xff"), []string{`id="wrong-minutes"`}},
			"the bag, where it is odd": {g.cares("now", "bag", "<b>"), []string{`id="wrong-bag"`, `name="mains" value="yes" checked`, `name="when" value="day" checked`}},
		} {
			t.Run(name, func(t *testing.T) {
				a := r.get(c.at).says(t, say, 422, "selfcheck.care").holds(t, c.holds...)
				a.whole(t, say)
				form := mainPart.FindString(a.body)
				if strings.Count(form, `name="mains"`) != 2 || strings.Contains(form, `name="since"`) {
					t.Error("an answer is carried along twice")
				}
				for _, r := range []string{"1", "2", "3"} { // always in the same order
					if again := mainPart.FindString(g.get(c.at).body); again != form {
						t.Errorf("time %s differs", r)
					}
				}
			})
		}
		r.get(g.cares("now", "minutes", "٤٥")).holds(t, say.T("selfcheck.minutes", "Count", 45))
		r.get("/check/chair-12?for=now&did=person:not-ok&minutes=abc").says(t, say, 200, "selfcheck.end.emergency") // the person first
	})
}

func TestSelfCheckTellsTheMinutesOnceTold(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	g := h.reader(t, "en").caregiver("chair-12")
	say := g.speaker()
	told := func(at string, count int) answer {
		t.Helper()
		return g.get(at).holds(t, say.T("selfcheck.minutes", "Count", count))
	}
	told(g.cares("now", "mains", "no", "minutes", "60"), 60)
	looked := "&did=panel:internal&did=isolator:sound&did=fuse:sound"
	told(g.cares("now", "mains", "no", "minutes", "60")+looked, 60)
	g.get(g.cares("now", "minutes", "")).holds(t, say.T("selfcheck.minutes.unknown"))
	if a := g.get(g.path("now", "panel:mains")); strings.Contains(a.body, `class="minutes"`) {
		t.Error("minutes count on mains")
	}
	for name, c := range map[string]struct {
		did   string
		since time.Duration
		few   bool
	}{
		"looks of over a minute":            {looked, 0, true}, // 31 minutes less 75 seconds: 30 or fewer are few
		"no look but the panel":             {"&did=panel:internal", 0, false},
		"two minutes went by on the panel":  {"&did=panel:internal", 2 * time.Minute, true},
		"a day went by":                     {"&did=panel:internal", 24 * time.Hour, true},
		"more than a day: not to be judged": {"&did=panel:internal", 25 * time.Hour, true},
		"told in time to come":              {"&did=panel:internal", -time.Hour, true},
	} {
		t.Run(name, func(t *testing.T) {
			a := g.get(g.cares("now", "mains", "no", "minutes", "31", "since", g.minute(c.since))+c.did).wants(t, 200)
			if few := strings.Contains(html.UnescapeString(a.body), say.T("gate.few-minutes")); few != c.few {
				t.Errorf("few minutes: %v, expected %v", few, c.few)
			}
			unknown := c.since < 0 || c.since > 24*time.Hour
			if got := strings.Contains(html.UnescapeString(a.body), say.T("selfcheck.minutes.unknown")); got != unknown {
				t.Errorf("minutes not known: %v, expected %v", got, unknown)
			}
		})
	}
	g.get(g.cares("now", "since", "soon")).holds(t, say.T("selfcheck.minutes.unknown"))

	// Sending the form puts the minute in; looking again later does not change it.
	v, err := url.ParseQuery(strings.TrimPrefix(g.cares("now"), "/check/chair-12?"))
	must(t, err)
	sent := g.get("/check/chair-12?"+without(v, "since").Encode()).wants(t, 303).location()
	if want := "since=" + g.minute(0); !strings.Contains(sent, want) {
		t.Errorf("led to %s, expected %s in it", sent, want)
	}
	h.clock.pass(95 * time.Minute)
	for _, at := range g.get(sent).wants(t, 200).links() {
		if !strings.Contains(at, "since="+g.minute(95*time.Minute)) {
			t.Errorf("it leads to %s", at)
		}
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
	inEach(t, func(t *testing.T, language string) {
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
		there := r.get(sent).wants(t, 200).holds(t, r.speaker().T("selfcheck.sent"), r.speaker().T("page.line.technologist"))
		if u, err := url.Parse(sent); err != nil || strings.Count(html.UnescapeString(there.body), url.QueryEscape(u.RequestURI())) != len(locales.Languages) { // the other languages, and a larger size
			t.Errorf("another language or size forgets that it was sent: %v", err)
		}
		for _, never := range []string{"yes", "some-other-form-key", "", strings.Repeat("k", 5000)} {
			u, err := url.Parse(sent)
			must(t, err)
			a := r.get("/check/chair-12?"+with(u.Query(), "sent", never).Encode()).wants(t, 200).holds(t, r.speaker().T("selfcheck.send.why"))
			if strings.Contains(a.body, r.speaker().T("selfcheck.sent")) {
				t.Errorf("sent=%q is believed", never)
			}
		}
	}
	for n := range 5 {
		r.post(to, with(form, "key", "another-form-key-"+strconv.Itoa(n))).wants(t, 303)
	}
	r.post(to, with(form, "key", "one-form-key-too-many")).wants(t, 429).holds(t, r.speaker().T("selfcheck.end.call"))
	must(t, h.stop())
	withRecords(t, dir, func(s *record.Store) {
		list, err := s.OpenOutages(t.Context(), server.SiteID)
		must(t, err)
		if len(list) != 1 || list[0].Reports != 6 || list[0].Newest.Ending != string(diagnosis.CallTech) || list[0].Newest.Language != "ar" {
			t.Errorf("the records hold %+v", list)
		}
	})
}

// TestSelfCheckKeepsWhatWasAnswered: alone is its own answer, and what was not
// asked is not there.
func TestSelfCheckKeepsWhatWasAnswered(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		care []string
		did  string
		want string
	}{
		"alone, by day":            {[]string{"with", "alone"}, "panel:internal", `{"MainsInReach":true,"Minutes":120,"Night":false,"Alone":true,"NoBag":false}`},
		"two, at night, no bag":    {[]string{"when", "night", "bag", "no", "minutes", ""}, "panel:internal", `{"MainsInReach":true,"Night":true,"Alone":false,"NoBag":true}`},
		"not OK, asked no further": {nil, "", `{}`},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			dir := demoDir(t)
			h := serve(t, dir)
			r := h.reader(t, "en")
			g := r.caregiver("chair-12")
			at := "/check/chair-12?for=now&did=person:not-ok"
			if c.did != "" {
				at = g.cares("now", c.care...) + "&did=" + c.did + "&stop=yes"
			}
			form := r.get(at).wants(t, 200).form(t, "/check/chair-12/report")
			u, err := url.Parse(at)
			must(t, err)
			form["did"] = u.Query()["did"]
			r.post("/check/chair-12/report", form).wants(t, 303)
			must(t, h.stop())
			withRecords(t, dir, func(s *record.Store) {
				list, err := s.OpenOutages(t.Context(), server.SiteID)
				must(t, err)
				if got := string(list[0].Newest.Care); got != c.want {
					t.Errorf("kept %s, expected %s", got, c.want)
				}
			})
		})
	}
}

// TestSelfCheckSolvedOnMains: it is the chair that an outing needs.
func TestSelfCheckSolvedOnMains(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		for id, c := range map[string]struct{ off, key string }{
			"chair-12": {"inlet-switch", "selfcheck.end.solved.not-tried"}, "chair-7": {"isolator", "selfcheck.end.solved.not-tried.one-inlet"},
		} {
			g := h.reader(t, language).caregiver(id, setup.Fault{Part: c.off, Mode: setup.Off})
			a := g.walk(g.cares("now")).says(t, g.speaker(), 200, "selfcheck.end.solved")
			if !slices.Contains(g.asked, "panel:mains") {
				t.Fatalf("%s: not on mains: %s", id, g.asked)
			}
			ordered(t, a, "<ol class=\"big\"><li>"+g.speaker().T(c.key), g.speaker().T("selfcheck.end.solved.1"))
		}
	})
}

// TestSelfCheckOnItsOwnBattery: no call leaves anyone waiting on it.
func TestSelfCheckOnItsOwnBattery(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		g := h.reader(t, language).caregiver("chair-12")
		say := g.speaker()
		line := func(name string) string { return say.T("selfcheck.call-now", "Line", say.T("page.line."+name)) }
		for name, c := range map[string]struct {
			at      string
			reason  string
			another string
			pressed bool
		}{
			"few minutes, no outlet":     {g.cares("now", "mains", "no", "minutes", "20") + "&did=panel:internal", "gate.few-minutes", "own.3", true},
			"minutes not known":          {g.cares("now", "mains", "no", "minutes", "") + "&did=panel:internal", "gate.few-minutes", "own.3", true},
			"the outlet does not carry":  {g.cares("now", "minutes", "20") + "&did=panel:internal&did=do:plug-in:outlet&did=panel:internal", "gate.few-minutes", "own.3", true},
			"nobody can read the panel":  {g.cares("now", "mains", "no") + "&did=panel:unclear&did=panel:unclear", "gate.panel-unreadable", "own.3", true},
			"nothing on it says a name":  {g.cares("now", "mains", "no") + "&did=panel:unread&did=panel:unread", "gate.panel-unreadable", "own.3", true},
			"a step that cannot be done": {g.cares("now", "mains", "no", "minutes", "120") + "&did=panel:internal&stop=yes", "selfcheck.end.stopped-short", "own.3", false},
			"one inlet, chair unsure":    {strings.Replace(g.cares("now", "minutes", ""), "chair-12", "chair-7", 1) + "&did=panel:internal&did=alarm:quiet", "gate.one-inlet", "own.one-inlet", true},
		} {
			t.Run(name, func(t *testing.T) {
				a := g.get(c.at).says(t, say, 200, "selfcheck.end.call")
				a.whole(t, say)
				body := html.UnescapeString(mainPart.FindString(a.body))
				order := []string{line("clinical"), say.T(c.reason)}
				if c.pressed {
					order = []string{"<h2 class=\"call-now\"><strong>" + line("rescue"), line("clinical"), say.T(c.reason)}
				}
				for _, n := range []string{"own.1", "own.2", c.another, "own.4", "own.5"} {
					order = append(order, "<li>"+say.T("selfcheck.end."+n))
				}
				if !c.pressed {
					order = order[1:]
				}
				ordered(t, a, order...)
				if got := strings.Contains(body, line("rescue")); got != c.pressed {
					t.Errorf("the emergency number is first: %v, expected %v", got, c.pressed)
				}
				for _, never := range []string{"call.1", "call.2"} {
					if strings.Contains(body, say.T("selfcheck.end."+never)) {
						t.Errorf("it says %q", never)
					}
				}
				if unknown := c.reason == "gate.panel-unreadable" || strings.Contains(c.at, "minutes=&"); strings.Contains(body, say.T("selfcheck.minutes.unknown")) != unknown {
					t.Errorf("minutes not known: expected %v", unknown)
				}
			})
		}
		// On mains it is the technologist's, and nothing more is changed.
		blown := h.reader(t, language).caregiver("chair-12", setup.Fault{Part: "fuse", Mode: setup.Blown})
		blown.walk(blown.cares("now")).holds(t, say.T("selfcheck.end.call.2"), line("technologist"))
	})
}

// TestSelfCheckDarkPanel: nobody is said to bag who was not told to.
func TestSelfCheckDarkPanel(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		g := h.reader(t, language).caregiver("chair-12")
		say := g.speaker()
		a := g.get(g.path("now", "panel:none")).says(t, say, 200, "selfcheck.end.dark").holds(t, `href="/stopped"`, say.T("page.line.rescue"))
		ordered(t, a, "<ol class=\"big\"><li>"+say.T("selfcheck.end.dark.1"), say.T("selfcheck.end.emergency.5"), say.T("selfcheck.say.dark"))
		if strings.Contains(html.UnescapeString(a.body), say.T("selfcheck.say.emergency")) {
			t.Error("it says that breaths are being given")
		}
		if code := html.UnescapeString(qrText.FindStringSubmatch(a.body)[1]); !strings.Contains(code, strings.ReplaceAll(say.T("selfcheck.say.dark"), "\u00a0", " ")) {
			t.Errorf("the code says %q", code)
		}
	})
}

// TestSelfCheckAsksStillOK: after a remedy, and after every five looks.
func TestSelfCheckAsksStillOK(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	g := h.reader(t, "en").caregiver("chair-12")
	say := g.speaker()
	looks := []string{"panel:chair", "alarm:quiet", "isolator:sound", "fuse:sound", "plug:sound", "outlet:sound"}
	for name, c := range map[string]struct {
		did  []string
		want bool
	}{
		"at the start":    {nil, false},
		"after a remedy":  {[]string{"panel:internal", "do:plug-in:outlet"}, true},
		"one look later":  {[]string{"panel:internal", "do:plug-in:outlet", "panel:mains"}, false},
		"after four":      {looks[:4], false},
		"after five":      {looks[:5], true},
		"after six":       {looks[:6], false},
		"a remedy beside": {[]string{"panel:internal", "do:plug-in:outlet", "panel:mains", "isolator:sound", "fuse:sound", "plug:sound"}, true},
	} {
		t.Run(name, func(t *testing.T) {
			a := g.get(g.path("now", c.did...)).wants(t, 200)
			if strings.Contains(a.body, `<article class="ending">`) {
				t.Fatalf("an ending: %s", wordsOf(a.body))
			}
			line := say.T("selfcheck.still") + ` <a href="/stopped">`
			if c.want {
				ordered(t, a, line, "<h1>")
			} else if strings.Contains(a.body, line) {
				t.Error("it asks whether the person is still OK")
			}
		})
	}
}

// TestSelfCheckReadsThePanelTwice: whatever it is for, nothing counts as in
// order, or as working, on one reading.
func TestSelfCheckReadsThePanelTwice(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	g := h.reader(t, "en").caregiver("chair-12")
	for _, purpose := range []string{"now", "out", "shift"} {
		once, twice := g.get(g.path(purpose, "panel:mains")).wants(t, 200), g.get(g.path(purpose, "panel:mains", "panel:mains")).wants(t, 200)
		asks := func(a answer) bool {
			return strings.Contains(html.UnescapeString(a.body), "did=panel:internal") || strings.Contains(a.body, "panel%3Ainternal")
		}
		if !asks(once) || asks(twice) {
			t.Errorf("%s: reads the panel a second time: %t, a third: %t", purpose, asks(once), asks(twice))
		}
	}
}
