// Package record is a record on the disk: the folder of one session, with its
// journal and its audio log.
package record

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"coxswain/timeline"
)

// JournalName is the file in a record's folder that holds its events.
const JournalName = "events.jsonl"

// ErrBroken marks a journal whose chain does not hold.
var ErrBroken = errors.New("journal chain is broken")

// maxLine bounds one journal line, so that a corrupt file cannot exhaust memory.
const maxLine = 1 << 20

// line is an event as it stands on disk: with the hash of the line before it.
type line struct {
	timeline.Event
	Prev string `json:"prev"`
}

// Journal appends events to a file of JSON lines. Each line carries the
// SHA-256 of the bytes of the line before it (without its newline), so that an
// edited, lost or added line shows. Append returns only when the event is on
// the disk. A Journal is for one goroutine.
type Journal struct {
	f    *os.File
	prev string
	seq  uint64
	size int64
}

// Create starts a journal in dir, which must not hold one yet.
func Create(dir string) (*Journal, error) {
	path := filepath.Join(dir, JournalName)
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return nil, fmt.Errorf("cannot start a journal: %w", err)
	}
	if d, err := os.Open(dir); err == nil { // the new name must survive a power cut too
		d.Sync()
		d.Close()
	}
	return &Journal{f: f}, nil
}

// Reopen opens a journal to go on with it. A last line that was never finished
// is cut off and kept beside the journal, in events.jsonl.broken.
func Reopen(dir string) (*Journal, []timeline.Event, error) {
	path := filepath.Join(dir, JournalName)
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, nil, err
	}
	events, tail, err := Parse(bytes.NewReader(b), path)
	if err != nil {
		return nil, events, err
	}
	f, err := os.OpenFile(path, os.O_WRONLY, 0)
	if err != nil {
		return nil, events, err
	}
	whole := b[:len(b)-tail.Bytes]
	if tail.Bytes > 0 {
		if err = os.WriteFile(path+".broken", b[len(whole):], 0o600); err == nil {
			err = f.Truncate(int64(len(whole)))
		}
		if err != nil {
			f.Close()
			return nil, events, err
		}
	}
	j := &Journal{f: f, seq: uint64(len(events)), size: int64(len(whole))}
	if lines := bytes.Split(bytes.TrimSuffix(whole, []byte("\n")), []byte("\n")); len(whole) > 0 {
		j.prev = hash(lines[len(lines)-1])
	}
	return j, events, nil
}

// Append numbers e, writes it and waits for the disk. On an error nothing of e
// remains in the file, the journal stays usable, and the caller may try again.
func (j *Journal) Append(e timeline.Event) (timeline.Event, error) {
	e.Seq = j.seq + 1
	b, err := json.Marshal(line{e, j.prev})
	if err != nil {
		return e, fmt.Errorf("event %s: %w", e.Kind, err)
	}
	if _, err = j.f.WriteAt(append(b, '\n'), j.size); err == nil {
		err = j.f.Sync()
	}
	if err != nil {
		j.f.Truncate(j.size)
		return e, fmt.Errorf("journal %s: %w", j.f.Name(), err)
	}
	j.size += int64(len(b)) + 1
	j.seq, j.prev = e.Seq, hash(b)
	return e, nil
}

// Close closes the file. Events already appended are safe without it.
func (j *Journal) Close() error { return j.f.Close() }

func hash(b []byte) string {
	s := sha256.Sum256(b)
	return hex.EncodeToString(s[:])
}

// Tail says what Read left out at the end of a journal.
type Tail struct {
	Bytes  int    // bytes of a last line that was never finished
	Reason string // empty if the journal is whole
}

// Read returns the events of the record in dir, in order. A last line without its
// newline is what a power cut leaves of an event that was never acknowledged:
// it is reported in Tail, not as an error. Any other damage is an error that
// wraps ErrBroken and names file and line; the events before it are returned.
func Read(dir string) ([]timeline.Event, Tail, error) {
	path := filepath.Join(dir, JournalName)
	f, err := os.Open(path)
	if err != nil {
		return nil, Tail{}, err
	}
	defer f.Close()
	return Parse(f, path)
}

// Parse is Read from a stream; name stands for the file in errors.
func Parse(r io.Reader, name string) ([]timeline.Event, Tail, error) {
	var events []timeline.Event
	br := bufio.NewReaderSize(r, 64<<10)
	prev := ""
	for n := 1; ; n++ {
		b, err := readLine(br)
		if err == io.EOF {
			if len(b) > 0 {
				return events, Tail{len(b), fmt.Sprintf("%s:%d: unfinished last line of %d bytes", name, n, len(b))}, nil
			}
			return events, Tail{}, nil
		}
		if err != nil {
			return events, Tail{}, fmt.Errorf("%s:%d: %w: %v", name, n, ErrBroken, err)
		}
		var l line
		if err := strict(b, &l); err != nil {
			return events, Tail{}, fmt.Errorf("%s:%d: %w: not an event: %v", name, n, ErrBroken, err)
		}
		if l.Prev != prev {
			return events, Tail{}, fmt.Errorf("%s:%d: %w: this line does not follow the one before it", name, n, ErrBroken)
		}
		if l.Seq != uint64(n) {
			return events, Tail{}, fmt.Errorf("%s:%d: %w: event number %d, want %d", name, n, ErrBroken, l.Seq, n)
		}
		events = append(events, l.Event.Normalise())
		prev = hash(b)
	}
}

func strict(b []byte, v any) error {
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		return err
	}
	if d.More() {
		return errors.New("more than one value on the line")
	}
	return nil
}

// readLine returns a line without its newline; at the end io.EOF with the rest.
func readLine(r *bufio.Reader) ([]byte, error) {
	var out []byte
	for {
		part, err := r.ReadSlice('\n')
		out = append(out, part...)
		switch {
		case len(out) > maxLine:
			return nil, fmt.Errorf("line longer than %d bytes", maxLine)
		case err == bufio.ErrBufferFull:
			continue
		case err != nil:
			return out, err
		}
		return out[:len(out)-1], nil
	}
}
