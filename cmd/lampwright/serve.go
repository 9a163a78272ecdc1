package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/signal"
	"syscall"
	"text/tabwriter"
	"time"

	"lampwright/server"
)

// listening are the flags of both serve and demo.
type listening struct {
	Listen  string `default:"127.0.0.1:8080" placeholder:"HOST:PORT" help:"Address to listen on; port 0 takes a free one."`
	TLSCert string `name:"tls-cert" placeholder:"FILE" help:"Certificate, PEM; with --tls-key, serves TLS."`
	TLSKey  string `name:"tls-key" placeholder:"FILE" help:"Key of the certificate, PEM."`
	Address string `placeholder:"URL" help:"Address at which others reach this server; badges, certificates and statements name it. Otherwise as each reader reaches it."`
}

type serveCmd struct {
	listening
	Data      string `default:"lampwright-data" placeholder:"DIR" help:"Folder of the records; made if it is not there."`
	Programme string `placeholder:"FILE" help:"Programme's file, YAML, or - for standard input; kept in the records, in place of the one before."`

	StatementsTo   string `name:"statements-to" placeholder:"URL" help:"Statements resource (xAPI 1.0.3) that is told of what is done and signed; https, or http on this machine. Needs --address."`
	StatementsSite string `name:"statements-site" default:"main" placeholder:"SITE" help:"The site whose learning it is told of, and no other's."`
	StatementsAuth string `name:"statements-auth" placeholder:"FILE" help:"File of mode 0600 with user:password or a bearer token for it."`
}

type demoCmd struct {
	listening
	Data string `default:"lampwright-demo" placeholder:"DIR" help:"Folder of the demo's records; made if it is not there, kept between starts."`
}

// Run serves what is in the data folder, with the programme's file put in first
// where one is given.
func (s serveCmd) Run(in io.Reader, out io.Writer) error {
	if s.Programme != "" {
		data, name, err := readFile("--programme", "a programme file that can be read", s.Programme, in)
		if err != nil {
			return err
		}
		if _, err := server.PutSite(context.Background(), s.Data, server.SiteID, name, data, time.Now()); err != nil {
			return err
		}
	}
	return s.serve(out, server.Config{Data: s.Data, StatementsTo: s.StatementsTo, StatementsAuth: s.StatementsAuth, StatementsSite: s.StatementsSite}, nil)
}

// Run puts the demo into the data folder, says how to sign in, and serves.
func (d demoCmd) Run(out io.Writer) error {
	entries, err := server.Demo(context.Background(), d.Data, time.Now())
	if err != nil {
		return err
	}
	return d.serve(out, server.Config{Data: d.Data}, entries)
}

func (l listening) serve(out io.Writer, config server.Config, entries []server.Entry) error {
	config.Listen, config.TLSCert, config.TLSKey, config.Address = l.Listen, l.TLSCert, l.TLSKey, l.Address
	config.Log = slog.New(slog.NewJSONHandler(os.Stderr, nil))
	m, err := server.Open(config)
	if err != nil {
		return err
	}
	if err := m.Listen(); err != nil {
		m.Close() //nolint:errcheck // the first error is the one to tell
		return err
	}
	if len(entries) > 0 {
		fmt.Fprint(out, "Alder Bay Home Breathing Service, a demo: everything and everyone in it is invented.\n\n")
		w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
		fmt.Fprintln(w, "who\trole\tset-up\tcard code or name\tPIN or password")
		for _, e := range entries {
			fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\n", e.Name, e.Role, e.Tag, e.Who, e.Secret)
		}
		if err := w.Flush(); err != nil {
			return err
		}
		fmt.Fprintf(out, "\nThe records are kept in %s. Stop with Ctrl-C.\n", config.Data)
	}
	fmt.Fprintf(out, "Open %s\n", m.URL())
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop) // a second Ctrl-C ends it at once
	return m.Run(ctx)
}
