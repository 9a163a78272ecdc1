package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"lampwright/locales"
	"lampwright/locales/problem"
	"lampwright/server/ledger"
	"lampwright/server/record"
)

type verifyCmd struct {
	Proof      string `arg:"" optional:"" placeholder:"FILE" help:"Proof file of one sign-off, to check without any records."`
	Data       string `placeholder:"DIR" help:"Folder of the records, to check everything that was signed."`
	Checkpoint string `placeholder:"FILE" help:"Checkpoint that was kept elsewhere, with --data: shows whether the records were put back."`
	Verifier   string `placeholder:"FILE" help:"The log's verifier line, as its programme hands it out. With --data, the folder's own key serves."`
}

// Run checks a proof file, or a whole data folder. Whatever is wrong is named,
// a line each.
func (v verifyCmd) Run(out io.Writer) error {
	bad := func(field, value, expected string) error {
		return problem.Wrap(fmt.Errorf("%s: got %q, expected %s", field, value, expected), problem.Invalid, "problem.value")
	}
	switch {
	case v.Proof == "" && v.Data == "":
		return bad("FILE", "", "a proof file, or --data")
	case v.Proof != "" && v.Data != "":
		return bad("--data", v.Data, "a proof file or --data, not both")
	case v.Proof != "" && v.Verifier == "":
		return bad("--verifier", "", "a file with the log's verifier line: a proof cannot vouch for its own key")
	case v.Proof != "" && v.Checkpoint != "":
		return bad("--checkpoint", v.Checkpoint, "--data with it")
	}
	verifier, err := small("--verifier", v.Verifier)
	if err != nil {
		return err
	}
	line := strings.TrimSpace(string(verifier))
	if v.Proof != "" {
		file, err := small("FILE", v.Proof)
		if err != nil {
			return err
		}
		p, err := ledger.VerifyProof(file, line)
		if err != nil {
			return fmt.Errorf("%s: the proof does not hold: %s", v.Proof, plain(err)) // no bad input: an answer
		}
		return proved(out, p)
	}
	outside, err := small("--checkpoint", v.Checkpoint)
	if err != nil {
		return err
	}
	if err := there(v.Data); err != nil {
		return err
	}
	found, err := record.Verify(context.Background(), v.Data, line, outside)
	if err != nil {
		return err
	}
	fmt.Fprintf(out, "%d entries, checked with %s\n%s", found.Entries, found.Verifier, found.Checkpoint)
	if len(found.Flaws) == 0 {
		_, err := fmt.Fprintln(out, "\nNothing was changed, removed, reordered or forged.")
		return err
	}
	b, err := locales.Load()
	if err != nil {
		return err
	}
	say := b.Speak("en")
	for _, f := range found.Flaws {
		fmt.Fprintln(out, say.T(f.Key, "Index", f.Where, "Where", f.Where))
	}
	return fmt.Errorf("%s: %d flaws", v.Data, len(found.Flaws))
}

// mostBytes is the largest file that is read here.
const mostBytes = 1 << 20

// small reads a file that a flag names; none is empty.
func small(field, name string) ([]byte, error) {
	if name == "" {
		return nil, nil
	}
	f, err := os.Open(name)
	if err != nil {
		return nil, problem.Wrap(fmt.Errorf("%s: %w", field, err), problem.Invalid, "problem.value")
	}
	defer f.Close() //nolint:errcheck // it was only read
	b, err := io.ReadAll(io.LimitReader(f, mostBytes+1))
	if err == nil && len(b) > mostBytes {
		err = errors.New("longer than 1 MiB")
	}
	if err != nil {
		return nil, problem.Wrap(fmt.Errorf("%s: %s: %w", field, name, err), problem.Invalid, "problem.value")
	}
	return b, nil
}

// proved says what a proof file proves.
func proved(out io.Writer, p ledger.Proved) error {
	var body bytes.Buffer
	if err := json.Indent(&body, p.Record, "", "  "); err != nil {
		return err
	}
	_, err := fmt.Fprintf(out, "Entry %d of %s, recorded %s, stands in the log of %d entries that %s signed.\n%s\nWhether it still counts today, only the programme can say.\n",
		p.Index, p.Checkpoint.Origin, p.At.Format(time.RFC3339), p.Checkpoint.Size, strings.Join(p.Checkpoint.Keys, ", "), body.String())
	return err
}
