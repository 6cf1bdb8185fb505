package device

import (
	"errors"
	"testing"
	"testing/synctest"
	"time"
)

// stuck is a stream whose Abort returns only when it is let go.
type stuck struct{ release chan struct{} }

func (s stuck) Abort() error { <-s.release; return nil }
func (s stuck) Close() error { return nil }

// Closing a stream that the sound system holds for ever returns, and the
// sound system can be used by the next one.
func TestCloseOfAStuckStream(t *testing.T) {
	// Each stream that is opened asks for the sound system once more: without that, the last to close
	// would end it, which waits for ever for a stream of another test that it holds.
	if err := initialize(); err != nil {
		t.Fatal(err)
	}
	synctest.Test(t, func(t *testing.T) {
		held, free := stuck{make(chan struct{})}, stuck{make(chan struct{})}
		close(free.release)
		begun := time.Now()
		if err := (&Device{stream: held}).Close(); !errors.Is(err, ErrStuck) || time.Since(begun) != closePatience {
			t.Errorf("closed after %v: %v", time.Since(begun), err)
		}
		if err := (&Device{stream: free}).Close(); errors.Is(err, ErrStuck) {
			t.Error(err)
		}
		close(held.release)
	})
}
