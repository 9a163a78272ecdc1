package record

import (
	"context"
	"time"

	"lampwright/locales/problem"
)

// Place is the card of a lesson at which someone stopped, counted from 1.
type Place struct {
	Lesson string
	Card   int
}

// PutPlace records how far a person has read on a set-up; only the last
// lesson's place is kept.
func (s *Store) PutPlace(ctx context.Context, siteID, personID, setupID string, p Place, at time.Time) (err error) {
	defer problem.In(&err, "record.PutPlace")
	return s.change(ctx, `
		INSERT INTO places (site_id, person_id, setup_id, lesson, card, reached) VALUES ($1, $2, $3, $4, $5, $6)
		ON CONFLICT (site_id, person_id, setup_id) DO UPDATE SET lesson = excluded.lesson, card = excluded.card, reached = excluded.reached`,
		siteID, personID, setupID, p.Lesson, p.Card, at.UnixMilli())
}

// PlaceOf reads how far a person has read on a set-up; problem.Unknown if they
// have not begun.
func (s *Store) PlaceOf(ctx context.Context, siteID, personID, setupID string) (_ Place, err error) {
	defer problem.In(&err, "record.PlaceOf")
	return one(ctx, s.reader, func(scan scan) (p Place, err error) {
		err = scan(&p.Lesson, &p.Card)
		return p, err
	}, "problem.not-found", `SELECT lesson, card FROM places WHERE site_id = $1 AND person_id = $2 AND setup_id = $3`, siteID, personID, setupID)
}
