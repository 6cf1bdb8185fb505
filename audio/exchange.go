package audio

import (
	"sync/atomic"
	"time"
)

// Frame is one block of the session: what the room sounded like and what the
// speaker played at the same samples of the clock.
type Frame struct {
	Room, Speaker [Block]float32
	Gap           bool // the device reported an over- or underflow, or sound was lost, in or just before this block
}

// Exchange carries frames between the device callback and the session, both
// ways, without locks. Callback is the only code that runs in the device's
// thread.
type Exchange struct {
	room, played, speaker *Ring
	starved               atomic.Uint64 // blocks for which the speaker had nothing
	lost                  atomic.Uint64 // blocks that the session was too slow to take
	roomFlags             atomic.Uint64 // times that the device lost sound of the room
	speakerFlags          atomic.Uint64 // times that the device had nothing to play, or left some out
	calls                 atomic.Uint64
	wrote, gapAt          atomic.Int64 // samples of the room so far, and where the last gap lies (+1)
	read                  int64
	sent, took            int64     // samples for the speaker: queued by the session, taken by the callback
	sounds                time.Time // when the buffer that comes next is heard; zero: not known
	heard                 moments
	out                   [Block]float32
}

// Played tells when a piece of what was sent to the speaker sounds.
type Played struct {
	Sample int64 // its first one, counted over all that was sent: see Sent
	At     time.Time
}

// moments is a queue of Played between the callback and the session.
type moments struct {
	buf  [512]Played
	r, w atomic.Uint64
}

func (q *moments) put(p Played) {
	if w := q.w.Load(); w-q.r.Load() < uint64(len(q.buf)) { // else nobody has looked for five seconds
		q.buf[w%uint64(len(q.buf))] = p
		q.w.Store(w + 1)
	}
}

// NewExchange returns an exchange that buffers up to seconds of room audio for
// a session that is late, and has Lead blocks of silence for the speaker.
func NewExchange(seconds int) *Exchange {
	e := &Exchange{room: NewRing(seconds * Rate), played: NewRing(seconds * Rate)}
	e.Ahead(Lead)
	return e
}

// LeadFor is how many blocks ahead the speaker must be rendered for a device that
// holds this much sound: it calls for all of that at once. At least Lead.
func LeadFor(buffer time.Duration) int {
	const usual = 20 * time.Millisecond
	return min(Lead+int(max(0, buffer-usual)+Duration(Block)-1)/int(Duration(Block)), 48)
}

// Ahead makes the lead of an exchange that nobody uses yet so many blocks, of up
// to 64. The session then renders as far ahead.
func (e *Exchange) Ahead(blocks int) {
	e.speaker, e.sent = NewRing(64*Block), 0
	e.Send(make([]float32, min(blocks, 64)*Block))
}

// Callback hands over one buffer of the device. It copies and returns: no
// allocation, no lock, no waiting, whatever the session does.
func (e *Exchange) Callback(in, out []float32) {
	e.calls.Add(1)
	at := e.sounds
	if e.sounds = (time.Time{}); at.IsZero() {
		at = time.Now()
	}
	for len(out) > 0 {
		n := min(len(out), Block)
		spk := e.out[:n]
		if e.speaker.Read(spk) {
			e.heard.put(Played{e.took, at})
			e.took += int64(n)
		} else {
			clear(spk)
			e.starved.Add(1)
		}
		at = at.Add(Duration(int64(n)))
		copy(out, spk)
		if e.room.Free() < n || e.played.Free() < n {
			e.lost.Add(1)
			e.gapAt.Store(e.wrote.Load() + 1)
		} else {
			e.room.Write(in[:n])
			e.played.Write(spk)
			e.wrote.Add(int64(n))
		}
		in, out = in[n:], out[n:]
	}
}

// Sounds tells in how long the buffer that comes next will be heard, by the device's
// own account. Only the device's thread may say so.
func (e *Exchange) Sounds(in time.Duration) { e.sounds = time.Now().Add(in) }

// Sent counts the samples that were queued for the speaker, the silence of the lead
// among them: the number of the first one that Send queues next.
func (e *Exchange) Sent() int64 { return e.sent }

// Played returns the next piece of what was sent that the device has taken, in order,
// or reports false if there is none. Of what it was not asked for 5 s long pieces lack.
func (e *Exchange) Played() (p Played, ok bool) {
	q := &e.heard
	r := q.r.Load()
	if r == q.w.Load() {
		return Played{}, false
	}
	p = q.buf[r%uint64(len(q.buf))]
	q.r.Store(r + 1)
	return p, true
}

// Flag counts what the device reported with the buffer that comes next: that
// sound of the room was lost (an overflow) or is made up (an underflow), and that
// the speaker had nothing to play or left some out. The block is marked as a gap.
func (e *Exchange) Flag(room, speaker bool) {
	if room {
		e.roomFlags.Add(1)
	}
	if speaker {
		e.speakerFlags.Add(1)
	}
	e.gapAt.Store(e.wrote.Load() + 1)
}

// Flags tells how often Flag was called for the room and for the speaker.
func (e *Exchange) Flags() (room, speaker uint64) { return e.roomFlags.Load(), e.speakerFlags.Load() }

// Calls counts callbacks: a count that stands still means a dead stream.
func (e *Exchange) Calls() uint64 { return e.calls.Load() }

// Next fills f with the next block, or reports false if none is there yet. The
// session then renders a block for the speaker and gives it to Send.
func (e *Exchange) Next(f *Frame) bool {
	if e.played.Len() < Block || !e.room.Read(f.Room[:]) || !e.played.Read(f.Speaker[:]) {
		return false
	}
	e.read += Block
	f.Gap = false
	if at := e.gapAt.Load() - 1; at >= 0 && at < e.read {
		f.Gap = e.gapAt.CompareAndSwap(at+1, 0)
	}
	return true
}

// Send queues a rendered block for the speaker; false: there is no room for it.
func (e *Exchange) Send(block []float32) bool {
	if !e.speaker.Write(block) {
		return false
	}
	e.sent += int64(len(block))
	return true
}

// Troubles counts what went wrong since the start: speaker blocks missed, room
// blocks lost, and over- and underflows of the device.
func (e *Exchange) Troubles() (starved, lost, flags uint64) {
	return e.starved.Load(), e.lost.Load(), e.roomFlags.Load() + e.speakerFlags.Load()
}
