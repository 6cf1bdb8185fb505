package outbox

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"coxswain/audio/recorder"
	"coxswain/timeline/record"
)

// State is how an outbox stands, for whoever looks.
type State struct {
	At         time.Time `json:"at"`                // when this was so
	Waiting    int       `json:"waiting"`           // finished records that are not in the store
	OldestS    float64   `json:"oldest_s"`          // how long the oldest of them has waited
	Sent       int       `json:"sent"`              // records that are in the store, and here
	Refused    int       `json:"refused"`           // finished, but not whole: see the log
	Unfinished int       `json:"unfinished"`        // cut off, not being written: finish them with coxswain mend
	Failing    string    `json:"failing,omitempty"` // why nothing goes; empty: it does
	Next       time.Time `json:"next,omitzero"`     // when the store is tried again; zero: at the next look
}

const (
	stateName = ".outbox.json" // in the folder of records
	sentName  = ".sent"        // in the folder of a record
	lockName  = ".outbox.lock"
)

// staleAfter is how old a state may be before whoever writes it counts as gone.
const staleAfter = 5 * time.Minute

// Look returns the state that the outbox of a folder of records last told; nil:
// none did. One that is old says so.
func Look(records string, now time.Time) *State {
	b, err := readSmall(records, stateName)
	if err != nil {
		return nil
	}
	var s State
	if json.Unmarshal(b, &s) != nil {
		return nil
	}
	s.Failing = record.Printable(s.Failing)
	if age := now.Sub(s.At); age > staleAfter {
		s.Failing = fmt.Sprintf("nothing was heard of the outbox for %v", age.Round(time.Second))
	}
	if s.Waiting > 0 {
		s.OldestS += max(0, now.Sub(s.At).Seconds())
	}
	return &s
}

func (s State) write(records string) error {
	b, err := json.Marshal(s)
	if err != nil {
		return err
	}
	return record.WriteFile(filepath.Join(records, stateName), b)
}

// mark is what .sent holds: what was sent, and how the record's files looked then.
type mark struct {
	ID    string `json:"id"`
	Files string `json:"files"`
	Store string `json:"store"` // names the stream that it went into: see session.name
}

// filesOf tells whether a record has changed without reading it: by size and time
// of its journal and of its signature.
func filesOf(dir string) (string, time.Time, error) {
	j, err := os.Lstat(filepath.Join(dir, record.JournalName))
	if err != nil {
		return "", time.Time{}, err
	}
	out := fmt.Sprintf("%d %d", j.Size(), j.ModTime().UnixNano())
	if s, err := os.Lstat(filepath.Join(dir, record.SignatureName)); err == nil {
		out += fmt.Sprintf(" %d %d", s.Size(), s.ModTime().UnixNano())
	}
	return out, j.ModTime(), nil
}

// Sent reports whether a record is in the store as it stands.
func Sent(dir string) bool {
	files, _, err := filesOf(dir)
	return err == nil && readMark(dir).Files == files
}

// Stays reports whether a record is a drill's, which is never sent.
func Stays(dir string) bool {
	r, err := record.Open(dir)
	return err == nil && r.Events[0].Session.Drill != nil
}

func readMark(dir string) (m mark) {
	if b, err := readSmall(dir, sentName); err == nil {
		json.Unmarshal(b, &m)
	}
	return m
}

func (m mark) write(dir string) error {
	b, err := json.Marshal(m)
	if err != nil {
		return err
	}
	return record.WriteFile(filepath.Join(dir, sentName), b)
}

// readSmall reads a file of ours, of 64 kB at most, that is no link.
func readSmall(dir, name string) ([]byte, error) {
	f, err := recorder.OpenFile(dir, name, os.O_RDONLY)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, 64<<10+1))
	if err == nil && len(b) > 64<<10 {
		err = errors.New("too long")
	}
	return b, err
}
