package outbox

import (
	"crypto/ed25519"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"filippo.io/age"

	"coxswain/audio"
	"coxswain/timeline"
	"coxswain/timeline/figures"
	"coxswain/timeline/record"
)

var wall = time.Date(2026, 3, 1, 14, 0, 0, 0, time.UTC)

// room is a room with finished records, and the site that its records are sealed to.
type room struct {
	*Outbox
	t       testing.TB
	site    *age.X25519Identity
	signs   ed25519.PrivateKey
	signed  ed25519.PublicKey
	figures []figures.Definition
}

func newRoom(t testing.TB, store Store) *room {
	t.Helper()
	site, err := age.GenerateX25519Identity()
	if err != nil {
		t.Fatal(err)
	}
	public, private, err := ed25519.GenerateKey(nil)
	if err != nil {
		t.Fatal(err)
	}
	defs, err := figures.Definitions()
	if err != nil {
		t.Fatal(err)
	}
	return &room{&Outbox{Folders: []string{t.TempDir()}, Room: "bay-2", Keys: []age.Recipient{site.Recipient()}, Sign: private,
		Figures: defs, Store: store, Every: 10 * time.Millisecond, Most: 100 * time.Millisecond}, t, site, private, public, defs}
}

// record writes a finished record that begins so many seconds after the others.
func (r *room) record(n int) string {
	r.t.Helper()
	at := wall.Add(time.Duration(n) * time.Second)
	dir := filepath.Join(r.Folders[0], at.Format("2006-01-02T150405"))
	write(r.t, dir, at, true)
	return dir
}

// write writes a short record with a little sound.
func write(t testing.TB, dir string, at time.Time, end bool) {
	t.Helper()
	w, err := record.Begin(dir, at)
	if err != nil {
		t.Fatal(err)
	}
	add := func(e timeline.Event) {
		if _, err := w.Journal.Append(e); err != nil {
			t.Fatal(err)
		}
	}
	add(timeline.Event{Kind: timeline.SessionOpen, Session: &timeline.Session{Wall: at.Format(time.RFC3339Nano), Rate: timeline.Rate}})
	heard := &timeline.Heard{Confidence: 1}
	add(timeline.Event{At: 1, Kind: timeline.CodeStart, Heard: heard})
	add(timeline.Event{At: 2, Kind: timeline.CompressionsStart, Heard: heard})
	add(timeline.Event{At: 3, Kind: timeline.ShockGiven, Heard: heard, Values: map[string]float64{"energy_j": 200}})
	x := make([]float32, audio.Block)
	for i := range x {
		x[i] = float32(at.Unix()%1000) / 2000
	}
	if err := w.Sound.Write(x, x); err != nil {
		t.Fatal(err)
	}
	if end {
		if err := w.Sound.Close(); err != nil {
			t.Fatal(err)
		}
		add(timeline.Event{At: audio.Block, Kind: timeline.SessionClose})
	}
	if err := w.Journal.Close(); err != nil {
		t.Fatal(err)
	}
}

// reviewer is a collector into a folder of its own.
func (r *room) reviewer() Collector {
	dir := r.t.TempDir()
	return Collector{Store: r.Store, Folder: dir, IDs: []age.Identity{r.site}, Keys: []ed25519.PublicKey{r.signed},
		Parquet: filepath.Join(dir, "records.parquet"), Figures: r.figures}
}

func (r *room) pass() error { return r.Pass(r.t.Context(), true) }

// collect runs a collector that must not fail.
func collect(t testing.TB, c Collector) Collected {
	t.Helper()
	done, err := c.Run(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return done
}

// letters is how many letters there are in the store.
func letters(t testing.TB, s Store) uint64 {
	t.Helper()
	c, err := s.open(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	stream, err := c.js.Stream(t.Context(), Stream)
	if err != nil {
		t.Fatal(err)
	}
	return stream.CachedInfo().State.Msgs
}

// same holds two records to be the same, byte for byte.
func same(t *testing.T, a, b string) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(a, "[^.]*"))
	if err != nil || len(files) < 2 {
		t.Fatal(files, err)
	}
	for _, f := range files {
		x, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		y, err := os.ReadFile(filepath.Join(b, filepath.Base(f)))
		if err != nil || string(x) != string(y) {
			t.Fatalf("%s is another in %s: %v", f, b, err)
		}
	}
}

// amend adds an amendment.
func amend(t *testing.T, dir, by string, key ed25519.PrivateKey) {
	t.Helper()
	change := timeline.Change{Do: "add", Kind: timeline.AccessIV, At: 5, By: by, Reason: "seen"}
	if err := record.Amend(dir, change, nil, wall, key); err != nil {
		t.Fatal(err)
	}
}

// listing is every file in a folder, with size and time.
func listing(t *testing.T, dir string) string {
	t.Helper()
	var out strings.Builder
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err == nil && !strings.HasSuffix(path, ".lock") && path != dir {
			st, _ := d.Info()
			fmt.Fprintln(&out, path, st.Size(), st.ModTime().UnixNano())
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out.String()
}
