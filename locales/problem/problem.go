// Package problem is what went wrong, in a form that can reach a person: a
// code that decides the status, a message key the reader's language can say,
// and the cause, which stays in the log. No text for readers lives here, and
// no knowledge of pages or protocols.
package problem

import (
	"errors"
	"fmt"
)

// Code is the kind of a problem; the server maps each to one status.
type Code string

// The codes. A cause without a Problem around it counts as Internal.
const (
	Invalid     Code = "invalid"     // what was sent cannot be right
	Unknown     Code = "unknown"     // there is no such thing
	SignIn      Code = "sign-in"     // who is asking is not known
	Forbidden   Code = "forbidden"   // who is asking may not
	Moved       Code = "moved"       // it changed meanwhile: another tab, another person
	TooMany     Code = "too-many"    // slow down
	TooLarge    Code = "too-large"   // more was sent than is taken
	Unavailable Code = "unavailable" // not now: busy, read-only, full, a clock that is wrong
	Internal    Code = "internal"    // our fault
)

// Problem is an error fit for a person.
type Problem struct {
	Code  Code
	Key   string         // message key in the locales
	Data  map[string]any // what the message names: field, value, what was expected
	Cause error          // for the log, never for a reader
}

// New makes a Problem without a cause. Pairs are name, value, name, value.
func New(code Code, key string, pairs ...any) *Problem {
	return &Problem{Code: code, Key: key, Data: data(pairs)}
}

// Wrap makes a Problem around a cause. Pairs are name, value, name, value.
func Wrap(cause error, code Code, key string, pairs ...any) *Problem {
	return &Problem{Code: code, Key: key, Data: data(pairs), Cause: cause}
}

func data(pairs []any) map[string]any {
	if len(pairs) == 0 {
		return nil
	}
	m := make(map[string]any, len(pairs)/2)
	for i := 0; i+1 < len(pairs); i += 2 {
		m[fmt.Sprint(pairs[i])] = pairs[i+1]
	}
	return m
}

func (p *Problem) Error() string {
	s := string(p.Code) + ": " + p.Key
	if len(p.Data) > 0 {
		s += fmt.Sprintf(" %v", p.Data)
	}
	if p.Cause != nil {
		s += ": " + p.Cause.Error()
	}
	return s
}

func (p *Problem) Unwrap() error { return p.Cause }

// Of finds the Problem in err, or wraps err as Internal.
func Of(err error) *Problem {
	var p *Problem
	if errors.As(err, &p) {
		return p
	}
	return Wrap(err, Internal, "problem.internal")
}

// Is reports whether err carries a Problem with this code.
func Is(err error, code Code) bool {
	var p *Problem
	return errors.As(err, &p) && p.Code == code
}

// In adds the name of the function it is deferred in to *err:
//
//	defer problem.In(&err, "record.Open")
func In(err *error, function string) {
	if *err != nil {
		*err = fmt.Errorf("%s: %w", function, *err)
	}
}
