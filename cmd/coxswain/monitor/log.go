package monitor

import (
	"fmt"
	"io"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"
)

// Log writes lines without ever making the writer wait: a terminal or a pipe
// that nobody reads, or whose reader has gone, must not stop a session. Lines
// for which there is no room are dropped and counted, and the count is written
// when there is room again. A Log may be used from any goroutine.
type Log struct {
	w       io.Writer
	lines   chan []byte
	dropped atomic.Int64
	mu      sync.RWMutex // lines is closed only while nobody writes
	closed  bool
	done    chan struct{}
}

// logLines is how many lines wait for a slow reader.
const logLines = 256

// NewLog returns a log onto w, which it alone may write to from now on.
func NewLog(w io.Writer) *Log {
	l := &Log{w: w, lines: make(chan []byte, logLines), done: make(chan struct{})}
	go l.run()
	return l
}

func (l *Log) run() {
	defer close(l.done)
	for b := range l.lines {
		if n := l.dropped.Load(); n > 0 {
			if _, err := fmt.Fprintf(l.w, "coxswain: %d lines of the log were dropped: nobody read them\n", n); err == nil {
				l.dropped.Add(-n)
			}
		}
		if _, err := l.w.Write(b); err != nil { // its reader has gone
			l.dropped.Add(1)
		}
	}
}

// Write takes a line. It never fails and never waits.
func (l *Log) Write(p []byte) (int, error) {
	l.mu.RLock()
	defer l.mu.RUnlock()
	if !l.closed {
		select {
		case l.lines <- append([]byte(nil), p...):
			return len(p), nil
		default:
		}
	}
	l.dropped.Add(1)
	return len(p), nil
}

// Dropped is how many lines were dropped and not told of yet.
func (l *Log) Dropped() int64 { return l.dropped.Load() }

// Close writes what is queued, for up to a fifth of a second.
func (l *Log) Close() {
	l.mu.Lock()
	if !l.closed {
		l.closed = true
		close(l.lines)
	}
	l.mu.Unlock()
	select {
	case <-l.done:
	case <-time.After(200 * time.Millisecond):
	}
}

// LogTo has everything logged to w from now on, from a level on.
func LogTo(w io.Writer, level slog.Level) {
	slog.SetDefault(slog.New(slog.NewTextHandler(w, &slog.HandlerOptions{Level: level})))
}
