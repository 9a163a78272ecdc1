package setup_test

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"lampwright/lessons/setup"
	"lampwright/locales/problem"
)

func TestDemoSetupsRead(t *testing.T) {
	for _, name := range setup.DemoNames {
		s, err := setup.Demo(name)
		if err != nil {
			t.Fatal(err)
		}
		if len(s.Faults()) < 14 {
			t.Errorf("%s has %d faults, want at least 14", name, len(s.Faults()))
		}
	}
	if len(setup.Known) < 14 {
		t.Errorf("%d modes known", len(setup.Known))
	}
}

// A change to a good file, and what the error must say.
func TestReadRefuses(t *testing.T) {
	good, err := setup.DemoFile("chair-12")
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct{ old, new, want string }{
		"unknown key":                   {"tag: Chair 12", "tag: Chair 12\ncolour: red", "f.yaml:4: "},
		"unknown key in a part":         {"rating: 10 A", "rating: 10 A, hue: red", "f.yaml:21: "},
		"missing unit":                  {"length: 0.4 m", "length: 0.4", `f.yaml:22: got "0.4" in part lead-battery, expected a number, a space and a unit, as in "1.2 m"`},
		"negative length":               {"length: 0.4 m", "length: -0.4 m", `f.yaml:22: got "-0.4 m" in part lead-battery, expected a value that is not negative`},
		"zero length":                   {"length: 0.4 m", "length: 0 m", "f.yaml:22: "},
		"length left out":               {"length: 0.4 m, ", "", "f.yaml:22: got chain[4].lead.length 0 in part lead-battery, expected a value above zero"},
		"unit of another kind":          {"rating: 10 A", "rating: 10 V", `f.yaml:21: got "10 V" in part fuse, expected a unit such as in "10 A"`},
		"no resistance in a source":     {"resistance: 4 mohm", "resistance: 0 mohm", "f.yaml:17: got chain[0].battery.blocks[0].resistance 0 in part battery"},
		"an adapter without resistance": {"resistance: 60 mohm", "resistance: 0 mohm", "in part adapter, expected a value above zero"},
		"no source":                     {"      blocks:\n        - {capacity: 60 Ah, resistance: 4 mohm, charge: 0.9}\n        - {capacity: 60 Ah, resistance: 4 mohm, charge: 0.9}", "      blocks: []", "in part battery, expected 1 to 8 blocks"},
		"a draw's unit":                 {"usual: 22 W", "usual: 22 V", `got "22 V", expected a unit such as in "20 W"`},
		"the id of the alarm":           {"id: lead-out", "id: alarm", "an id that no other part has"},
		"not a number":                  {"rating: 10 A", "rating: NaN A", "f.yaml:21: "},
		"endless":                       {"rating: 10 A", "rating: Inf A", "f.yaml:21: "},
		"absurd":                        {"rating: 10 A", "rating: 99999 A", "f.yaml:21: "},
		"charge above full":             {"charge: 0.9", "charge: 1.9", "f.yaml:17: "},
		"charge not a number":           {"charge: 0.9", "charge: .nan", "f.yaml:17: "},
		"same id twice":                 {"id: lead-out", "id: lead-middle", "an id that no other part has"},
		"id with capitals":              {"id: lead-out", "id: Lead", "an id of small letters"},
		"two kinds in a part":           {"{id: cord, cord: {}}", "{id: cord, cord: {}, plug: {contact: 1 mohm}}", "exactly one"},
		"no kind":                       {"{id: cord, cord: {}}", "{id: cord}", "exactly one of"},
		"restart below cut-out":         {"restart: 23.5 V", "restart: 20 V", "more than the cut-out"},
		"a buck that gives more":        {"output: 13.8 V", "output: 21 V", "f.yaml:29: got chain[7].converter.output 21 V in part converter, expected less than the cut-out of 21 V"},
		"a buck's cut-out too low":      {"cut-out: 21 V", "cut-out: 13.8 V", "f.yaml:29: got chain[7].converter.output 13.8 V in part converter, expected less than the cut-out of 13.8 V"},
		"a boost that gives less":       {"kind: buck", "kind: boost", "f.yaml:29: got chain[7].converter.output 13.8 V in part converter, expected more than the restart of 23.5 V"},
		"a boost that gives no more":    {"kind: buck\n      isolated: true\n      output: 13.8 V", "kind: boost\n      isolated: true\n      output: 23.5 V", "in part converter, expected more than the restart of 23.5 V"},
		"inlet takes nothing":           {"takes: [chair]", "takes: []", "each taken by exactly one inlet"},
		"upper block":                   {"block: 0", "block: 2", "0 for the whole pack"},
		"no such chemistry":             {"chemistry: agm", "chemistry: coal", "one of agm, gel, flooded, lithium"},
		"draws out of order":            {"low: 14 W", "low: 99 W", "low ≤ usual"},
		"order without the chair":       {"order: [mains, chair]", "order: [mains, mains]", "mains and chair"},
		"date in another form":          {"2026-09-01", "01/09/2026", "a date such as"},
		"another schema":                {"schema: 1", "schema: 2", "f.yaml:2: "},
		"gauge that is none":            {"conductor: 14 AWG", "conductor: 99 AWG", "a conductor size"},
		"broken yaml":                   {"mains:", "mains: [", "f.yaml:"},
		"map where a value stands":      {"length: 0.4 m", "length: {a: 1}", "f.yaml:22: "},
	} {
		t.Run(name, func(t *testing.T) {
			text := strings.Replace(string(good), c.old, c.new, 1)
			if text == string(good) {
				t.Fatalf("%q is not in the file", c.old)
			}
			_, err := setup.Read("f.yaml", []byte(text))
			if err == nil {
				t.Fatal("it was read")
			}
			if !problem.Is(err, problem.Invalid) || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got  %v\nwant %s", err, c.want)
			}
		})
	}
	for name, text := range map[string]string{"empty": "", "two documents": string(good) + "---\n" + string(good), "a list": "- 1\n"} {
		if _, err := setup.Read("f.yaml", []byte(text)); !problem.Is(err, problem.Invalid) {
			t.Errorf("%s: got %v", name, err)
		}
	}
}

func TestParseFault(t *testing.T) {
	s, err := setup.Demo("chair-12")
	if err != nil {
		t.Fatal(err)
	}
	for _, good := range []string{"fuse=blown", "joint-battery=half-home:0.3", "internal=dead", "lamp-chair=dead", "inlet-switch=off"} {
		if _, err := s.ParseFault(good); err != nil {
			t.Errorf("%s: %v", good, err)
		}
	}
	for bad, want := range map[string]string{
		"fuse": "PART=MODE", "fuse=": "blown", "fuze=blown": "joint-battery", "fuse=half-home": "blown, missing, holder-heated",
		"fuse=blown:3": "no severity", "joint-battery=half-home:x": "ohms from", "joint-battery=half-home:-1": "ohms from",
		"joint-battery=half-home:NaN": "ohms from", "joint-battery=half-home:1e300": "ohms from",
	} {
		if _, err := s.ParseFault(bad); !problem.Is(err, problem.Invalid) || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: got %v, want %s", bad, err, want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.SampledFrom(s.Faults()).Draw(t, "fault")
		if got, err := s.ParseFault(f.String()); err != nil || got != f {
			t.Fatalf("%v read back as %v, %v", f, got, err)
		}
	})
}

func FuzzRead(f *testing.F) {
	for _, name := range setup.DemoNames {
		data, err := setup.DemoFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Add([]byte("ventilator: {order: !!int x[mains, chair]}")) // the library panics
	f.Add([]byte("schema: 1\ntag: x\nchain: [{id: a, lead: {length: 1 m}}]"))
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := setup.Read("f.yaml", data)
		if err != nil {
			if !problem.Is(err, problem.Invalid) || !strings.Contains(err.Error(), "f.yaml:") {
				t.Fatalf("an error without file and line: %v", err)
			}
			return
		}
		for _, fault := range s.Faults() {
			if _, err := s.ParseFault(fault.String()); err != nil {
				t.Fatal(err)
			}
		}
	})
}
