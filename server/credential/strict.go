package credential

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"lampwright/locales/problem"
)

// deepest is how far JSON may nest: more than anything here needs.
const deepest = 12

// readJSON reads one JSON value strictly: valid UTF-8, no null, no empty array,
// no key twice, nothing after it. A field of its error is the path to it.
func readJSON(data []byte) (any, error) {
	if !utf8.Valid(data) {
		return nil, &broken{"", "bytes", "UTF-8"}
	}
	d := json.NewDecoder(bytes.NewReader(data))
	d.UseNumber()
	v, err := readValue(d, "", 0)
	if err != nil {
		return nil, err
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return nil, &broken{"", "more", "one value"}
	}
	return v, nil
}

func readValue(d *json.Decoder, path string, depth int) (any, error) {
	token, err := d.Token()
	if err != nil {
		return nil, &broken{path, "no JSON", "JSON"}
	}
	if depth > deepest {
		return nil, &broken{path, "depth", "≤ " + strconv.Itoa(deepest)}
	}
	switch token {
	case nil:
		return nil, &broken{path, "null", "≠ null"}
	case json.Delim('{'):
		return readObject(d, path, depth)
	case json.Delim('['):
		var list []any
		for d.More() {
			v, err := readValue(d, path+"["+strconv.Itoa(len(list))+"]", depth+1)
			if err != nil {
				return nil, err
			}
			list = append(list, v)
		}
		if _, err := d.Token(); err != nil {
			return nil, &broken{path, "no JSON", "]"}
		}
		if len(list) == 0 {
			return nil, &broken{path, "[]", "≠ []"}
		}
		return list, nil
	}
	return token, nil
}

func readObject(d *json.Decoder, path string, depth int) (any, error) {
	object := map[string]any{}
	for d.More() {
		token, err := d.Token()
		key, ok := token.(string)
		if err != nil || !ok {
			return nil, &broken{path, "no JSON", "JSON"}
		}
		in := under(path, key)
		if _, twice := object[key]; twice {
			return nil, &broken{in, "2 ×", "1 ×"}
		}
		if object[key], err = readValue(d, in, depth+1); err != nil {
			return nil, err
		}
	}
	if _, err := d.Token(); err != nil {
		return nil, &broken{path, "no JSON", "}"}
	}
	return object, nil
}

func under(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

// broken is a rule that a document breaks. What it got and expected are terms of
// the format, the same in every language.
type broken struct{ field, got, expected string }

func (b *broken) Error() string {
	return fmt.Sprintf("%s: got %s, expected %s", b.field, b.got, b.expected)
}

// asProblem says a broken rule with a message.
func asProblem(err error, key string) error {
	var b *broken
	if !errors.As(err, &b) {
		return err
	}
	return problem.New(problem.Invalid, key, "Field", b.field, "Got", b.got, "Expected", b.expected)
}

// rules checks a document that readJSON read, and keeps the first rule broken.
type rules struct{ err *broken }

func (r *rules) fail(path string, got any, expected string) {
	if r.err == nil {
		r.err = &broken{path, shown(got), expected}
	}
}

// broke is the first broken rule as an error.
func (r *rules) broke() error {
	if r.err == nil {
		return nil
	}
	return r.err
}

// shown is a value as an error shows it, cut where it is long.
func shown(v any) string {
	if v == nil {
		return "–"
	}
	data, err := json.Marshal(v)
	if err != nil {
		return fmt.Sprint(v)
	}
	return cut(string(data))
}

// cut keeps what is long from filling a page.
func cut(s string) string {
	const most = 60
	if utf8.RuneCountInString(s) <= most {
		return s
	}
	return string([]rune(s)[:most]) + "…"
}

// object is an object that has the needed keys. If other keys are named, "" for
// none, it has no further ones.
func (r *rules) object(v any, path string, needed []string, others ...string) map[string]any {
	m, ok := v.(map[string]any)
	if !ok {
		r.fail(path, v, "{…}")
		return nil
	}
	for _, key := range needed {
		if _, ok := m[key]; !ok {
			r.fail(under(path, key), nil, "✓")
		}
	}
	if len(others) > 0 {
		for _, key := range slices.Sorted(maps.Keys(m)) {
			if !slices.Contains(needed, key) && !slices.Contains(others, key) {
				r.fail(under(path, key), key, strings.Join(slices.Concat(needed, others), ", "))
			}
		}
	}
	return m
}

// text is a text that is not empty.
func (r *rules) text(v any, path string) string {
	s, ok := v.(string)
	if !ok || strings.TrimSpace(s) == "" {
		r.fail(path, v, "\"…\"")
	}
	return s
}

// is checks a text against the only ones it may be.
func (r *rules) is(v any, path string, wanted ...string) {
	if s, ok := v.(string); !ok || !slices.Contains(wanted, s) {
		r.fail(path, v, strings.Join(wanted, ", "))
	}
}

// list checks an array against the one it must be.
func (r *rules) list(v any, path string, wanted ...string) {
	got, ok := v.([]any)
	ok = ok && len(got) == len(wanted)
	for i := 0; ok && i < len(wanted); i++ {
		ok = got[i] == any(wanted[i])
	}
	if !ok {
		r.fail(path, v, shown(wanted))
	}
}

// boolean is true or false.
func (r *rules) boolean(v any, path string) bool {
	b, ok := v.(bool)
	if !ok {
		r.fail(path, v, "true, false")
	}
	return b
}

// whole is a number without fraction, such as a time in seconds.
func (r *rules) whole(v any, path string) int64 {
	n, ok := v.(json.Number)
	if ok {
		if i, err := strconv.ParseInt(n.String(), 10, 64); err == nil {
			return i
		}
	}
	r.fail(path, v, "1, 2, 3…")
	return 0
}
