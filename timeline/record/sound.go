package record

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"

	"coxswain/audio"
	"coxswain/audio/recorder"
)

// PartLength is how many samples a full file of the audio log holds.
const PartLength = recorder.PartLength

// hashEvery is how much sound a line of the journal speaks for: after a cut at
// most so much was not yet in the chain.
const hashEvery = 10 * audio.Rate

// Sound is the audio log of a running session. It writes as the recorder does
// and, every ten seconds, puts the hash of what was written into the journal.
// It is for one goroutine, which may be another than the journal's.
type Sound struct {
	*recorder.Recorder
	dir     string
	journal *Journal
	sum     hash.Hash
	from    int64 // clock sample that the next hash begins with
	doubt   bool  // what is on the disk may not be what sum saw
	late    bool  // some of it was recorded before a cut
}

func newSound(dir string, r *recorder.Recorder, j *Journal) *Sound {
	s := &Sound{Recorder: r, dir: dir, journal: j, sum: sha256.New()}
	r.Tap(func(pcm []byte) { s.sum.Write(pcm) })
	return s
}

// Write appends samples of the room and of the speaker, of equal length. An
// error of either file does not keep the other from being written.
func (s *Sound) Write(room, speaker []float32) error {
	err := s.Recorder.Write(room, speaker)
	s.doubt = s.doubt || err != nil
	if s.Pos()/hashEvery == s.from/hashEvery {
		return err
	}
	if herr := s.chain(); err == nil {
		err = herr
	}
	return err
}

// Silence appends n samples of silence, with one line in the journal for all.
func (s *Sound) Silence(n int64) error {
	err := s.Recorder.Silence(n)
	s.doubt = s.doubt || err != nil
	return errors.Join(err, s.chain())
}

// chain puts the hash of the sound up to now into the journal. If it cannot,
// the next one will cover it.
func (s *Sound) chain() error {
	h := soundHash{s.from, s.Pos(), hex.EncodeToString(s.sum.Sum(nil)), s.late}
	if h.Until == h.From {
		return nil
	}
	if err := s.Checkpoint(); err != nil { // a power cut must not leave a hash of what it took
		return err
	}
	if s.doubt {
		l, err := recorder.Open(s.dir)
		if err == nil {
			h.SHA256, err = hashSound(l, h.From, h.Until)
		}
		if err != nil {
			return err
		}
	}
	if err := s.journal.hashed(h); err != nil {
		s.doubt = true
		return err
	}
	s.from, s.doubt, s.late = h.Until, false, false
	s.sum.Reset()
	return nil
}

// Close puts what is left into the journal, writes the labels and finishes the
// last file.
func (s *Sound) Close() error {
	err := s.chain()
	if cerr := s.Recorder.Close(); err == nil {
		err = cerr
	}
	return err
}

// hashSound is the hash of what an audio log holds between two clock samples.
func hashSound(l *recorder.Log, from, until int64) (string, error) {
	h := sha256.New()
	if err := l.Copy(h, from, until); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// checkSound compares the sound with the journal. It returns how many samples
// the journal has hashes of.
func (r *Record) checkSound(l *recorder.Log) (int64, error) {
	var until int64
	for _, h := range r.sounds {
		if h.Until > l.Samples() {
			return until, fmt.Errorf(
				"%s: %v of audio were cut off: there were %v",
				r.Dir,
				audio.Duration(r.heard()-l.Samples()),
				audio.Duration(r.heard()),
			)
		}
		got, err := hashSound(l, h.From, h.Until)
		if err != nil {
			return until, err
		}
		if got != h.SHA256 {
			return until, fmt.Errorf(
				"%s: the audio between %s and %s is not what was recorded",
				r.Dir,
				clock(h.From),
				clock(h.Until),
			)
		}
		until = h.Until
	}
	if r.Format >= 2 && l.Samples() > until {
		return until, fmt.Errorf(
			"%s: the audio from %s on is not in the journal: it was added, or cut off before it was (see `coxswain mend`)",
			r.Dir,
			clock(until),
		)
	}
	return until, nil
}

// heard is how many samples the journal has hashes of.
func (r *Record) heard() int64 {
	if n := len(r.sounds); n > 0 {
		return r.sounds[n-1].Until
	}
	return 0
}
