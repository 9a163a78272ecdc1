package page_test

import (
	"github.com/a-h/templ"

	"lampwright/locales"
	"lampwright/quiz/competency"
	"lampwright/server/credential"
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
		return page.PeoplePage(page.People{Frame: desk(s, "people.title"), Form: form, Pager: page.Pager{Search: "<b>", Found: 203, From: 101, Prev: "/desk/people?q=%3Cb%3E&page=1", Next: "/desk/people?q=%3Cb%3E&page=3"}, Rows: []page.PersonRow{
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
	card := func(s locales.Speaker) page.LearnerCard {
		return page.LearnerCard{Speaker: s, Programme: "Alder <Bay>", Name: "Wren <b>", Code: "ABCD-EFGH", Address: "http://h/sign-in", QR: qr}
	}
	samples["learner-card"] = func(s locales.Speaker) templ.Component {
		return page.PrintedCardPage(page.PrintedCard{Frame: desk(s, "people.title"), HereOnly: "http://<h>", Card: card(s)})
	}
	samples["invitations"] = func(s locales.Speaker) templ.Component {
		return page.InvitationsPage(page.Invitations{
			Frame: desk(s, "people.invitations"), Read: "1", Most: 100, Invited: 1, Teams: []page.Team{{Name: "nights<", Count: 1}}, Rows: []page.PersonRow{
				{ID: "p1", Name: "Wren <b>", Role: "learner", Team: "nights<", Invited: "UNTIL"},
				{ID: "p2", Name: "Mara", Role: "educator"},
			},
		})
	}
	samples["slips"] = func(s locales.Speaker) templ.Component {
		return page.SlipsPage(page.Slips{Frame: desk(s, "people.invitations"), Left: 2, Slips: []page.Slip{
			{Speaker: s, Programme: "Alder <Bay>", Name: "Wren <b>", Address: "http://h", Token: "T", Until: "UNTIL", QR: qr, Card: card(s)},
			{Speaker: s, Programme: "Alder <Bay>", Name: "Mara", Username: "mara", Address: "http://h", Token: "U", Until: "UNTIL", QR: qr},
		}})
	}
	samples["invitation"] = func(s locales.Speaker) templ.Component {
		return page.InvitationPage(page.Invitation{Frame: frame(s, "people.title"), Person: "Mara", Username: "mara", Fewest: 12, CodeNeeded: true, CodeKey: "KEY", QR: qr, Wrong: "WRONG<"})
	}
	samples["invitation-pin"] = func(s locales.Speaker) templ.Component {
		return page.InvitationPage(page.Invitation{Frame: frame(s, "people.title"), Person: "Wren", Card: "ABCD-EFGH", PIN: true, Digits: 6})
	}
}

func init() {
	shown := page.SignOff{
		ID: "s1", Of: "power-sources", Competency: "COMPETENCY", Setup: "Chair <12>", SetupID: "chair-12", Standing: competency.Suspended, By: "Mara <b>",
		At: "2026-11-27 09:00 PST", LastDay: "2027-11-27", Meaning: "MEANING<", Language: "fr", Why: "WHY<", Because: []string{"BECAUSE<"}, Until: "UNTIL", Acknowledge: true,
	}
	items := competency.Find(competency.PowerSources).Items[:2]
	samples["sign-off"] = func(s locales.Speaker) templ.Component {
		seen := []page.Step{{Title: s.T("page.item.person-first"), Done: true}, {Title: s.T("page.item.bag-ready")}}
		return page.SignOffPage(page.SignOffDetail{
			Frame: desk(s, "page.sign-off"), SignOff: shown, Person: "Wren <b>", PersonID: "p1", UTC: "2026-11-27T17:00:00Z", Rating: "4", Seen: seen,
			Versions: []page.Difference{{Name: s.T("page.sign-off.content"), New: "<1>"}}, MaySign: true, Kinds: []string{"suspended", "lifted"},
			Events: []page.Happened{{At: "AT", By: "BY<", What: s.T("page.event.suspended"), Why: "WHY<", Until: "UNTIL"}, {At: "AT", By: "BY", What: s.T("page.event.observed-too"), Rating: "3", Seen: seen}},
			Items:  items, Lowest: 1, Highest: 5, FormKey: "KEY", Form: page.EventForm{Kind: "suspended", Why: "<why>", Wrong: "WRONG<"},
		})
	}
	samples["learner"] = func(s locales.Speaker) templ.Component {
		return page.LearnerPage(page.Learner{
			Frame: desk(s, "page.roster"), ID: "p1", Person: "Wren <b>", Setup: "Chair 12", MaySign: true, JustSigned: true, SignOffs: []page.SignOff{shown},
			Choices: []page.Step{{Title: "CHOICE<", Link: "/desk/learners/p1?competency=power-sources", Done: true}},
			Observation: page.Observation{
				Competency: "power-sources", Name: "NAME", Again: true, FormKey: "KEY", After: "s1", ChecklistVersion: "1", Items: items, Lowest: 1, Highest: 5, Rating: 3, Spare: true, Educator: "Mara", Meaning: "MEANING<", Wrong: "WRONG<",
			},
		})
	}
	samples["standing"] = func(s locales.Speaker) templ.Component {
		return page.StandingPage(page.PublicStanding{Frame: frame(s, "page.public.title"), Says: "not-now", Programme: "Alder <Bay>", At: "AT"})
	}
	samples["certificate"] = func(s locales.Speaker) templ.Component {
		return page.CertificatePage(page.CertificatePageData{
			Frame: desk(s, "page.certificate"), Programme: "Alder <Bay>", Speakers: []locales.Speaker{s}, QR: page.QR{Size: 29, Path: "M4 4h7v1h-7z"},
			Certificate: credential.Certificate{
				Signed: credential.Signed{ID: "s1", Address: "https://h/standing/s1", Competency: "power-sources", SetupTag: "Chair <12>"}, Name: "Wren <b>", Signer: "Mara <b>",
				Meaning: "MEANING<", AtLocal: "AT", LastDay: "DAY", ChecklistVersion: "1", Language: "fr", RecordHash: "00ff", Checkpoint: "CHECKPOINT<\n",
			},
		})
	}
}
