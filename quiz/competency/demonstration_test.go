package competency

import (
	"testing"

	"pgregory.net/rapid"

	"lampwright/locales/problem"
)

func shown(c *Competency) Demonstration {
	return Demonstration{
		Learner: "rowan", Educator: "mara", Role: EducatorRole, Done: Evidence{c.Lessons, c.Scenarios}, Version: c.Version,
		Spare: true, TestLung: true, Seen: all(c), Rating: c.Rating.Passing,
	}
}

func TestSignable(t *testing.T) {
	tests := map[string]struct {
		change func(*Demonstration, *Competency)
		key    string
		code   problem.Code
	}{
		"all is well":        {func(*Demonstration, *Competency) {}, "", ""},
		"the highest rating": {func(d *Demonstration, c *Competency) { d.Rating = c.Rating.Highest }, "", ""},
		"more was learnt than needed": {func(d *Demonstration, _ *Competency) {
			d.Done.Lessons = append(d.Done.Lessons[:len(d.Done.Lessons):len(d.Done.Lessons)], "extra")
		}, "", ""},
		"an administrator":                   {func(d *Demonstration, _ *Competency) { d.Role = "administrator" }, "problem.educator-only", problem.Forbidden},
		"a learner":                          {func(d *Demonstration, _ *Competency) { d.Role = "learner" }, "problem.educator-only", problem.Forbidden},
		"nobody":                             {func(d *Demonstration, _ *Competency) { d.Educator = "" }, "problem.educator-only", problem.Forbidden},
		"an educator for themselves":         {func(d *Demonstration, _ *Competency) { d.Learner = d.Educator }, "problem.signs-self", problem.Forbidden},
		"a lesson to do":                     {func(d *Demonstration, _ *Competency) { d.Done.Lessons = d.Done.Lessons[1:] }, "problem.evidence-missing", problem.Invalid},
		"a scenario to pass":                 {func(d *Demonstration, _ *Competency) { d.Done.Scenarios = nil }, "problem.evidence-missing", problem.Invalid},
		"an earlier checklist":               {func(d *Demonstration, _ *Competency) { d.Version = "0" }, "problem.checklist-moved", problem.Moved},
		"an item that is none":               {func(d *Demonstration, _ *Competency) { d.Seen["moon"] = true }, "problem.form", problem.Invalid},
		"not on a spare ventilator":          {func(d *Demonstration, _ *Competency) { d.Spare = false }, "problem.spare", problem.Invalid},
		"no test lung":                       {func(d *Demonstration, _ *Competency) { d.TestLung = false }, "problem.spare", problem.Invalid},
		"nothing seen":                       {func(d *Demonstration, _ *Competency) { d.Seen = nil }, "problem.critical-missed", problem.Invalid},
		"the first critical item said no":    {func(d *Demonstration, c *Competency) { d.Seen[c.Items[0].ID] = false }, "problem.critical-missed", problem.Invalid},
		"no rating":                          {func(d *Demonstration, _ *Competency) { d.Rating = 0 }, "problem.rating-missing", problem.Invalid},
		"a rating off the scale":             {func(d *Demonstration, c *Competency) { d.Rating = c.Rating.Highest + 1 }, "problem.rating-missing", problem.Invalid},
		"a low rating":                       {func(d *Demonstration, c *Competency) { d.Rating = c.Rating.Passing - 1 }, "problem.rating-low", problem.Invalid},
		"for themselves, and nothing learnt": {func(d *Demonstration, _ *Competency) { d.Learner, d.Done = d.Educator, Evidence{} }, "problem.signs-self", problem.Forbidden},
		"nothing learnt, and nothing seen":   {func(d *Demonstration, _ *Competency) { d.Done, d.Seen, d.Rating = Evidence{}, nil, 0 }, "problem.evidence-missing", problem.Invalid},
		"critical missed, and a low rating":  {func(d *Demonstration, _ *Competency) { d.Seen, d.Rating = nil, 1 }, "problem.critical-missed", problem.Invalid},
	}
	for i := range All() {
		c := &All()[i]
		for name, test := range tests {
			t.Run(c.ID+", "+name, func(t *testing.T) {
				d := shown(c)
				test.change(&d, c)
				err := c.Signable(d)
				if (err == nil) != (test.key == "") || err != nil && (problem.Of(err).Key != test.key || !problem.Is(err, test.code)) {
					t.Errorf("got %v, expected %q", err, test.key)
				}
			})
		}
		for _, it := range c.Items {
			t.Run(c.ID+", "+it.ID+" missed", func(t *testing.T) {
				d := shown(c)
				d.Rating = c.Rating.Highest
				delete(d.Seen, it.ID)
				if err := c.Signable(d); (err != nil) != it.Critical {
					t.Errorf("got %v, critical %t", err, it.Critical)
				}
			})
		}
	}
}

// Nothing is signed unless all of it holds, whatever else is wrong.
func TestSignableProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := &All()[rapid.IntRange(0, len(All())-1).Draw(t, "competency")]
		d := shown(c)
		well := true
		maybe := func(name string, spoil func()) {
			if rapid.IntRange(0, 5).Draw(t, name) == 0 {
				spoil()
				well = false
			}
		}
		maybe("role", func() {
			d.Role = rapid.SampledFrom([]string{"", "learner", "administrator", "technologist", "Educator"}).Draw(t, "is")
		})
		maybe("self", func() { d.Learner = d.Educator })
		maybe("lesson", func() { d.Done.Lessons = without(d.Done.Lessons, rapid.SampledFrom(c.Lessons).Draw(t, "is")) })
		maybe("scenario", func() { d.Done.Scenarios = without(d.Done.Scenarios, rapid.SampledFrom(c.Scenarios).Draw(t, "is")) })
		maybe("spare", func() { d.Spare = false })
		maybe("lung", func() { d.TestLung = false })
		maybe("rating", func() { d.Rating = rapid.SampledFrom([]int{-1, 0, 1, 2, 6, 99}).Draw(t, "is") })
		for _, it := range c.Items {
			if rapid.IntRange(0, 9).Draw(t, it.ID) == 0 {
				d.Seen[it.ID] = false
				well = well && !it.Critical
			}
		}
		if err := c.Signable(d); (err == nil) != well {
			t.Fatalf("got %v, well %t: %+v", err, well, d)
		}
	})
}
