package server

import (
	"bytes"
	"context"
	"strconv"
	"strings"
	"sync"

	"github.com/a-h/templ"
	"github.com/gofiber/fiber/v2"
	"github.com/valyala/fasthttp"

	"lampwright/server/record"
)

// kept are pages of set-ups, rendered once and compressed. What else they
// show (lessons, messages, the site) stays as it is while the house is open.
type kept struct {
	sync.RWMutex
	pages map[string][]byte
	bytes int
}

// keptMost bounds the bytes of kept pages; past it they start over.
const keptMost = 32 << 20

func (k *kept) get(key string) ([]byte, bool) {
	k.RLock()
	defer k.RUnlock()
	p, ok := k.pages[key]
	return p, ok
}

func (k *kept) put(key string, p []byte) {
	k.Lock()
	defer k.Unlock()
	k.bytes += len(p) - len(k.pages[key])
	if k.pages == nil || k.bytes > keptMost {
		k.pages, k.bytes = map[string][]byte{}, len(p)
	}
	k.pages[key] = p
}

// keep serves a page of a set-up from what is kept, and has it rendered where
// it is not there yet. render is given a view that knows nobody: it holds only
// what such a page may depend on, all of which is in the key.
func (m *Main) keep(c *fiber.Ctx, reader view, r record.Setup, path string, render func(view) (templ.Component, error)) error {
	anyone := view{m: m, at: m.sites[r.SiteID], speak: reader.speak, size: reader.size, path: path, person: record.Person{Role: reader.person.Role}}
	key := strings.Join([]string{path, r.Version, r.Tag, anyone.speak.Tag, strconv.Itoa(anyone.size), string(anyone.person.Role)}, "\n")
	p, ok := m.kept.get(key)
	if !ok {
		t, err := render(anyone)
		if err != nil {
			return err
		}
		var b bytes.Buffer
		if err := t.Render(context.Background(), &b); err != nil {
			return err
		}
		p = fasthttp.AppendGzipBytesLevel(nil, b.Bytes(), fasthttp.CompressBestCompression)
		m.kept.put(key, p)
	}
	c.Set("Content-Type", fiber.MIMETextHTMLCharsetUTF8)
	c.Set("Vary", "Accept-Encoding")
	if accepts(c, "gzip") {
		c.Set("Content-Encoding", "gzip")
		return c.Send(p)
	}
	plain, err := fasthttp.AppendGunzipBytes(nil, p)
	if err != nil {
		return err
	}
	return c.Send(plain)
}
