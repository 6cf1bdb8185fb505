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
	quit := make(chan struct{})
	time.AfterFunc(200*time.Millisecond, func() { close(quit) })
	watch(5*time.Millisecond, func() int64 { return 7 }, quit) // stands still at 7
	manager.SetReadDeadline(time.Now().Add(50 * time.Millisecond))
	if n := listenAsManager(manager)["WATCHDOG=1"]; n != 1 {
		t.Errorf("%d pings from a loop that stands still, want the first only", n)
	}
}

// listenAsManager counts the messages until the socket's deadline. It reads at
// once, as a manager does: a socket holds ten messages.
func listenAsManager(c *net.UnixConn) map[string]int {
	said, buf := map[string]int{}, make([]byte, 100)
	for {
		k, err := c.Read(buf)
		if err != nil {
			return said
		}
		said[string(buf[:k])]++
	}
}
