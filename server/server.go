// Package server is the program people reach: routes, sessions, pages. It is
// the only place that knows Fiber. A handler parses, calls the domain or the
// record, and renders; no rule about set-ups, scores or sign-offs may live
// here, and no SQL.
package server

import (
	"context"
	"errors"
	"log/slog"
	"sync/atomic"
	"time"

	"github.com/gofiber/fiber/v2"

	"lampwright/lessons"
	"lampwright/lessons/figure"
	"lampwright/locales"
	"lampwright/locales/problem"
	"lampwright/quiz/competency"
	"lampwright/server/record"
	"lampwright/static"
)

// Config is what a server is started with.
type Config struct {
	Listen  string // HOST:PORT; port 0 takes a free one
	Data    string // folder of the records
	TLSCert string // with TLSKey: serve TLS, cookies become secure
	TLSKey  string
	Address string // where others reach this server, as https://example.org; "" for as each reader does
	Log     *slog.Logger

	// Where statements are sent, "" for nowhere, and the file with user:password
	// or a token that the receiver asks for. It needs Address.
	StatementsTo, StatementsAuth string
	StatementsSite               string        // the site whose they are, "" for the first
	StatementsEvery              time.Duration // 0 for as usual

	MostRequests int // from one source in a minute; 0 for as usual

	Now func() time.Time // nil for the machine's clock
}

// Main is a whole server: tests start it as the program does.
type Main struct {
	config      Config
	log         *slog.Logger
	now         func() time.Time
	store       *record.Store
	locales     *locales.Bundle
	lessons     *lessons.Catalogue
	files       *static.Files
	sites       map[string]*site // by id, as they were when the house opened
	choosable   []*site          // by name
	nowhere     *site            // of whoever did not say which
	setups      setups
	features    cache[*competency.Features] // of set-ups, by id and version
	known       known
	starts      starts
	kept        kept
	hashing     chan struct{}
	badges      badges
	stopTelling func()
	hashed      atomic.Int64 // secrets hashed so far
	places      chan placed
	closing     chan struct{} // closed when places are to be kept no longer
	closed      chan struct{} // closed when they are kept
	app         *fiber.App
	ln          patients
}

// Open opens the records and readies everything but the listener. The site
// must have been put in the records before (Demo does).
func Open(config Config) (_ *Main, err error) {
	defer problem.In(&err, "server.Open")
	if (config.TLSCert == "") != (config.TLSKey == "") {
		return nil, problem.Wrap(errors.New("--tls-cert and --tls-key go together"), problem.Invalid, "problem.value",
			"Field", "--tls-cert, --tls-key", "Value", config.TLSCert+config.TLSKey, "Expected", "both or neither")
	}
	if config.Address != "" {
		if config.Address, err = webAddress("--address", config.Address); err != nil {
			return nil, err
		}
	}
	m := &Main{config: config, log: config.Log, now: config.Now, hashing: make(chan struct{}, hashesAtOnce)}
	if m.log == nil {
		m.log = slog.New(slog.DiscardHandler)
	}
	if m.now == nil {
		m.now = time.Now
	}
	if m.locales, err = locales.Load(); err != nil {
		return nil, err
	}
	m.locales.Report = func(err error) { m.log.Error("message", "error", err) }
	if m.lessons, err = lessons.Load(); err != nil {
		return nil, err
	}
	if m.files, err = static.Build(map[string]string{"figure": figure.CSS}); err != nil {
		return nil, err
	}
	if m.store, err = record.Open(config.Data); err != nil {
		return nil, err
	}
	if err := m.begin(); err != nil {
		return nil, errors.Join(err, m.store.Close())
	}
	tells, err := newTeller(m)
	if err != nil {
		return nil, errors.Join(err, m.store.Close())
	}
	m.openBadges()
	m.places = make(chan placed, placesWaiting)
	m.closing, m.closed = make(chan struct{}), make(chan struct{})
	go m.keepPlaces()
	telling, stop := context.WithCancel(context.Background())
	told, swept := make(chan struct{}), make(chan struct{})
	m.stopTelling = func() { stop(); <-told; <-swept }
	go func() {
		defer close(swept)
		m.sweeps(telling)
	}()
	go func() {
		defer close(told)
		if tells != nil {
			tells.run(telling, config.StatementsEvery)
		}
	}()
	return m, nil
}

// begin reads the sites, checks the clock and forgets whose number's time has
// come before anyone is let in.
func (m *Main) begin() (err error) {
	ctx := context.Background()
	now, err := m.store.Clock(ctx, m.now())
	if err == nil {
		err = m.store.ForgetCallbacks(ctx, now)
	}
	if err != nil && !problem.Is(err, problem.Unavailable) {
		return err
	}
	if err := m.openSites(ctx); err != nil {
		return err
	}
	m.app = m.routes()
	return nil
}

// stopWithin is how long requests under way may take after a stop.
const stopWithin = 10 * time.Second

// Run serves until ctx ends, then lets requests under way finish.
func (m *Main) Run(ctx context.Context) (err error) {
	defer problem.In(&err, "server.Run")
	done := make(chan error, 1)
	go func() { done <- m.serve() }()
	select {
	case err = <-done:
	case <-ctx.Done():
		if err = m.app.ShutdownWithTimeout(stopWithin); errors.Is(err, context.DeadlineExceeded) {
			m.log.Warn("stopped with connections still open")
			err = nil
		}
		select {
		case <-done:
		case <-time.After(time.Second): // a stop before serving had begun
		}
	}
	return errors.Join(err, m.Close())
}

// Close gives back what Open took, for a Main that never ran; Run does it itself.
func (m *Main) Close() error {
	m.stopTelling()
	close(m.closing)
	<-m.closed
	return m.store.Close()
}
