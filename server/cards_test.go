package server_test

import (
	"fmt"
	"html"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	qr "github.com/piglig/go-qr"

	"lampwright/server"
)

var qrCode = regexp.MustCompile(`<svg class="qr-code" viewBox="0 0 (\d+) \d+".*?<path class="qr-ink" d="([^"]*)"`)

// codes are the QR codes of a page, each as its dark modules row by row.
func (a answer) codes(t testing.TB) (out []string) {
	t.Helper()
	for _, m := range qrCode.FindAllStringSubmatch(a.body, -1) {
		var size int
		_, err := fmt.Sscan(m[1], &size)
		must(t, err)
		dark := map[[2]int]bool{}
		for run := range strings.SplitSeq(strings.TrimSuffix(m[2], "z"), "z") {
			var x, y, wide, back int
			_, err := fmt.Sscanf(run, "M%d %dh%dv1h-%d", &x, &y, &wide, &back)
			must(t, err)
			for i := range wide {
				dark[[2]int{x + i, y}] = true
			}
		}
		out = append(out, modules(size, func(x, y int) bool { return dark[[2]int{x, y}] }))
	}
	return out
}

// codeOf is the QR code of an address as codes are read from a page, with its
// quiet zone of four modules.
func codeOf(t testing.TB, address string) string {
	t.Helper()
	const quiet = 4
	code, err := qr.EncodeText(address, qr.Medium)
	must(t, err)
	return modules(code.Size()+2*quiet, func(x, y int) bool { return code.Module(x-quiet, y-quiet) })
}

func modules(size int, dark func(x, y int) bool) string {
	var b strings.Builder
	for y := range size {
		for x := range size {
			if dark(x, y) {
				b.WriteByte('#')
			} else {
				b.WriteByte('.')
			}
		}
		b.WriteByte('\n')
	}
	return b.String()
}

// A learner's card is in their language, whoever prints it, and its code leads
// to the sign-in page with the card code filled in, and to no secret.
func TestLearnerCard(t *testing.T) {
	t.Parallel()
	const public = "https://training.example"
	h := serveWith(t, server.Config{Data: demoDir(t), Address: public}, &clock{at: morning})
	for _, r := range []*reader{h.administrator(t, "en"), h.educator(t, "fr")} {
		for _, who := range []struct{ id, name, code, language string }{
			{"demo-rowan", "Rowan Teal", "HERON-12", "en"},
			{"demo-samira", "Samira Noor", "PLOVER-7", "ar"},
		} {
			t.Run(who.id+" printed in "+r.language, func(t *testing.T) {
				at := "/desk/learners/" + who.id
				if !strings.Contains(r.get(at).wants(t, 200).body, `href="`+at+`/card"`) && r.language == "fr" {
					t.Error("the educator's page does not lead there")
				}
				say := h.speak.Speak(who.language)
				a := r.get(at+"/card").says(t, r.speaker(), 200, "people.card", "Name", who.name).
					holds(t, who.name, who.code, `lang="`+who.language+`" dir="`+say.Dir+`"`, public+"/sign-in",
						say.T("people.card.pin"), say.T("people.card.found", "Programme", "Alder Bay Home Breathing Service"))
				if strings.Contains(a.body, "note bad") {
					t.Error("warned of an address that others reach")
				}
				if got, want := a.codes(t), codeOf(t, public+"/sign-in?card="+who.code); len(got) != 1 || got[0] != want {
					t.Errorf("%d codes; expected one for %s:\n%s", len(got), who.code, want)
				}
			})
		}
		r.get("/desk/learners/demo-mara/card").says(t, r.speaker(), 404, "problem.not-found") // staff have none
		r.get("/desk/learners/nobody/card").says(t, r.speaker(), 404, "problem.unknown-person")
	}
	h.administrator(t, "en").get("/desk/people/demo-rowan").holds(t, `href="/desk/learners/demo-rowan/card"`)

	// Without an address of the server's own, the one it was asked at.
	h = serve(t, demoDir(t))
	a := h.administrator(t, "en").get("/desk/learners/demo-rowan/card").wants(t, 200)
	if got := a.codes(t); len(got) != 1 || got[0] != codeOf(t, h.url+"/sign-in?card=HERON-12") {
		t.Error("the code leads elsewhere")
	}
	a.holds(t, h.speak.Speak("en").T("people.card.here-only", "Address", h.url)) // which no phone reaches
}

var (
	whoField = regexp.MustCompile(`<input id="who"[^>]*>`)
	pinField = regexp.MustCompile(`<input id="secret"[^>]*>`)
)

// What a card leads to: the code filled in and the PIN next, in any language;
// and no autofocus where nobody scanned anything.
func TestSignInByCard(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	r := h.reader(t, "en")
	for _, c := range []struct {
		name, at, who string
		next          bool
	}{
		{"a card", "/sign-in?card=HERON-12", "HERON-12", true},
		{"a card in small letters", "/sign-in?card=heron-12", "HERON-12", true},
		{"a card nobody has", "/sign-in?card=NONE-1", "NONE-1", true},
		{"no card", "/sign-in", "", false},
		{"an empty card", "/sign-in?card=", "", false},
		{"no card code", "/sign-in?card=" + url.QueryEscape(`"><b>`), "", false},
		{"words", "/sign-in?card=" + url.QueryEscape("CALL 555-0199"), "", false},
		{"past any length", "/sign-in?card=" + strings.Repeat("A", 65), "", false},
		{"the staff's door", "/desk/sign-in?card=HERON-12", "", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			a := r.get(c.at).wants(t, 200)
			if got := whoField.FindString(a.body); !strings.Contains(got, `value="`+c.who+`"`) || strings.Contains(got, "autofocus") {
				t.Errorf("got %s", got)
			}
			if got := pinField.FindString(a.body); strings.Contains(got, "autofocus") != c.next {
				t.Errorf("got %s", got)
			}
			if c.next {
				a.holds(t, `href="/language/ar?next=%2Fsign-in%3Fcard%3D`+c.who+`"`)
			}
		})
	}
	form := r.get("/sign-in?card=HERON-12").form(t, "/sign-in")
	wrong := r.post("/sign-in?card=HERON-12", with(form, "who", "OTHER-1", "secret", "0000")).says(t, r.speaker(), 401, "problem.wrong-secret")
	if got := whoField.FindString(wrong.body); !strings.Contains(got, `value="OTHER-1"`) {
		t.Errorf("what was typed is gone: %s", got)
	}
	r.post("/sign-in", with(form, "who", "HERON-12", "secret", "4821")).wants(t, 303)
}

var slipOf = regexp.MustCompile(`(?s)<article class="slip".*?</article>`)

// slips are the invitations of a page, each whole.
func (a answer) slips() []string { return slipOf.FindAllString(a.body, -1) }

var cardCode = regexp.MustCompile(`class="card-code"><bdi dir="ltr">([A-Z0-9-]+)<`)

var slipLink = regexp.MustCompile(`/invite/<wbr>([A-Z0-9]{26})<`)

// someSlip is the slip of someone, and the way in that it shows.
func someSlip(t testing.TB, slips []string, name string) (slip, path string) {
	t.Helper()
	i := slices.IndexFunc(slips, func(s string) bool { return strings.Contains(s, name) })
	if i < 0 {
		t.Fatalf("no slip of %s among %d", name, len(slips))
	}
	m := slipLink.FindStringSubmatch(slips[i])
	if m == nil {
		t.Fatalf("no way in on\n%s", slips[i])
	}
	return slips[i], "/invite/" + m[1]
}

// invites sends the form that invites many.
func (r *reader) invites(form url.Values, pairs ...string) answer {
	r.t.Helper()
	return r.post("/desk/invitations", with(form, pairs...)).wants(r.t, 200)
}

func (r *reader) invitationForm() url.Values {
	r.t.Helper()
	return r.get("/desk/invitations").wants(r.t, 200).form(r.t, "/desk/invitations")
}

// After a list was read in, everyone on it is invited at once, each in their
// own language and on a slip of their own.
func TestManyInvitedAtOnce(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	admin := h.administrator(t, "en")
	say := admin.speaker()
	admin.get("/desk/invitations").says(t, say, 200, "people.invitations.nobody")
	at := admin.previews(listHeader +
		"n-1,Noura,Belmar,,learner,main,Tidewater,fr,,true\r\n" +
		"n-2,Huda,Sabbagh,,learner,main,Tidewater,ar,,true\r\n" +
		"n-3,Ilse,Brandt,,educator,main,,fr,,true\r\n" +
		"n-4,Teodor,Lisk,,learner,main,Nights,en,,true\r\n" +
		"n-5,Cleo,Away,,learner,main,Tidewater,en,,false\r\n")
	admin.does(at).wants(t, 303)
	admin.get(at).holds(t, `href="/desk/invitations"`)
	listed := admin.get("/desk/invitations").says(t, say, 200, "people.invitations.everyone", "Count", 4).
		holds(t, say.T("people.invitations.of", "Team", "Tidewater", "Count", 2), "Noura Belmar", "Teodor Lisk", say.T("people.state.uninvited"))
	for _, name := range []string{"Rowan Teal", "Idris Vane", "Cleo Away"} {
		if strings.Contains(wordsOf(listed.body), name+" learner") {
			t.Errorf("%s would be invited", name)
		}
	}

	// A team.
	form := admin.invitationForm()
	h.clock.pass(time.Second)
	team := admin.invites(form, "team", "Tidewater")
	if got := team.slips(); len(got) != 2 {
		t.Fatalf("%d slips", len(got))
	}
	slip, huda := someSlip(t, team.slips(), "Huda Sabbagh")
	ar := h.speak.Speak("ar")
	for _, want := range []string{`lang="ar" dir="rtl"`, ar.T("people.invitation", "Name", "Huda Sabbagh"), ar.T("people.slip.pin"), ar.T("people.card.pin"), "2026-03-05 09:00 PST"} {
		if !strings.Contains(html.UnescapeString(slip), want) {
			t.Errorf("no %q on\n%s", want, slip)
		}
	}
	card := cardCode.FindStringSubmatch(slip)[1]
	if got, want := (answer{body: slip}).codes(t), []string{codeOf(t, h.url+huda), codeOf(t, h.url+"/sign-in?card="+card)}; !slices.Equal(got, want) {
		t.Errorf("the codes of the slip of %s lead elsewhere", card)
	}

	// Everyone: those who hold one that counts keep it.
	all := admin.invites(admin.invitationForm())
	if got := all.slips(); len(got) != 2 {
		t.Errorf("%d slips", len(got))
	}
	slip, ilse := someSlip(t, all.slips(), "Ilse Brandt")
	if !strings.Contains(slip, "ilse.brandt") || strings.Contains(slip, "id-card") {
		t.Errorf("staff sign in by name, and have no card:\n%s", slip)
	}
	admin.get("/desk/invitations").holds(t, say.T("people.state.invited", "Time", "2026-03-05 09:00 PST"))

	// They come in.
	r := h.reader(t, "ar")
	r.takeUp(huda, "602817").wants(t, 303)
	r.get("/me").says(t, ar, 200, "problem.no-set-up") // in, and a list gives nobody a set-up
	h.reader(t, "ar").get(huda).says(t, ar, 404, "problem.invitation")
	h.reader(t, "fr").get(ilse).wants(t, 200).holds(t, "Ilse Brandt")
	if strings.Contains(admin.get("/desk/invitations").body, "Huda Sabbagh") {
		t.Error("who is in is listed")
	}

	// Each is written down, as one made alone is, and that one was taken up.
	changes := admin.get("/desk/changes").wants(t, 200)
	if n := strings.Count(changes.body, say.T("people.kind.invitation")+" · <bdi>"); n != 5 {
		t.Errorf("%d invitations are written down", n)
	}
	if strings.Contains(changes.body, strings.TrimPrefix(ilse, "/invite/")) {
		t.Error("a token is written down")
	}
}

// The same form twice, by a double press or a reload, voids nothing that was
// printed; made anew, those before it do.
func TestManyInvitedTwice(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	admin := h.administrator(t, "en")
	say := admin.speaker()
	admin.does(admin.previews(listHeader+"n-1,Noura,Belmar,,learner,main,Tidewater,fr,,true\r\n")).wants(t, 303)
	opens := func(path string, want int) { t.Helper(); h.reader(t, "fr").get(path).wants(t, want) }

	form := admin.invitationForm()
	h.clock.pass(time.Second)
	_, first := someSlip(t, admin.invites(form).slips(), "Noura Belmar")
	again := admin.invites(form).says(t, say, 200, "people.invitations.none")
	if len(again.slips()) != 0 {
		t.Error("it is shown twice")
	}
	opens(first, 200)

	h.clock.pass(time.Minute)
	anew := with(admin.invitationForm(), "anew", "yes")
	h.clock.pass(time.Second)
	_, second := someSlip(t, admin.invites(anew).slips(), "Noura Belmar")
	opens(first, 404)
	admin.invites(anew).says(t, say, 200, "people.invitations.none")
	opens(second, 200)

	admin.post("/desk/invitations", without(form, "read")).says(t, say, 422, "problem.form")

	// After its time it makes room for another by itself.
	h.clock.pass(73 * time.Hour)
	admin = h.administrator(t, "en")
	_, third := someSlip(t, admin.invites(admin.invitationForm()).slips(), "Noura Belmar")
	opens(second, 404)
	opens(third, 200)
}

// A page of slips holds a hundred; the rest come on the next.
func TestMoreInvitedThanAPageHolds(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	admin := h.administrator(t, "en")
	var rows strings.Builder
	for i := range 103 {
		fmt.Fprintf(&rows, "n-%d,Wren,Number%03d,,learner,main,,en,,true\r\n", i, i)
	}
	admin.does(admin.previews(listHeader+rows.String())).wants(t, 303)
	first := admin.invites(admin.invitationForm()).says(t, admin.speaker(), 200, "people.invitations.left", "Count", 3)
	if got := len(first.slips()); got != 100 {
		t.Errorf("%d slips", got)
	}
	if got := len(admin.invites(admin.invitationForm()).slips()); got != 3 {
		t.Errorf("%d slips on the second page", got)
	}
}
