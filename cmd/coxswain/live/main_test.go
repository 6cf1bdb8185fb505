// Package live tests the whole program as it runs: a process of its own on PortAudio, over
// a virtual sound card. These tests mostly wait, and so run side by side.
package live

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"coxswain/audio/audiotest"
	"coxswain/cmd/coxswain/coxtest"
)

// patience is how long a live test waits for what must happen. It says nothing
// about speed: a starved machine may need it.
const patience = 2 * time.Minute

// built is where the program lies, once it is built.
var built struct {
	once sync.Once
	dir  string
	err  error
}

func TestMain(m *testing.M) {
	coxtest.TakePart()
	apart()
	code := m.Run()
	os.RemoveAll(built.dir)
	os.Exit(code)
}

// apart puts this process, and with it the sound server and coxswain, ahead of what else
// the machine does, where that is allowed: as the installed unit has it, and a real card's
// interrupts. Linux counts niceness within a session only (sched(7), autogroup), so it is
// one of its own.
func apart() {
	syscall.Setsid() // not the leader of a group: `go test` starts it
	os.WriteFile("/proc/self/autogroup", []byte(strconv.Itoa(unitNice)), 0o644)
	audiotest.Ahead(os.Getpid(), unitNice)
}

// unitNice is the niceness that the unit file gives.
const unitNice = -11

// coxswainCommand runs the program, built at the first call.
func coxswainCommand(t *testing.T, args ...string) *exec.Cmd {
	t.Helper()
	built.once.Do(func() {
		if built.dir, built.err = os.MkdirTemp("", "coxswain-live"); built.err != nil {
			return
		}
		b, err := exec.Command("go", "build", "-ldflags", "-s -w", "-o", built.dir, "coxswain/cmd/coxswain").CombinedOutput()
		if err != nil {
			built.err = fmt.Errorf("go build: %w: %s", err, b)
		}
	})
	if built.err != nil {
		t.Fatal(built.err)
	}
	return exec.Command(filepath.Join(built.dir, "coxswain"), args...)
}

// ok runs a command that must succeed and returns what it printed.
func ok(t *testing.T, args ...string) string {
	t.Helper()
	cmd := coxswainCommand(t, args...)
	var stderr strings.Builder
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("coxswain %s: %v: %s", strings.Join(args, " "), err, stderr.String())
	}
	return string(out)
}
