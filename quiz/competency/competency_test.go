package competency

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"testing"
	_ "time/tzdata" // the zones, on any machine

	"lampwright/locales/problem"
)

func TestEmbedded(t *testing.T) {
	var ids []string
	for _, c := range All() {
		ids = append(ids, c.ID)
		if Find(c.ID) == nil || Find(c.ID).ID != c.ID {
			t.Errorf("%s is not found", c.ID)
		}
	}
	if len(ids) < 2 || ids[0] != PowerSources || Find("moon") != nil {
		t.Errorf("got %q", ids)
	}
}

// The version of a checklist stands on sign-offs: other items, or another
// anchor, are another version.
func TestAnotherChecklistIsAnotherVersion(t *testing.T) {
	want := map[string]string{
		"power-sources 1": "956fcb45",
		"going-out 1":     "883c4ba8",
	}
	for _, c := range All() {
		sum := sha256.Sum256(fmt.Appendf(nil, "%v %v", c.Items, c.Rating))
		name := c.ID + " " + c.Version
		if got := hex.EncodeToString(sum[:4]); got != want[name] {
			t.Errorf("%s is %s, expected %s: other items are another version", name, got, want[name])
		}
	}
}

func TestMissing(t *testing.T) {
	l, s := Evidence{Lessons: []string{"a"}}.Missing([]string{"a", "b"}, []string{"x"})
	if len(l) != 1 || l[0] != "b" || len(s) != 1 {
		t.Error(l, s)
	}
}

// What the server asks of the one competency it knows.
func TestPresent(t *testing.T) {
	if err := Signable(true, all(present), PassingRating); err != nil {
		t.Fatal(err)
	}
	for _, it := range Checklist {
		seen := all(present)
		delete(seen, it.ID)
		if err := Signable(true, seen, HighestRating); (err != nil) != it.Critical {
			t.Errorf("%s missed: %v", it.ID, err)
		}
	}
	for name, err := range map[string]error{
		"lessons missing": Signable(false, all(present), 5), "no rating": Signable(true, all(present), 0),
		"low rating": Signable(true, all(present), 2), "rating off the scale": Signable(true, all(present), 9),
	} {
		if !problem.Is(err, problem.Invalid) {
			t.Errorf("%s: %v", name, err)
		}
	}
	end := moment("2027-11-26 08:00")
	for _, c := range []struct {
		version, at string
		want        Standing
	}{
		{"v1", "2027-05-26 08:00", Current},
		{"v1", "2027-10-27 07:59", Current},
		{"v1", "2027-10-27 08:00", Soon},
		{"v1", "2027-11-26 07:59", Soon},
		{"v1", "2027-11-26 08:00", Lapsed},
		{"v2", "2027-05-26 08:00", Changed},
		{"v2", "2027-11-26 08:00", Lapsed},
	} {
		if got := Stands("v1", c.version, end, moment(c.at)); got != c.want {
			t.Errorf("%s at %v: %s, want %s", c.version, c.at, got, c.want)
		} else if got.Holds() != (c.want == Current || c.want == Soon) {
			t.Errorf("%s holds: %t", got, got.Holds())
		}
	}
}

func all(c *Competency) map[string]bool {
	seen := map[string]bool{}
	for _, it := range c.Items {
		seen[it.ID] = true
	}
	return seen
}
