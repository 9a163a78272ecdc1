package page_test

import (
	"github.com/a-h/templ"

	"lampwright/locales"
	"lampwright/server/page"
)

func init() {
	head := func(s locales.Speaker) page.CheckHead {
		return page.CheckHead{Setup: "Chair 12", Purpose: s.T("selfcheck.for.now"), Minutes: s.T("selfcheck.minutes", "Count", 11), Back: "/check/chair-12?for=now"}
	}
	samples["selfcheck-ask"] = func(s locales.Speaker) templ.Component {
		return page.CheckAskPage(page.CheckAsk{
			Frame: frame(s, "selfcheck.ask.panel"), Head: head(s), Again: true, How: []string{"HOW", "<b>"},
			Answers: []page.CheckAnswer{{Link: "/check/chair-12?for=now&did=a%3Ab", Text: `<"yes">`, Figure: "<svg></svg>"}, {Link: "/check/no", Text: "NO", Bad: true}},
			More:    "/check/more", Unclear: page.CheckAnswer{Link: "/check/unclear", Text: s.T("selfcheck.unclear")},
		})
	}
	samples["selfcheck-care"] = func(s locales.Speaker) templ.Component {
		return page.CheckCarePage(page.CheckCare{
			Frame: frame(s, "selfcheck.care"), Head: head(s), Action: "/check/chair-12", Hidden: []page.Hidden{{Name: "did", Value: `person:"ok"`}},
		})
	}
	samples["selfcheck-do"] = func(s locales.Speaker) templ.Component {
		return page.CheckDoPage(page.CheckDo{
			Frame: frame(s, "selfcheck.do.plug-in"), Head: head(s), Caution: s.T("selfcheck.do.plug-in.caution"), Alone: true, Done: "/check/done", Cannot: "/check/stop",
		})
	}
	samples["selfcheck-end"] = func(s locales.Speaker) templ.Component {
		f := frame(s, "selfcheck.end.call")
		f.Token = "TOKEN"
		return page.CheckEndPage(page.CheckEnd{
			Frame: f, Head: head(s), Ending: "call", Reason: s.T("gate.bag-first"), Instead: page.CheckAnswer{Link: "/check/bag", Text: s.T("selfcheck.bag-now")},
			Tells: []string{"ONE", "TWO"}, Line: s.T("page.line.technologist"), Number: "555-0120", Hours: "08:00–18:00",
			Say: []page.CheckSay{{Lines: []string{"TAG <b>"}}, {Title: "SEEN", Lines: []string{"A", "B"}, Ordered: true}},
			QR:  page.QR{Size: 29, Path: "M4 4h7v1h-7z"}, QRText: "TAG\nA", Wrong: s.T("problem.internal"), Callback: `"555`, Action: "/check/chair-12/report", Key: "KEY",
			Hidden: []page.Hidden{{Name: "did", Value: "person:ok"}}, Again: "/check/chair-12",
		})
	}
	samples["selfcheck-emergency"] = func(s locales.Speaker) templ.Component {
		return page.CheckEndPage(page.CheckEnd{
			Frame: frame(s, "selfcheck.end.emergency"), Head: head(s), Ending: "emergency", Emergency: true, Tells: []string{"ONE"}, Sent: true,
			Line: s.T("page.line.rescue"), QR: page.QR{Size: 29}, Again: "/check/chair-12",
		})
	}
}
