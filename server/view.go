package server

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"net/url"
	"strconv"
	"strings"

	"github.com/a-h/templ"
	"github.com/gofiber/fiber/v2"

	"lampwright/lessons/programme"
	"lampwright/lessons/setup"
	"lampwright/locales"
	"lampwright/locales/problem"
	"lampwright/server/page"
	"lampwright/server/record"
)

// What a request carries along.
const (
	requestID  = "request-id"
	personKey  = "person"
	sessionKey = "session"
	backKey    = "back"
	siteKey    = "site"
)

// view is what a page needs to know of its reader.
type view struct {
	m       *Main
	speak   locales.Speaker
	size    int
	person  record.Person // zero for nobody
	session record.Session
	at      *site
	path    string
	home    string
	back    string
	token   string
}

func (m *Main) view(c *fiber.Ctx) view {
	v := view{m: m, at: m.at(c), path: strings.Clone(c.Path()), home: "/"}
	if !reads(c) {
		v.path = "/"
	}
	v.speak = m.locales.Speak(locales.Pick(c.Cookies("lw-language"), c.Get("Accept-Language")).Tag)
	v.size, _ = strconv.Atoi(c.Cookies("lw-size"))
	v.size = min(max(v.size, 0), page.MaxSize)
	if s, ok := c.Locals(sessionKey).(record.Session); ok {
		v.session, v.token = s, s.FormToken
	}
	if p, ok := c.Locals(personKey).(record.Person); ok {
		v.person = p
		v.home = homes[p.Role]
	}
	v.back, _ = c.Locals(backKey).(string)
	return v
}

// Seconds before a signed-in page asks whether anyone is there: short on a
// kiosk, long where an educator watches a demonstration with the form open.
const (
	idleSeconds     = 240
	idleSecondsDesk = 900
)

// reads tells a request that only asks.
func reads(c *fiber.Ctx) bool {
	return c.Method() == fiber.MethodGet || c.Method() == fiber.MethodHead
}

func (v view) frame(title string) page.Frame {
	f := page.Frame{
		Speaker: v.speak, Title: title, Size: v.size, Path: v.path,
		Style: v.m.files.Path("app.css"), Script: v.m.files.Path("kiosk.js"), Token: v.token,
		Lines: page.Lines{
			Rescue: v.at.RescueLine, Clinical: v.at.ClinicalLine, ClinicalHours: v.hours(v.at.ClinicalHours),
			Technologist: v.at.TechnologistLine, Hours: v.hours(v.at.TechnologistHours),
			Chair: v.at.ChairLine, ChairHours: v.hours(v.at.ChairHours),
		},
	}
	if len(v.m.choosable) > 1 {
		f.Site = page.Place{Name: v.m.named(v.at.ID), Led: v.led(), Link: "/sites?next=" + url.QueryEscape(v.path)}
		switch v.person.Role {
		case "":
		case record.Learner: // theirs is their set-up's
			f.Site.Link = ""
		default:
			f.Site.Link = "/desk/sites"
		}
	}
	if v.person.Role != "" {
		f.Signed, f.Name, f.Home, f.Idle = true, v.person.Name, homes[v.person.Role], idleSeconds
		if v.person.Role != record.Learner {
			f.Idle = idleSecondsDesk
		}
		for _, d := range desks(v.person.Role) {
			f.Desks = append(f.Desks, page.Step{Title: v.speak.T(d.title), Link: d.path, Done: d.path == v.path})
		}
	}
	return f
}

// hours of a line, "" where it answers day and night. They are worded, as who
// reads from right to left would take 08:00–18:00 for the night.
func (v view) hours(kept string) string {
	if kept == programme.Always {
		return ""
	}
	from, to, ok := strings.Cut(kept, "–")
	if !ok {
		return kept
	}
	return v.speak.T("page.line.between", "From", from, "To", to)
}

// local is what the programme says in its own words.
func (v view) local() page.Local {
	p := v.at.said
	if p == nil {
		return page.Local{}
	}
	w := p.In(v.speak.Tag)
	return page.Local{
		Programme: p.Name, Language: w.Language, Dir: v.m.locales.Speak(w.Language).Dir, Text: w.Text, Cautions: w.Cautions,
	}
}

// signInAgain is the sign-in that leads back to where the reader was.
func (v view) signInAgain(c *fiber.Ctx) string {
	at := v.back
	if at == "" && reads(c) {
		at = c.OriginalURL()
	}
	door := "/sign-in"
	if strings.HasPrefix(c.Path(), "/desk") {
		door = "/desk/sign-in"
	}
	q := url.Values{}
	if at != "" {
		q.Set("next", at)
	}
	if c.Cookies(sessionCookie) != "" { // there was one
		q.Set("ended", "1")
	}
	if len(q) == 0 {
		return door
	}
	return door + "?" + q.Encode()
}

func (m *Main) render(c *fiber.Ctx, t templ.Component) error {
	var b bytes.Buffer
	if err := t.Render(context.Background(), &b); err != nil {
		return err
	}
	c.Set("Content-Type", "text/html; charset=utf-8")
	return c.Send(b.Bytes())
}

// local keeps only a path on this server, for where to go next.
func local(next, otherwise string) string {
	odd := func(r rune) bool { return r < ' ' || r == 0x7f || r == '\\' }
	if !strings.HasPrefix(next, "/") || strings.HasPrefix(next, "//") || strings.ContainsFunc(next, odd) {
		return otherwise
	}
	return next
}

// ctx is a request's context for the records. A stop does not end it, as it
// would fasthttp's own: what is under way is finished, and the records bound
// their waits.
func ctx(c *fiber.Ctx) context.Context { return c.UserContext() }

// by is the same for changes by whoever is signed in.
func by(c *fiber.Ctx) context.Context {
	p, _ := c.Locals(personKey).(record.Person)
	return record.By(ctx(c), p.ID)
}

func hashed(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:])
}

// setups are the set-ups read from the records, by id and version; a version
// never changes, so an entry never goes stale.
type setups struct{ cache[*setup.Setup] }

// mostSetups bounds them; a page reads one or, to list them, all.
const mostSetups = 256

// setupOf reads a stored set-up.
func (m *Main) setupOf(r record.Setup) (*setup.Setup, error) {
	key := r.ID + " " + r.Version
	if s, ok := m.setups.get(key); ok {
		return s, nil
	}
	s, err := setup.Read(r.Tag, r.YAML)
	if err != nil {
		return nil, err
	}
	return m.setups.put(key, s, mostSetups), nil
}

// mine is the set-up a learner is tied to.
func (m *Main) mine(c *fiber.Ctx, v view) (record.Setup, *setup.Setup, error) {
	if v.person.SetupID == "" {
		return record.Setup{}, nil, problem.New(problem.Unknown, "problem.no-set-up")
	}
	r, err := m.store.Setup(ctx(c), v.person.SiteID, v.person.SetupID)
	if err != nil {
		return record.Setup{}, nil, err
	}
	s, err := m.setupOf(r)
	return r, s, err
}
