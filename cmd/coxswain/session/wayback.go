package session

import (
	"fmt"
	"math/rand/v2"
	"time"

	"coxswain/audio"
	"coxswain/audio/echo"
	"coxswain/timeline"
)

// wayBack finds how late our own voice comes back to the microphone, from the first
// sentence that sounds and comes back: over a radio loudspeaker or a call that is later than
// any buffer tells, and then neither the echo canceller nor the gate knows our voice.
type wayBack struct {
	room, speaker []float32          // what was heard and played since then, at audio.ListenRate
	found         chan time.Duration // not nil while it is being looked for
	rest          int                // blocks until it is looked for again
	done          bool
}

const (
	// wayBackOf is how much is listened to: the first sentence, and what comes back of it.
	wayBackOf = 7 * audio.ListenRate
	// wayBackMost is the longest way that is looked for.
	wayBackMost = 3 * audio.ListenRate
	// wayBackClear is how far it must stand out: 48 for a voice that comes back at 0.03 into
	// noise of 0.01, 5 where none does; for the beat alone 20 to 120, 11 where none does, never
	// a beat beside it (measured).
	wayBackClear = 20
	// wayBackHiss is noise that is added, of one in 10,000 of full scale, what a quiet microphone has
	// (common practice, no source): a pure tone without any would be found to match anything.
	wayBackHiss = 3.3
	// wayBackRest is how many blocks pass before it is looked for again: nobody may have been able
	// to hear the first sentence for noise, or the loudspeaker was switched on later.
	wayBackRest = int(time.Minute / blockTime)
	// wayBackNear is how much later than the least way the canceller may still look.
	wayBackNear = 180 * time.Millisecond
)

// add takes a block of both, and returns the way once it is known; 0 otherwise. apart: it
// is looked for beside the loop, which has no time for that.
func (w *wayBack) add(room, speaker []int16, apart bool) time.Duration {
	if w.found != nil {
		select {
		case d := <-w.found:
			w.found, w.done, w.rest = nil, d > 0, wayBackRest
			return d
		default:
			return 0
		}
	}
	if w.rest--; w.done || w.rest > 0 || len(w.speaker) == 0 && !loudEnough(speaker) {
		return 0
	}
	for i := range room {
		w.room, w.speaker = append(w.room, float32(room[i])), append(w.speaker, float32(speaker[i]))
	}
	if len(w.room) < wayBackOf {
		return 0
	}
	found, played, heard := make(chan time.Duration, 1), w.speaker, w.room
	w.found, w.room, w.speaker = found, nil, nil
	look := func() {
		hiss := rand.New(rand.NewPCG(1, 1))
		for i := range heard {
			heard[i] += float32(hiss.NormFloat64() * wayBackHiss)
		}
		samples, clear := audio.LoopDelay(played, heard, wayBackMost)
		if clear < wayBackClear {
			samples = 0
		}
		found <- time.Duration(samples) * time.Second / audio.ListenRate
	}
	if apart {
		go look()
	} else {
		look()
	}
	return 0
}

// loudEnough reports whether the loudspeaker says something in a block.
func loudEnough(speaker []int16) bool {
	const audible = 1e4 // mean square
	sum := 0.0
	for _, x := range speaker {
		sum += float64(x) * float64(x)
	}
	return sum > audible*float64(len(speaker))
}

// followWay has canceller and gate look where our voice comes back, if that is not where
// they were told to.
func (s *Session) followWay() {
	if s.listener.echo == nil {
		return
	}
	way := s.way.add(s.listener.a, s.listener.b, s.o.Live)
	if way == 0 || way > s.o.LoopDelay-10*time.Millisecond && way < s.o.LoopDelay+wayBackNear {
		return
	}
	least := max(10*time.Millisecond, (way - 20*time.Millisecond).Truncate(blockTime))
	canceller, err := echo.New(int(least/blockTime) - 1)
	if err != nil {
		return // the one that there is goes on
	}
	s.listener.echo, s.o.LoopDelay = canceller, least
	s.note(timeline.Fault, fmt.Sprintf("our own voice comes back after %v: the echo canceller looks there from now on; "+
		"set loop_delay_ms to %d", way.Round(time.Millisecond), least.Milliseconds()))
}
