package session

import (
	"math"

	"coxswain/audio"
	"coxswain/audio/echo"
)

// Listener turns a block of the room at 48 kHz into what a recogniser hears:
// 16 kHz, without our own sound in it.
type Listener struct {
	room, speaker *audio.Decimator
	echo          *echo.Canceller // nil: our own sound is left in
	a, b          []int16
	level         float64 // mean square of the room, a slow average
}

// NewListener returns a listener; the loudspeaker's sound is held back by delay
// blocks before it is cancelled.
func NewListener(cancel bool, delay int) (*Listener, error) {
	l := &Listener{
		room:    audio.NewDecimator(audio.Block),
		speaker: audio.NewDecimator(audio.Block),
		a:       make([]int16, audio.Block/3),
		b:       make([]int16, audio.Block/3),
	}
	var err error
	if cancel {
		l.echo, err = echo.New(delay)
	}
	return l, err
}

// Hear returns the block for the recogniser, valid until the next call.
func (l *Listener) Hear(room, speaker []float32) []int16 {
	sum := 0.0
	for i, x := range l.room.Process(room) {
		l.a[i] = audio.PCM16(x)
		sum += float64(x) * float64(x)
	}
	l.level += 0.02 * (sum/float64(len(l.a)) - l.level) // half a second
	if l.echo == nil {
		return l.a
	}
	for i, x := range l.speaker.Process(speaker) {
		l.b[i] = audio.PCM16(x)
	}
	return l.echo.Cancel(l.a, l.b)
}

// Enhancement is how much quieter our own sound became, in dB.
func (l *Listener) Enhancement() float64 {
	if l.echo == nil {
		return 0
	}
	return l.echo.Enhancement()
}

// dBFS is the level of the room, in dB below full scale.
func (l *Listener) dBFS() float64 { return 10 * math.Log10(l.level+1e-12) }
