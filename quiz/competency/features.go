package competency

import "slices"

// Features are what of a set-up a signature rests on: what the person sees,
// handles and must decide by. What is not here (serial numbers, lengths,
// ratings, ages, charge, the tag) may change, and nobody needs to show again.
type Features struct {
	Ventilator  string   // the model
	Panel       Panel    //
	Inlets      int      // of the ventilator
	Shared      bool     // adapter and chair lead use one inlet
	Tap         string   // where the chain takes its power: posts, isolator, port
	Block       int      // 0 for the whole pack, else the block it takes
	Joints      []Joint  // along the chain, from the battery
	FuseHolder  string   // clear or covered, "" without a fuse
	RemateJoint bool     // what the programme lets a caregiver do here
	OpenHolder  bool     //
	Unaided     float64  // minutes that the person can breathe alone
	Parts       []string // kinds of part there are, in any order
}

// Panel is what the face shows while each source carries: which lamps are lit,
// by their symbols, and the words of a screen. How full a battery is, is none.
type Panel struct{ Mains, Chair, Internal string }

// Joint is how the two halves of a joint are told apart from others.
type Joint struct{ Colour, Key string }

// Feature is one of the features, or several that are learnt together.
type Feature string

// The features.
const (
	VentilatorModel Feature = "ventilator"
	PanelShows      Feature = "panel"
	InletsUsed      Feature = "inlets" // how many, and whether one is shared
	TapPlace        Feature = "tap"
	JointLooks      Feature = "joints"
	HolderKind      Feature = "fuse-holder"
	PolicyAllows    Feature = "policy"
	DependenceBand  Feature = "dependence" // to more dependent
	PartKinds       Feature = "parts"      // of the kinds that the competency depends on, one came or went
	unknownFeature  Feature = "unknown"    // the set-ups cannot be compared
)

var features = []Feature{
	VentilatorModel, PanelShows, InletsUsed, TapPlace, JointLooks, HolderKind, PolicyAllows, DependenceBand, PartKinds,
}

// ChangeKey is the key of what a reader is told when it changed.
func (f Feature) ChangeKey() string { return "competency.change." + string(f) }

// longUnaided is from how many minutes on more of them decide nothing: the
// safety gate counts no more of them either.
const longUnaided = 20

// band of dependence: 0 for the most dependent, who cannot breathe alone.
func band(minutes float64) int {
	switch {
	case minutes >= longUnaided:
		return 2
	case minutes > 0:
		return 1
	}
	return 0
}

// Material names the features that are not the same any more and matter to the
// competency; none where who was signed for the one set-up can care for the
// other, as with an equivalent loaner.
func (c *Competency) Material(before, after *Features) (list []Feature) {
	if before == nil || after == nil { // a set-up nobody can describe is another one
		return []Feature{unknownFeature}
	}
	if before == after {
		return nil
	}
	for _, f := range c.Matters {
		if c.differs(f, before, after) {
			list = append(list, f)
		}
	}
	return list
}

func (c *Competency) differs(f Feature, a, b *Features) bool {
	switch f {
	case VentilatorModel:
		return a.Ventilator != b.Ventilator
	case PanelShows:
		return a.Panel != b.Panel
	case InletsUsed:
		return a.Inlets != b.Inlets || a.Shared != b.Shared
	case TapPlace:
		return a.Tap != b.Tap || a.Block != b.Block
	case JointLooks:
		return !slices.Equal(a.Joints, b.Joints)
	case HolderKind:
		return a.FuseHolder != b.FuseHolder
	case PolicyAllows: // both ways: what was taught is forbidden now, or what is allowed was never taught
		return a.RemateJoint != b.RemateJoint || a.OpenHolder != b.OpenHolder
	case DependenceBand: // who can act in no time can also act in some
		return band(b.Unaided) < band(a.Unaided)
	case PartKinds:
		return slices.ContainsFunc(c.Parts, func(kind string) bool {
			return slices.Contains(a.Parts, kind) != slices.Contains(b.Parts, kind)
		})
	}
	return true
}
