package main

import (
	"bufio"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"

	"coxswain/audio/audiotest"
	"coxswain/cmd/coxswain/session"
)

// A running session answers on its socket and over HTTP, and tells the service
// manager that it is up and alive.
func TestStatusOfARunningSession(t *testing.T) {
	env, stop := audiotest.SoundServer(t, false)
	defer stop()
	records := t.TempDir()
	notify := filepath.Join(t.TempDir(), "notify")
	manager, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: notify, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	defer manager.Close()
	addr := freeAddress(t)
	told := make(chan map[string]int)
	go func() { told <- listenAsManager(manager) }()
	cmd := coxswainCommand(t, "run", "--records", records, "--recogniser", earCommand(t), "--http", addr)
	cmd.Env = append(env, partVariable+"=coxswain", "NOTIFY_SOCKET="+notify, "WATCHDOG_USEC=600000")
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	time.Sleep(5 * time.Second)
	var n session.Snapshot
	if err := json.Unmarshal([]byte(ok(t, "status", "--json", "--records", records)), &n); err != nil {
		t.Fatal(err)
	}
	if !n.Healthy || n.Callouts < 1 || n.Session < 3 || n.Code != nil || len(n.Last) == 0 || n.Last[0].Text != "access IV" {
		t.Errorf("status: %+v", n)
	}
	for path, check := range map[string]func(io.Reader) bool{
		"/health":  func(r io.Reader) bool { b, _ := io.ReadAll(r); return string(b) == "well\n" },
		"/metrics": func(r io.Reader) bool { return metric(t, r, "coxswain_callouts") >= 1 },
		"/events": func(r io.Reader) bool {
			line, _ := bufio.NewReader(r).ReadString('\n')
			return strings.HasPrefix(line, "data: {")
		},
		"/": func(r io.Reader) bool { b, _ := io.ReadAll(r); return strings.Contains(string(b), "wall.js") },
	} {
		r, err := http.Get("http://" + addr + path)
		if err != nil {
			t.Fatal(err)
		}
		if !check(r.Body) || !strings.Contains(r.Header.Get("Content-Security-Policy"), "default-src 'none'") {
			t.Errorf("%s: %s %v", path, r.Status, r.Header)
		}
		r.Body.Close()
	}
	cmd.Process.Signal(syscall.SIGTERM)
	asked := time.Now()
	if err := cmd.Wait(); err != nil {
		t.Error(err)
	}
	if took := time.Since(asked); took > time.Second {
		t.Errorf("the shutdown took %v, want under 1 s", took)
	}
	manager.SetReadDeadline(time.Now().Add(100 * time.Millisecond))
	said := <-told
	if said["READY=1"] != 1 || said["WATCHDOG=1"] < 10 || said["STOPPING=1"] != 1 {
		t.Errorf("the manager was told %v", said)
	}
}

// freeAddress is a loopback address that nobody listens on.
func freeAddress(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// listenAsManager counts the messages until the socket's deadline. It reads at
// once, as a manager does: a socket holds ten messages.
func listenAsManager(c *net.UnixConn) map[string]int {
	said, buf := map[string]int{}, make([]byte, 100)
	for {
		k, err := c.Read(buf)
		if err != nil {
			return said
		}
		said[string(buf[:k])]++
	}
}

// metric reads one value of Prometheus text form with the reference parser.
func metric(t *testing.T, r io.Reader, name string) float64 {
	t.Helper()
	p := expfmt.NewTextParser(model.UTF8Validation)
	families, err := p.TextToMetricFamilies(r)
	if err != nil {
		t.Fatal(err)
	}
	return families[name].GetMetric()[0].GetGauge().GetValue()
}

// The unit file is one that systemd accepts.
func TestUnitFile(t *testing.T) {
	if _, err := exec.LookPath("systemd-analyze"); err != nil {
		t.Skip("no systemd-analyze: `make test` installs it")
	}
	path := filepath.Join(t.TempDir(), "coxswain.service")
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	text := strings.NewReplacer("/usr/local/bin/coxswain", self, "User=coxswain\n", "").Replace(unitFile)
	os.WriteFile(path, []byte(text), 0o644)
	if b, err := exec.Command("systemd-analyze", "verify", path).CombinedOutput(); err != nil || strings.Contains(string(b), path) {
		t.Errorf("%v: %s", err, b)
	}
}

// The check finds everything well in a room whose microphone hears the
// loudspeaker; one whose microphone is dead it fails.
func TestCheck(t *testing.T) {
	for _, looped := range []bool{true, false} {
		env, stop := audiotest.SoundServer(t, looped)
		cmd := coxswainCommand(t, "check", "--json", "--records", t.TempDir(), "--hours", "0.01")
		cmd.Env = append(env, partVariable+"=coxswain")
		b, err := cmd.Output()
		stop()
		var found []finding
		if jerr := json.Unmarshal(b, &found); jerr != nil {
			t.Fatalf("%v: %s", err, b)
		}
		results := map[string]string{}
		for _, f := range found {
			results[f.Name] = f.Result
			t.Log(f)
		}
		for _, name := range []string{"protocol", "vocabulary", "recogniser", "disk", "backup", "speech"} {
			if results[name] != "pass" {
				t.Errorf("%s: %q", name, results[name])
			}
		}
		// A null sink's silence is digital: the microphone counts as dead.
		if want := map[bool]string{true: "pass", false: "fail"}[looped]; results["loudspeaker"] != want || results["microphone"] != "fail" || err == nil {
			t.Errorf("looped %v: loudspeaker %q, microphone %q, exit %v", looped, results["loudspeaker"], results["microphone"], err)
		}
	}
}
