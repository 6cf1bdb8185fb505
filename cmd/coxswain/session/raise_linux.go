package session

import (
	"runtime"

	"golang.org/x/sys/unix"
)

// raise lets the calling goroutine's thread go before others where that is
// allowed (LimitNICE, or root): it renders what sounds in 30 ms. A refusal is
// normal and changes nothing.
func raise() (lower func()) {
	runtime.LockOSThread()
	id := unix.Gettid()
	was, err := unix.Getpriority(unix.PRIO_PROCESS, id) // the kernel's answer is 20 - niceness
	if err == nil && unix.Setpriority(unix.PRIO_PROCESS, id, -15) == nil {
		return func() { unix.Setpriority(unix.PRIO_PROCESS, id, 20-was); runtime.UnlockOSThread() }
	}
	return runtime.UnlockOSThread
}
