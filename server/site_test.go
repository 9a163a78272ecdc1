package server_test

import (
	"context"
	"net/url"
	"strings"
	"testing"
	"time"

	"lampwright/lessons"
	"lampwright/lessons/setup"
	"lampwright/server"
	"lampwright/server/record"
)

// The second site of these tests, and its staff.
const cedar = `schema: 1
name: Cedar Point
zone: Europe/Paris
numbers:
  emergency: {number: 555-0190, hours: always}
  clinical: {number: 555-0191, hours: always}
  technologist: {number: 555-0192, hours: always}
policies:
  one-time-codes: false
`

var (
	edda  = [2]string{"edda", "granite-willow-27"} // administrator
	nils  = [2]string{"nils", "harvest-anchor-30"} // educator
	petra = [2]string{"petra", "marble-thicket-8"} // technologist
	yara  = [2]string{"CEDAR-30", "583920"}        // learner
)

// twoSites is the demo with a second site beside it.
func twoSites(t testing.TB) string {
	t.Helper()
	dir, ctx := demoDir(t), context.Background()
	_, err := server.PutSite(ctx, dir, "cedar", "cedar.yaml", []byte(cedar), morning)
	must(t, err)
	text, err := setup.DemoFile("chair-12")
	must(t, err)
	_, _, err = server.PutSetup(ctx, dir, "cedar", "chair-30", "chair-30.yaml", []byte(strings.Replace(string(text), "Chair 12", "Chair 30", 1)), morning)
	must(t, err)
	withRecords(t, dir, func(s *record.Store) {
		for _, p := range []record.Person{
			{ID: "c-edda", Name: "Edda Moor", Role: record.Administrator, Username: edda[0], Secret: server.HashSecret(edda[1])},
			{ID: "c-nils", Name: "Nils Arbour", Role: record.Educator, Username: nils[0], Secret: server.HashSecret(nils[1])},
			{ID: "c-petra", Name: "Petra Low", Role: record.Technologist, Username: petra[0], Secret: server.HashSecret(petra[1])},
			{ID: "c-yara", Name: "Yara Finch", Role: record.Learner, Card: yara[0], Secret: server.HashSecret(yara[1]), SetupID: "chair-30"},
		} {
			p.SiteID, p.Language = "cedar", "en"
			must(t, s.PutPerson(ctx, p, morning))
		}
	})
	return dir
}

// TestNothingOfAnotherSite: every route that leads to something of a site,
// asked by another site's people with ids that they cannot know.
func TestNothingOfAnotherSite(t *testing.T) {
	t.Parallel()
	dir := twoSites(t)
	outage := reported(t, dir, blownFuse("inbox-1", morning))
	h := serve(t, dir)
	learner, educator, administrator := h.learner(t, rowan, "en"), h.educator(t, "en"), h.administrator(t, "en")
	signed := h.signRowan(t, learner, educator)
	run := strings.TrimPrefix(learner.begin("at-home-evening", record.Practice), "/runs/")
	list := administrator.previews(listHeader + "n-1,Given,Family,p@example.org,learner,main,Team,en,,true\r\n")

	theirs := map[record.Role]*reader{
		record.Learner: h.learner(t, yara, "en"), record.Educator: h.staff(t, nils, "en"),
		record.Technologist: h.staff(t, petra, "en"), record.Administrator: h.staff(t, edda, "en"),
	}
	ours := map[string]string{
		":person": "demo-rowan", ":signoff": signed, ":outage": strings.TrimPrefix(outage, "/desk/inbox/"),
		":run": run, ":import": strings.TrimPrefix(list, "/desk/import/"),
	}
	// What anyone may read, and what is asked for by a secret of its own.
	open := []string{":tag", ":n", ":setup", ":lesson", ":scenario", ":invitation", ":feed.ics", ":site", "/standing/:signoff", "/static/*"}
	asked := 0
	for _, route := range h.main.Routes() {
		method, path, _ := strings.Cut(route, " ")
		at := path
		for word, id := range ours {
			at = strings.ReplaceAll(at, word, id)
		}
		skip := at == path && !strings.Contains(path, ":")
		for _, word := range open {
			skip = skip || strings.Contains(path, word)
		}
		if skip {
			continue
		}
		if strings.Contains(at, ":") {
			t.Errorf("%s: of which site is it?", route)
		}
		for role, r := range theirs {
			var a answer
			if method == "GET" {
				a = r.get(at)
			} else {
				token := r.get("/me").form(t, "/sign-out").Get("token")
				a = r.post(at, url.Values{"token": {token}, "key": {"a-key-of-a-form-that-counts-once"}, "competency": {"power-sources"}, "kind": {"suspended"}, "why": {"x"}, "secret": {nils[1]}, "rating": {"3"}, "seq": {"1"}, "action": {"ask-person:"}, "node": {"x"}, "name": {"Rowan Teal"}})
			}
			if a.status != 403 {
				asked++
			} else if strings.Contains(a.body, r.speaker().T("problem.form-stale")) {
				t.Errorf("%s as %s: the form was refused, whatever was asked", route, role)
			}
			if a.status != 403 && a.status != 404 {
				t.Errorf("%s as %s: %d %s", route, role, a.status, wordsOf(a.body))
			}
		}
	}
	if asked < 20 {
		t.Errorf("%d routes of a site were asked for", asked)
	}

	// What lists: nothing of ours in it.
	for _, at := range []string{"/desk", "/desk/roster.csv", "/desk/people", "/desk/people.csv", "/desk/inbox", "/desk/inbox.csv", "/desk/inbox/lessons", "/desk/changes", "/desk/changes.csv", "/desk/statements", "/me"} {
		for role, r := range theirs {
			a := r.get(at)
			for _, of := range []string{"Rowan", "rowan", "Chair 12", "chair-12", "Mara", "HERON"} {
				if a.status == 200 && strings.Contains(a.body, of) {
					t.Errorf("%s as %s tells of %s", at, role, of)
				}
			}
		}
	}

	// Nor is anything of ours taken into what is theirs.
	edda, say := theirs[record.Administrator], theirs[record.Administrator].speaker()
	form := edda.get("/desk/people").form(t, "/desk/people")
	edda.post("/desk/people", with(form, "name", "New", "role", "learner", "language", "en", "set-up", "chair-12")).says(t, say, 422, "people.expected.set-up")
	edda.post("/desk/kiosk", with(form, "set-up", "chair-12")).says(t, say, 404, "problem.unknown-setup")
	edda.get(edda.previews(listHeader+"n-2,Given,Family,p@example.org,learner,main,Team,en,,true\r\n")).says(t, say, 200, "roster.import.nothing")
	edda.get("/certificate/"+signed).wants(t, 404)

	// A name to sign in with is free only where nobody has it anywhere.
	at := edda.previews(listHeader + "n-3,Mara,Lind,mara@example.org,educator,cedar,Team,en,,true\r\n")
	edda.get(at).says(t, say, 200, "roster.import.added", "Count", 1).holds(t, "mara2")
	edda.does(at).wants(t, 303)
}

// TestListsAreOfTheirOwnSite: who was let in is in no list but their own
// site's, and the list reads in again with nothing to change.
func TestListsAreOfTheirOwnSite(t *testing.T) {
	t.Parallel()
	h := serve(t, twoSites(t))
	edda := h.staff(t, edda, "en")
	edda.post("/desk/people/let-in", with(edda.get("/desk/people").form(t, "/desk/people/let-in"), "username", "mara", "role", "educator")).wants(t, 303)
	list := edda.get("/desk/people.csv").wants(t, 200).holds(t, "Arbour").body
	if strings.Contains(list, "Mara") {
		t.Error("someone of another site is listed")
	}
	edda.get(edda.previews(list)).says(t, edda.speaker(), 200, "roster.import.nothing")
}

// TestStaffOfTwoSites: someone works at another site once it lets them in, in
// the role they have there.
func TestStaffOfTwoSites(t *testing.T) {
	t.Parallel()
	dir := twoSites(t)
	h := serve(t, dir)
	inEach(t, func(t *testing.T, language string) {
		edda, mara := h.staff(t, edda, language), h.educator(t, language)
		say := edda.speaker()
		enters := func(site string) answer {
			t.Helper()
			return mara.post("/desk/sites", with(mara.get("/desk/sites").wants(t, 200).form(t, "/sign-out"), "site", site))
		}
		people := func() url.Values { return edda.get("/desk/people").wants(t, 200).form(t, "/desk/people/let-in") }

		for _, nobody := range []string{"", "no-one", "HERON-12", "nils"} { // the last two of no staff, and of this site
			edda.post("/desk/people/let-in", with(people(), "username", nobody, "role", "educator")).says(t, say, 422, "people.let-in.nobody", "Value", strings.ToLower(nobody))
		}
		edda.post("/desk/people/let-in", with(people(), "username", "mara", "role", "learner")).says(t, say, 422, "problem.form")
		if language == "en" {
			enters("cedar").says(t, say, 404, "problem.unknown-site")
			mara.get("/desk").holds(t, "Rowan Teal") // and is where she was
		}
		edda.post("/desk/people/let-in", with(people(), "username", "mara", "role", "technologist")).wants(t, 303)
		edda.get("/desk/people").holds(t, "Mara Quill", "Alder Bay Home Breathing Service")

		// She goes there, and is a technologist there and no educator.
		old := mara.get("/desk").form(t, "/desk/kiosk")
		mara.get("/desk/sites").says(t, say, 200, "page.sites").holds(t, "Cedar Point")
		a := enters("cedar").wants(t, 303)
		if a.location() != "/desk/inbox" {
			t.Errorf("leads to %q", a.location())
		}
		mara.get("/desk/inbox").wants(t, 200).holds(t, "Cedar Point")
		mara.get("/desk").says(t, say, 403, "problem.educator-only")
		mara.get(rowanAt).wants(t, 403)
		// What was filled in before is not sent here.
		mara.post("/desk/sites", with(old, "site", "main")).says(t, say, 403, "problem.form-stale")

		// As an educator she signs there with the password she has at home.
		at := "/desk/people/demo-mara"
		edda.post(at, with(edda.get(at).holds(t, say.T("people.home", "Site", "Alder Bay Home Breathing Service")).form(t, at), "name", "Mara Quill", "role", "educator", "language", "en")).wants(t, 303)
		edda.post(at+"/invite", edda.get(at).form(t, at)).wants(t, 404) // her password is none of theirs
		mara = h.educator(t, language)
		mara.get("/desk").holds(t, "Rowan Teal")
		enters("cedar").wants(t, 303)
		body := mara.get("/desk").wants(t, 200).holds(t, "Yara Finch").body
		if strings.Contains(body, "Rowan") {
			t.Error("the roster tells of another site")
		}
		enters("main").wants(t, 303)
		mara.get("/desk").wants(t, 200).holds(t, "Rowan Teal")
		edda.get("/desk/changes").wants(t, 200).holds(t, "Mara Quill")

		// Sent away there, she is still in at home; sent away at home, she is nowhere.
		enters("cedar").wants(t, 303)
		edda.post(at, with(edda.get(at).form(t, at), "name", "Mara Quill", "role", "educator", "language", "en", "away", "yes")).wants(t, 303)
		mara.get("/desk").wants(t, 303)
		mara = h.educator(t, language)
		mara.get("/desk").wants(t, 200)
		enters("cedar").says(t, say, 404, "problem.unknown-site")
	})
	edda, mara := h.staff(t, edda, "en"), h.educator(t, "en")
	edda.post("/desk/people/let-in", with(edda.get("/desk/people").form(t, "/desk/people/let-in"), "username", "mara", "role", "educator")).wants(t, 303)
	mara.post("/desk/sites", with(mara.get("/desk/sites").form(t, "/sign-out"), "site", "cedar")).wants(t, 303)
	mara.get("/desk").wants(t, 200)
	idris := h.administrator(t, "en")
	at := "/desk/people/demo-mara"
	idris.post(at, with(idris.get(at).form(t, at), "name", "Mara Quill", "role", "educator", "username", "mara", "language", "en", "away", "yes")).wants(t, 303)
	mara.get("/desk").wants(t, 303)
}

// TestSignedAtASecondSite: the whole way of a signature by someone from
// another site, and what leaves the house says whose programme it was.
func TestSignedAtASecondSite(t *testing.T) {
	t.Parallel()
	h := serve(t, twoSites(t))
	edda, mara, yara := h.staff(t, edda, "en"), h.educator(t, "en"), h.learner(t, yara, "en")
	edda.post("/desk/people/let-in", with(edda.get("/desk/people").form(t, "/desk/people/let-in"), "username", "mara", "role", "educator")).wants(t, 303)
	mara.post("/desk/sites", with(mara.get("/desk/sites").form(t, "/sign-out"), "site", "cedar")).wants(t, 303)
	yara.learn("chair-12") // of which chair-30 is a copy
	at := "/desk/learners/c-yara"
	form := filledAt(t, mara, at)
	mara.post(at+"/sign", with(form, "secret", "not-hers-at-all")).says(t, mara.speaker(), 401, "problem.wrong-password")
	mara.post(at+"/sign", filledAt(t, mara, at)).wants(t, 303)
	id := signedAt.FindStringSubmatch(mara.get(at).wants(t, 200).body)[1]
	yara.get("/certificate/"+id).wants(t, 200).holds(t, "Cedar Point", "Yara Finch", "Mara Quill")
	stranger := h.reader(t, "en")
	a := stranger.get("/standing/"+id).says(t, stranger.speaker(), 200, "page.public.valid").holds(t, "Cedar Point")
	if strings.Contains(a.body, "Alder Bay") {
		t.Error("another programme is named")
	}
	h.educator(t, "en").get("/desk/sign-offs/"+id).wants(t, 404) // at her own site
}

// TestWhoseNumbers: nobody is shown another programme's numbers.
func TestWhoseNumbers(t *testing.T) {
	t.Parallel()
	h := serve(t, twoSites(t))
	inEach(t, func(t *testing.T, language string) {
		guest := h.reader(t, language)
		say := guest.speaker()
		shows := func(at string, wanted, not string) {
			t.Helper()
			a := guest.get(at).wants(t, 200)
			if wanted != "" {
				a.holds(t, wanted)
			}
			if strings.Contains(a.body, not) {
				t.Errorf("%s shows %s", at, not)
			}
		}
		for _, at := range []string{"/call", "/stopped", "/safe"} {
			shows(at, "", "555-01") // there are two, and nobody knows which
			guest.get(at).says(t, say, 200, "page.site.which")
		}
		guest.get("/call").says(t, say, 200, "page.site.numbers")
		if to := guest.get("/looks").wants(t, 303).location(); to != "/sites?next=/looks" {
			t.Errorf("leads to %q", to)
		}
		guest.get("/sites?next=/looks").says(t, say, 200, "page.sites").holds(t, "Alder Bay Home Breathing Service", "Cedar Point", "/sites/cedar?next=%2Flooks")
		guest.get("/sites/nowhere").says(t, say, 404, "problem.unknown-site")
		guest.get("/sites/cedar?next=//elsewhere.example").wants(t, 303)
		shows("/call", "555-0191", "555-0110")
		shows("/stopped", "555-0190", "555-0100")
		shows("/looks", "Chair 30", "Chair 12")

		// At a set-up it is that set-up's programme, whatever was chosen.
		for _, at := range []string{"/check/chair-12", "/paper/chair-12", "/paper/chair-12/stopped", "/lessons/chair-12", "/lessons/chair-12/three-sources/1", "/outing/chair-12"} {
			shows(at, "", "555-019")
		}
		shows("/paper/chair-12/stopped", "555-0100", "555-0190")
		shows("/paper/chair-30/stopped", "555-0190", "555-0100")

		// And so it is on a kiosk that stands beside one.
		edda := h.staff(t, edda, language)
		edda.post("/desk/kiosk", with(edda.get("/desk").form(t, "/desk/kiosk"), "set-up", "chair-30")).wants(t, 303)
		edda.post("/sign-out", edda.get("/desk").form(t, "/sign-out")).wants(t, 303)
		guest = edda
		shows("/call", "555-0191", "555-0110")
		shows("/looks", "Chair 30", "Chair 12")
		guest.get("/sites/main").wants(t, 303) // a kiosk stays where it stands
		shows("/call", "555-0191", "555-0110")

		// Whoever is signed in is of their own.
		learner := h.learner(t, rowan, language)
		learner.get("/sites/cedar").wants(t, 303)
		learner.get("/call").wants(t, 200).holds(t, "555-0110")
	})
}

// TestNumbersFollow: from a page of a set-up to the pages for an emergency the
// numbers are that set-up's programme's, whatever was chosen and whoever reads.
func TestNumbersFollow(t *testing.T) {
	t.Parallel()
	dir := twoSites(t)
	h := serve(t, dir)
	chosen := h.reader(t, "en")
	chosen.get("/sites/main").wants(t, 303)
	for name, r := range map[string]*reader{"a guest": h.reader(t, "en"), "who chose another": chosen, "a learner of another": h.learner(t, rowan, "en")} {
		for _, from := range []string{"/check/chair-30", "/lessons/chair-30", "/lessons/chair-30/three-sources/1", "/outing/chair-30"} {
			a := r.get(from)
			if a.status == 303 {
				a = r.get(a.location())
			}
			for _, to := range []string{"/call", "/stopped"} {
				a.holds(t, `href="`+to+`?site=cedar"`)
			}
		}
		for _, at := range []string{"/call?site=cedar", "/stopped?site=cedar", "/safe?site=cedar"} {
			a := r.get(at).wants(t, 200)
			if strings.Contains(a.body, "555-010") || at != "/safe?site=cedar" && !strings.Contains(a.body, "555-0190") {
				t.Errorf("%s: %s shows other numbers, or none", name, at)
			}
			// Another language keeps them.
			a.holds(t, "%3Fsite%3Dcedar")
		}
		r.get("/call?site=nowhere").wants(t, 200)
	}

	// On a kiosk it is the chair it stands beside, whoever is signed in.
	edda := h.staff(t, edda, "en")
	edda.post("/desk/kiosk", with(edda.get("/desk").form(t, "/desk/kiosk"), "set-up", "chair-30")).wants(t, 303)
	edda.post("/sign-out", edda.get("/desk").form(t, "/sign-out")).wants(t, 303)
	edda.try("/desk/sign-in", mara).wants(t, 303)
	for _, at := range []string{"/call", "/call?site=main", "/stopped"} {
		if a := edda.get(at).wants(t, 200).holds(t, "555-0190"); strings.Contains(a.body, "555-0100") {
			t.Errorf("%s shows another programme's numbers beside chair-30", at)
		}
	}
	edda.post("/sign-out", edda.get("/desk").form(t, "/sign-out")).wants(t, 303)

	// A learner's own device keeps them when the session has ended.
	own := h.learner(t, rowan, "en")
	h.clock.pass(25 * time.Minute)
	own.get("/me").wants(t, 303)
	own.get("/call").wants(t, 200).holds(t, "555-0110")

	// The kiosk's stay while the records cannot be read.
	edda.get("/sites/main").wants(t, 303)
	unreadable(t, dir)
	if a := edda.get("/call").wants(t, 200).holds(t, "555-0191"); strings.Contains(a.body, "555-0110") {
		t.Error("without the records it is another programme's")
	}
}

// TestFirstSiteWithoutName: it is one to choose once something is in it.
func TestFirstSiteWithoutName(t *testing.T) {
	t.Parallel()
	dir, ctx := t.TempDir(), context.Background()
	withRecords(t, dir, func(s *record.Store) { must(t, s.PutSite(ctx, record.Site{ID: "main", Zone: "UTC"}, morning)) })
	_, err := server.PutSite(ctx, dir, "cedar", "cedar.yaml", []byte(cedar), morning)
	must(t, err)
	h := serve(t, dir)
	h.reader(t, "en").get("/call").wants(t, 200).holds(t, "555-0191") // there is only one
	must(t, h.stop())
	text, err := setup.DemoFile("chair-12")
	must(t, err)
	_, _, err = server.PutSetup(ctx, dir, "main", "chair-12", "chair-12.yaml", text, morning)
	must(t, err)
	h = serve(t, dir)
	guest := h.reader(t, "en")
	guest.get("/call").says(t, guest.speaker(), 200, "page.site.numbers")
	guest.get("/sites").wants(t, 200).holds(t, ">main<", "Cedar Point")
}

// TestNobodyGivesThemselvesARole: an administrator who was let in stays one.
func TestNobodyGivesThemselvesARole(t *testing.T) {
	t.Parallel()
	h := serve(t, twoSites(t))
	edda, idris := h.staff(t, edda, "en"), h.administrator(t, "en")
	form := func(r *reader) url.Values { return r.get("/desk/people").wants(t, 200).form(t, "/desk/people/let-in") }
	edda.post("/desk/people/let-in", with(form(edda), "username", "idris", "role", "administrator")).wants(t, 303)
	idris.post("/desk/sites", with(idris.get("/desk/sites").form(t, "/sign-out"), "site", "cedar")).wants(t, 303)
	idris.post("/desk/people/let-in", with(form(idris), "username", "idris", "role", "educator")).says(t, idris.speaker(), 403, "people.yourself")
	idris.get("/desk/people").wants(t, 200)

	// Nor does the site that let them in rename them, or sign them out at home.
	at := "/desk/people/demo-idris"
	home := h.administrator(t, "en")
	edda.post(at, with(edda.get(at).form(t, at), "name", "Someone Else", "role", "technologist", "language", "en", "external", "n-7")).wants(t, 303)
	if strings.Contains(edda.get("/desk/people").body, "Someone Else") {
		t.Error("renamed by another site")
	}
	idris.get("/desk/inbox").wants(t, 303) // out there
	home.get("/desk/people").wants(t, 200) // and in at home
	list := edda.previews(listHeader + "n-7,New,Nurse,n@example.org,learner,cedar,Team,en,,true\r\n")
	edda.does(list).wants(t, 303)
}

// TestWhatASecondSiteAsks: its first day and its one-time codes are asked of
// who was let in.
func TestWhatASecondSiteAsks(t *testing.T) {
	t.Parallel()
	dir := twoSites(t)
	h := serve(t, dir)
	edda, mara := h.staff(t, edda, "en"), h.educator(t, "en")
	goes := func() answer {
		return mara.post("/desk/sites", with(mara.get("/desk/sites").wants(t, 200).form(t, "/sign-out"), "site", "cedar"))
	}
	edda.post("/desk/people/let-in", with(edda.get("/desk/people").form(t, "/desk/people/let-in"), "username", "mara", "role", "educator")).wants(t, 303)
	at := "/desk/people/demo-mara"
	edda.post(at, with(edda.get(at).form(t, at), "name", "Mara Quill", "role", "educator", "language", "en", "starts", "2099-01-01")).wants(t, 303)
	goes().says(t, mara.speaker(), 403, "problem.starts-later")
	edda.post(at, with(edda.get(at).form(t, at), "name", "Mara Quill", "role", "educator", "language", "en", "starts", "2020-01-01")).wants(t, 303)
	goes().wants(t, 303)
	must(t, h.stop())
	_, err := server.PutSite(context.Background(), dir, "cedar", "cedar.yaml", []byte(strings.Replace(cedar, "codes: false", "codes: true", 1)), morning)
	must(t, err)
	h = serve(t, dir)
	mara = h.educator(t, "en")
	goes().says(t, mara.speaker(), 403, "problem.codes-there")
	mara.get("/desk").wants(t, 200).holds(t, "Rowan Teal")
}

// TestAReceiverIsOfOneSite: it is told of nobody of another.
func TestAReceiverIsOfOneSite(t *testing.T) {
	t.Parallel()
	catalogue, err := lessons.Load()
	must(t, err)
	for site, name := range map[string]string{"": "demo-rowan", "cedar": "c-yara"} {
		to := newReceiver(t, "Bearer a-token")
		config := server.Config{
			Data: twoSites(t), Address: "https://lampwright.example", StatementsTo: to.URL + "/xapi/statements",
			StatementsAuth: secretFile(t, "a-token", 0o600), StatementsEvery: 20 * time.Millisecond, StatementsSite: site,
		}
		h := serveWith(t, config, &clock{at: morning})
		read := func(who [2]string) {
			r, at := h.learner(t, who, "en"), "/lessons/stop-and-call/question"
			s, err := setup.Demo("chair-12")
			must(t, err)
			l, _ := catalogue.Lesson("stop-and-call", "en")
			key, err := l.Question.Key(s)
			must(t, err)
			r.post(at, with(r.get(at).wants(t, 200).form(t, at), "option", key)).wants(t, 200)
		}
		read(rowan)
		read(yara)
		to.becomes("a statement", func() bool { return len(to.got) > 0 })
		time.Sleep(200 * time.Millisecond) // and no more
		to.Lock()
		for _, s := range to.got {
			if s.Actor.Account.Name != name {
				t.Errorf("of %q it is told %s", site, s.Actor.Account.Name)
			}
		}
		to.Unlock()
	}
}

// TestOneSiteAsksNothing: where there is one, nobody has to choose.
func TestOneSiteAsksNothing(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	guest := h.reader(t, "en")
	for _, at := range []string{"/", "/call", "/looks", "/check/chair-12"} {
		if a := guest.get(at).wants(t, 200); strings.Contains(a.body, `href="/sites`) {
			t.Errorf("%s leads to a choice of one", at)
		}
	}
}
