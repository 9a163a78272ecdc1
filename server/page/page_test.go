package page_test

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"testing"

	"github.com/a-h/templ"

	"lampwright/locales"
	"lampwright/quiz"
	"lampwright/quiz/diagnosis"
	"lampwright/server/page"
)

var update = flag.Bool("update", false, "write the golden pages anew")

func frame(s locales.Speaker, titleKey string) page.Frame {
	return page.Frame{
		Speaker: s, Title: s.T(titleKey), Style: "/static/app-0.css", Script: "/static/kiosk-0.js", Path: "/here",
		Lines: page.Lines{
			Rescue: "555-0100", Clinical: "555-0110",
			Technologist: "555-0120", Hours: "08:00–18:00",
		},
	}
}

// samples are the pages whose HTML is held still; figures are tested where
// they are drawn.
var samples = map[string]func(s locales.Speaker) templ.Component{
	"welcome": func(s locales.Speaker) templ.Component { return page.WelcomePage(frame(s, "page.welcome")) },
	"problem": func(s locales.Speaker) templ.Component {
		return page.ProblemPage(page.Problem{
			Frame: frame(s, "page.problem.moved"), Status: 409, Text: s.T("problem.moved"), Link: "/runs/a1", LinkKey: "page.problem.go-on",
		})
	},
	"outing": func(s locales.Speaker) templ.Component {
		legs := []page.Leg{{
			Label: s.T("outing.leg", "Number", 1), Kind: page.Field{Name: "kind-1", Label: s.T("outing.kind"), Value: "mains"},
			Amount: page.Field{Name: "amount-1", Label: s.T("outing.amount"), Value: `60"<`}, Adapter: true, Ticks: [2]string{"adapter-1", "charger-1"},
		}}
		for len(legs) < 4 {
			legs = append(legs, page.Leg{Kind: page.Field{Name: "kind", Value: "none"}})
		}
		legs[3].Kind.Value = "drive" // beyond those shown at once
		wrong := page.Field{Name: "chair", Label: s.T("outing.state.chair"), Value: "<b>", Hint: s.T("outing.setting.hint"), Wrong: s.T("problem.no-leg")}
		return page.OutingPage(page.Outing{
			Frame: frame(s, "outing.title"), Setup: "Chair 12", Action: "/outing/chair-12", Legs: legs, Whole: s.T("problem.no-leg"),
			Leaves:  page.Field{Name: "leaves", Label: s.T("outing.leaves"), Value: "2026-11-25T09:30"},
			Setting: page.Field{Name: "setting", Label: s.T("outing.setting"), Value: "high"},
			State:   []page.Field{wrong}, Wrong: []page.Field{wrong},
			Ahead: &page.Ahead{
				NoMains: true, Basis: []page.Field{wrong}, Stops: s.T("outing.stops", "At", "13:05"), First: "FIRST", Helps: []string{"HELP"}, Picture: "<svg></svg>", Fewer: true,
				Stretches: []page.Stretch{{Name: "NAME", LeaveBy: "10:00", MainsBy: "10:30"}, {MainsBy: "12:00", Lacks: s.T("figure.timeline.lack.reserve"), Late: s.T("outing.late.never")}},
				Moments:   []page.Moment{{At: "09:30", What: "WHAT", Source: "SOURCE", Chair: "90 %", Internal: "100 %", OnChair: "5–10", Minutes: "10–15", Km: "0.5"}, {At: "09:40", Worst: true}},
			},
		})
	},
	"bench": func(s locales.Speaker) templ.Component {
		f := frame(s, "quiz.scenario.at-home-evening.title")
		f.Name, f.Token, f.Idle, f.Size = `Ro "<b>" Teal`, "TOKEN", 240, 1
		look := page.ActionText(s, diagnosis.Action{Verb: diagnosis.Look, Part: "panel"}, s.T("bench.panel"))
		return page.BenchPage(page.Bench{
			Frame: f, ID: "a1", Scenario: quiz.Scenarios[1], Setup: "Chair 12", Seq: 3, FormKey: "KEY", Minutes: 89,
			Chain: "<svg></svg>", Panel: "<svg></svg>", Part: "fuse", PartName: "<fuse>",
			PartActs: []page.Act{{Value: "look:fuse", Text: look}}, Care: []page.Act{{Value: "ask-person:", Text: s.T("bench.verb.ask-person")}},
			Endings: []page.Act{{Value: "call-technologist:", Text: s.T("bench.verb.call-technologist")}},
			Log: []page.LogLine{
				{Text: s.T("bench.verb.ask-person"), Came: s.T("bench.came.person-ok"), Best: true},
				{Text: look, Came: s.T("gate.never.replace-fuse"), Refused: true},
			},
			Alarm: s.T("figure.alarm.said.medium"),
		})
	},
	"begin": func(s locales.Speaker) templ.Component {
		return page.BeginPage(page.Begin{Frame: frame(s, "quiz.scenario.at-home-evening.title"), Scenario: quiz.Scenarios[1], Setup: "Chair 12", FormKey: "KEY"})
	},
	"worked": func(s locales.Speaker) templ.Component {
		plug := page.Act{Value: "plug-in:outlet", Text: s.T("bench.verb.plug-in")}
		return page.BenchPage(page.Bench{
			Frame: frame(s, "quiz.scenario.at-home-evening.title"), ID: "a1", Scenario: quiz.Scenarios[1], Practice: true, Setup: "Chair 12", Seq: 2, FormKey: "KEY",
			Minutes: 89, Chain: "<svg></svg>", Part: "fuse", PartName: "<fuse>", PartActs: []page.Act{plug}, Care: []page.Act{plug}, Endings: []page.Act{plug},
			Log:  []page.LogLine{{Text: s.T("bench.verb.ask-person"), Came: s.T("bench.came.person-ok"), Best: true, Why: s.T("why.person")}},
			Lead: &page.Lead{Act: plug, Why: s.T("why.source")},
		})
	},
	"debrief": func(s locales.Speaker) templ.Component {
		plug := s.T("bench.verb.plug-in")
		return page.DebriefPage(page.Debrief{
			Frame: frame(s, "page.debrief.title"), Scenario: quiz.Scenarios[1], Setup: "Chair 12", Result: quiz.Result{Careful: true},
			Log: []page.LogLine{
				{Text: s.T("bench.verb.ask-person"), Came: s.T("bench.came.person-ok"), Best: true, Why: s.T("why.person")},
				{Text: "<look>", Came: s.T("gate.source-first"), Refused: true, Better: s.T("quiz.better", "Step", plug), Why: s.T("why.source")},
			},
			Best: []string{plug}, Cause: "<cause>", Figure: "<svg></svg>",
		})
	},
}

func TestGolden(t *testing.T) {
	b, err := locales.Load()
	if err != nil {
		t.Fatal(err)
	}
	b.Report = func(err error) { t.Error(err) }
	for name, sample := range samples {
		for _, l := range locales.Languages {
			t.Run(name+" "+l.Tag, func(t *testing.T) {
				var got bytes.Buffer
				if err := sample(b.Speak(l.Tag)).Render(t.Context(), &got); err != nil {
					t.Fatal(err)
				}
				// A line a tag, so that a difference can be read.
				lines := bytes.ReplaceAll(got.Bytes(), []byte("><"), []byte(">\n<"))
				lines = append(lines, '\n')
				path := filepath.Join("testdata", name+"."+l.Tag+".html")
				if *update {
					if err := os.WriteFile(path, lines, 0o644); err != nil {
						t.Fatal(err)
					}
				}
				want, err := os.ReadFile(path)
				if err != nil {
					t.Fatal(err)
				}
				if !bytes.Equal(lines, want) {
					t.Errorf("%s is not as it was; go test ./server/page -update writes it anew. Got\n%s", path, lines)
				}
			})
		}
	}
}
