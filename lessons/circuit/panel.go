package circuit

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"lampwright/lessons/setup"
)

// panel shows the source in use, and the alarm the ventilator gives it.
func (st *State) panel(s *setup.Setup, faults []setup.Fault) {
	v := &s.Ventilator
	for _, it := range v.Panel {
		in := Indication{ID: it.ID}
		alive := !mode(of(faults, it.ID), setup.Dead)
		if it.Lamp != "" {
			in.Lit = alive && slices.Contains(it.LitOn, st.Source)
			in.Flicker = alive && st.Kind == Hunting && st.Source != setup.Mains &&
				(slices.Contains(it.LitOn, setup.Chair) || slices.Contains(it.LitOn, setup.Internal))
		} else if words, ok := it.Screen[st.Source]; ok && alive {
			in.Lit = true
			in.Screen = strings.ReplaceAll(words, "{percent}", strconv.Itoa(int(math.Round(st.Inside*100))))
		}
		st.Panel = append(st.Panel, in)
	}
	switch {
	case st.Source == setup.None:
		st.Alarm = v.Alarm.Stopped
	case st.Source == setup.Internal && st.Inside < v.Alarm.LowBelow:
		st.Alarm = v.Alarm.Low
	case st.Source == setup.Internal:
		st.Alarm = v.Alarm.Internal
	default:
		st.Alarm = setup.NoAlarm
	}
	if st.Alarm != setup.NoAlarm && mode(of(faults, setup.AlarmID), setup.Silenced) {
		st.Alarm, st.Silenced = setup.NoAlarm, true
	}
}

// looks says what is seen at the parts that do not look sound.
func (st *State) looks(s *setup.Setup, faults []setup.Fault) {
	for _, f := range faults {
		kind, _ := s.PartKind(f.Part)
		if k, ok := setup.Of(kind, f.Mode); ok && k.Look != setup.LookSound {
			st.Looks[f.Part] = k.Look
		}
	}
}
