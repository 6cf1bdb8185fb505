package monitor

import (
	"fmt"
	"sync"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"
)

// StartsFor is how long a coxswain that is not up yet may go without a word of Starting before it counts as
// one that hangs (the unit file's TimeoutStartSec).
const StartsFor = 2 * time.Minute

// Extends is the word of Starting (sd_notify(3), EXTEND_TIMEOUT_USEC).
var Extends = fmt.Sprintf("EXTEND_TIMEOUT_USEC=%d", StartsFor.Microseconds())

// Starting tells the service manager that coxswain, which is not up yet, lives: it waits for a sound
// device, say. Nobody waits for a manager that does not read.
func Starting() { go daemon.SdNotify(false, Extends) }

// notifyManager tells systemd that the session is up and, while the session's
// loop turns, that it is alive (sd_notify(3)). It does so from a goroutine of
// its own: a manager that does not read blocks nobody else.
func notifyManager(turns func() int64) (stop func()) {
	quit, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		daemon.SdNotify(false, daemon.SdNotifyReady)
		every, err := daemon.SdWatchdogEnabled(false)
		if err != nil || every == 0 {
			<-quit
		} else {
			watch(every/3, turns, quit)
		}
		daemon.SdNotify(false, daemon.SdNotifyStopping)
	}()
	var once sync.Once
	return func() {
		once.Do(func() { close(quit) })
		select {
		case <-done:
		case <-time.After(100 * time.Millisecond):
		}
	}
}

func watch(every time.Duration, turns func() int64, quit <-chan struct{}) {
	t := time.NewTicker(every)
	defer t.Stop()
	for last := int64(-1); ; {
		select {
		case <-quit:
			return
		case <-t.C:
			if n := turns(); n != last {
				last = n
				daemon.SdNotify(false, daemon.SdNotifyWatchdog)
			}
		}
	}
}
