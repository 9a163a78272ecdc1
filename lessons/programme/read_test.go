package programme

import (
	"reflect"
	"strings"
	"testing"
	_ "time/tzdata" // the zones, on any machine

	"lampwright/lessons/setup"
	"lampwright/locales/problem"
)

const good = `schema: 1
name: Cedar Point
zone: Europe/Paris
numbers:
  emergency: {number: +15550100, hours: always}
  clinical: {number: (555) 0110, hours: 07:00-23:30}
  technologist: {number: 0555 0120, hours: 22:00–06:00}
  chair-vendor: {number: 555-0130, hours: always}
policies: {re-mate-joint: true, open-fuse-holder: false, sign-off-days: 180, fewest-caregivers: 3, keep-runs-days: 400}
joint-colours: {battery: [black], ventilator: [grey, blue]}
local-text:
  en: >
    Say the tag
    first.
  ar: الاسم أولًا.
cautions:
  en: [Stay in., Call.]
  ar: [ابقوا., اتصلوا.]
`

func TestReadGood(t *testing.T) {
	got, err := Read("p.yaml", []byte(good))
	if err != nil {
		t.Fatal(err)
	}
	want := &Programme{
		Name: "Cedar Point", Zone: "Europe/Paris",
		Emergency: Line{"+15550100", Always}, Clinical: Line{"(555) 0110", "07:00–23:30"},
		Technologist: Line{"0555 0120", "22:00–06:00"}, ChairVendor: Line{"555-0130", Always},
		Policies: Policies{RemateJoint: true, SignOffDays: 180, FewestCaregivers: 3, OneTimeCodes: true, KeepRunsDays: 400},
		Joints:   Joints{[]string{"black"}, []string{"grey", "blue"}},
		text:     map[string]string{"en": "Say the tag first.", "ar": "الاسم أولًا."},
		cautions: map[string][]string{"en": {"Stay in.", "Call."}, "ar": {"ابقوا.", "اتصلوا."}},
	}
	if !reflect.DeepEqual(got, want) {
		t.Fatalf("\ngot  %+v\nwant %+v", got, want)
	}
}

const least = `schema: 1
name: Cedar Point
zone: UTC
numbers:
  emergency: {number: 911, hours: always}
  clinical: {number: 555-0110, hours: always}
  technologist: {number: 555-0120, hours: 08:00-18:00}
`

func TestReadTheLeast(t *testing.T) {
	p, err := Read("p.yaml", []byte(least))
	if err != nil {
		t.Fatal(err)
	}
	if want := (Policies{SignOffDays: 365, FewestCaregivers: 2, OneTimeCodes: true, KeepRunsDays: 730}); p.Policies != want {
		t.Errorf("policies %+v", p.Policies)
	}
	if p.ChairVendor != (Line{}) || p.Emergency.Number != "911" {
		t.Errorf("numbers %+v %+v", p.Emergency, p.ChairVendor)
	}
	if w := p.In("ar"); !w.Empty() {
		t.Errorf("words %+v", w)
	}
	for _, name := range setup.DemoNames { // any colour will do
		s, err := setup.Demo(name)
		if err != nil {
			t.Fatal(err)
		}
		if against := p.Permits(s); against != nil {
			t.Error(against)
		}
	}
}

// A phone number is kept just as it stands, whatever YAML takes it for.
func TestNumbersStandAsWritten(t *testing.T) {
	for written, want := range map[string]string{
		"+15550100": "+15550100", "0555": "0555", `"0555 0100"`: "0555 0100", "'911'": "911", "1-555-0100": "1-555-0100",
		"(555) 0100": "(555) 0100", "+1 (555) 0100": "+1 (555) 0100", "911 # and no other": "911",
	} {
		p, err := Read("p.yaml", []byte(strings.Replace(least, "{number: 911, hours: always}", "\n    number: "+written+"\n    hours: always", 1)))
		if err != nil {
			t.Errorf("%s: %v", written, err)
		} else if p.Emergency.Number != want {
			t.Errorf("%s: got %q, want %q", written, p.Emergency.Number, want)
		}
	}
}

func TestReadBad(t *testing.T) {
	long := strings.Repeat("ü", 301)
	tests := map[string]struct{ old, new, want string }{
		"nothing":                         {good, "", `p.yaml:1: got `},
		"two documents":                   {good, good + "---\n" + good, `p.yaml:1: got 2 documents, expected one programme`},
		"too large":                       {good, good + strings.Repeat("#", setup.MaxFile), "p.yaml:1: got "},
		"broken":                          {"[black]", "[black", "p.yaml:"},
		"no YAML":                         {"name: Cedar", "name: [Cedar", `expected YAML of a programme`},
		"another schema":                  {"schema: 1", "schema: 2", `p.yaml:1: got schema 2, expected 1`},
		"half a schema":                   {"schema: 1", "schema: 1.5", `p.yaml:1: got schema 1.5, expected 1`},
		"an unknown key":                  {"zone:", "town: x\nzone:", `p.yaml:3: got unknown field "town", expected only keys of the schema`},
		"a key twice":                     {"zone:", "name: x\nzone:", `p.yaml:3: got mapping key "name" already defined`},
		"no name":                         {"name: Cedar Point\n", "", `p.yaml:1: got name "", expected words on one line`},
		"a name of two lines":             {"Cedar Point", `"Cedar\nPoint"`, `p.yaml:2: got name "Cedar\nPoint", expected words on one line`},
		"a long name":                     {"Cedar Point", long, `p.yaml:2: got name 301 characters, expected at most 80`},
		"no zone":                         {"zone: Europe/Paris\n", "", `p.yaml:1: got zone "", expected a zone such as`},
		"an unknown zone":                 {"Europe/Paris", "Europe/Nowhere", `p.yaml:3: got zone "Europe/Nowhere", expected a zone`},
		"the machine's zone":              {"Europe/Paris", "Local", `p.yaml:3: got zone "Local", expected a zone`},
		"a zone that climbs":              {"Europe/Paris", "../../etc/passwd", `p.yaml:3: got zone "../../etc/passwd", expected a zone`},
		"no numbers":                      {good[strings.Index(good, "numbers:"):strings.Index(good, "policies:")], "", `p.yaml:1: got numbers.emergency nothing, expected a number and its hours`},
		"no emergency number":             {"  emergency: {number: +15550100, hours: always}\n", "", `p.yaml:5: got numbers.emergency nothing`},
		"no clinical number":              {"  clinical: {number: (555) 0110, hours: 07:00-23:30}\n", "", `got numbers.clinical nothing, expected a number and its hours`},
		"no technologist":                 {"  technologist: {number: 0555 0120, hours: 22:00–06:00}\n", "", `got numbers.technologist nothing, expected a number and its hours`},
		"an unknown line":                 {"chair-vendor:", "pizza:", `p.yaml:8: got unknown field "pizza", expected only keys`},
		"a line that is no map":           {"{number: 555-0130, hours: always}", "555-0130", `p.yaml:8: got string was used where mapping is expected`},
		"a number that is empty":          {"555-0130", `""`, `p.yaml:8: got numbers.chair-vendor.number "", expected a phone number`},
		"a line without its number":       {"number: 555-0130, ", "", `p.yaml:8: got numbers.chair-vendor.number "", expected a phone number`},
		"two digits":                      {"555-0130", "5-5", `p.yaml:8: got numbers.chair-vendor.number "5-5", expected a phone number`},
		"letters in a number":             {"555-0130", "555-CALL", `p.yaml:8: got numbers.chair-vendor.number "555-CALL", expected a phone number`},
		"a plus inside a number":          {"555-0130", "555+0130", `p.yaml:8: got numbers.chair-vendor.number "555+0130", expected a phone number`},
		"another script's digits":         {"555-0130", "٥٥٥٠١٣٠", `p.yaml:8: got numbers.chair-vendor.number`},
		"a long number":                   {"555-0130", strings.Repeat("5", 25), `p.yaml:8: got numbers.chair-vendor.number`},
		"a number that is a list":         {"555-0130", "[555-0130]", `p.yaml:8: got numbers.chair-vendor.number "[", expected a phone number`},
		"hours left out":                  {"555-0130, hours: always", "555-0130", `p.yaml:8: got numbers.chair-vendor.hours "", expected always, or hours such as 08:00–18:00`},
		"hours in words":                  {"22:00–06:00", "at night", `p.yaml:7: got numbers.technologist.hours "at night", expected always, or hours`},
		"hours of an odd clock":           {"22:00–06:00", "22:00–24:30", `p.yaml:7: got numbers.technologist.hours "22:00–24:30", expected`},
		"hours without minutes":           {"22:00–06:00", "8–18", `p.yaml:7: got numbers.technologist.hours "8–18", expected`},
		"hours that end as they begin":    {"22:00–06:00", "06:00–06:00", `p.yaml:7: got numbers.technologist.hours "06:00–06:00", expected`},
		"an emergency number with hours":  {"+15550100, hours: always", "+15550100, hours: 08:00–18:00", `p.yaml:5: got numbers.emergency.hours "08:00–18:00", expected always`},
		"a policy that is no yes or no":   {"re-mate-joint: true", "re-mate-joint: perhaps", `p.yaml:9: got "perhaps", expected true or false`},
		"an unknown policy":               {"re-mate-joint", "replace-fuse", `p.yaml:9: got unknown field "replace-fuse"`},
		"a sign-off of no day":            {"sign-off-days: 180", "sign-off-days: 0", `p.yaml:9: got policies.sign-off-days 0, expected a whole number from 1 to 366`},
		"a sign-off of half a day":        {"sign-off-days: 180", "sign-off-days: 180.5", `p.yaml:9: got policies.sign-off-days 180.5, expected a whole`},
		"a sign-off for two years":        {"sign-off-days: 180", "sign-off-days: 730", `p.yaml:9: got policies.sign-off-days 730, expected a whole`},
		"a sign-off of no number":         {"sign-off-days: 180", "sign-off-days: .nan", `p.yaml:9: got policies.sign-off-days NaN, expected a whole`},
		"nobody":                          {"fewest-caregivers: 3", "fewest-caregivers: 0", `p.yaml:9: got policies.fewest-caregivers 0, expected a whole number from 1 to 20`},
		"runs kept for too short a time":  {"keep-runs-days: 400", "keep-runs-days: 89", `p.yaml:9: got policies.keep-runs-days 89, expected a whole number from 90 to 3653`},
		"a crowd":                         {"fewest-caregivers: 3", "fewest-caregivers: 21", `p.yaml:9: got policies.fewest-caregivers 21, expected a whole`},
		"an unknown colour":               {"[black]", "[red]", `p.yaml:10: got joint-colours.battery[0] "red", expected one of black, white, grey, yellow, blue`},
		"a colour on both sides":          {"[grey, blue]", "[grey, black]", `p.yaml:10: got joint-colours.ventilator[1] "black", expected each colour once, on one side`},
		"a colour twice":                  {"[grey, blue]", "[grey, grey]", `p.yaml:10: got joint-colours.ventilator[1] "grey", expected each colour once`},
		"an unknown side":                 {"ventilator: [grey", "middle: [grey", `p.yaml:10: got unknown field "middle"`},
		"a language by its name":          {"  ar: الاسم", "  arabic: الاسم", `p.yaml:15: got local-text.arabic "arabic", expected a language of two small letters`},
		"a path as a language":            {"  ar: [ا", "  '*': [ا", `p.yaml:17: got cautions "*", expected a language of two small letters`},
		"no English text":                 {"  en: >\n    Say the tag\n    first.\n", "", `p.yaml:12: got local-text nothing in en, expected English`},
		"no English cautions":             {"  en: [Stay in., Call.]\n", "", `got cautions nothing in en, expected English`},
		"a text without its cautions":     {"  ar: [ابقوا., اتصلوا.]\n", "", `got cautions nothing in ar, expected English, and every language`},
		"cautions without their text":     {"  ar: الاسم أولًا.\n", "", `got local-text nothing in ar, expected English, and every language`},
		"a caution less than in English":  {"[ابقوا., اتصلوا.]", "[ابقوا.]", `p.yaml:18: got cautions.ar 1, expected 2 cautions, as in English`},
		"an empty text":                   {"ar: الاسم أولًا.", `ar: ""`, `p.yaml:15: got local-text.ar "", expected words on one line`},
		"a long text":                     {"ar: الاسم أولًا.", "ar: " + long, `p.yaml:15: got local-text.ar 301 characters, expected at most 300`},
		"a text of two paragraphs":        {"    Say the tag\n", "    Say the tag\n\n", `p.yaml:12: got local-text.en "Say the tag\nfirst.", expected words on one line`},
		"no cautions in a language":       {"[ابقوا., اتصلوا.]", "[]", `p.yaml:18: got cautions.ar 0, expected 1 to 4 cautions`},
		"five cautions":                   {"[Stay in., Call.]", "[a, b, c, d, e]", `p.yaml:17: got cautions.en 5, expected 1 to 4 cautions`},
		"a long caution":                  {"Stay in.", long, `p.yaml:17: got cautions.en[0] 301 characters, expected at most 120`},
		"an empty caution":                {"Stay in.", `" "`, `p.yaml:17: got cautions.en[0] "", expected words on one line`},
		"a caution with a hidden control": {"Stay in.", `"Stay\x07"`, `p.yaml:17: got cautions.en[0] "Stay\a", expected words on one line`},
		"cautions that are no list":       {"[Stay in., Call.]", "Stay in.", `p.yaml:17: got string was used where sequence is expected`},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			if strings.Count(good, test.old) != 1 {
				t.Fatalf("%q stands %d times in the good file", test.old, strings.Count(good, test.old))
			}
			p, err := Read("p.yaml", []byte(strings.Replace(good, test.old, test.new, 1)))
			if p != nil || !problem.Is(err, problem.Invalid) {
				t.Fatalf("got %+v, %v", p, err)
			}
			if !strings.Contains(err.Error(), test.want) {
				t.Errorf("\ngot  %v\nwant %s", err, test.want)
			}
		})
	}
}

func TestAllThatIsWrongIsSaid(t *testing.T) {
	bad := strings.NewReplacer("schema: 1", "schema: 3", "Europe/Paris", "Paris", "555-0130", "12", "[black]", "[red]").Replace(good)
	_, err := Read("p.yaml", []byte(bad))
	list, ok := err.(interface{ Unwrap() []error })
	if !ok || len(list.Unwrap()) != 4 {
		t.Fatalf("got %v", err)
	}
	for i, line := range []string{"p.yaml:1: ", "p.yaml:3: ", "p.yaml:8: ", "p.yaml:10: "} {
		if text := list.Unwrap()[i].Error(); !strings.Contains(text, line) {
			t.Errorf("got %s, want %s", text, line)
		}
	}
}

func FuzzRead(f *testing.F) {
	f.Add([]byte(good))
	f.Add([]byte(least))
	f.Add(DemoFile())
	f.Add([]byte("numbers: {emergency: !!int x[mains]}")) // the library panics
	f.Add([]byte("schema: 1\nnumbers:\n  emergency: {number: &a 911, hours: *a}\nlocal-text: {en: null}\ncautions: {en: [null]}\n"))
	f.Add([]byte("schema: .inf\npolicies: {sign-off-days: -.inf, fewest-caregivers: 1e300}\ncautions:\n  '': []\n  \"\": x\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := Read("f.yaml", data)
		if err != nil {
			list := []error{err}
			if joined, ok := err.(interface{ Unwrap() []error }); ok {
				list = joined.Unwrap()
			}
			for _, e := range list {
				if !problem.Is(e, problem.Invalid) || !strings.Contains(e.Error(), "f.yaml:") {
					t.Fatalf("an error without file and line: %v", e)
				}
			}
			return
		}
		if p.Name == "" || p.Emergency.Hours != Always || len(p.Emergency.Number) < 3 || p.Policies.FewestCaregivers < 1 {
			t.Fatalf("it reads, but is not whole: %+v", p)
		}
		for tag := range p.text {
			if w := p.In(tag); w.Language != tag || w.Text == "" {
				t.Fatalf("%s: %+v", tag, w)
			}
		}
		if w := p.In("xx"); !w.Empty() && w.Language != English && w.Language != "xx" {
			t.Fatalf("%+v", w)
		}
	})
}
