package audio

import "sync/atomic"

// Frame is one block of the session: what the room sounded like and what the
// speaker played at the same samples of the clock.
type Frame struct {
	Pos           int64 // clock sample of the first sample
	Room, Speaker [Block]float32
	Gap           bool // the device lost samples, or the speaker ran dry, in or just before this block
}

// Exchange carries frames between the device callback and the session, both
// ways, without locks. Callback is the only code that runs in the device's
// thread.
type Exchange struct {
	room, played, speaker *Ring
	starved               atomic.Uint64 // blocks for which the speaker had nothing
	lost                  atomic.Uint64 // blocks that the session was too slow to take
	flags                 atomic.Uint64 // device over- and underflows
	calls                 atomic.Uint64
	out                   [Block]float32
}

// NewExchange returns an exchange that buffers up to seconds of room audio for
// a session that is late.
func NewExchange(seconds int) *Exchange {
	e := &Exchange{room: NewRing(seconds * Rate), played: NewRing(seconds * Rate), speaker: NewRing(16 * Block)}
	e.speaker.Write(make([]float32, Lead*Block))
	return e
}

// Callback hands over one buffer of the device. It copies and returns: no
// allocation, no lock, no waiting, whatever the session does.
func (e *Exchange) Callback(in, out []float32) {
	e.calls.Add(1)
	for len(out) > 0 {
		n := min(len(out), Block)
		spk := e.out[:n]
		if !e.speaker.Read(spk) {
			clear(spk)
			e.starved.Add(1)
		}
		copy(out, spk)
		if e.room.Free() < n || e.played.Free() < n {
			e.lost.Add(1)
		} else {
			e.room.Write(in[:n])
			e.played.Write(spk)
		}
		in, out = in[n:], out[n:]
	}
}

// Flag counts an over- or underflow that the device reported.
func (e *Exchange) Flag() { e.flags.Add(1) }

// Calls counts callbacks: a count that stands still means a dead stream.
func (e *Exchange) Calls() uint64 { return e.calls.Load() }

// Next fills f with the next block, or reports false if none is there yet. The
// session then renders a block for the speaker and gives it to Send.
func (e *Exchange) Next(f *Frame) bool {
	if e.played.Len() < Block || !e.room.Read(f.Room[:]) {
		return false
	}
	return e.played.Read(f.Speaker[:])
}

// Send queues a rendered block for the speaker.
func (e *Exchange) Send(block []float32) bool { return e.speaker.Write(block) }

// Troubles counts what went wrong since the start: speaker blocks missed, room
// blocks lost, and over- or underflows of the device.
func (e *Exchange) Troubles() (starved, lost, flags uint64) {
	return e.starved.Load(), e.lost.Load(), e.flags.Load()
}
