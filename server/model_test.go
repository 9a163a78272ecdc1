package server

import (
	"context"
	"strconv"
	"testing"
	"time"

	"github.com/valyala/fasthttp"

	"lampwright/lessons/setup"
	"lampwright/quiz/diagnosis"
	"lampwright/server/record"
)

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func TestCacheMakesRoomForOne(t *testing.T) {
	var k cache[int]
	for i := range 3 {
		k.put(strconv.Itoa(i), i, 3)
	}
	if got := k.put("1", 9, 3); got != 1 {
		t.Errorf("got %d, expected what was there before", got)
	}
	k.get("0")
	k.put("3", 3, 3) // the room of 2, which was used longest ago
	for key, kept := range map[string]bool{"0": true, "1": true, "2": false, "3": true} {
		if _, ok := k.get(key); ok != kept {
			t.Errorf("%s is kept: %t", key, ok)
		}
	}
}

// openHouse is a demo house that serves nobody, with one open outage.
func openHouse(t *testing.T) (m *Main, outage string) {
	t.Helper()
	ctx, now := context.Background(), time.Date(2026, 3, 2, 17, 0, 0, 0, time.UTC)
	dir := t.TempDir()
	_, err := Demo(ctx, dir, now)
	must(t, err)
	m, err = Open(Config{Data: dir, Now: func() time.Time { return now }})
	must(t, err)
	t.Cleanup(func() { must(t, m.Close()) })
	r, err := m.store.Setup(ctx, SiteID, "chair-12")
	must(t, err)
	must(t, m.store.AddReport(ctx, record.Report{
		SiteID: SiteID, SetupID: r.ID, SetupVersion: r.Version, Language: "en", Purpose: record.Trouble, Care: []byte(`null`),
		Did: []byte(`[]`), Ending: string(diagnosis.CallTech), Key: "k", At: now,
	}))
	list, err := m.store.OpenOutages(ctx, SiteID)
	must(t, err)
	return m, list[0].ID
}

// The priors are not read again for every page, only after a finding.
func TestLearntIsKeptUntilAFinding(t *testing.T) {
	m, outage := openHouse(t)
	c := m.app.AcquireCtx(&fasthttp.RequestCtx{})
	defer m.app.ReleaseCtx(c)
	ctx := context.Background()
	r, err := m.store.Setup(ctx, SiteID, "chair-12")
	must(t, err)
	learnt := func() *diagnosis.Model {
		model, err := m.learnt(c, r)
		must(t, err)
		return model
	}
	before := learnt()
	must(t, m.store.AddFinding(ctx, SiteID, outage, record.Finding{
		Seq: 1, What: record.FoundFault, Part: "fuse", Kind: string(setup.KindFuse), Mode: string(setup.Blown), ByID: "demo-mara", Key: "k", At: m.now(),
	}))
	if learnt() != before {
		t.Error("what was learnt was read again though nothing told of a finding")
	}
	m.sites[SiteID].learned.found()
	after := learnt()
	blown := func(model *diagnosis.Model) (p float64) {
		for _, cause := range model.Causes {
			if len(cause.Faults) == 1 && cause.Faults[0].Part == "fuse" && cause.Faults[0].Mode == setup.Blown {
				p = cause.Prior
			}
		}
		return p
	}
	if blown(after) <= blown(before) || learnt() != after {
		t.Errorf("a blown fuse was %g likely, and is %g", blown(before), blown(after))
	}
}

// One bound holds for models and for what was learnt of them.
func TestLearntGoesWithItsModel(t *testing.T) {
	m, _ := openHouse(t)
	c := m.app.AcquireCtx(&fasthttp.RequestCtx{})
	defer m.app.ReleaseCtx(c)
	r, err := m.store.Setup(context.Background(), SiteID, "chair-12")
	must(t, err)
	for i := range mostKnown + 3 {
		r.Version = "v" + strconv.Itoa(i)
		_, err := m.learnt(c, r)
		must(t, err)
	}
	if n := len(m.sites[SiteID].learned.models); n > mostKnown || n > len(m.known.made) {
		t.Errorf("%d learnt models of %d are kept, at most %d expected", n, len(m.known.made), mostKnown)
	}
	if _, ok := m.sites[SiteID].learned.models[r.ID+" "+r.Version]; !ok {
		t.Error("the newest is not kept")
	}
}

// What pages are kept never takes more than it may.
func TestKeptIsBounded(t *testing.T) {
	var k kept
	page := make([]byte, keptMost/8)
	for i := range 20 {
		key := strconv.Itoa(i)
		k.put(key, page)
		k.put(key, page) // two readers at once
		if len(k.pages) != i%8+1 || k.bytes != len(k.pages)*len(page) {
			t.Fatalf("after %d: %d pages, %d bytes", i, len(k.pages), k.bytes)
		}
		if got, ok := k.get(key); !ok || len(got) != len(page) {
			t.Errorf("page %d is not kept", i)
		}
	}
}
