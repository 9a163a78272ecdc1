package main

import (
	"bytes"
	"compress/zlib"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"lampwright/lessons/setup"
	"lampwright/locales"
	"lampwright/server"
	"lampwright/server/record"
)

// The cards of every set-up, in every language, each on one sheet of either
// paper and in large print.
func TestPaperJourney(t *testing.T) {
	start := browse(t)
	for _, l := range locales.Languages {
		t.Run(l.Tag, func(t *testing.T) { start(t, traveller{lang: l.Tag, dir: l.Dir, setup: "chair-7"}).prints() })
	}
}

// sheets are the papers there are.
var sheets = map[string]chromedp.PaperSize{"A4": chromedp.PaperA4, "Letter": chromedp.PaperLetter}

func (w *walk) prints() {
	w.speaks()
	w.click(`.looks a[href="/lessons/` + w.setup + `"]`)
	w.click(`.papers a[href="/paper/` + w.setup + `"]`)
	w.says("main", w.speak.T("paper.print"), w.equipment.Tag)
	w.looks("paper", dark)
	w.click(`a[href="/paper/` + w.setup + `/stopped"]`)
	w.says("main", w.speak.T("paper.print"), w.equipment.Tag)
	w.looks("paper-stopped", glance)

	for _, id := range setup.DemoNames {
		w.onOneSheet("/paper/" + id)
		w.onOneSheet("/paper/" + id + "/stopped")
	}

	// The count of sheets counts: what is too long takes another.
	w.open("/paper/" + w.setup)
	eval[chromedp.Void](w, `document.querySelector(".paper").style.minBlockSize = "400mm"; 0`)
	for name, paper := range sheets {
		if n := w.sheetsOf(paper); n != 2 {
			w.Errorf("400 mm take %d sheets of %s", n, name)
		}
	}

	// The longest tag, and all that a programme may say of its own.
	w.program.stop(w.T)
	w.wordy()
	w.program = serve(w.T, w.file, w.data, "127.0.0.1:0")
	w.speaks()
	for _, id := range setup.DemoNames {
		w.onOneSheet("/paper/wordy-" + id)
		w.onOneSheet("/paper/wordy-" + id + "/stopped")
	}
}

// wordy gives each set-up the longest tag there may be, and the programme the
// most words.
func (w *walk) wordy() {
	w.Helper()
	store, err := record.Open(w.data)
	if err != nil {
		w.Fatal(err)
	}
	defer store.Close() //nolint:errcheck // what was put is there
	tag := "North wing, by the window: " + strings.Repeat("W", 13)
	for _, id := range setup.DemoNames {
		r, err := store.Setup(w.Context(), server.SiteID, id)
		if err != nil {
			w.Fatal(err)
		}
		yaml := regexp.MustCompile(`(?m)^tag: .*$`).ReplaceAll(r.YAML, []byte(`tag: "`+tag+`"`))
		if err := store.PutSetup(w.Context(), record.Setup{ID: "wordy-" + id, SiteID: server.SiteID, Tag: tag, YAML: yaml}, time.Now()); err != nil {
			w.Fatal(err)
		}
	}
	site, err := store.Site(w.Context(), server.SiteID)
	if err != nil {
		w.Fatal(err)
	}
	before, _, ok := strings.Cut(site.Programme, "local-text:")
	if !ok {
		w.Fatal("the programme says nothing of its own")
	}
	most := func(n int) string { return strings.Repeat("Whoever reads this knows. ", n/26) }
	site.Programme = before + "local-text:\n"
	for _, l := range locales.Languages {
		site.Programme += fmt.Sprintf("  %s: %q\n", l.Tag, strings.TrimSpace(most(300)))
	}
	site.Programme += "cautions:\n"
	for _, l := range locales.Languages {
		site.Programme += fmt.Sprintf("  %s:\n%s", l.Tag, strings.Repeat(fmt.Sprintf("    - %q\n", strings.TrimSpace(most(120))), 4))
	}
	if err := store.PutSite(w.Context(), site, time.Now()); err != nil {
		w.Fatal(err)
	}
}

// Large print, in points, and the least there is on a card: what it was made
// from, the caution, and the words on a picture or a talkative programme's.
const (
	largePrint = 18
	smallPrint = 12
)

// onOneSheet holds a card to one sheet of each paper, to the room that both
// have, to large print, and to black on white.
func (w *walk) onOneSheet(path string) {
	w.Helper()
	w.open(path)
	for name, paper := range sheets {
		if n := w.sheetsOf(paper); n != 1 {
			w.Errorf("%s takes %d sheets of %s", path, n, name)
		}
	}
	w.size(703, 1000) // 186 mm wide
	defer w.size(1280, 800)
	media := func(p emulation.SetEmulatedMediaParams) {
		if _, err := chromedp.Call(w.ctx, emulation.SetEmulatedMedia, p); err != nil {
			w.Fatal(err)
		}
	}
	media(emulation.SetEmulatedMediaParams{Media: "print", Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: "dark"}}})
	defer media(emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: "light"}}})
	sheet := eval[printout](w, readPrint)
	if sheet.Width > 186.5 || sheet.Height > 255 {
		w.Errorf("%s takes %.0f x %.0f mm", path, sheet.Width, sheet.Height)
	}
	if sheet.Paper != "rgb(255, 255, 255)" {
		w.Errorf("%s is printed on %s", path, sheet.Paper)
	}
	numbers := 0
	for _, text := range sheet.Texts {
		least := float64(largePrint)
		if text.Small {
			least = smallPrint
		}
		if text.Points < least-.01 {
			w.Errorf("%s: %.1f points, not %.0f: %s", path, text.Points, least, text.Says)
		}
		if text.Ink != "rgb(0, 0, 0)" && !text.Picture {
			w.Errorf("%s: %s is printed in %s", path, text.Says, text.Ink)
		}
		if text.Number {
			numbers++
			if text.Weight < 700 {
				w.Errorf("%s: %s is not bold", path, text.Says)
			}
		}
		if text.Outside {
			w.Errorf("%s prints what is no part of the card: %s", path, text.Says)
		}
	}
	if want := 4 - strings.Count(path, "/stopped"); numbers != want {
		w.Errorf("%s: %d numbers to call, not %d", path, numbers, want)
	}
}

// printout is a card as it is printed: lengths in mm.
type printout struct {
	Width, Height float64
	Paper         string
	Texts         []struct {
		Says, Ink                       string
		Points, Weight                  float64
		Small, Number, Picture, Outside bool
	}
}

const readPrint = `(() => {
	const texts = [];
	for (const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT); walk.nextNode();) {
		const says = walk.currentNode.textContent.trim(), e = walk.currentNode.parentElement, svg = e.closest("svg");
		if (!says || e.closest("title, desc, script") || !e.checkVisibility() || e.closest(".skip")) continue;
		const style = getComputedStyle(e);
		texts.push({
			says, ink: style.color, weight: Number(style.fontWeight), picture: !!svg, number: !!e.closest(".numbers dd"),
			points: parseFloat(style.fontSize) * (svg ? e.getScreenCTM().a : 1) * 0.75,
			small: !!svg || !!e.closest(".stamp, footer, .own.much"), outside: !e.closest(".paper, footer .caution"),
		});
	}
	const mm = (px) => px / 96 * 25.4, top = document.querySelector("main").getBoundingClientRect(), end = document.querySelector("footer").getBoundingClientRect();
	return {
		texts, width: mm(Math.max(document.scrollingElement.scrollWidth, top.width)), height: mm(end.bottom - top.top),
		paper: getComputedStyle(document.documentElement).backgroundColor,
	};
})()`

// sheetsOf prints the page that is open, and counts.
func (w *walk) sheetsOf(paper chromedp.PaperSize) int {
	w.Helper()
	ctx, cancel := w.limit()
	defer cancel()
	pdf, err := chromedp.Run(ctx, chromedp.PrintToPDF(chromedp.PDFPaper(paper)))
	if err != nil {
		w.Fatal(err)
	}
	n, err := pagesOf(pdf)
	if err != nil {
		w.Fatal(err)
	}
	return n
}

var (
	pageObject = regexp.MustCompile(`/Type\s*/Page\b`)
	pageCount  = regexp.MustCompile(`/Count\s+(\d+)`)
	streamed   = regexp.MustCompile(`(?s)stream\r?\n(.*?)\r?\n?endstream`)
)

// pagesOf counts the page objects of a PDF, those inside compressed object
// streams too, and holds them to the count that its page tree gives.
func pagesOf(pdf []byte) (int, error) {
	objects := streamed.ReplaceAllLiteral(pdf, nil)
	for _, at := range streamed.FindAllSubmatchIndex(pdf, -1) {
		head := pdf[:at[0]]
		head = head[bytes.LastIndex(head, []byte("obj"))+1:]
		if !bytes.Contains(head, []byte("/ObjStm")) {
			continue
		}
		body := pdf[at[2]:at[3]]
		if bytes.Contains(head, []byte("/FlateDecode")) {
			z, err := zlib.NewReader(bytes.NewReader(body))
			if err != nil {
				return 0, err
			}
			if body, err = io.ReadAll(z); err != nil {
				return 0, err
			}
		}
		objects = append(append(objects, '\n'), body...)
	}
	n, most := len(pageObject.FindAll(objects, -1)), 0
	for tree := range bytes.SplitSeq(objects, []byte("endobj")) {
		if !bytes.Contains(tree, []byte("/Pages")) {
			continue
		}
		for _, m := range pageCount.FindAllSubmatch(tree, -1) {
			count, err := strconv.Atoi(string(m[1]))
			if err != nil {
				return 0, err
			}
			most = max(most, count)
		}
	}
	if n == 0 || n != most {
		return 0, fmt.Errorf("%d page objects, and the tree counts %d", n, most)
	}
	return n, nil
}

// TestPagesOf guards the guard: pages count wherever they stand in a file.
func TestPagesOf(t *testing.T) {
	page := "<< /Type /Page /Parent 1 0 R >>\n"
	var packed bytes.Buffer
	z := zlib.NewWriter(&packed)
	if _, err := z.Write([]byte("3 0 4 32 " + page + page)); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	object := func(n int, text string) string { return fmt.Sprintf("%d 0 obj\n%sendobj\n", n, text) }
	tree := func(count int) string {
		return object(1, fmt.Sprintf("<< /Type /Pages /Kids [2 0 R] /Count %d >>\n", count))
	}
	stream := func(head, body string) string {
		return object(9, fmt.Sprintf("<< %s /Length %d >>\nstream\n%s\nendstream\n", head, len(body), body))
	}
	for name, c := range map[string]struct {
		pdf  string
		want int
	}{
		"one":                       {tree(1) + object(2, page), 1},
		"two":                       {tree(2) + object(2, page) + object(3, "<</Type/Page>>\n"), 2},
		"two in a packed stream":    {tree(2) + stream("/Type /ObjStm /Filter /FlateDecode", packed.String()), 2},
		"one, and two in a stream":  {tree(3) + object(2, page) + stream("/Type /ObjStm", page+page), 3},
		"what is drawn is no page":  {tree(1) + object(2, page) + stream("/Filter /None", "(/Type /Page)"), 1},
		"fewer than the tree says":  {tree(2) + object(2, page), 0},
		"none":                      {tree(0), 0},
		"a packed stream cut short": {tree(2) + stream("/Type /ObjStm /Filter /FlateDecode", packed.String()[:20]), 0},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := pagesOf([]byte("%PDF-1.4\n" + c.pdf))
			if got != c.want || (err != nil) != (c.want == 0) {
				t.Errorf("%d pages, %v; expected %d", got, err, c.want)
			}
		})
	}
}
