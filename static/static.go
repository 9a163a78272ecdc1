// Package static is what the browser gets besides pages: one stylesheet and
// one script, embedded. They are served under names that hold a hash of what
// is in them, so that a browser may keep them for good, and are compressed
// once, at the start.
//
// Pages and protocol must not live here, nor any file that a page can do
// without.
package static

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"io"
	"maps"
	"path"
	"slices"
	"strings"

	"github.com/andybalholm/brotli"
	"github.com/klauspost/compress/gzip"
)

//go:embed app.css kiosk.js
var embedded embed.FS

// types are the files there are, and what each is.
var types = map[string]string{
	"app.css":  "text/css; charset=utf-8",
	"kiosk.js": "text/javascript; charset=utf-8",
}

// File is one file, ready to be sent in whichever encoding is accepted. Its
// ETag is weak because it is the same for all three.
type File struct {
	Type   string
	Body   []byte
	Gzip   []byte
	Brotli []byte
	ETag   string
}

// Files are all files by the path they are served at.
type Files struct {
	files map[string]File
	paths map[string]string // by name
}

// Build readies the files. Extra is CSS that other packages bring, by the name
// of the package; it is added to app.css in order of the names.
func Build(extra map[string]string) (*Files, error) {
	f := &Files{files: map[string]File{}, paths: map[string]string{}}
	for name, kind := range types {
		body, err := embedded.ReadFile(name)
		if err != nil {
			return nil, err
		}
		if name == "app.css" {
			body = withExtra(body, extra)
		}
		if err := f.add(name, kind, body); err != nil {
			return nil, fmt.Errorf("static file %s: %w", name, err)
		}
	}
	return f, nil
}

func withExtra(css []byte, extra map[string]string) []byte {
	for _, name := range slices.Sorted(maps.Keys(extra)) {
		css = fmt.Appendf(css, "\n/* %s */\n%s\n", name, strings.TrimSpace(extra[name]))
	}
	return css
}

func (f *Files) add(name, kind string, body []byte) error {
	sum := sha256.Sum256(body)
	hash := hex.EncodeToString(sum[:4])
	zipped, err := gzipped(body)
	if err != nil {
		return err
	}
	brotlied, err := compressed(body, func(w io.Writer) (io.WriteCloser, error) {
		return brotli.NewWriterLevel(w, brotli.BestCompression), nil
	})
	if err != nil {
		return err
	}
	stem, ext, _ := strings.Cut(name, ".")
	at := path.Join("/static", stem+"-"+hash+"."+ext)
	f.paths[name] = at
	f.files[at] = File{Type: kind, Body: body, Gzip: zipped, Brotli: brotlied, ETag: `W/"` + hash + `"`}
	return nil
}

func gzipped(body []byte) ([]byte, error) {
	return compressed(body, func(w io.Writer) (io.WriteCloser, error) {
		return gzip.NewWriterLevel(w, gzip.BestCompression)
	})
}

func compressed(body []byte, writer func(io.Writer) (io.WriteCloser, error)) ([]byte, error) {
	var b bytes.Buffer
	w, err := writer(&b)
	if err != nil {
		return nil, err
	}
	if _, err := w.Write(body); err != nil {
		return nil, err
	}
	if err := w.Close(); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

// Path is where a file is served, by the name it has here; "" if there is none.
func (f *Files) Path(name string) string { return f.paths[name] }

// Get is the file served at a path.
func (f *Files) Get(path string) (File, bool) {
	file, ok := f.files[path]
	return file, ok
}
