package competency

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"testing"
	_ "time/tzdata" // the zones, on any machine
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

// present is what most of these tests are about.
var present = Find(PowerSources)

func all(c *Competency) map[string]bool {
	seen := map[string]bool{}
	for _, it := range c.Items {
		seen[it.ID] = true
	}
	return seen
}
