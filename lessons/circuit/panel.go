package circuit

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"lampwright/lessons/setup"
)

// panel shows the source in use, and the alarm the ventilator gives it.
func panel(s *setup.Setup, st *State, has func(string, setup.Mode) bool) ([]Indication, setup.Priority) {
	v := &s.Ventilator
	out := make([]Indication, 0, len(v.Panel))
	for _, it := range v.Panel {
		in := Indication{ID: it.ID}
		if it.Lamp != "" {
			alive := !has(it.ID, setup.Dead)
			in.Lit = alive && slices.Contains(it.LitOn, st.Source)
			in.Flicker = alive && st.Kind == Hunting && st.Source != setup.Mains &&
				(slices.Contains(it.LitOn, setup.Chair) || slices.Contains(it.LitOn, setup.Internal))
		} else if words, ok := it.Screen[st.Source]; ok {
			in.Lit = true
			in.Screen = strings.ReplaceAll(words, "{percent}", strconv.Itoa(int(math.Round(st.Inside*100))))
		}
		out = append(out, in)
	}
	switch {
	case st.Source == setup.None:
		return out, v.Alarm.Stopped
	case st.Source == setup.Internal && st.Inside < v.Alarm.LowBelow:
		return out, v.Alarm.Low
	case st.Source == setup.Internal:
		return out, v.Alarm.Internal
	}
	return out, setup.NoAlarm
}

// looks says what is seen at the parts that do not look sound.
func looks(s *setup.Setup, c Conditions, st *State) {
	st.Looks = map[string]setup.Look{}
	for _, f := range c.Faults {
		kind, _ := s.PartKind(f.Part)
		if k, ok := setup.Of(kind, f.Mode); ok && k.Look != setup.LookSound {
			st.Looks[f.Part] = k.Look
		}
	}
}
