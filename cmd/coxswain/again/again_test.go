package again

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"
	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/monitor"
)

// As `run` the test binary is a session that tells its process id, and ends when it is asked to.
func TestMain(m *testing.M) {
	if len(os.Args) > 1 && slices.Contains(os.Args, "run") {
		d, err := time.ParseDuration(os.Getenv(soon))
		if err != nil {
			d = 10 * time.Minute // a busy machine may need it
		}
		startsFor, silentFor, endsFor = d, d, d
		os.Exit(Main(os.Args[1:], os.Stdin, os.Stdout, os.Stderr, session, commands))
	}
	os.Exit(m.Run())
}

// commands is a command line with settings in each command, as the program has it.
func commands(io.Writer) *cobra.Command {
	root := &cobra.Command{Use: "coxswain"}
	for _, name := range []string{"run", "replay", "drill"} {
		cmd := &cobra.Command{Use: name, Run: func(*cobra.Command, []string) {}}
		config.Flags(cmd.Flags(), config.Run...)
		root.AddCommand(cmd)
	}
	return root
}

// soon is the variable that says how soon a session that hangs is ended, hang has it hang.
const soon, hang = "TEST_SOON", "TEST_HANG"

func session(_ []string, stdin io.Reader, stdout, _ io.Writer) int {
	asked := make(chan os.Signal, 1)
	signal.Notify(asked, syscall.SIGTERM)
	if how := os.Getenv(hang); how != "" { // it is up, or never will be, and says no more
		signal.Ignore(syscall.SIGTERM)
		if how == "up" {
			daemon.SdNotify(false, daemon.SdNotifyReady)
		}
	}
	wait, _, _ := strings.Cut(waits, "=")
	fmt.Fprintf(stdout, "%d %s%s\n", os.Getpid(), os.Getenv(Kept), os.Getenv(wait))
	go func() {
		fmt.Fscanln(stdin) // until the test tells it to end by itself
		os.Exit(1)
	}()
	<-asked
	return 7
}

// kept is a session in a child of a process that keeps it going.
type kept struct {
	*exec.Cmd
	t     *testing.T
	in    io.Writer
	lines *bufio.Scanner
	waits string          // how long the last child may wait for a device
	log   strings.Builder // read it when the process has ended
}

func start(t *testing.T, args ...string) *kept {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	return startFile(t, self, args...)
}

// startFile starts a copy of the program.
func startFile(t *testing.T, self string, args ...string) *kept {
	t.Helper()
	k := &kept{Cmd: exec.Command(self, append(args, "run")...), t: t}
	k.Stderr = &k.log
	in, ierr := k.StdinPipe()
	out, oerr := k.StdoutPipe()
	if err := errors.Join(ierr, oerr, k.Start()); err != nil {
		t.Fatal(err)
	}
	k.in, k.lines = in, bufio.NewScanner(out)
	t.Cleanup(func() { k.Process.Kill() })
	return k
}

// child waits for the next child that tells its process id.
func (k *kept) child() *os.Process {
	k.t.Helper()
	var pid int
	if !k.lines.Scan() {
		k.t.Fatal("no child")
	}
	own, waits, _ := strings.Cut(k.lines.Text(), " ")
	if _, err := fmt.Sscan(own, &pid); err != nil || pid == k.Process.Pid {
		k.t.Fatalf("child %q: %v", k.lines.Text(), err)
	}
	k.waits = waits
	p, err := os.FindProcess(pid)
	if err != nil {
		k.t.Fatal(err)
	}
	return p
}

// A session that died of a signal, in whatever thread, is started again; one that is asked to
// end is not, and its exit code is passed on.
func TestStartsAgain(t *testing.T) {
	k := start(t, "--config", "site.yaml") // a flag may stand before the command
	k.child().Signal(syscall.SIGSEGV)      // Go's runtime ends it
	k.child().Signal(syscall.SIGKILL)
	k.child()
	k.Process.Signal(syscall.SIGTERM)
	if k.Wait(); k.ProcessState.ExitCode() != 7 {
		t.Errorf("it ended with %v", k.ProcessState)
	}
	if n := strings.Count(k.log.String(), "it is started again"); n != 2 {
		t.Errorf("the log tells of %d starts: %s", n, k.log.String())
	}
}

// It is started again where its file has been taken away meanwhile, or is not whole, as while a new one is
// installed.
func TestStartsAgainWithoutItsFile(t *testing.T) {
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	for _, harm := range []func(string) error{os.Remove, func(file string) error {
		return errors.Join(os.Remove(file), os.WriteFile(file, []byte("\x7fELF"), 0o755))
	}} {
		b, err := os.ReadFile(self)
		file := t.TempDir() + "/program"
		if err = errors.Join(err, os.WriteFile(file, b, 0o755)); err != nil {
			t.Fatal(err)
		}
		k := startFile(t, file)
		first := k.child()
		if err := harm(file); err != nil {
			t.Fatal(err)
		}
		first.Kill()
		k.child()
		k.Process.Signal(syscall.SIGTERM)
		if k.Wait(); k.ProcessState.ExitCode() != 7 {
			t.Errorf("it ended with %v: %s", k.ProcessState, k.log.String())
		}
	}
}

// A session that ends by itself, having said why, is not started again.
func TestEndsByItself(t *testing.T) {
	k := start(t)
	k.child()
	fmt.Fprintln(k.in)
	if k.Wait(); k.ProcessState.ExitCode() != 1 || k.log.Len() > 0 {
		t.Errorf("it ended with %v: %s", k.ProcessState, k.log.String())
	}
}

// What broke a session may have taken the sound device with it: the new one waits for the device, as
// the unit file has it, and if it ends for what may pass it is started again too.
func TestGoesOnWithoutDevice(t *testing.T) {
	k := start(t)
	first := k.child()
	if k.waits != "" {
		t.Errorf("the first one waits for %q s, nobody said so", k.waits)
	}
	first.Kill()
	k.child()
	fmt.Fprintln(k.in) // it ends with an error
	k.child()
	c, err := config.Load(commands(nil).Commands()[0].Flags(), []string{waits})
	if err != nil {
		t.Fatal(err)
	}
	if wait := strconv.Itoa(int(c.WaitDevice().Seconds())); wait != k.waits || len(wait) < 5 {
		t.Errorf("the new one waits for %q s, by its settings %s s", k.waits, wait)
	}
	k.Process.Signal(syscall.SIGTERM)
	if k.Wait(); k.ProcessState.ExitCode() != 7 {
		t.Errorf("it ended with %v: %s", k.ProcessState, k.log.String())
	}
}

// A session that hangs is ended and started again; one that was stopped still ends in order when it is
// asked to, and one that does not listen is ended.
func TestHangs(t *testing.T) {
	t.Setenv(soon, "600ms")
	for _, how := range []string{"up", "not yet up"} {
		t.Setenv(hang, how)
		k := start(t)
		k.child()
		k.child()
		k.Process.Signal(syscall.SIGTERM)
		k.Wait()
		if !strings.Contains(k.log.String(), "hangs") {
			t.Errorf("%s: it ended with %v: %s", how, k.ProcessState, k.log.String())
		}
	}
	t.Setenv(soon, "")
	t.Setenv(hang, "")
	k := start(t)
	k.child().Signal(syscall.SIGSTOP)
	k.Process.Signal(syscall.SIGTERM)
	if k.Wait(); k.ProcessState.ExitCode() != 7 || k.log.Len() > 0 {
		t.Errorf("one that was stopped ended with %v: %s", k.ProcessState, k.log.String())
	}
}

// A session hangs when it says nothing for as long as its parent lived it, before it was up, too: not while
// it ends by itself, not for time in which the parent did not run either.
func TestLife(t *testing.T) {
	const tick = lookEvery
	for _, c := range []struct {
		name  string
		says  map[int]string // after so many ticks
		stops [2]int         // the parent does not run between these
		asked int            // to end, after so many
		want  int            // ticks until it is ended; 0: never
	}{
		{name: "waits for a device", says: map[int]string{150: monitor.Extends, 300: monitor.Extends}},
		{name: "never comes up", want: 240},
		{name: "waits, then silent", says: map[int]string{50: monitor.Extends}, want: 50 + 240},
		{name: "up, then silent", says: map[int]string{1: daemon.SdNotifyReady}, want: 1 + 20},
		{name: "pings", says: map[int]string{1: daemon.SdNotifyReady, 15: daemon.SdNotifyWatchdog}, want: 15 + 20},
		{name: "ends by itself", says: map[int]string{1: daemon.SdNotifyReady, 5: daemon.SdNotifyStopping}},
		{name: "asked", asked: 3, want: 3 + 20},
		{name: "asked, and pings", says: map[int]string{1: daemon.SdNotifyReady, 9: daemon.SdNotifyWatchdog}, asked: 3, want: 3 + 20},
		{name: "asked, and says so", says: map[int]string{4: daemon.SdNotifyStopping}, asked: 3, want: 3 + 20},
		{name: "all stopped", says: map[int]string{1: daemon.SdNotifyReady}, stops: [2]int{15, 90}, want: 90 + 20},
	} {
		l := begun()
		now, got := time.Unix(0, 0), 0
		for k := 1; k <= 320 && got == 0; k++ {
			now = now.Add(tick)
			if word := c.says[k]; word != "" {
				l.hears(word)
			}
			if k == c.asked {
				l.ends()
			}
			if (k <= c.stops[0] || k >= c.stops[1]) && l.hangs(now) {
				got = k
			}
		}
		if got < c.want-1 || got > c.want+1 || c.want == 0 && got != 0 {
			t.Errorf("%s: ended after %d looks, want %d", c.name, got, c.want)
		}
	}
}

// Who kills what he started by hand leaves nothing behind.
func TestKilled(t *testing.T) {
	k := start(t)
	k.child()
	k.Process.Kill()
	if k.lines.Scan() { // the pipe ends with the last process that has it
		t.Errorf("the child says %q", k.lines.Text())
	}
	k.Wait()
}

// Who is kept going by somebody else is not kept by us: systemd.exec(5) and sd_notify(3).
func TestKeptBy(t *testing.T) {
	for _, c := range []struct {
		env    string
		parent int
		want   bool
	}{
		{"", 70, false},
		{"", 1, false},
		{"NOTIFY_SOCKET=/run/systemd/notify SYSTEMD_EXEC_PID=77", 1, true},
		{"NOTIFY_SOCKET=/run/user/1/systemd/notify SYSTEMD_EXEC_PID=77 WATCHDOG_PID=77", 70, true}, // the user's own
		{"NOTIFY_SOCKET=/run/systemd/notify", 1, true},
		{"NOTIFY_SOCKET=/run/notify", 0, true}, // in a container
		{"SYSTEMD_EXEC_PID=77", 70, true},
		{"WATCHDOG_PID=77", 1, true},
		{"NOTIFY_SOCKET=/run/systemd/notify", 70, false}, // of a shell's service, or nobody's
		{"NOTIFY_SOCKET=/run/systemd/notify SYSTEMD_EXEC_PID=76", 70, false},
		{"SYSTEMD_EXEC_PID=76", 70, false},  // of the terminal that this was started in
		{"INVOCATION_ID=4711af", 70, false}, // so is this
		{Kept + "=70", 70, true},
		{Kept + "=70 SYSTEMD_EXEC_PID=76 NOTIFY_SOCKET=@ours WATCHDOG_PID=", 70, true},
		{Kept + "=71", 70, false}, // of a session that started what started this
	} {
		vars := map[string]string{}
		for _, kv := range strings.Fields(c.env) {
			k, v, _ := strings.Cut(kv, "=")
			vars[k] = v
		}
		if got := keptBy(func(name string) string { return vars[name] }, 77, c.parent); got != c.want {
			t.Errorf("%q below %d: kept by somebody: %v", c.env, c.parent, got)
		}
	}
}

// Only a session on the sound device is kept going.
func TestRuns(t *testing.T) {
	for args, want := range map[string]bool{
		"run": true, "run --rate 105": true, "run --help": false, "run -h": false, "": false, "drill": false,
		"help run": false, "replay run": false, "--config site.yaml run": true, "--config=site.yaml run --rate 105": true,
		"--rate 105 run --record always": true, "--config run drill": false, "--config site.yaml run --help": false,
		"--help run": false, "run --config --help": true, "run --unknown": false, "--config run": false,
	} {
		if got := runs(commands(nil), strings.Fields(args)); got != want {
			t.Errorf("%q: %v", args, got)
		}
	}
}

// One that dies at once is started sixty times in five minutes, as the unit file has it.
func TestLimit(t *testing.T) {
	var l limit
	now := time.Unix(0, 0)
	n := 1 // the first start
	for ; l.start(now); now = now.Add(time.Second) {
		n++
	}
	if n != limitStarts {
		t.Errorf("started %d times", n)
	}
	if now = now.Add(limitWithin); !l.start(now) {
		t.Error("given up for what is long ago")
	}
}

// The limit is the unit file's.
func TestLimitOfTheUnit(t *testing.T) {
	unit, err := os.ReadFile("../coxswain.service")
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		fmt.Sprintf("StartLimitIntervalSec=%d", int(limitWithin.Seconds())), fmt.Sprintf("StartLimitBurst=%d", limitStarts),
		fmt.Sprintf("RestartSec=%d", int(pause.Seconds())),
		"--wait-device-s " + strings.TrimPrefix(waits, "COXSWAIN_WAIT_DEVICE_S="),
		fmt.Sprintf("TimeoutStartSec=%d", int(startsFor.Seconds())),
		fmt.Sprintf("WatchdogSec=%d", int(silentFor.Seconds())), fmt.Sprintf("TimeoutStopSec=%d", int(endsFor.Seconds())),
	} {
		if !strings.Contains(string(unit), want+"\n") {
			t.Errorf("the unit file has no %s", want)
		}
	}
}
