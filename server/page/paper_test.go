package page_test

import (
	"strings"

	"github.com/a-h/templ"

	"lampwright/lessons"
	"lampwright/locales"
	"lampwright/server/page"
)

// Cards on paper: with every line and much of the programme's own words, and
// with no number at all; and the pages that lead to them.
func init() {
	at := page.Paper{Setup: "Chair <12>", Card: "/paper/chair-12", Stopped: "/paper/chair-12/stopped"}
	stamp := page.Stamp{Setup: "5bfd1a81", Lessons: "b901f0f6", Date: "2026-11-27"}
	samples["paper"] = func(s locales.Speaker) templ.Component {
		f := frame(s, "paper.print")
		f.Paper, f.Lines.Chair, f.Lines.ChairHours, f.Lines.Hours = at, "555-0130", "09:00", ""
		return page.SetupCardPage(page.SetupCard{
			Frame: f, Model: "Heron", Level: true, Wrong: s.T("paper.hands-off"), Stamp: stamp,
			Rows: []page.CardRow{
				{Source: "SOURCE", Panel: "<svg></svg>", Signs: "SIGNS <b>", Do: s.T("paper.do.mains")},
				{Source: "OTHER", Panel: "<svg></svg>", Signs: "SIGNS", Do: s.T("paper.do.none"), Call: true},
			},
		})
	}
	samples["paper-stopped"] = func(s locales.Speaker) templ.Component {
		f := frame(s, "page.stopped")
		f.Paper, f.Lines = at, page.Lines{}
		f.Paper.Setup = "A tag that takes a line of its own <b>"
		f.Local = page.Local{Programme: "Alder Bay", Language: "en", Dir: "ltr", Text: strings.Repeat("TEXT ", 61)}
		return page.StoppedCardPage(page.StoppedCard{Stamp: stamp, Card: page.Card{Frame: f, Lesson: lessons.Lesson{
			Title: "STOPPED", Language: "en", Dir: "ltr", Version: "v1", Notice: lessons.Missing, Cards: []lessons.Card{{Title: "CARD", HTML: "<p>WORDS</p>"}},
		}}})
	}
	samples["shelf"] = func(s locales.Speaker) templ.Component {
		f := frame(s, "page.lessons")
		f.Paper = at
		return page.ShelfPage(page.Shelf{
			Frame: f, Setup: at.Setup, Check: "/check/chair-12", Outing: "/outing/chair-12", SignIn: "/sign-in?set-up=chair-12", Figures: "/figures/chair-12",
			Lessons: []page.Step{{Title: "LESSON", Link: "/a", Again: "/b"}},
		})
	}
}
