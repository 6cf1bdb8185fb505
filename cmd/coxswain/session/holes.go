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

// holes are the last stretches that were made up with silence, newest last.
type holes struct {
	list [16]struct {
		at   int64 // sample of the session that it ends with
		lost time.Duration
	}
	n int
}

// add notes that silence stands for lost sound up to a sample.
func (h *holes) add(at int64, lost time.Duration) {
	slot := &h.list[h.n%len(h.list)]
	slot.at, slot.lost = at, lost
	h.n++
}

// within is how much sound is lost between two samples, or near them.
func (h *holes) within(from, to int64) (lost time.Duration) {
	for _, x := range h.list[:min(h.n, len(h.list))] {
		if x.at >= from-holeNear && x.at <= to+holeNear {
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
