package session

import (
	"time"

	"coxswain/audio"
	"coxswain/intents"
)

const (
	// holedNeed is the confidence that a callout needs whose sound has holes: one of 0.62 was another.
	// Set by hand, not measured.
	holedNeed = 0.8
	holeLeast = 50 * time.Millisecond // lost in all, that can turn one sound into another
	holeNear  = audio.Rate            // samples before a phrase, and behind it, where its lost sound may be made up for
)

// holes are the last stretches that were made up with silence, or left out, newest last.
type holes struct {
	list [16]hole
	n    int
}

// hole is a stretch of samples of the session, with how much sound is lost in it.
type hole struct {
	from, to int64
	lost     time.Duration
}

// add notes that silence up to a sample stands for lost sound. What goes on with the last hole is the same
// one: a device that is gone for long is made up for piece by piece.
func (h *holes) add(at int64, lost time.Duration) {
	if lost <= 0 {
		return
	}
	from := at - int64(lost.Seconds()*audio.Rate)
	if h.n > 0 {
		if last := &h.list[(h.n-1)%len(h.list)]; from <= last.to {
			last.to, last.lost = at, last.lost+lost
			return
		}
	}
	h.list[h.n%len(h.list)] = hole{from, at, lost}
	h.n++
}

// within is how much sound is lost between two samples, or near them.
func (h *holes) within(from, to int64) (lost time.Duration) {
	for _, x := range h.list[:min(h.n, len(h.list))] {
		if x.to >= from-holeNear && x.from <= to+holeNear {
			lost += x.lost
		}
	}
	return lost
}

// doubted is a result that needs more, if its sound has holes: it is asked about sooner.
func (h *holes) doubted(r intents.Result) intents.Result {
	const up = audio.Rate / audio.ListenRate
	if h.within(r.Start*up, r.End*up) >= holeLeast {
		r.Need = max(r.Need, holedNeed)
	}
	return r
}
