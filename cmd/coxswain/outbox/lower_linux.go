package outbox

import "golang.org/x/sys/unix"

// lower puts the calling thread, and the processes that it starts, behind all others:
// niceness 15, and the disk only when nobody else wants it (ioprio_set(2)).
func lower() {
	const idle, whoProcess = 3 << 13, 1
	unix.Setpriority(unix.PRIO_PROCESS, unix.Gettid(), 15)
	unix.Syscall(unix.SYS_IOPRIO_SET, whoProcess, 0, idle)
}
