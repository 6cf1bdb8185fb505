package again

import (
	"crypto/rand"
	"fmt"
	"net"
	"os/exec"
	"syscall"
)

// bind has the child killed with its parent: whoever kills what he started by hand
// gets rid of it, and the next one goes on with the record.
func bind(cmd *exec.Cmd) { cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL} }

// listen opens the socket on which the child says that it lives, as a service says it to systemd
// (sd_notify(3)), and returns what it says and the variables that tell it where. The socket has a
// name of the kernel's own (unix(7), abstract), so that nothing stays behind. Without one the
// child is not watched.
func listen() (says <-chan string, names []string, stop func()) {
	name := "@coxswain-" + rand.Text()
	conn, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: name, Net: "unixgram"})
	if err != nil {
		return nil, nil, func() {}
	}
	words := make(chan string)
	done := make(chan struct{})
	go func() {
		for b := make([]byte, 100); ; {
			n, err := conn.Read(b)
			if err != nil {
				return
			}
			select {
			case words <- string(b[:n]):
			case <-done:
				return
			}
		}
	}()
	names = []string{"NOTIFY_SOCKET=" + name, fmt.Sprintf("WATCHDOG_USEC=%d", silentFor.Microseconds()), "WATCHDOG_PID="}
	return words, names, func() { close(done); conn.Close() }
}
