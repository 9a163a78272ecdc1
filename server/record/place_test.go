package record

import (
	"testing"

	"lampwright/locales/problem"
)

// Only where someone stopped last on a set-up is kept.
func TestPlaces(t *testing.T) {
	t.Parallel()
	s := house(t)
	if _, err := s.PlaceOf(ctx, site, "ines", "chair-12"); !problem.Is(err, problem.Unknown) {
		t.Errorf("not begun: %v", err)
	}
	for _, p := range []Place{{"chain", 2}, {"chain", 3}, {"joints", 1}} {
		if err := s.PutPlace(ctx, site, "ines", "chair-12", p, noon); err != nil {
			t.Fatal(err)
		}
		if got, err := s.PlaceOf(ctx, site, "ines", "chair-12"); err != nil || got != p {
			t.Errorf("got %+v, %v, expected %+v", got, err, p)
		}
	}
	if err := s.PutPlace(ctx, site, "nobody", "chair-12", Place{"chain", 1}, noon); err == nil {
		t.Error("someone who is not there has a place")
	}
	if err := s.PutPlace(ctx, site, "ines", "chair-12", Place{"chain", 0}, noon); err == nil {
		t.Error("a card before the first")
	}
}
