package server_test

import (
	"strings"
	"testing"

	"lampwright/lessons/setup"
	"lampwright/locales"
	"lampwright/server"
	"lampwright/server/record"
)

// keptAt are pages that are kept, one of each kind.
var keptAt = []string{
	"/lessons/chair-12", "/lessons/chair-12/three-sources/1", "/lessons/chair-12/three-sources/refresher", "/figures/chair-12",
}

// TestKeptPages: one that is kept is the same for everyone of a role, holds
// nobody's name whoever came first, and goes out compressed to who asks.
func TestKeptPages(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		readers := [][]*reader{
			{h.learner(t, rowan, language), h.learner(t, samira, language)},
			{h.educator(t, language), h.educator(t, language)},
			{h.reader(t, language), h.reader(t, language)},
		}
		for _, at := range keptAt {
			seen := map[string]bool{}
			for _, alike := range readers {
				first := alike[0].as(at, "identity").wants(t, 200)
				first.whole(t, alike[0].speaker())
				if seen[first.body] {
					t.Errorf("%s is the same for whoever is signed in", at)
				}
				seen[first.body] = true
				for _, r := range alike {
					plain, zipped := r.as(at, "identity").wants(t, 200), r.as(at, "gzip").wants(t, 200)
					if plain.body != first.body {
						t.Errorf("%s differs from reader to reader", at)
					}
					if zipped.header.Get("Content-Encoding") != "gzip" || unzip(t, zipped.body) != plain.body {
						t.Errorf("%s, compressed, is another page", at)
					}
					if zipped.header.Get("Cache-Control") != "no-store" || zipped.header.Get("Vary") != "Accept-Encoding" {
						t.Errorf("%s: %v", at, zipped.header)
					}
				}
				for _, name := range []string{"Rowan", "Samira", "Mara", "mara", "HERON", "PLOVER", "demo-", `name="token"`} {
					if strings.Contains(first.body, name) {
						t.Errorf("%s holds %q", at, name)
					}
				}
			}
			if g := readers[2][0].as(at, "identity"); strings.Contains(g.body, "/sign-out") || strings.Contains(g.body, "data-idle") {
				t.Errorf("%s offers a guest to sign out", at)
			}
			if e := readers[1][0].as(at, "identity"); !strings.Contains(e.body, `class="mark" href="/desk"`) {
				t.Errorf("%s does not lead an educator home", at)
			}
		}
	})
}

// TestWhatIsKeptIsNotRenderedAgain: and what it depends on is told apart.
func TestWhatIsKeptIsNotRenderedAgain(t *testing.T) {
	t.Parallel()
	dir := demoDir(t)
	h := serve(t, dir)
	guest, larger := h.reader(t, "en"), h.reader(t, "en")
	larger.get("/size/2").wants(t, 303)
	const kept = "what was kept"
	anew := map[string]*reader{"larger": larger, "learner": h.learner(t, rowan, "en"), "educator": h.educator(t, "en")}
	for _, l := range locales.Languages[1:] {
		anew[l.Tag] = h.reader(t, l.Tag)
	}
	for _, at := range keptAt {
		first := guest.get(at).wants(t, 200)
		h.main.Swap(kept)
		for _, encoding := range []string{"identity", "gzip"} {
			a := guest.as(at, encoding).wants(t, 200)
			if encoding == "gzip" {
				a.body = unzip(t, a.body)
			}
			if a.body != kept {
				t.Errorf("%s, %s, was rendered again", at, encoding)
			}
		}
		if other := guest.get(strings.Replace(at, "chair-12", "chair-7", 1)).wants(t, 200); other.body == kept {
			t.Errorf("%s is taken for another set-up's", at)
		}
		for name, r := range anew {
			if a := r.get(at).wants(t, 200); a.body == kept || a.body == first.body {
				t.Errorf("%s is not the page for %s", at, name)
			}
		}
	}
	for _, at := range []string{"/lessons/chair-12/three-sources/0", "/lessons/chair-12/three-sources/9", "/lessons/chair-12/moon/refresher", "/figures/moon"} {
		before := h.main.Swap(kept)
		guest.get(at).wants(t, 404)
		if h.main.Swap(kept) != before {
			t.Errorf("%s is kept", at)
		}
	}

	// The set-up is described anew, and then called by another tag.
	file, err := setup.DemoFile("chair-12")
	must(t, err)
	for i, r := range []record.Setup{
		{Tag: "Chair 12", YAML: []byte(strings.Replace(string(file), "colour: black", "colour: white", 1))},
		{Tag: "Chair 12 b", YAML: file, Version: "again"},
		{Tag: "Chair 12 c", YAML: file, Version: "again"},
	} {
		r.ID, r.SiteID = "chair-12", server.SiteID
		must(t, h.main.PutSetup(r))
		h.main.Swap(kept)
		for _, at := range keptAt {
			if a := guest.get(at).wants(t, 200).holds(t, r.Tag); a.body == kept {
				t.Errorf("%s still shows the set-up as it was before change %d", at, i)
			}
		}
	}
}
