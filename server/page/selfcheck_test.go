package page_test

import (
	"github.com/a-h/templ"

	"lampwright/locales"
	"lampwright/server/page"
)

func init() {
	head := func(s locales.Speaker) page.CheckHead {
		return page.CheckHead{Setup: "Chair 12", Purpose: s.T("selfcheck.for.now"), Minutes: s.T("selfcheck.minutes", "Count", 11), Still: true, Back: "/check/chair-12?for=now"}
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
			Fields: []page.CheckField{
				{Name: "mains", Of: []string{"yes", "no"}, Value: "no"},
				{Name: "with", Of: []string{"two", "alone"}, Wrong: "WRONG <b>"},
				{Name: "minutes", Value: `40 "min"`, Wrong: "NO NUMBER"},
			},
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
			Frame: f, Head: head(s), SayTitle: s.T("selfcheck.say.call"), Reason: s.T("gate.bag-first"), Instead: page.CheckAnswer{Link: "/check/bag", Text: s.T("selfcheck.bag-now")},
			Tells: []string{"ONE", "TWO"}, Calls: []page.CheckCall{{Line: s.T("page.line.technologist"), Number: "555-0120", Hours: "08:00–18:00"}},
			Say: []page.CheckSay{{Lines: []string{"TAG <b>"}}, {Title: "SEEN", Lines: []string{"A", "B"}, Ordered: true}},
			QR:  page.QR{Size: 29, Path: "M4 4h7v1h-7z"}, QRText: "TAG\nA", Wrong: s.T("problem.internal"), Callback: `"555`, Action: "/check/chair-12/report", Key: "KEY",
			Hidden: []page.Hidden{{Name: "did", Value: "person:ok"}}, Again: "/check/chair-12",
		})
	}
	samples["selfcheck-emergency"] = func(s locales.Speaker) templ.Component {
		return page.CheckEndPage(page.CheckEnd{
			Frame: frame(s, "selfcheck.end.emergency"), Head: head(s), SayTitle: s.T("selfcheck.say.emergency"), Emergency: true, Tells: []string{"ONE"}, Sent: true,
			Calls: []page.CheckCall{{Line: s.T("page.line.rescue"), Rescue: true}}, QR: page.QR{Size: 29}, Again: "/check/chair-12",
		})
	}
	samples["selfcheck-pressed"] = func(s locales.Speaker) templ.Component {
		return page.CheckEndPage(page.CheckEnd{
			Frame: frame(s, "selfcheck.end.call"), Head: head(s), SayTitle: s.T("selfcheck.say.call"), Pressed: true,
			Reason: s.T("gate.few-minutes"), Tells: []string{s.T("selfcheck.end.own.1")},
			Calls: []page.CheckCall{{Line: s.T("page.line.rescue"), Number: "555-0100", Rescue: true}, {Line: s.T("page.line.clinical"), Number: "555-0110"}},
			QR:    page.QR{Size: 29}, Again: "/check/chair-12",
		})
	}
}
