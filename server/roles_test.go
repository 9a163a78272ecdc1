package server_test

import (
	"net/url"
	"slices"
	"strings"
	"testing"

	"lampwright/server"
	"lampwright/server/record"
)

// TestWhoMayGoWhere: every route there is, for everyone. A route that is not
// in the table fails the test.
func TestWhoMayGoWhere(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	m, err := server.Open(server.Config{Data: dir, Now: (&clock{at: morning}).now})
	must(t, err)
	routes := m.Routes()
	must(t, m.Close())
	outage := reported(t, dir, blownFuse("inbox-1", morning))
	h := serve(t, dir)

	learner, guest := h.learner(t, rowan, "en"), h.reader(t, "en")
	educator, technologist, administrator := h.educator(t, "en"), h.technologist(t, "en"), h.administrator(t, "en")
	run := learner.begin("at-home-evening", record.Practice)
	ended := learner.begin("at-home-evening", record.Practice)
	learner.act(ended, "call-technologist:")

	type may struct {
		at                                                    string // the route with its words filled in
		guest, learner, educator, technologist, administrator int
	}
	const stale = 1403 // 403 with what a form without its token gets where it may be sent
	table := map[string]may{
		"GET /healthz":                           {"/healthz", 200, 200, 200, 200, 200},
		"GET /readyz":                            {"/readyz", 200, 200, 200, 200, 200},
		"GET /static/*":                          {"/static/none", 404, 404, 404, 404, 404},
		"GET /":                                  {"/", 200, 200, 200, 200, 200},
		"GET /language/:tag":                     {"/language/en", 303, 303, 303, 303, 303},
		"GET /size/:n":                           {"/size/0", 303, 303, 303, 303, 303},
		"GET /looks":                             {"/looks", 200, 200, 200, 200, 200},
		"GET /safe":                              {"/safe", 200, 200, 200, 200, 200},
		"GET /stopped":                           {"/stopped", 200, 200, 200, 200, 200},
		"GET /call":                              {"/call", 200, 200, 200, 200, 200},
		"GET /sign-in":                           {"/sign-in", 200, 200, 200, 200, 200},
		"POST /sign-in":                          {"/sign-in", stale, stale, stale, stale, stale},
		"GET /sign-out":                          {"/sign-out", 303, 200, 200, 200, 200},
		"POST /sign-out":                         {"/sign-out", 303, stale, stale, stale, stale},
		"GET /lessons/:setup/:lesson/:card<int>": {"/lessons/chair-12/three-sources/1", 200, 200, 200, 200, 200},
		"GET /lessons/:setup":                    {"/lessons/chair-12", 200, 200, 200, 200, 200},
		"GET /lessons/:setup/:lesson/refresher":  {"/lessons/chair-12/three-sources/refresher", 200, 200, 200, 200, 200},
		"GET /outing/:setup":                     {"/outing/chair-12", 200, 200, 200, 200, 200},
		"GET /figures/:setup":                    {"/figures/chair-12", 200, 200, 200, 200, 200},
		"GET /paper/:setup":                      {"/paper/chair-12", 200, 200, 200, 200, 200},
		"GET /paper/:setup/stopped":              {"/paper/chair-12/stopped", 200, 200, 200, 200, 200},
		"GET /check/:setup":                      {"/check/chair-12", 200, 200, 200, 200, 200},
		"POST /check/:setup/report":              {"/check/chair-12/report", stale, stale, stale, stale, stale},
		"GET /me":                                {"/me", 303, 200, 403, 403, 403},
		"GET /lessons/:lesson/question":          {"/lessons/three-sources/question", 303, 200, 403, 403, 403},
		"POST /lessons/:lesson/question":         {"/lessons/three-sources/question", 401, stale, 403, 403, 403},
		"GET /scenarios/:scenario":               {"/scenarios/at-home-evening", 303, 200, 403, 403, 403},
		"POST /runs":                             {"/runs", 401, stale, 403, 403, 403},
		"GET /runs/:run":                         {run, 303, 200, 403, 403, 403},
		"POST /runs/:run/act":                    {run + "/act", 401, stale, 403, 403, 403},
		"GET /runs/:run/debrief":                 {ended + "/debrief", 303, 200, 403, 403, 403},
		"GET /desk/sign-in":                      {"/desk/sign-in", 200, 200, 200, 200, 200},
		"POST /desk/sign-in":                     {"/desk/sign-in", stale, stale, stale, stale, stale},
		"GET /desk":                              {"/desk", 303, 403, 200, 403, 200},
		"POST /desk/kiosk":                       {"/desk/kiosk", 401, 403, stale, 403, stale},
		"GET /desk/learners/:person":             {rowanAt, 303, 403, 200, 403, 200},
		"POST /desk/learners/:person/sign":       {rowanAt + "/sign", 401, 403, stale, 403, 403},
		"GET /desk/inbox":                        {"/desk/inbox", 303, 403, 403, 200, 403},
		"GET /desk/inbox/lessons":                {"/desk/inbox/lessons", 303, 403, 200, 200, 403},
		"GET /desk/inbox/:outage":                {outage, 303, 403, 403, 200, 403},
		"POST /desk/inbox/:outage/readings":      {outage + "/readings", 401, 403, 403, stale, 403},
		"POST /desk/inbox/:outage/finding":       {outage + "/finding", 401, 403, 403, stale, 403},
		"GET /invite/:invitation":                {"/invite/none", 404, 404, 404, 404, 404},
		"POST /invite/:invitation":               {"/invite/none", stale, stale, stale, stale, stale},
		"POST /sign-out/everywhere":              {"/sign-out/everywhere", 401, stale, stale, stale, stale},
		"POST /desk/learners/:person/invite":     {rowanAt + "/invite", 401, 403, stale, 403, 403},
		"GET /desk/learners/:person/card":        {rowanAt + "/card", 303, 403, 200, 403, 200},
		"GET /desk/invitations":                  {"/desk/invitations", 303, 403, 403, 403, 200},
		"POST /desk/invitations":                 {"/desk/invitations", 401, 403, 403, 403, stale},
		"GET /desk/people":                       {"/desk/people", 303, 403, 403, 403, 200},
		"POST /desk/people":                      {"/desk/people", 401, 403, 403, 403, stale},
		"GET /desk/people/:person":               {"/desk/people/demo-rowan", 303, 403, 403, 403, 200},
		"POST /desk/people/:person":              {"/desk/people/demo-rowan", 401, 403, 403, 403, stale},
		"POST /desk/people/:person/invite":       {"/desk/people/demo-rowan/invite", 401, 403, 403, 403, stale},
		"GET /standing/:signoff":                 {"/standing/none", 404, 404, 404, 404, 404},
		"GET /verifier":                          {"/verifier", 200, 200, 200, 200, 200},
		"GET /checkpoint":                        {"/checkpoint", 200, 200, 200, 200, 200},
		"POST /me/acknowledge/:signoff":          {"/me/acknowledge/none", 401, stale, 403, 403, 403},
		"GET /certificate/:signoff":              {"/certificate/none", 303, 404, 404, 403, 404},
		"GET /proof/:signoff":                    {"/proof/none", 303, 404, 404, 403, 404},
		"GET /desk/sign-offs/:signoff":           {"/desk/sign-offs/none", 303, 403, 404, 403, 404},
		"POST /desk/sign-offs/:signoff/happens":  {"/desk/sign-offs/none/happens", 401, 403, stale, 403, 403},
		"POST /desk/sign-offs/:signoff/observed": {"/desk/sign-offs/none/observed", 401, 403, stale, 403, 403},
		"GET /desk/import":                       {"/desk/import", 303, 403, 403, 403, 200},
		"POST /desk/import":                      {"/desk/import", 401, 403, 403, 403, stale},
		"GET /desk/import/:import":               {"/desk/import/none", 303, 403, 403, 403, 404},
		"POST /desk/import/:import":              {"/desk/import/none", 401, 403, 403, 403, stale},
		"GET /desk/people/:person/export":        {"/desk/people/demo-rowan/export", 303, 403, 403, 403, 200},
		"GET /desk/people/:person/erase":         {"/desk/people/demo-rowan/erase", 303, 403, 403, 403, 200},
		"POST /desk/people/:person/erase":        {"/desk/people/demo-rowan/erase", 401, 403, 403, 403, stale},
		"GET /desk/changes":                      {"/desk/changes", 303, 403, 403, 403, 200},
		"GET /.well-known/jwks.json":             {"/.well-known/jwks.json", 200, 200, 200, 200, 200},
		"GET /badge/:signoff":                    {"/badge/none", 303, 404, 404, 403, 404},
		"GET /calendar/:feed.ics":                {"/calendar/none.ics", 404, 404, 404, 404, 404},
		"POST /me/calendar":                      {"/me/calendar", 401, stale, 403, 403, 403},
		"POST /me/calendar/stop":                 {"/me/calendar/stop", 401, stale, 403, 403, 403},
		"POST /desk/calendar":                    {"/desk/calendar", 401, 403, stale, 403, 403},
		"POST /desk/calendar/stop":               {"/desk/calendar/stop", 401, 403, stale, 403, 403},
		"GET /desk/roster.csv":                   {"/desk/roster.csv", 303, 403, 200, 403, 200},
		"GET /desk/inbox.csv":                    {"/desk/inbox.csv", 303, 403, 403, 200, 403},
		"GET /desk/people.csv":                   {"/desk/people.csv", 303, 403, 403, 403, 200},
		"GET /desk/changes.csv":                  {"/desk/changes.csv", 303, 403, 403, 403, 200},
		"GET /sites":                             {"/sites", 200, 200, 200, 200, 200},
		"GET /sites/:site":                       {"/sites/main", 303, 303, 303, 303, 303},
		"GET /desk/sites":                        {"/desk/sites", 303, 403, 200, 200, 200},
		"POST /desk/sites":                       {"/desk/sites", 401, 403, stale, stale, stale},
		"POST /desk/people/let-in":               {"/desk/people/let-in", 401, 403, 403, 403, stale},
		"GET /desk/statements":                   {"/desk/statements", 303, 403, 403, 403, 200},
	}
	for _, route := range routes {
		if _, ok := table[route]; !ok {
			t.Errorf("%s: who may go there?", route)
		}
	}
	for route, c := range table {
		if !slices.Contains(routes, route) {
			t.Errorf("%s is no route", route)
		}
		method, _, _ := strings.Cut(route, " ")
		for _, who := range []struct {
			name string
			r    *reader
			want int
		}{
			{"guest", guest, c.guest},
			{"learner", learner, c.learner},
			{"educator", educator, c.educator},
			{"technologist", technologist, c.technologist},
			{"administrator", administrator, c.administrator},
		} {
			t.Run(route+" "+who.name, func(t *testing.T) {
				var a answer
				if method == "GET" {
					a = who.r.get(c.at)
				} else {
					a = who.r.post(c.at, url.Values{"who": {"x"}})
				}
				a.wants(t, who.want%1000)
				if a.status == 303 && who.name == "guest" && c.learner != 303 && method == "GET" && route != "GET /sign-out" {
					door := "/sign-in"
					if strings.HasPrefix(c.at, "/desk") {
						door = "/desk/sign-in"
					}
					back := strings.TrimSuffix(c.at, "/debrief") // which the run itself leads to
					if want := door + "?next=" + url.QueryEscape(back); a.location() != want {
						t.Errorf("leads to %q, expected %q", a.location(), want)
					}
				}
				switch {
				case route == "GET /healthz":
				case who.want == stale:
					a.says(t, h.speak.Speak("en"), 403, "problem.form-stale")
				case who.want == 403:
					key := "problem.other-role"
					if c.learner != 403 {
						key = "problem.learner-only"
					} else if c.educator != 403 {
						key = "problem.educator-only"
					}
					a.says(t, h.speak.Speak("en"), 403, key)
				default:
					a.secured(t)
					want := "no-store"
					if route == "GET /.well-known/jwks.json" { // the same for all
						want = "public, max-age=300"
					}
					if got := a.header.Get("Cache-Control"); got != want {
						t.Errorf("Cache-Control %q", got)
					}
				}
			})
		}
	}
}

func TestAnotherLearnersRun(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	r := h.learner(t, rowan, "en")
	run := r.begin("at-home-evening", record.Practice)
	other := h.learner(t, samira, "ar")
	own := other.begin("at-home-evening", record.Practice)
	form := with(other.get(own).form(t, own+"/act"), "action", "ask-person:")
	other.get(run).says(t, other.speaker(), 404, "problem.not-found")
	other.get(run+"/debrief").says(t, other.speaker(), 404, "problem.not-found")
	other.post(run+"/act", form).says(t, other.speaker(), 404, "problem.not-found")
	if got := r.seq(run); got != 1 {
		t.Errorf("the run stands at %d", got)
	}
}
