package live

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"coxswain/cmd/coxswain/again"
	"coxswain/cmd/coxswain/coxtest"
	"coxswain/timeline"
	"coxswain/timeline/record"
)

// liveSession is a `coxswain run` in a process of its own.
type liveSession struct {
	t       *testing.T
	cmd     *exec.Cmd
	records string
	stderr  bytes.Buffer // read it only when ended is closed
	ended   chan struct{}
	err     error // of the process, when it has ended
}

// startLive starts `coxswain run` with its records in the given folder.
func startLive(t *testing.T, env []string, records string, args ...string) *liveSession {
	t.Helper()
	return startLiveTo(t, nil, env, records, args...)
}

// startLiveTo starts one whose standard error is a file of the test's; nil: kept.
func startLiveTo(t *testing.T, stderr *os.File, env []string, records string, args ...string) *liveSession {
	t.Helper()
	run := []string{"run", "--records", records, "--record", "always", "--records-fallback", records + "-else"}
	l := &liveSession{t: t, cmd: coxswainCommand(t, append(run, args...)...), records: records, ended: make(chan struct{})}
	l.cmd.Env = append([]string{again.Kept + "=" + strconv.Itoa(os.Getpid())}, env...) // what we kill is the session itself
	l.cmd.Stderr = &l.stderr
	if stderr != nil {
		l.cmd.Stderr = stderr
	}
	if err := l.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	go func() { l.err = l.cmd.Wait(); close(l.ended) }()
	t.Cleanup(func() { l.cmd.Process.Kill(); <-l.ended })
	return l
}

// dir is the session's record, "" before there is one.
func (l *liveSession) dir() string {
	found, _ := filepath.Glob(l.records + "/2*")
	if len(found) > 1 {
		l.cmd.Process.Kill()
		<-l.ended
		l.t.Fatalf("records: %v, want one: %s", found, l.stderr.String())
	}
	return strings.Join(found, "")
}

// await waits until the journal shows what must happen.
func (l *liveSession) await(what string, there func([]timeline.Event) bool) {
	l.t.Helper()
	var events []timeline.Event
	for begun := time.Now(); time.Since(begun) < patience; time.Sleep(50 * time.Millisecond) {
		if dir := l.dir(); dir != "" {
			if events, _, _ = record.Read(dir); there(events) {
				return
			}
		}
		select {
		case <-l.ended:
			l.t.Fatalf("coxswain ended before %s: %v: %s", what, l.err, l.stderr.String())
		default:
		}
	}
	for _, e := range events {
		l.t.Log(e.At, e.Describe())
	}
	l.t.Fatalf("in %v there was not %s", patience, what)
}

// stop ends the session in order and returns its record's folder.
func (l *liveSession) stop() string {
	l.t.Helper()
	return l.stopBy(syscall.SIGTERM)
}

// stopBy ends the session by a signal.
func (l *liveSession) stopBy(by syscall.Signal) string {
	l.t.Helper()
	l.cmd.Process.Signal(by)
	asked := time.Now()
	select {
	case <-l.ended:
	case <-time.After(patience):
		l.t.Fatalf("%v does not end it", by)
	}
	l.t.Logf("%v took %v", by, time.Since(asked).Round(time.Millisecond))
	if l.err != nil {
		l.t.Fatalf("coxswain run: %v: %s", l.err, l.stderr.String())
	}
	return l.dir()
}

// calloutsAfter counts the callouts behind the first event that is one.
func calloutsAfter(events []timeline.Event, first func(timeline.Event) bool) int {
	n, from := 0, slices.IndexFunc(events, first)
	for _, e := range events[max(0, from):] {
		if from >= 0 && e.Heard != nil {
			n++
		}
	}
	return n
}

func saysOf(kind timeline.Kind, words string) func(timeline.Event) bool {
	return func(e timeline.Event) bool { return e.Kind == kind && strings.Contains(e.Describe(), words) }
}

// saidWhole counts how often a cue was said to its end: one that somebody talked
// over is said again.
func saidWhole(events []timeline.Event, cue string) int {
	n := 0
	for _, e := range events {
		switch {
		case e.Kind != timeline.CueSpoken || e.Cue != cue:
		case e.Cut:
			n--
		default:
			n++
		}
	}
	return n
}

// faultsOf counts the faults of a record and prints them.
func faultsOf(t *testing.T, events []timeline.Event) int {
	t.Helper()
	for _, e := range events {
		if e.Kind == timeline.Fault {
			t.Log(e.At, e.Describe())
		}
	}
	return coxtest.Count(events, timeline.Fault, "")
}
