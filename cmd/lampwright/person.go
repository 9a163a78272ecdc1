package main

import (
	"context"
	"fmt"
	"io"
	"time"

	"lampwright/locales/problem"
	"lampwright/server"
	"lampwright/server/record"
)

type personCmd struct {
	Add    personAddCmd    `cmd:"" help:"Add an administrator or educator, and print an invitation."`
	Invite personInviteCmd `cmd:"" help:"Print a new invitation for someone of the staff who cannot get in."`
}

type personAddCmd struct {
	Data     string `default:"lampwright-data" placeholder:"DIR" help:"Folder of the records; the server must be stopped."`
	Role     string `required:"" enum:"administrator,educator" placeholder:"ROLE" help:"administrator or educator; others are added at the desk."`
	Name     string `required:"" placeholder:"NAME" help:"As others know them."`
	Username string `required:"" placeholder:"NAME" help:"Name for signing in: small letters, digits, dots and dashes."`
	Language string `default:"en" placeholder:"TAG" help:"Language they read."`
	Site     string `default:"main" placeholder:"SITE" help:"The site they belong to."`
}

type personInviteCmd struct {
	Data     string `default:"lampwright-data" placeholder:"DIR" help:"Folder of the records; the server must be stopped."`
	Username string `required:"" placeholder:"NAME" help:"Name for signing in."`
}

// Run adds the first of the staff: who stands at the machine may.
func (p personAddCmd) Run(out io.Writer) error {
	if err := says(out, p.Data); err != nil {
		return err
	}
	return withStore(p.Data, func(store *record.Store) error {
		token, until, err := server.Appoint(context.Background(), store, record.Person{
			Name: p.Name, Role: record.Role(p.Role), Username: p.Username, Language: p.Language, SiteID: p.Site,
		}, time.Now())
		if err != nil {
			return err
		}
		return invited(out, p.Name, token, until)
	})
}

// Run lets someone in again.
func (p personInviteCmd) Run(out io.Writer) error {
	if err := there(p.Data); err != nil {
		return err
	}
	return withStore(p.Data, func(store *record.Store) error {
		ctx := context.Background()
		who, err := store.PersonByUsername(ctx, p.Username)
		if err != nil {
			return problem.Wrap(fmt.Errorf("--username: got %q, expected someone of the staff", p.Username), problem.Invalid, "problem.value")
		}
		token, until, err := server.InviteAgain(ctx, store, who, time.Now())
		if err != nil {
			return err
		}
		return invited(out, who.Name, token, until)
	})
}

// there refuses a folder without records: a mistyped one would be made, and
// answer for another.
func there(dir string) error {
	if record.Holds(dir) {
		return nil
	}
	return problem.Wrap(fmt.Errorf("--data: got %q, expected a folder with records", dir), problem.Invalid, "problem.value")
}

// says tells that records are made where there were none.
func says(out io.Writer, dir string) error {
	if record.Holds(dir) {
		return nil
	}
	_, err := fmt.Fprintf(out, "New records in %s.\n", dir)
	return err
}

func withStore(dir string, do func(*record.Store) error) (err error) {
	store, err := record.Open(dir)
	if err != nil {
		return err
	}
	defer func() {
		if e := store.Close(); err == nil {
			err = e
		}
	}()
	return do(store)
}

func invited(out io.Writer, name, path string, until time.Time) error {
	_, err := fmt.Fprintf(out, "Start the server, and have %s open this behind its address, once, until %s:\n%s\n", name, until.UTC().Format(time.RFC3339), path)
	return err
}

type logCmd struct {
	ChangeKey changeKeyCmd `cmd:"" name:"change-key" help:"Change the key that signs the log; the old one signs the change."`
	Verifier  verifierCmd  `cmd:"" help:"Print the line by which strangers check what the log's key signed."`
}

type changeKeyCmd struct {
	Data string `default:"lampwright-data" placeholder:"DIR" help:"Folder of the records; the server must be stopped."`
}

// Run changes the key.
func (k changeKeyCmd) Run(out io.Writer) error {
	if err := there(k.Data); err != nil {
		return err
	}
	return withStore(k.Data, func(store *record.Store) error {
		line, err := store.ChangeKey(context.Background(), time.Now())
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(out, "The log is signed by a new key. Hand out its verifier line:\n%s\n", line)
		return err
	})
}

type verifierCmd struct {
	Data string `default:"lampwright-data" placeholder:"DIR" help:"Folder of the records; the server must be stopped."`
}

// Run prints the line.
func (k verifierCmd) Run(out io.Writer) error {
	if err := there(k.Data); err != nil {
		return err
	}
	return withStore(k.Data, func(store *record.Store) error {
		line, err := store.Verifier()
		if err != nil {
			return err
		}
		_, err = fmt.Fprintln(out, line)
		return err
	})
}
