package main

import (
	"fmt"
	"os"
	"path/filepath"

	"coxswain/audio/recorder"
	"coxswain/timeline/figures"
	"coxswain/timeline/record"
	"coxswain/timeline/review"
)

// recordDirs lists the folders of the records under a folder, oldest first.
func recordDirs(records string) ([]string, error) {
	found, err := filepath.Glob(filepath.Join(records, "*", record.JournalName))
	for i := range found {
		found[i] = filepath.Dir(found[i])
	}
	return found, err
}

// loadReviewed reads a record, finished or not.
func loadReviewed(dir string, defs []figures.Definition) (*review.Record, error) {
	events, tail, err := record.Read(dir)
	if err != nil {
		return nil, err
	}
	if len(events) == 0 || events[0].Session == nil {
		return nil, fmt.Errorf("%s: does not begin with session.open", filepath.Join(dir, record.JournalName))
	}
	r := review.Of(events, defs)
	r.Name, r.PartLength, r.Caution = filepath.Base(filepath.Clean(dir)), recorder.PartLength, Caution
	if tail.Reason != "" || !closed(events) {
		r.Unfinished = "the session was cut off: finish the record with `coxswain mend`"
	}
	r.Parts = countParts(dir)
	return r, nil
}

// countParts counts the files of a record's audio log.
func countParts(dir string) int {
	for n := 0; ; n++ {
		if _, err := os.Stat(filepath.Join(dir, recorder.PartName(n))); err != nil {
			return n
		}
	}
}
