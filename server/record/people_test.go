package record

import (
	"io/fs"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/pressly/goose/v3"

	"lampwright/locales/problem"
)

// What was kept before people had four roles is all there after, and still
// held together.
func TestPeopleOfAnOlderProgramAreKept(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, databaseFile)
	db, err := connect(path, writerParameters, 1)
	must(t, err)
	files, err := fs.Sub(migrations, "migrations")
	must(t, err)
	p, err := goose.NewProvider(goose.DialectSQLite3, db, files, goose.WithDisableGlobalRegistry(true))
	must(t, err)
	_, err = p.UpTo(ctx, 4)
	must(t, err)
	for _, statement := range strings.Split(`
		INSERT INTO sites (site_id, name, zone, rescue_line, clinical_line, technologist_line, technologist_hours, changed)
			VALUES ('alder-bay', 'Alder Bay', 'UTC', '1', '2', '3', '', 0);
		INSERT INTO setup_versions (site_id, setup_id, version, yaml, since) VALUES ('alder-bay', 'chair-12', 'v1', x'00', 0);
		INSERT INTO setups (site_id, id, tag, version, changed) VALUES ('alder-bay', 'chair-12', 'Chair 12', 'v1', 0);
		INSERT INTO people (site_id, id, name, role, card, secret, language, setup_id, changed)
			VALUES ('alder-bay', 'ines', 'Ines', 'learner', 'K7Q2', 's', 'en', 'chair-12', 5);
		INSERT INTO people (site_id, id, name, role, username, secret, language, changed)
			VALUES ('alder-bay', 'omar', 'Omar', 'educator', 'omar', 's2', 'ar', 6);
		INSERT INTO sessions (id, site_id, person_id, form_token, created, seen) VALUES ('a', 'alder-bay', 'ines', 'f', 1, 1)`, ";") {
		_, err := db.Exec(statement)
		must(t, err)
	}
	must(t, db.Close())

	s := open(t, dir)
	got, err := s.People(ctx, site)
	must(t, err)
	same(t, got, []Person{
		{ID: "ines", SiteID: site, Name: "Ines", Role: Learner, Card: "K7Q2", Secret: "s", Language: "en", SetupID: "chair-12"},
		{ID: "omar", SiteID: site, Name: "Omar", Role: Educator, Username: "omar", Secret: "s2", Language: "ar"},
	})
	must(t, check(ctx, s.writer, pragma{"foreign_keys", "1"}))
	if _, err := s.writer.Exec(`DELETE FROM people WHERE id = 'ines'`); err == nil {
		t.Error("someone with a session was deleted")
	}
	if _, err := s.writer.Exec(`INSERT INTO sessions (id, site_id, person_id, form_token, created, seen) VALUES ('b', 'alder-bay', 'nobody', 'f', 1, 1)`); err == nil {
		t.Error("nobody has a session")
	}
}

func TestAOneTimeCodeCountsOnce(t *testing.T) {
	s := house(t)
	for _, c := range []struct {
		step int64
		want bool
	}{{100, true}, {100, false}, {99, false}, {101, true}} {
		ok, err := s.UseCode(ctx, site, "omar", c.step)
		must(t, err)
		same(t, ok, c.want)
	}
}

func TestAnInvitationIsTakenUpOnce(t *testing.T) {
	s := house(t)
	must(t, s.PutSession(ctx, Session{ID: "before", SiteID: site, PersonID: "omar", FormToken: "f", Created: noon, Seen: noon}))
	must(t, s.Invite(ctx, site, "omar", "first", noon.Add(time.Hour), noon))
	must(t, s.Invite(ctx, site, "omar", "second", noon.Add(time.Hour), noon))
	_, err := s.Invited(ctx, "first", noon)
	wants(t, err, problem.Unknown, "problem.invitation") // void since the second
	_, err = s.Invited(ctx, "second", noon.Add(time.Hour))
	wants(t, err, problem.Unknown, "problem.invitation") // too late
	p, err := s.Invited(ctx, "second", noon)
	must(t, err)
	same(t, p.ID, "omar")

	_, err = s.TakeUp(ctx, "second", "new", "KEY", 7, noon.Add(time.Hour))
	wants(t, err, problem.Unknown, "problem.invitation")
	p, err = s.TakeUp(ctx, "second", "new", "KEY", 7, noon)
	must(t, err)
	same(t, []any{p.Secret, p.CodeKey, p.CodeUsed}, []any{"new", "KEY", int64(7)})
	_, err = s.TakeUp(ctx, "second", "other", "KEY", 7, noon)
	wants(t, err, problem.Unknown, "problem.invitation")
	_, _, err = s.Session(ctx, "before", noon, time.Hour, time.Hour)
	wants(t, err, problem.SignIn, "problem.session-ended")
}

func TestNobodyAwayIsInvited(t *testing.T) {
	s := house(t)
	p := omar
	p.Away = true
	must(t, s.PutPerson(ctx, p, noon))
	must(t, s.Invite(ctx, site, "omar", "first", noon.Add(time.Hour), noon))
	_, err := s.Invited(ctx, "first", noon)
	wants(t, err, problem.Unknown, "problem.invitation")
	_, err = s.TakeUp(ctx, "first", "new", "", 0, noon)
	wants(t, err, problem.Unknown, "problem.invitation")
}

// Many are invited at once: who has a secret, is away or was erased is not, and
// an invitation that stands longer than a moment is left as it is.
func TestManyAreInvitedAtOnce(t *testing.T) {
	s := house(t)
	put := func(id string, p Person) {
		p.ID, p.SiteID, p.Name, p.Role, p.Card, p.Language = id, site, id, Learner, id, "en"
		must(t, s.PutPerson(ctx, p, noon))
	}
	put("new", Person{})
	put("invited", Person{})
	put("late", Person{})
	put("in", Person{Secret: "hash"})
	put("away", Person{Away: true})
	put("gone", Person{})
	must(t, s.Erase(ctx, site, "gone", noon))
	must(t, s.Invite(ctx, site, "invited", "i0", noon.Add(2*time.Hour), noon))
	must(t, s.Invite(ctx, site, "late", "l0", noon.Add(-time.Hour), noon.Add(-2*time.Hour)))
	standing, err := s.Invitations(ctx, site, noon)
	must(t, err)
	same(t, standing, map[string]time.Time{"invited": noon.Add(2 * time.Hour)})

	invite := func(mark string, past time.Time) map[string]bool {
		t.Helper()
		var list []Invitation
		for _, id := range []string{"new", "invited", "late", "in", "away", "gone", "nobody"} {
			list = append(list, Invitation{PersonID: id, TokenHash: id + mark, Until: noon.Add(3 * time.Hour)})
		}
		given, err := s.InviteAll(By(ctx, "idris"), site, list, past, noon)
		must(t, err)
		return given
	}
	same(t, invite("1", noon), map[string]bool{"new": true, "late": true})
	same(t, invite("2", noon), map[string]bool{}) // again
	_, err = s.Invited(ctx, "i0", noon)
	must(t, err)
	same(t, invite("3", noon.Add(2*time.Hour)), map[string]bool{"invited": true})
	for token, want := range map[string]bool{"i0": false, "l0": false, "invited3": true, "new1": true, "late1": true, "new2": false, "new3": false} {
		if _, err := s.Invited(ctx, token, noon); (err == nil) != want {
			t.Errorf("%s opens: %v", token, err)
		}
	}
	changes, err := s.Changes(ctx, site, "new", noon, 9)
	must(t, err)
	if len(changes) != 2 || changes[0].Kind != "invitation" || changes[0].Actor != "idris" || !strings.Contains(changes[0].New, "Until") {
		t.Errorf("written down: %+v", changes)
	}
}

func TestEveryChangeIsWrittenDownWithOldAndNew(t *testing.T) {
	s := house(t)
	by := By(ctx, "omar")
	p := ines
	p.Team, p.Secret = "nights", "$argon2id$other"
	must(t, s.PutPerson(by, p, noon.Add(time.Second)))
	must(t, s.PutPerson(by, p, noon.Add(2*time.Second))) // nothing new
	moved := alderBay
	moved.Zone = "UTC"
	must(t, s.PutSite(by, moved, noon.Add(3*time.Second)))
	newer := chair12
	newer.Version, newer.YAML = "v2", []byte("tag: Chair 12\nx: y\n")
	must(t, s.PutSetup(by, newer, noon.Add(4*time.Second)))
	got, err := s.Changes(ctx, site, "", noon.Add(time.Hour), 3)
	must(t, err)
	var said []string
	for _, c := range got {
		if c.Actor != "omar" {
			t.Errorf("%+v: by whom?", c)
		}
		if strings.Contains(c.Old+c.New, "argon2id") {
			t.Errorf("a secret is written down: %+v", c)
		}
		said = append(said, c.Kind+" "+c.Subject)
	}
	same(t, said, []string{"set-up chair-12", "site alder-bay", "person ines"})
	if c := got[2]; strings.Contains(c.Old, "nights") || !strings.Contains(c.New, "nights") {
		t.Errorf("%+v", c)
	}
	got, err = s.Changes(ctx, site, "ines", noon.Add(time.Hour), 10)
	must(t, err)
	same(t, len(got), 2)
	same(t, got[1].Old, "") // when she was added
}
