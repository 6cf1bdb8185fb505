package monitor

import (
	"fmt"

	"golang.org/x/sys/unix"
)

// FreeBytes is what an ordinary user may still write to the disk of dir.
func FreeBytes(dir string) (int64, error) {
	var s unix.Statfs_t
	if err := unix.Statfs(dir, &s); err != nil {
		return 0, fmt.Errorf("%s: %w", dir, err)
	}
	return int64(s.Bavail) * s.Bsize, nil
}

// CheckClock asks the kernel whether the wall clock is kept by a time service
// (adjtimex(2): TIME_ERROR means unsynchronised).
func CheckClock() (string, error) {
	var t unix.Timex
	state, err := unix.Adjtimex(&t)
	if err != nil {
		return "", fmt.Errorf("the kernel does not say whether the clock is synchronised: %w", err)
	}
	if state == unix.TIME_ERROR {
		return "", fmt.Errorf("the clock is not synchronised: start chrony or systemd-timesyncd")
	}
	return fmt.Sprintf("synchronised, within %d ms", t.Maxerror/1000), nil
}
