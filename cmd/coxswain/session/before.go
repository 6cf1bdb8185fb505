package session

import (
	"time"

	"coxswain/audio"
)

// before holds the last sound in memory, until a case begins that it belongs
// to. It never reaches a disk without one.
type before struct {
	room, speaker []int16 // rings
	n             int     // samples that are in them
	at            int     // where the next one goes
}

func newBefore(length time.Duration) *before {
	n := int(length/(10*time.Millisecond)) * audio.Block
	return &before{room: make([]int16, n), speaker: make([]int16, n)}
}

// add takes a block, and forgets the oldest one if there is no more room.
func (b *before) add(room, speaker []float32) {
	if len(b.room) == 0 {
		return
	}
	for i := range room {
		b.room[b.at], b.speaker[b.at] = audio.PCM16(room[i]), audio.PCM16(speaker[i])
		if b.at++; b.at == len(b.room) {
			b.at = 0
		}
	}
	b.n = min(b.n+len(room), len(b.room))
}

// take gives away what is held, and begins anew: nothing is copied, for the loop
// has no time for that.
func (b *before) take() before {
	held := *b
	*b = before{room: make([]int16, len(b.room)), speaker: make([]int16, len(b.speaker))}
	return held
}

// each calls f with what is held, oldest first, a second at a time.
func (b *before) each(f func(room, speaker []float32)) {
	var room, speaker [audio.Rate]float32
	for done := 0; done < b.n; {
		n := min(b.n-done, audio.Rate)
		for i := range n {
			k := b.at - b.n + done + i
			if k < 0 {
				k += len(b.room)
			}
			room[i], speaker[i] = float32(b.room[k])/32767, float32(b.speaker[k])/32767
		}
		f(room[:n], speaker[:n])
		done += n
	}
}

// forget drops what is held, its samples too.
func (b *before) forget() {
	clear(b.room)
	clear(b.speaker)
	b.n, b.at = 0, 0
}
