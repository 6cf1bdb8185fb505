package session

import (
	"errors"
	"fmt"
	"log/slog"
	"time"

	"coxswain/audio"
	"coxswain/timeline"
)

// ErrSpent marks an error of a device that this process holds itself and cannot let go of: only
// another process can open it.
var ErrSpent = errors.New("this process cannot let go of the sound device")

// spentPatience is how long a device is tried for all that: beside a stream that was left behind
// a sound server opens another.
const spentPatience = 5 * time.Second

// Spent reports whether the session is over because its process cannot have sound any more: it is
// to be left as it is, for another process to go on with.
func (l *Live) Spent() bool { return l.spent }

// reopening is what came of opening the device anew.
type reopening struct {
	dev Sound
	e   *audio.Exchange
	err error
}

// reopen closes the device and, after a pause, opens it anew without making the session wait:
// a dead sound server can hold either call for seconds.
func (l *Live) reopen(pause time.Duration) {
	old, done, fresh := l.dev, make(chan reopening, 1), l.exchange()
	l.dev, l.opened = nil, done
	go func() {
		if old != nil {
			old.Close()
		}
		time.Sleep(pause)
		dev, err := l.open(fresh)
		done <- reopening{dev, fresh, err}
	}()
}

// back goes on with a device that was opened anew, or tries again later.
func (l *Live) back(r reopening, now time.Duration) {
	if r.err != nil {
		l.backoff = min(max(250*time.Millisecond, 2*l.backoff), time.Second)
		l.retryAt = now + l.backoff
		slog.Debug("reopen", "error", r.err)
		if errors.Is(r.err, ErrSpent) && now-l.died >= spentPatience {
			l.s.note(timeline.Fault, "this process holds the sound device and cannot use it: coxswain is started anew")
			l.spent, l.s.over = true, true
		}
		return
	}
	l.gone(now)
	if l.lacked == "" {
		l.dog.back(now, l.ended)
	}
	l.clock.start(now)
	l.beat.reopened(now)
	l.e, l.dev, l.called = r.e, r.dev, now+firstCallback
	l.s.way = wayBack{} // it may be another device
	l.mic.samples, l.mic.told = 0, false
	l.dry, l.told, l.lost, l.calls, l.backoff, l.ahead = 0, 0, 0, 0, 0, 0
	l.s.sound = l.side()
	switch missing := l.dev.Missing(); {
	case l.lacked == "":
		l.hole(fmt.Sprintf("sound was lost for %v", (now-l.died).Round(time.Millisecond)), now-l.died, now)
		l.sided()
	case missing == "":
		l.s.fault(timeline.Recovered, "fault.device.back", "the "+l.lacked+" is back")
	default:
		l.probeAt = now + probeEvery
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
	l.probeAt = l.clock.now() + probeEvery
}
