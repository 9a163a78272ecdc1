package static_test

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/andybalholm/brotli"
	"github.com/klauspost/compress/gzip"

	"lampwright/static"
)

func build(t *testing.T, extra map[string]string) *static.Files {
	t.Helper()
	f, err := static.Build(extra)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

var hashed = regexp.MustCompile(`^/static/(app-[0-9a-f]{8}\.css|kiosk-[0-9a-f]{8}\.js)$`)

func TestFiles(t *testing.T) {
	f := build(t, nil)
	for name, kind := range map[string]string{"app.css": "text/css; charset=utf-8", "kiosk.js": "text/javascript; charset=utf-8"} {
		path := f.Path(name)
		if !hashed.MatchString(path) {
			t.Errorf("%s is served at %q", name, path)
		}
		file, ok := f.Get(path)
		if !ok || file.Type != kind || !strings.HasPrefix(file.ETag, `W/"`) {
			t.Errorf("%s: found %v, type %q, ETag %s", name, ok, file.Type, file.ETag)
		}
		if disk, err := os.ReadFile(name); err != nil || !bytes.Equal(disk, file.Body) {
			t.Errorf("%s is not what is served (%v)", name, err)
		}
		zip, err := gzip.NewReader(bytes.NewReader(file.Gzip))
		if err != nil {
			t.Fatal(err)
		}
		for encoding, r := range map[string]io.Reader{"gzip": zip, "brotli": brotli.NewReader(bytes.NewReader(file.Brotli))} {
			if got, err := io.ReadAll(r); err != nil || !bytes.Equal(got, file.Body) {
				t.Errorf("%s does not come out of %s as it went in: %v", name, encoding, err)
			}
		}
	}
}

func TestUnknownPath(t *testing.T) {
	f := build(t, nil)
	for _, path := range []string{"", "/", "/static/", "/static/app.css", "/static/app-00000000.css", "/static/../kiosk.js", f.Path("app.css") + "/"} {
		if _, ok := f.Get(path); ok {
			t.Errorf("%q is served", path)
		}
	}
	if got := f.Path("app.js"); got != "" {
		t.Errorf("app.js is at %q", got)
	}
}

func TestNamesFollowContent(t *testing.T) {
	extra := map[string]string{"figure": ".wire{stroke:navy}", "answer": ".right{color:green}"}
	plain, styled, again := build(t, nil), build(t, extra), build(t, extra)
	if styled.Path("app.css") != again.Path("app.css") {
		t.Error("the same content has two names")
	}
	if styled.Path("app.css") == plain.Path("app.css") {
		t.Error("other content has the same name")
	}
	if styled.Path("kiosk.js") != plain.Path("kiosk.js") {
		t.Error("the script's name follows the stylesheet")
	}
	file, _ := styled.Get(styled.Path("app.css"))
	css := string(file.Body)
	answer, figure := strings.Index(css, extra["answer"]), strings.Index(css, extra["figure"])
	if answer < 0 || figure < answer {
		t.Errorf("extra CSS is missing or out of order:\n%s", css)
	}
}

// Our own script stays small, and within a policy of script-src 'self'.
func TestScriptIsSmallAndStrict(t *testing.T) {
	scripts, err := filepath.Glob("*.js")
	if err != nil {
		t.Fatal(err)
	}
	total, most := 0, 10<<10
	for _, name := range scripts {
		js, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		total += len(js)
		for _, never := range []string{"eval(", "new Function", "innerHTML", "document.write", ".style", "import", "http:", "https:"} {
			if bytes.Contains(js, []byte(never)) {
				t.Errorf("%s has %s", name, never)
			}
		}
	}
	if total > most {
		t.Errorf("%d bytes of script, at most %d", total, most)
	}
}
