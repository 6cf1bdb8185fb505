package paper

import (
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"coxswain/cmd/coxswain/outbox"
	"coxswain/timeline/record"
)

// Retain lists the records in a folder that began before a moment and, if really,
// deletes them: but none that has yet to go to the hospital's store.
func Retain(w io.Writer, folder string, before time.Time, really bool) error {
	old, err := record.OlderThan(folder, before)
	if err != nil {
		return err
	}
	sends := outbox.Look(folder, time.Now()) != nil
	for _, path := range old {
		if sends && !strings.HasSuffix(path, record.Sealed) && !outbox.Sent(path) {
			fmt.Fprintln(w, "kept: not in the store yet:", path)
			continue
		}
		if !really {
			fmt.Fprintln(w, "would delete", path)
			continue
		}
		if err := os.RemoveAll(path); err != nil {
			return err
		}
		fmt.Fprintln(w, "deleted", path)
	}
	if !really {
		fmt.Fprintf(w, "%d records; nothing was deleted: say --delete\n", len(old))
	}
	return nil
}
