package main

import (
	"errors"
	"testing"
)

func TestVulnerabilityVerdict(t *testing.T) {
	const noNetwork = `govulncheck: fetching vulnerabilities: Get "https://example.org/index": no such host`
	exit := errors.New("exit status 1")
	tests := map[string]struct {
		out  string
		err  error
		ci   bool
		want string
	}{
		"nothing reachable":                   {"Your code is affected by 0 vulnerabilities.", nil, false, "ok"},
		"a vulnerability that is called":      {"Your code is affected by 1 vulnerability", exit, false, "FAIL"},
		"no network on a desk":                {noNetwork, exit, false, "skip"},
		"no network in CI":                    {noNetwork, exit, true, "FAIL"},
		"code that does not build, on a desk": {"govulncheck: loading packages:", exit, false, "FAIL"},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			if got := vulnerabilityVerdict(test.out, test.err, test.ci).word(); got != test.want {
				t.Errorf("got %s, want %s", got, test.want)
			}
		})
	}
}
