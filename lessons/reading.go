package lessons

import (
	"strings"
	"unicode"
)

// The limits of an English card: a smoke alarm for hard reading, not a proof.
const (
	MostCards         = 6  // shown on a set-up
	MostWritten       = 10 // in a file, for all set-ups
	MostCardWords     = 60
	MostSentenceWords = 15
	MostGrade         = 6.0
)

// Grade is the Flesch–Kincaid grade of a text with these counts.
func Grade(words, sentences, syllables int) float64 {
	if words == 0 || sentences == 0 {
		return 0
	}
	return .39*float64(words)/float64(sentences) + 11.8*float64(syllables)/float64(words) - 15.59
}

// Sentences splits plain text after its full stops, question and exclamation
// marks. A last sentence needs none.
func Sentences(text string) []string {
	var out []string
	var at strings.Builder
	flush := func() {
		if s := strings.TrimSpace(at.String()); len(Words(s)) > 0 {
			out = append(out, s)
		}
		at.Reset()
	}
	for _, r := range text {
		at.WriteRune(r)
		if strings.ContainsRune(".?!؟", r) {
			flush()
		}
	}
	flush()
	return out
}

// Words are the runs of letters, digits, apostrophes and hyphens.
func Words(text string) []string {
	fields := strings.FieldsFunc(text, func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsDigit(r) && !unicode.IsMark(r) && r != '\'' && r != '’' && r != '-'
	})
	var words []string
	for _, f := range fields {
		if f = strings.Trim(f, "'’-"); f != "" {
			words = append(words, f)
		}
	}
	return words
}

var apostrophes = strings.NewReplacer("'", "", "’", "")

// Syllables estimates an English word's syllables: its groups of vowels
// without a silent ending. One in twenty words is off by one, either way.
func Syllables(word string) int {
	n := 0
	for w := range strings.SplitSeq(strings.ToLower(word), "-") {
		n += syllables(apostrophes.Replace(w))
	}
	return max(n, 1)
}

func syllables(w string) int {
	n, last := 0, false
	for _, r := range w {
		vowel := strings.ContainsRune("aeiouyé", r)
		if vowel && !last {
			n++
		}
		last = vowel
	}
	// Two sounds, except in -tion, -cial, qua-, gua-.
	for split, after := range map[string]string{"ia": "tcsg", "io": "tcsg", "iu": "", "ua": "qg"} {
		if i := strings.Index(w, split); i > 0 && !strings.ContainsRune(after, rune(w[i-1])) {
			n++
		}
	}
	switch {
	case strings.HasSuffix(w, "le") && len(w) > 2 && !strings.ContainsRune("aeiouy", rune(w[len(w)-3])):
	case strings.HasSuffix(w, "ted"), strings.HasSuffix(w, "ded"):
	case strings.HasSuffix(w, "es") && len(w) > 3 && !strings.ContainsRune("aeiouyszxhcg", rune(w[len(w)-3])),
		strings.HasSuffix(w, "ed") && len(w) > 3 && !strings.ContainsRune("aeiouy", rune(w[len(w)-3])),
		strings.HasSuffix(w, "e") && len(w) > 2 && !strings.ContainsRune("aeiouy", rune(w[len(w)-2])):
		n--
	}
	return max(n, 1)
}
