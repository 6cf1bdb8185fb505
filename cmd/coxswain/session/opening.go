package session

import (
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"coxswain/audio"
	"coxswain/audio/recorder"
	"coxswain/timeline"
)

// opening is a record that is opened when something is first written to it, by
// whoever writes: the loop waits for no disk. What cannot be opened is tried
// again with every write. A record that is lost while it is written, because
// somebody deletes it or its disk goes, is written anew from memory; one on a
// disk that has been full or read-only for a moment, in the other folder.
type opening struct {
	begin   Begin
	live    bool
	mu      sync.Mutex
	k       Kept
	name    atomic.Pointer[string] // of k, for whoever must not wait for a disk
	had     []timeline.Event       // what was appended
	pos     int64                  // samples of sound that came
	marks   []recorder.Mark        // labels
	retryAt time.Time              // a lost record is not written anew before
	stuck   [2]time.Time           // since when journal and sound cannot be written to; zero: they can
}

// The two of stuck.
const (
	journal = iota
	sound
)

// lostFor is how long a lost record stays lost at least: long enough for the
// session to notice and say it.
const lostFor = time.Second

// stuckFor is how long a record cannot be written to before it goes elsewhere.
const stuckFor = 2 * time.Second

// open returns the record; the lock is held.
func (o *opening) open() (Kept, error) {
	if o.k.Journal != nil {
		return o.k, nil
	}
	if time.Now().Before(o.retryAt) {
		return Kept{}, fmt.Errorf("the record was lost; it is written anew in a moment")
	}
	k, err := o.begin(Beginning{Had: o.had, Pos: o.pos})
	if err != nil {
		return Kept{}, err
	}
	return o.turnTo(k), nil
}

// turnTo makes k the record; the lock is held.
func (o *opening) turnTo(k Kept) Kept {
	o.k, o.stuck = k, [2]time.Time{}
	o.name.Store(&k.Name)
	for _, m := range o.marks {
		k.Sound.Mark(m)
	}
	return k
}

// wrote notes whether journal or sound could be written to; the lock is held.
func (o *opening) wrote(what int, err error) {
	switch {
	case err == nil:
		o.stuck[what] = time.Time{}
	case o.stuck[what].IsZero():
		o.stuck[what] = time.Now()
	}
}

// move takes a record that has been stuck for too long to the other folder, or
// leaves it where it is if that cannot be written to either; the lock is held.
func (o *opening) move() {
	if !o.live || o.k.Journal == nil || o.k.Moved {
		return
	}
	for _, since := range o.stuck {
		if since.IsZero() || time.Since(since) < stuckFor {
			continue
		}
		k, err := o.begin(Beginning{Had: o.had, Pos: o.pos, Elsewhere: true})
		if err != nil {
			o.stuck = [2]time.Time{time.Now(), time.Now()} // not with every block
			return
		}
		o.k.Sound.Close() // `coxswain mend` finishes what is left
		o.k.Journal.Close()
		o.turnTo(k)
		return
	}
}

// look notices that the record was lost; the lock is held.
func (o *opening) look() error {
	if o.k.Journal == nil || o.k.Intact == nil {
		return nil
	}
	err := o.k.Intact()
	if err != nil {
		o.k.Sound.Close() // what is left of it; only the new one counts
		o.k.Journal.Close()
		o.k, o.retryAt = Kept{}, time.Now().Add(lostFor)
	}
	return err
}

type openingJournal opening

// AppendAll opens the record if need be. A slow disk does not keep the sound from
// being written.
func (j *openingJournal) AppendAll(events []timeline.Event) error {
	j.mu.Lock()
	k, err := (*opening)(j).open()
	j.mu.Unlock()
	if err != nil {
		return err
	}
	err = k.Journal.AppendAll(events)
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.k.Journal != k.Journal {
		return fmt.Errorf("the record was lost while it was written to")
	}
	if (*opening)(j).wrote(journal, err); err != nil {
		return err
	}
	j.had = append(j.had, events...)
	return nil
}

// Close closes the journal, if it is open.
func (j *openingJournal) Close() error {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.k.Journal == nil {
		return nil
	}
	return j.k.Journal.Close()
}

type openingSound opening

// Write opens the record if need be; sound that came while there was none is
// silence in it.
func (s *openingSound) Write(room, speaker []float32) error {
	k, err := s.ready(len(room))
	if err != nil {
		return err
	}
	err = k.Sound.Write(room, speaker)
	s.mu.Lock()
	defer s.mu.Unlock()
	(*opening)(s).wrote(sound, err)
	return err
}

// ready looks after the record before so many samples are written to it: live
// with every write, in a replay once a second.
func (s *openingSound) ready(samples int) (k Kept, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if samples > audio.Block || s.pos%audio.Rate < audio.Block {
		err = (*opening)(s).look()
	}
	if err == nil {
		(*opening)(s).move()
		k, err = (*opening)(s).open()
	}
	s.pos += int64(samples)
	return k, err
}

// Mark labels a moment.
func (s *openingSound) Mark(m recorder.Mark) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.marks = append(s.marks, m)
	if s.k.Sound != nil {
		s.k.Sound.Mark(m)
	}
}

// Close finishes the audio log, if it is open.
func (s *openingSound) Close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.k.Sound == nil {
		return fmt.Errorf("the record was lost, and could not be written anew")
	}
	return s.k.Sound.Close()
}

// named is the record's name: that of the folder that is written to now, once there is one.
func (o *opening) named() string {
	if p := o.name.Load(); p != nil {
		return *p
	}
	return ""
}

// resumed is the record of a case that goes on, as one that was opened before.
func resumed(k Kept, pos int64, begin Begin, live bool) *opening {
	return &opening{begin: begin, live: live, k: k, had: slices.Clone(k.Events), pos: pos}
}
