package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
	"text/tabwriter"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
	"lampwright/locales"
)

type wiringCmd struct {
	Setup       string `required:"" placeholder:"FILE" help:"The set-up file; - is standard input."`
	Temperature number `default:"65" placeholder:"C" help:"Of the fuse holder and the leads' copper, in degrees Celsius."`
	JSON        bool   `name:"json" help:"Answer in JSON."`
}

// Run answers also where something fails the check: that is no mistake of
// whoever asked.
func (c *wiringCmd) Run(in io.Reader, out io.Writer) error {
	s, err := readSetup(c.Setup, in)
	if err != nil {
		return err
	}
	r, err := circuit.Wiring(s, float64(c.Temperature))
	if err != nil {
		return inFlag(err)
	}
	if c.JSON {
		e := json.NewEncoder(out)
		e.SetEscapeHTML(false)
		return e.Encode(newWiringAnswer(&r))
	}
	b, err := locales.Load()
	if err != nil {
		return err
	}
	return writeWiring(out, s.Tag, &r, b.Speak("en"))
}

// wiringAnswer is a checked chain as it is printed in JSON. Its reasons are
// keys of messages.
type wiringAnswer struct {
	OK      bool          `json:"ok"` // the fitted fuse carries the load and protects the chain
	Fitted  setup.Amps    `json:"fitted"`
	Least   setup.Amps    `json:"least"`
	Most    setup.Amps    `json:"most"`
	Worst   worstCase     `json:"worst"`
	Ratings []fuseRating  `json:"ratings"`
	Rows    []wiringValue `json:"rows"`
}

type worstCase struct {
	Celsius   float64     `json:"celsius"`
	Around    float64     `json:"around"`
	Column    float64     `json:"column"`
	Volts     setup.Volts `json:"volts"`
	Watts     setup.Watts `json:"watts"`
	PeakWatts setup.Watts `json:"peak_watts"`
	Amps      setup.Amps  `json:"amps"`
	PeakAmps  setup.Amps  `json:"peak_amps"`
}

type fuseRating struct {
	Amps setup.Amps `json:"amps"`
	OK   bool       `json:"ok"`
	Why  []string   `json:"why"`
}

type wiringValue struct {
	What   string  `json:"what"`
	Part   string  `json:"part"`
	Value  float64 `json:"value"`
	Limit  float64 `json:"limit"`
	Unit   string  `json:"unit"`
	OK     bool    `json:"ok"`
	Advice bool    `json:"advice,omitempty"` // spoils no verdict
	Why    string  `json:"why"`
}

// newWiringAnswer makes empty lists, never nil ones: JSON would call them null.
func newWiringAnswer(r *circuit.WiringReport) wiringAnswer {
	a := wiringAnswer{OK: r.OK, Fitted: r.Fitted, Least: r.Least, Most: r.Most, Worst: worstCase(r.Worst), Ratings: []fuseRating{}, Rows: []wiringValue{}}
	for _, rating := range r.Ratings {
		f := fuseRating{rating.Amps, rating.OK, []string{}}
		for _, row := range rating.Failed {
			f.Why = append(f.Why, row.Why)
		}
		a.Ratings = append(a.Ratings, f)
	}
	for _, row := range r.Rows {
		a.Rows = append(a.Rows, wiringValue{row.What, row.Part, row.Value, row.Limit, row.Unit, row.OK, row.Advice, row.Why})
	}
	return a
}

// amount is a number to three places, and its unit.
func amount[T ~float64](v T, unit string) string {
	digits := strings.TrimRight(strconv.FormatFloat(float64(v), 'f', 3, 64), "0")
	return strings.TrimSuffix(digits, ".") + " " + unit
}

func whySaid(r *circuit.WiringReport, row circuit.WiringRow, say locales.Speaker) string {
	return say.T(row.Why, "Value", amount(row.Value, row.Unit), "Limit", amount(row.Limit, row.Unit),
		"Rating", amount(row.Rating, "A"), "Column", amount(r.Worst.Column, "°C"), "Around", amount(r.Worst.Around, "°C"))
}

func writeWiring(out io.Writer, tag string, r *circuit.WiringReport, say locales.Speaker) error {
	why := func(row circuit.WiringRow) string { return whySaid(r, row, say) }
	verdict := func(ok bool) string {
		if ok {
			return say.T("wiring.passes")
		}
		return say.T("wiring.fails")
	}
	t := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintf(t, "%s\t%s\n", say.T("cli.row.setup"), tag)
	w := &r.Worst
	fmt.Fprintf(t, "%s\t%s\n", say.T("wiring.worst"), say.T("wiring.worst.said",
		"Watts", amount(w.Watts, "W"), "PeakWatts", amount(w.PeakWatts, "W"), "Volts", amount(w.Volts, "V"),
		"Amps", amount(w.Amps, "A"), "PeakAmps", amount(w.PeakAmps, "A"), "Celsius", amount(w.Celsius, "°C"), "Around", amount(w.Around, "°C")))
	fmt.Fprintf(t, "\n%s\t%s\t%s\t%s\t%s\t%s\n", say.T("wiring.head.what"), say.T("wiring.head.part"), say.T("wiring.head.value"),
		say.T("wiring.head.limit"), say.T("wiring.head.verdict"), say.T("wiring.head.why"))
	for _, row := range r.Rows {
		value, limit, said := amount(row.Value, row.Unit), amount(row.Limit, row.Unit), verdict(row.OK)
		switch {
		case row.Unit == "":
			value, limit, said = "-", "-", say.T("wiring.noted")
		case row.Advice && !row.OK:
			said = say.T("wiring.advised")
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\n", say.T("wiring.what."+row.What), row.Part, value, limit, said, why(row))
	}
	fmt.Fprintf(t, "\n%s\t%s\t%s\n", say.T("wiring.head.rating"), say.T("wiring.head.verdict"), say.T("wiring.head.why"))
	for _, rating := range r.Ratings {
		var reasons []string
		for _, row := range rating.Failed {
			reasons = append(reasons, why(row))
		}
		fmt.Fprintf(t, "%s\t%s\t%s\n", amount(rating.Amps, "A"), verdict(rating.OK), strings.Join(reasons, " "))
	}
	fmt.Fprintf(t, "\n%s\t%s\n", say.T("wiring.window"), windowSaid(r, say))
	fmt.Fprintf(t, "%s\t%s\n", say.T("wiring.fitted"), fittedSaid(r, say))
	return t.Flush()
}

func windowSaid(r *circuit.WiringReport, say locales.Speaker) string {
	if r.Least == 0 || r.Least > r.Most {
		return say.T("wiring.window.empty")
	}
	return say.T("wiring.window.said", "Least", amount(r.Least, "A"), "Most", amount(r.Most, "A"))
}

func fittedSaid(r *circuit.WiringReport, say locales.Speaker) string {
	for _, rating := range r.Ratings {
		if rating.Amps != r.Fitted {
			continue
		}
		key := "wiring.fitted.outside"
		switch {
		case r.OK:
			key = "wiring.fitted.inside"
		case rating.OK:
			key = "wiring.fitted.rating-only"
		}
		return say.T(key, "Fitted", amount(r.Fitted, "A"))
	}
	return say.T("wiring.fitted.none")
}
