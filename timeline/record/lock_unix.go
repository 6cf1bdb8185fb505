//go:build unix

package record

import (
	"errors"
	"fmt"
	"os"
	"syscall"

	"coxswain/audio/recorder"
)

// lock keeps every other process from writing the record in dir. It goes with
// the process, however it ends.
func lock(journal *os.File, dir string) error {
	if taken(journal) {
		return fmt.Errorf("%s: %w: let it end first", dir, ErrInUse)
	}
	return nil
}

// LockFolder keeps a second daemon off the same records and sound device. The
// lock goes with the process, however it ends.
func LockFolder(records string) (release func(), err error) { return Lock(records, ".lock") }

// Lock keeps a second process off what a lock in a folder of records stands for,
// by name.
func Lock(records, name string) (release func(), err error) {
	if err := os.MkdirAll(records, 0o700); err != nil {
		return nil, fmt.Errorf("cannot make the records folder: %w", err)
	}
	f, err := recorder.OpenFile(records, name, os.O_CREATE|os.O_RDWR)
	if err != nil {
		return nil, fmt.Errorf("records folder: %w", err)
	}
	if taken(f) {
		f.Close()
		return nil, fmt.Errorf("%w on %s: stop it, or choose another folder with --records", ErrRunning, records)
	}
	return func() { f.Close() }, nil
}

// taken locks f and reports whether another process was first. A file system
// that knows no locks is no reason not to record.
func taken(f *os.File) bool {
	return errors.Is(syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB), syscall.EWOULDBLOCK)
}
