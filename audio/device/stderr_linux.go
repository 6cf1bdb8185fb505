package device

/*
#include <stdio.h>

// The C library's stderr becomes a stream of its own; file descriptor 2 stays
// what it is, for this program and for those that it starts. glibc lets a
// program set the variable; another C library may not, and there nothing happens.
static void cox_stderr(int fd) {
#ifdef __GLIBC__
	FILE *f = fdopen(fd, "w");
	if (!f) return;
	setvbuf(f, NULL, _IOLBF, 1024);
	stderr = f;
#endif
}
*/
import "C"

import (
	"bufio"
	"log/slog"
	"os"
	"sync"

	"golang.org/x/sys/unix"
)

// ownStderr catches what ALSA, JACK and PortAudio print about devices that this
// machine does not have, dozens of lines, and logs it at level debug. A full
// pipe loses lines: no thread of the sound system waits for a log.
var ownStderr = sync.OnceFunc(func() {
	var fds [2]int
	if unix.Pipe2(fds[:], unix.O_CLOEXEC|unix.O_NONBLOCK) != nil {
		return
	}
	C.cox_stderr(C.int(fds[1]))
	go func() {
		lines := bufio.NewScanner(os.NewFile(uintptr(fds[0]), "sound libraries"))
		for lines.Scan() {
			slog.Debug("sound libraries", "say", lines.Text())
		}
	}()
})
