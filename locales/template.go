package locales

import (
	"errors"
	"fmt"
	"reflect"
	"strconv"
	"strings"

	"github.com/nicksnyder/go-i18n/v2/i18n/template"
)

var (
	errNoMessage = errors.New("there is no such message")
	errNoValue   = errors.New("no value")
	errNoCount   = errors.New("not a number to count with")
)

// templates parses messages for the library. Its own parser runs text/template,
// which prints "<no value>" where one is missing and costs three times as much.
type templates struct{}

func (templates) Cacheable() bool { return true }

func (templates) Parse(src, _, _ string) (template.ParsedTemplate, error) {
	var t pieces
	end := 0
	for _, at := range nameForm.FindAllStringSubmatchIndex(src, -1) {
		t = append(t, piece{text: src[end:at[0]], name: src[at[2]:at[3]]})
		end = at[1]
	}
	return append(t, piece{text: src[end:]}), nil
}

// pieces is a message cut at its values.
type pieces []piece

// piece is text and the name of the value after it, "" for none.
type piece struct{ text, name string }

// Execute puts the values, of type values, between the pieces.
func (t pieces) Execute(data any) (string, error) {
	given, _ := data.(values)
	var b strings.Builder
	for _, p := range t {
		b.WriteString(p.text)
		if p.name == "" {
			continue
		}
		v, ok := given.find(p.name)
		if !ok {
			return "", fmt.Errorf("%w for %s", errNoValue, p.name)
		}
		given.write(&b, v)
	}
	return b.String(), nil
}

// values are what a message is said with: name, value, name, value.
type values struct {
	pairs       []any
	rightToLeft bool
}

func (v values) find(name string) (any, bool) {
	for i := 0; i+1 < len(v.pairs); i += 2 {
		if v.pairs[i] == name {
			return v.pairs[i+1], v.pairs[i+1] != nil
		}
	}
	return nil, false
}

// The marks around a run whose direction is its own.
const (
	isolate    = "\u2068"
	endIsolate = "\u2069"
)

// write keeps a value such as "3.5 V" or "555-0100" from being turned around
// by the right-to-left text beside it.
func (v values) write(b *strings.Builder, value any) {
	text := inDigits(value)
	if v.rightToLeft && turns(text) {
		b.WriteString(isolate)
		defer b.WriteString(endIsolate)
	}
	b.WriteString(text)
}

// turns reports whether a text can change its order in right-to-left text: it
// has Latin letters, or digits and anything beside them.
func turns(text string) bool {
	digits := 0
	for i := range len(text) {
		switch c := text[i]; {
		case 'a' <= c && c <= 'z' || 'A' <= c && c <= 'Z':
			return true
		case '0' <= c && c <= '9':
			digits++
		}
	}
	return digits > 0 && digits < len(text)
}

// inDigits writes a value, numbers in the digits 0 to 9 without exponent in
// every language: they must match what a meter or a screen shows.
func inDigits(value any) string {
	switch v := value.(type) {
	case string:
		return v
	case int:
		return strconv.Itoa(v)
	case fmt.Stringer, error:
		return fmt.Sprint(v)
	}
	switch v := reflect.ValueOf(value); v.Kind() {
	case reflect.Float32:
		return strconv.FormatFloat(v.Float(), 'f', -1, 32)
	case reflect.Float64:
		return strconv.FormatFloat(v.Float(), 'f', -1, 64)
	}
	return fmt.Sprint(value)
}

// count is the value of Count as the plural rules take it.
func (v values) count() (any, error) {
	value, ok := v.find("Count")
	if !ok {
		return nil, fmt.Errorf("%w for Count", errNoValue)
	}
	if n, ok := value.(int); ok {
		return n, nil
	}
	digits := inDigits(value)
	if f, err := strconv.ParseFloat(digits, 64); err != nil || !(-1e15 < f && f < 1e15) {
		return nil, fmt.Errorf("%w: %s", errNoCount, digits)
	}
	return digits, nil
}
