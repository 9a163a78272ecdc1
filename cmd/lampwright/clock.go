package main

import (
	"context"
	"fmt"
	"io"
	"time"

	"lampwright/server/record"
)

type clockCmd struct {
	Data string `default:"lampwright-data" placeholder:"DIR" help:"Folder of the records."`
}

// Run takes the machine's time for true: for records that were once written
// under a clock in the future, and refuse to sign since.
func (c clockCmd) Run(out io.Writer) error {
	if err := there(c.Data); err != nil {
		return err
	}
	store, err := record.Open(c.Data)
	if err != nil {
		return err
	}
	defer store.Close() //nolint:errcheck // everything was written before
	now := time.Now()
	mark, err := store.AcceptClock(context.Background(), now)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(out, "The records stood at %s; they now go by this machine's time, %s.\nCheck every sign-off that was made under the wrong time.\n",
		mark.Format(time.RFC3339), now.UTC().Format(time.RFC3339))
	return err
}
