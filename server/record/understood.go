package record

import (
	"errors"
	"io/fs"
	"strings"
	"syscall"

	"github.com/mattn/go-sqlite3"

	"lampwright/locales/problem"
)

// understood turns what SQLite or the system says into a problem fit for a
// person, and leaves alone what nobody outside could act on.
func understood(err error) error {
	var p *problem.Problem
	if err == nil || errors.As(err, &p) {
		return err
	}
	var e sqlite3.Error
	if errors.As(err, &e) {
		if known := fromSQLite(e, err); known != nil {
			return known
		}
	}
	switch {
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT), e.SystemErrno == syscall.ENOSPC, e.SystemErrno == syscall.EDQUOT:
		return problem.Wrap(err, problem.Unavailable, "problem.full")
	case errors.Is(err, fs.ErrPermission), errors.Is(err, syscall.EROFS), e.SystemErrno == syscall.EACCES, e.SystemErrno == syscall.EROFS:
		return problem.Wrap(err, problem.Unavailable, "problem.read-only")
	}
	return err
}

func fromSQLite(e sqlite3.Error, err error) error {
	switch e.Code {
	case sqlite3.ErrBusy, sqlite3.ErrLocked:
		return problem.Wrap(err, problem.Unavailable, "problem.busy")
	case sqlite3.ErrFull:
		return problem.Wrap(err, problem.Unavailable, "problem.full")
	case sqlite3.ErrReadonly, sqlite3.ErrPerm:
		return problem.Wrap(err, problem.Unavailable, "problem.read-only")
	case sqlite3.ErrCorrupt, sqlite3.ErrNotADB:
		return problem.Wrap(err, problem.Unavailable, "problem.damaged")
	}
	switch e.ExtendedCode {
	case sqlite3.ErrConstraintForeignKey:
		return problem.Wrap(err, problem.Unknown, "problem.unknown-record")
	case sqlite3.ErrConstraintUnique:
		switch {
		case strings.Contains(err.Error(), "failed: people.card"):
			return problem.Wrap(err, problem.Invalid, "problem.card-taken")
		case strings.Contains(err.Error(), "failed: people.username"):
			return problem.Wrap(err, problem.Invalid, "problem.username-taken")
		}
	}
	return nil
}
