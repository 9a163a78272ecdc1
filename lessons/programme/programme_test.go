package programme

import (
	"reflect"
	"slices"
	"strings"
	"testing"

	"lampwright/lessons/setup"
)

func demoProgramme(t testing.TB) *Programme {
	t.Helper()
	p, err := Demo()
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestDemo(t *testing.T) {
	p := demoProgramme(t)
	if p.Emergency != (Line{"555-0100", Always}) || p.Clinical != (Line{"555-0110", Always}) ||
		p.Technologist != (Line{"555-0120", "08:00–18:00"}) || p.ChairVendor.Number != "555-0130" {
		t.Errorf("got %+v", p)
	}
	for _, name := range setup.DemoNames {
		s, err := setup.Demo(name)
		if err != nil {
			t.Fatal(err)
		}
		if against := p.Permits(s); against != nil {
			t.Errorf("%s: %+v", name, against)
		}
	}
}

func TestIn(t *testing.T) {
	p := demoProgramme(t)
	for asked, spoken := range map[string]string{"en": "en", "ar": "ar", "pa": "en", "": "en"} {
		w := p.In(asked)
		if w.Language != spoken || w.Text != p.text[spoken] || !slices.Equal(w.Cautions, p.cautions[spoken]) || w.Empty() {
			t.Errorf("%q: %+v", asked, w)
		}
	}
}

func TestPermits(t *testing.T) {
	const remate, open = "re-mate-joint: false", "open-fuse-holder: false"
	tests := map[string]struct {
		programme func(*Programme)
		old, new  string
		want      []string
	}{
		"a set-up as the programme has it": {nil, remate, remate, nil},
		"re-mating, where nobody may": {
			nil, remate, "re-mate-joint: true",
			[]string{"s.yaml:5: got policy.re-mate-joint true, expected false: the programme lets no caregiver re-mate a joint"},
		},
		"opening a holder, where nobody may": {
			nil, open, "open-fuse-holder: true",
			[]string{"s.yaml:5: got policy.open-fuse-holder true, expected false: the programme lets no caregiver open a fuse holder"},
		},
		"both": {
			nil, remate + ", " + open, "re-mate-joint: true, open-fuse-holder: true",
			[]string{"s.yaml:5: got policy.re-mate-joint true", "s.yaml:5: got policy.open-fuse-holder true"},
		},
		"re-mating, where one may":                 {func(p *Programme) { p.Policies.RemateJoint = true }, remate, "re-mate-joint: true", nil},
		"opening, where one may re-mate only":      {func(p *Programme) { p.Policies.RemateJoint = true }, open, "open-fuse-holder: true", []string{"s.yaml:5: got policy.open-fuse-holder"}},
		"less than the programme lets":             {func(p *Programme) { p.Policies.RemateJoint, p.Policies.OpenHolder = true, true }, remate, remate, nil},
		"the ventilator's colour on the battery's": {nil, "colour: black", "colour: grey", []string{`s.yaml:23: got chain[5].joint.colour "grey" in part joint-battery, expected black or white, the programme's on the battery side`}},
		"the battery's colour on the ventilator's": {nil, "colour: grey", "colour: white", []string{`got chain[9].joint.colour "white" in part joint-ventilator, expected grey or blue, the programme's on the ventilator side`}},
		"a programme of any colours":               {func(p *Programme) { p.Joints = Joints{} }, "colour: black", "colour: grey", nil},
		"a chain without a converter":              {nil, "colour: black", "colour: yellow", nil},
		"a set-up that is none":                    {nil, "schema: 1", "schema: 9", []string{"s.yaml:2: got schema 9"}},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			p := demoProgramme(t)
			if test.programme != nil {
				test.programme(p)
			}
			file, err := setup.DemoFile("chair-12")
			if err != nil {
				t.Fatal(err)
			}
			text := strings.Replace(string(file), test.old, test.new, 1)
			if strings.Contains(name, "without a converter") {
				from, to := strings.Index(text, "  - id: converter"), strings.Index(text, "  - {id: lead-out")
				text = text[:from] + text[to:]
			}
			s, err := p.ReadSetup("s.yaml", []byte(text))
			if (err == nil) != (len(test.want) == 0) || (s == nil) == (err == nil) {
				t.Fatalf("got %v, %v", s, err)
			}
			var said []string
			if err != nil {
				said = strings.Split(err.Error(), "\n")
			}
			if len(said) != len(test.want) {
				t.Fatalf("got %q, want %q", said, test.want)
			}
			for i := range said {
				if !strings.Contains(said[i], test.want[i]) {
					t.Errorf("\ngot  %s\nwant %s", said[i], test.want[i])
				}
			}
		})
	}
}

func TestDemoFileIsACopy(t *testing.T) {
	file := DemoFile()
	clear(file)
	if reflect.DeepEqual(file, DemoFile()) {
		t.Error("the demo programme can be changed from outside")
	}
}
