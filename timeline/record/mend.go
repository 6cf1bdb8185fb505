package record

import (
	"fmt"
	"time"

	"coxswain/audio"
	"coxswain/audio/recorder"
	"coxswain/timeline"
)

// Mended is a record that Mend finished.
type Mended struct {
	*Record
	Samples int64 // of its sound
	Silence int64 // of these, put where sound was lost at the end
}

// farthest is how far behind the end of the sound an event may lie, so that a
// journal which says nonsense does not fill a disk with silence.
const farthest = timeline.Time(24 * time.Hour / time.Second * audio.Rate)

// Mend finishes a record after a crash or power cut: it cuts an unfinished last
// line from the journal (kept beside it), makes the files of the sound whole,
// with silence for what a full disk did not take, puts what was not yet hashed
// into the journal, marked as late, and closes it. It refuses a record that is
// still being written; a whole one, and a signed one, is left as it is.
func Mend(dir string) (m Mended, err error) {
	j, r, err := reopen(dir, nil)
	if err != nil {
		return m, err
	}
	defer j.Close()
	if err := r.check(); err != nil {
		return m, err
	}
	if m.Samples, err = recorder.Mend(dir, r.Wall(), about, Marks(r.Events)); err != nil {
		return m, err
	}
	if !Signed(dir) {
		end := timeline.End(r.Events)
		if m.Silence, err = r.fill(m.Samples, end); err != nil {
			return m, err
		}
		m.Samples += m.Silence
		if err := r.finish(j, m.Samples, end); err != nil {
			return m, err
		}
	}
	m.Record, err = Open(dir)
	return m, err
}

// fill makes the sound as long as the session was, with silence; it returns how
// many samples that took.
func (r *Record) fill(had int64, end timeline.Time) (int64, error) {
	if int64(end) <= had {
		return 0, nil
	}
	if end > timeline.Time(had)+farthest {
		return 0, fmt.Errorf(
			"%s: an event lies at %s, the sound ends at %s: more than a session can have lost",
			r.Dir,
			end,
			clock(had),
		)
	}
	rec, had, err := recorder.Resume(r.Dir, r.Wall(), about, int64(end), Marks(r.Events))
	if err != nil {
		return 0, err
	}
	return rec.Pos() - had, rec.Close()
}

// finish puts the rest of the sound into the chain and closes the journal.
func (r *Record) finish(j *Journal, samples int64, end timeline.Time) error {
	if samples > r.heard() {
		l, err := recorder.Open(r.Dir)
		if err != nil {
			return err
		}
		h := soundHash{From: r.heard(), Until: samples, Late: true}
		if h.SHA256, err = hashSound(l, h.From, h.Until); err != nil {
			return err
		}
		if err := j.hashed(h); err != nil {
			return err
		}
	}
	if r.Closed() {
		return nil
	}
	_, err := j.Append(timeline.Event{
		At: max(timeline.Time(samples), end), Kind: timeline.SessionClose,
		Text: "finished by coxswain mend after the session was cut off",
	})
	return err
}
