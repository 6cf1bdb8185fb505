package again

import (
	"crypto/rand"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"syscall"
)

// bind has the child killed with its parent: whoever kills what he started by hand
// gets rid of it, and the next one goes on with the record.
func bind(cmd *exec.Cmd) { cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL} }

// listen opens the socket on which the child says that it lives, as a service says it to systemd
// (sd_notify(3)), and returns what it says and the variables that tell it where. The socket has a
// name of the kernel's own (unix(7), abstract), so that nothing stays behind. Without one the
// child is not watched. Every user of the machine can see that name, and write to it: only what comes of
// our own user counts.
func listen() (says <-chan string, names []string, stop func()) {
	name := "@coxswain-" + rand.Text()
	conn, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: name, Net: "unixgram"})
	if err != nil {
		return nil, nil, func() {}
	}
	if err := named(conn); err != nil {
		conn.Close()
		return nil, nil, func() {}
	}
	words := make(chan string)
	done := make(chan struct{})
	go func() {
		for b, from := make([]byte, 100), make([]byte, 100); ; {
			n, m, _, _, err := conn.ReadMsgUnix(b, from)
			if err != nil {
				return
			}
			if !ours(from[:m]) {
				continue
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

// named has the kernel tell who writes (unix(7), SO_PASSCRED).
func named(conn *net.UnixConn) error {
	raw, err := conn.SyscallConn()
	if err != nil {
		return err
	}
	cerr := raw.Control(func(fd uintptr) {
		err = syscall.SetsockoptInt(int(fd), syscall.SOL_SOCKET, syscall.SO_PASSCRED, 1)
	})
	return errors.Join(err, cerr)
}

// ours reports whether what the kernel tells of a writer is that he is this user.
func ours(oob []byte) bool {
	told, err := syscall.ParseSocketControlMessage(oob)
	if err != nil || len(told) != 1 {
		return false
	}
	who, err := syscall.ParseUnixCredentials(&told[0])
	return err == nil && int(who.Uid) == os.Getuid()
}

// itself is this program as it runs, also where its file has been taken away or replaced meanwhile.
const itself = "/proc/self/exe"
