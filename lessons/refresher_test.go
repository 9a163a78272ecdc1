package lessons_test

import "testing"

// A refresher is the worked example, what is half done, and how it goes on: three
// different cards of every lesson on every set-up.
func TestRefreshers(t *testing.T) {
	c := load(t)
	for _, id := range c.IDs() {
		l, _ := c.Lesson(id, "en")
		for _, s := range demos(t) {
			on := l.On(s)
			cards := on.Refresher()
			if len(cards) != 3 || cards[0].ID != on.Cards[0].ID || cards[0].ID == cards[1].ID || cards[1].ID == cards[2].ID {
				t.Errorf("%s on %s: %v", id, s.Tag, cards)
				continue
			}
			if cards[1].ID != "your-turn" && cards[2].ID != "your-turn" {
				t.Errorf("%s on %s: nothing is half done in %s, %s, %s", id, s.Tag, cards[0].ID, cards[1].ID, cards[2].ID)
			}
		}
	}
}
