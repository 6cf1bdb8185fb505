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
	acked   atomic.Uint64
	failing atomic.Pointer[string] // the last error, nil while all is well
	wake    chan struct{}
	done    sync.WaitGroup
}

// Journal keeps events: a record's journal, or a test's on a bad disk. Append
// returns when the event is safe.
type Journal interface {
	Append(timeline.Event) (timeline.Event, error)
	Close() error
}

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

func (l *ledger) flush() {
	for {
		l.mu.Lock()
		if len(l.backlog) == 0 {
			l.mu.Unlock()
			return
		}
		e := l.backlog[0]
		l.mu.Unlock()
		if _, err := l.j.Append(e); err != nil {
			s := err.Error()
			l.failing.Store(&s)
			return
		}
		l.failing.Store(nil)
		l.mu.Lock()
		l.backlog = l.backlog[1:]
		l.mu.Unlock()
		l.acked.Store(e.Seq)
	}
}

// Failing returns why events cannot be written at present, or "".
func (l *ledger) Failing() string {
	if p := l.failing.Load(); p != nil {
		return *p
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
