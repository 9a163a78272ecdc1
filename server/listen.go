package server

import (
	"crypto/tls"
	"io"
	"net"
	"sync/atomic"
	"time"

	"lampwright/locales/problem"
)

// What a connection that was refused for its length still takes in.
const (
	mostUnheard   = 8 << 20
	unheardWithin = 2 * time.Second
)

// patient hears its sender out: closed while more is on its way, TCP would
// reset the connection, and the answer that says why would be lost.
type patient struct {
	*net.TCPConn
	talking atomic.Bool
}

func (p *patient) hearOut() { p.talking.Store(true) }

func (p *patient) Close() error {
	if p.talking.Load() && p.CloseWrite() == nil && p.SetReadDeadline(time.Now().Add(unheardWithin)) == nil {
		_, _ = io.CopyN(io.Discard, p.TCPConn, mostUnheard) // what comes is of no interest, nor why it ends
	}
	return p.TCPConn.Close()
}

type patients struct{ *net.TCPListener }

func (p patients) Accept() (net.Conn, error) {
	c, err := p.AcceptTCP()
	if err != nil {
		return nil, err
	}
	return &patient{TCPConn: c}, nil
}

// hearOut lets the sender of too long a request finish.
func hearOut(c net.Conn) {
	if t, ok := c.(*tls.Conn); ok {
		c = t.NetConn()
	}
	if p, ok := c.(*patient); ok {
		p.hearOut()
	}
}

// Listen takes the address; Addr is known from then on.
func (m *Main) Listen() (err error) {
	defer problem.In(&err, "server.Listen")
	ln, err := net.Listen("tcp", m.config.Listen)
	if err != nil {
		return problem.Wrap(err, problem.Invalid, "problem.value", "Field", "--listen", "Value", m.config.Listen, "Expected", "a free HOST:PORT")
	}
	m.ln = patients{ln.(*net.TCPListener)}
	return nil
}

// URL is where the server is reached.
func (m *Main) URL() string {
	scheme := "http"
	if m.config.TLSCert != "" {
		scheme = "https"
	}
	return scheme + "://" + m.ln.Addr().String()
}

func (m *Main) serve() error {
	if m.config.TLSCert == "" {
		return m.app.Listener(m.ln)
	}
	cert, err := tls.LoadX509KeyPair(m.config.TLSCert, m.config.TLSKey)
	if err != nil {
		return problem.Wrap(err, problem.Invalid, "problem.value", "Field", "--tls-cert, --tls-key", "Value", m.config.TLSCert, "Expected", "a certificate and its key")
	}
	return m.app.Listener(tls.NewListener(m.ln, &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS12}))
}
