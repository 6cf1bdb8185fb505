package session

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync/atomic"
	"time"

	"coxswain/audio"
	"coxswain/timeline"
)

// Sound is an open device, or a test's.
type Sound interface {
	Missing() string // "microphone" or "loudspeaker" if it runs without one
	Dead() bool      // it has ended by itself: nothing comes any more
	Close() error
}

// Live drives a session from a device, and brings the device back when it dies.
type Live struct {
	s      *Session
	e      *audio.Exchange
	dev    Sound
	open   func(*audio.Exchange) (Sound, error)
	asleep func() time.Duration // how long the machine has been suspended in all
	within time.Duration        // a longer gap ends the session
	buffer time.Duration        // how much sound the device holds
	beats  atomic.Int64         // turns of the loop, for the watchdog
	clock  keeper
	losses losses
	dog    watchdog
	beat   steadiness
	mic    stillness
	begun  time.Time // what the clock counts from, and how long the machine had slept then
	slept0 time.Duration

	unevenTo   time.Duration // an uneven beat is not said again before
	unevenSaid bool

	dry     uint64 // blocks that the speaker ran dry for, made up for
	told    uint64 // of these, told
	lost    uint64
	calls   uint64
	slept   time.Duration
	turned  time.Duration // the last turn of the loop; this and what follows by the boot clock
	called  time.Duration // the last callback, or later if we could not look
	died    time.Duration // up to here the sound of a dead stream came
	retryAt time.Duration
	probeAt time.Duration
	quietTo time.Duration // no other hole is spoken before
	holes   time.Duration // of late, and the last one's time
	holeAt  time.Duration
	backoff time.Duration
	opened  chan reopening // not nil while the device is being opened anew
	ended   bool           // the stream that died had ended by itself
	spent   bool           // no device can be opened in this process any more
	lacked  string         // the side that a probe looks for; empty: the stream died
	ahead   int            // blocks of sound to leave out: they were made up for before they came
	gaps    gaps           // in the sound of the room
	drops   gaps           // in what the loudspeaker played
}

const (
	// silentAfter is how long a stream may be silent before it counts as dead, though it has not ended.
	silentAfter = 250 * time.Millisecond
	// worthSaying is the silence that the team is told of; shorter holes are
	// only logged.
	worthSaying = time.Second
	// holesTogether is how far holes may be apart to count as one.
	holesTogether = 15 * time.Second
	// firstCallback is how much longer a new stream may be silent: its first callback comes within 0.33 s
	// at a load of 20 on two cores (measured, PulseAudio 16, 120 streams), unless the whole machine stalls.
	firstCallback = 750 * time.Millisecond
	// probeEvery is how often a stream that lacks a side is opened anew to look
	// for it: PortAudio sees a new device only then.
	probeEvery = 15 * time.Second
	// lateTurn is a turn of the loop so late that the device may have had no
	// turn either.
	lateTurn = 100 * time.Millisecond
)

// OpenLive opens the sound device, trying again for as long as wait. buffer is
// how much sound it holds; a gap longer than within ends the session.
func OpenLive(
	ctx context.Context,
	open func(*audio.Exchange) (Sound, error),
	buffer, wait, within time.Duration,
) (*Live, error) {
	l := &Live{open: open, asleep: asleep, within: within, buffer: buffer}
	for begun := time.Now(); ; {
		l.e = l.exchange()
		var err error
		if l.dev, err = l.open(l.e); err == nil {
			return l, nil
		}
		if waited := time.Since(begun); waited >= wait || errors.Is(err, ErrSpent) && waited >= spentPatience {
			return nil, err
		}
		slog.Warn("waiting for a sound device", "why", err)
		select {
		case <-ctx.Done():
			return nil, err
		case <-time.After(time.Second):
		}
	}
}

// exchange makes one for the device, with as much lead as its buffer wants.
func (l *Live) exchange() *audio.Exchange {
	e := audio.NewExchange(10)
	e.Ahead(audio.LeadFor(l.buffer))
	return e
}

// Turns counts the turns of the loop: a count that stands still means that it
// hangs. Any goroutine may ask.
func (l *Live) Turns() int64 { return l.beats.Load() }

// Close lets go of the device.
func (l *Live) Close() {
	if l.dev != nil {
		l.dev.Close()
		l.dev = nil
	}
}

// Run runs a session on the device until the context ends or the session is
// over. It closes neither.
func (l *Live) Run(ctx context.Context, s *Session) {
	l.s = s
	defer raise()()
	tick := time.NewTicker(8 * time.Millisecond) // well below the lead of 30 ms
	defer tick.Stop()
	begun, slept := time.Now(), l.asleep()
	l.begun, l.slept, l.slept0 = begun, slept, slept
	l.clock = newKeeper(
		func() time.Duration { return time.Since(begun) + l.asleep() - slept },
		s.pos,
		time.Since(s.o.Wall),
	)
	l.turned, l.called = l.clock.now(), l.clock.now()
	l.sided()
	for {
		select {
		case <-ctx.Done():
			l.fill(l.clock.lag(l.s.pos)) // the record ends where the session did
			return
		case <-tick.C:
			l.turn(l.clock.now())
			if l.s.over {
				return
			}
		}
	}
}

// turn takes what the device brought, and looks after clock and device.
func (l *Live) turn(now time.Duration) {
	l.beats.Add(1)
	if now-l.turned > lateTurn { // stopped or starved: give the device time to bring what it kept
		l.called = now
		l.clock.start(now)
	}
	l.turned = now
	l.wake()
	var f audio.Frame
	for l.e.Next(&f) {
		if l.ahead > 0 {
			l.ahead--
			l.s.holes.add(l.s.pos, blockTime)
			l.e.Send(make([]float32, audio.Block))
			continue
		}
		l.mic.hears(f.Room[:])
		l.send(l.s.Step(f.Room[:], f.Speaker[:]), now)
	}
	l.followBeat(now)
	l.followMicrophone(now)
	l.keep(now)
	l.watch(now)
	l.s.lostShare = l.losses.share(now)
}

// send queues a rendered block, unless its moment has passed: for every block
// that the speaker ran dry, one is left out, so that the beat stays on the clock.
func (l *Live) send(block []float32, now time.Duration) {
	dry, lost, _ := l.e.Troubles()
	b, beats := l.beatOf()
	if dry > l.dry {
		if l.dry++; beats {
			l.beat.missed(now, true)
		}
		return
	}
	if n := dry - l.told; n > 0 { // made up for: the hole is over
		l.told = dry
		l.drops.add(time.Duration(n)*blockTime, now)
	}
	if lost > l.lost { // the clock makes up for them
		slog.Warn("sound came faster than it could be taken", "blocks", lost-l.lost)
		l.lost = lost
	}
	switch sent := l.e.Send(block); {
	case beats && sent:
		l.beat.sent(b)
	case beats:
		l.beat.missed(now, true)
	}
}

// hole logs a hole in the sound, and says it if it is long, alone or with those
// just before it, and none was said for a minute.
func (l *Live) hole(text string, length, now time.Duration) {
	if now-l.holeAt > holesTogether {
		l.holes = 0
	}
	l.holes, l.holeAt = l.holes+length, now
	if l.holes <= worthSaying || now < l.quietTo {
		l.s.note(timeline.Fault, text)
		return
	}
	l.s.fault(timeline.Fault, "fault.device", text)
	l.holes, l.quietTo = 0, now+time.Minute
}

// wake makes up for a suspended machine: the patient's clock did not stand
// still.
func (l *Live) wake() {
	slept := l.asleep()
	gap := slept - l.slept
	if gap < time.Second {
		return
	}
	l.slept = slept
	if gap > l.within {
		l.s.note(timeline.Fault, fmt.Sprintf("the machine slept for %v: the session ends", gap.Round(time.Second)))
		l.s.over = true
		return
	}
	l.fill(gap)
	l.s.fault(timeline.Fault, "fault.device", fmt.Sprintf("the machine slept for %v", gap.Round(time.Millisecond)))
}

// keep makes up for sound that never came, and leaves out sound that was made
// up for before it came after all.
func (l *Live) keep(now time.Duration) {
	if off := l.clock.settled(l.s.pos, now); off > 0 && l.dev != nil {
		l.fill(off)
		l.gaps.add(off, now)
		l.losses.add(off, now)
	} else if off < 0 {
		l.ahead = int(-off / blockTime)
		l.s.note(timeline.Fault, fmt.Sprintf("%v of sound came too late and were left out", -off.Round(blockTime)))
	}
	if n, total := l.gaps.told(now); n > 0 {
		text := fmt.Sprintf("a gap of %v in the sound was made up with silence", total)
		if n > 1 {
			text = fmt.Sprintf("%d gaps of %v in all in the sound were made up with silence", n, total)
		}
		if _, _, flags := l.e.Troubles(); flags > 0 {
			text += fmt.Sprintf("; the device has reported %d over- and underflows", flags)
		}
		l.hole(text, total, now)
	}
	if n, total := l.drops.told(now); n > 0 {
		l.hole(fmt.Sprintf("the loudspeaker ran dry for %v, %d times", total, n), total, now)
	}
}

// fill lets the session's clock go on where there was no sound, so that the
// cycle and the intervals stay right. What is rendered for that time is past.
func (l *Live) fill(gap time.Duration) {
	var silence [audio.Block]float32
	whole := gap
	known := gap > worthSaying || l.s.sound == "lost" // told of by itself
	for ; gap >= blockTime; gap -= blockTime {
		l.s.Step(silence[:], silence[:])
		if _, beats := l.beatOf(); beats {
			l.beat.missed(l.turned, !known)
		}
		l.beats.Add(1)
	}
	l.s.holes.add(l.s.pos, whole-gap)
}

// gone fills in what a dead stream did not bring.
func (l *Live) gone(now time.Duration) {
	lag := l.clock.lag(l.s.pos)
	l.fill(lag)
	l.losses.add(lag, now)
}

// watch reopens the device when its callback has stopped, or a side is missing.
func (l *Live) watch(now time.Duration) {
	select {
	case r := <-l.opened:
		l.opened = nil
		l.back(r, now)
		return
	default:
	}
	dead := l.dev != nil && l.dev.Dead()
	if n := l.e.Calls(); n != l.calls && !dead {
		l.calls, l.called = n, now
		if l.dev != nil && l.dev.Missing() != "" && now > l.probeAt {
			l.lacked, l.died = l.dev.Missing(), now
			l.reopen(0)
		}
		return
	}
	if !dead && now-l.called < max(l.dog.patience(), 3*l.buffer) { // it calls for a buffer at a time
		return
	}
	if l.dev != nil {
		l.died, l.lacked, l.s.sound = now-l.clock.lag(l.s.pos), "", "lost"
		l.ended = dead
		slog.Warn("sound stream died; opening it again", "ended", dead)
	}
	l.gone(now)
	if l.opened == nil && now > l.retryAt {
		l.reopen(l.dog.pause(now, dead))
	}
	if now-l.died > l.within {
		l.s.note(timeline.Fault, "no sound device came back: the session ends")
		l.s.over = true
	}
}
