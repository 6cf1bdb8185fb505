package session

import (
	"fmt"
	"slices"
	"sync"
	"time"

	"coxswain/audio"
	"coxswain/audio/recorder"
	"coxswain/timeline"
)

// opening is a record that is opened when something is first written to it, by
// whoever writes: the loop waits for no disk. What cannot be opened is tried
// again with every write. A record that is lost while it is written, because
// somebody deletes it or its disk goes, is written anew from memory.
type opening struct {
	begin   func(had []timeline.Event, pos int64) (Kept, error)
	mu      sync.Mutex
	k       Kept
	had     []timeline.Event // what was appended
	pos     int64            // samples of sound that came
	marks   []recorder.Mark  // labels
	retryAt time.Time        // a lost record is not written anew before
}

// lostFor is how long a lost record stays lost at least: long enough for the
// session to notice and say it.
const lostFor = time.Second

// open returns the record; the lock is held.
func (o *opening) open() (Kept, error) {
	if o.k.Journal != nil {
		return o.k, nil
	}
	if time.Now().Before(o.retryAt) {
		return Kept{}, fmt.Errorf("the record was lost; it is written anew in a moment")
	}
	k, err := o.begin(o.had, o.pos)
	if err != nil {
		return Kept{}, err
	}
	o.k = k
	for _, m := range o.marks {
		k.Sound.Mark(m)
	}
	return k, nil
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

// Append opens the record if need be. A slow disk does not keep the sound from
// being written.
func (j *openingJournal) Append(e timeline.Event) (timeline.Event, error) {
	j.mu.Lock()
	k, err := (*opening)(j).open()
	j.mu.Unlock()
	if err != nil {
		return e, err
	}
	if e, err = k.Journal.Append(e); err != nil {
		return e, err
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.k.Journal != k.Journal {
		return e, fmt.Errorf("the record was lost while it was written to")
	}
	j.had = append(j.had, e)
	return e, nil
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
	return k.Sound.Write(room, speaker)
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

// resumed is the record of a case that goes on, as one that was opened before.
func resumed(k Kept, pos int64, begin func([]timeline.Event, int64) (Kept, error)) *opening {
	return &opening{begin: begin, k: k, had: slices.Clone(k.Events), pos: pos}
}
