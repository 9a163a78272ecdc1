package server_test

import (
	"bytes"
	"fmt"
	"mime/multipart"
	"net/url"
	"strings"
	"testing"

	"lampwright/server/record"
)

const listHeader = "external_id,given_name,family_name,email,role,site_code,group,language,start_date,active\r\n"

// sends sends a list of people as a file, and gives the answer.
func (r *reader) sends(list string) answer {
	r.t.Helper()
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	for name, values := range r.get("/desk/import").wants(r.t, 200).form(r.t, "/desk/import") {
		must(r.t, w.WriteField(name, values[0]))
	}
	f, err := w.CreateFormFile("file", "people.csv")
	must(r.t, err)
	_, err = f.Write([]byte(list))
	must(r.t, err)
	must(r.t, w.Close())
	return r.do(r.request("POST", "/desk/import", w.FormDataContentType(), b.String()))
}

// previews sends a list and is where it is shown.
func (r *reader) previews(list string) string {
	r.t.Helper()
	return r.sends(list).wants(r.t, 303).location()
}

func (r *reader) does(preview string) answer {
	r.t.Helper()
	return r.post(preview, r.get(preview).wants(r.t, 200).form(r.t, preview))
}

// TestImport: shown first, done once, and the same list again changes nothing.
func TestImport(t *testing.T) {
	t.Parallel()
	inEach(t, func(t *testing.T, language string) {
		h := serve(t, demoDir(t))
		admin := h.administrator(t, language)
		list := listHeader +
			"n-1,Wren,Okafor,wren@example.org,learner,main,Nights,fr,2026-03-31,true\r\n" +
			"n-2,Ilse,Brandt,ilse@example.org,educator,main,Office,,,true\r\n" +
			"n-3,Gone,Already,,learner,main,,,,false\r\n"
		says := func(path, key string, pairs ...any) answer {
			t.Helper()
			return admin.get(path).says(t, admin.speaker(), 200, key, pairs...)
		}
		at := admin.previews(list)
		says(at, "roster.import.added", "Count", 2).holds(t, "Wren Okafor", "n-1", "ilse", admin.speaker().T("roster.import.unchanged", "Count", 1))
		if strings.Contains(admin.get("/desk/people").body, "Wren Okafor") {
			t.Fatal("it was done before it was said")
		}
		form := admin.get(at).form(t, at)
		for range 2 { // the second press is harmless
			if got := admin.post(at, form).wants(t, 303).location(); got != at {
				t.Errorf("leads to %s", got)
			}
			says(at, "roster.import.done")
		}
		people := admin.get("/desk/people").body
		if n := strings.Count(people, "Wren Okafor"); n != 1 {
			t.Errorf("there are %d", n)
		}
		if strings.Contains(people, "Gone Already") {
			t.Error("who was not active was added")
		}
		says("/desk/changes", "people.changes").holds(t, "Wren Okafor", "Idris Vane")

		again := admin.previews(list)
		says(again, "roster.import.nothing").holds(t, admin.speaker().T("roster.import.unchanged", "Count", 3))

		// One field of one, and one away.
		changed := strings.Replace(strings.Replace(list, "Nights", "Days", 1), "Office,,,true", "Office,,,false", 1)
		at = admin.previews(changed)
		says(at, "roster.import.changed", "Count", 1).holds(t, "Nights", "Days", admin.speaker().T("roster.import.deactivated", "Count", 1))
		admin.does(at).wants(t, 303)
		says("/desk/people", "people.state.away").holds(t, "Days")

		// Pasted, it is the same.
		pasted := with(admin.get("/desk/import").form(t, "/desk/import"), "text", changed)
		at = admin.post("/desk/import", pasted).wants(t, 303).location()
		says(at, "roster.import.nothing")
	})
}

// What a list must not do, each row named by its line.
func TestImportLeavesOut(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		admin := h.administrator(t, language)
		say := admin.speaker()
		row := func(id, name, role, site, active string) string {
			return fmt.Sprintf("%s,%s,,,%s,%s,,,,%s\r\n", id, name, role, site, active)
		}
		long := strings.Repeat("w", 81)
		a := admin.get(admin.previews(listHeader +
			row("x-1", "Wren", "learner", "elsewhere", "true") +
			row("x-2", "Ilse", "administrator", "main", "true") +
			row("demo-idris", "Idris Vane", "educator", "main", "true") +
			row("demo-idris-2", long, "learner", "main", "true") +
			row("demo-mara", "Mara Quill", "administrator", "main", "true")))
		a.wants(t, 200).holds(t,
			say.T("roster.refused.site", "Line", 2, "Name", "Wren", "Value", "elsewhere", "Site", "main"),
			say.T("roster.refused.administrator", "Line", 3, "Name", "Ilse"),
			say.T("roster.refused.administrator", "Line", 4, "Name", "Idris Vane"),
			say.T("roster.refused.long", "Line", 5, "Name", long),
			say.T("roster.refused.administrator", "Line", 6, "Name", "Mara Quill"),
			say.T("roster.import.nothing"))
		admin.get(admin.previews(listHeader+row("demo-idris", "Idris", "administrator", "main", "false"))).wants(t, 200).
			holds(t, say.T("roster.refused.yourself", "Line", 2, "Name", "Idris"))
		admin.get(admin.previews(listHeader+row("demo-idris", "Idris Other", "administrator", "main", "true"))).wants(t, 200).
			holds(t, say.T("roster.refused.administrator", "Line", 2, "Name", "Idris Vane"))
	})
}

// A list that cannot be read is refused whole, each problem with its line.
func TestImportRefused(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	inEach(t, func(t *testing.T, language string) {
		admin := h.administrator(t, language)
		for name, c := range map[string]struct {
			list, key string
			pairs     []any
		}{
			"nothing at all":      {"", "problem.people-none", nil},
			"a header only":       {listHeader, "problem.people-none", nil},
			"no such date":        {listHeader + "a,B,,,learner,main,,,2026-02-30,true\r\n", "problem.people-date", []any{"Line", 2, "Column", "start_date", "Value", "2026-02-30"}},
			"no number of theirs": {listHeader + ",B,,,learner,main,,,,true\r\n", "problem.people-missing", []any{"Line", 2, "Column", "external_id"}},
			"twice the same":      {listHeader + "a,B,,,learner,main,,,,true\r\na,C,,,learner,main,,,,true\r\n", "problem.people-twice", []any{"Line", 3, "Column", "external_id", "Value", "a", "First", 2}},
		} {
			t.Run(name, func(t *testing.T) {
				admin.sends(c.list).says(t, admin.speaker(), 422, c.key, c.pairs...)
			})
		}
		admin.get("/desk/import/none").says(t, admin.speaker(), 404, "problem.import-gone")
	})
}

// TestImportHolds: what was shown is what is done, for who made it, for an hour.
func TestImportHolds(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	admin := h.administrator(t, "en")
	say := admin.speaker()
	list := listHeader + "demo-rowan,Rowan,Teal,,learner,main,Nights,en,,true\r\n"
	at := admin.previews(list)
	form := admin.get(at).form(t, at)

	// Rowan is changed by hand meanwhile.
	by := "/desk/people/demo-rowan"
	admin.post(by, with(admin.get(by).form(t, by), "name", "Rowan Teale", "role", "learner", "set-up", "chair-12", "language", "en")).wants(t, 303)
	admin.post(at, form).says(t, say, 409, "problem.import-moved")
	if strings.Contains(admin.get("/desk/people").body, "Nights") {
		t.Error("it was done")
	}

	// Their secret, card and set-up are no matter of a list.
	at = admin.previews(strings.Replace(list, "Teal,", "Teale,", 1))
	admin.does(at).wants(t, 303)
	h.learner(t, rowan, "en").get("/me").wants(t, 200).holds(t, "Chair 12")

	// Who is set to away is out.
	r := h.learner(t, rowan, "en")
	admin.does(admin.previews(strings.Replace(strings.Replace(list, "Teal,", "Teale,", 1), "true", "false", 1))).wants(t, 303)
	r.get("/me").wants(t, 303)

	// A newer list takes the place of one not done; after an hour it is gone.
	first := admin.previews(list)
	second := admin.previews(list)
	admin.get(first).says(t, say, 404, "problem.import-gone")
	h.clock.pass(record.ImportsKept)
	admin = h.administrator(t, "en")
	admin.get(second).says(t, say, 404, "problem.import-gone")
}

// The list that people.csv is reads in again with nothing to change.
func TestPeopleReadInAgain(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	admin := h.administrator(t, "en")
	at := "/desk/people/demo-samira"
	form := with(admin.get(at).form(t, at), "name", "Samira El Amin", "role", "learner", "set-up", "chair-7", "language", "ar", "team", "=nights", "email", "s@example.org", "external", "ext-9", "starts", "2026-01-02")
	admin.post(at, form).wants(t, 303)
	list := admin.get("/desk/people.csv").wants(t, 200).body
	a := admin.get(admin.previews(list)).says(t, admin.speaker(), 200, "roster.import.nothing")
	a.holds(t, admin.speaker().T("roster.import.refused", "Count", 0))
}

// Only a list may be long.
func TestImportTooLarge(t *testing.T) {
	t.Parallel()
	h := serve(t, demoDir(t))
	admin := h.administrator(t, "en")
	var rows strings.Builder
	for i := range 5_000 {
		fmt.Fprintf(&rows, "n-%d,Given name of %d,Family,person%d@example.org,learner,main,Team,en,,true\r\n", i, i, i)
	}
	at := admin.previews(listHeader + rows.String())
	admin.get(at).says(t, admin.speaker(), 200, "roster.import.added", "Count", 5_000)
	admin.does(at).wants(t, 303)
	admin.get("/desk").wants(t, 200).holds(t, "5003")
	admin.sends(listHeader+strings.Repeat("x", 2<<20)).wants(t, 413)
	admin.post("/desk/people", url.Values{"name": {strings.Repeat("x", 65<<10)}}).wants(t, 413)
	admin.post("/desk/import/none", url.Values{"name": {strings.Repeat("x", 65<<10)}}).wants(t, 413)
	admin.do(admin.request("POST", "/desk/people", "multipart/form-data; boundary=b", "--b--")).wants(t, 422)
}
