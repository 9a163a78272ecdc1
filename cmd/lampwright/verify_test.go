package main

import (
	"context"
	"os"
	"strings"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"lampwright/server"
	"lampwright/server/record"
)

// signed makes a demo's data folder in which three were signed, and puts the
// proof of the last, its checkpoint and the log's verifier beside it.
func signed(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: signed DIR")
	}
	dir := ts.MkAbs(args[0])
	ctx := context.Background()
	at := time.Date(2026, 11, 27, 9, 0, 0, 0, time.UTC)
	_, err := server.Demo(ctx, dir, at)
	ts.Check(err)
	store, err := record.Open(dir)
	ts.Check(err)
	setup, err := store.Setup(ctx, server.SiteID, "chair-12")
	ts.Check(err)
	var last record.SignOff
	for _, form := range []string{"one", "two", "three"} {
		last, _, err = store.Sign(ctx, record.SignOff{
			SiteID: server.SiteID, PersonID: "demo-rowan", PersonName: "Rowan Teal", EducatorID: "demo-mara", EducatorName: "Mara Quill",
			Competency: form, SetupID: "chair-12", SetupTag: "Chair 12", SetupVersion: setup.Version, Checklist: []byte("{}"),
			SignedName: "Mara Quill", Signed: at, SignedLocal: "2026-11-27 01:00 PST", Lapses: at.AddDate(1, 0, 0),
		}, form)
		ts.Check(err)
	}
	proof, err := store.Proof(ctx, last.ID)
	ts.Check(err)
	head, _, err := store.Head(ctx)
	ts.Check(err)
	line, err := store.Verifier()
	ts.Check(err)
	ts.Check(store.Close())
	for name, text := range map[string][]byte{
		"proof": proof, "checkpoint": head, "verifier": []byte(line + "\n"), "broken": []byte(strings.Replace(string(proof), "index 2", "index 1", 1)),
	} {
		ts.Check(os.WriteFile(ts.MkAbs(name), text, 0o600))
	}
}

// newest keeps the checkpoint that verify printed last.
func newest(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: newest FILE")
	}
	_, head, _ := strings.Cut(ts.ReadFile("stdout"), "\n")
	head, _, _ = strings.Cut(head, "\nNothing was")
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(head), 0o600))
}
