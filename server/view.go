package server

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"net/url"
	"strconv"
	"strings"
	"sync"

	"github.com/a-h/templ"
	"github.com/gofiber/fiber/v2"

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
)

// view is what a page needs to know of its reader.
type view struct {
	m       *Main
	speak   locales.Speaker
	size    int
	person  record.Person // zero for nobody
	session record.Session
	path    string
	home    string
	back    string
	token   string
}

func (m *Main) view(c *fiber.Ctx) view {
	v := view{m: m, path: strings.Clone(c.Path()), home: "/"}
	if c.Method() != fiber.MethodGet {
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
		v.home = "/me"
		if p.Role == record.Educator {
			v.home = "/desk"
		}
	}
	v.back, _ = c.Locals(backKey).(string)
	return v
}

// idleSeconds before a signed-in page asks whether anyone is there.
const idleSeconds = 240

func (v view) frame(title string) page.Frame {
	f := page.Frame{
		Speaker: v.speak, Title: title, Size: v.size, Path: v.path,
		Style: v.m.files.Path("app.css"), Script: v.m.files.Path("kiosk.js"), Token: v.token,
		Lines: page.Lines{
			Programme: v.m.site.Name, Rescue: v.m.site.RescueLine, Clinical: v.m.site.ClinicalLine,
			Technologist: v.m.site.TechnologistLine, Hours: v.m.site.TechnologistHours,
		},
	}
	if v.person.ID != "" {
		f.Name, f.Desk, f.Idle = v.person.Name, v.person.Role == record.Educator, idleSeconds
	}
	return f
}

// signInAgain is the sign-in that leads back to where the reader was.
func (v view) signInAgain(c *fiber.Ctx) string {
	at := v.back
	if at == "" && c.Method() == fiber.MethodGet {
		at = c.OriginalURL()
	}
	door := "/sign-in"
	if strings.HasPrefix(c.Path(), "/desk") {
		door = "/desk/sign-in"
	}
	return door + "?ended=1&next=" + url.QueryEscape(at)
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
	if !strings.HasPrefix(next, "/") || strings.HasPrefix(next, "//") || strings.ContainsAny(next, "\\\r\n") {
		return otherwise
	}
	return next
}

func hashed(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:])
}

// setups are the set-ups read from the records, by id and version; a version
// never changes, so an entry never goes stale.
type setups struct {
	sync.Mutex
	read map[string]*setup.Setup
}

// setupOf reads a stored set-up.
func (m *Main) setupOf(r record.Setup) (*setup.Setup, error) {
	m.setups.Lock()
	defer m.setups.Unlock()
	key := r.ID + " " + r.Version
	if s, ok := m.setups.read[key]; ok {
		return s, nil
	}
	s, err := setup.Read(r.Tag, r.YAML)
	if err != nil {
		return nil, err
	}
	if m.setups.read == nil {
		m.setups.read = map[string]*setup.Setup{}
	}
	m.setups.read[key] = s
	return s, nil
}

// mine is the set-up a learner is tied to.
func (m *Main) mine(c *fiber.Ctx, v view) (record.Setup, *setup.Setup, error) {
	if v.person.SetupID == "" {
		return record.Setup{}, nil, problem.New(problem.Unknown, "problem.no-set-up")
	}
	r, err := m.store.Setup(c.Context(), SiteID, v.person.SetupID)
	if err != nil {
		return record.Setup{}, nil, err
	}
	s, err := m.setupOf(r)
	return r, s, err
}
