package main

import (
	"io"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"lampwright/lessons"
	"lampwright/quiz"
	"lampwright/quiz/competency"
	"lampwright/server"
	"lampwright/server/record"
)

// From a list of an agency's nurses to a certificate that a stranger checks:
// each person by their own way in, and the proof without the records.
func TestSignOffJourney(t *testing.T) {
	start := browse(t)
	t.Run("English", func(t *testing.T) {
		start(t, traveller{lang: "en", dir: "ltr", setup: "chair-12", name: "Orla Fennick", pin: "602817"}).fromListToProof("en")
	})
	t.Run("French, for an Arabic reader", func(t *testing.T) {
		start(t, traveller{lang: "fr", dir: "ltr", setup: "chair-12", name: "Noura Belmar", pin: "602817"}).fromListToProof("ar")
	})
}

// fromListToProof is the whole way of a nurse who reads a language.
func (w *walk) fromListToProof(reads string) {
	w.speaks()
	w.open("/desk")
	w.staffSignsIn("idris", "quiet-orchard-6", "/desk/people")
	w.imports(reads)
	invitation := w.invites()
	w.signOut("/desk/people")
	w.takesUp(invitation)
	w.signOut("/me")
	w.restarts(w.learned)

	signed := w.observed("bag-ready")
	w.acknowledges()
	standing := w.certified(signed, reads)
	w.proven(signed)
	w.signOut("/me")
	w.stands(standing, "valid")
	w.looks("standing", full)

	if anew := w.observed(""); anew == signed {
		w.Errorf("signed anew, and still %s", signed)
	}
	w.stands(standing, "superseded")
	w.looks("standing-superseded", glance)
}

// imports reads in a list with two more of the agency, and does what it shows.
func (w *walk) imports(reads string) {
	w.click(`.desks a[href="/desk/import"]`)
	w.looks("import", full)
	given, family, _ := strings.Cut(w.name, " ")
	w.chooses("#text", strings.Join([]string{
		"external_id,given_name,family_name,role,site_code,group,language,start_date,active",
		"AG-101," + given + "," + family + ",learner,main,Tidewater Agency," + reads + ",2026-11-02,true",
		"AG-102,Teodor,Lisk,learner,main,Tidewater Agency,en,2026-11-02,true",
		"AG-103,Amandine,Roche-Vale,learner,elsewhere,Tidewater Agency,fr,,true",
	}, "\n"))
	w.click("main form .go")
	w.says("main", w.speak.T("roster.import.added", "Count", 2), w.speak.T("roster.import.refused", "Count", 1), "Amandine Roche-Vale")
	w.says("tbody", w.name, "Teodor Lisk", "Tidewater Agency")
	w.looks("import-preview", full)
	w.click("main form .go")
	w.says(".note.good", w.speak.T("roster.import.done"))
	w.looks("import-done", glance)
	w.click(`main a[href="/desk/people"]`)
	w.isAt("/desk/people")
	if strings.Contains(w.text("main"), "Amandine") {
		w.Error("who was left out is there")
	}
}

// invites gives the nurse a set-up, and is shown her card and the way in.
func (w *walk) invites() (path string) {
	w.click(`main th a[href="` + w.learnerLink() + `"]`)
	w.says("h1", w.name)
	w.chooses("#set-up", w.setup)
	w.click("main form .go")
	w.says(".note.good", w.speak.T("people.kept"))
	w.looks("person", full)
	w.click(`form[action$="/invite"] button`)
	w.says("h1", w.speak.T("people.invitation", "Name", w.name))
	w.looks("invitation", full)
	w.card = w.text("main strong bdi")
	return eval[string](w, `document.querySelector("main a.go").getAttribute("href")`)
}

// takesUp chooses a PIN, and is in.
func (w *walk) takesUp(invitation string) {
	w.open(invitation)
	w.says("main", w.card)
	w.looks("take-up", full)
	w.write("#secret", w.pin)
	w.write("#again", w.pin)
	w.click("main form .go")
	w.isAt("/me")
	w.says("main", w.name, w.speak.T("page.me.unsigned"))
}

// restarts does something to the records while the program is away.
func (w *walk) restarts(change func(*record.Store)) {
	w.Helper()
	w.program.stop(w.T)
	store, err := record.Open(w.data)
	if err != nil {
		w.Fatal(err)
	}
	change(store)
	if err := store.Close(); err != nil {
		w.Fatal(err)
	}
	at, err := url.Parse(w.program.url)
	if err != nil {
		w.Fatal(err)
	}
	w.program = serve(w.T, w.file, w.data, at.Host)
}

// learned has the nurse done all that a sign-off needs, which TestJourney does
// by hand.
func (w *walk) learned(store *record.Store) {
	w.Helper()
	ctx, now := w.Context(), time.Now()
	done := func(err error) {
		w.Helper()
		if err != nil {
			w.Fatal(err)
		}
	}
	nurse, err := store.PersonByCard(ctx, w.card)
	done(err)
	chair, err := store.Setup(ctx, server.SiteID, w.setup)
	done(err)
	for _, id := range w.lessons.IDs() {
		lesson, _ := w.lessons.Lesson(id, lessons.English)
		done(store.MarkLesson(ctx, server.SiteID, nurse.ID, chair.ID, chair.Version, id, lesson.Version, true, now, "lesson "+id))
	}
	for _, sc := range quiz.Needed() {
		run, err := store.StartRun(ctx, record.Run{
			SiteID: server.SiteID, PersonID: nurse.ID, SetupID: chair.ID, SetupVersion: chair.Version, Scenario: sc.ID,
			ScenarioVersion: quiz.Version, ModelVersion: "1", Language: w.lang, Mode: record.Quiz, Started: now,
		}, "run "+sc.ID)
		done(err)
		done(store.EndRun(ctx, server.SiteID, run.ID, true, 1, nil, now))
	}
}

// observed has the educator watch and sign, refused once where an item is
// missed first, and returns the sign-off.
func (w *walk) observed(missed string) (id string) {
	w.open("/desk")
	w.educatorSignsIn()
	w.click(`main th a[href="` + w.learnerLink() + `"]`)
	w.says("h1", w.name, w.equipment.Tag)
	const form = "#observe-power-sources"
	const secret = "#secret-power-sources"
	see := func(item string) { w.touch(form + " label:has(" + value("seen", item) + ")") }
	w.touch(form + " summary")
	w.touch(form + ` label:has([name="spare"])`)
	for _, it := range competency.Find(competency.PowerSources).Items {
		if it.ID != missed {
			see(it.ID)
		}
	}
	w.touch(form + " label:has(" + value("rating", "4") + ")")
	if missed == "" {
		w.says(form, w.speak.T("page.observe.again"))
	} else {
		w.write(secret, educatorSecret)
		w.goes(422, w.press(form+" .go"))
		w.says("#wrong-power-sources", w.speak.T("problem.critical-missed"))
		if w.count(".sign-off") != 0 {
			w.Error("a sign-off with a critical item missed")
		}
		see(missed)
	}
	w.write(secret, educatorSecret)
	w.click(form + " .go")
	w.says("main", w.speak.T("page.signed"))
	how := glance
	if missed != "" {
		how = full
	}
	w.looks("desk-signed", how)
	w.click(`.sign-off a[href^="/desk/sign-offs/"]`) // the newest
	id = strings.TrimPrefix(w.at(), "/desk/sign-offs/")
	w.says("main", w.name, w.equipment.Tag, educator, w.speak.T("page.sign-off.since.nothing"))
	w.looks("sign-off", how)
	w.signOut("/desk")
	return id
}

// acknowledges is the nurse's word, which she gives once.
func (w *walk) acknowledges() {
	w.open("/sign-in")
	w.signIn()
	w.says(".sign-off", w.speak.T("page.standing.current"), w.equipment.Tag, educator)
	w.looks("me-acknowledge", full)
	const form = `form[action^="/me/acknowledge/"]`
	w.click(form + " button")
	w.isAt("/me")
	if w.count(form) != 0 {
		w.Error("what is acknowledged can be acknowledged again")
	}
}

// certified looks at the certificate, one sheet in each of its languages, and
// returns where it leads.
func (w *walk) certified(signed, reads string) (standing string) {
	w.click(`.sign-off a[href="/certificate/` + signed + `"]`)
	languages := []string{reads}
	if reads != w.lang {
		languages = append(languages, w.lang)
	}
	if got := eval[[]string](w, `[...document.querySelectorAll(".certificate")].map(e => e.lang)`); !slices.Equal(got, languages) {
		w.Errorf("the certificate is in %q, want %q", got, languages)
	}
	w.says(".certificate", w.name, w.equipment.Tag, educator)
	w.looks("certificate", full)
	for name, paper := range sheets {
		if n := w.sheetsOf(paper); n != len(languages) {
			w.Errorf("the certificate takes %d sheets of %s in %d languages", n, name, len(languages))
		}
	}
	standing, ok := strings.CutPrefix(w.text(".certificate .check p bdi"), w.program.url)
	if !ok || standing != "/standing/"+signed {
		w.Errorf("the certificate leads to %s", standing)
	}
	return standing
}

// proven checks the nurse's proof file where there are no records.
func (w *walk) proven(signed string) {
	dir := w.TempDir()
	for name, path := range map[string]string{"proof": "/proof/" + signed, "verifier": "/verifier"} {
		if err := os.WriteFile(filepath.Join(dir, name), w.fetched(path), 0o600); err != nil {
			w.Fatal(err)
		}
	}
	verify := exec.Command(w.file, "verify", "proof", "--verifier", "verifier")
	verify.Dir = dir
	out, err := verify.CombinedOutput()
	if err != nil || !strings.Contains(string(out), signed) {
		w.Errorf("the proof: %v: %s", err, out)
	}
}

// fetched is a file as whoever is signed in is given it.
func (w *walk) fetched(path string) []byte {
	w.Helper()
	got, err := chromedp.Call(w.ctx, network.GetCookies, network.GetCookiesParams{})
	if err != nil {
		w.Fatal(err)
	}
	r, err := http.NewRequestWithContext(w.Context(), http.MethodGet, w.program.url+path, nil)
	if err != nil {
		w.Fatal(err)
	}
	for _, c := range got.Cookies {
		r.AddCookie(&http.Cookie{Name: c.Name, Value: c.Value})
	}
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		w.Fatal(err)
	}
	defer answer.Body.Close() //nolint:errcheck // it was only read
	body, err := io.ReadAll(answer.Body)
	if err != nil || answer.StatusCode != http.StatusOK {
		w.Fatalf("%s: %s, %v", path, answer.Status, err)
	}
	return body
}

// stands is what a stranger reads: how it stands, and of whom nothing.
func (w *walk) stands(standing, how string) {
	w.Helper()
	w.open(standing)
	w.says(".public", w.speak.T("page.public."+how))
	page := eval[string](w, `document.documentElement.outerHTML`)
	for _, personal := range []string{w.name, w.card, educator, w.equipment.Tag} {
		if strings.Contains(page, personal) {
			w.Errorf("%s tells a stranger of %s", w.at(), personal)
		}
	}
}
