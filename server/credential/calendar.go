package credential

import (
	"strings"
	"time"
	"unicode"

	ics "github.com/arran4/golang-ical"

	"lampwright/locales"
)

// Lapse is a sign-off that ends, as a calendar shows it: of which set-up, and
// never whose.
type Lapse struct {
	ID       string // of whose sign-off on which set-up: the same when it is signed anew
	SetupTag string
	LastDay  time.Time // the day of this time, where it stands, is the last that counts
	Sequence int       // higher with every change
	Changed  time.Time // when it was last changed
}

// alarms are before the last day: at nine in the morning, not at midnight, a
// month before and a week before (common practice, no source).
var alarms = []string{"-P29DT15H", "-P6DT15H"}

// Calendar is the feed of lapses, for a calendar program to fetch (RFC 5545).
// The same lapses are the same bytes.
func Calendar(lapses []Lapse, say locales.Speaker) []byte {
	cal := ics.NewCalendar()
	cal.SetProductId("-//Lampwright//Lapses//" + strings.ToUpper(say.Tag))
	cal.SetName(say.T("credential.calendar.name"))
	cal.SetRefreshInterval("P1D")
	for _, l := range lapses {
		tag := plainText(l.SetupTag)
		event := cal.AddEvent(uuid("lapse", l.ID))
		event.SetDtStampTime(l.Changed)
		event.SetModifiedAt(l.Changed)
		event.SetSequence(l.Sequence)
		event.SetAllDayStartAt(l.LastDay)
		event.SetAllDayEndAt(l.LastDay.AddDate(0, 0, 1))
		event.SetTimeTransparency(ics.TransparencyTransparent)
		event.SetSummary(say.T("credential.calendar.lapses", "Setup", tag))
		event.SetDescription(say.T("credential.calendar.description"))
		for _, before := range alarms {
			alarm := event.AddAlarm()
			alarm.SetAction(ics.ActionDisplay)
			alarm.SetTrigger(before)
			alarm.SetDescription(say.T("credential.calendar.lapses", "Setup", tag))
		}
	}
	return []byte(cal.Serialize(ics.WithNewLineWindows))
}

// plainText leaves out what a calendar's text cannot hold: the library escapes
// line feeds but writes a lone CR as it is, and that would break the line.
func plainText(s string) string {
	s = strings.ToValidUTF8(s, "\ufffd")
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, s))
}
