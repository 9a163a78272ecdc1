package credential

import (
	"bytes"
	"strings"
	"unicode/utf8"

	"lampwright/locales/problem"
)

// What a CSV file may hold at most: a programme's people many times over.
const (
	maxCSVBytes   = 8 << 20
	maxCSVRows    = 50_000
	maxCSVColumns = 64
)

const byteOrderMark = "\ufeff"

// Row is a row as it was read: its fields, and the line it begins on.
type Row struct {
	Line   int
	Fields []string
}

// WriteCSV writes rows, the first of them the header, in the form of RFC 4180.
// A field that a spreadsheet would take for a formula gets a ' in front, which
// ReadCSV takes away: any text comes back as it was.
func WriteCSV(rows [][]string) []byte {
	var b bytes.Buffer
	for _, row := range rows {
		for i, field := range row {
			if i > 0 {
				b.WriteByte(',')
			}
			writeField(&b, field, len(row) == 1)
		}
		b.WriteString("\r\n")
	}
	return b.Bytes()
}

// writeField quotes what must be, and what another program would split at or
// trim; alone, an empty field too, or its line would be no row.
func writeField(b *bytes.Buffer, field string, alone bool) {
	field = strings.ToValidUTF8(field, "\ufffd")
	if isFormula(strings.TrimLeft(field, "'")) {
		field = "'" + field
	}
	quoted := alone && field == "" || strings.ContainsAny(field, "\",;\t\r\n") ||
		strings.HasPrefix(field, " ") || strings.HasSuffix(field, " ") || strings.HasPrefix(field, byteOrderMark)
	if !quoted {
		b.WriteString(field)
		return
	}
	b.WriteByte('"')
	b.WriteString(strings.ReplaceAll(field, `"`, `""`))
	b.WriteByte('"')
}

func isFormula(s string) bool { return s != "" && strings.IndexByte("=+-@\t\r", s[0]) >= 0 }

// unguarded takes one ' away from in front of a formula, and from nothing else:
// 't Hart is a name.
func unguarded(field string) string {
	if rest := strings.TrimLeft(field, "'"); len(rest) < len(field) && isFormula(rest) {
		return field[1:]
	}
	return field
}

// ReadCSV reads rows: commas, or semicolons where the first line has no comma,
// as spreadsheets write it where the comma is in the numbers; lines end in CR LF
// or LF, empty ones are left out, a byte order mark too. Every row is as long as
// the first.
func ReadCSV(data []byte) (_ []Row, err error) {
	defer problem.In(&err, "credential.ReadCSV")
	if len(data) > maxCSVBytes {
		return nil, problem.New(problem.TooLarge, "problem.csv-bytes", "Most", maxCSVBytes>>20)
	}
	text := strings.TrimPrefix(string(data), byteOrderMark)
	if !utf8.ValidString(text) {
		return nil, problem.New(problem.Invalid, "problem.csv-utf8", "Line", invalidLine(text))
	}
	r := csvReader{text: text, comma: separator(text), line: 1}
	var rows []Row
	for r.at < len(r.text) {
		if r.lineEnd() {
			continue
		}
		row := Row{Line: r.line}
		if row.Fields, err = r.row(); err != nil {
			return nil, err
		}
		switch {
		case len(rows) == maxCSVRows:
			return nil, problem.New(problem.TooLarge, "problem.csv-rows", "Line", row.Line, "Most", maxCSVRows)
		case len(rows) > 0 && len(row.Fields) != len(rows[0].Fields):
			return nil, problem.New(problem.Invalid, "problem.csv-fields",
				"Line", row.Line, "Got", len(row.Fields), "Expected", len(rows[0].Fields))
		}
		rows = append(rows, row)
	}
	return rows, nil
}

func invalidLine(text string) int {
	line := 1
	for i, c := range text {
		if c == utf8.RuneError {
			if _, size := utf8.DecodeRuneInString(text[i:]); size == 1 {
				break
			}
		}
		if c == '\n' {
			line++
		}
	}
	return line
}

// separator looks at the first line that is not empty, outside of quotes.
func separator(text string) byte {
	text = strings.TrimLeft(text, "\r\n")
	quoted, found := false, byte(',')
	for i := range len(text) {
		switch c := text[i]; {
		case c == '"':
			quoted = !quoted
		case quoted:
		case c == ',':
			return ','
		case c == ';':
			found = ';'
		case c == '\n':
			return found
		}
	}
	return found
}

type csvReader struct {
	text  string
	comma byte
	at    int
	line  int
	width int // of the row before: what to make room for
}

// lineEnd goes past a line end that stands here.
func (r *csvReader) lineEnd() bool {
	switch rest := r.text[r.at:]; {
	case strings.HasPrefix(rest, "\n"):
		r.at++
	case strings.HasPrefix(rest, "\r\n"):
		r.at += 2
	default:
		return false
	}
	r.line++
	return true
}

func (r *csvReader) row() ([]string, error) {
	fields := make([]string, 0, max(r.width, 1))
	for {
		if len(fields) == maxCSVColumns {
			return nil, problem.New(problem.TooLarge, "problem.csv-columns", "Line", r.line, "Most", maxCSVColumns)
		}
		field, err := r.field(len(fields) + 1)
		if err != nil {
			return nil, err
		}
		fields = append(fields, unguarded(field))
		if r.at == len(r.text) || r.lineEnd() {
			r.width = len(fields)
			return fields, nil
		}
		r.at++ // the separator
	}
}

// field reads up to the separator, the line end or the end.
func (r *csvReader) field(column int) (string, error) {
	if r.at < len(r.text) && r.text[r.at] == '"' {
		return r.quoted(column)
	}
	for i := r.at; ; i++ {
		if i == len(r.text) || r.text[i] == r.comma || r.text[i] == '\n' || strings.HasPrefix(r.text[i:], "\r\n") {
			field := r.text[r.at:i]
			r.at = i
			return field, nil
		}
		switch r.text[i] {
		case '"':
			return "", r.wrong("problem.csv-quote", column)
		case '\r':
			return "", r.wrong("problem.csv-return", column)
		}
	}
}

func (r *csvReader) quoted(column int) (string, error) {
	start, doubled := r.at+1, false
	for i := start; ; i++ {
		next := strings.IndexByte(r.text[i:], '"')
		if next < 0 {
			return "", r.wrong("problem.csv-open", column)
		}
		i += next
		if strings.HasPrefix(r.text[i+1:], `"`) {
			doubled = true
			i++
			continue
		}
		field := r.text[start:i]
		r.at = i + 1
		if rest := r.text[r.at:]; rest != "" && rest[0] != r.comma && rest[0] != '\n' && !strings.HasPrefix(rest, "\r\n") {
			return "", r.wrong("problem.csv-quote", column)
		}
		r.line += strings.Count(field, "\n")
		if doubled {
			field = strings.ReplaceAll(field, `""`, `"`)
		}
		return field, nil
	}
}

func (r *csvReader) wrong(key string, column int) error {
	return problem.New(problem.Invalid, key, "Line", r.line, "Column", column)
}
