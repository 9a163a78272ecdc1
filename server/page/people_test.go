package page_test

import (
	"github.com/a-h/templ"

	"lampwright/locales"
	"lampwright/server/page"
)

func init() {
	form := page.PersonForm{
		Values: map[string]string{"name": `Wren "<b>`, "role": "learner", "set-up": "chair-12", "language": "fr", "starts": "2026-12-01"},
		Wrong:  map[string]string{"username": "WRONG<", "starts": "WRONG"}, Setups: []page.Look{{ID: "chair-12", Setup: "Chair <12>"}},
		Roles: []string{"learner", "educator", "technologist", "administrator"},
	}
	qr := page.QR{Size: 29, Path: "M4 4h7v1h-7z"}
	samples["people"] = func(s locales.Speaker) templ.Component {
		return page.PeoplePage(page.People{Frame: desk(s, "people.title"), Form: form, Rows: []page.PersonRow{
			{ID: "p1", Name: "Wren <b>", Role: "learner", SignsInAs: "ABCD-EFGH", Setup: "Chair 12", Team: "nights", Waiting: true},
			{ID: "p2", Name: "Mara", Role: "educator", SignsInAs: "mara", Away: true},
			{ID: "p3", Name: "Tove", Role: "technologist", SignsInAs: "tove"},
		}})
	}
	samples["person"] = func(s locales.Speaker) templ.Component {
		return page.PersonPage(page.PersonPageData{Frame: desk(s, "people.title"), ID: "p1", Person: "Wren <b>", Card: "ABCD-EFGH", Kept: true, Form: form, Changes: []page.Change{
			{At: "2026-11-27 09:00 PST", By: "Idris", Kind: s.T("people.kind.person"), Subject: "p1", Fields: []page.Difference{{Name: "Team", Old: "<days>", New: "nights"}}},
		}})
	}
	samples["invited"] = func(s locales.Speaker) templ.Component {
		return page.InvitedPage(page.Invited{Frame: desk(s, "people.title"), Person: "Wren", Card: "ABCD-EFGH", Link: "http://h/invite/T", Path: "/invite/T", Until: "UNTIL", QR: qr})
	}
	samples["invitation"] = func(s locales.Speaker) templ.Component {
		return page.InvitationPage(page.Invitation{Frame: frame(s, "people.title"), Person: "Mara", Username: "mara", Fewest: 12, CodeNeeded: true, CodeKey: "KEY", QR: qr, Wrong: "WRONG<"})
	}
	samples["invitation-pin"] = func(s locales.Speaker) templ.Component {
		return page.InvitationPage(page.Invitation{Frame: frame(s, "people.title"), Person: "Wren", Card: "ABCD-EFGH", PIN: true, Digits: 6})
	}
}
