package server_test

import (
	"context"
	"fmt"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/pquerna/otp/totp"

	"lampwright/lessons/programme"
	"lampwright/server"
	"lampwright/server/record"
)

var invitePath = regexp.MustCompile(`href="(/invite/[A-Z0-9]+)"`)

// invited is the way in that a page shows.
func (a answer) invited(t testing.TB) string {
	t.Helper()
	m := invitePath.FindStringSubmatch(a.body)
	if m == nil {
		t.Fatalf("%s: no invitation in\n%s", a.asked, wordsOf(a.body))
	}
	return m[1]
}

// takeUp opens an invitation in this browser and chooses a secret.
func (r *reader) takeUp(path, secret string, more ...string) answer {
	r.t.Helper()
	form := r.get(path).wants(r.t, 200).form(r.t, path)
	return r.post(path, with(form, append([]string{"secret", secret, "again", secret}, more...)...))
}

// TestSomeoneNewComesIn: added by an administrator, invited, in.
func TestSomeoneNewComesIn(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		admin := h.administrator(t, language)
		form := admin.get("/desk/people").wants(t, 200).form(t, "/desk/people")
		a := admin.post("/desk/people", with(form, "name", "Wren "+language, "role", "learner", "set-up", "chair-12", "language", language, "team", "nights",
			"email", "wren@alderbay.example", "external", "A-"+language, "starts", "2026-01-01"))
		a.says(t, admin.speaker(), 200, "people.invitation", "Name", "Wren "+language)
		path := a.invited(t)

		r := h.reader(t, language)
		for _, c := range []struct{ pin, key string }{
			{"48213", "problem.weak-pin"},
			{"111111", "problem.weak-pin"},
			{"654321", "problem.weak-pin"},
			{"48a213", "problem.weak-pin"},
			{"482139482139482", "problem.weak-pin"},
			{"", "problem.weak-pin"},
		} {
			r.takeUp(path, c.pin).says(t, r.speaker(), 422, c.key)
		}
		r.post(path, with(r.get(path).form(t, path), "secret", "482139", "again", "482138")).says(t, r.speaker(), 422, "problem.secrets-differ")
		if got := r.takeUp(path, "482139").wants(t, 303).location(); got != "/me" {
			t.Errorf("leads to %s", got)
		}
		r.get("/me").wants(t, 200).holds(t, "Wren "+language, "Chair 12")
		h.reader(t, language).get(path).says(t, r.speaker(), 404, "problem.invitation") // it counts once

		changes := admin.get("/desk/changes").says(t, admin.speaker(), 200, "people.changes")
		changes.holds(t, "Wren "+language, "Idris Vane", "nights")
		if strings.Contains(changes.body, "argon2id") || strings.Contains(changes.body, "people.field.") {
			t.Error("a hash is shown, or a field without its name")
		}
	})
}

// TestStaffHaveOneTimeCodes where the programme does not say otherwise.
func TestStaffHaveOneTimeCodes(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	withRecords(t, dir, func(s *record.Store) {
		site, err := s.Site(context.Background(), server.SiteID)
		must(t, err)
		site.Programme = strings.Replace(string(programme.DemoFile()), "one-time-codes: false", "one-time-codes: true", 1)
		must(t, s.PutSite(context.Background(), site, morning))
	})
	h := serve(t, dir)
	admin := h.administrator(t, "en")
	form := admin.get("/desk/people").form(t, "/desk/people")
	path := admin.post("/desk/people", with(form, "name", "Ilse Brandt", "role", "educator", "username", "ilse", "language", "fr")).wants(t, 200).invited(t)

	r := h.reader(t, "fr")
	const password = "trois bateaux bleus"
	key := r.get(path).form(t, path).Get("code-key")
	code := func() string {
		c, err := totp.GenerateCode(key, h.clock.now())
		must(t, err)
		return c
	}
	r.takeUp(path, password).says(t, r.speaker(), 422, "problem.wrong-code")
	r.takeUp(path, password, "code-key", key, "code", "000000").says(t, r.speaker(), 422, "problem.wrong-code")
	r.takeUp(path, "ilse brandt", "code-key", key, "code", code()).says(t, r.speaker(), 422, "problem.weak-password")
	r.takeUp(path, password, "code-key", "ME", "code", code()).says(t, r.speaker(), 422, "problem.wrong-code")
	r.takeUp(path, password, "code-key", key, "code", code()).wants(t, 303)
	r.get("/desk").wants(t, 200)

	again := func(more ...string) answer {
		r := h.reader(t, "fr")
		f := r.get("/desk/sign-in").form(t, "/desk/sign-in")
		return r.post("/desk/sign-in", with(f, append([]string{"who", "ilse", "secret", password}, more...)...))
	}
	again().says(t, r.speaker(), 401, "problem.wrong-staff")
	again("code", code()).says(t, r.speaker(), 401, "problem.wrong-staff") // taken before
	h.clock.pass(time.Minute)
	again("code", code()).wants(t, 303)
	again("code", code()).says(t, r.speaker(), 401, "problem.wrong-staff")
}

func TestWhatCannotBeOfAPerson(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		admin := h.administrator(t, language)
		form := with(admin.get("/desk/people").form(t, "/desk/people"), "name", "Wren", "role", "learner", "language", "en")
		for _, c := range []struct{ name, field, value, expected string }{
			{"no name", "name", "", "name"},
			{"a name past any length", "name", strings.Repeat("w", 81), "name"},
			{"a name that is no text", "name", "\xff", "name"},
			{"a name of two lines", "name", "a\nb", "name"},
			{"no such role", "role", "owner", "role"},
			{"no such set-up", "set-up", "chair-99", "set-up"},
			{"no such language", "language", "xx", "language"},
			{"no such day", "starts", "2026-02-30", "starts"},
			{"markup for a team", "team", strings.Repeat("<b>", 21), "team"},
		} {
			t.Run(c.name, func(t *testing.T) {
				a := admin.post("/desk/people", with(form, c.field, c.value)).wants(t, 422)
				a.holds(t, admin.speaker().T("people.expected."+c.expected))
				if strings.Contains(a.body, "<b><b>") {
					t.Error("markup came back as it was")
				}
			})
		}
		staff := with(form, "role", "educator")
		admin.post("/desk/people", with(staff, "username", "a b")).wants(t, 422).holds(t, admin.speaker().T("people.expected.username"))
		admin.post("/desk/people", with(staff, "username", "mara")).wants(t, 422).holds(t, admin.speaker().T("people.expected.username.free"))

		// Nobody locks themselves out.
		at := "/desk/people/demo-idris"
		own := with(admin.get(at).wants(t, 200).form(t, at), "name", "Idris Vane", "role", "administrator", "username", "idris", "language", "en")
		admin.post(at, with(own, "role", "educator")).says(t, admin.speaker(), 422, "people.yourself")
		admin.post(at, with(own, "away", "yes")).says(t, admin.speaker(), 422, "people.yourself")
		admin.post(at, with(own, "team", "office "+language)).wants(t, 303)
	})
}

// TestWhoIsAwayIsOut at once, and cannot come in, with nothing said about why.
func TestWhoIsAwayIsOut(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	admin, r := h.administrator(t, "en"), h.learner(t, rowan, "en")
	r.get("/me").wants(t, 200)
	at := "/desk/people/demo-rowan"
	form := with(admin.get(at).form(t, at), "name", "Rowan Teal", "role", "learner", "set-up", "chair-12", "language", "en")
	admin.post(at, with(form, "away", "yes")).wants(t, 303)
	if a := r.get("/me"); a.status != 303 || !strings.HasPrefix(a.location(), "/sign-in") {
		t.Errorf("still in: %d", a.status)
	}
	h.reader(t, "en").try("/sign-in", rowan).says(t, r.speaker(), 401, "problem.wrong-secret")
	admin.post(at, with(form, "starts", "2027-01-01")).wants(t, 303)
	h.reader(t, "en").try("/sign-in", rowan).says(t, r.speaker(), 401, "problem.wrong-secret") // not yet
	admin.post(at, form).wants(t, 303)
	h.reader(t, "en").try("/sign-in", rowan).wants(t, 303)
}

func TestSignOutEverywhere(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	one, two := h.learner(t, rowan, "en"), h.learner(t, rowan, "en")
	token := one.get("/me").form(t, "/sign-out").Get("token")
	one.post("/sign-out/everywhere", url.Values{"token": {token}}).wants(t, 303)
	two.get("/me").wants(t, 303)
	h.learner(t, rowan, "en").get("/me").wants(t, 200)
}

// TestTenThousandWrongPINs from many addresses over months: nobody comes in,
// few are hashed, and the rightful learner comes in with the educator's help.
func TestTenThousandWrongPINs(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	tried, before := 0, h.main.Hashed()
	for i := range 10_000 {
		ok, hashed := h.main.Guess("HERON-12", fmt.Sprintf("10.%d.%d.%d", i>>16, i>>8&255, i&255), fmt.Sprintf("%04d", i), h.clock.now())
		if ok {
			t.Fatalf("PIN %04d, the try number %d, came in", i, i)
		}
		if hashed {
			tried++
		}
		h.clock.pass(time.Minute)
	}
	if tried > 10 || h.main.Hashed()-before != int64(tried) { // a week
		t.Errorf("%d of ten thousand were tried", tried)
	}
	r := h.reader(t, "en")
	r.try("/sign-in", rowan).says(t, r.speaker(), 429, "problem.too-many")

	educator := h.educator(t, "en")
	form := educator.get(rowanAt).wants(t, 200).form(t, rowanAt+"/invite")
	path := educator.post(rowanAt+"/invite", with(form, "card", "new")).wants(t, 200).invited(t)
	r.takeUp(path, "482139").wants(t, 303)
	r.get("/me").wants(t, 200)
	h.reader(t, "en").try("/sign-in", rowan).wants(t, 429) // the old card stays shut
}

// TestAnEducatorHelpsLearnersOnly.
func TestAnEducatorHelpsLearnersOnly(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	r := h.educator(t, "en")
	form := r.get(rowanAt).form(t, rowanAt+"/invite")
	r.post("/desk/learners/demo-idris/invite", form).says(t, r.speaker(), 404, "problem.not-found")
	r.post("/desk/learners/nobody/invite", form).says(t, r.speaker(), 404, "problem.unknown-person")
}

// TestPeopleOfMany: in pages, and found by name, team, card and number; a
// set-up is named by its tag where there are too many to choose from.
func TestPeopleOfMany(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	crowd(t, dir, 250, 0)
	withRecords(t, dir, func(s *record.Store) {
		for i := range 60 {
			r, err := s.Setup(t.Context(), server.SiteID, "chair-12")
			must(t, err)
			r.ID, r.Tag = fmt.Sprintf("stool-%d", i), fmt.Sprintf("Stool %d", i)
			must(t, s.PutSetup(t.Context(), r, morning))
		}
	})
	h := serve(t, dir)
	inEach(t, func(t *testing.T, language string) {
		r := h.administrator(t, language)
		say := r.speaker()
		shown := func(from, to, count int) string { return say.T("roster.shown", "From", from, "To", to, "Count", count) }
		lists := func(at, shown string, names ...string) string {
			t.Helper()
			return r.get(at).wants(t, 200).holds(t, append(names, shown)...).body
		}
		if first := lists("/desk/people", shown(1, 100, 256), "Person 00001", "page=2"); strings.Contains(first, "page=0") {
			t.Error("it leads to what is before the first")
		}
		lists("/desk/people?page=3", shown(201, 256, 256), "Tove Hale", "page=2")
		lists("/desk/people?page=99", shown(201, 256, 256))
		lists("/desk/people?page=-1&q=", shown(1, 100, 256))
		lists("/desk/people?q=+PERSON+0002", shown(1, 10, 10), "Person 00020")
		lists("/desk/people?q=nights", shown(1, 100, 125), "q=nights")
		lists("/desk/people?q=heron-12", shown(1, 1, 1), "Rowan Teal")
		lists("/desk/people?q=idris", shown(1, 1, 1), "Idris Vane")
		if a := r.get("/desk/people?q=%3Cb%3E%22nobody").says(t, say, 200, "roster.nobody"); strings.Contains(a.body, "<b>") {
			t.Error("what was sought came as markup")
		}

		at := "/desk/people/p7"
		form := with(r.get(at).holds(t, `id="set-up" name="set-up" value="Chair 12"`).form(t, at), "name", "Person 00007", "role", "learner", "language", "en", "team", "Nights")
		r.post(at, with(form, "set-up", "Stool 99")).says(t, say, 422, "people.expected.set-up").holds(t, `value="Stool 99"`)
		r.post(at, with(form, "set-up", " sTOOL 9 ")).wants(t, 303)
		r.get(at).holds(t, `value="Stool 9"`)
		r.post(at, with(form, "set-up", "")).wants(t, 303)
		r.get(at).holds(t, `name="set-up" value=""`)
		r.post(at, with(form, "set-up", "Chair 12")).wants(t, 303)
	})
}
