package server

import (
	"slices"

	"github.com/gofiber/fiber/v2"

	"lampwright/locales/problem"
	"lampwright/server/record"
)

// access is who may use a route: the roles named, or anyone where there are
// none.
type access []record.Role

var (
	anyone         access
	learners       = access{record.Learner}
	educators      = access{record.Educator} // alone they sign
	technologists  = access{record.Technologist}
	administrators = access{record.Administrator}
	teachers       = access{record.Educator, record.Technologist} // who learn from what callers get wrong
	offices        = access{record.Educator, record.Administrator}
	ownPapers      = access{record.Learner, record.Educator, record.Administrator} // a learner's own
	staff          = access{record.Educator, record.Technologist, record.Administrator}
	everyone       = access{record.Learner, record.Educator, record.Technologist, record.Administrator}
)

// route is a line of the table of who may go where.
type route struct {
	method, path string
	who          access
	do           fiber.Handler
}

// table is every route there is: what is not in it is not there.
func (m *Main) table() []route {
	reports := &inbox{Main: m}
	return []route{
		{"GET", "/readyz", anyone, m.ready},
		{"GET", "/static/*", anyone, m.static},

		{"GET", "/", anyone, m.welcome},
		{"GET", "/language/:tag", anyone, m.language},
		{"GET", "/size/:n", anyone, m.size},
		{"GET", "/sites", anyone, m.chooseSite},
		{"GET", "/sites/:site", anyone, m.site},
		{"GET", "/looks", anyone, m.looks},
		{"GET", "/safe", anyone, m.safe},
		{"GET", "/stopped", anyone, m.stopped},
		{"GET", "/call", anyone, m.call},
		{"GET", "/sign-in", anyone, m.signInPage},
		{"POST", "/sign-in", anyone, m.signIn},
		{"GET", "/sign-out", anyone, m.signOutPage},
		{"POST", "/sign-out", anyone, m.signOut},
		{"GET", "/invite/:invitation", anyone, m.invitation},
		{"POST", "/invite/:invitation", anyone, m.takeUp},
		{"GET", "/lessons/:setup", anyone, m.shelf},
		{"GET", "/lessons/:setup/:lesson/:card<int>", anyone, m.lesson},
		{"GET", "/lessons/:setup/:lesson/refresher", anyone, m.refresher},
		{"GET", "/outing/:setup", anyone, m.outing},
		{"GET", "/figures/:setup", anyone, m.everyFigure},
		{"GET", "/paper/:setup", anyone, m.setupCard},
		{"GET", "/paper/:setup/stopped", anyone, m.stoppedCard},
		{"GET", "/check/:setup", anyone, m.check},
		{"POST", "/check/:setup/report", anyone, m.report},

		{"GET", "/standing/:signoff", anyone, m.standing},
		{"GET", "/verifier", anyone, m.verifier},
		{"GET", "/checkpoint", anyone, m.checkpoint},
		{"GET", "/.well-known/jwks.json", anyone, m.keyDocument},
		{"GET", "/calendar/:feed.ics", anyone, m.calendar},

		{"GET", "/me", learners, m.me},
		{"POST", "/me/acknowledge/:signoff", learners, m.acknowledge},
		{"POST", "/me/calendar", learners, m.makeOwnFeed},
		{"POST", "/me/calendar/stop", learners, m.stopOwnFeed},
		{"GET", "/certificate/:signoff", ownPapers, m.certificate},
		{"GET", "/proof/:signoff", ownPapers, m.proof},
		{"GET", "/badge/:signoff", ownPapers, m.badge},
		{"GET", "/lessons/:lesson/question", learners, m.question},
		{"POST", "/lessons/:lesson/question", learners, m.answer},
		{"GET", "/scenarios/:scenario", learners, m.scenario},
		{"POST", "/runs", learners, m.startRun},
		{"GET", "/runs/:run", learners, m.run},
		{"POST", "/runs/:run/act", learners, m.act},
		{"GET", "/runs/:run/debrief", learners, m.debrief},

		{"POST", "/sign-out/everywhere", everyone, m.signOutEverywhere},
		{"GET", "/desk/sites", staff, m.posts},
		{"POST", "/desk/sites", staff, m.goThere},

		{"GET", "/desk/sign-in", anyone, m.deskSignInPage},
		{"POST", "/desk/sign-in", anyone, m.deskSignIn},
		{"GET", "/desk", offices, m.roster},
		{"GET", "/desk/learners/:person", offices, m.learner},
		{"POST", "/desk/learners/:person/sign", educators, m.sign},
		{"POST", "/desk/learners/:person/invite", educators, m.inviteLearner},
		{"GET", "/desk/learners/:person/card", offices, m.learnerCard},
		{"GET", "/desk/sign-offs/:signoff", offices, m.signOff},
		{"POST", "/desk/sign-offs/:signoff/happens", educators, m.happens},
		{"POST", "/desk/sign-offs/:signoff/observed", educators, m.observeToo},
		{"POST", "/desk/kiosk", offices, m.bindKiosk},
		{"GET", "/desk/roster.csv", offices, m.rosterCSV},
		{"POST", "/desk/calendar", educators, m.makeSiteFeed},
		{"POST", "/desk/calendar/stop", educators, m.stopSiteFeed},

		{"GET", "/desk/inbox", technologists, reports.list},
		{"GET", "/desk/inbox.csv", technologists, reports.listCSV},
		{"GET", "/desk/inbox/lessons", teachers, reports.missed},
		{"GET", "/desk/inbox/:outage", technologists, reports.outage},
		{"POST", "/desk/inbox/:outage/readings", technologists, reports.measured},
		{"POST", "/desk/inbox/:outage/finding", technologists, reports.found},

		{"GET", "/desk/people", administrators, m.people},
		{"POST", "/desk/people", administrators, m.addPerson},
		{"POST", "/desk/people/let-in", administrators, m.letIn},
		{"GET", "/desk/people.csv", administrators, m.peopleCSV},
		{"GET", "/desk/people/:person", administrators, m.person},
		{"POST", "/desk/people/:person", administrators, m.changePerson},
		{"POST", "/desk/people/:person/invite", administrators, m.invite},
		{"GET", "/desk/people/:person/export", administrators, m.exportPerson},
		{"GET", "/desk/people/:person/erase", administrators, m.erasePage},
		{"POST", "/desk/people/:person/erase", administrators, m.erase},
		{"GET", invitationsPath, administrators, m.invitations},
		{"POST", invitationsPath, administrators, m.inviteAll},
		{"GET", importPath, administrators, m.importPage},
		{"POST", importPath, administrators, m.readImport},
		{"GET", importPath + "/:import", administrators, m.shownImport},
		{"POST", importPath + "/:import", administrators, m.doImport},
		{"GET", "/desk/changes", administrators, m.changes},
		{"GET", "/desk/changes.csv", administrators, m.changesCSV},
		{"GET", "/desk/statements", administrators, m.statements},
	}
}

// homes are where a role begins.
var homes = map[record.Role]string{
	record.Learner: "/me", record.Educator: "/desk", record.Technologist: "/desk/inbox", record.Administrator: "/desk/people",
}

// desks are the desk's pages that a role may open, with their titles.
func desks(role record.Role) (out []struct{ path, title string }) {
	for _, d := range []struct {
		path, title string
		who         access
	}{
		{"/desk", "page.roster", offices},
		{"/desk/inbox", "inbox.title", technologists},
		{"/desk/inbox/lessons", "inbox.missed", teachers},
		{"/desk/people", "people.title", administrators},
		{importPath, "roster.import", administrators},
		{"/desk/changes", "people.changes", administrators},
	} {
		if slices.Contains(d.who, role) {
			out = append(out, struct{ path, title string }{d.path, d.title})
		}
	}
	return out
}

// let lets only those in who may use a route, and holds every form of someone
// signed in to its session's token.
func (m *Main) let(who access) fiber.Handler {
	if len(who) == 0 {
		return func(c *fiber.Ctx) error { return c.Next() }
	}
	return func(c *fiber.Ctx) error {
		if run := c.Params("run"); run != "" {
			c.Locals(backKey, "/runs/"+run)
		}
		err := m.who(c)
		if problem.Is(err, problem.SignIn) && reads(c) {
			return c.Redirect(m.view(c).signInAgain(c), fiber.StatusSeeOther)
		}
		if err != nil {
			return err
		}
		p := c.Locals(personKey).(record.Person)
		switch {
		case slices.Contains(who, p.Role):
		case slices.Contains(who, record.Learner):
			return problem.New(problem.Forbidden, "problem.learner-only")
		case slices.Contains(who, record.Educator):
			return problem.New(problem.Forbidden, "problem.educator-only")
		default:
			return problem.New(problem.Forbidden, "problem.other-role")
		}
		if c.Method() == fiber.MethodPost {
			if err := m.form(c, c.Locals(sessionKey).(record.Session).FormToken); err != nil {
				return err
			}
		}
		return c.Next()
	}
}
