package record

import (
	"fmt"
	"testing"
	"time"

	"lampwright/locales/problem"
)

func TestFeeds(t *testing.T) {
	s := house(t)
	since, err := s.FeedSince(ctx, site, "ines", FeedOwn)
	must(t, err)
	same(t, since, time.Time{})
	must(t, s.PutFeed(ctx, site, "ines", FeedOwn, "hash 1", noon))
	must(t, s.PutFeed(ctx, site, "omar", FeedSite, "hash 2", noon))
	f, err := s.Feed(ctx, "hash 1")
	must(t, err)
	same(t, [2]string{f.Person.ID, f.Scope}, [2]string{"ines", FeedOwn})
	same(t, f.Created, noon)

	must(t, s.PutFeed(ctx, site, "ines", FeedOwn, "hash 3", noon.Add(time.Hour)))
	_, err = s.Feed(ctx, "hash 1")
	wants(t, err, problem.Unknown, "problem.not-found")
	since, err = s.FeedSince(ctx, site, "ines", FeedOwn)
	must(t, err)
	same(t, since, noon.Add(time.Hour))
	for range 2 {
		must(t, s.StopFeed(ctx, site, "omar", FeedSite, noon))
	}
	_, err = s.Feed(ctx, "hash 2")
	wants(t, err, problem.Unknown, "problem.not-found")
	changes, err := s.Changes(ctx, site, "omar", noon.Add(time.Hour), 10)
	must(t, err)
	same(t, [2]string{changes[0].Kind, changes[0].New}, [2]string{"feed", ""})
	same(t, len(changes), 3) // added, made, stopped once

	must(t, s.Erase(ctx, site, "ines", noon.Add(2*time.Hour)))
	_, err = s.Feed(ctx, "hash 3")
	wants(t, err, problem.Unknown, "problem.not-found")
	wants(t, s.PutFeed(ctx, site, "nobody", FeedOwn, "hash 4", noon), problem.Unknown, "problem.unknown-record")
}

// did records one of everything that is told.
func did(t testing.TB, s *Store) SignOff {
	t.Helper()
	must(t, s.MarkLesson(ctx, site, "ines", "chair-12", "v1", "sources", "1", false, noon, "form 1"))
	must(t, s.MarkLesson(ctx, site, "ines", "chair-12", "v1", "sources", "1", true, noon, "form 2"))
	for i, mode := range []string{Quiz, Practice, Quiz} {
		r := run1
		r.Mode = mode
		r, err := s.StartRun(ctx, r, fmt.Sprint("run ", i))
		must(t, err)
		if i < 2 { // the last is still open
			must(t, s.EndRun(ctx, site, r.ID, true, 0.75, nil, noon.Add(90*time.Second)))
		}
	}
	o, _, err := s.Sign(ctx, signOff1, "sign 1")
	must(t, err)
	return o
}

func TestDeeds(t *testing.T) {
	s := house(t)
	o := did(t, s)
	anew := signOff1
	anew.Supersedes, anew.Signed = o.ID, noon.Add(time.Hour)
	anew, _, err := s.Sign(ctx, anew, "sign 2")
	must(t, err)
	for i, kind := range []string{"suspended", "revoked"} {
		_, _, err := s.AddEvent(ctx, Event{
			SiteID: site, SignOffID: anew.ID, Kind: kind, ByID: "omar", ByName: "Omar", At: noon.Add(2 * time.Hour), AtLocal: "06:00",
			FormKey: fmt.Sprint("event ", i),
		}, allowed)
		must(t, err)
	}
	deeds, err := s.Deeds(ctx, site)
	must(t, err)
	var got []string
	names := map[string]bool{}
	for _, d := range deeds {
		got = append(got, fmt.Sprint(d.Kind, " ", d.PersonID, " ", d.ByID, " ", d.SetupVersion, " ", d.At.Sub(noon), " ", d.Took, " ", d.Passed, " ", d.Score))
		names[d.Record] = true
	}
	same(t, got, []string{
		"lesson ines  v1 0s 0s true 0",
		"sign-off ines  v1 0s 0s true 0",
		"run ines  v1 1m30s 1m30s true 0.75",
		"event ines omar v1 1h0m0s 0s false 0",
		"sign-off ines  v1 1h0m0s 0s true 0",
		"event ines omar v1 2h0m0s 0s false 0",
	})
	same(t, len(names), len(deeds))
	same(t, []string{deeds[3].Object, deeds[5].Object}, []string{"sign-off/" + o.ID, "sign-off/" + anew.ID})

	// Done again, it is told again; what is told once is not.
	same(t, untold(t, s), 6)
	same(t, untold(t, s), 0)
	must(t, s.MarkLesson(ctx, site, "ines", "chair-12", "v1", "sources", "1", true, noon.Add(-time.Hour), "form 3")) // by a clock that was wrong
	same(t, untold(t, s), 1)
}

// untold puts all that is new into the outbox, and counts it.
func untold(t testing.TB, s *Store) int {
	t.Helper()
	deeds, err := s.NewDeeds(ctx, site, 1000)
	must(t, err)
	var letters []Letter
	for _, d := range deeds {
		letters = append(letters, Letter{Record: d.Record, ID: "id of " + d.Record, PersonID: d.PersonID, Statement: []byte(`{"of":"ines"}`)})
	}
	for range 2 { // twice is once
		must(t, s.PutLetters(ctx, site, letters, noon))
	}
	return len(letters)
}

func TestLetters(t *testing.T) {
	s := house(t)
	did(t, s)
	same(t, untold(t, s), 3)
	due := func(at time.Time, most int) []Letter {
		t.Helper()
		list, err := s.DueLetters(ctx, site, at, most)
		must(t, err)
		return list
	}
	waiting := func() int {
		t.Helper()
		n, err := s.LettersWaiting(ctx, site)
		must(t, err)
		return n
	}
	same(t, len(due(noon.Add(-time.Second), 10)), 0)
	list := due(noon, 2)
	same(t, len(list), 2)
	same(t, string(list[0].Statement), `{"of":"ines"}`)
	must(t, s.LettersFailed(ctx, site, list, func(tries int) time.Time { return noon.Add(time.Duration(tries) * time.Minute) }))
	same(t, len(due(noon, 10)), 1)
	list = due(noon.Add(time.Minute), 10)
	same(t, []int{list[0].Tries, list[1].Tries, list[2].Tries}, []int{1, 1, 0})

	must(t, s.LettersSent(ctx, site, list[:1], noon))
	must(t, s.LettersFailed(ctx, site, list[:1], func(int) time.Time { return noon })) // it is there already
	same(t, waiting(), 2)
	dir := dirOf(t, s)
	must(t, s.Close())
	s = open(t, dir)
	same(t, waiting(), 2)
	same(t, untold(t, s), 0)

	must(t, s.Erase(ctx, site, "ines", noon.Add(time.Hour)))
	same(t, waiting(), 0)
	same(t, untold(t, s), 0)
	must(t, s.PutLetters(ctx, site, list, noon)) // as one who read just before would
	same(t, waiting(), 0)
}

// BenchmarkNewDeeds where ten thousand people did all there is, and it was told.
func BenchmarkNewDeeds(b *testing.B) {
	s := house(b)
	for _, query := range []string{
		`WITH n(i) AS (VALUES (0) UNION ALL SELECT i + 1 FROM n WHERE i < 9999)
			INSERT INTO people (site_id, id, name, role, secret, language, setup_id, changed)
			SELECT '` + site + `', 'p' || i, 'P', 'learner', '', 'en', 'chair-12', 0 FROM n`,
		`WITH n(i) AS (VALUES (0) UNION ALL SELECT i + 1 FROM n WHERE i < 11)
			INSERT INTO lessons SELECT p.site_id, p.id, 'chair-12', 'v1', 'l' || i, '1', 1, 0, 'f', 1 FROM people p, n`,
		`INSERT INTO outbox (site_id, record, id, person_id, statement, made, next, sent)
			SELECT '` + site + `', record, record, '', '', 0, 0, 1 FROM (SELECT 'lesson/' || person_id || '/' || setup_id || '/' || setup_version || '/' || lesson || '/' || lesson_version || '/' || done AS record FROM lessons)`,
	} {
		_, err := s.writer.Exec(query)
		must(b, err)
	}
	for b.Loop() {
		list, err := s.NewDeeds(ctx, site, 100)
		must(b, err)
		if len(list) > 0 {
			b.Fatal(list)
		}
	}
}
