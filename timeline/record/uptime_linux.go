package record

import (
	"os"
	"strings"

	"golang.org/x/sys/unix"

	"coxswain/timeline"
)

// Uptime is the present moment by this machine's own clock, which goes on while it sleeps
// (clock_gettime(2), CLOCK_BOOTTIME; random(4), boot_id); nil where that is not known.
func Uptime() *timeline.Boot {
	var at unix.Timespec
	id, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	if err != nil || unix.ClockGettime(unix.CLOCK_BOOTTIME, &at) != nil {
		return nil
	}
	return &timeline.Boot{ID: strings.TrimSpace(string(id)), UptimeMS: at.Nano() / 1e6}
}
