package session

import (
	"time"

	"coxswain/audio"
)

// blockTime is the length of a block.
const blockTime = time.Second * audio.Block / audio.Rate

// A device loses sound without a word: when the machine is too busy, when the
// process was stopped, when it is opened anew. A keeper holds the session's
// clock, which counts samples, to the boot clock (clock_gettime(2): it goes on
// while the machine sleeps). Sound comes in bursts, so that the session is
// always a little behind; what stays behind for as long as patience lasts will
// not come any more.
type keeper struct {
	now      func() time.Duration // the boot clock
	origin   time.Duration        // its reading at sample 0
	patience time.Duration
	from     time.Duration // the present look began here
	low      time.Duration // least and greatest lag since
	high     time.Duration
	calm     time.Duration // when the session was last ahead
}

const (
	leastPatience = 250 * time.Millisecond
	mostPatience  = 2 * time.Second
	// slack is how far the session may be off before it is put right: well
	// above a device's bursts, well below what anyone notices.
	slack = 40 * time.Millisecond
)

// newKeeper returns a keeper for a session that stands at sample pos and should
// have done so for some time.
func newKeeper(now func() time.Duration, pos int64, ago time.Duration) keeper {
	k := keeper{now: now, patience: leastPatience}
	k.origin = now() - audio.Duration(pos)
	if pos == 0 && ago > 0 && ago < 10*time.Second { // sample 0 has its wall clock: what was lost since then is a gap
		k.origin -= ago
	}
	k.start(now())
	return k
}

// lag is how far sample pos is behind the clock.
func (k *keeper) lag(pos int64) time.Duration { return k.now() - k.origin - audio.Duration(pos) }

// start begins a new look.
func (k *keeper) start(now time.Duration) {
	k.from, k.low, k.high = now, time.Hour, -time.Hour
}

// settled returns how far the session has been behind (or, negative, ahead) all
// the time that patience lasts; 0 while that is not known, or within slack.
func (k *keeper) settled(pos int64, now time.Duration) time.Duration {
	lag := k.lag(pos)
	k.low, k.high = min(k.low, lag), max(k.high, lag)
	if now-k.from < k.patience {
		return 0
	}
	low, high := k.low, k.high
	k.start(now)
	switch {
	case low > slack:
		return low
	case high < -slack: // it was made up for too soon: wait longer from now on
		k.patience, k.calm = min(2*k.patience, mostPatience), now
		return high
	case now-k.calm > time.Minute:
		k.patience, k.calm = max(k.patience/2, leastPatience), now
	}
	return 0
}

// gaps gathers what was made up for, so that a starved machine does not fill
// the journal.
type gaps struct {
	n           int
	total       time.Duration
	first, last time.Duration // when
}

func (g *gaps) add(gap, now time.Duration) {
	if g.n == 0 {
		g.first = now
	}
	g.n, g.total, g.last = g.n+1, g.total+gap, now
}

// told returns how many there were and how long they are in all, once a second
// has passed without another one, or ten in all; 0 while there is nothing to tell.
func (g *gaps) told(now time.Duration) (n int, total time.Duration) {
	if g.n == 0 || now-g.last < time.Second && now-g.first < 10*time.Second {
		return 0, 0
	}
	n, total = g.n, g.total.Round(blockTime)
	*g = gaps{}
	return n, total
}

// losses are how much sound never came, second by second of the last half minute.
type losses struct {
	lost [30]time.Duration
	at   int64 // the last second that was counted
}

// add counts what was lost up to now, at most all of the time that lies behind.
func (l *losses) add(gap, now time.Duration) {
	l.pass(now)
	for at := l.at; gap > 0 && at > l.at-int64(len(l.lost)) && at >= 0; at-- {
		slot := &l.lost[at%int64(len(l.lost))]
		take := min(gap, time.Second-*slot)
		*slot, gap = *slot+take, gap-take
	}
}

// pass forgets what is older than half a minute.
func (l *losses) pass(now time.Duration) {
	to := int64(now / time.Second)
	if to-l.at >= int64(len(l.lost)) {
		l.lost, l.at = [30]time.Duration{}, to
	}
	for ; l.at < to; l.at++ {
		l.lost[(l.at+1)%int64(len(l.lost))] = 0
	}
}

// share is how much of the last half minute was lost, 0 to 1.
func (l *losses) share(now time.Duration) float64 {
	l.pass(now)
	sum := time.Duration(0)
	for _, x := range l.lost {
		sum += x
	}
	return sum.Seconds() / float64(len(l.lost))
}

// watchdog is how long a stream may be silent before it is opened anew, which costs
// sound too: longer each time that this did not help for long, as on a machine that is
// too busy to serve any stream.
type watchdog struct {
	limit  time.Duration // 0: silentAfter
	opened time.Duration // when it was last opened anew
	paused time.Duration // before that, as it had ended at once
}

const (
	mostSilent = 4 * time.Second
	heldWell   = 30 * time.Second
)

// patience is how long it waits.
func (w *watchdog) patience() time.Duration { return max(silentAfter, w.limit) }

// back notes that a stream that died was opened anew at now. One that had ended by itself was not too slow.
func (w *watchdog) back(now time.Duration, ended bool) {
	switch {
	case w.opened == 0 || now-w.opened >= heldWell:
		w.limit = silentAfter
	case !ended:
		w.limit = min(2*w.patience(), mostSilent)
	}
	w.opened = now
}

// pause is how long to wait before a stream that died is opened anew: not at all, unless one ends as
// soon as it is opened, again and again.
func (w *watchdog) pause(now time.Duration, ended bool) time.Duration {
	if !ended || w.opened == 0 || now-w.opened > time.Second {
		w.paused = 0
	} else {
		w.paused = min(max(50*time.Millisecond, 2*w.paused), time.Second)
	}
	return w.paused
}
