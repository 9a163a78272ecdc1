package main

import (
	"context"
	"fmt"
	"io"
	"time"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
	"lampwright/locales"
	"lampwright/server"
)

type siteCmd struct {
	Put sitePutCmd `cmd:"" help:"Put a programme's file into the records as a site, in place of what that was before."`
}

type setUpCmd struct {
	Put setUpPutCmd `cmd:"" help:"Put a set-up's file into the records, as a new set-up or a new version of it."`
}

type sitePutCmd struct {
	ID        string `arg:"" placeholder:"SITE" help:"The site's id: small letters, digits and dashes; main is the one there is from the beginning."`
	Programme string `required:"" placeholder:"FILE" help:"Programme's file, YAML, or - for standard input."`
	Data      string `default:"lampwright-data" placeholder:"DIR" help:"Folder of the records; the server must be stopped."`
}

type setUpPutCmd struct {
	ID    string `arg:"" placeholder:"SET-UP" help:"The set-up's id, part of addresses: small letters, digits and dashes."`
	Setup string `required:"" name:"setup" placeholder:"FILE" help:"Set-up's file, YAML, or - for standard input."`
	Site  string `default:"main" placeholder:"SITE" help:"The site it belongs to."`
	Data  string `default:"lampwright-data" placeholder:"DIR" help:"Folder of the records; the server must be stopped."`
}

// Run puts a site in.
func (s sitePutCmd) Run(in io.Reader, out io.Writer) error {
	data, name, err := readFile("--programme", "a programme file that can be read", s.Programme, in)
	if err != nil {
		return err
	}
	if err := says(out, s.Data); err != nil {
		return err
	}
	isNew, err := server.PutSite(context.Background(), s.Data, s.ID, name, data, time.Now())
	if err != nil {
		return err
	}
	said := "Site %s is as %s says now.\n"
	if isNew {
		said = "New site %s, as %s says.\n"
	}
	_, err = fmt.Fprintf(out, said, s.ID, name)
	return err
}

// Run puts a set-up in, if its site's programme permits it.
func (s setUpPutCmd) Run(in io.Reader, out io.Writer) error {
	data, name, err := readFile("--setup", "a set-up file that can be read", s.Setup, in)
	if err != nil {
		return err
	}
	if err := there(s.Data); err != nil {
		return err
	}
	put, was, err := server.PutSetup(context.Background(), s.Data, s.Site, s.ID, name, data, time.Now())
	if err != nil {
		return err
	}
	switch {
	case was.Version == "":
		fmt.Fprintf(out, "New set-up %s of site %s: %s, version %s.\n", s.ID, s.Site, put.Tag, put.Version)
	case was.Version == put.Version:
		fmt.Fprintf(out, "Set-up %s of site %s stays as it was: %s, version %s.\n", s.ID, s.Site, put.Tag, put.Version)
	default:
		fmt.Fprintf(out, "Set-up %s of site %s: %s, version %s, was %s, version %s.\nLessons and scenarios count again for who cares there; sign-offs stand unless what was signed for changed.\n",
			s.ID, s.Site, put.Tag, put.Version, was.Tag, was.Version)
	}
	return warns(out, name, data)
}

// warns says what is wrong with a set-up's fuse and wire: it is put in as it
// is, for that is what stands beside someone tonight.
func warns(out io.Writer, name string, data []byte) error {
	s, err := setup.Read(name, data)
	if err != nil {
		return err
	}
	const warm = 65 // °C, as wiring has it
	r, err := circuit.Wiring(s, warm)
	if err != nil || r.OK {
		return err
	}
	b, err := locales.Load()
	if err != nil {
		return err
	}
	say := b.Speak("en")
	for _, row := range r.Rows {
		if !row.OK && !row.Advice {
			if _, err := fmt.Fprintf(out, "WARNING: %s %s: %s\n", say.T("wiring.what."+row.What), row.Part, whySaid(&r, row, say)); err != nil {
				return err
			}
		}
	}
	return nil
}
