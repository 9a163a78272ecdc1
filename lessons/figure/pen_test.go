package figure

import (
	"strings"
	"testing"
)

// What a line is held to take is what it takes, and not much more, in the
// usual fonts: here as wide as a browser set it, in ems.
func TestTextWidth(t *testing.T) {
	for words, took := range map[string]struct{ noto, notoBold, dejavu, dejavuBold float64 }{
		"بطارية الكرسي":                    {5.60, 6.26, 6.38, 7.55},
		"سلك البطارية":                     {5.26, 5.89, 5.64, 6.70},
		"السلك الخارج من المحوّل":          {9.92, 10.82, 10.61, 12.35},
		"الوصلة من جهة البطارية":           {9.27, 10.25, 9.99, 11.91},
		"أحد التلامسات مدفوع إلى الداخل":   {12.83, 14.07, 13.68, 16.08},
		"Battery connection":               {8.89, 9.58, 9.53, 10.76},
		"Ventilator-side joint":            {9.18, 9.96, 9.69, 11.26},
		"not the right one":                {7.96, 8.52, 8.44, 9.61},
		"Ventilateur":                      {5.16, 5.66, 5.47, 6.31},
		"Câble en sortie du convertisseur": {15.12, 16.09, 16.24, 18.34},
		"MAINS":                            {3.19, 3.39, 3.22, 3.70},
	} {
		w := textWidth(words, 10) / 10
		if w < took.noto || w < .98*took.dejavu || w > 1.25*took.noto {
			t.Errorf("%s: held to take %.2f, took %+v", words, w, took)
		}
		if w *= heavy; w < took.notoBold || w < .97*took.dejavuBold {
			t.Errorf("%s: in bold held to take %.2f, took %+v", words, w, took)
		}
	}
}

// Words that may leave their width are set smaller, and held to it only where
// they surely would leave it, so that none is stretched.
func TestHeldWordsAreNotStretched(t *testing.T) {
	const words = "Battery connection"
	takes := textWidth(words, 10)
	for width, want := range map[float64]struct {
		size string
		held bool
	}{takes + 1: {`"10"`, false}, takes * .9: {`"9"`, false}, takes * .7: {`"8"`, true}} {
		p := &pen{}
		p.squeezed("fig-label", 0, 0, 10, width, words)
		if !strings.Contains(p.String(), "font-size="+want.size) || strings.Contains(p.String(), "textLength") != want.held {
			t.Errorf("in %.1f of %.1f: %s", width, takes, p)
		}
	}
}
