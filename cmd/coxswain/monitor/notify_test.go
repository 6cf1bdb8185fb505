package monitor

import (
	"net"
	"path/filepath"
	"sync/atomic"
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

// The manager is told when the session is up, that its loop turns, and when it ends.
func TestManagerIsTold(t *testing.T) {
	notify := filepath.Join(t.TempDir(), "n")
	manager, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: notify, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	defer manager.Close()
	t.Setenv("NOTIFY_SOCKET", notify)
	t.Setenv("WATCHDOG_USEC", "15000")
	next := func() string {
		buf := make([]byte, 100)
		manager.SetReadDeadline(time.Now().Add(time.Minute))
		k, err := manager.Read(buf)
		if err != nil {
			t.Fatal(err)
		}
		return string(buf[:k])
	}
	var turns atomic.Int64
	stop := notifyManager(func() int64 { return turns.Add(1) })
	for _, want := range []string{"READY=1", "WATCHDOG=1", "WATCHDOG=1"} {
		if got := next(); got != want {
			t.Errorf("told %q, want %q", got, want)
		}
	}
	stop()
	got := next()
	for got == "WATCHDOG=1" {
		got = next()
	}
	if got != "STOPPING=1" {
		t.Errorf("told %q at the end", got)
	}
}
