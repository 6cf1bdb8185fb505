package record

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"coxswain/audio"
	"coxswain/audio/recorder"
	"coxswain/timeline"
)

const about = "Resuscitation audio log: channel 1 room, channel 2 prompts"

// Writer is the record of a running session: its journal and its audio log. A
// session closes Sound first, then appends its close, then closes Journal.
type Writer struct {
	Dir     string
	Journal *Journal
	Sound   *Sound

	// Of a session that was cut off and goes on:
	Events []timeline.Event // what it had; none in a new record
	Had    int64            // samples of sound that are there
	Pos    int64            // clock sample at which it goes on
}

// NewFolder makes a folder for a session that begins now, named by the time in
// this machine's zone; a second one within a second gets -2, and so on.
func NewFolder(records string, now time.Time) (string, error) {
	if err := os.MkdirAll(records, 0o700); err != nil {
		return "", fmt.Errorf("cannot make the records folder: %w", err)
	}
	name := filepath.Join(records, now.Format(folderTime))
	dir := name
	for n := 2; ; n++ {
		err := os.Mkdir(dir, 0o700)
		if err == nil || !errors.Is(err, os.ErrExist) || n > 1000 {
			return dir, err
		}
		dir = fmt.Sprintf("%s-%d", name, n)
	}
}

// Begin starts a record in dir, which is made if need be and must not hold one
// yet. wall is the wall-clock time of its first sample. What was heard before
// the session began may be written to Sound first: the record then begins with
// it, and so does its clock.
func Begin(dir string, wall time.Time) (*Writer, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("cannot make the record's folder: %w", err)
	}
	j, err := Create(dir)
	if err != nil {
		return nil, err
	}
	rec, err := recorder.New(dir, wall, about)
	if err != nil {
		j.Close()
		os.Remove(filepath.Join(dir, JournalName)) // or it would be in the way of the next attempt
		return nil, err
	}
	return &Writer{Dir: dir, Journal: j, Sound: newSound(dir, rec, j)}, nil
}

// Resume goes on with a record whose session was cut off, at now by the wall
// clock. The gap is silence in its sound. A clock that was set back cannot make
// time run backwards: then the session goes on where its sound ends.
func (r *Record) Resume(now time.Time) (*Writer, error) {
	j, r, err := reopen(r.Dir, r)
	if err != nil {
		return nil, err
	}
	w, err := r.resume(j, now)
	if err != nil {
		j.Close()
	}
	return w, err
}

func (r *Record) resume(j *Journal, now time.Time) (*Writer, error) {
	if err := r.check(); err != nil {
		return nil, err
	}
	if r.Closed() {
		return nil, fmt.Errorf("%s: the session came to its end", r.Dir)
	}
	pos := samples(r.since(now))
	rec, had, err := recorder.Resume(r.Dir, r.Wall(), about, pos-pos%audio.Block, Marks(r.Events))
	if err != nil {
		return nil, err
	}
	w := &Writer{Dir: r.Dir, Journal: j, Sound: newSound(r.Dir, rec, j), Events: r.Events, Had: had, Pos: rec.Pos()}
	w.Sound.from, w.Sound.doubt, w.Sound.late = r.heard(), true, had > r.heard()
	return w, nil
}

// samples is a span of time in samples.
func samples(d time.Duration) int64 {
	return int64(d/time.Second)*audio.Rate + int64(d%time.Second)*audio.Rate/int64(time.Second)
}
