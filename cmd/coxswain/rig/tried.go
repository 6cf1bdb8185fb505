package rig

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"coxswain/audio/recorder"
	"coxswain/timeline/record"
)

// Of a case that is gone on with so often within so long, what it holds ends the program each time.
const (
	triesMost   = 5
	triesWithin = 60 * time.Second
)

func (r Rig) triedFile() string { return filepath.Join(r.Folder, ".tried") }

// forgive forgets how often a case was gone on with: it was something else that ended the program.
func (r Rig) forgive() { os.Remove(r.triedFile()) }

// tried notes that a case is gone on with now, or reports that it has been too often of late. If it was not
// to blame it is tried again later.
func (r Rig) tried(now time.Time) bool {
	b, _ := recorder.ReadNamed(r.triedFile(), 1000) // what cannot be read was never written
	var of []string
	for _, line := range strings.Fields(string(b)) {
		at, err := time.Parse(time.RFC3339Nano, line)
		if ago := now.Sub(at); err == nil && ago >= 0 && ago < triesWithin {
			of = append(of, line)
		}
	}
	if len(of) >= triesMost {
		return true
	}
	of = append(of, now.UTC().Format(time.RFC3339Nano))
	record.WriteFile(r.triedFile(), fmt.Appendln(nil, strings.Join(of, "\n")))
	return false
}
