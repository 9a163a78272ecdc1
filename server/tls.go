package server

import (
	"crypto/tls"

	"lampwright/locales/problem"
)

func (m *Main) listenTLS() error {
	cert, err := tls.LoadX509KeyPair(m.config.TLSCert, m.config.TLSKey)
	if err != nil {
		return problem.Wrap(err, problem.Invalid, "problem.value", "Field", "--tls-cert, --tls-key", "Value", m.config.TLSCert, "Expected", "a certificate and its key")
	}
	return m.app.Listener(tls.NewListener(m.ln, &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS12}))
}
