package audiotest

import (
	"math"
	"math/rand/v2"

	"coxswain/audio"
)

// Room carries the loudspeaker's sound back to the microphone: a loop
// delay, then sparse reflections that decay with a reverberation time ("velvet
// noise", Karjalainen and Jarvelainen, AES 30th Conference, 2007).
type Room struct {
	taps []tap
	past []float32 // ring of what was played
	pos  int
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
	for i := range room {
		sum := float32(0)
		for _, t := range v.taps {
			sum += t.gain * v.past[(v.pos+i-t.delay)&mask]
		}
		room[i] += sum
	}
	v.pos += len(played)
}
