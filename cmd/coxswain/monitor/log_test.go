package monitor

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// stuck is a pipe that nobody reads until it is let go.
type stuck struct {
	bytes.Buffer
	free chan struct{}
}

func (s *stuck) Write(p []byte) (int, error) { <-s.free; return s.Buffer.Write(p) }

// A log that nobody reads costs lines, counted, and no time.
func TestLogNeverWaits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := &stuck{free: make(chan struct{})}
		l := NewLog(w)
		begun := time.Now()
		for k := range 1000 {
			fmt.Fprintf(l, "line %d\n", k)
		}
		if took := time.Since(begun); took != 0 || l.Dropped() < 700 {
			t.Errorf("1000 lines took %v, %d dropped", took, l.Dropped())
		}
		synctest.Wait()
		close(w.free)
		synctest.Wait()
		fmt.Fprintln(l, "last")
		l.Close()
		if text := w.String(); !strings.Contains(text, "lines of the log were dropped") ||
			!strings.HasSuffix(text, "last\n") ||
			l.Dropped() != 0 {
			t.Errorf("%d still dropped; it ends with %q", l.Dropped(), text[max(0, len(text)-100):])
		}
		l.Close()
		fmt.Fprintln(l, "after the end")
	})
}

// Closing does not wait for a reader that never comes.
func TestLogCloses(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := &stuck{free: make(chan struct{})}
		l := NewLog(w)
		fmt.Fprintln(l, "one")
		begun := time.Now()
		l.Close()
		if took := time.Since(begun); took > time.Second {
			t.Errorf("it took %v", took)
		}
		close(w.free)
	})
}

type gone struct{}

func (gone) Write([]byte) (int, error) { return 0, errors.New("broken pipe") }

// Lines to a reader that has gone are counted.
func TestLogWithoutAReader(t *testing.T) {
	l := NewLog(gone{})
	for range 3 {
		io.WriteString(l, "x\n")
	}
	l.Close()
	if l.Dropped() != 3 {
		t.Errorf("%d dropped, want 3", l.Dropped())
	}
}
