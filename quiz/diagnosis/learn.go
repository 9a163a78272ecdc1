package diagnosis

import "lampwright/lessons/setup"

// tradeWeight is how many calls the trade's priors are worth. A programme sees
// a few dozen calls a year, so they hold for its first year or two, and yield
// to what it found itself once it has seen as many (our own figure).
const tradeWeight = 50

// Learn gives the priors after what calls were found to be: of every mode of
// every kind, how often it was the cause. It is the mean of a Dirichlet whose
// pseudo-counts are the trade's priors, so a rare mode never becomes
// impossible and a handful of calls moves little.
//
// Priors are per part, but a call counts for its kind: parts says how many of
// a kind a set-up has, on average over those called about; one where it says
// nothing. What is not in setup.Known is passed over. The sum over all parts
// stays that of the trade, so that nothing else changes its share.
func Learn(counts map[PriorKey]int, parts map[setup.Kind]float64) Priors {
	share := func(k setup.Knowledge) float64 {
		if n := parts[k.Kind]; n > 0 {
			return n
		}
		return 1
	}
	sum, calls := 0.0, 0.0
	for _, k := range setup.Known {
		sum += k.Prior * share(k)
		calls += float64(counts[PriorKey{k.Kind, k.Mode}])
	}
	out := Priors{}
	for _, k := range setup.Known {
		key := PriorKey{k.Kind, k.Mode}
		n := share(k)
		theirs := k.Prior * n / sum
		mean := (tradeWeight*theirs + float64(counts[key])) / (tradeWeight + calls)
		out[key] = mean * sum / n
	}
	return out
}

// Slip is what whoever reported an outage got wrong, as it turned out.
type Slip string

// The slips, and none.
const (
	NoSlip        Slip = ""
	CalledFixable Slip = "called-fixable" // they could have put it right
	CalledNothing Slip = "called-nothing" // nothing was wrong
	SolvedNot     Slip = "solved-not"     // said to be solved, and was not
)

// Slipped compares how a report ended with what was found on that set-up: a
// fault, or nil for nothing wrong. A call to the emergency number, or to the
// clinical line, is never a slip.
func Slipped(s *setup.Setup, found *setup.Fault, ending Verb) Slip {
	nothing, fixable := found == nil || found.Mode == setup.Misread, false
	if !nothing {
		kind, _ := s.PartKind(found.Part)
		known, _ := setup.Of(kind, found.Mode)
		_, remedy := (&Model{Setup: s}).remedy(found.Part, found.Mode)
		fixable = remedy || known.Fixer == setup.Caregiver
	}
	called := ending == CallTech || ending == CallChair
	switch {
	case called && nothing:
		return CalledNothing
	case called && fixable:
		return CalledFixable
	case ending == Solved && !nothing && !fixable:
		return SolvedNot
	}
	return NoSlip
}
