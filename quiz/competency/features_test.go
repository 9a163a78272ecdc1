package competency

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// heron is how a set-up with three lamps and two inlets is described.
func heron() Features {
	return Features{
		Ventilator: "Heron",
		Panel:      Panel{Mains: "alternating-current", Chair: "direct-current", Internal: "battery"},
		Inlets:     2, Tap: "posts",
		Joints:     []Joint{{"black", "flat"}, {"grey", "notch"}},
		FuseHolder: "clear",
		Parts:      []string{"battery", "isolator", "tap", "fuse", "lead", "joint", "converter", "plug", "outlet", "cord", "adapter", "inlet", "switch", "internal", "lamp", "panel"},
	}
}

// Which changes must be shown again, each with its reason (common practice, no
// source).
func TestMaterial(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*Features)
		power  []Feature
		out    []Feature
		reason string
	}{
		"an equivalent loaner": {
			func(f *Features) { *f = heron() }, nil, nil,
			"same model, face, inlets, joints: nothing to see or do is other, whatever the serial number",
		},
		"its parts listed in another order": {
			func(f *Features) { slices.Reverse(f.Parts) }, nil, nil,
			"the order of a list is nothing in a set-up",
		},
		"a loaner of another model with the same face": {
			func(f *Features) { f.Ventilator = "Dunlin" },
			[]Feature{VentilatorModel},
			[]Feature{VentilatorModel},
			"alarms, minutes and how it stops differ by model",
		},
		"words instead of lamps": {
			func(f *Features) { f.Panel = Panel{"ON WALL SUPPLY", "ON CHAIR SUPPLY", "ON OWN BATTERY"} },
			[]Feature{PanelShows},
			[]Feature{PanelShows},
			"the source is read in another way",
		},
		"no lamp for internal": {
			func(f *Features) { f.Panel.Internal = "" },
			[]Feature{PanelShows},
			[]Feature{PanelShows},
			"a dark face now means internal, not stopped",
		},
		"one shared inlet": {
			func(f *Features) { f.Inlets, f.Shared = 1, true },
			[]Feature{InletsUsed},
			[]Feature{InletsUsed},
			"changing source opens the path now",
		},
		"both inlets stay, and one takes both sources": {
			func(f *Features) { f.Shared = true },
			[]Feature{InletsUsed},
			[]Feature{InletsUsed},
			"changing source opens the path now",
		},
		"a third inlet": {
			func(f *Features) { f.Inlets = 3 },
			[]Feature{InletsUsed},
			[]Feature{InletsUsed},
			"a plug can go where it does not belong",
		},
		"the tap moved behind the isolator": {
			func(f *Features) { f.Tap = "isolator" },
			[]Feature{TapPlace},
			[]Feature{TapPlace},
			"the chair's own switch now cuts the supply",
		},
		"the tap moved to one block": {
			func(f *Features) { f.Block = 1 },
			[]Feature{TapPlace},
			[]Feature{TapPlace},
			"the chair's gauge no longer tells what is left",
		},
		"a joint of another colour": {
			func(f *Features) { f.Joints[0].Colour = "white" },
			[]Feature{JointLooks},
			nil,
			"its partner is found by colour; who only takes the person out mates none",
		},
		"a joint of another key": {
			func(f *Features) { f.Joints[1].Key = "ridge" },
			[]Feature{JointLooks},
			nil,
			"what must not mate may mate now",
		},
		"a joint more": {
			func(f *Features) { f.Joints = append(f.Joints, Joint{"blue", "flat"}) },
			[]Feature{JointLooks},
			nil,
			"one place more to look at, and to leave alone",
		},
		"a covered fuse holder": {
			func(f *Features) { f.FuseHolder = "covered" },
			[]Feature{HolderKind},
			nil,
			"the fuse can no longer be read by looking",
		},
		"a joint may be re-mated now": {
			func(f *Features) { f.RemateJoint = true },
			[]Feature{PolicyAllows},
			nil,
			"it is allowed, and was never taught",
		},
		"a fuse holder may be opened now": {
			func(f *Features) { f.OpenHolder = true },
			[]Feature{PolicyAllows},
			nil,
			"it is allowed, and was never taught",
		},
		"the switch beside the inlet taken out": {
			func(f *Features) { f.Parts = without(f.Parts, "switch") },
			[]Feature{PartKinds},
			[]Feature{PartKinds},
			"a simple cause is gone",
		},
		"the isolator taken out": {
			func(f *Features) { f.Parts = without(f.Parts, "isolator") },
			[]Feature{PartKinds},
			[]Feature{PartKinds},
			"the first simple cause is gone",
		},
		"the fuse taken out of the chain": {
			func(f *Features) { f.Parts, f.FuseHolder = without(f.Parts, "fuse"), "" },
			[]Feature{HolderKind, PartKinds},
			nil,
			"nothing is left to read there",
		},
		"a diode put in": {
			func(f *Features) { f.Parts = append(f.Parts, "diode") }, nil, nil,
			"nobody looks at it or handles it",
		},
		"two changes": {
			func(f *Features) { f.Ventilator, f.Tap = "Plover", "port" },
			[]Feature{VentilatorModel, TapPlace},
			[]Feature{VentilatorModel, TapPlace},
			"each is named",
		},
	} {
		t.Run(name, func(t *testing.T) {
			before, after := heron(), heron()
			c.change(&after)
			for id, want := range map[string][]Feature{PowerSources: c.power, "going-out": c.out} {
				for _, way := range [][2]*Features{{&before, &after}, {&after, &before}} {
					if got := Find(id).Material(way[0], way[1]); !slices.Equal(got, want) {
						t.Errorf("%s: got %q, expected %q: %s", id, got, want, c.reason)
					}
				}
			}
		})
	}
}

// Only more dependent is a change: less time to act.
func TestMoreDependent(t *testing.T) {
	for name, c := range map[string]struct {
		before, after float64
		material      bool
	}{
		"some minutes, and now none": {15, 0, true},
		"long, and now some minutes": {60, 10, true},
		"long, and now none":         {20, 0, true},
		"none, and now some minutes": {0, 15, false},
		"some minutes, and now long": {15, 45, false},
		"a few minutes less":         {15, 12, false},
		"long, and a little less":    {60, 20, false},
		"as before":                  {0, 0, false},
	} {
		t.Run(name, func(t *testing.T) {
			before, after := heron(), heron()
			before.Unaided, after.Unaided = c.before, c.after
			for _, comp := range All() {
				if got := comp.Material(&before, &after); slices.Contains(got, DependenceBand) != c.material || len(got) > 1 {
					t.Errorf("%s: got %q", comp.ID, got)
				}
			}
		})
	}
}

func TestSetupsThatCannotBeCompared(t *testing.T) {
	f := heron()
	for name, way := range map[string][2]*Features{"neither known": {}, "the first unknown": {nil, &f}, "the second unknown": {&f, nil}} {
		if got := present.Material(way[0], way[1]); len(got) != 1 || got[0].ChangeKey() != "competency.change.unknown" {
			t.Errorf("%s: %q", name, got)
		}
	}
}

func without(list []string, one string) []string {
	return slices.DeleteFunc(slices.Clone(list), func(s string) bool { return s == one })
}

func drawFeatures(t *rapid.T, name string) *Features {
	word := func(of ...string) string { return rapid.SampledFrom(of).Draw(t, name) }
	f := heron()
	f.Ventilator, f.Panel.Internal, f.Tap, f.FuseHolder = word("Heron", "Plover"), word("battery", ""), word("posts", "port"), word("clear", "covered")
	f.Joints[0].Colour = word("black", "white")
	f.Inlets, f.Shared, f.RemateJoint = rapid.IntRange(1, 2).Draw(t, name), rapid.Bool().Draw(t, name), rapid.Bool().Draw(t, name)
	f.Unaided = rapid.SampledFrom([]float64{0, 10, 30}).Draw(t, name)
	if rapid.Bool().Draw(t, name) {
		f.Parts = without(f.Parts, "isolator")
	}
	return &f
}

// A change is named both ways but for dependence; from one set-up over a second
// to a third, nothing is named that neither step named.
func TestMaterialProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := &All()[rapid.IntRange(0, len(All())-1).Draw(t, "competency")]
		x, y, z := drawFeatures(t, "x"), drawFeatures(t, "y"), drawFeatures(t, "z")
		same := *x
		if got := c.Material(x, &same); got != nil {
			t.Fatalf("nothing changed, got %q", got)
		}
		there, back := c.Material(x, y), c.Material(y, x)
		for _, f := range there {
			if !slices.Contains(c.Matters, f) || slices.Contains(back, f) == (f == DependenceBand) {
				t.Fatalf("%q there, %q back", there, back)
			}
		}
		steps := append(slices.Clone(there), c.Material(y, z)...)
		for _, f := range c.Material(x, z) {
			if !slices.Contains(steps, f) {
				t.Fatalf("%s changed on neither step of %q", f, steps)
			}
		}
	})
}
