package again

import (
	"net"
	"os"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"
)

// say writes a word to a socket, as a user; an error is that of becoming him, or of writing.
func say(socket, word string, uid int) error {
	failed := make(chan error)
	go func() {
		runtime.LockOSThread() // this thread alone becomes somebody else, and ends with the goroutine
		if _, _, no := syscall.RawSyscall(syscall.SYS_SETRESUID, uintptr(uid), uintptr(uid), uintptr(uid)); no != 0 {
			failed <- no
			return
		}
		conn, err := net.DialUnix("unixgram", nil, &net.UnixAddr{Name: socket, Net: "unixgram"})
		if err == nil {
			_, err = conn.Write([]byte(word))
			conn.Close()
		}
		failed <- err
	}()
	return <-failed
}

// What a session says of itself is heard, and nothing that another user says in its place: he could have one
// that hangs pass for one that lives.
func TestOnlyOurOwnUserIsHeard(t *testing.T) {
	says, names, stop := listen()
	defer stop()
	_, socket, _ := strings.Cut(names[0], "=")
	if err := say(socket, daemon.SdNotifyStopping, 65534); err != nil {
		t.Logf("another user cannot be tried: %v", err)
	}
	if err := say(socket, daemon.SdNotifyWatchdog, os.Getuid()); err != nil {
		t.Fatal(err)
	}
	select {
	case word := <-says:
		if word != daemon.SdNotifyWatchdog {
			t.Errorf("%q is heard", word)
		}
	case <-time.After(time.Minute):
		t.Error("nothing is heard")
	}
}
