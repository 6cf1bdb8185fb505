package device

import (
	"bytes"
	"fmt"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"coxswain/audio"
	"coxswain/audio/audiotest"
)

// child makes this test's binary the program that a test starts.
const child = "COXSWAIN_DEVICE_CHILD"

func TestMain(m *testing.M) {
	switch os.Getenv(child) {
	case "stderr":
		logWhileProbing()
		return
	case "files":
		probeWithFewFiles()
		return
	case "space":
		probeWithLittleSpace()
		return
	case "play":
		playABit()
		return
	}
	os.Exit(m.Run())
}

// logWhileProbing writes numbered lines to standard error, half of them from a
// program started meanwhile, while devices are listed and opened.
func logWhileProbing() {
	probed := make(chan struct{})
	go func() {
		defer close(probed)
		for range 5 {
			List()
			if d, err := Open(Options{}, audio.NewExchange(1)); err == nil {
				d.Close()
			}
		}
	}()
	for n := 0; ; n++ {
		select {
		case <-probed:
			fmt.Println(n)
			return
		default:
		}
		if n%2 == 0 {
			fmt.Fprintln(os.Stderr, "line", n)
			continue
		}
		other := exec.Command("echo", "line", fmt.Sprint(n))
		other.Stdout = os.Stderr
		if err := other.Run(); err != nil {
			panic(err)
		}
	}
}

// Whoever else writes to standard error, or starts a program that does, is
// heard while a device opens; the libraries below PortAudio are not.
func TestStandardErrorIsLeftAlone(t *testing.T) {
	me, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(me)
	cmd.Env = append(os.Environ(), child+"=stderr", "PULSE_SERVER=unix:/nowhere")
	var stdout, stderr bytes.Buffer
	cmd.Stdout, cmd.Stderr = &stdout, &stderr
	if err := cmd.Run(); err != nil {
		t.Fatalf("%v: %s", err, stderr.String())
	}
	var lines int
	if _, err := fmt.Sscan(stdout.String(), &lines); err != nil || lines < 2 {
		t.Fatalf("%d lines written: %v", lines, err)
	}
	for n, got := range strings.Split(strings.TrimSpace(stderr.String()), "\n") {
		if want := fmt.Sprint("line ", n); got != want {
			t.Fatalf("standard error reads %q, want %q", got, want)
		}
	}
	if n := strings.Count(stderr.String(), "\n"); n != lines {
		t.Errorf("%d of %d lines arrived", n, lines)
	}
}

func probeWithFewFiles() {
	free, err := strconv.Atoi(os.Args[1])
	if err != nil {
		panic(err)
	}
	r, w, err := os.Pipe() // Go's own poller is running, as in any program that has sound
	if err != nil {
		panic(err)
	}
	next := int(w.Fd()) // about the lowest number that is free
	r.Close()
	w.Close()
	var was unix.Rlimit
	if err := unix.Getrlimit(unix.RLIMIT_NOFILE, &was); err != nil {
		panic(err)
	}
	few := unix.Rlimit{Cur: uint64(next + free), Max: was.Max}
	if err := unix.Setrlimit(unix.RLIMIT_NOFILE, &few); err != nil {
		panic(err)
	}
	_, err = List()
	unix.Setrlimit(unix.RLIMIT_NOFILE, &was)
	fmt.Println(err)
}

// However few files may still be opened, a probe ends with a list or one clear
// line: PortAudio left alone aborts the program.
func TestProbeWithFewFiles(t *testing.T) {
	me, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	for _, free := range []int{0, 1, 2, 4, 8, 31, 64} {
		cmd := exec.Command(me, strconv.Itoa(free))
		cmd.Env = append(os.Environ(), child+"=files")
		out, err := cmd.CombinedOutput()
		want := "sound system: only"
		if free > needFiles+4 { // the libraries' own stream and the poller take some
			want = "<nil>"
		}
		if err != nil || !strings.Contains(string(out), want) || strings.Count(string(out), "\n") != 1 {
			t.Errorf("%d files free: %v: %.500s, want one line with %q", free, err, out, want)
		}
	}
}

func probeWithLittleSpace() {
	var was unix.Rlimit
	if err := unix.Getrlimit(unix.RLIMIT_AS, &was); err != nil {
		panic(err)
	}
	little := unix.Rlimit{Cur: needSpace - 1, Max: was.Max}
	if err := unix.Setrlimit(unix.RLIMIT_AS, &little); err != nil {
		panic(err)
	}
	_, err := List()
	unix.Setrlimit(unix.RLIMIT_AS, &was)
	fmt.Println(err)
}

// Where the process may address too little, as under `ulimit -v`, that is what it says, and not that there is
// no microphone.
func TestProbeWithLittleSpace(t *testing.T) {
	me, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(me)
	cmd.Env = append(os.Environ(), child+"=space")
	const want = "sound system: this process may address only 2399999 kB, 2400000 are needed"
	if out, err := cmd.CombinedOutput(); err != nil || !strings.HasPrefix(string(out), want) || strings.Count(string(out), "\n") != 1 {
		t.Errorf("%v: %.500s, want one line with %q", err, out, want)
	}
}

// A configuration of ALSA that cannot be read is one clear line: PortAudio left
// alone aborts the program.
func TestNoConfigurationOfALSA(t *testing.T) {
	t.Setenv("ALSA_CONFIG_PATH", "/nowhere/alsa.conf")
	if _, err := List(); err == nil || !strings.Contains(err.Error(), "libasound2-data") {
		t.Errorf("%v, want what to install", err)
	}
	if _, err := Open(Options{}, audio.NewExchange(1)); err == nil || strings.Contains(err.Error(), "\n") {
		t.Errorf("%v, want one line", err)
	}
}

// What the libraries print is kept at level debug: it tells why a device will
// not open.
func TestLibrariesAreLogged(t *testing.T) {
	before := slog.Default()
	defer slog.SetDefault(before)
	said := make(lines, 1000)
	slog.SetDefault(slog.New(slog.NewTextHandler(said, &slog.HandlerOptions{Level: slog.LevelDebug})))
	conf := filepath.Join(t.TempDir(), "alsa.conf")
	if err := os.WriteFile(conf, []byte("pcm.default { type hw card nowhere }\nctl.default { type hw card nowhere }\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Setenv("ALSA_CONFIG_PATH", conf)
	if _, err := List(); err != nil {
		t.Fatal(err)
	}
	for {
		select {
		case line := <-said:
			if strings.Contains(line, "nowhere") {
				return
			}
		case <-time.After(time.Minute):
			t.Fatal("nothing of ALSA's complaint is logged")
		}
	}
}

// lines takes what is written to it, as much as fits.
type lines chan string

func (l lines) Write(p []byte) (int, error) {
	select {
	case l <- string(p):
	default:
	}
	return len(p), nil
}

// playABit plays through the usual device and tells how many of a hundred blocks it brought.
func playABit() {
	e, n := audio.NewExchange(10), 0
	d, err := Open(Options{}, e)
	if err != nil {
		panic(err)
	}
	var f audio.Frame
	for begun := time.Now(); n < 100 && !d.Dead() && time.Since(begun) < patience; time.Sleep(time.Millisecond) {
		for n < 100 && e.Next(&f) {
			e.Send(make([]float32, audio.Block))
			n++
		}
	}
	fmt.Println(n)
}

// unknowing is an ALSA that does not know, now and then, how late what is played will be heard: what
// the PulseAudio plug-in says as long as it has no timing of its stream.
const unknowing = `
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
int snd_pcm_delay(void *pcm, long *delay) {
	static int n;
	if (n++ % 10 < 3) return -EIO;
	return ((int (*)(void *, long *))dlsym(RTLD_NEXT, "snd_pcm_delay"))(pcm, delay);
}
`

// A stream plays on where ALSA does not know the delay for a moment: PortAudio ends it without a word.
func TestDelayThatIsNotKnown(t *testing.T) {
	cc, err := exec.LookPath("gcc")
	if err != nil {
		t.Skip("no gcc")
	}
	dir := t.TempDir()
	if err := os.WriteFile(dir+"/unknowing.c", []byte(unknowing), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command(cc, "-shared", "-fPIC", "-o", dir+"/unknowing.so", dir+"/unknowing.c").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	card := audiotest.NewCard(t, false)
	server := card.Start(t, audio.Rate)
	defer func() { server.Process.Kill(); server.Wait() }()
	me, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(me)
	cmd.Env = append(card.Env, child+"=play", "LD_PRELOAD="+dir+"/unknowing.so")
	if out, err := cmd.CombinedOutput(); err != nil || !strings.HasPrefix(string(out), "100") {
		t.Errorf("%v: %.500s, want 100 blocks", err, out)
	}
}
