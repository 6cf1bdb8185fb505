package live

import (
	"cmp"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"coxswain/audio"
	"coxswain/audio/audiotest"
	"coxswain/cmd/coxswain/coxtest"
	"coxswain/timeline"
)

// Ten minutes beside two busy loops, and ten more of low priority, so that the load is
// above ten: the record is as long as the wall clock says, within 0.1 s. How far off the
// rhythm each beat sounded is measured at the card, and logged beside what coxswain says of
// it; one that was more than 20 ms off without a word in the journal is a failure. Only in
// a soak: it keeps a machine busy. BUFFER_MS is how much sound the device may hold.
func TestBusyMachine(t *testing.T) {
	if os.Getenv("SOAK") == "" {
		t.Skip("ten minutes beside busy loops: make soak")
	}
	length := 10 * time.Minute
	if d, err := time.ParseDuration(os.Getenv("SOAK")); err == nil {
		length = d
	}
	card := audiotest.NewCard(t, false)
	server := card.Start(t, audio.Rate)
	defer func() { server.Process.Kill(); server.Wait() }()
	heard := filepath.Join(t.TempDir(), "heard")
	stopHearing := hearCard(t, card, heard)
	busyLoops(t)
	l := startLive(t, card.Env, t.TempDir(), "--recogniser", coxtest.Recogniser(t, "beat"), "--mode", "continuous",
		"--buffer-ms", cmp.Or(os.Getenv("BUFFER_MS"), "20"))
	l.await("compressions", func(e []timeline.Event) bool { return coxtest.Count(e, timeline.CompressionsStart, "") > 0 })
	time.Sleep(length)
	load, _ := os.ReadFile("/proc/loadavg")
	asked := time.Now()
	dir := l.stop()
	ended := time.Now()
	stopHearing()
	events, samples, err := coxtest.Whole(dir)
	if err != nil {
		t.Fatal(err)
	}
	faults := faultsOf(t, events)
	onTheWall(t, events, samples, asked, ended)
	off := offRhythm(t, heard)
	over, n := 0, len(off)
	for _, d := range off {
		if d > 20*time.Millisecond {
			over++
		}
	}
	if n < int(length.Seconds()) {
		t.Fatalf("only %d beats were heard", n)
	}
	slices.Sort(off)
	t.Logf("load %s; %d beats, half within %v, 90 %% within %v, 99 %% within %v, the worst %v off; %d more than 20 ms off; %d faults logged",
		strings.Fields(string(load))[0], n, off[n/2], off[n*9/10], off[n*99/100], off[n-1], over, faults)
	for line := range strings.Lines(l.stderr.String()) {
		if strings.Contains(line, "metronome=") {
			t.Log(strings.TrimSpace(line))
		}
	}
	if over > 0 && faults == 0 {
		t.Errorf("%d beats are more than 20 ms off, and nothing is said of it", over)
	}
}

// busyLoops keeps the machine busy until the test's end: two loops as all else, ten
// behind all else. Each is a session of its own, as what somebody else runs is: Linux
// would count its niceness within ours only.
func busyLoops(t *testing.T) {
	for k := range 12 {
		loop := exec.Command("sh", "-c", "while :; do :; done")
		loop.SysProcAttr = &syscall.SysProcAttr{Setsid: true}
		if err := loop.Start(); err != nil {
			t.Fatal(err)
		}
		nice := 0
		if k >= 2 {
			nice = 19
		}
		syscall.Setpriority(syscall.PRIO_PROCESS, loop.Process.Pid, nice)
		os.WriteFile(fmt.Sprintf("/proc/%d/autogroup", loop.Process.Pid), []byte(strconv.Itoa(nice)), 0o644)
		t.Cleanup(func() { loop.Process.Kill(); loop.Wait() })
	}
}

// hearCard writes what the card plays, 16-bit samples, to a file until stop is called.
func hearCard(t *testing.T, card *audiotest.Card, path string) (stop func()) {
	t.Helper()
	out, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("parec", "--rate=48000", "--channels=1", "--format=s16le", "--raw", "--device=room.monitor")
	cmd.Env, cmd.Stdout = card.Env, out
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	audiotest.Ahead(cmd.Process.Pid, -16)
	return func() { cmd.Process.Kill(); cmd.Wait(); out.Close() }
}

// offRhythm is how far each beat that the card played lies off the rhythm of 60/110 s of
// the nine around it, as an ear hears it. What is spoken may hide a beat, and looks like one
// where it begins after a pause: what is further off than a quarter of a beat is not one.
func offRhythm(t *testing.T, path string) (off []time.Duration) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	const period, around = 60.0 / 110 * audio.Rate, 4
	var onsets []float64
	for i, quiet := 0, 0; 2*i+1 < len(b); i++ {
		if x := int16(binary.LittleEndian.Uint16(b[2*i:])); x > 2000 || x < -2000 {
			if quiet > audio.Rate/5 {
				onsets = append(onsets, float64(i))
			}
			quiet = 0
		} else {
			quiet++
		}
	}
	for k, o := range onsets {
		var phases []float64 // against this one, on a circle
		for _, other := range onsets[max(0, k-around):min(len(onsets), k+around+1)] {
			phases = append(phases, math.Remainder(other-o, period))
		}
		slices.Sort(phases)
		if d := math.Abs(phases[len(phases)/2]); d < period/4 {
			off = append(off, time.Duration(d/audio.Rate*1e9).Round(time.Microsecond))
		}
	}
	return off
}
