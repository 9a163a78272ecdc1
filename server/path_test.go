package server_test

import (
	"strings"
	"testing"
	"time"
)

// TestPlace: a learner goes on where reading stopped; a first card is no place,
// nor is what another reads.
func TestPlace(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	r, other := h.learner(t, rowan, "en"), h.learner(t, samira, "en")
	const card = "/lessons/chair-12/chain/2"
	link := func(r *reader) bool { return strings.Contains(r.get("/me").body, `href="`+card+`"`) }
	r.get("/lessons/chair-12/chain/1").wants(t, 200)
	if link(r) {
		t.Error("a place before anything was read")
	}
	r.get(card).wants(t, 200)
	for deadline := time.Now().Add(5 * time.Second); !link(r); { // it is kept beside the page
		if time.Now().After(deadline) {
			t.Fatal("no place to go on from")
		}
		time.Sleep(20 * time.Millisecond)
	}
	if link(other) {
		t.Error("somebody else's place")
	}
}
