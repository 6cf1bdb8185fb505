package audiotest

import (
	"os"
	"strconv"
	"syscall"
)

// Ahead gives all threads of a process a niceness, where that is allowed, but those that
// have a better one.
func Ahead(pid, nice int) {
	tasks, _ := os.ReadDir("/proc/" + strconv.Itoa(pid) + "/task")
	for _, task := range tasks {
		id, err := strconv.Atoi(task.Name())
		if err == nil && niceness(id) > nice {
			syscall.Setpriority(syscall.PRIO_PROCESS, id, nice)
		}
	}
}

// niceness is that of a thread; 0 is this one.
func niceness(thread int) int {
	was, err := syscall.Getpriority(syscall.PRIO_PROCESS, thread)
	if err != nil {
		return 0
	}
	return 20 - was // the kernel's answer is never negative
}
