package monitor

import (
	"sync"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"
)

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
