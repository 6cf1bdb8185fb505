package device

import (
	"os"
	"sync"
	"syscall"
)

var quiet sync.Mutex

// quietly runs f with standard error closed to the C libraries below
// PortAudio: ALSA and JACK print dozens of lines about devices that this
// machine does not have, among which our one clear line would be lost.
func quietly(f func() error) error {
	quiet.Lock()
	defer quiet.Unlock()
	saved, err := syscall.Dup(2)
	if err != nil {
		return f()
	}
	defer syscall.Close(saved)
	null, err := os.OpenFile(os.DevNull, os.O_WRONLY, 0)
	if err != nil {
		return f()
	}
	defer null.Close()
	if err := syscall.Dup3(int(null.Fd()), 2, 0); err != nil {
		return f()
	}
	defer syscall.Dup3(saved, 2, 0)
	return f()
}
