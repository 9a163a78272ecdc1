package credential

import (
	"bytes"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	ics "github.com/arran4/golang-ical"
	"pgregory.net/rapid"

	"lampwright/locales"
)

var vancouver = time.FixedZone("", -8*3600)

func lapses() []Lapse {
	return []Lapse{
		{ID: "p7/chair-12", SetupTag: "Chair 12", LastDay: time.Date(2027, 3, 2, 0, 0, 0, 0, vancouver), Sequence: 2, Changed: at},
		{ID: "p8/chair-12", SetupTag: "Fauteuil de l’étage, côté jardin; n° 14 \\ Chaise haute avec plateau et support de ventilateur", LastDay: time.Date(2026, 12, 31, 23, 59, 0, 0, vancouver), Changed: at},
	}
}

func TestCalendar(t *testing.T) {
	for _, l := range locales.Languages {
		golden(t, "calendar."+l.Tag+".ics", Calendar(lapses(), spoken().Speak(l.Tag)))
	}
}

// unfolded are the lines of a calendar, checked for RFC 5545, 3.1: at most 75
// octets without the line end, CR LF, and no letter cut in two.
func unfolded(t interface {
	Helper()
	Fatalf(string, ...any)
}, calendar []byte,
) []string {
	t.Helper()
	text, ok := strings.CutSuffix(string(calendar), "\r\n")
	if !ok {
		t.Fatalf("the last line does not end")
	}
	var lines []string
	for _, line := range strings.Split(text, "\r\n") {
		if len(line) > 75 || !utf8.ValidString(line) || strings.ContainsAny(line, "\r\n") || line == "" {
			t.Fatalf("line of %d octets: %q", len(line), line)
		}
		if rest, ok := strings.CutPrefix(line, " "); ok {
			lines[len(lines)-1] += rest
			continue
		}
		lines = append(lines, line)
	}
	return lines
}

// texts are the values of a property, as they were before they were escaped
// (RFC 5545, 3.3.11).
func texts(lines []string, property string) []string {
	var found []string
	for _, line := range lines {
		if value, ok := strings.CutPrefix(line, property+":"); ok {
			found = append(found, strings.NewReplacer(`\\`, `\`, `\;`, `;`, `\,`, `,`, `\n`, "\n").Replace(value))
		}
	}
	return found
}

func TestCalendarFollowsTheRules(t *testing.T) {
	for _, l := range locales.Languages {
		lines := unfolded(t, Calendar(lapses(), spoken().Speak(l.Tag)))
		count := map[string]int{}
		for _, line := range lines {
			name, _, _ := strings.Cut(line, ":")
			count[name]++
			count[line]++
		}
		for what, want := range map[string]int{
			"VERSION:2.0": 1, "PRODID": 1, "BEGIN:VEVENT": 2, "UID": 2, "DTSTAMP": 2, "SEQUENCE": 2, "SEQUENCE:0": 1, "SEQUENCE:2": 1,
			"DTSTART;VALUE=DATE:20270302": 1, "DTEND;VALUE=DATE:20270303": 1, // DTEND is the day after (3.6.1)
			"DTSTART;VALUE=DATE:20261231": 1, "DTEND;VALUE=DATE:20270101": 1,
			"DTSTAMP:20260302T140506Z": 2, "BEGIN:VALARM": 4, "ACTION:DISPLAY": 4, "TRIGGER": 4, // 3.6.6
			"REFRESH-INTERVAL;VALUE=DURATION:P1D": 1, // RFC 7986, 5.7
			"METHOD":                              0, "BEGIN:VTIMEZONE": 0, "ATTENDEE": 0, "ORGANIZER": 0,
		} {
			if count[what] != want {
				t.Errorf("%s: %s is there %d times, expected %d", l.Tag, what, count[what], want)
			}
		}
		if n := len(texts(lines, "DESCRIPTION")); n != 2+4 {
			t.Errorf("%s: %d descriptions, expected one to an event and to an alarm", l.Tag, n)
		}
	}
}

// A sign-off that is signed anew moves its event: no second one appears.
func TestLapseThatMoves(t *testing.T) {
	before := lapses()[:1]
	after := lapses()[:1]
	after[0].LastDay, after[0].Sequence = after[0].LastDay.AddDate(1, 0, 0), 3
	uid := texts(unfolded(t, Calendar(before, english())), "UID")
	moved := unfolded(t, Calendar(after, english()))
	if got := texts(moved, "UID"); len(got) != 1 || got[0] != uid[0] {
		t.Errorf("UID %v, before %v", got, uid)
	}
	if got := texts(moved, "SEQUENCE"); got[0] != "3" {
		t.Errorf("SEQUENCE %v", got)
	}
	if !bytes.Equal(Calendar(before, english()), Calendar(before, english())) {
		t.Error("the same lapses, other bytes")
	}
}

func TestCalendarOfNothing(t *testing.T) {
	if lines := unfolded(t, Calendar(nil, english())); lines[0] != "BEGIN:VCALENDAR" || lines[len(lines)-1] != "END:VCALENDAR" {
		t.Error(lines)
	}
}

// Whatever a set-up is called, in whatever script: every line holds, and what
// comes out is what went in, but for what a calendar cannot hold.
func TestAnyTag(t *testing.T) {
	tags := rapid.OneOf(
		rapid.String(),
		rapid.StringOfN(rapid.RuneFrom([]rune("كرسي غرفة الجلوس ٣، \u2067\u2069")), 0, 120, -1),
		rapid.StringOfN(rapid.RuneFrom([]rune("fauteuil à l’étage, côté jardin\u00a0; n°œé")), 0, 120, -1),
		rapid.StringOfN(rapid.RuneFrom([]rune("\r\n\t\x00\x7f\\,;:\"<> 𝄞👩🏽‍🦽")), 0, 120, -1),
		rapid.Map(rapid.SliceOf(rapid.Byte()), func(b []byte) string { return string(b) }),
	)
	rapid.Check(t, func(t *rapid.T) {
		tag := tags.Draw(t, "tag")
		say := spoken().Speak(rapid.SampledFrom(locales.Languages).Draw(t, "language").Tag)
		calendar := Calendar([]Lapse{{ID: tag, SetupTag: tag, LastDay: at, Changed: at}}, say)
		want := say.T("credential.calendar.lapses", "Setup", plainText(tag))
		lines := unfolded(t, calendar)
		for _, got := range append(texts(lines, "SUMMARY"), texts(lines, "DESCRIPTION")[1:]...) {
			if got != want {
				t.Fatalf("got %q, expected %q", got, want)
			}
		}
		read, err := ics.ParseCalendar(bytes.NewReader(calendar))
		if err != nil {
			t.Fatal(err)
		}
		if events := read.Events(); len(events) != 1 || len(events[0].Alarms()) != 2 {
			t.Fatalf("%d events", len(events))
		}
	})
}
