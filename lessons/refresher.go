package lessons

import "slices"

// halfDone is the card of every lesson that the reader finishes.
const halfDone = "your-turn"

// Refresher is a lesson in three cards: the worked example, what is half done,
// and how it goes on; where nothing follows, what came before it.
func (l Lesson) Refresher() []Card {
	if len(l.Cards) <= 3 {
		return slices.Clone(l.Cards)
	}
	at := slices.IndexFunc(l.Cards, func(c Card) bool { return c.ID == halfDone })
	from := min(max(at, 1), len(l.Cards)-2)
	return append([]Card{l.Cards[0]}, l.Cards[from:from+2]...)
}
