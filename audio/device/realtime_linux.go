package device

import "golang.org/x/sys/unix"

// realTime asks for real-time priority for the calling thread, once a stream, or
// else for a nice value of -11: where the unit file or limits.conf allow it, other
// programs cannot starve the callback. A refusal is normal and changes nothing.
func realTime() {
	attr := unix.SchedAttr{
		Size: unix.SizeofSchedAttr, Policy: unix.SCHED_FIFO, Priority: 10, Flags: unix.SCHED_FLAG_RESET_ON_FORK,
	}
	if unix.SchedSetAttr(0, &attr, 0) != nil {
		unix.Setpriority(unix.PRIO_PROCESS, 0, -11) // 0: this thread
	}
}
