package page_test

import (
	"github.com/a-h/templ"

	"lampwright/locales"
	"lampwright/server/page"
)

func init() {
	samples["feed"] = func(s locales.Speaker) templ.Component {
		return page.FeedPage(page.FeedMade{Frame: desk(s, "leaves.calendar"), Link: "http://h/calendar/<T>.ics", Scope: "site"})
	}
}
