package competency

import (
	"reflect"
	"strings"
	"testing"

	"lampwright/locales/problem"
)

const good = `schema: 1
competencies:
  - id: look
    objectives:
      critical: [person-first]
      other: [read-panel, name-sources]
    lessons: [three-sources]
    scenarios: [in-the-park, at-home]
    demonstration:
      version: 3
      items:
        - {id: looks, critical: true, anchor: looks-up}
        - {id: says, critical: false, anchor: says-it}
      rating: {lowest: 1, passing: 2, highest: 4}
    valid-days: 180
    refreshers: {critical-days: 60, other-days: 120, grace-days: 7}
    parts: [panel, fuse]
    material: [panel, parts]
`

func TestReadGood(t *testing.T) {
	got, err := Read("c.yaml", []byte(good))
	if err != nil {
		t.Fatal(err)
	}
	want := []Competency{{
		ID: "look", Objectives: []Objective{{"person-first", true}, {"read-panel", false}, {"name-sources", false}},
		Lessons: []string{"three-sources"}, Scenarios: []string{"in-the-park", "at-home"},
		Version: "3", Items: []Item{{"looks", true, "looks-up"}, {"says", false, "says-it"}}, Rating: Rating{1, 2, 4},
		ValidDays: 180, Refresh: Refresh{60, 120, 7}, Parts: []string{"panel", "fuse"}, Matters: []Feature{PanelShows, PartKinds},
	}}
	if !reflect.DeepEqual(got, want) {
		t.Fatalf("\ngot  %+v\nwant %+v", got, want)
	}
	if got, err = Read("c.yaml", []byte(strings.ReplaceAll(good, "\n", "\r\n"))); err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("with other line ends: %+v, %v", got, err)
	}
}

func TestReadBad(t *testing.T) {
	second := good[strings.Index(good, "  - id"):]
	tests := map[string]struct{ old, new, want string }{
		"nothing":                         {good, "", `c.yaml:1: got `},
		"a comment alone":                 {good, "# nothing\n", `c.yaml:1: got `},
		"two documents":                   {good, good + "---\n" + good, `c.yaml:1: got 2 documents, expected one document`},
		"too large":                       {good, good + strings.Repeat("#", MaxFile), "c.yaml:1: got "},
		"broken":                          {"[panel, fuse]", "[panel, fuse", "c.yaml:"},
		"an anchor of YAML":               {"[panel, fuse]", "&p [panel, fuse]", `c.yaml:17: got Anchor, expected plain values`},
		"a tag":                           {"version: 3", "version: !!str 3", `c.yaml:10: got Tag, expected plain values`},
		"brackets in brackets":            {"[panel, fuse]", strings.Repeat("[", 9) + strings.Repeat("]", 9), `c.yaml:17: got 9 brackets in each other, expected at most 8`},
		"a list":                          {good, "- a\n", `c.yaml:1: got sequence was used where mapping is expected`},
		"another schema":                  {"schema: 1", "schema: 2", `c.yaml:1: got schema 2, expected 1`},
		"an unknown key":                  {"    lessons:", "    hours: 3\n    lessons:", `c.yaml:7: got unknown field "hours", expected only keys`},
		"a key twice":                     {"    lessons:", "    id: x\n    lessons:", `c.yaml:7: got mapping key "id" already defined`},
		"no competency":                   {good, "schema: 1\ncompetencies: []\n", `c.yaml:2: got competencies none, expected at least one`},
		"an empty competency":             {good, "schema: 1\ncompetencies: [null]\n", `c.yaml:2: got competencies[0].id "", expected an id`},
		"two of one id":                   {good, good + second, `c.yaml:19: got competencies[1].id "look", expected an id`},
		"an id of capitals":               {"- id: look", "- id: Look", `c.yaml:3: got competencies[0].id "Look", expected an id`},
		"nothing critical to do":          {"[person-first]", "[]", `c.yaml:5: got competencies[0].objectives.critical none, expected at least one objective`},
		"an objective in both":            {"[read-panel, name-sources]", "[read-panel, person-first]", `c.yaml:6: got competencies[0].objectives.other[1] "person-first", expected an id`},
		"an objective twice":              {"[read-panel, name-sources]", "[read-panel, read-panel]", `c.yaml:6: got competencies[0].objectives.other[1] "read-panel"`},
		"an objective that is no id":      {"[person-first]", `["a b"]`, `c.yaml:5: got competencies[0].objectives.critical[0] "a b", expected an id`},
		"no lesson":                       {"    lessons: [three-sources]\n", "", `c.yaml:3: got competencies[0].lessons none, expected at least one lesson`},
		"no scenario":                     {"[in-the-park, at-home]", "[]", `c.yaml:8: got competencies[0].scenarios none, expected at least one scenario`},
		"a scenario twice":                {"[in-the-park, at-home]", "[at-home, at-home]", `c.yaml:8: got competencies[0].scenarios[1] "at-home", expected an id`},
		"lessons that are no list":        {"[three-sources]", "three-sources", `c.yaml:7: got string was used where sequence is expected`},
		"no version":                      {"      version: 3\n", "", `c.yaml:10: got competencies[0].demonstration.version 0, expected a whole number from 1`},
		"half a version":                  {"version: 3", "version: 3.5", `c.yaml:10: got competencies[0].demonstration.version 3.5, expected a whole`},
		"a version in words":              {"version: 3", "version: third", `c.yaml:10: got "third", expected a plain number`},
		"no item":                         {good[strings.Index(good, "      items:"):strings.Index(good, "      rating:")], "", `c.yaml:10: got competencies[0].demonstration.items no critical item`},
		"no critical item":                {"id: looks, critical: true", "id: looks, critical: false", `c.yaml:12: got competencies[0].demonstration.items no critical item, expected at least one`},
		"an item twice":                   {"id: says", "id: looks", `c.yaml:13: got competencies[0].demonstration.items[1].id "looks", expected an id`},
		"an item without its anchor":      {", anchor: says-it", "", `c.yaml:13: got competencies[0].demonstration.items[1].anchor "", expected what counts as seen`},
		"critical or not in other words":  {"critical: false", "critical: perhaps", `c.yaml:13: got "perhaps", expected true or false`},
		"a list too long to watch":        {"        - {id: says, critical: false, anchor: says-it}\n", longList(), `expected at most 20 items`},
		"the lowest passes":               {"passing: 2", "passing: 1", `c.yaml:14: got competencies[0].demonstration.rating.passing 1, expected a whole number from 2 to 10`},
		"nobody passes":                   {"passing: 2", "passing: 5", `c.yaml:14: got competencies[0].demonstration.rating.highest 4, expected a whole number from 5 to 10`},
		"a scale of eleven":               {"highest: 4", "highest: 11", `c.yaml:14: got competencies[0].demonstration.rating.highest 11, expected`},
		"a scale from zero":               {"lowest: 1", "lowest: 0", `c.yaml:14: got competencies[0].demonstration.rating.lowest 0, expected`},
		"valid for two years":             {"valid-days: 180", "valid-days: 730", `c.yaml:15: got competencies[0].valid-days 730, expected a whole number from 1 to 366`},
		"valid for no number":             {"valid-days: 180", "valid-days: .nan", `c.yaml:15: got competencies[0].valid-days NaN, expected`},
		"valid for ever":                  {"valid-days: 180", "valid-days: .inf", `c.yaml:15: got competencies[0].valid-days +Inf, expected`},
		"a critical refresher after 91":   {"critical-days: 60", "critical-days: 91", `c.yaml:16: got competencies[0].refreshers.critical-days 91, expected a whole number from 1 to 90`},
		"no refresher":                    {"    refreshers: {critical-days: 60, other-days: 120, grace-days: 7}\n", "", `got competencies[0].refreshers.critical-days 0, expected`},
		"others sooner than the critical": {"other-days: 120", "other-days: 59", `c.yaml:16: got competencies[0].refreshers.other-days 59, expected a whole number from 60 to 366`},
		"a grace of a quarter":            {"grace-days: 7", "grace-days: 90", `c.yaml:16: got competencies[0].refreshers.grace-days 90, expected a whole number from 0 to 30`},
		"no part":                         {"[panel, fuse]", "[]", `c.yaml:17: got competencies[0].parts none, expected at least one kind of part`},
		"nothing matters":                 {"[panel, parts]", "[]", `c.yaml:18: got competencies[0].material none, expected at least one feature`},
		"the serial number matters":       {"[panel, parts]", "[panel, serial-number]", `c.yaml:18: got competencies[0].material[1] "serial-number", expected each once, one of ventilator, panel`},
		"the unknown matters":             {"[panel, parts]", "[panel, unknown]", `c.yaml:18: got competencies[0].material[1] "unknown", expected each once`},
		"the panel matters twice":         {"[panel, parts]", "[panel, panel]", `c.yaml:18: got competencies[0].material[1] "panel", expected each once`},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			if strings.Count(good, test.old) != 1 {
				t.Fatalf("%q stands %d times in the good file", test.old, strings.Count(good, test.old))
			}
			list, err := Read("c.yaml", []byte(strings.Replace(good, test.old, test.new, 1)))
			if list != nil || !problem.Is(err, problem.Invalid) {
				t.Fatalf("got %+v, %v", list, err)
			}
			if !strings.Contains(err.Error(), test.want) {
				t.Errorf("\ngot  %v\nwant %s", err, test.want)
			}
		})
	}
}

func longList() string {
	var b strings.Builder
	for i := range 20 {
		b.WriteString("        - {id: x" + strings.Repeat("x", i) + ", critical: false, anchor: x}\n")
	}
	return b.String()
}

func TestAllThatIsWrongIsSaid(t *testing.T) {
	bad := strings.NewReplacer("schema: 1", "schema: 3", "version: 3", "version: 0", "[panel, fuse]", "[panel, panel]", "valid-days: 180", "valid-days: 1e9").Replace(good)
	_, err := Read("c.yaml", []byte(bad))
	list, ok := err.(interface{ Unwrap() []error })
	if !ok || len(list.Unwrap()) != 4 {
		t.Fatalf("got %v", err)
	}
	for i, line := range []string{"c.yaml:1: ", "c.yaml:10: ", "c.yaml:15: ", "c.yaml:17: "} {
		if text := list.Unwrap()[i].Error(); !strings.Contains(text, line) {
			t.Errorf("got %s, want %s", text, line)
		}
	}
}

func TestManyWrongThings(t *testing.T) {
	_, err := Read("c.yaml", []byte("schema: 1\ncompetencies: ["+strings.Repeat("{},", MaxFile/4)+"{}]\n"))
	if list, ok := err.(interface{ Unwrap() []error }); !ok || len(list.Unwrap()) != mostErrors {
		t.Fatalf("got %v", err)
	}
}

func FuzzRead(f *testing.F) {
	f.Add([]byte(good))
	f.Add(embedded)
	f.Add([]byte("schema: 1\ncompetencies: [null, {id: a, demonstration: {items: [null], rating: null}, material: [null], parts: [null]}]\n"))
	f.Add([]byte("schema: .inf\ncompetencies:\n  - valid-days: -.inf\n    refreshers: {critical-days: 1e300, grace-days: .nan}\n"))
	f.Add([]byte("competencies: !!int x[mains]"))
	f.Add([]byte("competencies: &a [*a]\n<<: *a\n"))
	f.Add([]byte("\"schema\": {? [a] : b}\ncompetencies: |\n  x\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		list, err := Read("f.yaml", data)
		if err != nil {
			joined, ok := err.(interface{ Unwrap() []error })
			if !ok || list != nil {
				t.Fatalf("got %+v, %v", list, err)
			}
			for _, e := range joined.Unwrap() {
				if !problem.Is(e, problem.Invalid) || !strings.Contains(e.Error(), "f.yaml:") {
					t.Fatalf("an error without file and line: %v", e)
				}
			}
			return
		}
		for i := range list {
			c := &list[i]
			if c.Signable(shown(c)) != nil || c.Refresh.Critical > 90 || c.ValidDays < 1 || c.Rating.Passing <= c.Rating.Lowest || !c.Objectives[0].Critical {
				t.Fatalf("it reads, but is not whole: %+v", c)
			}
			bare := shown(c)
			bare.Seen = nil
			if c.Signable(bare) == nil {
				t.Fatalf("it can be signed with nothing seen: %+v", c)
			}
		}
	})
}
