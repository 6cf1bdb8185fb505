package paper

import (
	"fmt"
	"io"
	"os"
	"time"

	"coxswain/timeline/record"
)

// Retain lists the records in a folder that began before a moment and, if really,
// deletes them.
func Retain(w io.Writer, folder string, before time.Time, really bool) error {
	old, err := record.OlderThan(folder, before)
	if err != nil {
		return err
	}
	for _, path := range old {
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
