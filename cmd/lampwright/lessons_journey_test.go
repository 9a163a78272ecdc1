package main

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"lampwright/locales"
)

// Every card, question and refresher of every lesson, on every set-up, in every
// language: nothing moves once it is shown, and, on one set-up a language, the
// engines find nothing. (The journey has them look at another.)
func TestLessonPages(t *testing.T) {
	start := browse(t)
	long := os.Getenv("LAMPWRIGHT_LONG") != ""
	closely := map[string]struct {
		setup   string
		schemes []string
	}{"en": {samira.setup, []string{"light"}}, "fr": {rowan.setup, []string{"dark"}}, "ar": {jules.setup, []string{"light"}}}
	// A window for each set-up: the wide kiosk, a phone, a tablet.
	windows := map[string][][2]int64{rowan.setup: {{1280, 800}}, samira.setup: {{390, 844}}, jules.setup: {{800, 1280}}}
	for _, who := range []traveller{rowan, samira, jules} {
		for _, l := range locales.Languages {
			reader := who
			reader.lang, reader.dir = l.Tag, l.Dir
			t.Run(who.setup+" "+l.Tag, func(t *testing.T) {
				p := lessonPages{walk: start(t, reader), windows: windows[who.setup]}
				switch {
				case long:
					p.windows, p.schemes = [][2]int64{{390, 844}, {800, 1280}, {1280, 800}}, []string{"light", "dark"}
				case closely[l.Tag].setup == who.setup:
					p.schemes = closely[l.Tag].schemes
				}
				p.read()
			})
		}
	}
}

// lessonPages is someone going through all of their lessons.
type lessonPages struct {
	*walk
	windows [][2]int64
	schemes []string // in which the engines look; none, none
	seen    int
}

func (p *lessonPages) read() {
	p.speaks()
	p.choosesMine()
	p.click(`main a[href="/sign-in?set-up=` + p.setup + `"]`)
	p.signIn()
	p.size(p.windows[0][0], p.windows[0][1])
	p.measures()
	for _, id := range p.lessons.IDs() {
		lesson, _ := p.lessons.Lesson(id, p.lang)
		slow := id == slowly && len(p.schemes) > 0
		if slow {
			p.line(20_000)
		}
		for n := range lesson.On(p.equipment).Cards {
			p.opens(fmt.Sprintf("/lessons/%s/%s/%d", p.setup, id, n+1))
		}
		p.opens("/lessons/" + p.setup + "/" + id + "/refresher")
		p.opens("/lessons/" + id + "/question")
		if len(p.schemes) > 0 {
			p.touch("label:has(" + value("option", lesson.Question.Options[0]) + ")")
			p.click("main form .go")
			p.finds("/lessons/" + id + "/question, answered")
		}
		if slow {
			p.line(0)
		}
	}
	p.Logf("%d pages", p.seen)
}

// slowly is the lesson that comes over a slow line, where a page is shown
// before all of it is there: it has most of the figures.
const slowly = "chain"

// line makes the browser's line so many bytes a second, 0 for no bound, and
// has it ask for everything anew.
func (p *lessonPages) line(speed float64) {
	p.Helper()
	var rules []*network.Conditions
	if speed > 0 {
		rules = []*network.Conditions{{Latency: 50, DownloadThroughput: speed, UploadThroughput: speed}}
	}
	_, err := chromedp.Call(p.ctx, network.EmulateNetworkConditionsByRule, network.EmulateNetworkConditionsByRuleParams{MatchedNetworkConditions: rules})
	if err == nil {
		_, err = chromedp.Call(p.ctx, network.SetCacheDisabled, network.SetCacheDisabledParams{CacheDisabled: speed > 0})
	}
	if err != nil {
		p.Fatal(err)
	}
}

// opens opens a page and holds it to standing still, in each window.
func (p *lessonPages) opens(path string) {
	p.Helper()
	for _, s := range p.windows {
		if len(p.windows) > 1 {
			p.size(s[0], s[1])
		}
		// With too much to do, a browser may draw a page once in the middle of
		// a line; what does move, moves each time.
		var moved movement
		for range 3 {
			p.open(path)
			if moved = p.moved(); moved.Sum == 0 {
				break
			}
		}
		if moved.Sum != 0 {
			p.Errorf("%s at %d px shifts by %g: %s", path, s[0], moved.Sum, strings.Join(moved.What, " | "))
		}
		p.seen++
		p.finds(fmt.Sprintf("%s at %d px", path, s[0]))
	}
}

// finds has the engines look at the page that is open.
func (p *lessonPages) finds(where string) {
	p.Helper()
	if len(p.schemes) == 0 {
		return
	}
	p.inject()
	for _, scheme := range p.schemes {
		p.theme(scheme)
		p.accessible(where+" "+scheme, p.axe, p.ace)
	}
}

// movement is how far a page has shifted since it was opened, as a share of
// the window, and what did.
type movement struct {
	Sum  float64
	What []string
}

// shifts gathers what the browser has measured, after two more frames: what
// comes late moves by then.
const shifts = `new Promise((done, failed) => {
	const sum = {sum: 0, what: []};
	const add = entries => {
		for (const e of entries) {
			sum.sum += e.value;
			sum.what.push(...e.sources.map(s => s.node?.outerHTML?.slice(0, 80) ?? "what is gone"));
		}
	};
	const observer = new PerformanceObserver(list => add(list.getEntries()));
	observer.observe({type: "layout-shift", buffered: true});
	setTimeout(failed, 10000, "no frame is drawn");
	requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(() => {
		add(observer.takeRecords());
		done(sum);
	})));
})`

func (p *lessonPages) moved() movement {
	p.Helper()
	return eval[movement](p.walk, shifts, chromedp.EvalAwaitPromise)
}

// measures proves that what moves is measured, and what is amiss is found.
func (p *lessonPages) measures() {
	p.Helper()
	p.open("/me")
	if moved := p.moved(); moved.Sum != 0 {
		p.Errorf("%s shifts by %g: %s", p.at(), moved.Sum, moved.What)
	}
	eval[chromedp.Void](p.walk, `(() => {
		const late = document.createElement("div");
		late.style.height = "100px";
		document.querySelector("main").prepend(late);
	})()`)
	if moved := p.moved(); moved.Sum == 0 || len(moved.What) == 0 {
		p.Errorf("what was put in late moves nothing: %v", moved)
	}
	if len(p.schemes) == 0 {
		return
	}
	p.inject()
	eval[chromedp.Void](p.walk, `document.querySelector("main").innerHTML = '<img src="data:,"><input>'`)
	if axe, ace := p.axe(), p.ace(); len(axe) < 2 || len(ace) < 2 {
		p.Errorf("an image and a field without names: axe finds %q, ace %q", axe, ace)
	}
}
