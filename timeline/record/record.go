package record

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"syscall"
	"time"

	"coxswain/audio/recorder"
	"coxswain/timeline"
)

// Record is a record as it stands on the disk, finished or not.
type Record struct {
	Dir     string
	Events  []timeline.Event // without control characters
	Format  int              // of the journal
	Unknown []string         // fields of a newer format that this version does not know
	Tail    Tail

	lines  []place
	sounds []soundHash
}

// ErrNoSession marks a journal that does not begin with session.open.
var ErrNoSession = errors.New("does not begin with session.open")

// Open reads the journal in dir and checks that it is one session's: it begins
// with the only session.open, and behind the close, if there is one, stand only
// amendments. A journal that is not as it was written is an error that wraps
// ErrBroken.
func Open(dir string) (*Record, error) {
	r, err := read(dir)
	if err != nil {
		return nil, err
	}
	return r, r.check()
}

// mostKinds bounds the kinds of events that one record has: the table has 170, a
// site may add its own, and what a state remembers of each must stay small.
const mostKinds = 400

// check is the one place that says what makes events a session's.
func (r *Record) check() error {
	if err := r.checkOpen(); err != nil {
		return err
	}
	closed, kinds := false, map[timeline.Kind]bool{}
	for _, e := range r.Events[1:] {
		var err error
		kinds[e.Kind] = true
		switch {
		case len(kinds) > mostKinds:
			err = fmt.Errorf("more than %d kinds of event: no team can call so many", mostKinds)
		case !within(e):
			err = errors.New("its time or a number in it is none that a session can have")
		case closed || e.Amend != nil:
			if err = r.checkAmendment(e); err != nil && closed {
				err = fmt.Errorf("stands behind the end of the session, but %w", err)
			}
		case e.Kind == timeline.SessionOpen:
			err = errors.New("a session begins only once")
		case e.Kind == timeline.SessionClose:
			closed = true
		}
		if err != nil {
			return fmt.Errorf(
				"%s: %w: event %d (%s): %w",
				filepath.Join(r.Dir, JournalName),
				ErrBroken,
				e.Seq,
				e.Kind,
				err,
			)
		}
	}
	return nil
}

// checkOpen looks at how the journal begins.
func (r *Record) checkOpen() error {
	if len(r.Events) == 0 {
		return r.holdsNothing()
	}
	path, first := filepath.Join(r.Dir, JournalName), r.Events[0]
	if first.Kind != timeline.SessionOpen || first.Session == nil {
		return fmt.Errorf("%s: %w", path, ErrNoSession)
	}
	if rate := first.Session.Rate; rate != timeline.Rate {
		return fmt.Errorf("%s:1: %w: session.open says %d samples a second; the clock of a session has %d",
			path, ErrBroken, rate, timeline.Rate)
	}
	return nil
}

// within reports whether the times and numbers of an event can be a session's: figures
// and pages reckon with them.
func within(e timeline.Event) bool {
	const longest, most = timeline.Time(31 * 24 * 3600 * timeline.Rate), 1e9
	times := []timeline.Time{e.At, e.Until}
	if h := e.Heard; h != nil {
		times = append(times, h.Start, h.End, h.Decided)
	}
	for _, t := range times {
		if t < -longest || t > longest {
			return false
		}
	}
	for _, v := range e.Values {
		if v < -most || v > most {
			return false
		}
	}
	return true
}

// checkAmendment holds an amendment to its bounds, and to callouts before it.
func (r *Record) checkAmendment(e timeline.Event) error {
	if err := timeline.CheckAmendment(e); err != nil {
		return err
	}
	for _, seq := range []uint64{e.Retracts, e.Replaces} {
		if seq != 0 && (seq >= e.Seq || !r.Events[seq-1].Kind.IsCallout()) {
			return fmt.Errorf("it changes event %d, which is no callout before it", seq)
		}
	}
	return nil
}

// Name is the record's name: that of its folder.
func (r *Record) Name() string { return Printable(filepath.Base(filepath.Clean(r.Dir))) }

// Wall is the wall-clock time of sample 0; the zero time if it is not known.
func (r *Record) Wall() time.Time { return timeline.WallClock(r.Events) }

// Closed reports whether the session came to its end.
func (r *Record) Closed() bool {
	return r.Tail.Reason == "" &&
		slices.ContainsFunc(r.Events, func(e timeline.Event) bool { return e.Kind == timeline.SessionClose })
}

// Fingerprint is the sum of the journal's last line: whoever noted it can tell
// later whether the record is still the same.
func (r *Record) Fingerprint() string {
	if len(r.lines) == 0 {
		return ""
	}
	return r.lines[len(r.lines)-1].sum
}

// Origin is the sum of the journal's first line: the same in a record and in every copy
// of it, whatever was amended in either; empty where nothing was written.
func (r *Record) Origin() string {
	if len(r.lines) == 0 {
		return ""
	}
	return r.lines[0].sum
}

func (r *Record) size() int64 {
	if len(r.lines) == 0 {
		return 0
	}
	return r.lines[len(r.lines)-1].end
}

func (r *Record) lastSeq() uint64 {
	if len(r.Events) == 0 {
		return 0
	}
	return r.Events[len(r.Events)-1].Seq
}

// Parts are the names of the files of the audio log, in order; none if there is
// no sound.
func (r *Record) Parts() []string {
	l, err := recorder.Open(r.Dir)
	if err != nil {
		return nil
	}
	var out []string
	for _, p := range l.Parts {
		out = append(out, p.Name)
	}
	return out
}

// Found is the folder of a record and what the disk tells of its journal.
type Found struct {
	Dir     string
	Journal fs.FileInfo
}

// Find lists the records in a folder by name, and tells of each folder in it that cannot be looked
// into, as one of another user's. A folder that is not there holds none.
func Find(records string) (found []Found, shut []error, err error) {
	entries, err := os.ReadDir(records)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return nil, nil, err
	}
	for _, e := range entries {
		dir := filepath.Join(records, e.Name())
		switch st, err := os.Lstat(filepath.Join(dir, JournalName)); {
		case err == nil && st.Mode().IsRegular():
			found = append(found, Found{dir, st})
		case err != nil && !errors.Is(err, os.ErrNotExist) && !errors.Is(err, syscall.ENOTDIR):
			shut = append(shut, err)
		}
	}
	return found, shut, nil
}

// Dirs lists the folders of the records in a folder, by name.
func Dirs(records string) (dirs []string, err error) {
	found, _, err := Find(records)
	for _, f := range found {
		dirs = append(dirs, f.Dir)
	}
	return dirs, err
}
