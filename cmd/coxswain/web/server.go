package web

import (
	"context"
	"errors"
	"log/slog"
	"net"
	"net/http"
	"sync"
	"time"
)

const (
	// mostConnections is how many connections a server keeps: a ward has a few
	// displays and a monitor.
	mostConnections = 64
	// mostStreams is how many displays may follow a session at once.
	mostStreams = 8
)

// NewServer returns a server that nobody can wear out by holding connections:
// what is slow to ask, idle or slow to read is closed, and where there are too
// many the longest idle one makes room. write bounds an answer; a stream of
// events moves its own deadline.
func NewServer(h http.Handler, write time.Duration) *http.Server {
	c := &connections{most: mostFor(descriptors()), idle: map[net.Conn]time.Time{}, busy: map[net.Conn]bool{}}
	return &http.Server{
		Handler: h, ConnState: c.changed, MaxHeaderBytes: 16 << 10,
		ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 10 * time.Second, IdleTimeout: 30 * time.Second, WriteTimeout: write,
		ErrorLog: slog.NewLogLogger(slog.Default().Handler(), slog.LevelDebug),
	}
}

// Serve serves a page until the context ends.
func Serve(ctx context.Context, ln net.Listener, h http.Handler) error {
	s := NewServer(h, 10*time.Minute) // a browser reads sound as it plays it
	defer context.AfterFunc(ctx, func() { s.Close() })()
	if err := s.Serve(ln); !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}

// mostFor is how many connections a server keeps in a process that may have so many
// open files: whoever opens them must not take those that the sound, the record and a
// recogniser that is started again need.
func mostFor(files uint64) int { return int(min(mostConnections, max(8, files/4))) }

// connections counts a server's connections.
type connections struct {
	most int
	mu   sync.Mutex
	idle map[net.Conn]time.Time // new ones that asked nothing yet, and idle ones: since when
	busy map[net.Conn]bool
}

// changed is called by the server with every change of a connection's state.
func (c *connections) changed(conn net.Conn, state http.ConnState) {
	c.mu.Lock()
	defer c.mu.Unlock()
	delete(c.idle, conn)
	delete(c.busy, conn)
	switch state {
	case http.StateNew, http.StateIdle:
		c.idle[conn] = time.Now()
	case http.StateActive:
		c.busy[conn] = true
	}
	if len(c.idle)+len(c.busy) <= c.most {
		return
	}
	oldest := conn
	for other, since := range c.idle {
		if at, idle := c.idle[oldest]; !idle || since.Before(at) {
			oldest = other
		}
	}
	delete(c.idle, oldest)
	delete(c.busy, oldest)
	oldest.Close()
}
