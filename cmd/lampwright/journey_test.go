package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"lampwright/lessons"
	"lampwright/lessons/programme"
	"lampwright/lessons/setup"
	"lampwright/locales"
	"lampwright/quiz"
	"lampwright/quiz/bench"
	"lampwright/quiz/competency"
	"lampwright/quiz/diagnosis"
	"lampwright/server"
	"lampwright/server/record"
)

// A traveller is someone of the demo, and the language they read.
type traveller struct {
	lang, dir, setup, name, card, pin string
}

var (
	rowan  = traveller{"en", "ltr", "chair-12", "Rowan Teal", "HERON-12", "4821"}
	samira = traveller{"ar", "rtl", "chair-7", "Samira Noor", "PLOVER-7", "7350"}
	jules  = traveller{"en", "ltr", "chair-21", "Jules Arden", "DUNLIN-21", "2196"}
)

const (
	educator       = "Mara Quill"
	educatorName   = "mara"
	educatorSecret = "lantern-harbour-9"
	zoneOfDemo     = "America/Vancouver"
)

// A learner's whole way to a sign-off that outlives a restart, in a browser on
// the program as it is shipped; then by keyboard alone, and without script.
func TestJourney(t *testing.T) {
	start := browse(t)
	t.Run("English", func(t *testing.T) { start(t, rowan).journey() })
	t.Run("Arabic", func(t *testing.T) { start(t, samira).journey() })
	t.Run("keyboard only", func(t *testing.T) { start(t, jules).byKeyboard() })
	t.Run("without script", func(t *testing.T) { start(t, jules).withoutScript() })
}

// browse opens a browser, which starts walks beside one another.
func browse(t *testing.T) func(*testing.T, traveller) *walk {
	t.Helper()
	chromium, engines := browserTools(t)
	file, err := built()
	if err != nil {
		t.Fatal(err)
	}
	shots, err := clearedShots()
	if err != nil {
		t.Fatal(err)
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(chromium), chromedp.NoSandbox,
		chromedp.Flag("headless", "new"), chromedp.DisableGPU, chromedp.UserDataDir(t.TempDir()))
	ctx, cancel := chromedp.NewExecAllocator(t.Context(), options...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	if err := chromedp.Do(ctx); err != nil {
		t.Fatal(err)
	}
	return func(t *testing.T, who traveller) *walk {
		t.Parallel()
		return newWalk(t, ctx, who, file, engines, shots)
	}
}

// browserTools are the browser's path and the sources of the two engines that
// look at pages: axe and ace. A machine may lack them, unless it says that it
// must not.
func browserTools(t *testing.T) (chromium, engines string) {
	t.Helper()
	lacking := t.Skipf
	if strings.Contains(os.Getenv("LAMPWRIGHT_REQUIRE"), "browser") {
		lacking = t.Fatalf
	}
	if chromium = os.Getenv("LAMPWRIGHT_CHROMIUM"); chromium == "" {
		var err error
		if chromium, err = exec.LookPath("chromium"); err != nil {
			lacking("no browser: %v; cmd/check installs chromium", err)
		}
	}
	for _, name := range []string{"AXE", "ACE"} {
		source, err := os.ReadFile(os.Getenv("LAMPWRIGHT_" + name))
		if err != nil {
			lacking("no %s (LAMPWRIGHT_%s): %v; cmd/check installs it", strings.ToLower(name), name, err)
		}
		engines += string(source) + "\n;"
	}
	return chromium, engines
}

// clearedShots is the folder of pictures, without those of the last time.
var clearedShots = sync.OnceValues(func() (string, error) {
	dir, err := filepath.Abs(filepath.Join("..", "..", ".screenshots"))
	if err != nil {
		return "", err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return "", err
	}
	old, err := filepath.Glob(filepath.Join(dir, "[0-9][0-9]-*.png"))
	if err != nil {
		return "", err
	}
	for _, file := range old {
		if err := os.Remove(file); err != nil {
			return "", err
		}
	}
	return dir, nil
})

// A program is the built command, serving the demo.
type program struct {
	cmd *exec.Cmd
	url string
	log bytes.Buffer
}

// serve starts the program on a data folder and waits until it listens.
func serve(t *testing.T, file, data, listen string) *program {
	t.Helper()
	p := &program{cmd: exec.Command(file, "demo", "--listen", listen, "--data", data)}
	p.cmd.Stderr = &p.log
	out, err := p.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if p.cmd.ProcessState == nil {
			p.cmd.Process.Kill() //nolint:errcheck // it may just have ended
			p.cmd.Wait()         //nolint:errcheck // it was killed
		}
		said := map[string]bool{}
		for line := range strings.Lines(p.log.String()) {
			_, what, _ := strings.Cut(line, `"level":"ERROR",`)
			if what != "" && !said[what] {
				said[what] = true
				t.Errorf("the program's log: %s", what)
			}
		}
	})
	for lines := bufio.NewScanner(out); lines.Scan(); {
		if at, ok := strings.CutPrefix(lines.Text(), "Open "); ok {
			p.url = at
			return p
		}
	}
	t.Fatalf("the program did not say where it listens\n%s", &p.log)
	return nil
}

// stop asks the program to end, as a service manager does, and holds it to
// ending well and soon.
func (p *program) stop(t *testing.T) {
	t.Helper()
	begun := time.Now()
	if err := p.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- p.cmd.Wait() }()
	select {
	case err := <-ended:
		if err != nil {
			t.Errorf("after SIGTERM: %v\n%s", err, &p.log)
		}
		t.Logf("stopped in %v", time.Since(begun).Round(time.Millisecond))
	case <-time.After(10 * time.Second):
		p.cmd.Process.Kill() //nolint:errcheck // it may just have ended
		<-ended
		t.Errorf("still running 10 s after SIGTERM\n%s", &p.log)
	}
}

// A walk is one traveller with a browser of their own and a server of their own.
type walk struct {
	*testing.T
	traveller
	ctx       context.Context
	file      string
	data      string
	program   *program
	speak     locales.Speaker
	equipment *setup.Setup
	lessons   *lessons.Catalogue
	engines   string // "" where no script runs
	shots     string
	pages     int

	console  sync.Mutex
	errors   []string
	findings map[string][]string // the engines', and where
}

func newWalk(t *testing.T, browser context.Context, who traveller, file, engines, shots string) *walk {
	t.Helper()
	w := &walk{T: t, traveller: who, file: file, data: t.TempDir(), engines: engines, shots: shots, findings: map[string][]string{}}
	bundle, err := locales.Load()
	if err != nil {
		t.Fatal(err)
	}
	w.speak = bundle.Speak(who.lang)
	if w.equipment, err = setup.Demo(who.setup); err != nil {
		t.Fatal(err)
	}
	if w.lessons, err = lessons.Load(); err != nil {
		t.Fatal(err)
	}
	w.program = serve(t, file, w.data, "127.0.0.1:0")
	ctx, cancel := chromedp.NewContext(browser, chromedp.WithNewBrowserContext())
	t.Cleanup(cancel)
	w.ctx = ctx
	messages := chromedp.Console(ctx)
	go func() {
		for m, err := range messages {
			if err != nil {
				return
			}
			w.heard(m)
		}
	}()
	t.Cleanup(w.report)
	w.size(1280, 800)
	return w
}

// heard keeps the errors of the console, a broken content policy among them.
// A form that is refused on purpose answers 422, and the browser says so.
func (w *walk) heard(m chromedp.ConsoleMessage) {
	if m.Type != chromedp.ConsoleError && m.Type != chromedp.ConsoleException && m.Source != "security" {
		return
	}
	if m.Source == "network" && strings.HasSuffix(m.URL, "/sign") && strings.Contains(m.Text, " 422 ") {
		return
	}
	w.console.Lock()
	defer w.console.Unlock()
	w.errors = append(w.errors, fmt.Sprintf("%s (%s)", m, m.URL))
}

// report fails the walk on everything that was gathered along it.
func (w *walk) report() {
	w.console.Lock()
	defer w.console.Unlock()
	for _, e := range w.errors {
		w.Errorf("console: %s", e)
	}
	for _, what := range slices.Sorted(maps.Keys(w.findings)) {
		w.Errorf("%s\n    on %s", what, strings.Join(w.findings[what], ", "))
	}
}

// limit bounds one action, for it may wait for something that never comes.
func (w *walk) limit() (context.Context, context.CancelFunc) {
	return context.WithTimeout(w.ctx, 60*time.Second)
}

func eval[T any](w *walk, script string, options ...chromedp.EvaluateOption) T {
	w.Helper()
	ctx, cancel := w.limit()
	defer cancel()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](script, options...))
	if err != nil {
		w.Fatalf("%s: %v", firstOf(script, 200), err)
	}
	return v
}

func firstOf(text string, n int) string { return text[:min(n, len(text))] }

func (w *walk) do(steps ...chromedp.Action[chromedp.Void]) {
	w.Helper()
	ctx, cancel := w.limit()
	defer cancel()
	if err := chromedp.Do(ctx, steps...); err != nil {
		w.Fatal(err)
	}
}

func quoted(text string) string {
	b, _ := json.Marshal(text) //nolint:errcheck // a string is always JSON
	return string(b)
}

// goes does something that leads to another page, waits for it, and holds it
// to its status.
func (w *walk) goes(status int, step chromedp.Action[chromedp.Void]) {
	w.Helper()
	ctx, cancel := w.limit()
	defer cancel()
	r, err := chromedp.RunResponse(ctx, step)
	if err != nil {
		w.Fatalf("no page came, after %s: %v", w.at(), err)
	}
	if int(r.Status) != status {
		w.Fatalf("%s: status %d, want %d: %s", r.URL, r.Status, status, w.text("main"))
	}
}

func (w *walk) open(path string) {
	w.Helper()
	w.goes(200, chromedp.Navigate(w.program.url+path))
}

// point finds where to press: in the middle of what is shown, if nothing lies
// over it. A part of a picture is pressed on the picture.
const point = `(() => {
	const e = document.querySelector(%s);
	if (!e) return {why: "not there"};
	e.scrollIntoView({block: "center", behavior: "instant"});
	const b = e.getBoundingClientRect(), x = b.left + b.width / 2, y = b.top + b.height / 2;
	const hit = document.elementFromPoint(x, y);
	if (!hit || !e.contains(hit)) return {why: "covered by " + (hit && hit.outerHTML.slice(0, 200))};
	return {x, y, why: ""};
})()`

func (w *walk) press(selector string) chromedp.Action[chromedp.Void] {
	w.Helper()
	at := eval[struct {
		X, Y float64
		Why  string
	}](w, fmt.Sprintf(point, quoted(selector)))
	if at.Why != "" {
		w.Fatalf("%s: %s is %s: %s", w.at(), selector, at.Why, w.text("main"))
	}
	return chromedp.MouseClickXY(at.X, at.Y)
}

// click presses something that leads to a page; touch what does not.
func (w *walk) click(selector string) { w.Helper(); w.goes(200, w.press(selector)) }
func (w *walk) touch(selector string) { w.Helper(); w.do(w.press(selector)) }

func (w *walk) write(selector, text string) {
	w.Helper()
	w.touch(selector)
	w.do(chromedp.KeyEvent(text))
}

func (w *walk) at() string {
	w.Helper()
	return eval[string](w, `location.pathname + location.search`)
}

func (w *walk) isAt(path string) {
	w.Helper()
	if at, _, _ := strings.Cut(w.at(), "?"); at != path {
		w.Fatalf("at %s, want %s: %s", at, path, w.text("main"))
	}
}

// text is what an element says, its spaces made one.
func (w *walk) text(selector string) string {
	w.Helper()
	return eval[string](w, `(document.querySelector(`+quoted(selector)+`)?.textContent ?? "").replace(/\s+/g, " ").trim()`)
}

func (w *walk) count(selector string) int {
	w.Helper()
	return eval[int](w, `document.querySelectorAll(`+quoted(selector)+`).length`)
}

// says holds an element to saying all of this.
func (w *walk) says(selector string, wanted ...string) {
	w.Helper()
	got := w.text(selector)
	for _, want := range wanted {
		if !strings.Contains(got, strings.Join(strings.Fields(want), " ")) {
			w.Errorf("%s: %s lacks %q: %s", w.at(), selector, want, got)
		}
	}
}

func (w *walk) has(selector string) {
	w.Helper()
	if w.count(selector) == 0 {
		w.Errorf("%s has no %s: %s", w.at(), selector, w.text("main"))
	}
}

// value selects a form's element by name and value.
func value(name, v string) string { return fmt.Sprintf(`[name="%s"][value="%s"]`, name, v) }

func (w *walk) size(width, height int64) {
	w.Helper()
	w.again(func(ctx context.Context) error { return chromedp.Do(ctx, chromedp.EmulateViewport(width, height)) })
}

// again does what harms nothing when done twice, up to three times: with
// several tabs on a busy machine, chromium now and then never draws the frame
// that a resize or a picture waits for.
func (w *walk) again(f func(context.Context) error) {
	w.Helper()
	var err error
	for range 3 {
		ctx, cancel := w.limit()
		err = f(ctx)
		cancel()
		if !errors.Is(err, context.DeadlineExceeded) {
			break
		}
	}
	if err != nil {
		w.Fatal(err)
	}
}

func (w *walk) theme(scheme string) {
	w.Helper()
	if _, err := chromedp.Call(w.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}},
	}); err != nil {
		w.Fatal(err)
	}
}

// A look is how closely a page is looked at.
type look int

const (
	glance look = iota // one size, one theme, no picture
	full               // every size, both themes, pictures
	dark               // full, and pictures in the dark
)

// looks holds the page that is open to being usable by everyone, and leaves
// pictures of it.
func (w *walk) looks(page string, how look) {
	w.Helper()
	if got := eval[string](w, `document.documentElement.lang + " " + document.documentElement.dir`); got != w.lang+" "+w.dir {
		w.Errorf("%s is in %s", w.at(), got)
	}
	defer w.size(1280, 800)
	w.size(320, 800)
	w.fits(320)
	if w.engines == "" {
		return
	}
	w.inject()
	if how == glance {
		w.size(390, 844)
		w.accessible(page+" light 390", w.axe, w.ace)
		w.fits(390)
		return
	}
	w.pages++
	for _, scheme := range []string{"dark", "light"} {
		w.theme(scheme)
		for _, s := range [][2]int64{{390, 844}, {800, 1280}, {1280, 800}} {
			w.size(s[0], s[1])
			w.fits(s[0])
			switch where := fmt.Sprintf("%s %s %d", page, scheme, s[0]); {
			case s[0] == 800:
			case (s[0] == 390) == (scheme == "light"): // once in each theme will do for the slower
				w.accessible(where, w.axe, w.ace)
			default:
				w.accessible(where, w.axe)
			}
			if scheme == "light" || how == dark && s[0] != 800 {
				w.shoot(page, scheme, s[0], s[1])
			}
		}
	}
}

// inject brings the engines into the page that is open, past its content policy.
func (w *walk) inject() {
	w.Helper()
	eval[chromedp.Void](w, w.engines+"0")
}

// accessible gathers what engines find, with everything unfolded: of what is
// folded away axe sees nothing, and ace the fields but not their labels.
func (w *walk) accessible(where string, engines ...func() []string) {
	w.Helper()
	eval[chromedp.Void](w, `for (const d of document.querySelectorAll("details:not([open])")) d.open = d.dataset.folded = true`)
	for _, engine := range engines {
		for _, f := range engine() {
			w.findings[f] = append(w.findings[f], where)
		}
	}
	eval[chromedp.Void](w, `for (const d of document.querySelectorAll("details[data-folded]")) d.open = false, delete d.dataset.folded`)
}

// axe is what one engine finds.
func (w *walk) axe() []string {
	w.Helper()
	// Its check for icon fonts takes joined Arabic letters for icons and drops
	// them from a link's text; the names are still compared.
	return eval[[]string](w, `axe.configure({checks: [{id: "label-content-name-mismatch", options: {pixelThreshold: 10, occurrenceThreshold: 1e9}}]}), axe.run(document, {preload: false, resultTypes: ["violations"], runOnly: {type: "tag",
		values: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}}).then(r =>
		r.violations.flatMap(v => v.nodes.map(n => "axe: " + v.id + ": " + n.target.join(" ") + ": " + n.failureSummary.replace(/\s+/g, " "))))`,
		chromedp.EvalAwaitPromise)
}

// ace is what the other finds for certain; what it only asks a person to look
// at is left out.
func (w *walk) ace() []string {
	w.Helper()
	return eval[[]string](w, `new ace.Checker().check(document, ["WCAG_2_2"]).then(r =>
		r.results.filter(f => f.value[0] == "VIOLATION" && f.value[1] == "FAIL").map(f => "ace: " + f.ruleId + ": " + f.path.dom + ": " + f.message))`,
		chromedp.EvalAwaitPromise)
}

// fits holds the page to this width without scrolling sideways.
func (w *walk) fits(width int64) {
	w.Helper()
	if wide := eval[[]string](w, strings.ReplaceAll(tooWide, "WIDTH", strconv.FormatInt(width, 10))); len(wide) > 0 {
		w.Errorf("%s scrolls sideways at %d px: %s", w.at(), width, strings.Join(wide, " | "))
	}
}

// tooWide names what reaches out of a page that scrolls sideways. A table may
// scroll in a box of its own.
const tooWide = `document.scrollingElement.scrollWidth <= WIDTH ? [] : [document.scrollingElement.scrollWidth + " px",
	...[...document.querySelectorAll("body *:not(.skip)")].filter(e => !e.closest(".scroll > *, svg *")).filter(e => {
		const b = e.getBoundingClientRect();
		return b.width > 0 && (b.right > WIDTH + 0.5 || b.left < -0.5);
	}).map(e => e.tagName + "." + e.getAttribute("class") + " " + e.textContent.trim().slice(0, 40))]`

// shoot leaves a picture of the whole page. The way beyond the window is only
// for a page that needs it: it shifts a right-to-left page that does not.
func (w *walk) shoot(page, scheme string, width, height int64) {
	w.Helper()
	capture := chromedp.CaptureScreenshot()
	if eval[int64](w, `document.scrollingElement.scrollHeight`) > height {
		capture = chromedp.FullScreenshot(100)
	}
	var png []byte
	w.again(func(ctx context.Context) (err error) {
		png, err = chromedp.Run(ctx, capture)
		return err
	})
	name := fmt.Sprintf("%02d-%s-%s-%dx%d", w.pages, page, w.lang, width, height)
	if scheme == "dark" {
		name += "-dark"
	}
	if err := os.WriteFile(filepath.Join(w.shots, name+".png"), png, 0o644); err != nil {
		w.Fatal(err)
	}
}

// journey is the whole way.
func (w *walk) journey() {
	w.chooseLanguage()
	w.cardsForAnyone()
	w.signIn()
	w.isAt("/me")
	w.says("main", w.name, w.speak.T("page.me.unsigned"))
	w.looks("me", dark)
	w.learn()
	w.watch()
	w.practise()
	w.failQuiz()
	w.passQuizzes()
	w.signOut("/me")
	lastDays := w.beSigned()
	w.signIn()
	w.signedOff(lastDays)
	w.looks("me-signed-off", dark)
	w.signOut("/me")

	w.program.stop(w.T)
	at, err := url.Parse(w.program.url)
	if err != nil {
		w.Fatal(err)
	}
	w.program = serve(w.T, w.file, w.data, at.Host)
	w.open("/looks")
	w.choosesMine()
	w.click(`main a[href="/sign-in?set-up=` + w.setup + `"]`)
	w.signIn()
	w.signedOff(lastDays)
}

func (w *walk) chooseLanguage() {
	w.open("/")
	for _, l := range locales.Languages {
		w.has(`.choices a[lang="` + l.Tag + `"]`)
	}
	w.click(`.choices a[lang="` + w.lang + `"]`)
	w.isAt("/looks")
	back := w.at()
	w.open("/")
	w.looks("welcome", full)
	w.open(back)
	w.says("h1", w.speak.T("page.looks"))
	for _, name := range setup.DemoNames {
		w.has(`.looks li:has(a[href="/lessons/` + name + `"]) svg.fig-panel`)
	}
	mine := `.looks li:has(a[href="/lessons/` + w.setup + `"])`
	w.says(mine+" .fig-model", w.equipment.Ventilator.Model)
	w.says(mine, w.equipment.Tag)
	w.looks("looks", full)
}

// cardsForAnyone are one press away from every page, signed in or not.
func (w *walk) cardsForAnyone() {
	for _, p := range []struct{ press, name, says string }{
		{".help .stop", "stopped", "page.line.rescue"}, {".help .call", "call", "page.call.title"}, {`a[href="/safe"]`, "safe", "page.safe"},
	} {
		w.open("/looks")
		w.click(p.press)
		w.says("main", w.speak.T(p.says), "555-0100", "555-0110", "555-0120")
		w.looks(p.name, full)
	}
	w.open("/looks")
	w.choosesMine()
	w.looks("mine", full)
	w.has(`main a[href="/check/` + w.setup + `"]`)
	w.click(`main a[href="/outing/` + w.setup + `"]`)
	w.looks("outing", full)
	w.open("/outing/" + w.setup + "?leaves=2026-11-25T22:00&setting=usual&temperature=-5&chair=60&years=4&internal=100" +
		"&kind-1=drive&amount-1=2&kind-2=stand&amount-2=300&kind-3=drive&amount-3=2")
	w.has("svg.fig-timeline")
	w.looks("outing-result", full)
	w.open("/looks")
	w.choosesMine()
	w.click(`main a[href="/sign-in?set-up=` + w.setup + `"]`)
	w.says("main", w.speak.T("page.sign-in.set-up", "Tag", w.equipment.Tag))
	w.looks("sign-in", dark)
}

// choosesMine says of a panel that it is theirs.
func (w *walk) choosesMine() {
	w.Helper()
	w.click(`.looks a.go[href="/lessons/` + w.setup + `"]`)
	w.says("h1", w.speak.T("page.mine", "Tag", w.equipment.Tag))
}

// signIn signs in on the door that is open.
func (w *walk) signIn() {
	w.Helper()
	w.write("#who", w.card)
	w.write("#secret", w.pin)
	w.click("main form button")
	w.isAt("/me")
}

// signOut leaves, and Back shows nothing of who was here.
func (w *walk) signOut(from string) {
	w.Helper()
	w.open(from)
	w.has(`footer form[action="/sign-out"]`)
	w.click(`footer form[action="/sign-out"] button`)
	w.isAt("/")
	w.do(chromedp.NavigateBack())
	for wait := time.Now(); ; time.Sleep(50 * time.Millisecond) {
		at, body := w.at(), eval[string](w, `document.body?.textContent ?? ""`)
		if strings.Contains(at, "/sign-in") && strings.Contains(body, w.speak.T("page.sign-in")) {
			for _, personal := range []string{rowan.name, samira.name, jules.name, educator} {
				if strings.Contains(body, personal) {
					w.Errorf("Back shows %s at %s: %s", personal, at, body)
				}
			}
			return
		}
		if time.Since(wait) > 5*time.Second {
			w.Fatalf("Back after signing out stays at %s: %s", at, body)
		}
	}
}

// learn reads every lesson card by card, each time from the page that says
// what is next.
func (w *walk) learn() {
	for i, id := range w.lessons.IDs() {
		lesson, ok := w.lessons.Lesson(id, w.lang)
		if !ok || lesson.Language != w.lang {
			w.Fatalf("no lesson %s in %s", id, w.lang)
		}
		lesson = lesson.On(w.equipment)
		w.says("main .go", lesson.Title)
		w.click("main .go")
		panels := 0
		for n, card := range lesson.Cards {
			w.isAt(fmt.Sprintf("/lessons/%s/%s/%d", w.setup, id, n+1))
			w.says("main", lesson.Title, w.equipment.Tag, w.speak.T("page.card-of", "Number", n+1, "Of", len(lesson.Cards)))
			w.says("h1", card.Title)
			w.has(".figures svg.fig")
			for _, model := range eval[[]string](w, `[...document.querySelectorAll(".figures svg.fig-panel")].map(e => e.querySelector(".fig-model")?.textContent ?? "")`) {
				panels++
				if model != w.equipment.Ventilator.Model {
					w.Errorf("%s shows the panel of %q", w.at(), model)
				}
			}
			how := glance
			if n == 0 {
				how = full
			}
			if n == 0 && i == 0 {
				how = dark
			}
			w.looks("lesson-"+id, how)
			w.click(".pager .go")
		}
		if panels == 0 {
			w.Errorf("lesson %s shows no panel", id)
		}
		w.answer(lesson, i == 0)
		w.isAt("/me")
		if done := w.count(".steps .done"); done != i+1 {
			w.Errorf("%d done after %d lessons", done, i+1)
		}
	}
}

// answer answers a lesson's question, first wrong if asked to.
func (w *walk) answer(lesson lessons.Lesson, wrongFirst bool) {
	w.isAt("/lessons/" + lesson.ID + "/question")
	key, err := lesson.Question.Key(w.equipment)
	if err != nil {
		w.Fatal(err)
	}
	choose := func(option string) {
		w.touch("label:has(" + value("option", option) + ")")
		w.click("main form .go")
		if shown := w.count(".why > li"); shown != len(lesson.Question.Options) {
			w.Errorf("%s explains %d of %d options", w.at(), shown, len(lesson.Question.Options))
		}
		for _, o := range lesson.Question.Options {
			says := "lessons.question." + lesson.ID + "." + o
			w.says(".why", w.speak.T(says), w.speak.T(says+".why"))
		}
		w.says(".why .key", w.speak.T("lessons.question."+lesson.ID+"."+key), w.speak.T("page.answer.key"))
		w.says(".why .chosen", w.speak.T("lessons.question."+lesson.ID+"."+option), w.speak.T("page.answer.yours"))
	}
	if wrongFirst {
		w.looks("question", full)
		other := slices.IndexFunc(lesson.Question.Options, func(o string) bool { return o != key })
		choose(lesson.Question.Options[other])
		w.says(".note.bad", w.speak.T("page.answer.wrong"))
		w.looks("answer-wrong", dark)
		w.click("main .pager .go")
	}
	choose(key)
	w.says(".note.good", w.speak.T("page.answer.right"))
	if wrongFirst {
		w.looks("answer-right", full)
	} else {
		w.looks("answer-right", glance)
	}
	w.click("main .pager .go")
}

// begin opens a run of a scenario.
func (w *walk) begin(sc quiz.Scenario, mode string) {
	w.Helper()
	w.isAt("/scenarios/" + sc.ID)
	w.says("main", w.speak.T("quiz.scenario."+sc.ID+".story"))
	w.click("button" + value("mode", mode))
	w.has(".bench svg.fig-chain")
}

// pick touches a part of the picture.
func (w *walk) pick(part string) {
	w.Helper()
	w.click(`svg.fig-chain a.fig-link[href*="part=` + part + `#"]`)
	w.has("svg.fig-chain")
}

// act does an action on the bench, on a part after touching it.
func (w *walk) act(a diagnosis.Action) {
	w.Helper()
	button := ".acts-form button" + value("action", string(a.Verb)+":"+a.Part)
	if w.count(button) == 0 {
		w.pick(a.Part)
	}
	w.click(button)
}

// fuse is the part that tempts most.
func (w *walk) fuse() string {
	w.Helper()
	for _, id := range w.equipment.IDs() {
		if kind, _ := w.equipment.PartKind(id); kind == setup.KindFuse {
			return id
		}
	}
	w.Fatal("no fuse")
	return ""
}

// watch goes through a scenario as it is shown, each step with its reason; then
// finishes one that is begun.
func (w *walk) watch() {
	sc := quiz.Scenarios[0]
	w.click(`main .steps a[href="/scenarios/` + sc.ID + `"]`)
	w.begin(sc, "worked")
	const next = ".care .acts-form button"
	for steps := 0; w.count(next) > 0; steps++ {
		if acts := w.count(".acts-form button"); acts != 1 || w.text("#why") == "" {
			w.Fatalf("%s: %d things to do, for the reason %q", w.at(), acts, w.text("#why"))
		}
		if steps == 4 {
			w.looks("bench-worked", full)
		}
		w.click(next)
	}
	w.says("h1", w.speak.T("page.debrief.practice"))
	w.says("main", w.speak.T("page.debrief.passed"))
	if told, because := w.count(".log > li"), w.count(".log .because"); told < 5 || because != told {
		w.Errorf("%d steps, %d with a reason", told, because)
	}
	w.looks("debrief-worked", full)
	w.click("main .pager .go")
	w.click(`main .steps a[href="/scenarios/` + sc.ID + `"]`)
	w.begin(sc, "half-done")
	w.looks("bench-half-done", glance)
	way, done := w.best(sc), w.count(".log > li")
	if done < 2 || done >= len(way) {
		w.Fatalf("%d of %d steps are done: %s", done, len(way), w.text("main"))
	}
	w.follow(way[done:])
	w.says("h1", w.speak.T("page.debrief.practice"))
	w.says("main", w.speak.T("page.debrief.passed"))
	w.click("main .pager .go")
	w.isAt("/me")
}

// practise goes through a scenario where nothing counts, and is told at once
// what is unsafe.
func (w *walk) practise() {
	sc := quiz.Scenarios[0]
	w.click(`main .steps a[href="/scenarios/` + sc.ID + `"]`)
	w.looks("scenario", full)
	w.begin(sc, "practice")
	w.says("main", w.speak.T("page.bench.practice"))
	w.looks("bench", dark)
	fuse := w.fuse()
	w.pick(fuse)
	w.looks("bench-part", full)
	w.act(diagnosis.Action{Verb: diagnosis.AskPerson})
	w.act(diagnosis.Action{Verb: diagnosis.Look, Part: diagnosis.PanelID})
	w.says(".picture svg.fig-panel .fig-model", w.equipment.Ventilator.Model)
	w.act(diagnosis.Action{Verb: diagnosis.Look, Part: fuse})
	w.has("#acts .close svg")
	w.looks("bench-looked", full)
	w.act(diagnosis.Action{Verb: diagnosis.ReplaceFuse, Part: fuse})
	w.says("#last", w.speak.T("page.bench.refused"), w.speak.T("gate.never.replace-fuse"))
	w.looks("bench-refused", full)
	w.act(diagnosis.Action{Verb: diagnosis.CallTech})
	w.says("h1", w.speak.T("page.debrief.practice"))
	w.looks("debrief-practice", full)
	w.click("main .pager .go")
	w.isAt("/me")
	if done := w.count(".steps .done"); done != len(w.lessons.IDs()) {
		w.Errorf("%d done: practice counted", done)
	}
}

// failQuiz takes the one unsafe step that ends a run for the record.
func (w *walk) failQuiz() {
	sc := quiz.Scenarios[0]
	w.click(`main .steps a[href="/scenarios/` + sc.ID + `"]`)
	w.begin(sc, "quiz")
	w.says("main", w.speak.T("page.bench.quiz"))
	w.act(diagnosis.Action{Verb: diagnosis.ReplaceFuse, Part: w.fuse()})
	w.says("main", w.speak.T("page.debrief.title"), w.speak.T("page.debrief.failed"), w.speak.T("page.debrief.gate.unsafe"))
	w.says(".log .refused", w.speak.T("gate.never.replace-fuse"), w.speak.T("page.debrief.unsafe"))
	w.looks("debrief-failed", dark)
	w.click("main .pager .quiet")
}

// passQuizzes passes every scenario that a sign-off needs, on its best way.
func (w *walk) passQuizzes() {
	for i, sc := range quiz.Needed() {
		if i > 0 {
			w.says("main .go", w.speak.T("quiz.scenario."+sc.ID+".title"))
			w.click("main .go")
		}
		w.begin(sc, "quiz")
		w.follow(w.best(sc))
		w.says("main", w.speak.T("page.debrief.passed"), w.speak.T("page.debrief.gate.safe"), w.speak.T("page.debrief.ending.right"), "100 %")
		if i == 0 {
			w.looks("debrief-passed", full)
		} else {
			w.looks("debrief-passed", glance)
		}
		w.click("main .pager .go")
	}
	w.isAt("/me")
	w.says("main", w.speak.T("page.me.ready"))
	w.looks("me-ready", full)
}

// best is the best way through the run that is open.
func (w *walk) best(sc quiz.Scenario) []quiz.Advice {
	w.Helper()
	model, err := diagnosis.NewModel(w.equipment, nil)
	if err != nil {
		w.Fatal(err)
	}
	start, err := quiz.Generate(model, sc, w.seed())
	if err != nil {
		w.Fatal(err)
	}
	way, err := quiz.Way(model, start)
	if err != nil {
		w.Fatal(err)
	}
	return way
}

// seed is what the run that is open was drawn from. The program holds its data
// folder, so it is read in a copy.
func (w *walk) seed() uint64 {
	w.Helper()
	path, _, _ := strings.Cut(w.at(), "?")
	id, ok := strings.CutPrefix(path, "/runs/")
	if !ok {
		w.Fatalf("no run at %s", path)
	}
	dir := w.TempDir()
	if err := os.CopyFS(dir, os.DirFS(w.data)); err != nil {
		w.Fatal(err)
	}
	store, err := record.Open(dir)
	if err != nil {
		w.Fatal(err)
	}
	defer store.Close() //nolint:errcheck // it is only read
	run, err := store.Run(w.Context(), server.SiteID, id)
	if err != nil {
		w.Fatal(err)
	}
	return uint64(run.Seed)
}

func (w *walk) follow(way []quiz.Advice) {
	w.Helper()
	for _, step := range way {
		a := step.Action
		w.act(a)
		if !slices.Contains(bench.Endings, a.Verb) {
			w.has("#last:not(.bad)")
		}
	}
}

// beSigned has the educator watch and sign, and returns what the last day may
// be: the test may run over midnight.
func (w *walk) beSigned() []string {
	w.open("/")
	w.click(`footer a[href="/desk"]`)
	w.looks("desk-sign-in", full)
	w.educatorSignsIn()
	row := fmt.Sprintf(`tr:has(a[href="%s"])`, w.learnerLink())
	w.says(row, w.name, w.equipment.Tag, w.speak.T("page.standing.never"))
	w.click(row + " a")
	w.says("h1", w.name, w.equipment.Tag)
	w.looks("desk-learner", full)

	const form = "#observe-power-sources"
	const secret = "#secret-power-sources"
	w.touch(form + " summary")
	const missed = "bag-ready"
	w.touch(form + ` label:has([name="spare"])`)
	var ticked []string
	for _, it := range competency.Find(competency.PowerSources).Items {
		if it.ID != missed {
			w.touch(form + " label:has(" + value("seen", it.ID) + ")")
			ticked = append(ticked, it.ID)
		}
	}
	w.touch(form + " label:has(" + value("rating", "4") + ")")
	w.write(secret, educatorSecret)
	w.goes(422, w.press(form+" .go"))
	w.says("#wrong-power-sources", w.speak.T("problem.critical-missed"))
	const left = `[...document.querySelectorAll("#observe-power-sources input:checked")].map(e => e.name + " " + e.value)`
	want := []string{"spare yes"}
	for _, id := range ticked {
		want = append(want, "seen "+id)
	}
	if got := eval[[]string](w, left); !slices.Equal(got, append(want, "rating 4")) {
		w.Errorf("the refused form keeps %q", got)
	}
	w.has(secret)
	if w.count(".sign-off") != 0 {
		w.Error("a sign-off with a critical item missed")
	}
	w.looks("desk-refused", dark)

	w.touch(form + " label:has(" + value("seen", missed) + ")")
	w.write(secret, educatorSecret)
	zone, err := time.LoadLocation(zoneOfDemo)
	if err != nil {
		w.Fatal(err)
	}
	p, err := programme.Demo()
	if err != nil {
		w.Fatal(err)
	}
	last := func() string {
		return competency.LastDay(competency.Lapses(time.Now(), p.Policies.SignOffDays, zone), zone).Format(time.DateOnly)
	}
	days := []string{last()}
	w.click(form + " .go")
	days = append(days, last())
	w.says("main", w.speak.T("page.signed"))
	w.standsSigned(".sign-off", days)
	w.looks("desk-signed", full)
	w.click(`.desks a[href="/desk"]`)
	w.standsSigned(row, days)
	w.looks("desk-roster", dark)
	w.signOut("/desk")
	w.open("/sign-in")
	return days
}

// educatorSignsIn signs in on the desk's door, which is open.
func (w *walk) educatorSignsIn() {
	w.Helper()
	w.staffSignsIn(educatorName, educatorSecret, "/desk")
}

// staffSignsIn is someone of the staff at the desk's door, who begins at a
// page of their own.
func (w *walk) staffSignsIn(name, secret, begins string) {
	w.Helper()
	w.isAt("/desk/sign-in")
	w.write("#who", name)
	w.write("#secret", secret)
	w.click("main form button")
	w.isAt(begins)
}

func (w *walk) learnerLink() string {
	w.Helper()
	link := eval[string](w, `[...document.querySelectorAll("th a")].find(a => a.textContent.trim() == `+quoted(w.name)+`)?.getAttribute("href") ?? ""`)
	if link == "" {
		w.Fatalf("no %s on %s: %s", w.name, w.at(), w.text("main"))
	}
	return link
}

// standsSigned holds an element to showing the sign-off: how it stands, for
// which set-up, until when and by whom.
func (w *walk) standsSigned(selector string, lastDays []string) {
	w.Helper()
	w.says(selector, w.speak.T("page.standing.current"), w.equipment.Tag, educator)
	got := w.text(selector)
	if !slices.ContainsFunc(lastDays, func(day string) bool { return strings.Contains(got, day) }) {
		w.Errorf("%s: no last day %q in %s", w.at(), lastDays, got)
	}
}

// signedOff is what a learner's own page shows once everything is done.
func (w *walk) signedOff(lastDays []string) {
	w.Helper()
	w.isAt("/me")
	w.standsSigned(".sign-off", lastDays)
	if done, want := w.count(".steps .done"), len(w.lessons.IDs())+len(quiz.Needed()); done != want {
		w.Errorf("%d done, want %d", done, want)
	}
}

// tabTo goes on by Tab until the focus is there, and sees it all the way.
func (w *walk) tabTo(selector string) {
	w.Helper()
	for range 80 {
		w.do(chromedp.KeyEvent(kb.Tab))
		f := eval[struct {
			There, Seen bool
			What        string
		}](w, `(() => {
			const e = document.activeElement, style = getComputedStyle(e), hit = e.querySelector(".fig-hit");
			return {there: e.matches(`+quoted(selector)+`), what: e.outerHTML.slice(0, 120), seen: e == document.body ||
				style.outlineStyle != "none" && parseFloat(style.outlineWidth) > 0 || !!hit && parseFloat(getComputedStyle(hit).strokeWidth) > 2};
		})()`)
		if !f.Seen {
			w.Errorf("%s: the focus does not show on %s", w.at(), f.What)
		}
		if f.There {
			return
		}
	}
	w.Fatalf("%s: Tab never comes to %s", w.at(), selector)
}

// enter goes to something by Tab and follows it by Enter.
func (w *walk) enter(selector string) {
	w.Helper()
	w.tabTo(selector)
	w.goes(200, chromedp.KeyEvent(kb.Enter))
}

// byKeyboard signs in and acts on the bench with Tab and Enter.
func (w *walk) byKeyboard() {
	w.open("/")
	if !eval[bool](w, scriptRuns) {
		w.Error("script does not run")
	}
	w.enter(`.choices a[lang="` + w.lang + `"]`)
	w.enter(`.looks a.go[href="/lessons/` + w.setup + `"]`)
	w.enter(`main a[href="/sign-in?set-up=` + w.setup + `"]`)
	w.tabTo("#who")
	w.do(chromedp.KeyEvent(w.card))
	w.tabTo("#secret")
	w.do(chromedp.KeyEvent(w.pin))
	w.enter("main form button")
	w.isAt("/me")
	sc := quiz.Scenarios[0]
	w.enter(`.steps a[href="/scenarios/` + sc.ID + `"]`)
	w.enter("button" + value("mode", "practice"))
	w.enter("button" + value("action", "ask-person:"))
	w.enter("button" + value("action", "look:panel"))
	fuse := w.fuse()
	w.enter(`a.fig-link[href*="part=` + fuse + `#"]`)
	w.enter("button" + value("action", "look:"+fuse))
	w.has("#last:not(.bad)")
	w.has("#acts .close svg")
}

// scriptRuns tells whether anything marks a form that is sent.
const scriptRuns = `(() => {
	const f = document.createElement("form");
	document.body.append(f);
	f.dispatchEvent(new SubmitEvent("submit", {bubbles: true, cancelable: true}));
	f.remove();
	return "sent" in f.dataset;
})()`

// withoutScript goes from signing in to a debrief in a browser that runs none,
// the engines neither.
func (w *walk) withoutScript() {
	w.engines = ""
	if _, err := chromedp.Call(w.ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true}); err != nil {
		w.Fatal(err)
	}
	w.open("/")
	if eval[bool](w, scriptRuns) {
		w.Fatal("script runs")
	}
	w.click(`.choices a[lang="` + w.lang + `"]`)
	w.choosesMine()
	w.click(`main a[href="/sign-in?set-up=` + w.setup + `"]`)
	w.signIn()
	lesson, _ := w.lessons.Lesson(w.lessons.IDs()[0], w.lang)
	w.click("main .go")
	for range lesson.Cards {
		w.has(".figures svg.fig")
		w.click(".pager .go")
	}
	w.answer(lesson, false)
	w.isAt("/me")
	sc := quiz.Scenarios[0]
	w.click(`main .steps a[href="/scenarios/` + sc.ID + `"]`)
	w.begin(sc, "quiz")
	w.follow(w.best(sc))
	w.says("main", w.speak.T("page.debrief.passed"))
	w.signOut("/me")
}
