package server_test

import (
	"bytes"
	"compress/gzip"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"lampwright/lessons"
	"lampwright/lessons/setup"
	"lampwright/locales"
)

// heaviest is what a page of a lesson may weigh, compressed, with all it loads.
const heaviest = 30 << 10

// TestEveryLesson: every card, question, answer and refresher of every lesson,
// on every set-up of the demo, in every language, is whole, and light enough
// for a slow line.
func TestEveryLesson(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	catalogue, err := lessons.Load()
	must(t, err)
	learners := map[string][2]string{"chair-12": rowan, "chair-7": samira, "chair-21": jules}
	if len(learners) != len(setup.DemoNames) {
		t.Fatalf("learners for %d of %d set-ups", len(learners), len(setup.DemoNames))
	}
	looker := &looker{keys: messageKeys(t), files: map[string]int{}, most: map[string]weight{}, pages: map[string]int{}}
	t.Run("on", func(t *testing.T) { // ends when all set-ups have
		for _, name := range setup.DemoNames {
			t.Run(name, func(t *testing.T) {
				t.Parallel()
				s, err := setup.Demo(name)
				must(t, err)
				r := h.learner(t, learners[name], locales.Languages[0].Tag)
				inEach(t, func(t *testing.T, language string) {
					r := &reader{h, t, r.client, language}
					r.get("/language/"+language).wants(t, 303)
					for _, id := range catalogue.IDs() {
						l, _ := catalogue.Lesson(id, language)
						if l.Language != language || l.Notice != "" {
							t.Errorf("%s is in %s: %s", id, l.Language, l.Notice)
						}
						looker.lesson(r, name, s, l.On(s))
					}
				})
			})
		}
	})
	for _, l := range locales.Languages {
		t.Logf("%s: %d pages; the heaviest is %s", l.Tag, looker.pages[l.Tag], looker.most[l.Tag])
	}
}

// The looker itself finds what it looks for.
func TestLooker(t *testing.T) {
	t.Parallel()
	s, err := setup.Demo("chair-12")
	must(t, err)
	keys := messageKeys(t)
	const figure = `<figure><svg role="img"><title>A</title><desc>B</desc></svg></figure>`
	for body, want := range map[string]string{
		`<p id="a">The panel. <a href="/b">mains</a> <a href="#a">up</a></p>` + figure: "",
		`<link rel="icon" href="data:,"><link rel="stylesheet" href="/a.css"><br>`:     "",
		`<p>page.help</p>`: "key",
		`<button aria-label="common.back">&lt;</button>`: "key",
		`<p>{{.Tag}}</p>`:                           "filled",
		`<p>of <no value/> &lt;no value&gt;</p>`:    "filled",
		`<p>line:clinical</p>`:                      "filled",
		`<p>%!d(string=x)</p>`:                      "filled",
		`<p><span class="line">the line</span></p>`: "names nothing",
		`<p>joint-battery</p>`:                      "id of a part",
		`<p lang="ar" dir="rtl">not yet said</p>`:   "English",
		`<p lang="ar" dir="ltr">لا</p>`:             "runs",
		`<a href="/b"> </a>`:                        "empty",
		`<h1><span></span></h1>`:                    "empty",
		`<figcaption></figcaption>`:                 "empty",
		`<nav aria-label=""></nav>`:                 "empty",
		`<a href="">b</a>`:                          "link to",
		`<a href="#none">b</a>`:                     "link to",
		`<a href="//elsewhere.example">b</a>`:       "link to",
		`<i id="a"></i><i id="a"></i>`:              "twice",
		`<i aria-labelledby="none"></i>`:            "no element none",
		`<figure></figure>`:                         "without one picture",
		`<figure><svg></svg></figure>`:              "without one picture",
		`<img src="/a.png">`:                        "a img",
		`<svg><use href="/a.svg#b"></use></svg>`:    "a use",
		`<style>a{}</style>`:                        "a style",
		`<i style="color:red"></i>`:                 "style=",
		`<script>go()</script>`:                     "script in the page",
		`<link rel="preload" href="/a.woff2">`:      "link of the head",
	} {
		found := strings.Join(readPage(t, answer{body: "<body>" + body + "</body>"}).trouble(keys, s), "; ")
		if (want == "") != (found == "") || !strings.Contains(found, want) {
			t.Errorf("%s: found %q, want %q", body, found, want)
		}
	}
}

// messageKeys matches the key of a message, which no reader should see.
func messageKeys(t *testing.T) *regexp.Regexp {
	t.Helper()
	files, err := filepath.Glob("../locales/messages/*.en.yaml")
	must(t, err)
	first := map[string]bool{}
	var names []string
	for _, file := range files {
		data, err := os.ReadFile(file)
		must(t, err)
		for _, m := range regexp.MustCompile(`(?m)^([a-z-]+)\.[a-z.-]+:`).FindAllStringSubmatch(string(data), -1) {
			if !first[m[1]] {
				first[m[1]], names = true, append(names, m[1])
			}
		}
	}
	if !first["page"] || !first["figure"] || !first["lessons"] {
		t.Fatalf("areas %q", names)
	}
	return regexp.MustCompile(`\b(` + strings.Join(names, "|") + `)\.[a-z]`)
}

// weight is what a page costs, in bytes: itself and what it loads.
type weight struct {
	at          string
	page, loads int
}

func (w weight) String() string {
	return fmt.Sprintf("%s, %d bytes and %d that it loads", w.at, w.page, w.loads)
}

// looker looks at pages.
type looker struct {
	keys *regexp.Regexp

	sync.Mutex
	files map[string]int    // what a page loads, and its bytes
	most  map[string]weight // the heaviest page, by language
	pages map[string]int    // how many, by language
}

func (k *looker) lesson(r *reader, name string, s *setup.Setup, l lessons.Lesson) {
	r.t.Helper()
	see := func(req *http.Request, figures int) *element {
		r.t.Helper()
		return k.see(r, req, s, figures)
	}
	get := func(at string, figures int) *element {
		r.t.Helper()
		return see(r.request("GET", at, "", ""), figures)
	}
	says := func(p *element, name, want string) {
		r.t.Helper()
		if !slices.ContainsFunc(p.all(name), func(e *element) bool { return e.words() == oneSpaced(want) }) {
			r.t.Errorf("%s: no %s says %q", p.at, name, want)
		}
	}
	for i, card := range l.Cards {
		says(get(fmt.Sprintf("/lessons/%s/%s/%d", name, l.ID, i+1), drawn(card)), "h1", card.Title)
	}
	r.get(fmt.Sprintf("/lessons/%s/%s/%d", name, l.ID, len(l.Cards)+1)).wants(r.t, 404)

	p, figures := (*element)(nil), 0
	short := l.Refresher()
	for _, card := range short {
		figures += drawn(card)
	}
	p = get("/lessons/"+name+"/"+l.ID+"/refresher", figures)
	for _, card := range short {
		says(p, "h2", card.Title)
	}

	figures = drawn(lessons.Card{Figure: l.Question.Figure})
	at := "/lessons/" + l.ID + "/question"
	get(at, figures)
	for _, o := range l.Question.Options {
		form := with(r.get(at).wants(r.t, 200).form(r.t, at), "option", o)
		p = see(r.request("POST", at, formType, form.Encode()), figures)
		if got := len(p.all("li")); got != len(l.Question.Options) {
			r.t.Errorf("%s: %d of %d options are explained", at, got, len(l.Question.Options))
		}
	}
}

// drawn is how many figures a card has.
func drawn(c lessons.Card) int {
	if c.Figure.Kind == lessons.Chain {
		return 2 // with the panel
	}
	return 1
}

// see asks for a page, weighs it and holds it to being whole.
func (k *looker) see(r *reader, req *http.Request, s *setup.Setup, figures int) *element {
	r.t.Helper()
	req.Header.Set("Accept-Encoding", "gzip")
	a := r.do(req).wants(r.t, 200)
	w := weight{at: a.asked, page: len(a.body)}
	if a.header.Get("Content-Encoding") == "gzip" {
		z, err := gzip.NewReader(strings.NewReader(a.body))
		must(r.t, err)
		body, err := io.ReadAll(z)
		must(r.t, err)
		a.body = string(body)
	} else { // what holds a secret is sent as it is
		w.page = zippedSize(r.t, a.body)
	}
	a.whole(r.t, r.speaker())

	p := readPage(r.t, a)
	trouble := p.trouble(k.keys, s)
	if got := len(p.all("figure")); got != figures {
		trouble = append(trouble, fmt.Sprintf("%d figures, want %d", got, figures))
	}
	for _, file := range p.loads() {
		w.loads += k.load(r, file)
	}
	if total := w.page + w.loads; total > heaviest {
		trouble = append(trouble, fmt.Sprintf("%d bytes, at most %d", total, heaviest))
	}
	for _, what := range trouble {
		r.t.Errorf("%s in %s on %s: %s", a.asked, r.language, s.Tag, what)
	}

	k.Lock()
	defer k.Unlock()
	k.pages[r.language]++
	if m := k.most[r.language]; m.page+m.loads < w.page+w.loads {
		k.most[r.language] = w
	}
	return p
}

func zippedSize(t testing.TB, body string) int {
	t.Helper()
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	_, err := io.WriteString(z, body)
	must(t, err)
	must(t, z.Close())
	return b.Len()
}

// load is how many bytes a browser gets for a file, which loads no other.
func (k *looker) load(r *reader, at string) int {
	r.t.Helper()
	k.Lock()
	defer k.Unlock()
	n, known := k.files[at]
	if known {
		return n
	}
	text := r.as(at, "identity").wants(r.t, 200).body
	if m := regexp.MustCompile(`@import|url\(["']?[^#d)][^)]*\)`).FindString(text); m != "" {
		r.t.Errorf("%s loads %s", at, m)
	}
	a := r.as(at, "gzip, br").wants(r.t, 200)
	if a.header.Get("Content-Encoding") != "br" {
		r.t.Errorf("%s comes as %q", at, a.header.Get("Content-Encoding"))
	}
	k.files[at] = len(a.body)
	return len(a.body)
}

// element is an element of a page, or a text, which has no name.
type element struct {
	at       string // the page
	name     string
	text     string
	attr     map[string]string
	parent   *element
	children []*element
}

// readPage reads a page as our templates write them.
func readPage(t testing.TB, a answer) *element {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(a.body))
	d.Strict, d.AutoClose, d.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	root := &element{at: a.asked, attr: map[string]string{}}
	for e := root; ; {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return root
		}
		must(t, err)
		switch token := token.(type) {
		case xml.StartElement:
			child := &element{at: a.asked, name: token.Name.Local, attr: map[string]string{}, parent: e}
			for _, at := range token.Attr {
				child.attr[at.Name.Local] = at.Value
			}
			e.children = append(e.children, child)
			e = child
		case xml.EndElement:
			e = e.parent
		case xml.CharData:
			e.children = append(e.children, &element{at: a.asked, text: string(token), parent: e})
		}
	}
}

// each visits what is in an element.
func (e *element) each(visit func(*element)) {
	for _, c := range e.children {
		visit(c)
		c.each(visit)
	}
}

// all are the elements of a name.
func (e *element) all(name string) (found []*element) {
	e.each(func(c *element) {
		if c.name == name {
			found = append(found, c)
		}
	})
	return found
}

// words is what an element says, its spaces made one.
func (e *element) words() string {
	var b strings.Builder
	b.WriteString(e.text)
	e.each(func(c *element) { b.WriteString(c.text) })
	return oneSpaced(b.String())
}

func oneSpaced(text string) string { return strings.Join(strings.Fields(text), " ") }

func (e *element) has(class string) bool {
	return slices.Contains(strings.Fields(e.attr["class"]), class)
}

// language is what a text is said to be in.
func (e *element) language() string {
	for ; e != nil; e = e.parent {
		if e.attr["lang"] != "" {
			return e.attr["lang"]
		}
	}
	return ""
}

// loads are the files that a page loads.
func (e *element) loads() (files []string) {
	for _, script := range e.all("script") {
		files = append(files, script.attr["src"])
	}
	for _, link := range e.all("link") {
		if link.attr["rel"] == "stylesheet" {
			files = append(files, link.attr["href"])
		}
	}
	return files
}

var (
	// speaking are the elements that say something.
	speaking = strings.Fields("a button h1 h2 h3 p li title desc legend label figcaption strong em bdi text option")
	// spoken are the attributes that do.
	spoken = strings.Fields("aria-label alt title placeholder")
	// loading are the elements, beside links and scripts, that load something or stand for what does.
	loading = strings.Fields("img iframe frame object embed audio video source track picture image use style base applet")
	// loadingBy are the attributes that do.
	loadingBy = strings.Fields("src srcset data poster background action-src style")

	unfilled = regexp.MustCompile(`<no value>|\{\{|\}\}|%!|\b(fact|line):[a-z]|\bundefined\b|\bNaN\b|<nil>`)
	english  = regexp.MustCompile(`[a-z]{2,} [a-z]{2,}`) // a ventilator's own words are in capitals
)

// trouble is what is wrong with a page.
func (e *element) trouble(keys *regexp.Regexp, s *setup.Setup) (found []string) {
	wrong := func(format string, args ...any) { found = append(found, fmt.Sprintf(format, args...)) }
	ids := map[string]bool{}
	e.each(func(c *element) {
		if id, ok := c.attr["id"]; ok {
			if id == "" || ids[id] {
				wrong("id %q is empty or there twice", id)
			}
			ids[id] = true
		}
	})
	said := func(c *element, text string) {
		if m := keys.FindString(text); m != "" {
			wrong("the key of a message: %q", text)
		}
		if m := unfilled.FindString(text); m != "" {
			wrong("%q was not filled in: %q", m, text)
		}
		if m := english.FindString(text); m != "" && c.language() == "ar" {
			wrong("English in Arabic: %q", text)
		}
		for _, id := range s.IDs() {
			if strings.Contains(id, "-") && strings.Contains(text, id) {
				wrong("the id of a part: %q", text)
			}
		}
	}
	e.each(func(c *element) {
		if c.name == "" {
			said(c, c.text)
			return
		}
		if slices.Contains(speaking, c.name) && c.words() == "" {
			wrong("an empty %s %v in %s", c.name, c.attr, c.parent.name)
		}
		for _, name := range spoken {
			if text, ok := c.attr[name]; ok {
				if said(c, text); text == "" {
					wrong("an empty %s at a %s", name, c.name)
				}
			}
		}
		for _, name := range []string{"aria-labelledby", "aria-describedby", "for"} {
			for _, id := range strings.Fields(c.attr[name]) {
				if !ids[id] {
					wrong("%s of a %s: no element %s", name, c.name, id)
				}
			}
		}
		if lang := c.attr["lang"]; lang != "" && c.attr["dir"] != "" && (lang == "ar") != (c.attr["dir"] == "rtl") {
			wrong("a %s in %s runs %s", c.name, lang, c.attr["dir"])
		}
		for _, name := range loadingBy {
			if _, ok := c.attr[name]; ok && (c.name != "script" || name != "src") {
				wrong("a %s with %s=%q", c.name, name, c.attr[name])
			}
		}
		if slices.Contains(loading, c.name) {
			wrong("a %s", c.name)
		}
		switch at, there := c.attr["href"]; c.name {
		case "a":
			path, id, inside := strings.Cut(at, "#")
			if path == "" && !(inside && ids[id]) || path != "" && (!strings.HasPrefix(path, "/") || strings.HasPrefix(path, "//")) {
				wrong("a link to %q", at)
			}
		case "link":
			if c.attr["rel"] != "stylesheet" && at != "data:," {
				wrong("a link of the head to %q", at)
			}
		case "script":
			if c.attr["src"] == "" || c.words() != "" {
				wrong("a script in the page")
			}
		case "figure":
			if svgs := c.all("svg"); len(svgs) != 1 || svgs[0].attr["role"] == "" || len(svgs[0].all("title")) == 0 || len(svgs[0].all("desc")) == 0 {
				wrong("a figure without one picture that says what it is: %v", c.attr)
			}
		case "span":
			if (c.has("fact") || c.has("line")) && len(c.all("bdi")) != 1 {
				wrong("%q names nothing", c.words())
			}
		default:
			if there {
				wrong("a %s loads %q", c.name, at)
			}
		}
	})
	return found
}
