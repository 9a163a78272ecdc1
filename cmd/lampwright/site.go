package main

import (
	"context"
	"fmt"
	"io"
	"time"

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
	if err := server.PutSite(context.Background(), s.Data, s.ID, name, data, time.Now()); err != nil {
		return err
	}
	_, err = fmt.Fprintf(out, "Site %s is as %s says.\n", s.ID, name)
	return err
}

// Run puts a set-up in, if its site's programme permits it.
func (s setUpPutCmd) Run(in io.Reader, out io.Writer) error {
	data, name, err := readFile("--setup", "a set-up file that can be read", s.Setup, in)
	if err != nil {
		return err
	}
	version, err := server.PutSetup(context.Background(), s.Data, s.Site, s.ID, name, data, time.Now())
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(out, "Set-up %s of site %s is as %s says, version %s.\n", s.ID, s.Site, name, version)
	return err
}
