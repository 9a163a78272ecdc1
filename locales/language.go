package locales

import "golang.org/x/text/language"

// Language is one we speak: its tag, the direction it is written in, and its
// name in itself.
type Language struct{ Tag, Dir, Name string }

// Languages are those we speak, English first: it stands in for what another
// lacks.
var Languages = []Language{
	{"en", "ltr", "English"},
	{"fr", "ltr", "Français"},
	{"ar", "rtl", "العربية"},
}

// forms are the plural forms CLDR gives each language; a plural message has
// them all.
var forms = map[string][]string{
	"en": {"one", "other"},
	"fr": {"one", "many", "other"},
	"ar": {"zero", "one", "two", "few", "many", "other"},
}

// Pick is the first language we speak among what a person chose and the values
// of their Accept-Language header, in that order; English where there is none.
func Pick(preferred ...string) Language {
	for _, p := range preferred {
		tags, _, err := language.ParseAcceptLanguage(p)
		if err != nil {
			continue
		}
		for _, t := range tags {
			base, sure := t.Base()
			if l, ok := known(base.String()); ok && sure == language.Exact {
				return l
			}
		}
	}
	return Languages[0]
}

func known(tag string) (Language, bool) {
	for _, l := range Languages {
		if l.Tag == tag {
			return l, true
		}
	}
	return Language{}, false
}
