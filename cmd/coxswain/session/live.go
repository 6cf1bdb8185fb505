package session

import (
	"context"
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
	beats  atomic.Int64         // turns of the loop, for the watchdog

	dry     uint64 // blocks that the speaker ran dry for, made up for
	told    uint64 // of these, told
	lost    uint64
	calls   uint64
	slept   time.Duration
	since   time.Time // up to here the clock has been kept
	died    time.Time // of the last callback of a dead stream
	retryAt time.Time
	probeAt time.Time
	backoff time.Duration
	opened  chan reopening // not nil while the device is being opened anew
	lacked  string         // the side that a probe looks for; empty: the stream died
	quietTo time.Time      // no other "ran dry" is spoken before
}

const (
	// silentAfter is how long a stream may be silent before it counts as dead:
	// PortAudio does not tell when a device is lost.
	silentAfter = 250 * time.Millisecond
	// worthSaying is how many blocks of silence the team is told of; shorter
	// holes are only logged.
	worthSaying = 20
	// probeEvery is how often a stream that lacks a side is opened anew to look
	// for it: PortAudio sees a new device only then.
	probeEvery = 15 * time.Second
)

// OpenLive opens the sound device, trying again for as long as wait. A gap
// longer than within ends the session.
func OpenLive(ctx context.Context, open func(*audio.Exchange) (Sound, error), wait, within time.Duration) (*Live, error) {
	l := &Live{open: open, asleep: asleep, within: within}
	for begun := time.Now(); ; {
		l.e = audio.NewExchange(10)
		var err error
		if l.dev, err = l.open(l.e); err == nil {
			return l, nil
		}
		if time.Since(begun) >= wait {
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
	tick := time.NewTicker(8 * time.Millisecond) // well below the lead of 30 ms
	defer tick.Stop()
	l.since, l.slept = time.Now(), l.asleep()
	l.sided()
	var f audio.Frame
	for {
		select {
		case <-ctx.Done():
			return
		case now := <-tick.C:
			l.beats.Add(1)
			l.wake(now)
			for l.e.Next(&f) {
				l.send(l.s.Step(f.Room[:], f.Speaker[:]))
			}
			l.watch(now)
			if l.s.over {
				return
			}
		}
	}
}

// send queues a rendered block, unless its moment has passed: for every block
// that the speaker ran dry, one is left out, so that the beat stays on the clock.
func (l *Live) send(block []float32) {
	dry, lost, _ := l.e.Troubles()
	if dry > l.dry {
		l.dry++
		return
	}
	if n := dry - l.told; n > 0 { // made up for: the hole is over
		l.told = dry
		text := fmt.Sprintf("the loudspeaker ran dry for %v", time.Duration(n)*10*time.Millisecond)
		if n < worthSaying || time.Now().Before(l.quietTo) {
			l.s.note(timeline.Fault, text)
		} else {
			l.s.fault(timeline.Fault, "fault.device", text)
			l.quietTo = time.Now().Add(time.Minute)
		}
	}
	if lost > l.lost {
		l.s.fault(timeline.Fault, "fault.device", fmt.Sprintf("%d blocks of sound were lost", lost-l.lost))
		l.lost = lost
	}
	l.e.Send(block)
}

// wake makes up for a suspended machine: its monotonic clock stood still, the
// patient's did not.
func (l *Live) wake(now time.Time) {
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
	l.since = l.since.Add(-gap)
	l.catchUp(now)
	l.s.fault(timeline.Fault, "fault.device", fmt.Sprintf("the machine slept for %v", gap.Round(time.Millisecond)))
}

// watch reopens the device when its callback has stopped, or a side is missing.
func (l *Live) watch(now time.Time) {
	select {
	case r := <-l.opened:
		l.opened = nil
		l.back(r, now)
		return
	default:
	}
	if n := l.e.Calls(); n != l.calls {
		l.calls, l.since = n, now
		if l.dev != nil && l.dev.Missing() != "" && now.After(l.probeAt) {
			l.lacked, l.died = l.dev.Missing(), now
			l.reopen()
		}
		return
	}
	if now.Sub(l.since) < silentAfter {
		return
	}
	if l.dev != nil {
		l.died, l.lacked, l.s.sound = l.since, "", "lost"
		slog.Warn("sound stream died; opening it again")
	}
	l.catchUp(now)
	if l.opened == nil && now.After(l.retryAt) {
		l.reopen()
	}
	if now.Sub(l.died) > l.within {
		l.s.note(timeline.Fault, "no sound device came back: the session ends")
		l.s.over = true
	}
}

// reopening is what came of opening the device anew.
type reopening struct {
	dev Sound
	e   *audio.Exchange
	err error
}

// reopen closes the device and opens it anew without making the session wait:
// a dead sound server can hold either call for seconds.
func (l *Live) reopen() {
	old, done, fresh := l.dev, make(chan reopening, 1), audio.NewExchange(10)
	l.dev, l.opened = nil, done
	go func() {
		if old != nil {
			old.Close()
		}
		dev, err := l.open(fresh)
		done <- reopening{dev, fresh, err}
	}()
}

// back goes on with a device that was opened anew, or tries again later.
func (l *Live) back(r reopening, now time.Time) {
	if r.err != nil {
		l.backoff = min(max(250*time.Millisecond, 2*l.backoff), time.Second)
		l.retryAt = now.Add(l.backoff)
		slog.Debug("reopen", "error", r.err)
		return
	}
	l.catchUp(now)
	l.e, l.dev, l.dry, l.told, l.lost, l.calls, l.since, l.backoff = r.e, r.dev, 0, 0, 0, 0, now, 0
	l.s.sound = l.side()
	switch missing := l.dev.Missing(); {
	case l.lacked == "":
		l.s.fault(timeline.Fault, "fault.device", fmt.Sprintf("sound was lost for %v", now.Sub(l.died).Round(time.Millisecond)))
		l.sided()
	case missing == "":
		l.s.fault(timeline.Recovered, "fault.device.back", "the "+l.lacked+" is back")
	default:
		l.probeAt = now.Add(probeEvery)
	}
}

// side is how the sound is: whole, or what it lacks.
func (l *Live) side() string {
	if m := l.dev.Missing(); m != "" {
		return "no " + m
	}
	return "whole"
}

// sided says which side of the sound is missing.
func (l *Live) sided() {
	l.s.sound = l.side()
	switch l.dev.Missing() {
	case "microphone":
		l.s.fault(timeline.Fault, "fault.microphone", "no microphone: no callout can be heard")
	case "loudspeaker":
		l.s.note(timeline.Fault, "no loudspeaker: nothing can be said")
	}
	l.probeAt = time.Now().Add(probeEvery)
}

// catchUp lets the session clock go on while there is no sound, so that the
// cycle and the intervals stay right.
func (l *Live) catchUp(now time.Time) {
	var silence [audio.Block]float32
	for behind := now.Sub(l.since); behind >= 10*time.Millisecond; behind -= 10 * time.Millisecond {
		l.s.Step(silence[:], silence[:])
		l.beats.Add(1)
		l.since = l.since.Add(10 * time.Millisecond)
	}
}
