package main

import (
	"fmt"
	"os"
	"path/filepath"
	"syscall"
)

// lockRecords keeps a second daemon off the same records and sound device. The
// lock goes with the process, however it ends.
func lockRecords(dir string) (release func(), err error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("cannot make the records folder: %w", err)
	}
	f, err := os.OpenFile(filepath.Join(dir, ".lock"), os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, fmt.Errorf("records folder: %w", err)
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		f.Close()
		return nil, fmt.Errorf("another coxswain is running on %s: stop it, or choose another folder with --records", dir)
	}
	return func() { f.Close() }, nil
}
