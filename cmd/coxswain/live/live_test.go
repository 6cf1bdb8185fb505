package live

import (
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
	"coxswain/audio/recorder"
	"coxswain/cmd/coxswain/again"
	"coxswain/cmd/coxswain/coxtest"
	"coxswain/cmd/coxswain/monitor"
	"coxswain/timeline"
)

// starvation is the longest that a goroutine of the test had to wait for its
// turn: what the machine does to us, it does to the sound server as well.
func starvation() (worst func() time.Duration) {
	quit, done := make(chan struct{}), make(chan time.Duration)
	go func() {
		var late time.Duration
		for {
			begun := time.Now()
			select {
			case <-quit:
				done <- late
				return
			case <-time.After(5 * time.Millisecond):
				late = max(late, time.Since(begun)-5*time.Millisecond)
			}
		}
	}()
	return func() time.Duration { close(quit); return <-done }
}

// The daemon on a real PortAudio stream, over a virtual sound card, for a
// minute: 58 s of an invented code are spoken into the microphone, and what
// coxswain says comes back to it through a virtual room. A machine that kept the
// test itself waiting made holes in that sound: then it is tried again. Alone, before the
// other tests here: each of those is a machine that keeps it waiting.
func TestLive(t *testing.T) {
	if testing.Short() {
		t.Skip("a minute of real time")
	}
	wav := filepath.Join(t.TempDir(), "scene.wav")
	coxtest.Render(t, "testdata/live.scene", wav)
	for try := 1; ; try++ {
		worst := starvation()
		dir, events := liveScene(t, wav)
		late, faults := worst(), faultsOf(t, events)
		why, starved := misheard(t, events), late > 20*time.Millisecond
		switch {
		case why != "" && (starved || faults > 0) && try < 3:
			t.Logf("%s, but the machine kept us waiting for %v, and %d faults are logged: once more", why, late, faults)
			continue
		case why != "" && starved:
			t.Skip("three times the machine was too busy for sound without holes")
		case why != "":
			t.Error(why)
		}
		if faults == 0 { // a starved machine may lose the beat's phase, not the record
			beatIsEven(t, dir)
		}
		return
	}
}

// liveScene plays a recording into a live session and returns the record.
func liveScene(t *testing.T, wav string) (string, []timeline.Event) {
	t.Helper()
	env, stop := audiotest.SoundServer(t, false)
	defer stop()
	defer audiotest.Echo(t, env, audiotest.NewRoom(0.001, 0.2, 0.4))()
	l := startLive(t, env, t.TempDir())
	l.await("an opening", func(e []timeline.Event) bool { return coxtest.Count(e, timeline.CueSpoken, "opening") > 0 })
	play := exec.Command("paplay", "--device=micbus", wav)
	play.Env = env
	if b, err := play.CombinedOutput(); err != nil {
		t.Errorf("paplay: %v: %s", err, b)
	}
	time.Sleep(3 * time.Second) // for the last callout to be heard
	dir := l.stop()
	if said := l.stderr.String(); !strings.Contains(said, "metronome=") || !strings.Contains(said, "more than 20 ms off") {
		t.Errorf("at its end it does not say how the metronome sounded: %s", said)
	}
	events, _, err := coxtest.Whole(dir)
	if err != nil {
		t.Fatal(err)
	}
	return dir, events
}

// misheard says what was lost or invented of the scene. The room's echo is not
// learned yet in the first seconds: one may be lost, one invented. Without an
// echo TestDemo allows none, and holds the read-backs to half a second.
func misheard(t *testing.T, events []timeline.Event) string {
	t.Helper()
	var got []string
	for _, e := range events {
		if e.Kind.IsCallout() {
			got = append(got, string(e.Kind))
		}
	}
	want := strings.Fields("code.start compressions.start access.iv rhythm.check rhythm.vf shock.clear shock.given " +
		"compressions.start ask.next")
	if missed, left := coxtest.Differ(t, want, got); missed > 1 || len(left) > 1 {
		return fmt.Sprintf("heard %v, want %v", got, want)
	}
	return ""
}

// What is played comes back through the virtual room: the delay is measured,
// not believed from the device's own account.
func TestLoopDelayOfTheDevice(t *testing.T) {
	t.Parallel()
	env, stop := audiotest.SoundServer(t, true)
	defer stop()
	for begun := time.Now(); ; { // a starved device has a longer loop, or none that is clear
		cmd := coxswainCommand(t, "devices", "--loop")
		cmd.Env = env
		out, err := cmd.Output()
		var ms float64
		_, serr := fmt.Sscanf(string(out), "loop delay %f ms", &ms)
		t.Log(strings.TrimSpace(string(out)))
		if err == nil && serr == nil && ms >= 1 && ms <= 250 { // own-voice gating allows for echoDelay
			return
		}
		if time.Since(begun) > patience {
			t.Fatalf("loop delay %v ms: %v", ms, err)
		}
	}
}

// The sound server is killed in the middle of a session and comes back at
// another rate: the session goes on, the gap is logged and spoken.
func TestSoundServerKilled(t *testing.T) {
	t.Parallel()
	card := audiotest.NewCard(t, false)
	server := card.Start(t, audio.Rate)
	l := startLive(t, card.Env, t.TempDir(), "--recogniser", coxtest.Recogniser(t, "ear"))
	l.await("a callout", func(e []timeline.Event) bool { return coxtest.Count(e, timeline.AccessIV, "") > 0 })
	server.Process.Kill()
	server.Wait()
	time.Sleep(2 * time.Second) // the length of the gap
	server = card.Start(t, 44100)
	l.await("a callout after the gap", func(e []timeline.Event) bool { return calloutsAfter(e, isGap) > 0 })
	l.await("the gap spoken", func(e []timeline.Event) bool {
		gap := slices.IndexFunc(e, isGap)
		return coxtest.Count(e[gap:], timeline.CueSpoken, "fault.device:") > 0
	})
	dir := l.stop()
	server.Process.Kill()
	server.Wait()
	events, _, err := coxtest.Whole(dir)
	if err != nil {
		t.Fatal(err)
	}
	gaps := 0
	for _, e := range events {
		if isGap(e) {
			gaps++
		}
	}
	if gaps != 1 {
		t.Errorf("the gap is logged %d times, want once", gaps)
	}
	if n, faults := saidWhole(events, "fault.device"), coxtest.Count(events, timeline.Fault, ""); n > faults {
		t.Errorf("%d faults are spoken %d times", faults, n)
	}
}

// isGap tells the two seconds without a server from the short holes that a
// starved machine makes.
func isGap(e timeline.Event) bool {
	_, lost, ok := strings.Cut(e.Text, "sound was lost for ")
	d, err := time.ParseDuration(lost)
	return ok && err == nil && d > 1500*time.Millisecond
}

// No sound device at start: a service waits for one, tells its manager with every attempt that it does not
// hang, and begins when the device comes.
func TestDeviceComesLate(t *testing.T) {
	t.Parallel()
	card := audiotest.NewCard(t, false)
	manager, notify := listenAsManager(t)
	l := startLive(t, append(card.Env, "NOTIFY_SOCKET="+notify), t.TempDir(),
		"--recogniser", coxtest.Recogniser(t, "ear"), "--wait-device-s", "600")
	for begun := time.Now(); manager.count(monitor.Extends) < 3; time.Sleep(100 * time.Millisecond) {
		if time.Since(begun) > patience {
			t.Fatal("the manager is not told that it waits")
		}
	}
	server := card.Start(t, audio.Rate)
	t.Cleanup(func() { server.Process.Kill(); server.Wait() })
	l.await("a read-back", func(e []timeline.Event) bool { return coxtest.Count(e, timeline.CueSpoken, "said.access.iv") > 0 })
	if _, _, err := coxtest.Whole(l.stop()); err != nil {
		t.Fatal(err)
	}
}

// A live session that was started by hand dies of SIGSEGV in the middle of a case, and its sound
// server with it: it is started again, waits for the server, goes on with the same record at the
// wall clock's time, and the gap is logged and spoken once. Asked to end, it closes the record.
func TestGoesOnAfterCrash(t *testing.T) {
	t.Parallel()
	card := audiotest.NewCard(t, false)
	server := card.Start(t, audio.Rate)
	t.Cleanup(func() { server.Process.Kill(); server.Wait() })
	records := t.TempDir()
	called := func(e []timeline.Event) bool { return coxtest.Count(e, timeline.AccessIV, "") > 0 }
	byHand := append(card.Env, again.Kept+"=0")
	log, err := os.Create(filepath.Join(t.TempDir(), "log"))
	if err != nil {
		t.Fatal(err)
	}
	defer log.Close()
	l := startLiveTo(t, log, byHand, records, "--recogniser", coxtest.Recogniser(t, "ear"))
	l.await("a callout", called)
	second := coxswainCommand(t, "run", "--records", records)
	second.Env = byHand
	if out, err := second.CombinedOutput(); err == nil || !strings.Contains(string(out), "another coxswain is running") {
		t.Errorf("a second daemon: %v: %s", err, out)
	}
	child, asked := childOf(t, l.cmd.Process.Pid), time.Now()
	server.Process.Kill()
	server.Wait()
	syscall.Kill(child, syscall.SIGSEGV)
	logged(t, log.Name(), "waiting for a sound device")
	server = card.Start(t, audio.Rate)
	isBack := saysOf(timeline.Recovered, "after a cut of")
	l.await("the cut in the journal", func(e []timeline.Event) bool { return slices.ContainsFunc(e, isBack) })
	seen := time.Now()
	l.await("a callout after the cut", func(e []timeline.Event) bool { return calloutsAfter(e, isBack) > 0 })
	l.await("the cut spoken", func(e []timeline.Event) bool { return coxtest.Count(e, timeline.CueSpoken, "resumed:") > 0 })
	events, _, err := coxtest.Whole(l.stop())
	if err != nil {
		t.Fatal(err)
	}
	began, err := time.Parse(time.RFC3339Nano, events[0].Session.Wall)
	if err != nil {
		t.Fatal(err)
	}
	back := events[slices.IndexFunc(events, isBack)]
	if at := began.Add(time.Duration(back.At.Seconds() * 1e9)); at.Before(asked.Add(-10*time.Millisecond)) || at.After(seen) {
		t.Errorf("it goes on at %v on the session's clock, on the wall it was between %v and %v", at, asked, seen)
	}
	told, spoken := coxtest.Count(events, timeline.Recovered, "after a cut of"), coxtest.Count(events, timeline.CueSpoken, "resumed:")
	if told != 1 || spoken != 1 {
		t.Errorf("the cut is logged %d times and spoken %d times", told, spoken)
	}
	if said := logged(t, log.Name(), ""); strings.Count(said, "it is started again") != 1 {
		t.Errorf("the log tells of the new start otherwise than once: %s", said)
	}
}

// logged waits until a log has these words, and returns what it says.
func logged(t *testing.T, path, words string) string {
	t.Helper()
	for begun := time.Now(); ; time.Sleep(50 * time.Millisecond) {
		b, err := os.ReadFile(path)
		switch {
		case err == nil && strings.Contains(string(b), words):
			return string(b)
		case err != nil || time.Since(begun) > patience:
			t.Fatalf("no %q in the log (%v): %s", words, err, b)
		}
	}
}

// childOf is the one child of a process (proc(5), stat).
func childOf(t *testing.T, parent int) int {
	t.Helper()
	all, _ := filepath.Glob("/proc/[0-9]*/stat")
	for _, path := range all {
		b, _ := os.ReadFile(path)
		_, rest, _ := strings.Cut(string(b), ") ")
		if f := strings.Fields(rest); len(f) > 1 && f[1] == strconv.Itoa(parent) {
			child, _ := strconv.Atoi(strings.Split(path, "/")[2])
			return child
		}
	}
	t.Fatalf("process %d has no child", parent)
	return 0
}

// beatIsEven looks at what was really played (channel 2 of the log) in a
// stretch without speech: beats 60/110 s apart, to the sample.
func beatIsEven(t *testing.T, dir string) {
	t.Helper()
	x := channel2(t, dir)
	var onsets []int
	quiet := 0
	for i, v := range x {
		if math.Abs(float64(v)) > 0.02 {
			if quiet > audio.Rate/10 {
				onsets = append(onsets, i)
			}
			quiet = 0
		} else {
			quiet++
		}
	}
	even, period := 0, 60.0/110*audio.Rate
	for i := 1; i < len(onsets); i++ {
		if math.Abs(float64(onsets[i]-onsets[i-1])-period) <= 1 {
			even++
		}
	}
	t.Logf("%d onsets, %d beats exactly a period apart", len(onsets), even)
	if even < 20 {
		t.Errorf("only %d of %d onsets lie a beat apart", even, len(onsets))
	}
}

func channel2(t *testing.T, dir string) []float32 {
	t.Helper()
	raw, err := exec.Command("sox", filepath.Join(dir, recorder.PartName(0)), "-t", "f32", "-", "remix", "2").Output()
	if err != nil {
		t.Fatal(err)
	}
	out := make([]float32, len(raw)/4)
	for i := range out {
		out[i] = math.Float32frombits(uint32(raw[4*i]) | uint32(raw[4*i+1])<<8 | uint32(raw[4*i+2])<<16 | uint32(raw[4*i+3])<<24)
	}
	return out
}
