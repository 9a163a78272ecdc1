package page

import "strings"

// Paper is where the cards of a set-up are, to be printed; zero where no
// set-up is known.
type Paper struct{ Setup, Card, Stopped string }

// SetupCard is one sheet for the wall: what the panel shows and what to do.
type SetupCard struct {
	Frame
	Model string
	Rows  []CardRow
	Level bool   // the screen shows a level, which is no source
	Wrong string // what to do when something is wrong
	Stamp Stamp
}

// CardRow is a source: how the panel shows it, and what to do.
type CardRow struct {
	Source, Panel, Signs, Do string
	Call                     bool // the emergency number, as the last of what to do
}

// StoppedCard is one sheet for the wall: the ventilator stopped.
type StoppedCard struct {
	Card
	Stamp Stamp
}

// Stamp is what a card was made from, and when.
type Stamp struct{ Setup, Lessons, Date string }

// long tags take smaller letters.
func long(tag string) bool { return len([]rune(tag)) > 16 }

// much to say takes smaller letters too.
func (l Local) much() bool { return len([]rune(l.Text+strings.Join(l.Cautions, ""))) > 300 }

// printedLine is a line to call as a card has room for it.
type printedLine struct{ name, hours, number string }

// printed are the lines to call after the emergency number.
func (l Lines) printed(f Frame, chair bool) (out []printedLine) {
	add := func(number, key, hours string) {
		if number == "" {
			return
		}
		if hours == "" && key != "page.line.clinical" { // whose name says it
			hours = f.T("page.line.always")
		}
		out = append(out, printedLine{f.T(key), hours, number})
	}
	add(l.Clinical, l.ClinicalKey(), l.ClinicalHours)
	add(l.Technologist, "page.line.technologist", l.Hours)
	if chair {
		add(l.Chair, "page.line.chair", l.ChairHours)
	}
	return out
}
