package server_test

import (
	"html"
	"regexp"
	"slices"
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

// TestGuestNeedsNoCard: who says "this is mine" comes to the self-check, an
// outing, the lessons and the cards on paper, and is sent to sign in nowhere
// on the way; a learner ends a lesson with its question.
func TestGuestNeedsNoCard(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	link, card := regexp.MustCompile(`<a [^>]*href="(/[^"]*)"`), regexp.MustCompile(`/[0-9]$`)
	links := func(a answer) (out []string) {
		_, main, _ := strings.Cut(a.wants(t, 200).body, "<main")
		main, _, _ = strings.Cut(main, "</main>")
		for _, m := range link.FindAllStringSubmatch(main, -1) {
			out = append(out, html.UnescapeString(m[1]))
		}
		return out
	}
	inEach(t, func(t *testing.T, language string) {
		guest, learner := h.reader(t, language), h.learner(t, rowan, language)
		const mine = "/lessons/chair-12"
		if all := links(guest.get("/looks")); !slices.Contains(all, mine) || slices.Contains(all, "/sign-in?set-up=chair-12") {
			t.Fatalf("the panels lead to %q", all)
		}
		all := links(guest.get(mine))
		if all[0] != "/check/chair-12" || !slices.Contains(all, "/outing/chair-12") || !slices.Contains(all, "/paper/chair-12") || !slices.Contains(all, "/sign-in?set-up=chair-12") {
			t.Errorf("a set-up's page leads to %q", all)
		}
		for len(all) > 0 {
			at := all[0]
			next := links(guest.get(at))
			if all = all[1:]; !card.MatchString(at) {
				continue
			}
			if on := next[len(next)-1]; on != mine {
				all = append(all, on)
			}
		}
		if all := links(learner.get(mine)); slices.Contains(all, "/sign-in?set-up=chair-12") {
			t.Error("a learner is asked to sign in again")
		}
		for at, want := range map[string]string{"1": "/me", "5": "/lessons/three-sources/question"} {
			if all := links(learner.get(mine + "/three-sources/" + at)); !slices.Contains(all, want) {
				t.Errorf("card %s leads a learner to %q", at, all)
			}
		}
	})
}
