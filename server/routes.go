package server

import (
	"cmp"
	"crypto/rand"
	"net/netip"
	"slices"
	"strings"
	"time"

	"github.com/gofiber/fiber/v2"
	"github.com/gofiber/fiber/v2/middleware/limiter"
	"github.com/gofiber/fiber/v2/middleware/recover"
	"github.com/valyala/fasthttp"

	"lampwright/locales/problem"
)

// Bounds on what one request may be.
const (
	mostBody    = 64 << 10
	mostHeaders = 16 << 10
)

// mostRequests is how many requests from one source are answered in a minute: a
// ward full of kiosks behind one address sends fewer.
const mostRequests = 6000

// urgent tells the pages for an emergency, with what they load and what leads
// to the right numbers: they are served whoever asked how often.
func urgent(c *fiber.Ctx) bool {
	path := c.Path()
	for _, start := range []string{"/static/", "/sites/", "/language/"} {
		if strings.HasPrefix(path, start) {
			return true
		}
	}
	return slices.Contains([]string{"/stopped", "/call", "/safe", "/sites"}, path) ||
		strings.HasPrefix(path, "/paper/") && strings.HasSuffix(path, "/stopped")
}

// source is where a request comes from, as limits count it: an address, or
// for IPv6 the network, which one household or attacker has all of.
func source(c *fiber.Ctx) string {
	ip, err := netip.ParseAddr(c.IP())
	if err != nil || ip.Unmap().Is4() {
		return ip.Unmap().String()
	}
	network, _ := ip.Prefix(64) // which every such address has
	return network.String()
}

// Alive is what /healthz answers.
const Alive = "healthy, ok\n"

func (m *Main) routes() *fiber.App {
	app := fiber.New(fiber.Config{
		AppName: "lampwright", Immutable: true, DisableStartupMessage: true,
		BodyLimit: mostBody, ReadBufferSize: mostHeaders, Network: fiber.NetworkTCP,
		ReadTimeout: 15 * time.Second, WriteTimeout: 30 * time.Second, IdleTimeout: 60 * time.Second,
		EnableTrustedProxyCheck: true, TrustedProxies: []string{},
		DisablePreParseMultipartForm: true, ErrorHandler: m.fail,
	})
	// Only where a list of people is sent may a body be that long.
	app.Server().HeaderReceived = func(h *fasthttp.RequestHeader) (c fasthttp.RequestConfig) {
		if h.IsPost() && string(h.RequestURI()) == importPath {
			c.MaxRequestBodySize = mostImport
		}
		return c
	}
	app.Get("/healthz", func(c *fiber.Ctx) error {
		headers(c, m.config.TLSCert != "")
		return c.SendString(Alive)
	})
	app.Use(m.logged, m.secured, recover.New(), limiter.New(limiter.Config{
		Max: cmp.Or(m.config.MostRequests, mostRequests), Expiration: time.Minute, KeyGenerator: source,
		Next:         urgent,
		LimitReached: func(*fiber.Ctx) error { return problem.New(problem.TooMany, "problem.too-many-requests") },
	}))
	for _, r := range m.table() {
		if r.method == fiber.MethodGet {
			app.Get(r.path, m.let(r.who), r.do) // and HEAD
			continue
		}
		app.Add(r.method, r.path, m.let(r.who), r.do)
	}

	// A method that no router knows gets a page too.
	serve := app.Handler()
	app.Server().Handler = func(r *fasthttp.RequestCtx) {
		if slices.Contains(fiber.DefaultMethods, string(r.Method())) {
			serve(r)
			return
		}
		c := app.AcquireCtx(r)
		defer app.ReleaseCtx(c)
		if err := m.fail(c, fiber.ErrMethodNotAllowed); err != nil {
			m.log.Error("failure", "error", err)
		}
	}
	return app
}

// policy: everything from here and nothing inline.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

func headers(c *fiber.Ctx, tls bool) {
	c.Set("Content-Security-Policy", policy)
	c.Set("X-Content-Type-Options", "nosniff")
	c.Set("Referrer-Policy", "same-origin")
	c.Set("Permissions-Policy", "camera=(), geolocation=(), microphone=()")
	c.Set("Cross-Origin-Opener-Policy", "same-origin")
	c.Set("Cross-Origin-Resource-Policy", "same-origin")
	if tls {
		c.Set("Strict-Transport-Security", "max-age=31536000")
	}
}

// secured sets the headers, keeps personal pages out of every cache unless a
// handler knows better, and refuses a form that comes from elsewhere.
func (m *Main) secured(c *fiber.Ctx) error {
	headers(c, m.config.TLSCert != "")
	c.Set("Cache-Control", "no-store")
	if c.Method() == fiber.MethodPost && !ours(c) {
		return foreign()
	}
	return c.Next()
}

// ours tells whether a post comes from our own page, by what the browser says.
// A browser too old to say is held by the form token alone.
func ours(c *fiber.Ctx) bool {
	if site := c.Get("Sec-Fetch-Site"); site != "" {
		return site == "same-origin" || site == "none"
	}
	origin := c.Get("Origin")
	return origin == "" || strings.TrimPrefix(strings.TrimPrefix(origin, "https://"), "http://") == c.Get("Host")
}

// logged writes a line a request: an id, the route, no names and no values.
func (m *Main) logged(c *fiber.Ctx) error {
	start := time.Now()
	id := rand.Text()[:12]
	c.Set("X-Request-Id", id)
	c.Locals(requestID, id)
	err := c.Next()
	if err != nil {
		if e := m.fail(c, err); e != nil {
			return e
		}
	}
	m.log.Info("request", "id", id, "method", c.Method(), "route", c.Route().Path, "status", c.Response().StatusCode(), "took", time.Since(start))
	return nil
}

func (m *Main) ready(c *fiber.Ctx) error {
	if err := m.store.Ready(ctx(c)); err != nil {
		return err
	}
	if _, err := m.store.Clock(ctx(c), m.now()); err != nil {
		return err
	}
	return c.SendString("ready\n")
}

// accepts tells whether an encoding was asked for. Who asks for none, as
// Fiber does not see, gets the bytes as they are.
func accepts(c *fiber.Ctx, encoding string) bool {
	return c.Get("Accept-Encoding") != "" && c.AcceptsEncodings(encoding) == encoding
}

func (m *Main) static(c *fiber.Ctx) error {
	f, ok := m.files.Get(c.Path())
	if !ok {
		return fiber.ErrNotFound
	}
	c.Set("Cache-Control", "public, max-age=31536000, immutable")
	c.Set("Content-Type", f.Type)
	c.Set("ETag", f.ETag)
	c.Set("Vary", "Accept-Encoding")
	switch {
	case accepts(c, "br"):
		c.Set("Content-Encoding", "br")
		return c.Send(f.Brotli)
	case accepts(c, "gzip"):
		c.Set("Content-Encoding", "gzip")
		return c.Send(f.Gzip)
	}
	return c.Send(f.Body)
}
