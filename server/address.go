package server

import (
	"cmp"
	"errors"
	"net"
	"net/url"
	"strings"
)

// webAddress holds a flag to a whole address on the web, without the / at its
// end.
func webAddress(flag, value string) (string, error) {
	u, err := url.Parse(value)
	if err != nil || u.Scheme != "https" && u.Scheme != "http" || u.Host == "" || u.User != nil || u.RawQuery != "" || u.Fragment != "" {
		return "", refusedFlag(flag, value, "https://…", cmp.Or(err, errors.New("no whole address")))
	}
	return strings.TrimRight(value, "/"), nil
}

// loopback tells an address that never leaves the machine.
func loopback(address string) bool {
	u, err := url.Parse(address)
	if err != nil {
		return false
	}
	return u.Hostname() == "localhost" || net.ParseIP(u.Hostname()).IsLoopback()
}
