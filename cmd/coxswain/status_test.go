package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"filippo.io/age"
	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"

	"coxswain/audio/audiotest"
	"coxswain/cmd/coxswain/monitor"
	"coxswain/cmd/coxswain/ready"
	"coxswain/timeline"
)

// A running session answers on its socket and over HTTP, and tells the service
// manager that it is up and alive. All the while nobody answers where its records
// should go: that is told, and changes nothing else.
func TestStatusOfARunningSession(t *testing.T) {
	env, stop := audiotest.SoundServer(t, false)
	defer stop()
	records := t.TempDir()
	manager, notify := listenAsManager(t)
	addr := freeAddress(t)
	waiting, key := t.TempDir(), siteKey(t)
	codeRecord(t, filepath.Join(waiting, "2026-03-01T140000"), 60)
	l := startLive(t, append(env, "NOTIFY_SOCKET="+notify, "WATCHDOG_USEC=600000"), records, "--recogniser", earCommand(t), "--http", addr,
		"--store", "nats://"+freeAddress(t), "--store-key", key, "--room", "bay-2", "--records-fallback", waiting)
	l.await("a callout", func(e []timeline.Event) bool { return countOf(e, timeline.AccessIV, "") > 0 })
	var n monitor.Status
	for begun := time.Now(); ; time.Sleep(100 * time.Millisecond) { // it shows itself four times a second
		var out, stderr bytes.Buffer // exit code 1 while a busy machine loses sound
		Main([]string{"status", "--json", "--records", records}, nil, &out, &stderr)
		if err := json.Unmarshal(out.Bytes(), &n); err != nil {
			t.Fatalf("%v: %s", err, stderr.String())
		}
		if n.Healthy && n.Callouts >= 1 && n.Session > 2 && n.Code == nil && len(n.Last) > 0 && n.Last[0].Text == "access IV" &&
			n.Outbox != nil && n.Outbox.Waiting == 1 && strings.Contains(n.Outbox.Failing, "the store does not answer") {
			break
		}
		if time.Since(begun) > patience {
			t.Fatalf("status: %+v %+v", n.Snapshot, n.Outbox)
		}
	}
	for path, check := range map[string]func(io.Reader) bool{
		"/health": func(r io.Reader) bool { b, _ := io.ReadAll(r); return string(b) == "well\n" },
		"/metrics": func(r io.Reader) bool {
			b, _ := io.ReadAll(r)
			of := func(name string) float64 { return metric(t, bytes.NewReader(b), name) }
			return of("coxswain_callouts") >= 1 && of("coxswain_outbox_records") == 1 && of("coxswain_outbox_failing") == 1
		},
		"/events": func(r io.Reader) bool {
			line, _ := bufio.NewReader(r).ReadString('\n')
			return strings.HasPrefix(line, "data: {")
		},
		"/": func(r io.Reader) bool { b, _ := io.ReadAll(r); return strings.Contains(string(b), "wall.js") },
	} {
		r := asked(t, addr, path, records)
		if !check(r.Body) || !strings.Contains(r.Header.Get("Content-Security-Policy"), "default-src 'none'") {
			t.Errorf("%s: %s %v", path, r.Status, r.Header)
		}
		r.Body.Close()
	}
	for begun := time.Now(); manager.count("WATCHDOG=1") < 10 && time.Since(begun) < patience; {
		time.Sleep(100 * time.Millisecond)
	}
	l.stop()
	if manager.count("READY=1") != 1 || manager.count("WATCHDOG=1") < 10 || manager.count("STOPPING=1") != 1 {
		t.Errorf("the manager was told %v", manager.said)
	}
}

// siteKey is a file with a new public key to seal to.
func siteKey(t *testing.T) string {
	t.Helper()
	site, err := age.GenerateX25519Identity()
	if err != nil {
		t.Fatal(err)
	}
	return writeText(t, t.TempDir(), "site.pub", site.Recipient().String()+"\n")
}

// asked is the answer of a running session, with the display's word where one is needed.
func asked(t *testing.T, addr, path, records string) *http.Response {
	t.Helper()
	req, err := http.NewRequest("GET", "http://"+addr+path, nil)
	if err != nil {
		t.Fatal(err)
	}
	if path != "/health" && path != "/metrics" { // these are open on loopback
		address := ok(t, "status", "--records", records, "--display")
		_, word, _ := strings.Cut(strings.TrimSpace(address), "?token=")
		req.Header.Set("Authorization", "Bearer "+word)
	}
	r, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	return r
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

// manager is a service manager that counts what it is told.
type manager struct {
	mu   sync.Mutex
	said map[string]int
}

// listenAsManager opens a notify socket until the test's end. It reads at
// once, as a manager does: a socket holds ten messages.
func listenAsManager(t *testing.T) (m *manager, path string) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "n")
	c, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	m = &manager{said: map[string]int{}}
	done := make(chan struct{})
	go func() {
		defer close(done)
		for buf := make([]byte, 100); ; {
			k, err := c.Read(buf)
			if err != nil {
				return
			}
			m.mu.Lock()
			m.said[string(buf[:k])]++
			m.mu.Unlock()
		}
	}()
	t.Cleanup(func() { c.Close(); <-done })
	return m, path
}

// count returns how often a message came; it waits for one that is on its way.
func (m *manager) count(text string) int {
	for begun := time.Now(); ; time.Sleep(10 * time.Millisecond) {
		m.mu.Lock()
		n := m.said[text]
		m.mu.Unlock()
		if n > 0 || time.Since(begun) > time.Second {
			return n
		}
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
		// A null sink's silence is digital: the microphone counts as dead.
		want := map[string]string{"loudspeaker": map[bool]string{true: "pass", false: "fail"}[looped], "microphone": "fail"}
		for _, name := range []string{"protocol", "vocabulary", "recogniser", "disk", "backup", "speech"} {
			want[name] = "pass"
		}
		var results map[string]string
		for begun := time.Now(); time.Since(begun) < patience; { // a starved device has no clear loop
			if results = checkOnce(t, env); holds(results, want) {
				break
			}
		}
		stop()
		if !holds(results, want) {
			t.Errorf("looped %v: %v, want %v", looped, results, want)
		}
	}
}

// holds reports whether every wanted result is there.
func holds(results, want map[string]string) bool {
	for name, w := range want {
		if results[name] != w {
			return false
		}
	}
	return true
}

// checkOnce runs the check, which fails for the dead microphone, and returns
// its results by name.
func checkOnce(t *testing.T, env []string) map[string]string {
	t.Helper()
	cmd := coxswainCommand(t, "check", "--json", "--records", t.TempDir(), "--hours", "0.01")
	cmd.Env = append(env, partVariable+"=coxswain")
	b, err := cmd.Output()
	if err == nil {
		t.Error("a check with a dead microphone succeeds")
	}
	var found []ready.Finding
	if jerr := json.Unmarshal(b, &found); jerr != nil {
		t.Fatalf("%v: %s", jerr, b)
	}
	results := map[string]string{}
	for _, f := range found {
		results[f.Name] = f.Result
		t.Log(f)
	}
	return results
}
