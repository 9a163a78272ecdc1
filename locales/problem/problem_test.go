package problem_test

import (
	"errors"
	"fmt"
	"io"
	"testing"

	"lampwright/locales/problem"
)

func TestOf(t *testing.T) {
	moved := problem.New(problem.Moved, "problem.moved", "Seq", 3)
	for name, c := range map[string]struct {
		err  error
		code problem.Code
		key  string
	}{
		"a problem":                {moved, problem.Moved, "problem.moved"},
		"a problem deep inside":    {fmt.Errorf("a: %w", fmt.Errorf("b: %w", moved)), problem.Moved, "problem.moved"},
		"a problem beside another": {errors.Join(io.EOF, moved), problem.Moved, "problem.moved"},
		"the outer of two":         {problem.Wrap(moved, problem.SignIn, "problem.session-ended"), problem.SignIn, "problem.session-ended"},
		"any other error":          {io.EOF, problem.Internal, "problem.internal"},
		"none":                     {nil, problem.Internal, "problem.internal"},
	} {
		t.Run(name, func(t *testing.T) {
			p := problem.Of(c.err)
			if p.Code != c.code || p.Key != c.key {
				t.Errorf("got %s %s, expected %s %s", p.Code, p.Key, c.code, c.key)
			}
		})
	}
	if p := problem.Of(io.EOF); !errors.Is(p, io.EOF) {
		t.Error("the cause is lost")
	}
}

func TestIs(t *testing.T) {
	err := fmt.Errorf("a: %w", problem.Wrap(io.EOF, problem.Unavailable, "problem.busy"))
	if !problem.Is(err, problem.Unavailable) || problem.Is(err, problem.Moved) {
		t.Error("the code of a wrapped problem was misread")
	}
	if problem.Is(io.EOF, problem.Internal) || problem.Is(nil, problem.Internal) {
		t.Error("what carries no problem was taken for one")
	}
	if !errors.Is(err, io.EOF) {
		t.Error("the cause is lost")
	}
}

func TestData(t *testing.T) {
	for name, c := range map[string]struct {
		p    *problem.Problem
		text string
	}{
		"nothing named":        {problem.New(problem.Invalid, "k"), "invalid: k"},
		"a value":              {problem.New(problem.Invalid, "k", "Value", 7), "invalid: k map[Value:7]"},
		"a name without value": {problem.New(problem.Invalid, "k", "Value", 7, "Lost"), "invalid: k map[Value:7]"},
		"a cause":              {problem.Wrap(io.EOF, problem.Invalid, "k", "Value", "x"), "invalid: k map[Value:x]: EOF"},
	} {
		t.Run(name, func(t *testing.T) {
			if got := c.p.Error(); got != c.text {
				t.Errorf("got %q, expected %q", got, c.text)
			}
		})
	}
}

func TestIn(t *testing.T) {
	named := func(in error) (err error) {
		defer problem.In(&err, "record.Open")
		return in
	}
	if err := named(nil); err != nil {
		t.Errorf("no error became %v", err)
	}
	err := named(problem.New(problem.Moved, "problem.moved"))
	if err.Error() != "record.Open: moved: problem.moved" || !problem.Is(err, problem.Moved) {
		t.Errorf("got %v", err)
	}
}
