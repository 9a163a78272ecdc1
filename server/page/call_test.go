package page_test

import (
	"github.com/a-h/templ"

	"lampwright/lessons"
	"lampwright/locales"
	"lampwright/server/page"
)

// Pages that say whom to call: with all that a programme may add, and with
// lines that have their hours.
func init() {
	local := page.Local{Programme: "Alder <Bay>", Language: "en", Dir: "ltr", Text: "TEXT <b>", Cautions: []string{"ONE", "TWO <i>"}}
	samples["call"] = func(s locales.Speaker) templ.Component {
		f := frame(s, "page.call.title")
		f.Lines.Chair, f.Lines.ChairHours, f.Local = "+1 (555) 0130", "09:00–17:00", local
		return page.CallPage(f)
	}
	samples["call-hours"] = func(s locales.Speaker) templ.Component {
		f := frame(s, "page.call.title")
		f.Lines.ClinicalHours, f.Lines.Hours = "07:00–21:00", ""
		f.Local = page.Local{Programme: "Alder Bay", Language: "en", Dir: "ltr", Cautions: []string{"ONE"}}
		return page.CallPage(f)
	}
	samples["stopped"] = func(s locales.Speaker) templ.Component {
		f := frame(s, "page.stopped")
		f.Local = local
		return page.CardPage(page.Card{Frame: f, Lesson: lessons.Lesson{
			Title: "STOPPED", Language: s.Tag, Dir: s.Dir, Version: "v1", Cards: []lessons.Card{{Title: "CARD", HTML: "<p>WORDS</p>"}},
		}})
	}
}
