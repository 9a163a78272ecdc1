package record

import (
	"context"
	"time"

	"lampwright/locales/problem"
)

// How far the machine's clock may be behind the mark before nothing is
// recorded any more, and how often the mark is written down.
const (
	clockSlack  = 2 * time.Minute
	clockWrites = time.Minute
)

// Clock gives the time to record with: now, or the latest time ever given out
// if now is a little before it, so that recorded times never run backwards. A
// clock further behind is refused: a sign-off's date would be wrong.
//
// The mark is written at most once a minute. That it cannot be written keeps
// nobody from reading: the write that follows says why.
func (s *Store) Clock(ctx context.Context, now time.Time) (_ time.Time, err error) {
	defer problem.In(&err, "record.Clock")
	// Truncating also drops the monotonic reading, which would hide that the
	// clock on the wall was set back while we ran.
	now = now.UTC().Truncate(time.Millisecond)
	s.mu.Lock()
	if s.mark.Sub(now) > clockSlack {
		mark := s.mark
		s.mu.Unlock()
		return time.Time{}, problem.New(problem.Unavailable, "problem.clock-behind", "Now", now, "Mark", mark)
	}
	if now.After(s.mark) {
		s.mark = now
	}
	mark := s.mark
	due := mark.Sub(s.persisted) >= clockWrites
	if due {
		s.persisted = mark
	}
	s.mu.Unlock()
	if due {
		if err := s.persist(ctx, mark); err != nil && !problem.Is(err, problem.Unavailable) {
			return time.Time{}, err
		}
	}
	return mark, nil
}

// AcceptClock takes now for the true time, however far the mark is ahead of
// it, and gives the mark that was: for a machine whose clock once stood in the
// future. It is for someone at the machine, with the server stopped.
func (s *Store) AcceptClock(ctx context.Context, now time.Time) (mark time.Time, err error) {
	defer problem.In(&err, "record.AcceptClock")
	now = now.UTC().Truncate(time.Millisecond)
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.change(ctx, `UPDATE clock SET mark = $1`, now.UnixMilli()); err != nil {
		return time.Time{}, err
	}
	mark, s.mark, s.persisted = s.mark, now, now
	return mark, nil
}

func (s *Store) persist(ctx context.Context, mark time.Time) error {
	return s.change(ctx, `UPDATE clock SET mark = $1 WHERE mark < $1`, mark.UnixMilli())
}
