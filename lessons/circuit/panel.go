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
			in.Lit, in.Screen = true, st.words(words)
			if chair := st.words(it.Screen[setup.Chair]); st.Kind == Hunting && st.Source == setup.Internal && chair != in.Screen {
				in.Flicker, in.Other = true, chair
			}
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

func (st *State) words(on string) string {
	return strings.ReplaceAll(on, "{percent}", strconv.Itoa(int(math.Round(st.Inside*100))))
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
