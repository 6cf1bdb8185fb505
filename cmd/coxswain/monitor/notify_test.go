package monitor

import (
	"net"
	"path/filepath"
	"testing"
	"time"
)

// A manager that does not read, or a loop that stands still, changes nothing
// for the session: no watchdog ping leaves when the loop does not turn.
func TestWatchdogFollowsTheLoop(t *testing.T) {
	notify := filepath.Join(t.TempDir(), "n")
	manager, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: notify, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	defer manager.Close()
	t.Setenv("NOTIFY_SOCKET", notify)
	quit, done := make(chan struct{}), make(chan struct{})
	go func() { watch(5*time.Millisecond, func() int64 { return 7 }, quit); close(done) }() // stands still at 7
	buf := make([]byte, 100)
	for n := 1; n <= 2; n++ {
		manager.SetReadDeadline(time.Now().Add(map[int]time.Duration{1: time.Minute, 2: 100 * time.Millisecond}[n]))
		k, err := manager.Read(buf)
		if first := n == 1; first != (err == nil && string(buf[:k]) == "WATCHDOG=1") {
			t.Errorf("message %d of a loop that stands still: %q, %v; want one ping and no other", n, buf[:k], err)
		}
	}
	close(quit)
	<-done
}
