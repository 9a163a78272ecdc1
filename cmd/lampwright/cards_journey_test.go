package main

import (
	"math"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"lampwright/locales"
)

// A learner's card, and the slips of everyone who is invited at once, on paper.
func TestCardsJourney(t *testing.T) {
	start := browse(t)
	for _, l := range locales.Languages {
		t.Run(l.Tag, func(t *testing.T) {
			start(t, traveller{lang: l.Tag, dir: l.Dir, setup: "chair-12", card: "HERON-12", pin: "4821", name: "Rowan Teal"}).carries()
		})
	}
}

func (w *walk) carries() {
	w.speaks()
	w.open("/desk")
	w.staffSignsIn("idris", "quiet-orchard-6", "/desk/people")
	w.click(`main a[href="/desk/people/demo-rowan"]`)
	w.click(`main a[href="/desk/learners/demo-rowan/card"]`)
	w.says(".id-card", w.name, w.card)
	w.looks("learner-card", full)
	w.cutOut(1)
	w.fitsOn(1)

	// Names of every length, and one that is all broad letters.
	rows := []string{"external_id,given_name,family_name,role,site_code,group,language,start_date,active"}
	for i, row := range []string{
		"Noura,Belmar,learner,main,Tidewater,fr", "Huda,Sabbagh,learner,main,Tidewater,ar", "Teodor,Lisk,learner,main,Nights,en", "Ilse,Brandt,educator,main,," + w.lang,
		"Theodora Wilhelmina,Fitzwilliam-Ashcombe of the Northern Reaches,learner,main,," + w.lang,
		strings.Repeat("W", 40) + "," + strings.Repeat("W", 39) + ",learner,main,," + w.lang,
	} {
		rows = append(rows, "AG-"+string(rune('1'+i))+","+row+",,true")
	}
	w.open("/desk/import")
	w.chooses("#text", strings.Join(rows, "\n"))
	w.click("main form .go")
	w.click("main form .go")
	w.click(`main a[href="/desk/invitations"]`)
	w.looks("invitations", full)
	w.click("main form .go")
	w.says(".slip:nth-of-type(1)", "Huda Sabbagh")
	w.looks("slips", full)
	w.cutOut(5)
	w.fitsOn(2)

	// What the code of a card leads to: the PIN is next.
	w.signOut("/desk/people")
	w.open("/sign-in?card=" + w.card)
	w.looks("sign-in-card", glance)
	if at := eval[string](w, `document.querySelector("#who").value + " " + document.activeElement.id`); at != w.card+" secret" {
		w.Errorf("the sign-in stands at %q", at)
	}
	w.write("#secret", w.pin)
	w.click("main form button")
	w.isAt("/me")
}

// fitsOn holds the page that is open to a number of sheets, of either paper.
func (w *walk) fitsOn(sheetsWanted int) {
	w.Helper()
	for name, paper := range sheets {
		if n := w.sheetsOf(paper); n != sheetsWanted {
			w.Errorf("%s takes %d sheets of %s, not %d", w.at(), n, name, sheetsWanted)
		}
	}
}

// cutOut holds every card of a page to the size of ISO/IEC 7810 ID-1 on paper,
// to nothing cut off, to letters that can be read, and to a code that a phone
// takes: modules of a third of a millimetre.
func (w *walk) cutOut(cards int) {
	w.Helper()
	media := func(name string) {
		if _, err := chromedp.Call(w.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: name}); err != nil {
			w.Fatal(err)
		}
	}
	media("print")
	defer media("")
	found := eval[[]struct {
		Width, Height, Points, Module float64
		Out                           []string
		Torn                          string
	}](w, readCards)
	if len(found) != cards {
		w.Fatalf("%s: %d cards, not %d", w.at(), len(found), cards)
	}
	for i, c := range found {
		if math.Abs(c.Width-85.6) > 0.1 || math.Abs(c.Height-54) > 0.1 {
			w.Errorf("card %d is %.2f x %.2f mm", i, c.Width, c.Height)
		}
		if len(c.Out) > 0 {
			w.Errorf("card %d: cut off: %s", i, strings.Join(c.Out, " | "))
		}
		if c.Points < 6.5 || c.Module < 0.33 {
			w.Errorf("card %d: letters of %.1f points, modules of %.2f mm", i, c.Points, c.Module)
		}
		if c.Torn != "" && c.Torn != "avoid" {
			w.Errorf("slip %d may be torn by a page's end: %s", i, c.Torn)
		}
	}
}

// readCards reads every card: lengths in mm.
const readCards = `[...document.querySelectorAll(".id-card")].map((card) => {
	const mm = (px) => px / 96 * 25.4, face = card.querySelector(".face"), edge = face.getBoundingClientRect();
	const parts = [...face.querySelectorAll("p, svg")], boxes = parts.map((e) => e.getBoundingClientRect());
	const out = parts.filter((e, i) => {
		const b = boxes[i];
		return b.top < edge.top + 4 || b.bottom > edge.bottom - 4 || b.left < edge.left + 4 || b.right > edge.right - 4 || e.scrollWidth > e.clientWidth + 1 ||
			boxes.some((o, j) => j != i && b.left < o.right - 1 && o.left < b.right - 1 && b.top < o.bottom - 2 && o.top < b.bottom - 2);
	}).map((e) => e.textContent || "the code");
	const svg = face.querySelector("svg");
	return {
		width: mm(edge.width), height: mm(edge.height), out, torn: card.closest(".slip") ? getComputedStyle(card.closest(".slip")).breakInside : "",
		points: Math.min(...parts.filter((e) => e.tagName == "P").map((e) => parseFloat(getComputedStyle(e).fontSize) * 0.75)),
		module: mm(svg.getBoundingClientRect().width) / svg.viewBox.baseVal.width,
	};
})`
