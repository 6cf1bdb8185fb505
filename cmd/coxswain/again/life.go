package again

import (
	"time"

	"github.com/coreos/go-systemd/v22/daemon"

	"coxswain/cmd/coxswain/monitor"
)

// The parent watches its child as the unit file has it (TimeoutStartSec, WatchdogSec, TimeoutStopSec).
// Variables for the tests.
var (
	startsFor = monitor.StartsFor // without a word from one that is not up yet
	silentFor = 10 * time.Second  // without a word from a session that was up
	endsFor   = 10 * time.Second  // from being asked to end
)

// lookEvery is how often the parent looks whether its child lives.
const lookEvery = 500 * time.Millisecond

// life is what a parent knows of its child: how long it has been silent for, as the parent itself
// lived it.
type life struct {
	bound  time.Duration // it hangs after so long; 0: it may be silent
	silent time.Duration
	looked time.Time
	ending bool
}

// begun is the life of a child that has not told that it is up: it may be waiting for a sound device,
// and says so.
func begun() life { return life{bound: startsFor} }

// hears takes what the child says of itself (sd_notify(3)).
func (l *life) hears(word string) {
	switch {
	case l.ending:
	case word == daemon.SdNotifyReady:
		l.bound, l.silent = silentFor, 0
	case word == daemon.SdNotifyWatchdog || word == monitor.Extends:
		l.silent = 0
	case word == daemon.SdNotifyStopping: // nobody asked: a drill is over, say
		l.bound = 0
	}
}

// ends has the child asked to end: from now on only its time counts.
func (l *life) ends() {
	if !l.ending {
		l.bound, l.silent, l.ending = endsFor, 0, true
	}
}

// hangs reports whether the child hangs. Who stops a terminal's job, or the whole machine, stops
// the parent as well: of a time in which it did not look itself nothing counts.
func (l *life) hangs(now time.Time) bool {
	gone := now.Sub(l.looked)
	l.looked = now
	if gone > 4*lookEvery {
		l.silent = 0
		return false
	}
	l.silent += gone
	if l.bound == 0 || l.silent < l.bound {
		return false
	}
	l.silent = 0
	return true
}
