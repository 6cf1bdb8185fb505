package audiotest

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/blas/blas32"

	"coxswain/audio"
)

// Room carries the loudspeaker's sound back to the microphone: a loop
// delay, then sparse reflections that decay with a reverberation time ("velvet
// noise", Karjalainen and Jarvelainen, AES 30th Conference, 2007).
type Room struct {
	taps []tap
	past []float32 // ring of what was played
	pos  int
	back []float32 // what comes back of a block
}

type tap struct {
	delay int
	gain  float32
}

// NewRoom makes a room with a loop delay and reverberation time in seconds; the
// direct sound comes back with gain.
func NewRoom(delay, t60 float64, gain float32) *Room {
	r := rand.New(rand.NewPCG(5, 8))
	at := int(delay * audio.Rate)
	room := &Room{taps: []tap{{at, gain}}, past: make([]float32, 1<<16)}
	const density = 1200 // reflections a second
	for t := 0.002; t < t60; t += 1.0 / density {
		g := gain * float32(0.35*math.Pow(10, -3*t/t60))
		if r.IntN(2) == 0 {
			g = -g
		}
		room.taps = append(room.taps, tap{at + int((t+r.Float64()/density)*audio.Rate), g})
	}
	return room
}

// Hear adds what comes back of played to room, block by block of equal length.
func (v *Room) Hear(room, played []float32) {
	mask := len(v.past) - 1
	for i, x := range played {
		v.past[(v.pos+i)&mask] = x
	}
	v.back = append(v.back[:0], make([]float32, len(room))...)
	for _, t := range v.taps {
		at := (v.pos - t.delay) & mask
		n := min(len(room), len(v.past)-at)
		add(t.gain, v.past[at:at+n], v.back[:n])
		add(t.gain, v.past[:len(room)-n], v.back[n:])
	}
	for i, x := range v.back {
		room[i] += x
	}
	v.pos += len(played)
}

// add adds gain times x to y, of the same length.
func add(gain float32, x, y []float32) {
	blas32.Axpy(gain, blas32.Vector{N: len(x), Inc: 1, Data: x}, blas32.Vector{N: len(y), Inc: 1, Data: y})
}
