package main

import (
	"strings"
	"testing"
	"time"

	"lampwright/lessons/setup"
	"lampwright/server"
	"lampwright/server/record"
)

// Two programmes on one machine: a reader finds the numbers of their own, and
// an educator of one goes to the other that let her in.
func TestSitesJourney(t *testing.T) {
	start := browse(t)
	t.Run("English", func(t *testing.T) {
		start(t, traveller{lang: "en", dir: "ltr", setup: "chair-12"}).twoProgrammes()
	})
	t.Run("Arabic", func(t *testing.T) {
		start(t, traveller{lang: "ar", dir: "rtl", setup: "chair-12"}).twoProgrammes()
	})
}

// cedar is the second programme's file, as far as this walk needs it.
const cedar = `schema: 1
name: Cedar Point
zone: Europe/Paris
numbers:
  emergency: {number: 555-0190, hours: always}
  clinical: {number: 555-0191, hours: always}
  technologist: {number: 555-0192, hours: 08:00–18:00}
policies:
  one-time-codes: false
`

func (w *walk) twoProgrammes() {
	w.speaks()
	w.restarts(func(store *record.Store) {
		ctx, now := w.Context(), time.Now()
		text, err := setup.DemoFile(w.setup)
		for _, did := range []error{
			err,
			store.PutSite(ctx, record.Site{
				ID: "cedar", Name: "Cedar Point", Zone: "Europe/Paris", RescueLine: "555-0190",
				ClinicalLine: "555-0191", ClinicalHours: "always", TechnologistLine: "555-0192", TechnologistHours: "08:00–18:00", Programme: cedar,
			}, now),
			store.PutSetup(ctx, record.Setup{ID: "chair-30", SiteID: "cedar", Tag: "Chair 30", YAML: []byte(strings.Replace(string(text), "Chair 12", "Chair 30", 1))}, now),
			store.PutPerson(ctx, record.Person{
				ID: "edda", SiteID: "cedar", Name: "Edda Moor", Role: record.Administrator, Username: "edda",
				Secret: server.HashSecret("granite-willow-27"), Language: w.lang,
			}, now),
		} {
			if did != nil {
				w.Fatal(did)
			}
		}
	})

	w.open("/call")
	w.says("main", w.speak.T("page.site.numbers"))
	w.looks("call-any-site", full)
	w.click("main .note a")
	w.says("h1", w.speak.T("page.sites"))
	w.looks("sites", full)
	w.click(`main a[href^="/sites/cedar"]`)
	w.isAt("/call")
	w.says("main", "555-0191", "555-0192")
	w.looks("call-chosen", glance)

	w.open("/desk")
	w.staffSignsIn("edda", "granite-willow-27", "/desk/people")
	w.write("#let-in-username", "mara")
	w.chooses("#let-in-role", "educator")
	w.click(`form[action$="/let-in"] button`)
	w.says("tbody", "Mara Quill", "Alder Bay Home Breathing Service")
	w.looks("people-of-two-sites", full)
	w.click(`tbody a[href="/desk/people/demo-mara"]`)
	w.says("main", w.speak.T("people.home", "Site", "Alder Bay Home Breathing Service"))
	w.looks("person-from-elsewhere", glance)
	w.signOut("/desk/people/demo-mara")

	w.open("/desk")
	w.staffSignsIn("mara", "lantern-harbour-9", "/desk")
	w.says("main", "Rowan Teal")
	w.click(`.tools a[href="/desk/sites"]`)
	w.looks("posts", full)
	w.click("main form button")
	w.isAt("/desk")
	w.says(".tools", w.speak.T("page.site", "Name", "Cedar Point"))
	if strings.Contains(w.text("main"), "Rowan") {
		w.Error("the roster is another site's")
	}
	w.looks("roster-elsewhere", glance)
}
