package server_test

import (
	"database/sql"
	"fmt"
	"net/url"
	"path/filepath"
	"strings"
	"testing"
	"time"

	_ "github.com/mattn/go-sqlite3"

	"lampwright/quiz/competency"
	"lampwright/server"
)

// atDatabase does statements on a data folder that nobody serves now: what
// would take too long by hand.
func atDatabase(t testing.TB, dir string, statements ...string) {
	t.Helper()
	db, err := sql.Open("sqlite3", filepath.Join(dir, "lampwright.db"))
	must(t, err)
	defer db.Close()
	for _, s := range statements {
		if _, err := db.Exec(s); err != nil {
			t.Fatal(err, s)
		}
	}
}

// crowd adds learners p1 to pN at Chair 12, named after their number, in two
// teams; those before signed are signed off, one each day, the first longest ago.
func crowd(t testing.TB, dir string, learners, signed int) {
	t.Helper()
	atDatabase(t, dir, fmt.Sprintf(`
		WITH n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < %d)
		INSERT INTO people (site_id, id, name, role, card, secret, language, setup_id, team, changed)
		SELECT 'main', 'p' || i, printf('Person %%05d', i), 'learner', 'C' || i, '', 'en', 'chair-12', iif(i %% 2, 'Nights', 'Days'), 0 FROM n`, learners),
		fmt.Sprintf(`
		WITH n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < %d)
		INSERT INTO sign_offs (site_id, id, person_id, educator_id, educator_name, competency, setup_id, setup_tag, setup_version,
			checklist_version, model_version, content_version, language, meaning, signed_name, checklist, features, rating,
			signed, signed_local, lapses, form_key, person_name)
		SELECT 'main', 's' || i, 'p' || i, 'demo-mara', 'Mara', 'power-sources', s.id, s.tag, s.version, '1', '1', '1', 'en', 'm', 'Mara', '{}', '',
			4, %d - (%d - i + 1) * 86400000, 'x', %[2]d + i * 86400000, 'f' || i, 'P' FROM n, setups s WHERE s.id = 'chair-12'`, signed, morning.UnixMilli(), signed))
}

// TestRosterOfMany: in pages, found by name and team, and by when they lapse.
func TestRosterOfMany(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	crowd(t, dir, 250, 80)
	h := serve(t, dir)
	inEach(t, func(t *testing.T, language string) {
		r := h.educator(t, language)
		says := func(path, key string, pairs ...any) answer {
			t.Helper()
			return r.get(path).says(t, r.speaker(), 200, key, pairs...)
		}
		all := 250 + len(demoLearners)
		says("/desk", "roster.shown", "From", 1, "To", 100, "Count", all)
		last := says("/desk?page=3", "roster.shown", "From", 201, "To", all, "Count", all)
		if strings.Contains(last.body, r.speaker().T("roster.after")) {
			t.Error("there is one after the last")
		}
		says("/desk?page=99", "roster.shown", "From", 201, "To", all, "Count", all)
		says("/desk?page=-1", "roster.shown", "From", 1, "To", 100, "Count", all)
		says("/desk?q=person+0000", "roster.shown", "From", 1, "To", 9, "Count", 9)
		says("/desk?q=NIGHTS", "roster.everyone", "Count", 125)
		says("/desk?q=nobody+of+this+name", "roster.nobody")
		says("/desk?q="+url.QueryEscape("<b>\xff"), "roster.nobody")

		// The first lapses tomorrow, the next the day after, and so on.
		for _, c := range []struct{ days, count int }{{30, 30}, {60, 60}, {90, 80}} {
			says("/desk", "roster.lapses", "Days", c.days, "Count", c.count)
			a := says(fmt.Sprintf("/desk?lapses=%d", c.days), "roster.shown", "From", 1, "To", c.count, "Count", c.count)
			if first := strings.Index(a.body, "Person 00001"); first < 0 || first > strings.Index(a.body, "Person 00002") {
				t.Error("who lapses first is not first")
			}
		}
		says("/desk?lapses=31", "roster.everyone", "Count", all)
		says("/desk?lapses=30&q=nights", "roster.shown", "From", 1, "To", 15, "Count", 15)

		// Nobody is signed off for the other competency.
		says("/desk?competency=going-out", "roster.lapses", "Days", 90, "Count", 0)
		r.get("/desk?competency=moon").says(t, r.speaker(), 404, "problem.not-found")
	})
}

// demoLearners are the learners of the demo.
var demoLearners = []string{"Rowan Teal", "Samira", "Jules"}

// The roster and a learner's own page say the same of a sign-off, whatever
// happened to it.
func TestRosterAgreesWithTheLearnersPage(t *testing.T) {
	t.Parallel()
	what := competency.Find(competency.PowerSources)
	day := 24 * time.Hour
	for name, c := range map[string]struct {
		after time.Duration
		do    string
		want  competency.Standing
	}{
		"fresh":                         {day, "", competency.Current},
		"no critical one was refreshed": {time.Duration(what.Refresh.Critical+what.Refresh.Grace+2) * day, "", competency.Suspended},
		"all were, yesterday": {
			time.Duration(what.Refresh.Critical+what.Refresh.Grace+2) * day,
			fmt.Sprintf(`UPDATE lessons SET done = %[1]d; UPDATE runs SET ended = %[1]d`, morning.Add(time.Duration(what.Refresh.Critical+what.Refresh.Grace+1)*day).UnixMilli()), competency.Current,
		},
		"all were, and long ago again": {
			200 * day,
			fmt.Sprintf(`UPDATE lessons SET done = %[1]d; UPDATE runs SET ended = %[1]d`, morning.Add(80*day).UnixMilli()), competency.Suspended,
		},
		"all but one were, yesterday": {
			time.Duration(what.Refresh.Critical+what.Refresh.Grace+2) * day,
			fmt.Sprintf(`UPDATE lessons SET done = %[1]d WHERE lesson <> 'your-panel'; UPDATE runs SET ended = %[1]d`, morning.Add(time.Duration(what.Refresh.Critical+what.Refresh.Grace+1)*day).UnixMilli()), competency.Suspended,
		},
		"the set-up changed": {day, `INSERT INTO setup_versions SELECT site_id, setup_id, 'other', CAST(replace(CAST(yaml AS TEXT), 'Heron', 'Plover') AS BLOB), 0 FROM setup_versions WHERE setup_id = 'chair-12';
			UPDATE setups SET version = 'other' WHERE id = 'chair-12'`, competency.Changed},
		"revoked": {day, `INSERT INTO sign_off_events (site_id, id, sign_off_id, kind, by_id, by_name, at, at_local, why, form_key)
			SELECT site_id, 'e', id, 'revoked', educator_id, 'M', signed, 'x', 'a slip', 'k' FROM sign_offs`, competency.Revoked},
		"lapsed": {366 * day, "", competency.Lapsed},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			h := signable(t)
			r := h.educator(t, "en")
			r.post(rowanAt+"/sign", filled(t, r)).wants(t, 303)
			must(t, h.stop())
			if c.do != "" {
				atDatabase(t, h.config.Data, c.do)
			}
			h.clock.pass(c.after)
			h = serveWith(t, server.Config{Data: h.config.Data}, h.clock)
			r = h.educator(t, "en")
			words := r.speaker().T(c.want.Key())
			row := r.get("/desk?q=rowan").wants(t, 200).body
			_, row, _ = strings.Cut(row, "Rowan Teal")
			row, _, _ = strings.Cut(row, "</tr>")
			if !strings.Contains(row, words) {
				t.Errorf("the roster does not say %q: %s", words, wordsOf(row))
			}
			r.get(rowanAt).wants(t, 200).holds(t, words)
		})
	}
}

// BenchmarkRoster is the whole page, for ten thousand at 2,500 set-ups, all
// signed off over the past year and refreshed since, a tenth of whose set-ups
// changed. Tail: as it is asked for over a real connection.
func BenchmarkRoster(b *testing.B) {
	dir := demoDir(b)
	const learners, setups = 10_000, 2_500
	now := morning.UnixMilli()
	atDatabase(b, dir, fmt.Sprintf(`
		WITH n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < %d)
		INSERT INTO setup_versions SELECT site_id, 'c' || i, version, yaml, 0 FROM n, setup_versions WHERE setup_id = 'chair-12'`, setups),
		`INSERT INTO setups SELECT v.site_id, v.setup_id, printf('Chair %05d', substr(v.setup_id, 2)), v.version, 0 FROM setup_versions v WHERE v.since = 0 AND v.setup_id LIKE 'c%' AND v.setup_id NOT LIKE 'chair%'`,
		fmt.Sprintf(`
		WITH n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < %d)
		INSERT INTO people (site_id, id, name, role, card, secret, language, setup_id, team, changed)
		SELECT 'main', lower(hex(randomblob(13))), printf('Person %%05d', (i * 7919) %% 10007), 'learner', 'C' || i, '', 'en', 'c' || (1 + i %% %d), 'Nights', 0 FROM n`, learners, setups),
		// Signed at some time in the past year.
		fmt.Sprintf(`
		INSERT INTO sign_offs (site_id, id, person_id, educator_id, educator_name, competency, setup_id, setup_tag, setup_version,
			checklist_version, model_version, content_version, language, meaning, signed_name, checklist, features, rating,
			signed, signed_local, lapses, form_key, person_name)
		SELECT 'main', 's' || p.id, p.id, 'demo-mara', 'Mara', 'power-sources', s.id, s.tag, s.version, '1', '1', '1', 'en', 'm', 'Mara', '{}', '',
			4, %d - abs(random()) %% 360 * 86400000 - 1, 'x', %[1]d + (1 + abs(random()) %% 360) * 86400000, 'f' || p.id, 'P'
		FROM people p JOIN setups s ON s.id = p.setup_id WHERE p.card GLOB 'C*'`, now),
		// Each lesson and scenario done some time in the past quarter.
		fmt.Sprintf(`
		INSERT INTO lessons SELECT p.site_id, p.id, s.id, s.version, l.value, '1', 1, 0, p.id || l.value, %d - abs(random()) %% 88 * 86400000 - 1
		FROM people p JOIN setups s ON s.id = p.setup_id, json_each('["person-first","three-sources","your-panel","chain","simple-causes","joints","the-fuse","the-plug","stop-and-call","when-it-stops","before-you-go-out","power-cut"]') l
		WHERE p.card GLOB 'C*'`, now),
		fmt.Sprintf(`
		INSERT INTO runs (site_id, id, person_id, setup_id, setup_version, scenario, scenario_version, model_version, language, mode, seed, started, ended, passed, result, form_key)
		SELECT p.site_id, p.id || l.value, p.id, s.id, s.version, l.value, '1', '1', 'en', 'quiz', 1, 0, %d - abs(random()) %% 88 * 86400000 - 1, 1, '{}', l.value
		FROM people p JOIN setups s ON s.id = p.setup_id, json_each('["after-the-transfer","at-home-evening","comes-and-goes"]') l
		WHERE p.card GLOB 'C*'`, now),
		// Every sign-off was acknowledged; one in twenty is suspended.
		`INSERT INTO sign_off_events (site_id, id, sign_off_id, kind, by_id, by_name, at, at_local, form_key)
		SELECT site_id, 'a' || id, id, 'acknowledged', person_id, 'P', signed, 'x', 'a' || id FROM sign_offs`,
		`INSERT INTO sign_off_events (site_id, id, sign_off_id, kind, by_id, by_name, at, at_local, why, form_key)
		SELECT site_id, 'x' || id, id, 'suspended', educator_id, 'M', signed, 'x', 'seen alone', 'x' || id FROM sign_offs WHERE rowid % 20 = 0`,
		// A tenth of the set-ups changed since.
		`INSERT INTO setup_versions SELECT site_id, setup_id, 'other', CAST(replace(CAST(yaml AS TEXT), 'Heron', 'Plover') AS BLOB), 0 FROM setup_versions WHERE setup_id LIKE 'c%0' AND setup_id NOT LIKE 'chair%'`,
		`UPDATE setups SET version = 'other' WHERE id LIKE 'c%0' AND id NOT LIKE 'chair%'`,
		`ANALYZE`)
	h := serve(b, dir)
	r := h.educator(b, "en")
	for name, path := range map[string]string{"all": "/desk", "lapses": "/desk?lapses=30", "search": "/desk?q=person+001"} {
		b.Run(name, func(b *testing.B) {
			r.get(path).wants(b, 200)
			for b.Loop() {
				r.get(path).wants(b, 200)
			}
		})
	}
}
