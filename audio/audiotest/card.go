// Package audiotest holds sound devices for tests: a room that sends the
// loudspeaker's sound back to the microphone, and a virtual sound card.
package audiotest

import (
	"encoding/binary"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"syscall"
	"testing"
	"time"

	"coxswain/audio"
)

// Card is a virtual sound card: a PulseAudio server of the test's own, with a
// room that the loudspeaker plays into and a bus ("micbus") that feeds the
// microphone. It touches nothing of the user's.
type Card struct {
	Env []string // for a program that uses the card
	dir string
}

// NewCard returns a card whose server does not run yet; it skips the test where
// there is no PulseAudio. looped: the microphone hears the room.
func NewCard(t testing.TB, looped bool) *Card {
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
		err = errors.Join(err, os.Mkdir(filepath.Join(d, n), 0o700))
	}
	const conf = "pcm.default { type pulse }\nctl.default { type pulse }\n"
	err = errors.Join(err, os.WriteFile(d+"/alsa.conf", []byte(conf), 0o600))
	if err != nil {
		t.Fatal(err)
	}
	source := "mic"
	if looped {
		source = "looped"
	}
	return &Card{dir: d, Env: append(os.Environ(), "PULSE_RUNTIME_PATH="+d+"/run", "PULSE_STATE_PATH="+d+"/state",
		"PULSE_COOKIE="+d+"/cookie", "HOME="+d+"/home", "ALSA_CONFIG_PATH="+d+"/alsa.conf",
		"PULSE_SERVER=unix:"+d+"/native", "PULSE_SINK=room", "PULSE_SOURCE="+source)}
}

// Start starts the card's server at a rate in Hz and waits until it answers.
// Killing the process is a device that goes away without a word.
func (c *Card) Start(t testing.TB, rate int) *exec.Cmd {
	t.Helper()
	os.Remove(c.dir + "/native")
	// norewinds: without it, seconds pass until the first callback
	sink := " rate=" + strconv.Itoa(rate) + " channels=1 format=s16le norewinds=1"
	cmd := exec.Command("pulseaudio", "-n", "--daemonize=no", "--system=false", "--exit-idle-time=-1", "--use-pid-file=no",
		"--high-priority=no", "--realtime=no", "--log-target=stderr", "--log-level=error",
		"--load=module-native-protocol-unix socket="+c.dir+"/native auth-anonymous=1",
		"--load=module-null-sink sink_name=room"+sink,
		"--load=module-null-sink sink_name=micbus"+sink,
		"--load=module-remap-source source_name=mic master=micbus.monitor remix=no",
		"--load=module-remap-source source_name=looped master=room.monitor remix=no")
	cmd.Env = c.Env
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	for begun := time.Now(); ; time.Sleep(20 * time.Millisecond) {
		if _, err := os.Stat(c.dir + "/native"); err == nil {
			// A client spins while the server keeps it waiting: it must not keep the server from
			// its work. The server has given up what niceness it was started with.
			Ahead(cmd.Process.Pid, niceness(0)-5)
			return cmd
		}
		if time.Since(begun) > time.Minute {
			t.Fatal("pulseaudio does not start")
		}
	}
}

// SoundServer starts a card at 48 kHz, for as long as until stop is called.
func SoundServer(t testing.TB, looped bool) (env []string, stop func()) {
	t.Helper()
	c := NewCard(t, looped)
	server := c.Start(t, audio.Rate)
	return c.Env, func() { server.Process.Signal(syscall.SIGTERM); server.Wait() }
}

// Echo carries what the loudspeaker of a running card plays through a virtual
// room and back to the microphone, in real time, until stopped.
func Echo(t testing.TB, env []string, back *Room) (stop func()) {
	t.Helper()
	raw := []string{"--rate=48000", "--channels=1", "--format=s16le", "--raw", "--latency-msec=20"}
	listen := exec.Command("parec", append(raw, "--device=room.monitor")...)
	speak := exec.Command("paplay", append(raw, "--device=micbus", "/dev/stdin")...)
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
		carry(from, to, back)
		to.Close()
	}()
	return func() {
		listen.Process.Kill()
		speak.Process.Kill()
		<-done
		listen.Wait()
		speak.Wait()
	}
}

// carry copies 16-bit blocks through the room until either end is closed.
func carry(from io.Reader, to io.Writer, back *Room) {
	var raw [2 * audio.Block]byte
	for {
		if _, err := io.ReadFull(from, raw[:]); err != nil {
			return
		}
		var in, played [audio.Block]float32
		for i := range played {
			played[i] = float32(int16(binary.LittleEndian.Uint16(raw[2*i:]))) / 32768
		}
		back.Hear(in[:], played[:])
		for i, x := range in {
			binary.LittleEndian.PutUint16(raw[2*i:], uint16(audio.PCM16(x)))
		}
		if _, err := to.Write(raw[:]); err != nil {
			return
		}
	}
}
