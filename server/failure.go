package server

import (
	"errors"

	"github.com/gofiber/fiber/v2"

	"lampwright/locales/problem"
	"lampwright/server/page"
)

// statuses maps each code to its status, here and nowhere else.
var statuses = map[problem.Code]int{
	problem.Invalid:     fiber.StatusUnprocessableEntity,
	problem.Unknown:     fiber.StatusNotFound,
	problem.SignIn:      fiber.StatusUnauthorized,
	problem.Forbidden:   fiber.StatusForbidden,
	problem.Moved:       fiber.StatusConflict,
	problem.TooMany:     fiber.StatusTooManyRequests,
	problem.TooLarge:    fiber.StatusRequestEntityTooLarge,
	problem.Unavailable: fiber.StatusServiceUnavailable,
	problem.Internal:    fiber.StatusInternalServerError,
}

func foreign() error { return problem.New(problem.Forbidden, "problem.foreign") }

// understand turns Fiber's own errors into problems.
func understand(err error) (*problem.Problem, int) {
	var f *fiber.Error
	if errors.As(err, &f) {
		var p *problem.Problem
		switch f.Code {
		case fiber.StatusNotFound:
			p = problem.Wrap(err, problem.Unknown, "problem.not-found")
		case fiber.StatusMethodNotAllowed:
			p = problem.Wrap(err, problem.Invalid, "problem.method")
		case fiber.StatusRequestEntityTooLarge, fiber.StatusRequestHeaderFieldsTooLarge:
			p = problem.Wrap(err, problem.TooLarge, "problem.too-large")
		case fiber.StatusRequestTimeout:
			p = problem.Wrap(err, problem.Invalid, "problem.network")
		case fiber.StatusInternalServerError:
			p = problem.Wrap(err, problem.Internal, "problem.internal")
		default:
			p = problem.Wrap(err, problem.Invalid, "problem.form")
		}
		return p, f.Code
	}
	p := problem.Of(err)
	return p, statuses[p.Code]
}

// fail answers an error with a page in the reader's language. Fiber calls it
// too for requests that never reached a handler.
func (m *Main) fail(c *fiber.Ctx, err error) error {
	p, status := understand(err)
	if status >= fiber.StatusInternalServerError {
		m.log.Error("failure", "id", c.Locals(requestID), "error", err)
	}
	if p.Code == problem.TooLarge {
		hearOut(c.Context().Conn())
	}
	headers(c, m.config.TLSCert != "")
	c.Set("Cache-Control", "no-store")
	v := m.view(c)
	link, key := v.home, "page.problem.back"
	switch {
	case p.Code == problem.SignIn:
		link, key = v.signInAgain(c), "page.problem.to-sign-in"
	case p.Code == problem.Moved && v.back != "":
		link, key = v.back, "page.problem.go-on"
	}
	c.Status(status)
	return m.render(c, page.ProblemPage(page.Problem{
		Frame: v.frame(v.speak.T("page.problem." + string(p.Code))), Status: status,
		Text: v.speak.Problem(p), Link: link, LinkKey: key,
	}))
}
