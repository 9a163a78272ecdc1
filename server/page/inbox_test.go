package page_test

import (
	"github.com/a-h/templ"

	"lampwright/locales"
	"lampwright/server/page"
)

// desk is the frame of a page at the desk.
func desk(s locales.Speaker, titleKey string) page.Frame {
	f := frame(s, titleKey)
	f.Signed, f.Name, f.Home, f.Token, f.Idle = true, "Tove <b>", "/desk/inbox", "TOKEN", 900
	f.Desks = []page.Step{{Title: "DESK<", Link: "/desk/inbox", Done: true}}
	return f
}

func init() {
	samples["inbox"] = func(s locales.Speaker) templ.Component {
		row := page.Outage{
			ID: "o1", Setup: "Chair 12", First: "2026-03-02 09:00", Last: "2026-03-02 09:40", Ago: s.T("inbox.ago.minutes", "Count", 3), Reports: 2,
			Ending: s.T("inbox.ending.call-technologist"), Language: "العربية", Callback: `555-0123<b>`, Likely: "LIKELY",
		}
		none, closed := row, row
		none.ID, none.Callback, none.Likely, none.Emergency = "o2", "", s.T("inbox.nothing-seen.short"), true
		closed.ID, closed.Found, closed.Ago, closed.Callback, closed.Forgotten = "o3", s.T("inbox.found.not-found"), "", "", true
		return page.InboxPage(page.Inbox{
			Frame: desk(s, "inbox.title"), Open: []page.Outage{none, row}, Closed: []page.Outage{closed}, More: true,
			Forgets: s.T("inbox.callback.forgets", "Found", 7, "Most", 30),
		})
	}
	samples["inbox-case"] = func(s locales.Speaker) templ.Component {
		return page.CasePage(page.Case{
			Frame: desk(s, "inbox.title"), ID: "o1", Setup: "Chair 12", Found: "FOUND", Emergency: true,
			Then: []page.Chance{{Text: "THEN", Percent: s.T("inbox.percent.most")}}, ThenBy: s.T("inbox.then.by", "Model", "2", "Content", "–"), Kept: s.T("inbox.kept.finding"),
			Sent: []page.Sent{
				{At: "2026-03-02 09:40", Ending: s.T("inbox.ending.unknown"), Language: "English", Emergency: true, Forgotten: true},
				{
					At: "2026-03-02 09:00", Purpose: s.T("inbox.purpose.shift"), Care: s.T("inbox.care.mains"), Ending: s.T("inbox.ending.say-untrusted"),
					Language: "العربية", Callbacks: []string{"555-0123", `<i>`}, Times: s.T("inbox.times", "Count", 3, "First", "2026-03-02 08:00"), Lines: []page.Evidence{{Text: "SEEN <b>"}, {Text: "ODD", Differs: true}}, Ranked: true,
				},
			},
			Causes: []page.Chance{{Text: "CAUSE", Percent: s.T("inbox.percent", "Percent", 61)}}, Spares: []page.Chance{{Text: "SPARE", Percent: s.T("inbox.percent.least")}},
			Nodes:     []page.Node{{Name: "NODE", Expected: []page.Expected{{Volts: s.T("inbox.volts.between", "Least", "0.0", "Most", "0.1"), Causes: []string{"A", "B"}}, {Volts: "V", Causes: []string{"C"}}}}},
			NodeNames: []page.Option{{Value: "fuse", Text: "FUSE"}, {Value: "plug", Text: "PLUG"}}, ReadingNode: "plug", ReadingKey: "KEY-R",
			Readings: []page.Reading{{Node: "FUSE", Volts: s.T("inbox.volts.of", "Volts", "-24.6"), At: "10:00", By: "Mara", Old: true}},
			Reading:  page.Field{Name: "volts", Label: s.T("inbox.volts"), Value: `"<`, Hint: s.T("inbox.volts.hint", "Most", 100, "Such", "24.6"), Wrong: s.T("problem.reading", "Most", 100)},
			Findings: []page.Found{{Text: "FOUND", At: "11:00", By: "Mara", Note: `<i>`}, {Text: "BEFORE", At: "10:30", By: "Mara", Old: true}},
			Groups:   []page.OptionGroup{{Name: "FUSE", Options: []page.Option{{Value: "fuse=blown", Text: "BLOWN"}}}}, What: "fuse=blown",
			Note: page.Field{Name: "note", Label: s.T("inbox.note")}, FindingKey: "KEY-F", Seq: 3,
		})
	}
	samples["inbox-nothing-seen"] = func(s locales.Speaker) templ.Component {
		return page.CasePage(page.Case{
			Frame: desk(s, "inbox.title"), ID: "o1", Setup: "Chair 12", Emergency: true, NothingSeen: true,
			Sent:      []page.Sent{{At: "2026-03-02 09:40", Ending: s.T("inbox.ending.call-rescue"), Care: s.T("inbox.care.unasked"), Language: "English", Emergency: true, Lines: []page.Evidence{{Text: "SEEN"}}}},
			NodeNames: []page.Option{{Value: "fuse", Text: "FUSE"}}, ReadingKey: "KEY-R", FindingKey: "KEY-F", Seq: 1,
			Reading: page.Field{Name: "volts", Label: s.T("inbox.volts")}, Note: page.Field{Name: "note", Label: s.T("inbox.note")},
		})
	}
	samples["inbox-lessons"] = func(s locales.Speaker) templ.Component {
		return page.MissedPage(page.WhatCallersMiss{Frame: desk(s, "inbox.missed"), Calls: 4, Rows: []page.Missed{
			{What: "SWITCH", Count: 3, Slips: []string{s.T("inbox.slip.called-fixable", "Count", 2)}, Lessons: []page.Step{{Title: "LESSON", Link: "/lessons/chair-12/your-panel/1"}}, Setups: []string{"Chair 12"}},
			{What: "FUSE", Count: 1},
		}})
	}
}
