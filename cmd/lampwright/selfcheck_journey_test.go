package main

import (
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
	"lampwright/quiz/diagnosis"
)

// The self-check, signed in to nothing: to each of its endings, then by
// keyboard alone and without script; and a report from it, which the desk
// reads, measures and closes.
func TestSelfCheckJourney(t *testing.T) {
	start := browse(t)
	t.Run("English", func(t *testing.T) { start(t, rowan).checks() })
	t.Run("Arabic", func(t *testing.T) { start(t, samira).checks() })
	t.Run("keyboard only", func(t *testing.T) { start(t, jules).checksByKeyboard() })
	t.Run("without script", func(t *testing.T) { start(t, jules).checksWithoutScript() })
	t.Run("English report", func(t *testing.T) { start(t, rowan).reports() })
	t.Run("Arabic report", func(t *testing.T) { start(t, samira).reports() })
}

// A caregiver stands at a real set-up and answers by what is there.
type caregiver struct {
	*walk
	chair  string
	there  *setup.Setup
	at     circuit.Conditions
	untold string // the check that this caregiver cannot tell
	follow func(selector string)
	looked map[string]bool // pages that were looked at on this walk
}

func (w *walk) caregiver(chair string, faults ...setup.Fault) *caregiver {
	w.Helper()
	there, err := setup.Demo(chair)
	if err != nil {
		w.Fatal(err)
	}
	return &caregiver{walk: w, chair: chair, there: there, at: circuit.Usual(faults...), follow: w.click, looked: map[string]bool{}}
}

// once looks at a page the first time it comes.
func (g *caregiver) once(page string, how look) {
	g.Helper()
	for _, always := range []string{".help .stop", ".help .call", "footer .caution"} {
		g.has(always)
	}
	if !g.looked[page] {
		g.looked[page] = true
		g.looks(page, how)
	}
}

// link selects the way on that adds this.
func (g *caregiver) link(adds string) string {
	g.Helper()
	href := g.ways()[adds]
	if href == "" {
		g.Fatalf("%s: no way on by %q: %s", g.walk.at(), adds, g.text("main"))
	}
	return `main a[href="` + href + `"]:not(.step-back)`
}

// ways are the ways on from a screen, by what each adds.
func (g *caregiver) ways() map[string]string {
	g.Helper()
	return eval[map[string]string](g.walk, `Object.fromEntries([...document.querySelectorAll("main a[href^='/check/']:not(.step-back)")].reverse().map(a => {
		const q = new URL(a.href).searchParams, one = ["more", "stop", "packed"].find(name => q.has(name));
		return [one ?? q.getAll("did").at(-1) ?? "for=" + q.get("for"), a.getAttribute("href")];
	}))`)
}

// begins goes from the set-ups to the first question about the equipment.
func (g *caregiver) begins() {
	g.Helper()
	g.asksForPerson()
	g.follow(g.link("person:ok"))
	g.says("h1", g.speak.T("selfcheck.care"))
	g.once("check-care", full)
	for _, v := range [][2]string{{"mains", "yes"}, {"bag", "yes"}, {"with", "two"}, {"when", "day"}} {
		g.touch("label:has(" + value(v[0], v[1]) + ")")
	}
	minutes := "120"
	if g.lang == "ar" {
		minutes = "١٢٠"
	}
	g.write("#minutes", minutes)
	g.click("main form button")
}

// asksForPerson recognises the set-up and comes to the person, who is first.
func (g *caregiver) asksForPerson() {
	g.Helper()
	g.open("/looks")
	g.follow(`.looks a[href="/check/` + g.chair + `"]`)
	g.says("main", g.there.Tag, g.speak.T("selfcheck.start.kept"))
	g.says(".fig-model", g.there.Ventilator.Model)
	g.once("check-start", full)
	g.follow(g.link("for=now"))
	g.says("h1", g.speak.T("selfcheck.person"))
	g.once("check-person", full)
}

// ends answers until there is an ending, and holds it to being this one.
func (g *caregiver) ends(ending string, says ...string) {
	g.Helper()
	for steps := 0; g.count("article.ending") == 0; steps++ {
		if steps == 45 {
			g.Fatalf("no ending at %s", g.walk.at())
		}
		g.follow(g.next())
	}
	g.says("h1", g.speak.T("selfcheck.end."+ending))
	g.says("main", g.there.Tag)
	for _, key := range says {
		g.says("main", g.speak.T(key))
	}
	g.has(`.qr svg[role="img"] path.qr-ink[d^="M"]`)
	g.has(`.desk-report #callback`)
	g.once("check-"+ending, full)
}

// next selects the way that this caregiver takes: what is asked for is done,
// and what is asked is answered by what is there.
func (g *caregiver) next() string {
	g.Helper()
	ways := g.ways()
	for _, adds := range slices.Sorted(maps.Keys(ways)) {
		act, ok := strings.CutPrefix(adds, "do:")
		if !ok {
			continue
		}
		verb, part, _ := strings.Cut(act, ":")
		g.has(".note.bad")
		page := "check-do-" + verb
		if g.there.Ventilator.Shared() {
			page += "-one-inlet"
		}
		g.once(page, full)
		if diagnosis.Verb(verb) == diagnosis.PlugIn {
			g.at.Mains = true
		} else {
			g.at.Faults = slices.DeleteFunc(slices.Clone(g.at.Faults), func(f setup.Fault) bool { return f.Part == part })
		}
		return g.link(adds)
	}
	st, err := circuit.Solve(g.there, g.at)
	if err != nil {
		g.Fatal(err)
	}
	for _, c := range diagnosis.Checks(g.there) {
		unclear := c.ID + ":" + string(diagnosis.Unclear)
		if ways[unclear] == "" {
			continue
		}
		g.looksAtQuestion(c)
		adds := c.ID + ":" + string(c.Shows(g.there, &st))
		switch {
		case c.ID == g.untold:
			adds = unclear
		case ways[adds] == "":
			adds = "more"
		}
		return g.link(adds)
	}
	g.Fatalf("%s asks nothing: %s", g.walk.at(), g.text("main"))
	return ""
}

func (g *caregiver) looksAtQuestion(c diagnosis.Check) {
	g.Helper()
	kind, _ := g.there.PartKind(c.Part)
	page, how := "check-ask-"+string(kind), glance
	if c.Contacts {
		page += "-contacts"
	}
	if kind == setup.KindPanel || kind == setup.KindJoint {
		how = full
	}
	g.has("main .answers svg.fig")
	g.once(page, how)
}

// again is the same caregiver at another set-up, who looks at no page twice.
func (g *caregiver) again(chair string, faults ...setup.Fault) *caregiver {
	g.Helper()
	next := g.caregiver(chair, faults...)
	next.looked = g.looked
	return next
}

// speaks chooses the language, at the door.
func (w *walk) speaks() {
	w.Helper()
	w.open("/")
	w.click(`.choices a[lang="` + w.lang + `"]`)
	w.isAt("/looks")
}

// checks comes to every ending.
func (w *walk) checks() {
	w.speaks()
	g := w.caregiver("chair-12", setup.Fault{Part: "joint-ventilator", Mode: setup.Open})
	g.begins()
	g.ends("call", "page.line.technologist", "selfcheck.end.call.2", "figure.look.apart")
	w.says(".call-now", "555-01")

	g = g.again("chair-12", setup.Fault{Part: "inlet-switch", Mode: setup.Off})
	g.begins()
	g.ends("solved", "selfcheck.end.solved.1")

	g = g.again("chair-12")
	g.begins()
	g.ends("untrusted", "selfcheck.end.untrusted.2")

	g = g.again("chair-12")
	g.asksForPerson()
	g.follow(g.link("person:not-ok"))
	g.ends("emergency", "selfcheck.end.emergency.5", "page.line.rescue")
	w.has(`.ending a[href="/stopped"]`)

	// One inlet: the lead is changed over, and its contacts are seen then.
	g = g.again("chair-7", setup.Fault{Part: "isolator", Mode: setup.Off})
	g.begins()
	g.ends("solved", "selfcheck.end.solved.2")

	for _, page := range []string{
		"check-start", "check-person", "check-care", "check-ask-panel", "check-ask-joint", "check-do-plug-in", "check-do-switch-on",
		"check-do-plug-in-one-inlet", "check-call", "check-solved", "check-untrusted", "check-emergency",
	} {
		if !g.looked[page] {
			w.Errorf("%s never came", page)
		}
	}
}

// checksByKeyboard comes to an ending with Tab, Space and Enter.
func (w *walk) checksByKeyboard() {
	w.open("/")
	w.enter(`.choices a[lang="` + w.lang + `"]`)
	g := w.caregiver("chair-12", setup.Fault{Part: "plug", Mode: setup.HalfHome})
	g.follow = w.enter
	g.asksForPerson()
	g.follow(g.link("person:ok"))
	for _, v := range [][2]string{{"mains", "yes"}, {"bag", "yes"}, {"with", "two"}, {"when", "day"}} {
		w.tabTo(value(v[0], v[1]))
		w.do(chromedp.KeyEvent(" "))
		w.has(value(v[0], v[1]) + ":checked")
	}
	w.tabTo("#minutes")
	w.do(chromedp.KeyEvent("120"))
	w.enter("main form button")
	g.ends("solved", "selfcheck.end.solved.1")
	w.enter(`main a[href="/check/chair-12"]`)
	w.enter(".help .stop")
	w.says("main", w.speak.T("page.line.rescue"))
}

// checksWithoutScript comes to an ending, and sends it, in a browser that runs
// no script, the engines neither.
func (w *walk) checksWithoutScript() {
	w.engines = ""
	if _, err := chromedp.Call(w.ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true}); err != nil {
		w.Fatal(err)
	}
	w.speaks()
	if eval[bool](w, scriptRuns) {
		w.Fatal("script runs")
	}
	g := w.caregiver("chair-12", setup.Fault{Part: "fuse", Mode: setup.Blown})
	g.begins()
	g.ends("call", "bench.spare.fuse")
	w.click(".desk-report form button")
	w.says(`.ending [role="status"]`, w.speak.T("selfcheck.sent"))
}

// reports sends a call to the desk, where the technologist finds out what it was.
func (w *walk) reports() {
	const callback = "555-0142"
	blown := setup.Fault{Part: "fuse", Mode: setup.Blown}
	w.speaks()
	g := w.caregiver("chair-12", blown)
	g.untold = blown.Part
	for _, page := range []string{
		"check-start", "check-person", "check-care", "check-ask-panel", "check-ask-joint", "check-do-plug-in", "check-call",
	} {
		g.looked[page] = true // elsewhere
	}
	g.begins()
	g.ends("call", "page.line.technologist", "selfcheck.send.why")
	w.write("#callback", callback)
	w.click(".desk-report form button")
	w.says(`.ending [role="status"]`, w.speak.T("selfcheck.sent"))
	w.says(".call-now", "555-01")
	if w.count(".desk-report") != 0 {
		w.Error("what was sent can be sent again")
	}
	w.looks("check-sent", full)

	w.open("/")
	w.click(`footer a[href="/desk"]`)
	w.staffSignsIn("tove", "copper-ferry-41", "/desk/inbox")
	w.says("main", w.speak.T("inbox.open", "Count", 1), w.speak.T("inbox.alerts-nobody"))
	const row = `tr:has(a[href^="/desk/inbox/"])`
	w.says(row, g.there.Tag, callback, w.speak.T("inbox.ending.call-technologist"))
	w.looks("inbox", full)
	w.click(row + " a")
	fuse := w.speak.T("diagnosis.cause", "Part", w.speak.T("figure.kind.fuse"), "Mode", w.speak.T("diagnosis.mode.blown"))
	w.says(".evidence", w.speak.T("inbox.person.ok"))
	w.has(".nodes li")
	w.looks("inbox-case", full)

	before := w.chance(fuse)
	w.chooses("#node", blown.Part)
	w.write("#volts", "0")
	w.click("#reading button")
	w.says(".note.good", w.speak.T("inbox.kept.reading"))
	w.says(".kept", w.speak.T("figure.kind.fuse"), w.speak.T("inbox.volts.of", "Volts", "0"), "Tove Hale")
	if after := w.chance(fuse); after < before+10 {
		w.Errorf("with no volts after it, a blown fuse is %d %% likely, before %d %%", after, before)
	}
	w.looks("inbox-case-measured", full)

	w.chooses("#what", blown.String())
	w.write("#note", "0 V")
	w.click("#finding button")
	w.says("main", w.speak.T("inbox.kept.finding"), w.speak.T("inbox.was-found", "What", fuse))
	w.looks("inbox-case-closed", full)
	w.click(`.desks a[href="/desk/inbox"]`)
	w.says("main", w.speak.T("inbox.open", "Count", 0), w.speak.T("inbox.open.none"), w.speak.T("inbox.closed"))
	w.says(row, g.there.Tag, fuse)
	w.looks("inbox-closed", glance)
	w.click(`.desks a[href="/desk/inbox/lessons"]`)
	w.says("main", w.speak.T("inbox.missed.calls", "Count", 1))
	w.says("tbody tr", fuse, w.speak.T("inbox.missed.nothing")) // the call was right
	w.looks("inbox-lessons", full)
	w.signOut("/desk/inbox/lessons")
}

// chooses chooses in a list: what a browser drops down, nothing can point at.
func (w *walk) chooses(list, option string) {
	w.Helper()
	if got := eval[string](w, `(e => (e.value = `+quoted(option)+`, e.value))(document.querySelector(`+quoted(list)+`))`); got != option {
		w.Fatalf("%s: %s has no %q", w.at(), list, option)
	}
}

var wholeNumber = regexp.MustCompile(`[0-9]+`)

// chance is how likely the case that is open says a cause to be, in percent.
func (w *walk) chance(cause string) int {
	w.Helper()
	likely := eval[map[string]string](w, `Object.fromEntries([...document.querySelector(".chances").children].map(e =>
		[e.querySelector("span").textContent.replace(/\s+/g, " ").trim(), e.querySelector("bdi").textContent]))`)
	n, err := strconv.Atoi(wholeNumber.FindString(likely[strings.Join(strings.Fields(cause), " ")]))
	if err != nil {
		w.Fatalf("%s: how likely is %q in %q?", w.at(), cause, likely)
	}
	return n
}
