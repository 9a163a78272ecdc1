package record

import (
	"slices"
	"strings"
	"testing"
	"time"

	"lampwright/locales/problem"
)

// cedarPoint is a house with a second site, which let Omar in.
func cedarPoint(t *testing.T) *Store {
	t.Helper()
	s := house(t)
	must(t, s.PutSite(ctx, Site{ID: "cedar", Name: "Cedar Point", Zone: "UTC"}, noon))
	must(t, s.PutSetup(ctx, Setup{"chair-30", "cedar", "Chair 30", "v1", []byte("tag: Chair 30\n")}, noon))
	must(t, s.PutPerson(ctx, Person{ID: "yara", SiteID: "cedar", Name: "Yara", Role: Learner, Card: "C1", Secret: "s", Language: "en", SetupID: "chair-30"}, noon))
	p, err := s.LetIn(ctx, "cedar", "omar", Technologist, noon)
	must(t, err)
	same(t, p, Person{ID: "omar", SiteID: "cedar", Name: "Omar", Role: Technologist, Language: "ar", Home: site})
	return s
}

func TestASetUpIsOfOneSite(t *testing.T) {
	s := cedarPoint(t)
	got, err := s.FindSetup(ctx, "chair-30")
	must(t, err)
	same(t, got.SiteID, "cedar")
	_, err = s.Setup(ctx, site, "chair-30")
	wants(t, err, problem.Unknown, "problem.unknown-setup")
	wants(t, s.PutSetup(ctx, Setup{"chair-30", site, "Chair 30", "v1", []byte("tag: Chair 30\n")}, noon), problem.Invalid, "problem.form")
	_, err = s.FindSetup(ctx, "chair-99")
	wants(t, err, problem.Unknown, "problem.unknown-setup")
}

func TestASessionGoesWhereSomeoneWorks(t *testing.T) {
	s := cedarPoint(t)
	must(t, s.PutSession(ctx, Session{ID: "a", SiteID: site, PersonID: "omar", FormToken: "f", Created: noon, Seen: noon}))
	must(t, s.PutSession(ctx, Session{ID: "b", SiteID: site, PersonID: "ines", FormToken: "f", Created: noon, Seen: noon}))
	wants(t, s.MoveSession(ctx, "a", "nowhere", "g"), problem.Unknown, "problem.unknown-site")
	wants(t, s.MoveSession(ctx, "b", "cedar", "g"), problem.Unknown, "problem.unknown-site")
	must(t, s.MoveSession(ctx, "a", "cedar", "g"))
	v, p, err := s.Session(ctx, "a", noon, time.Hour, time.Hour)
	must(t, err)
	same(t, []any{v.SiteID, v.FormToken, p.SiteID, p.Role, p.Username, p.Secret}, []any{"cedar", "g", "cedar", Technologist, "omar", omar.Secret})

	posts, err := s.Posts(ctx, "omar")
	must(t, err)
	same(t, posts, []Post{{site, alderBay.Name, Educator}, {"cedar", "Cedar Point", Technologist}})

	// A new name at home is their name there.
	named := omar
	named.Name = "Omar Reed"
	must(t, s.PutPerson(ctx, named, noon))
	p, err = s.Person(ctx, "cedar", "omar")
	must(t, err)
	same(t, p.Name, "Omar Reed")

	// Who is away at home is away.
	must(t, s.PutFeed(ctx, "cedar", "omar", FeedSite, "feed", noon))
	_, err = s.Feed(ctx, "feed")
	must(t, err)
	named.Away = true
	must(t, s.PutPerson(ctx, named, noon))
	_, _, err = s.Session(ctx, "a", noon, time.Hour, time.Hour)
	wants(t, err, problem.SignIn, "problem.session-ended")
	_, err = s.LetIn(ctx, "cedar", "omar", Technologist, noon)
	wants(t, err, problem.Unknown, "problem.unknown-person")
	_, err = s.Feed(ctx, "feed")
	wants(t, err, problem.Unknown, "problem.not-found")
}

func TestWhoIsLetIn(t *testing.T) {
	s := cedarPoint(t)
	for _, name := range []string{"", "nobody", "K7Q2"} {
		_, err := s.LetIn(ctx, "cedar", name, Educator, noon)
		wants(t, err, problem.Unknown, "problem.unknown-person")
	}
	_, err := s.LetIn(ctx, site, "omar", Educator, noon) // at home already
	wants(t, err, problem.Unknown, "problem.unknown-person")
	p, err := s.LetIn(ctx, "cedar", "omar", Educator, noon) // in another role now
	must(t, err)
	same(t, p.Role, Educator)
}

// What someone did where they were let in is held on them, and goes with them.
func TestErasedAtEverySite(t *testing.T) {
	s := cedarPoint(t)
	_, err := s.LetIn(ctx, "cedar", "omar", Educator, noon)
	must(t, err)
	o := signOff1
	o.SiteID, o.PersonID, o.SetupID, o.SetupTag = "cedar", "yara", "chair-30", "Chair 30"
	signed, _, err := s.Sign(ctx, o, "key-1")
	must(t, err)
	all, err := s.Export(ctx, site, "omar")
	must(t, err)
	// What they did there is that site's to tell.
	same(t, []int{len(all["people"]), len(all["sign_offs"])}, []int{1, 0})
	same(t, all["elsewhere"], []map[string]any{{"site_id": "cedar", "site": "Cedar Point", "role": Educator}})
	there, err := s.Export(ctx, "cedar", "omar")
	must(t, err)
	same(t, []int{len(there["people"]), len(there["sign_offs"])}, []int{1, 1})

	got, err := s.FindSignOff(ctx, signed.ID)
	must(t, err)
	same(t, got.SiteID, "cedar")
	_, err = s.SignOff(ctx, site, signed.ID)
	wants(t, err, problem.Unknown, "problem.unknown-sign-off")

	must(t, s.Erase(ctx, site, "omar", noon.Add(time.Hour)))
	for _, at := range []string{site, "cedar"} {
		p, err := s.Person(ctx, at, "omar")
		must(t, err)
		same(t, []any{p.Erased, p.Name, p.Away}, []any{true, "", true})
	}
	people, err := s.People(ctx, "cedar")
	must(t, err)
	if slices.ContainsFunc(people, func(p Person) bool { return p.ID == "omar" }) {
		t.Error("still listed")
	}
	posts, err := s.Posts(ctx, "omar")
	must(t, err)
	same(t, len(posts), 0)
}

// Sent away from a site that let them in, they are who they were at home.
func TestErasedOnlyThere(t *testing.T) {
	s := cedarPoint(t)
	must(t, s.Erase(ctx, "cedar", "omar", noon.Add(time.Hour)))
	p, err := s.Person(ctx, site, "omar")
	must(t, err)
	same(t, p, omar)
	changed := omar
	changed.Name = "Omar Reed"
	must(t, s.PutPerson(ctx, changed, noon))
	p, err = s.Person(ctx, "cedar", "omar")
	must(t, err)
	same(t, p.Name, "")                                    // a name that was erased stays so
	_, err = s.LetIn(ctx, "cedar", "omar", Educator, noon) // and may come back
	must(t, err)
	posts, err := s.Posts(ctx, "omar")
	must(t, err)
	same(t, len(posts), 2)
}

// A new name is in the trail of every site that sees it.
func TestANewNameIsWrittenDownEverywhere(t *testing.T) {
	s := cedarPoint(t)
	named := omar
	named.Name = "Omar Reed"
	must(t, s.PutPerson(By(ctx, "ines"), named, noon))
	for _, at := range []string{site, "cedar"} {
		got, err := s.Changes(ctx, at, "omar", noon.Add(time.Hour), 1)
		must(t, err)
		if len(got) != 1 || !strings.Contains(got[0].New, "Omar Reed") || got[0].Actor != "ines" {
			t.Errorf("%s: %+v", at, got)
		}
	}
}

// Whoever a list made something else, or who was sent away while their secret
// was looked at, has no session anywhere.
func TestNoSessionOutlivesARole(t *testing.T) {
	s := cedarPoint(t)
	must(t, s.PutSession(ctx, Session{ID: "a", SiteID: site, PersonID: "omar", FormToken: "f", Created: noon, Seen: noon}))
	must(t, s.MoveSession(ctx, "a", "cedar", "g"))
	must(t, s.PutImport(ctx, Import{ID: "i", SiteID: site, ByID: "ines", Made: noon, Data: []byte("{}")}))
	to := omar
	to.Role = Technologist
	must(t, s.DoImport(ctx, site, "i", "ines", []Put{{to, omar.Mark()}}, noon))
	_, _, err := s.Session(ctx, "a", noon, time.Hour, time.Hour)
	wants(t, err, problem.SignIn, "problem.session-ended")

	must(t, s.PutSession(ctx, Session{ID: "b", SiteID: "cedar", PersonID: "omar", FormToken: "f", Created: noon, Seen: noon}))
	must(t, s.PutFeed(ctx, "cedar", "omar", FeedSite, "feed", noon))
	to.Role, to.Username, to.Card = Learner, "", "C9"
	must(t, s.PutPerson(ctx, to, noon))
	_, err = s.Feed(ctx, "feed")
	wants(t, err, problem.Unknown, "problem.not-found")
	_, _, err = s.Session(ctx, "b", noon, time.Hour, time.Hour)
	wants(t, err, problem.SignIn, "problem.session-ended")

	to.Away = true
	must(t, s.PutPerson(ctx, to, noon))
	must(t, s.PutSession(ctx, Session{ID: "late", SiteID: site, PersonID: "omar", FormToken: "f", Created: noon, Seen: noon}))
	_, _, err = s.Session(ctx, "late", noon, time.Hour, time.Hour)
	wants(t, err, problem.SignIn, "problem.session-ended")
}
