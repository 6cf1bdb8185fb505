package main

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"coxswain/audio"
	"coxswain/timeline"
)

// soundServer starts a PulseAudio server of the test's own, with a room that
// the loudspeaker plays into and a bus that feeds the microphone. looped: the
// microphone hears the room.
func soundServer(t *testing.T, looped bool) (env []string, stop func()) {
	env, start := virtualCard(t, looped, new(48000))
	server := start()
	return env, func() { server.Process.Signal(syscall.SIGTERM); server.Wait() }
}

// virtualCard returns the environment of a program that uses the server's
// devices, and starts the server each time it is called.
func virtualCard(t *testing.T, looped bool, rate *int) (env []string, start func() *exec.Cmd) {
	t.Helper()
	if _, err := exec.LookPath("pulseaudio"); err != nil {
		t.Skip("no pulseaudio: `make test` installs it")
	}
	d, err := os.MkdirTemp("", "cox") // a socket's path must be short
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(d) })
	for _, n := range []string{"run", "state", "home"} {
		os.Mkdir(filepath.Join(d, n), 0o700)
	}
	os.WriteFile(d+"/alsa.conf", []byte("pcm.default { type pulse }\nctl.default { type pulse }\n"), 0o600)
	source := "mic"
	if looped {
		source = "looped"
	}
	env = append(os.Environ(), "PULSE_RUNTIME_PATH="+d+"/run", "PULSE_STATE_PATH="+d+"/state", "PULSE_COOKIE="+d+"/cookie", "HOME="+d+"/home",
		"ALSA_CONFIG_PATH="+d+"/alsa.conf", "PULSE_SERVER=unix:"+d+"/native", "PULSE_SINK=room", "PULSE_SOURCE="+source)
	start = func() *exec.Cmd {
		os.Remove(d + "/native")
		cmd := exec.Command("pulseaudio", "-n", "--daemonize=no", "--system=false", "--exit-idle-time=-1", "--use-pid-file=no",
			"--high-priority=no", "--realtime=no", "--log-target=stderr", "--log-level=error",
			"--load=module-native-protocol-unix socket="+d+"/native auth-anonymous=1",
			"--load=module-null-sink sink_name=room rate="+strconv.Itoa(*rate)+" channels=1 format=s16le norewinds=1",
			"--load=module-null-sink sink_name=micbus rate="+strconv.Itoa(*rate)+" channels=1 format=s16le norewinds=1",
			"--load=module-remap-source source_name=mic master=micbus.monitor remix=no",
			"--load=module-remap-source source_name=looped master=room.monitor remix=no")
		cmd.Env = env
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		for begun := time.Now(); ; time.Sleep(20 * time.Millisecond) {
			if _, err := os.Stat(d + "/native"); err == nil {
				return cmd
			}
			if time.Since(begun) > 10*time.Second {
				t.Fatal("pulseaudio does not start")
			}
		}
	}
	return env, start
}

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

// echoOf carries what the room's loudspeaker plays through a virtual room and
// back to the microphone, in real time, until stopped.
func echoOf(t *testing.T, env []string) (stop func()) {
	t.Helper()
	const latency = "--latency-msec=20"
	listen := exec.Command("parec", "--device=room.monitor", "--rate=48000", "--channels=1", "--format=s16le", "--raw", latency)
	speak := exec.Command("paplay", "--device=micbus", "--rate=48000", "--channels=1", "--format=s16le", "--raw", latency, "/dev/stdin")
	listen.Env, speak.Env = env, env
	from, err := listen.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	to, err := speak.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(listen.Start(), speak.Start()); err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		back := newRoom(0.001, 0.2, 0.4)
		var raw [2 * audio.Block]byte
		for {
			if _, err := io.ReadFull(from, raw[:]); err != nil {
				to.Close()
				return
			}
			var in, played [audio.Block]float32
			for i := range played {
				played[i] = float32(int16(binary.LittleEndian.Uint16(raw[2*i:]))) / 32768
			}
			back.hear(in[:], played[:])
			for i, x := range in {
				binary.LittleEndian.PutUint16(raw[2*i:], uint16(audio.PCM16(x)))
			}
			if _, err := to.Write(raw[:]); err != nil {
				return
			}
		}
	}()
	return func() {
		listen.Process.Kill()
		speak.Process.Kill()
		<-done
		listen.Wait()
		speak.Wait()
	}
}

// The daemon on a real PortAudio stream, over a virtual sound card, for a
// minute: 58 s of an invented code are spoken into the microphone, and what
// coxswain says comes back to it through a virtual room.
func TestLive(t *testing.T) {
	if testing.Short() {
		t.Skip("a minute of real time")
	}
	env, stop := soundServer(t, false)
	defer stop()
	wav := filepath.Join(t.TempDir(), "scene.wav")
	renderScene(t, "testdata/live.scene", wav)
	defer echoOf(t, env)()
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
	env, stop := soundServer(t, true)
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
	rate := 48000
	env, start := virtualCard(t, false, &rate)
	server := start()
	dir := liveRun(t, env, 14*time.Second, func() {
		time.Sleep(4 * time.Second)
		server.Process.Kill()
		server.Wait()
		time.Sleep(2 * time.Second)
		rate = 44100
		server = start()
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
	env, start := virtualCard(t, false, new(48000))
	dir := liveRun(t, env, 9*time.Second, func() {
		time.Sleep(2 * time.Second)
		server := start()
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
	env, stop := soundServer(t, false)
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
	raw, err := exec.Command("sox", filepath.Join(dir, audio.PartName(0)), "-t", "f32", "-", "remix", "2").Output()
	if err != nil {
		t.Fatal(err)
	}
	out := make([]float32, len(raw)/4)
	for i := range out {
		out[i] = math.Float32frombits(uint32(raw[4*i]) | uint32(raw[4*i+1])<<8 | uint32(raw[4*i+2])<<16 | uint32(raw[4*i+3])<<24)
	}
	return out
}
