package static_test

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

const signedIn = `<!doctype html><html lang="en"><title>Test</title>
<script src="/kiosk.js" defer></script>
<body data-idle="100">
<form id="answer" method="post" action="/slow"><button id="send" name="choice" value="mains">Send</button></form>
<form id="sign-out-idle" method="post" action="/sign-out"></form>
<dialog id="idle"><button id="stay">Stay</button></dialog>
<script src="/clock.js"></script></body></html>`

// TestScriptInABrowser: one tap is one answer, with its value; an idle tablet
// asks, stays where somebody answers, and signs out where nobody does.
func TestScriptInABrowser(t *testing.T) {
	var answers, signOuts atomic.Int32
	mux := http.NewServeMux()
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Security-Policy", "default-src 'none'; script-src 'self'; form-action 'self'")
		w.Header().Set("Content-Type", "text/html")
		fmt.Fprint(w, signedIn)
	})
	mux.HandleFunc("/kiosk.js", func(w http.ResponseWriter, r *http.Request) {
		http.ServeFile(w, r, "kiosk.js")
	})
	// A clock that can be put forward, in place of waiting.
	mux.HandleFunc("/clock.js", func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/javascript")
		fmt.Fprint(w, `let ahead = 0; const now = Date.now; Date.now = () => now() + 1000 * ahead;`)
	})
	mux.HandleFunc("POST /slow", func(w http.ResponseWriter, r *http.Request) {
		if r.FormValue("choice") == "mains" {
			answers.Add(1)
		}
		time.Sleep(300 * time.Millisecond)
		w.WriteHeader(http.StatusNoContent)
	})
	mux.HandleFunc("POST /sign-out", func(w http.ResponseWriter, r *http.Request) { signOuts.Add(1) })
	server := httptest.NewServer(mux)
	defer server.Close()

	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath("/usr/bin/chromium"),
		chromedp.NoSandbox, chromedp.Flag("headless", "new"), chromedp.DisableGPU, chromedp.UserDataDir(t.TempDir()))
	ctx, cancel := context.WithTimeout(t.Context(), 60*time.Second)
	defer cancel()
	ctx, cancel = chromedp.NewExecAllocator(ctx, options...)
	defer cancel()
	ctx, cancel = chromedp.NewContext(ctx)
	defer cancel()

	ask := func(expression string) bool {
		t.Helper()
		answer, err := chromedp.Run(ctx, chromedp.Evaluate[bool](expression))
		if err != nil {
			t.Fatalf("%s: %v", expression, err)
		}
		return answer
	}
	do := func(steps ...chromedp.Action[chromedp.Void]) {
		t.Helper()
		if err := chromedp.Do(ctx, steps...); err != nil {
			t.Fatal(err)
		}
	}
	const isOpen = `document.getElementById("idle").open`

	do(chromedp.Navigate(server.URL))
	ask(`(() => { const b = document.getElementById("send"); b.click(); b.click(); return true })()`)
	do(chromedp.Sleep(100 * time.Millisecond))
	if !ask(`document.getElementById("send").disabled`) || ask(isOpen) {
		t.Error("the button is not held after a tap, or the dialog is open at once")
	}
	ask(`(ahead = 120) > 0`)
	do(chromedp.WaitVisible(chromedp.ID("stay")), chromedp.Click(chromedp.ID("stay")), chromedp.Sleep(1500*time.Millisecond))
	if ask(isOpen) {
		t.Error("the dialog is open after somebody stayed")
	}
	ask(`(ahead += 170) > 0`)
	for wait := time.Now(); signOuts.Load() == 0 && time.Since(wait) < 5*time.Second; {
		time.Sleep(50 * time.Millisecond)
	}
	if answers.Load() != 1 || signOuts.Load() != 1 {
		t.Errorf("%d answers and %d sign-outs, want one each", answers.Load(), signOuts.Load())
	}
}
