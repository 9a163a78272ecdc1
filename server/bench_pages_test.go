package server_test

import (
	"strings"
	"testing"

	"github.com/valyala/fasthttp"
)

// BenchmarkPages serves over one kept connection: what nothing stands behind,
// pages that are kept, the same rendered each time, a personal page. Compare
// within one run:
//
//	go test -run '^$' -bench Pages -cpu 1 ./server
func BenchmarkPages(b *testing.B) {
	h := serve(b, demoDir(b))
	signedIn := h.learner(b, rowan, "en")
	guest := [][2]string{{"Accept-Encoding", "gzip"}, {"Cookie", "lw-language=en"}}
	for _, c := range []struct {
		name, path string
		headers    [][2]string
		want       string
		anew       bool
	}{
		{"plain", "/healthz", nil, "", false},
		{"kept", "/lessons/chair-12/three-sources/1", guest, "", false},
		{"rendered", "/lessons/chair-12/three-sources/1", guest, "", true},
		{"kept-shelf", "/lessons/chair-12", guest, "", false},
		{"rendered-shelf", "/lessons/chair-12", guest, "", true},
		{"kept-refresher", "/lessons/chair-12/three-sources/refresher", guest, "", false},
		{"rendered-refresher", "/lessons/chair-12/three-sources/refresher", guest, "", true},
		{"kept-figures", "/figures/chair-12", guest, "", false},
		{"rendered-figures", "/figures/chair-12", guest, "", true},
		{"personal", "/me", [][2]string{{"Cookie", signedIn.cookies()}}, "Rowan Teal", false},
	} {
		b.Run(c.name, func(b *testing.B) {
			client := &fasthttp.HostClient{Addr: h.host(), MaxConns: 1}
			req, res := fasthttp.AcquireRequest(), fasthttp.AcquireResponse()
			defer fasthttp.ReleaseRequest(req)
			defer fasthttp.ReleaseResponse(res)
			defer client.CloseIdleConnections()
			req.SetRequestURI(h.url + c.path)
			for _, header := range c.headers {
				req.Header.Set(header[0], header[1])
			}
			for b.Loop() {
				if c.anew {
					h.main.Forget()
				}
				if err := client.Do(req, res); err != nil {
					b.Fatal(err)
				}
				if res.StatusCode() != fasthttp.StatusOK {
					b.Fatalf("got %d", res.StatusCode())
				}
			}
			if !strings.Contains(string(res.Body()), c.want) {
				b.Fatal("another page came")
			}
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "requests/s")
			b.ReportMetric(float64(len(res.Body())), "bytes")
		})
	}
}
