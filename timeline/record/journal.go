package record

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"sync"

	"coxswain/audio/recorder"
	"coxswain/timeline"
)

// JournalName is the file in a record's folder that holds its events.
const JournalName = "events.jsonl"

// Format is the version of the journals that this package begins. It reads all
// up to it, and of newer ones what it knows.
const Format = 2

// ErrInUse marks a record that another process writes, ErrRunning a folder of records that another one has.
var (
	ErrInUse   = errors.New("another coxswain is writing this record")
	ErrRunning = errors.New("another coxswain is running")
)

// line is a line of a journal as it stands on the disk.
type line struct {
	timeline.Event
	Format int        `json:"format,omitempty"` // in the first line
	Sound  *soundHash `json:"sound,omitempty"`  // in a line that is no event
	Prev   string     `json:"prev,omitempty"`   // format 1
	Sum    string     `json:"sum,omitempty"`
}

// soundHash says what the audio log held from one clock sample up to another.
type soundHash struct {
	From   int64  `json:"from"`
	Until  int64  `json:"until"`
	SHA256 string `json:"sha256"`
	Late   bool   `json:"late,omitempty"` // hashed after a cut, not while it was recorded
}

// Journal appends to a file of JSON lines; see the package comment. What is
// appended is on the disk when Append returns. Its methods may be called from
// several goroutines.
type Journal struct {
	mu     sync.Mutex
	f      *os.File
	format int
	sum    string // of the last line
	seq    uint64 // of the last event
	size   int64
}

// Create starts a journal in dir, which must not hold one yet.
func Create(dir string) (*Journal, error) {
	f, err := recorder.OpenFile(dir, JournalName, os.O_CREATE|os.O_EXCL|os.O_WRONLY)
	if err != nil {
		return nil, fmt.Errorf("cannot start a journal: %w", err)
	}
	if err := lock(f, dir); err != nil {
		f.Close()
		return nil, err
	}
	syncFolder(dir)
	return &Journal{f: f, format: Format}, nil
}

// syncFolder has a new name in a folder survive a power cut too, where that can be had.
func syncFolder(dir string) {
	if d, err := os.Open(dir); err == nil {
		d.Sync()
		d.Close()
	}
}

// reopen opens a journal to go on with it. A last line that was never finished
// is cut off and kept beside the journal, in events.jsonl.broken. What was read
// of it already, if anything, is taken as it is, if nothing has come since.
func reopen(dir string, known *Record) (*Journal, *Record, error) {
	f, err := openJournal(dir, os.O_RDWR)
	if err != nil {
		return nil, nil, err
	}
	j, r, err := goOn(f, dir, known)
	if err != nil {
		f.Close()
		return nil, nil, err
	}
	return j, r, nil
}

func goOn(f *os.File, dir string, r *Record) (*Journal, *Record, error) {
	if err := lock(f, dir); err != nil {
		return nil, nil, err
	}
	st, err := f.Stat()
	if err != nil {
		return nil, nil, err
	}
	if r == nil || st.Size() != r.size()+int64(r.Tail.Bytes) {
		if r, err = parse(f, f.Name()); err != nil {
			return nil, nil, err
		}
		r.Dir = dir
	}
	if r.Format > Format {
		return nil, nil, fmt.Errorf(
			"%s: written in format %d, newer than this version knows (%d): nothing can be added to it",
			dir,
			r.Format,
			Format,
		)
	}
	if r.Tail.Reason != "" {
		if err := cutTail(f, dir, r); err != nil {
			return nil, nil, err
		}
		r.Tail = Tail{}
	}
	if r.Format == 0 { // nothing stood in it
		r.Format = Format
	}
	return &Journal{f: f, format: r.Format, sum: r.Fingerprint(), seq: r.lastSeq(), size: r.size()}, r, nil
}

// cutTail moves an unfinished last line to a file of its own.
func cutTail(f *os.File, dir string, r *Record) error {
	b := make([]byte, r.Tail.Bytes)
	if _, err := f.ReadAt(b, r.size()); err != nil {
		return err
	}
	kept, err := recorder.OpenFile(dir, JournalName+".broken", os.O_CREATE|os.O_APPEND|os.O_WRONLY)
	if err != nil {
		return err
	}
	_, err = kept.Write(append(b, '\n'))
	if err = errors.Join(err, kept.Sync(), kept.Close()); err != nil {
		return err
	}
	return f.Truncate(r.size())
}

// Append writes e and waits for the disk. An event without a number gets the
// next one; one that has a number must have the next. On an error nothing of e
// remains in the file, the journal stays usable, and the caller may try again.
func (j *Journal) Append(e timeline.Event) (timeline.Event, error) {
	return j.append(e, nil)
}

// append has an amendment signed, if there is somebody to sign it.
func (j *Journal) append(e timeline.Event, sign func(e *timeline.Event, before string) error) (timeline.Event, error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	if e.Seq == 0 {
		e.Seq = j.seq + 1
	}
	if e.Seq != j.seq+1 {
		return e, fmt.Errorf("journal %s: event number %d, want %d", j.f.Name(), e.Seq, j.seq+1)
	}
	if sign != nil {
		if err := sign(&e, j.sum); err != nil {
			return e, err
		}
	}
	if err := j.write(e); err != nil {
		return e, fmt.Errorf("event %s: %w", e.Kind, err)
	}
	j.seq = e.Seq
	return e, nil
}

// AppendAll appends events that have their numbers, all or none of them, and waits for the disk once.
func (j *Journal) AppendAll(events []timeline.Event) error {
	j.mu.Lock()
	defer j.mu.Unlock()
	all := make([]any, len(events))
	for i, e := range events {
		if want := j.seq + 1 + uint64(i); e.Seq != want {
			return fmt.Errorf("journal %s: event number %d, want %d", j.f.Name(), e.Seq, want)
		}
		all[i] = e
	}
	if err := j.write(all...); err != nil {
		return err
	}
	j.seq += uint64(len(events))
	return nil
}

// hashed writes what the audio log holds.
func (j *Journal) hashed(h soundHash) error {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.format == 1 { // says nothing about the sound
		return nil
	}
	return j.write(struct {
		Sound soundHash `json:"sound"`
	}{h})
}

// write appends lines, all or none: events, or what the audio log holds, with what a line has besides.
func (j *Journal) write(all ...any) error {
	var lines []byte
	sum := j.sum
	for _, v := range all {
		b, after, err := j.line(v, sum, j.size == 0 && len(lines) == 0)
		if err != nil {
			return err
		}
		lines, sum = append(append(lines, b...), '\n'), after
	}
	_, err := j.f.WriteAt(lines, j.size)
	if err == nil {
		err = j.f.Sync()
	}
	if err != nil {
		j.f.Truncate(j.size)
		return fmt.Errorf("journal %s: %w", j.f.Name(), err)
	}
	j.size += int64(len(lines))
	j.sum = sum
	return nil
}

// line is v as a line of the journal, and the sum of that line, behind one with sum before.
func (j *Journal) line(v any, before string, first bool) (b []byte, sum string, err error) {
	if j.format == 1 {
		e, _ := v.(timeline.Event)
		b, err = json.Marshal(line{Event: e, Prev: before})
		return b, digest("", b), err
	}
	if b, err = json.Marshal(v); err != nil {
		return nil, "", err
	}
	if first {
		b = append(b[:len(b)-1], fmt.Sprintf(`,"format":%d}`, Format)...)
	}
	sum = digest(before, b)
	return withSum(b, sum), sum, nil
}

// Close closes the file. What is already appended is safe without it.
func (j *Journal) Close() error { return j.f.Close() }

// digest is the SHA-256 of the sum of the line before and a line, in hex.
func digest(before string, b []byte) string {
	h := sha256.New()
	h.Write([]byte(before))
	h.Write(b)
	return hex.EncodeToString(h.Sum(nil))
}

const sumField = `,"sum":"`

// withSum adds a line's sum at its end.
func withSum(b []byte, sum string) []byte {
	return append(append(append(b[:len(b)-1], sumField...), sum...), `"}`...)
}

// withoutSum undoes withSum; false if the line does not end so.
func withoutSum(b []byte) ([]byte, bool) {
	n := len(b) - len(sumField) - 2*sha256.Size - len(`"}`)
	if n < 1 || !bytes.HasPrefix(b[n:], []byte(sumField)) || !bytes.HasSuffix(b, []byte(`"}`)) {
		return nil, false
	}
	return append(bytes.Clone(b[:n]), '}'), true
}
