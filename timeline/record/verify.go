package record

import (
	"fmt"
	"path/filepath"

	"coxswain/audio"
	"coxswain/audio/recorder"
	"coxswain/timeline"
)

// Proof is what Verify found a whole record to be.
type Proof struct {
	Samples     int64  // of its audio
	Hashed      int64  // of these, held by hashes in the journal
	Late        int64  // of these, hashed only after a cut
	Amendments  int    // behind the end of the session
	Fingerprint string // of the whole record
	Closed      string // fingerprint when the session ended, before any amendment
}

// Verify checks that a record is whole: the session came to its end, every
// event lies within the sound, the files of the sound are whole, follow each
// other and hold what was recorded. An error says what is not so, and where.
func (r *Record) Verify() (Proof, error) {
	path := filepath.Join(r.Dir, JournalName)
	if r.Tail.Reason != "" {
		return Proof{}, fmt.Errorf(
			"%s: the session was cut off; nothing acknowledged is lost; finish the record with `coxswain mend %s`",
			r.Tail.Reason,
			r.Dir,
		)
	}
	l, err := r.log()
	if err != nil {
		return Proof{}, err
	}
	if !r.Closed() {
		return Proof{}, fmt.Errorf(
			"%s: the session was cut off after event %d; finish the record with `coxswain mend %s`",
			path,
			r.lastSeq(),
			r.Dir,
		)
	}
	if r.Wall().IsZero() {
		return Proof{}, fmt.Errorf("%s:1: session.open tells %.40q as the wall clock, which is no date of a session",
			path, r.Events[0].Session.Wall)
	}
	if err := r.checkTimes(path, l.Samples()); err != nil {
		return Proof{}, err
	}
	hashed, err := r.checkSound(l)
	if err != nil {
		return Proof{}, err
	}
	p := Proof{Samples: l.Samples(), Hashed: hashed, Fingerprint: r.Fingerprint()}
	for _, h := range r.sounds {
		if h.Late {
			p.Late += h.Until - h.From
		}
	}
	for _, n := range r.lines {
		if n.event >= 0 && r.Events[n.event].Kind == timeline.SessionClose {
			p.Closed = n.sum
		} else if n.event >= 0 && p.Closed != "" {
			p.Amendments++
		}
	}
	return p, nil
}

// checkTimes holds every event to a moment that the sound covers.
func (r *Record) checkTimes(path string, samples int64) error {
	for _, e := range r.Events {
		if int64(e.At) > samples+audio.Rate || e.At < 0 {
			return fmt.Errorf(
				"%s: event %d (%s) lies at %s, outside the audio of %v",
				path,
				e.Seq,
				e.Kind,
				e.At,
				audio.Duration(samples),
			)
		}
	}
	return nil
}

// log opens the audio log of a finished record and checks its files.
func (r *Record) log() (*recorder.Log, error) {
	found, err := filepath.Glob(filepath.Join(r.Dir, "audio-*.wav"))
	if err == nil && len(found) == 0 {
		err = fmt.Errorf("%s: holds no audio", r.Dir)
	}
	if err != nil {
		return nil, err
	}
	l, err := recorder.Open(r.Dir)
	if err != nil {
		return nil, err
	}
	if len(l.Parts) != len(found) {
		return nil, fmt.Errorf(
			"%s: the audio goes on behind %s, but not with %s",
			r.Dir,
			l.Parts[len(l.Parts)-1].Name,
			recorder.PartName(len(l.Parts)),
		)
	}
	return l, l.Check()
}

// Since tells what was added to the record after it had a fingerprint that
// somebody noted; false if it never had it, or was changed before it.
func (r *Record) Since(fingerprint string) ([]timeline.Event, bool) {
	for _, n := range r.lines {
		if n.sum != fingerprint {
			continue
		}
		var later []timeline.Event
		for k, e := range r.Events {
			if r.endOf(k) > n.end {
				later = append(later, e)
			}
		}
		return later, true
	}
	return nil, false
}

// endOf is the offset behind the line of event k.
func (r *Record) endOf(k int) int64 {
	for _, n := range r.lines {
		if n.event == k {
			return n.end
		}
	}
	return 0
}

// clock is a clock sample as a reviewer reads it.
func clock(sample int64) string { return timeline.Time(sample).String() }
