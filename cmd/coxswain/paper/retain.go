package paper

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"coxswain/cmd/coxswain/outbox"
	"coxswain/timeline/record"
)

// Retain lists the records in a folder that began before a moment and, if really,
// deletes them: but none of which keeps says why it must stay. What is sealed is not
// asked about: see Unsent.
func Retain(w io.Writer, folder string, before time.Time, really bool, keeps func(dir string) error) error {
	old, undated, err := record.OlderThan(folder, before)
	if err != nil {
		return err
	}
	if really {
		if err := record.Sweep(folder); err != nil {
			return err
		}
	}
	for _, path := range undated {
		fmt.Fprintf(w, "kept: no clock says when it was (none was set, or it was replayed without --wall); "+
			"delete it by hand: %s\n", path)
	}
	for _, path := range old {
		if !strings.HasSuffix(path, record.Sealed) {
			if why := keeps(path); why != nil {
				fmt.Fprintf(w, "kept: %v: %s\n", why, path)
				continue
			}
		}
		if !really {
			fmt.Fprintln(w, "would delete", path)
			continue
		}
		if err := record.Remove(path); err != nil {
			return err
		}
		fmt.Fprintln(w, "deleted", path)
	}
	if !really {
		fmt.Fprintf(w, "%d records; nothing was deleted: say --delete\n", len(old))
	}
	return nil
}

// Unsent tells what keeps a record where it is: it has yet to go to the hospital's
// store, if records of its folder do. A drill's stays, and may be deleted.
func Unsent(folder string) func(dir string) error {
	if outbox.Look(folder, time.Now()) == nil {
		return func(string) error { return nil }
	}
	return func(dir string) error {
		if outbox.Sent(dir) || outbox.Stays(dir) {
			return nil
		}
		return errors.New("not in the store yet")
	}
}
