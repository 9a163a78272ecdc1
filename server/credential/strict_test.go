package credential

import (
	"strings"
	"testing"
)

func TestReadJSON(t *testing.T) {
	deep := func(n int) string { return strings.Repeat(`{"a":`, n) + "1" + strings.Repeat("}", n) }
	for name, test := range map[string]struct{ text, field string }{
		"a null":                 {`{"a":[1,{"b":null}]}`, "a[1].b"},
		"an empty array":         {`{"a":{"b":[]}}`, "a.b"},
		"a key twice":            {`{"a":{"b":1,"c":2,"b":1}}`, "a.b"},
		"a key twice, escaped":   {`{"ab":1,"\u0061b":1}`, "ab"},
		"more after it":          {`{} {}`, ""},
		"half an object":         {`{"a":1`, ""},
		"half an array":          {`{"a":[1`, "a"},
		"a key that is no text":  {`{1:2}`, ""},
		"no valid UTF-8":         {"{\"a\":\"\xff\"}", ""},
		"nothing":                {``, ""},
		"nested once too deep":   {deep(deepest + 1), strings.TrimSuffix(strings.Repeat("a.", deepest+1), ".")},
		"nested a thousand deep": {deep(1000), strings.TrimSuffix(strings.Repeat("a.", deepest+1), ".")},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := readJSON([]byte(test.text))
			if b, ok := err.(*broken); !ok || b.field != test.field {
				t.Errorf("got %v, expected a problem with %q", err, test.field)
			}
		})
	}
	for _, text := range []string{`{}`, `{"a":[1,"b",true,{"c":-1.5e3}]}`, deep(deepest), `"a"`} {
		if _, err := readJSON([]byte(text)); err != nil {
			t.Errorf("%s: %v", text, err)
		}
	}
}
