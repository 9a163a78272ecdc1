package page

import "lampwright/locales"

// LearnerCard is what a learner carries: the size of a bank card, in their
// language.
type LearnerCard struct {
	locales.Speaker
	Programme, Name, Code string
	Address               string // where they sign in
	QR                    QR     // the same, with the code filled in
}

// PrintedCard is a learner's card, to print.
type PrintedCard struct {
	Frame
	HereOnly string // the address, where only this machine reaches it
	Card     LearnerCard
}

// Team is how many of a team are still to come in.
type Team struct {
	Name  string
	Count int
}

// Invitations is who is still to come in, to be invited at once.
type Invitations struct {
	Frame
	Read     string // when this was read
	Rows     []PersonRow
	Teams    []Team
	Invited  int    // of them
	HereOnly string // the address, where only this machine reaches it
	Most     int    // on a page
}

// Slip is an invitation as it is handed over, in the language of whom it is
// for; Card is of learners only.
type Slip struct {
	locales.Speaker
	Programme, Name, Username string
	Address, Token, Until     string // the server's, and what opens the way in
	QR                        QR
	Card                      LearnerCard
}

// Slips are invitations on paper.
type Slips struct {
	Frame
	Slips []Slip
	Left  int // who found no room
}

// crowded is a card whose words need smaller letters.
func (c LearnerCard) crowded() bool {
	return len([]rune(c.Programme)) > 40 || len([]rune(c.Name)) > 36 || len(c.Address) > 48
}
