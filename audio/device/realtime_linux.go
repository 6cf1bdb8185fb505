package device

import "golang.org/x/sys/unix"

// realTime asks for real-time priority for the calling thread, once a stream:
// where the unit file or limits.conf allow it, other programs cannot starve the
// callback. A refusal is normal and changes nothing.
func realTime() {
	attr := unix.SchedAttr{Size: unix.SizeofSchedAttr, Policy: unix.SCHED_FIFO, Priority: 10, Flags: unix.SCHED_FLAG_RESET_ON_FORK}
	unix.SchedSetAttr(0, &attr, 0)
}
