package device

import (
	"errors"
	"testing"
	"testing/synctest"
	"time"
)

// stuck is a stream whose Abort returns only when it is let go.
type stuck struct {
	release chan struct{}
	closed  *int
}

func (s stuck) Start() error { return nil }
func (s stuck) Abort() error { <-s.release; return nil }
func (s stuck) Active() bool { return true }
func (s stuck) Close() error { *s.closed++; return nil }

// Closing a stream that the sound system holds for ever returns, and the
// sound system can be used by the next one.
func TestCloseOfAStuckStream(t *testing.T) {
	// Each stream that is opened asks for the sound system once more: without that, the last to close
	// would end it, which waits for ever for a stream of another test that it holds.
	if err := initialize(); err != nil {
		t.Fatal(err)
	}
	synctest.Test(t, func(t *testing.T) {
		held, free := stuck{make(chan struct{}), new(int)}, stuck{make(chan struct{}), new(int)}
		close(free.release)
		begun := time.Now()
		if err := (&Device{stream: held}).Close(); !errors.Is(err, ErrStuck) || time.Since(begun) != closePatience {
			t.Errorf("closed after %v: %v", time.Since(begun), err)
		}
		if err := (&Device{stream: free}).Close(); errors.Is(err, ErrStuck) {
			t.Error(err)
		}
		close(held.release)
		synctest.Wait()
		if *held.closed != 0 || *free.closed != 1 || !LeftBehind() {
			t.Errorf("closed %d times when it let go, beside whoever uses the sound system by then; the free one %d times",
				*held.closed, *free.closed)
		}
	})
}

// slow is a stream that takes some time to start, and may be alive then.
type slow struct {
	takes   time.Duration
	err     error
	touched *int // how often it was aborted or closed
}

func (s slow) Start() error { time.Sleep(s.takes); return s.err }
func (s slow) Abort() error { *s.touched++; return nil }
func (s slow) Active() bool { return true }
func (s slow) Close() error { *s.touched++; return nil }

// A stream whose start took longer than PortAudio waits for its thread is left alone: closing it
// would end a thread that is there no more, or another in its place (pa_unix_util.c,
// PaUnixThread_New and PaUnixThread_Terminate). One that plays is as good as any.
func TestLateStart(t *testing.T) {
	refused := errors.New("refused")
	for _, c := range []struct {
		takes       time.Duration
		err         error
		alive       bool
		late, close bool
	}{
		{10 * time.Millisecond, nil, true, false, false},
		{10 * time.Millisecond, refused, false, false, true},
		{1020 * time.Millisecond, nil, true, false, false},
		{1020 * time.Millisecond, nil, false, true, false},
		{1020 * time.Millisecond, refused, false, true, false},
	} {
		synctest.Test(t, func(t *testing.T) {
			s, begun := slow{c.takes, c.err, new(int)}, time.Now()
			calls := func() uint64 {
				if !c.alive {
					return 2
				}
				return uint64(time.Since(begun) / (10 * time.Millisecond))
			}
			err := begin(s, calls)
			if errors.Is(err, ErrLate) != c.late || errors.Is(err, refused) != (c.err != nil) || *s.touched > 0 != c.close {
				t.Errorf("%+v: %v, touched %d times", c, err, *s.touched)
			}
		})
	}
}

// Who only looks gets an answer where the sound server hangs, too: that it does.
func TestAnswer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		server := make(chan int)
		begun := time.Now()
		if n, err := Answer(func() (int, error) { return <-server, nil }); err != ErrMute || n != 0 || time.Since(begun) != answersFor {
			t.Errorf("%d, %v after %v", n, err, time.Since(begun))
		}
		close(server)
		if n, err := Answer(func() (int, error) { return 7, ErrMissing }); err != ErrMissing || n != 7 {
			t.Errorf("%d, %v", n, err)
		}
	})
}
