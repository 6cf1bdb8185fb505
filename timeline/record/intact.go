package record

import (
	"os"
	"path/filepath"
	"time"

	"coxswain/audio/recorder"
	"coxswain/timeline"
)

// Intact reports whether the record that is written still lies where it was
// begun: an error if a file of it was deleted, replaced or cut, or the disk has
// gone. It is for the goroutine that writes Sound.
func (w *Writer) Intact() error {
	j := w.Journal
	j.mu.Lock()
	size := j.size
	j.mu.Unlock()
	if err := recorder.Intact(j.f, filepath.Join(w.Dir, JournalName), size); err != nil {
		return err
	}
	return w.Sound.Intact()
}

// BeginAnew writes the record of a running session anew into dir, when the one
// that it had was lost: its events, and silence for the sound before clock
// sample pos. wall is the wall-clock time of its first sample.
func BeginAnew(dir string, wall time.Time, events []timeline.Event, pos int64) (*Writer, error) {
	w, err := Begin(dir, wall)
	if err != nil {
		return nil, err
	}
	if len(events) > 0 {
		err = w.Journal.AppendAll(events)
	}
	if err == nil && pos > 0 {
		err = w.Sound.Silence(pos)
	}
	if err != nil {
		w.Sound.Close()
		w.Journal.Close()
		for _, name := range append((&Record{Dir: dir}).Parts(), JournalName) { // nothing of it may count
			os.Remove(filepath.Join(dir, name))
		}
		return nil, err
	}
	return w, nil
}
