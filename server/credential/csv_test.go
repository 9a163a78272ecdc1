package credential

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"lampwright/locales/problem"
)

func fieldsOf(rows []Row) [][]string {
	var all [][]string
	for _, row := range rows {
		all = append(all, row.Fields)
	}
	return all
}

// same compares rows, none at all and no rows being the same.
func same(a, b [][]string) bool { return slices.EqualFunc(a, b, slices.Equal[[]string]) }

// RFC 4180, 2, by its numbers, from memory; then what spreadsheets do.
func TestReadCSV(t *testing.T) {
	for name, test := range map[string]struct {
		text string
		rows [][]string
	}{
		"2.1: CR LF after each":              {"aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", [][]string{{"aaa", "bbb", "ccc"}, {"zzz", "yyy", "xxx"}}},
		"2.2: no line end at the end":        {"aaa,bbb,ccc\r\nzzz,yyy,xxx", [][]string{{"aaa", "bbb", "ccc"}, {"zzz", "yyy", "xxx"}}},
		"2.4: spaces are part of a field":    {"a, b ,c\r\n", [][]string{{"a", " b ", "c"}}},
		"2.4: a comma at the end":            {"a,\r\nb,\r\n", [][]string{{"a", ""}, {"b", ""}}},
		"2.4: a comma at the very end":       {"a,b\r\nc,", [][]string{{"a", "b"}, {"c", ""}}},
		"2.5: quoted or not":                 {"\"aaa\",bbb\r\n", [][]string{{"aaa", "bbb"}}},
		"2.6: line ends and commas inside":   {"\"aaa\",\"b\r\nb,b\"\r\nzzz,yyy\r\n", [][]string{{"aaa", "b\r\nb,b"}, {"zzz", "yyy"}}},
		"2.7: a quotation mark inside":       {"\"b\"\"b\",\"\"\"\",\"\"\r\n", [][]string{{"b\"b", "\"", ""}}},
		"lines in LF":                        {"a,b\nc,d\n", [][]string{{"a", "b"}, {"c", "d"}}},
		"a byte order mark":                  {"\ufeffa,b\r\n", [][]string{{"a", "b"}}},
		"a byte order mark, quoted":          {"\"\ufeffa\",b\r\n", [][]string{{"\ufeffa", "b"}}},
		"semicolons where no comma is":       {"a;b\r\nc;\"1,5\"\r\n", [][]string{{"a", "b"}, {"c", "1,5"}}},
		"semicolons, then commas unquoted":   {"a;b\r\nc;1,5\r\n", [][]string{{"a", "b"}, {"c", "1,5"}}},
		"a semicolon beside commas":          {"a;b,c\r\n", [][]string{{"a;b", "c"}}},
		"a quoted semicolon is no separator": {"\"a;b\"\r\nc\r\n", [][]string{{"a;b"}, {"c"}}},
		"empty lines":                        {"\r\na,b\r\n\r\n\nc,d\r\n\r\n", [][]string{{"a", "b"}, {"c", "d"}}},
		"one field that is empty":            {"a\r\n\"\"\r\nb\r\n", [][]string{{"a"}, {""}, {"b"}}},
		"a formula of ours":                  {"'=1+1,'-5,''=x\r\n", [][]string{{"=1+1", "-5", "'=x"}}},
		"an apostrophe that is a letter":     {"'t Hart,O'Hara,'\r\n", [][]string{{"'t Hart", "O'Hara", "'"}}},
		"a formula of someone else":          {"=1+1,-5\r\n", [][]string{{"=1+1", "-5"}}},
		"nothing":                            {"", nil},
		"a byte order mark and nothing":      {"\ufeff", nil},
		"a letter that is itself no letter":  {"\ufffd\r\n", [][]string{{"\ufffd"}}},
	} {
		t.Run(name, func(t *testing.T) {
			rows, err := ReadCSV([]byte(test.text))
			if err != nil || !same(fieldsOf(rows), test.rows) {
				t.Errorf("got %q, %v, expected %q", fieldsOf(rows), err, test.rows)
			}
		})
	}
}

func TestLinesOfRows(t *testing.T) {
	rows, err := ReadCSV([]byte("a,b\r\n\r\n\"c\r\nc\nc\",d\ne,f\n"))
	if err != nil {
		t.Fatal(err)
	}
	var lines []int
	for _, row := range rows {
		lines = append(lines, row.Line)
	}
	if !slices.Equal(lines, []int{1, 3, 6}) {
		t.Errorf("lines %v", lines)
	}
}

func TestBrokenCSV(t *testing.T) {
	for name, test := range map[string]struct {
		text, key    string
		line, column any
	}{
		"a quotation mark in the middle":       {"a,b\r\nc,d\"d\r\n", "problem.csv-quote", 2, 2},
		"a letter after the quotation mark":    {"a,b\r\nc,\"d\"d\r\n", "problem.csv-quote", 2, 2},
		"a space after the quotation mark":     {"\"a\" ,b\r\n", "problem.csv-quote", 1, 1},
		"a quotation mark that never closes":   {"a,b\r\nc,\"d\r\ne,f\r\n", "problem.csv-open", 2, 2},
		"a quotation mark at the very end":     {"a,\"", "problem.csv-open", 1, 2},
		"doubled at the very end":              {"a,\"\"\"", "problem.csv-open", 1, 2},
		"lines in CR":                          {"a,b\rc,d\r", "problem.csv-return", 1, 2},
		"CR at the very end":                   {"a,b\r\nc,d\r", "problem.csv-return", 2, 2},
		"a row too short":                      {"a,b\r\nc,d\r\ne\r\n", "problem.csv-fields", 3, nil},
		"a row too long":                       {"a,b\r\nc,d,e\r\n", "problem.csv-fields", 2, nil},
		"another encoding":                     {"a,b\r\nIn\xe9s,d\r\n", "problem.csv-utf8", 2, nil},
		"another encoding after ours":          {"a\ufffd,b\r\n\r\nIn\xe9s\xff,d\r\n", "problem.csv-utf8", 3, nil},
		"a column after the last there may be": {strings.Repeat(",", maxCSVColumns) + "\r\n", "problem.csv-columns", 1, nil},
		"a row after the last there may be":    {strings.Repeat("a\n", maxCSVRows+1), "problem.csv-rows", maxCSVRows + 1, nil},
		"a byte after the last there may be":   {strings.Repeat("a", maxCSVBytes+1), "problem.csv-bytes", nil, nil},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := ReadCSV([]byte(test.text))
			data := refused(t, err, test.key)
			if data["Line"] != test.line || data["Column"] != test.column {
				t.Errorf("got %v", data)
			}
		})
	}
	for _, fits := range []string{
		strings.Repeat(",", maxCSVColumns-1) + "\r\n", strings.Repeat("a\n", maxCSVRows), strings.Repeat("a", maxCSVBytes),
	} {
		if _, err := ReadCSV([]byte(fits)); err != nil {
			t.Error(err)
		}
	}
	if _, err := ReadCSV(make([]byte, maxCSVBytes+1)); !problem.Is(err, problem.TooLarge) {
		t.Error(err)
	}
}

// What a spreadsheet would reckon it must read as text.
func TestNoFieldIsAFormula(t *testing.T) {
	for _, field := range []string{"=1+1", "+1", "-5", "@SUM(A1)", "\t=1", "\r=1", "=cmd|' /C calc'!A1", "'=1", "''=1"} {
		written := string(WriteCSV([][]string{{"a", field}}))
		shown := strings.TrimPrefix(strings.TrimSuffix(written, "\r\n"), "a,")
		if !strings.HasPrefix(strings.TrimPrefix(shown, `"`), "'") {
			t.Errorf("%q is written as %q", field, shown)
		}
	}
	for _, field := range []string{"a=1", "5", " =1", "Inés", "2026-03-31", "", "'t Hart"} {
		if written := string(WriteCSV([][]string{{"a", field}})); strings.Contains(written, "''") || strings.Count(written, "'") != strings.Count(field, "'") {
			t.Errorf("%q is written as %q", field, written)
		}
	}
}

// field is any text: letters, and what CSV, spreadsheets and decoders trip over.
func field() *rapid.Generator[string] {
	return rapid.OneOf(
		rapid.String(),
		rapid.StringOf(rapid.RuneFrom([]rune("\"',;=+-@\t\r\n a\ufeff\x00é٣"))),
		rapid.SampledFrom([]string{"", "'", "''", "'=", "''=", "=", "-5", "\r\n", "\n", "\r", "\"", "\"\"", "\ufeff", "\ufeffa", " ", ";", "a;b", "\u2028"}),
	)
}

func table() *rapid.Generator[[][]string] {
	return rapid.Custom(func(t *rapid.T) [][]string {
		width := rapid.IntRange(1, 5).Draw(t, "width")
		return rapid.SliceOfN(rapid.SliceOfN(field(), width, width), 0, 8).Draw(t, "rows")
	})
}

func TestAnyTextComesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows := table().Draw(t, "rows")
		written := WriteCSV(rows)
		read, err := ReadCSV(written)
		if err != nil || !same(fieldsOf(read), rows) {
			t.Fatalf("wrote %q as %q, read %q, %v", rows, written, fieldsOf(read), err)
		}
		if marked, err := ReadCSV(append([]byte(byteOrderMark), written...)); err != nil || !same(fieldsOf(marked), rows) {
			t.Fatalf("with a byte order mark: %q, %v", fieldsOf(marked), err)
		}
	})
}

// The reader of the standard library, which drops the CR of a CR LF, agrees
// where there is none.
func TestAnotherReaderAgrees(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows := table().Draw(t, "rows")
		for _, row := range rows {
			for i := range row {
				row[i] = strings.TrimLeft(strings.NewReplacer("\r", "").Replace(row[i]), "'=+-@\t\ufeff")
			}
		}
		read, err := csv.NewReader(bytes.NewReader(WriteCSV(rows))).ReadAll()
		if err != nil || !same(read, rows) {
			t.Fatalf("wrote %q, read %q, %v", rows, read, err)
		}
	})
}

func TestTextThatIsNoText(t *testing.T) {
	rows, err := ReadCSV(WriteCSV([][]string{{"a\xff\xfeb", "c"}}))
	if err != nil || rows[0].Fields[0] != "a\ufffdb" {
		t.Errorf("got %q, %v", fieldsOf(rows), err)
	}
}

func FuzzReadCSV(f *testing.F) {
	for _, text := range []string{
		"a,b\r\n\"c\r\n\"\"\",'=d\r\n", "\ufeffa;b\n1;2", "\"", "a\rb", "'", "''=\n", "\r\n\r", ",,\n", "\"a;b\"\nc",
	} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		rows, err := ReadCSV(data)
		if err != nil {
			if problem.Of(err).Code == problem.Internal {
				t.Error(err)
			}
			return
		}
		again, err := ReadCSV(WriteCSV(fieldsOf(rows)))
		if err != nil || !same(fieldsOf(again), fieldsOf(rows)) {
			t.Errorf("%q: first %q, then %q, %v", data, fieldsOf(rows), fieldsOf(again), err)
		}
	})
}

// wide is a list of people as long as a large programme's.
func wide() [][]string {
	rows := [][]string{{"external_id", "given_name", "family_name", "role", "site_code", "note"}}
	for i := range 10_000 {
		rows = append(rows, []string{fmt.Sprintf("n-%05d", i), "Inés", "Ortega", "learner", "alder-bay", "nights, \"on call\""})
	}
	return rows
}

func BenchmarkWriteCSV(b *testing.B) {
	rows := wide()
	b.SetBytes(int64(len(WriteCSV(rows))))
	for b.Loop() {
		WriteCSV(rows)
	}
}

func BenchmarkReadCSV(b *testing.B) {
	data := WriteCSV(wide())
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		if _, err := ReadCSV(data); err != nil {
			b.Fatal(err)
		}
	}
}
