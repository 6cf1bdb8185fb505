package main

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"coxswain/audio"
	"coxswain/audio/audiotest"
	"coxswain/audio/recorder"
	"coxswain/timeline"
)

// liveRun runs `coxswain run` until stopped and returns its record's folder.
func liveRun(t *testing.T, env []string, d time.Duration, during func(), args ...string) string {
	t.Helper()
	records := t.TempDir()
	cmd := coxswainCommand(t, append([]string{"run", "--records", records}, args...)...)
	cmd.Env = append(env, partVariable+"=coxswain")
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	time.Sleep(time.Second)
	begun := time.Now()
	if during != nil {
		during()
	}
	time.Sleep(d - time.Since(begun))
	cmd.Process.Signal(syscall.SIGTERM)
	asked := time.Now()
	if err := cmd.Wait(); err != nil {
		t.Fatalf("coxswain run: %v: %s", err, stderr.String())
	}
	if took := time.Since(asked); took > time.Second {
		t.Errorf("SIGTERM took %v, want under 1 s", took)
	}
	found, _ := filepath.Glob(records + "/2*")
	if len(found) != 1 {
		t.Fatalf("records: %v: %s", found, stderr.String())
	}
	return found[0]
}

// The daemon on a real PortAudio stream, over a virtual sound card, for a
// minute: 58 s of an invented code are spoken into the microphone, and what
// coxswain says comes back to it through a virtual room.
func TestLive(t *testing.T) {
	if testing.Short() {
		t.Skip("a minute of real time")
	}
	env, stop := audiotest.SoundServer(t, false)
	defer stop()
	wav := filepath.Join(t.TempDir(), "scene.wav")
	renderScene(t, "testdata/live.scene", wav)
	defer audiotest.Echo(t, env, audiotest.NewRoom(0.001, 0.2, 0.4))()
	dir := liveRun(t, env, 64*time.Second, func() {
		play := exec.Command("paplay", "--device=micbus", wav)
		play.Env = env
		if b, err := play.CombinedOutput(); err != nil {
			t.Errorf("paplay: %v: %s", err, b)
		}
	})
	events, length, err := verify(dir)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	faults := 0
	for _, e := range events {
		switch {
		case e.Kind.IsCallout():
			got = append(got, string(e.Kind))
		case e.Kind == timeline.Fault:
			faults++
			t.Logf("%s %s", e.At, e.Describe())
		}
	}
	want := strings.Fields("code.start compressions.start access.iv rhythm.check rhythm.vf shock.clear shock.given compressions.start ask.next")
	missed, left := differ(t, want, got)
	// The room's echo is not learned yet in the first seconds: one may be lost, one
	// invented. Without an echo TestDemo allows none.
	if missed > 1 || len(left) > 1 {
		t.Errorf("heard %v\nwant  %v", got, want)
	}
	if length < 60*audio.Rate {
		t.Errorf("%v of audio", audio.Duration(length))
	}
	readBacks(t, events, 1)
	if faults == 0 { // a starved test machine may lose the beat's phase, not the record
		beatIsEven(t, dir)
	}
}

// What is played comes back through the virtual room: the delay is measured,
// not believed from the device's own account.
func TestLoopDelayOfTheDevice(t *testing.T) {
	env, stop := audiotest.SoundServer(t, true)
	defer stop()
	cmd := coxswainCommand(t, "devices", "--loop")
	cmd.Env = append(env, partVariable+"=coxswain")
	out, err := cmd.CombinedOutput()
	var ms float64
	if _, serr := fmt.Sscanf(string(out), "loop delay %f ms", &ms); err != nil || serr != nil {
		t.Fatalf("%v: %s", err, out)
	}
	t.Log(strings.TrimSpace(string(out)))
	if ms < 1 || ms > 250 { // own-voice gating allows for echoDelay
		t.Errorf("loop delay %v ms", ms)
	}
}

// The sound server is killed in the middle of a session and comes back at
// another rate: the session goes on, the gap is logged and spoken once.
func TestSoundServerKilled(t *testing.T) {
	card := audiotest.NewCard(t, false)
	server := card.Start(t, audio.Rate)
	dir := liveRun(t, card.Env, 14*time.Second, func() {
		time.Sleep(4 * time.Second)
		server.Process.Kill()
		server.Wait()
		time.Sleep(2 * time.Second)
		server = card.Start(t, 44100)
	}, "--recogniser", earCommand(t))
	server.Process.Kill()
	server.Wait()
	events, length, err := verify(dir)
	if err != nil {
		t.Fatal(err)
	}
	if n := countOf(events, timeline.Fault, "sound was lost for"); n != 1 {
		t.Errorf("the gap is logged %d times, want once", n)
	}
	if n := countOf(events, timeline.CueSpoken, "fault.device:"); n != 1 {
		t.Errorf("the gap is spoken %d times, want once", n)
	}
	if off := audio.Duration(length) - 15*time.Second; off < -time.Second || off > time.Second {
		t.Errorf("%v of audio in 15 s", audio.Duration(length))
	}
}

// No sound device at start: a service waits for one, and begins when it comes.
func TestDeviceComesLate(t *testing.T) {
	card := audiotest.NewCard(t, false)
	dir := liveRun(t, card.Env, 9*time.Second, func() {
		time.Sleep(2 * time.Second)
		server := card.Start(t, audio.Rate)
		t.Cleanup(func() { server.Process.Kill(); server.Wait() })
	}, "--recogniser", earCommand(t), "--wait-device-s", "30")
	events, length, err := verify(dir)
	if err != nil {
		t.Fatal(err)
	}
	if n := countOf(events, timeline.CueSpoken, "said.access.iv"); n < 1 || length < 4*audio.Rate {
		t.Errorf("%d read-backs in %v", n, audio.Duration(length))
	}
}

// SIGKILL in the middle of a live session: the next run goes on with the same
// record, its clock right to the second, the gap logged and spoken.
func TestResumeAfterKill(t *testing.T) {
	env, stop := audiotest.SoundServer(t, false)
	defer stop()
	records := t.TempDir()
	run := func(d time.Duration, end os.Signal) {
		cmd := coxswainCommand(t, "run", "--records", records, "--recogniser", earCommand(t))
		cmd.Env = append(env, partVariable+"=coxswain")
		var stderr bytes.Buffer
		cmd.Stderr = &stderr
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		time.Sleep(d / 2)
		second := coxswainCommand(t, "run", "--records", records)
		second.Env = cmd.Env
		if out, err := second.CombinedOutput(); err == nil || !strings.Contains(string(out), "another coxswain is running") {
			t.Errorf("a second daemon: %v: %s", err, out)
		}
		time.Sleep(d / 2)
		cmd.Process.Signal(end)
		if err := cmd.Wait(); err != nil && end == syscall.SIGTERM {
			t.Fatalf("%v: %s", err, stderr.String())
		}
	}
	run(6*time.Second, syscall.SIGKILL)
	time.Sleep(3 * time.Second)
	run(6*time.Second, syscall.SIGTERM)
	found, _ := filepath.Glob(records + "/2*")
	if len(found) != 1 {
		t.Fatalf("records: %v, want one", found)
	}
	events, length, err := verify(found[0])
	if err != nil {
		t.Fatal(err)
	}
	began, err := time.Parse(time.RFC3339Nano, events[0].Session.Wall)
	if err != nil {
		t.Fatal(err)
	}
	if off := time.Since(began) - audio.Duration(length); off < -time.Second || off > time.Second {
		t.Errorf("the clock is off by %v after the cut", off)
	}
	before, after, told, spoken := 0, 0, 0, 0
	for _, e := range events {
		switch {
		case e.Kind == timeline.Recovered && strings.Contains(e.Text, "after a cut of"):
			told++
		case e.Kind == timeline.CueSpoken && strings.HasPrefix(e.Text, "resumed"):
			spoken++
		case e.Kind == timeline.AccessIV && told == 0:
			before++
		case e.Kind == timeline.AccessIV:
			after++
		}
	}
	if before < 1 || after < 1 || told != 1 || spoken != 1 {
		t.Errorf("%d callouts before the cut, %d after, gap logged %d times and spoken %d times", before, after, told, spoken)
	}
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

// countOf counts the events of a kind whose text has the words.
func countOf(events []timeline.Event, kind timeline.Kind, words string) int {
	n := 0
	for _, e := range events {
		if e.Kind == kind && strings.Contains(e.Text, words) {
			n++
		}
	}
	return n
}
