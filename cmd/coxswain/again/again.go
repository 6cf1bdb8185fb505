// Package again keeps a `coxswain run` that was started by hand going, as systemd does one
// that is a service: a small parent starts the same program as its child, and starts it
// again when it died, or hung, of what nobody asked for. The new one goes on with the record.
package again

import (
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"os/signal"
	"runtime"
	"runtime/debug"
	"slices"
	"strconv"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/monitor"
)

// Kept names the environment variable that tells a child whose it is: the process id of its
// parent. A test that is to meet the program itself says that it is the parent.
const Kept = "KEPT_BY_PROCESS"

// waits is the setting (its environment variable) with which a child is started again: what broke
// it may have taken the sound device with it, and that one is waited for as the unit file has it.
const waits = "COXSWAIN_WAIT_DEVICE_S=86400"

// Starts are limited as in the unit file (StartLimitIntervalSec, StartLimitBurst, RestartSec):
// one that dies at once, again and again, is given up.
const (
	limitWithin = 300 * time.Second
	limitStarts = 60
	pause       = time.Second // between two starts, at least
)

// Crashed is the exit code of a Go program that the runtime ends (package runtime, GOTRACEBACK),
// and of one that wants to be started again.
const Crashed = 2

// Program runs a command line and returns its exit code.
type Program func(args []string, stdin io.Reader, stdout, stderr io.Writer) int

// Main runs the program with these arguments and returns its exit code: here or, if it is a
// `run` that nobody else keeps going, in a child that gets the files of this process. newRoot
// makes the program's command line, by which the arguments are understood; it is not executed.
func Main(args []string, stdin, stdout, stderr *os.File, here Program, newRoot func(io.Writer) *cobra.Command) int {
	kept := keptBy(os.Getenv, os.Getpid(), os.Getppid())
	os.Unsetenv(Kept) // what the program starts is nobody's session
	if kept || !runs(newRoot(io.Discard), args) {
		return here(args, stdin, stdout, stderr)
	}
	log := monitor.NewLog(stderr) // nobody may be reading
	defer log.Close()
	monitor.LogTo(log, slog.LevelInfo)
	return keep(args)
}

// runs reports whether the arguments ask for a session on the sound device, wherever its flags stand.
func runs(root *cobra.Command, args []string) bool {
	cmd, rest, err := root.Find(args)
	if err != nil || cmd.Parent() != root || cmd.Name() != "run" {
		return false
	}
	cmd.InitDefaultHelpFlag()
	if cmd.ParseFlags(rest) != nil { // the program itself says what is wrong
		return false
	}
	help, _ := cmd.Flags().GetBool("help")
	return !help
}

// keptBy reports whether a process is kept going: by this package, or by systemd, which tells a
// service the process id that it was started with (systemd.exec(5), sd_watchdog_enabled(3)). What
// comes down to a shell of another service's, as its socket and INVOCATION_ID do, is no such thing;
// an older one, or a container's, that tells its socket alone starts us itself.
func keptBy(env func(string) string, own, parent int) bool {
	if env(Kept) == strconv.Itoa(parent) {
		return true
	}
	for _, name := range []string{"SYSTEMD_EXEC_PID", "WATCHDOG_PID"} {
		if id := env(name); id != "" {
			return id == strconv.Itoa(own)
		}
	}
	return env("NOTIFY_SOCKET") != "" && parent <= 1
}

// keep runs the program as a child, and again, until it ended or was asked to. It returns the
// child's exit code, or 128 and the signal that the child died of (common practice of shells).
func keep(args []string) int {
	runtime.LockOSThread()                                  // the child ends with the thread that started it
	signal.Notify(make(chan os.Signal, 1), syscall.SIGPIPE) // a log without a reader ends nothing
	asked := make(chan os.Signal, 8)
	signal.Notify(asked, syscall.SIGTERM, syscall.SIGINT, syscall.SIGHUP, syscall.SIGQUIT)
	debug.FreeOSMemory() // all that is needed from now on is here
	var l limit
	var extra []string // of the environment, for one that is started again
	for {
		begun := time.Now()
		state, stopped, err := once(args, extra, asked)
		if err != nil {
			slog.Error("coxswain cannot be started", "why", err)
			return 1
		}
		died := state.ExitCode() < 0 || state.ExitCode() == Crashed ||
			extra != nil && state.ExitCode() != 0 // a case may be open: what stops it now may pass
		if stopped || !died {
			return code(state)
		}
		if !l.start(time.Now()) {
			slog.Error("coxswain died again and again: it is given up", "of", state, "starts", limitStarts,
				"within", limitWithin)
			return code(state)
		}
		extra = []string{waits}
		slog.Error("coxswain died: it is started again, and a case that was cut off goes on", "of", state)
		select {
		case <-asked:
			return code(state)
		case <-time.After(pause - time.Since(begun)):
		}
	}
}

// once runs the program as a child, with extra variables in its environment, until it ends, passes
// on what it is asked to do, and ends it when it hangs.
func once(args, extra []string, asked <-chan os.Signal) (state *os.ProcessState, stopped bool, err error) {
	says, names, deaf := listen()
	defer deaf()
	cmd, err := begin(args, slices.Concat(os.Environ(), []string{Kept + "=" + strconv.Itoa(os.Getpid())}, names, extra))
	if err != nil {
		return nil, false, err
	}
	ended := make(chan struct{})
	go func() { cmd.Wait(); close(ended) }()
	l := begun()
	look := time.NewTicker(lookEvery)
	defer look.Stop()
	for {
		select {
		case s := <-asked:
			stopped = true
			cmd.Process.Signal(s)
			cmd.Process.Signal(syscall.SIGCONT) // one that was stopped hears nothing else
			l.ends()
		case word := <-says:
			l.hears(word)
		case now := <-look.C:
			if l.hangs(now) {
				slog.Error("coxswain hangs: it is ended", "silent for", l.bound)
				cmd.Process.Kill()
			}
		case <-ended:
			return cmd.ProcessState, stopped, nil
		}
	}
}

// begin starts the program as a child: its file or, where there is none any more, what runs here.
func begin(args, env []string) (*exec.Cmd, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, fmt.Errorf("its own file: %w", err)
	}
	for _, file := range []string{self, itself} {
		cmd := exec.Command(file, args...)
		cmd.Args[0], cmd.Env = os.Args[0], env
		cmd.Stdin, cmd.Stdout, cmd.Stderr = os.Stdin, os.Stdout, os.Stderr
		bind(cmd)
		if err = cmd.Start(); err == nil {
			return cmd, nil
		}
	}
	return nil, err
}

// code is the exit code that tells how a child ended.
func code(s *os.ProcessState) int {
	if w, ok := s.Sys().(syscall.WaitStatus); ok && w.Signaled() {
		return 128 + int(w.Signal())
	}
	return s.ExitCode()
}

// limit counts the starts of late.
type limit struct{ starts []time.Time }

// start reports whether the program may be started again now.
func (l *limit) start(now time.Time) bool {
	l.starts = append(slices.DeleteFunc(l.starts, func(t time.Time) bool { return now.Sub(t) > limitWithin }), now)
	return len(l.starts) < limitStarts // the first start counts too
}
