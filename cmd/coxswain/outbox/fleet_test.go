package outbox

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"filippo.io/age"

	"coxswain/audio"
	"coxswain/timeline"
	"coxswain/timeline/record"
)

// The test binary is also a room that sends what it has, and ends.
const roomVariable = "OUTBOX_TEST_ROOM"

func TestMain(m *testing.M) {
	if os.Getenv(reviewerVariable) != "" {
		reviewAsAsked()
	}
	name := os.Getenv(roomVariable)
	if name == "" {
		os.Exit(m.Run())
	}
	key, err := age.ParseX25519Recipient(os.Getenv(roomVariable + "_KEY"))
	if err != nil {
		panic(err)
	}
	o := Outbox{Folders: []string{os.Getenv(roomVariable + "_FOLDER")}, Room: name, Keys: []age.Recipient{key},
		Store: Store{URL: os.Getenv(roomVariable + "_STORE")}}
	for o.Pass(context.Background(), true) != nil {
		time.Sleep(time.Second)
	}
	status, _ := os.ReadFile("/proc/self/status") // getrusage(2) would count the parent in
	_, peak, _ := strings.Cut(string(status), "VmHWM:")
	fmt.Print(strings.Fields(peak + " 0")[0])
	os.Exit(0)
}

// Fifty rooms on this machine each send a case of two minutes, in a process each, eight
// at a time, to a cluster of three on the same machine; a reviewer fetches all. What it
// costs is logged. Unless it is a soak: three rooms, two seconds, one server.
func TestFleet(t *testing.T) {
	t.Parallel()
	rooms, seconds, servers := 3, 2, 1
	if os.Getenv("SOAK") != "" {
		rooms, seconds, servers = 50, 120, 3
	}
	c := startCluster(t, servers)
	store := c.created()
	r := newRoom(t, store)
	first := r.record(0)
	lengthen(t, first, seconds)
	bytes := sizeOf(first)
	var mu sync.Mutex
	var cpu time.Duration
	var most int64
	begun, free := time.Now(), make(chan struct{}, 8)
	var wg sync.WaitGroup
	for k := range rooms {
		folder := filepath.Join(t.TempDir(), "records")
		wg.Go(func() {
			free <- struct{}{}
			defer func() { <-free }()
			dir := filepath.Join(folder, filepath.Base(first))
			copyDir(t, first, dir)
			amend(t, dir, fmt.Sprintf("R%d", k), nil) // no two rooms have the same
			cmd := exec.Command(os.Args[0])
			cmd.Env = append(os.Environ(), "GOMAXPROCS=1", "GOMEMLIMIT=64MiB", fmt.Sprintf("%s=bay-%d", roomVariable, k),
				roomVariable+"_FOLDER="+folder, roomVariable+"_STORE="+store.URL, roomVariable+"_KEY="+r.site.Recipient().String())
			cmd.Stderr = os.Stderr
			out, err := cmd.Output()
			peak, perr := strconv.ParseInt(string(out), 10, 64) // kB
			if err != nil || perr != nil {
				t.Errorf("room %d: %v: %v", k, err, perr)
			}
			os.RemoveAll(folder)
			mu.Lock()
			defer mu.Unlock()
			cpu += cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
			most = max(most, peak)
		})
	}
	wg.Wait()
	sent := time.Since(begun)
	reviewer := r.reviewer()
	reviewer.Keys = nil
	begun = time.Now()
	done := collect(t, reviewer)
	if len(done.New) != rooms || len(done.Refused) > 0 {
		t.Errorf("%d of %d rooms arrive: %q", len(done.New), rooms, done.Refused)
	}
	stored := int64(0)
	for _, o := range c.options {
		stored += sizeOf(o.StoreDir)
	}
	per := func(n int64) float64 { return float64(n) / float64(rooms) / 1e6 }
	t.Logf("%d rooms, a record of %.1f MB each: sent in %v, collected in %v; a room: %.2f s of a core, %.0f MB resident at most, "+
		"%.1f MB stored by %d servers", rooms, float64(bytes)/1e6, sent.Round(time.Second/10),
		time.Since(begun).Round(time.Second/10), cpu.Seconds()/float64(rooms), float64(most)/1e3, per(stored), servers)
}

// lengthen writes a record of so many seconds of noise over another.
func lengthen(t *testing.T, dir string, seconds int) {
	t.Helper()
	if err := os.RemoveAll(dir); err != nil {
		t.Fatal(err)
	}
	w, err := record.Begin(dir, wall)
	if err != nil {
		t.Fatal(err)
	}
	x := make([]float32, audio.Rate)
	random := rand.New(rand.NewPCG(1, 1))
	for i := range x {
		x[i] = random.Float32() / 10
	}
	add := func(e timeline.Event) {
		if _, err := w.Journal.Append(e); err != nil {
			t.Fatal(err)
		}
	}
	add(timeline.Event{Kind: timeline.SessionOpen, Session: &timeline.Session{Wall: wall.Format(time.RFC3339Nano), Rate: timeline.Rate}})
	add(timeline.Event{At: 1, Kind: timeline.CodeStart, Heard: &timeline.Heard{Confidence: 1}})
	for n := range seconds {
		if err := w.Sound.Write(x, x); err != nil {
			t.Fatal(err)
		}
		if n%4 == 0 { // as many events as a busy team makes
			add(timeline.Event{At: timeline.Time(w.Sound.Pos()), Kind: timeline.AccessIV, Heard: &timeline.Heard{Confidence: 1}})
		}
	}
	if err := w.Sound.Close(); err != nil {
		t.Fatal(err)
	}
	add(timeline.Event{At: timeline.Time(w.Sound.Pos()), Kind: timeline.SessionClose})
	if err := w.Journal.Close(); err != nil {
		t.Fatal(err)
	}
}
