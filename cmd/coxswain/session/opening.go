package session

import (
	"sync"

	"coxswain/audio/recorder"
	"coxswain/timeline"
)

// opening is a record that is opened when something is first written to it, by
// whoever writes: the loop waits for no disk. What cannot be opened is tried
// again with every write.
type opening struct {
	begin  func() (Kept, error)
	mu     sync.Mutex
	k      Kept
	missed int             // samples that came while there was no record
	marks  []recorder.Mark // and labels
}

// open returns the record, whose missed sound is silence.
func (o *opening) open() (Kept, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.k.Journal != nil {
		return o.k, nil
	}
	k, err := o.begin()
	if err != nil {
		return Kept{}, err
	}
	o.k = k
	for _, m := range o.marks {
		k.Sound.Mark(m)
	}
	return k, nil
}

type openingJournal opening

// Append opens the record if need be.
func (j *openingJournal) Append(e timeline.Event) (timeline.Event, error) {
	k, err := (*opening)(j).open()
	if err != nil {
		return e, err
	}
	return k.Journal.Append(e)
}

// Close closes the journal, if it was ever opened.
func (j *openingJournal) Close() error {
	if j.k.Journal == nil {
		return nil
	}
	return j.k.Journal.Close()
}

type openingSound opening

// Write opens the record if need be; sound that came before it could be opened
// is silence in it.
func (s *openingSound) Write(room, speaker []float32) error {
	k, err := (*opening)(s).open()
	if err != nil {
		s.missed += len(room)
		return err
	}
	var silence [48000]float32
	for ; s.missed > 0; s.missed -= min(s.missed, len(silence)) {
		n := min(s.missed, len(silence))
		if err := k.Sound.Write(silence[:n], silence[:n]); err != nil {
			return err
		}
	}
	return k.Sound.Write(room, speaker)
}

// Mark labels a moment.
func (s *openingSound) Mark(m recorder.Mark) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.k.Sound == nil {
		s.marks = append(s.marks, m)
		return
	}
	s.k.Sound.Mark(m)
}

// Close finishes the audio log, if it was ever opened.
func (s *openingSound) Close() error {
	if s.k.Sound == nil {
		return nil
	}
	return s.k.Sound.Close()
}
