package server_test

import (
	"slices"
	"testing"

	"lampwright/lessons"
	"lampwright/lessons/setup"
	"lampwright/locales"
	"lampwright/quiz"
	"lampwright/quiz/competency"
	"lampwright/server/record"
)

// What the competencies name is there: lessons, scenarios that count, what
// they teach, kinds of part, and words for it in every language.
func TestCompetenciesNameWhatIsThere(t *testing.T) {
	catalogue, err := lessons.Load()
	must(t, err)
	kinds := map[string]bool{}
	for _, name := range setup.DemoNames {
		s, err := setup.Demo(name)
		must(t, err)
		for _, id := range s.IDs() {
			kind, _ := s.PartKind(id)
			kinds[string(kind)] = true
		}
	}
	bundle, err := locales.Load()
	must(t, err)
	for _, c := range competency.All() {
		t.Run(c.ID, func(t *testing.T) {
			taught := map[string]bool{}
			for _, id := range c.Lessons {
				l, ok := catalogue.Lesson(id, lessons.English)
				if !ok || !slices.Contains(catalogue.IDs(), id) {
					t.Errorf("no lesson %s", id)
				}
				for _, card := range l.Cards {
					taught[card.Objective] = true
				}
			}
			for _, id := range c.Scenarios {
				sc, err := quiz.Find(id)
				if err != nil || !sc.Record {
					t.Errorf("no scenario %s that counts", id)
				}
				taught[sc.Objective] = true
			}
			for _, o := range c.Objectives {
				if !taught[o.ID] {
					t.Errorf("nothing it needs teaches %s", o.ID)
				}
			}
			for _, kind := range c.Parts {
				if !kinds[kind] {
					t.Errorf("no kind of part is %s", kind)
				}
			}
			for _, l := range locales.Languages {
				s := bundle.Speak(l.Tag)
				keys := []string{c.Name()}
				for _, it := range c.Items {
					keys = append(keys, "page.item."+it.ID, it.SeenWhen())
				}
				for _, f := range c.Matters {
					keys = append(keys, f.ChangeKey())
				}
				for _, standing := range []competency.Standing{
					competency.Never, competency.Current, competency.Soon, competency.Lapsed, competency.Changed,
					competency.Suspended, competency.Overridden, competency.Superseded, competency.Revoked,
				} {
					keys = append(keys, standing.Key())
				}
				for _, key := range keys {
					if text := s.T(key); text == "" || text == key {
						t.Errorf("%s is not said in %s", key, l.Tag)
					}
				}
			}
		})
	}
	// The one the desk signs for is all there is to learn, and all that counts.
	all := competency.Find(competency.PowerSources)
	if !slices.Equal(all.Lessons, catalogue.IDs()) {
		t.Errorf("%s needs %q, there is %q", all.ID, all.Lessons, catalogue.IDs())
	}
	var needed []string
	for _, sc := range quiz.Needed() {
		needed = append(needed, sc.ID)
	}
	if !slices.Equal(all.Scenarios, needed) {
		t.Errorf("%s needs %q, a sign-off %q", all.ID, all.Scenarios, needed)
	}
	for _, objective := range lessons.Objectives {
		if !slices.ContainsFunc(all.Objectives, func(o competency.Objective) bool { return o.ID == objective }) {
			t.Errorf("%s leaves out %s", all.ID, objective)
		}
	}
	if competency.EducatorRole != string(record.Educator) {
		t.Error("educators are called otherwise in the records")
	}
}
