package live

import (
	"bufio"
	"net/http"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"coxswain/audio/audiotest"
	"coxswain/cmd/coxswain/coxtest"
	"coxswain/timeline"
	"coxswain/timeline/record"
)

// A drill of the page with callouts spoken into a microphone, over a virtual sound
// card: the case is told aloud, what is called stands in the record.
func TestSpokenDrillPage(t *testing.T) {
	if testing.Short() {
		t.Skip("half a minute of real time")
	}
	t.Parallel()
	env, stop := audiotest.SoundServer(t, false)
	defer stop()
	records := t.TempDir()
	cmd := coxswainCommand(t, "drill", "--serve", "--records", records, "--listen", "127.0.0.1:0", "--open=false")
	cmd.Env = env
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
	address, lines := regexp.MustCompile(`(http://[^/ ]+)/\S*token=(\w+)`), bufio.NewScanner(out)
	var at []string
	for at == nil && lines.Scan() {
		at = address.FindStringSubmatch(lines.Text())
	}
	if at == nil {
		t.Fatal("no address is printed")
	}
	beginSpoken(t, at[1], at[2])
	wav := filepath.Join(t.TempDir(), "call.wav")
	if b, err := exec.Command("flite", "-voice", "slt", "-t", "compressions started", "-o", wav).CombinedOutput(); err != nil {
		t.Fatalf("flite: %v: %s", err, b)
	}
	heard := func() bool {
		dirs, _ := filepath.Glob(records + "/2*")
		for _, dir := range dirs {
			events, _, _ := record.Read(dir)
			if coxtest.Count(events, timeline.CompressionsStart, "") > 0 {
				return true
			}
		}
		return false
	}
	for begun := time.Now(); !heard(); time.Sleep(2 * time.Second) { // again, until the case has been told
		if time.Since(begun) > patience {
			t.Fatal("nothing that was spoken stands in the record")
		}
		play := exec.Command("paplay", "--device=micbus", wav)
		play.Env = env
		if b, err := play.CombinedOutput(); err != nil {
			t.Fatalf("paplay: %v: %s", err, b)
		}
	}
}

// beginSpoken begins a drill with a microphone on the page at an address.
func beginSpoken(t *testing.T, page, token string) {
	t.Helper()
	req, err := http.NewRequest("POST", page+"/practice/api/begin", strings.NewReader(`{"case":"pea","spoken":true}`))
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Authorization", "Bearer "+token)
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("Origin", page)
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	if resp.StatusCode >= 300 {
		t.Fatalf("the drill is not begun: %s", resp.Status)
	}
}
