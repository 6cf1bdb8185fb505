package live

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
	"coxswain/cmd/coxswain/coxtest"
	"coxswain/cmd/coxswain/monitor"
	"coxswain/cmd/coxswain/ready"
	"coxswain/timeline"
)

// A running session answers on its socket and over HTTP, and tells the service
// manager that it is up and alive. All the while nobody answers where its records
// should go: that is told, and changes nothing else.
func TestStatusOfARunningSession(t *testing.T) {
	t.Parallel()
	env, stop := audiotest.SoundServer(t, false)
	defer stop()
	records := t.TempDir()
	manager, notify := listenAsManager(t)
	addr := coxtest.FreeAddress(t)
	waiting, key := t.TempDir(), siteKey(t)
	quietRecord(t, filepath.Join(waiting, "2026-03-01T140000"))
	l := startLive(t, append(env, "NOTIFY_SOCKET="+notify, "WATCHDOG_USEC=600000"), records,
		"--recogniser", coxtest.Recogniser(t, "ear"), "--http", addr,
		"--store", "nats://"+coxtest.FreeAddress(t), "--store-key", key, "--room", "bay-2", "--records-fallback", waiting)
	l.await("a callout", func(e []timeline.Event) bool { return coxtest.Count(e, timeline.AccessIV, "") > 0 })
	var n monitor.Status
	for begun := time.Now(); ; time.Sleep(100 * time.Millisecond) { // it shows itself four times a second
		out, err := coxswainCommand(t, "status", "--json", "--records", records).Output() // exit code 1 while a busy machine loses sound
		if jerr := json.Unmarshal(out, &n); jerr != nil {
			t.Fatalf("%v: %v: %s", err, jerr, out)
		}
		if n.Healthy && n.Callouts >= 1 && n.Session > 2 && n.Code == nil && len(n.Last) > 0 && n.Last[0].Text == "IV access" &&
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
	path := filepath.Join(t.TempDir(), "site.pub")
	if err := os.WriteFile(path, []byte(site.Recipient().String()+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// quietRecord makes a record of 3 s of quiet.
func quietRecord(t *testing.T, dir string) {
	t.Helper()
	wav := filepath.Join(t.TempDir(), "in.wav")
	if b, err := exec.Command("sox", "-n", "-r", "48000", "-b", "16", "-c", "1", wav, "trim", "0", "3").CombinedOutput(); err != nil {
		t.Fatalf("sox: %v: %s", err, b)
	}
	ok(t, "replay", wav, "--out", dir, "--quiet", "--record", "always", "--recogniser", coxtest.Recogniser(t, "ear"))
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

// The check finds everything well in a room whose microphone hears the
// loudspeaker; one whose microphone is dead it fails.
func TestCheck(t *testing.T) {
	for name, looped := range map[string]bool{"looped": true, "not looped": false} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			env, stop := audiotest.SoundServer(t, looped)
			defer stop()
			// A null sink's silence is digital: the microphone counts as dead.
			want := map[string]string{"loudspeaker": map[bool]string{true: "pass", false: "fail"}[looped], "microphone": "fail"}
			for _, name := range []string{"protocol", "vocabulary", "recogniser", "disk", "backup", "speech"} {
				want[name] = "pass"
			}
			var results map[string]string
			for begun := time.Now(); time.Since(begun) < patience; { // a starved device has no clear loop
				if results = checkOnce(t, env); holds(results, want) {
					return
				}
			}
			t.Errorf("%v, want %v", results, want)
		})
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
	cmd.Env = env
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
