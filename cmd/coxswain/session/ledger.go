package session

import (
	"sync"
	"sync/atomic"
	"time"

	"coxswain/timeline"
)

// ledger puts events into the journal without making the session wait. In a
// replay it writes at once; live, a goroutine writes and the session asks what
// has been acknowledged. An event that cannot be written is kept and tried
// again, in order, until the disk takes it.
type ledger struct {
	j       Journal
	live    bool
	mu      sync.Mutex
	backlog []timeline.Event
	since   time.Time // the first of them waits since then, at most
	acked   atomic.Uint64
	failing atomic.Pointer[string] // the last error, nil while all is well
	wake    chan struct{}
	done    sync.WaitGroup
}

// Journal keeps events: a record's journal, or a test's on a bad disk. AppendAll
// returns when all of them are safe; after an error none is kept.
type Journal interface {
	AppendAll([]timeline.Event) error
	Close() error
}

// tooSlow is how long an event may wait before the team is told.
const tooSlow = 10 * time.Second

func newLedger(j Journal, live bool) *ledger {
	l := &ledger{j: j, live: live, wake: make(chan struct{}, 1)}
	if live {
		l.done.Go(func() {
			for range l.wake {
				l.flush()
			}
		})
	}
	return l
}

// Append takes an event that already has its number.
func (l *ledger) Append(e timeline.Event) {
	l.mu.Lock()
	if len(l.backlog) == 0 {
		l.since = time.Now()
	}
	l.backlog = append(l.backlog, e)
	l.mu.Unlock()
	l.Retry()
}

// Retry writes what is waiting, or has it written.
func (l *ledger) Retry() {
	if !l.live {
		l.flush()
		return
	}
	select {
	case l.wake <- struct{}{}:
	default:
	}
}

// flush writes all that waits at once, so that a slow disk makes it wait no longer the more there is. Where
// that is too much, as for a disk that is nearly full, as many as it takes.
func (l *ledger) flush() {
	most := mostAtOnce
	for {
		begun := time.Now()
		l.mu.Lock()
		waiting := l.backlog[:min(len(l.backlog), most)]
		l.mu.Unlock()
		if len(waiting) == 0 {
			return
		}
		if err := l.j.AppendAll(waiting); err != nil && len(waiting) > 1 {
			most = 1
			continue
		} else if err != nil {
			s := err.Error()
			l.failing.Store(&s)
			return
		}
		l.failing.Store(nil)
		l.mu.Lock()
		l.backlog, l.since = l.backlog[len(waiting):], begun // what has come since waits no longer
		l.mu.Unlock()
		l.acked.Store(waiting[len(waiting)-1].Seq)
	}
}

// mostAtOnce bounds what is tried again when it fails.
const mostAtOnce = 1000

// Failing returns why events cannot be written at present, or "".
func (l *ledger) Failing() string {
	if p := l.failing.Load(); p != nil {
		return *p
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.live && len(l.backlog) > 0 && time.Since(l.since) > tooSlow {
		return "the disk is too slow: events wait in memory"
	}
	return ""
}

// Acked is the number of the last event that is safe on the disk.
func (l *ledger) Acked() uint64 { return l.acked.Load() }

// Close writes what is left, for up to a second, and closes the journal.
func (l *ledger) Close() error {
	if l.live {
		close(l.wake)
		l.done.Wait()
	}
	for range 10 {
		if l.flush(); l.Failing() == "" {
			break
		}
		time.Sleep(100 * time.Millisecond)
	}
	return l.j.Close()
}
