package outbox

import (
	"context"
	"crypto/ed25519"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"filippo.io/age"

	"coxswain/timeline/record"
)

// A finished record goes by itself, sealed and signed; the reviewer's machine fetches,
// opens and verifies it and keeps the table. Twice changes nothing, on either side;
// what was amended here goes again; a restart forgets nothing. What runs, is
// practice, or is not whole stays.
func TestThereAndBack(t *testing.T) {
	r := newRoom(t, startCluster(t, 1).created())
	dir := r.record(0)
	write(t, filepath.Join(r.Folders[0], "2026-03-01T150000"), wall, false)
	broken := filepath.Join(r.Folders[0], "2026-03-01T160000")
	write(t, broken, wall, true)
	if err := os.WriteFile(filepath.Join(broken, "audio-00.wav"), []byte("no sound"), 0o600); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if err := r.pass(); err != nil {
			t.Fatal(err)
		}
	}
	if !Sent(dir) || Sent(broken) {
		t.Errorf("the record counts as sent: %v; the broken one: %v", Sent(dir), Sent(broken))
	}
	if s := Look(r.Folders[0], time.Now()); s == nil || s.Waiting != 0 || s.Sent != 1 || s.Failing != "" {
		t.Errorf("it tells %+v", s)
	}
	c := r.reviewer()
	if done := collect(t, c); !slices.Equal(done.New, []string{"2026-03-01T140000_bay-2"}) || len(done.Refused) > 0 {
		t.Fatalf("%+v", done)
	}
	there := filepath.Join(c.Folder, "2026-03-01T140000_bay-2")
	same(t, dir, there)
	before := listing(t, c.Folder)
	if done := collect(t, c); len(done.New)+len(done.Changed)+len(done.Refused) > 0 {
		t.Errorf("the second time: %+v", done)
	}
	if after := listing(t, c.Folder); after != before {
		t.Errorf("the second time changed\n%s\ninto\n%s", before, after)
	}
	amend(t, dir, "AB", r.signs)
	again := *r.Outbox // a process that knows nothing but the folders
	again.seen = nil
	if err := again.Pass(t.Context(), true); err != nil {
		t.Fatal(err)
	}
	if done := collect(t, c); !slices.Equal(done.Changed, []string{"2026-03-01T140000_bay-2"}) || letters(t, r.Store) != 2 {
		t.Errorf("after an amendment: %+v, %d letters", done, letters(t, r.Store))
	}
	same(t, dir, there)
	if err := os.Remove(filepath.Join(dir, sentName)); err != nil { // as if the disk had been too full for it
		t.Fatal(err)
	}
	again.seen = nil
	if err := again.Pass(t.Context(), true); err != nil || letters(t, r.Store) != 2 {
		t.Errorf("sent once more: %v, %d letters", err, letters(t, r.Store))
	}
}

// Before a record waits for it, a store that is not there, or was never made, is told.
func TestReach(t *testing.T) {
	c := startCluster(t, 1)
	s := Store{URL: c.url(), Patience: patience}
	if err := s.Reach(t.Context()); err == nil || !strings.Contains(err.Error(), "collect --create") {
		t.Errorf("a store that was never made: %v", err)
	}
	if err := c.created().Reach(t.Context()); err != nil {
		t.Error(err)
	}
	c.stop(0)
	if err := s.Reach(t.Context()); err == nil || !strings.Contains(err.Error(), "does not answer") {
		t.Errorf("a store that has gone: %v", err)
	}
}

// Two amendments of one record, one here and one in the room: both stay.
func TestAmendedOnBothSides(t *testing.T) {
	r := newRoom(t, startCluster(t, 1).created())
	dir, c := r.record(0), r.reviewer()
	if err := r.pass(); err != nil {
		t.Fatal(err)
	}
	collect(t, c)
	amend(t, filepath.Join(c.Folder, "2026-03-01T140000_bay-2"), "CD", nil)
	amend(t, dir, "AB", r.signs)
	if err := r.pass(); err != nil {
		t.Fatal(err)
	}
	if done := collect(t, c); !slices.Equal(done.New, []string{"2026-03-01T140000_bay-2_2"}) {
		t.Errorf("%+v", done)
	}
	if done := collect(t, c); len(done.New)+len(done.Changed) > 0 {
		t.Errorf("the second time: %+v", done)
	}
}

// A key that is not the site's opens nothing, and a record that was signed with
// another key is not even fetched: both are told, nothing is left in the folder, and they
// are taken once the right key is there.
func TestWrongKeys(t *testing.T) {
	r := newRoom(t, startCluster(t, 1).created())
	r.record(0)
	if err := r.pass(); err != nil {
		t.Fatal(err)
	}
	other, _ := age.GenerateX25519Identity()
	stranger, _, _ := ed25519.GenerateKey(nil)
	good := r.reviewer()
	for _, c := range []struct {
		name, want string
		change     func(*Collector)
	}{
		{"site", "bay-2", func(c *Collector) { c.IDs = []age.Identity{other} }},
		{"room", "its signature: was not made with this key", func(c *Collector) { c.Keys = []ed25519.PublicKey{stranger} }},
	} {
		bad := good
		c.change(&bad)
		done := collect(t, bad)
		if len(done.New) > 0 || len(done.Refused) != 1 || !strings.Contains(done.Refused[0], c.want) {
			t.Errorf("wrong key of the %s: %+v", c.name, done)
		}
		left, err := os.ReadDir(good.Folder)
		own := func(e os.DirEntry) bool { return e.Name() == progressName || e.Name() == ".collect.lock" }
		if left = slices.DeleteFunc(left, own); err != nil || len(left) > 0 {
			t.Errorf("wrong key of the %s: %v is there: %v", c.name, left, err)
		}
	}
	good.Keys = append([]ed25519.PublicKey{stranger}, good.Keys...) // of another room
	if done := collect(t, good); len(done.New) != 1 || len(done.Refused) > 0 {
		t.Errorf("the right keys: %+v", done)
	}
}

// A store that is full takes nothing, which is told, and nothing is lost: when there
// is room, all arrives, once.
func TestFullStore(t *testing.T) {
	store := startCluster(t, 1).created()
	r := newRoom(t, store)
	limit(t, store, 10)
	const n = 4
	for k := range n {
		r.record(k)
	}
	if err := r.pass(); err == nil {
		t.Fatal("a full store took records")
	}
	if s := Look(r.Folders[0], time.Now()); s.Waiting != n || s.OldestS < 0 || s.Failing == "" {
		t.Errorf("it tells %+v", s)
	}
	limit(t, store, -1)
	if err := r.pass(); err != nil {
		t.Fatal(err)
	}
	arrived(t, r, n)
}

// limit bounds the bytes of both parts of the store; -1: not at all.
func limit(t *testing.T, s Store, bytes int64) {
	t.Helper()
	c, err := s.open(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	for _, name := range []string{Stream, "OBJ_" + Bucket} {
		stream, err := c.js.Stream(t.Context(), name)
		if err != nil {
			t.Fatal(err)
		}
		config := stream.CachedInfo().Config
		config.MaxBytes = bytes
		if _, err := c.js.UpdateStream(t.Context(), config); err != nil {
			t.Fatal(err)
		}
	}
}

// Of a cluster of three, one server dies while 50 records go, in a soak the one that
// leads (the others then take some seconds to choose another) of 200: nothing is lost, nothing
// is there twice.
func TestServerDies(t *testing.T) {
	if testing.Short() {
		t.Skip("three servers")
	}
	t.Parallel()
	c := startCluster(t, 3)
	r := newRoom(t, c.created())
	n := 50
	if os.Getenv("SOAK") != "" {
		n = 200
	}
	first := r.record(0)
	for k := 1; k < n; k++ { // each record costs the disk ten flushes: copies do as well
		at := wall.Add(time.Duration(k) * time.Second)
		copyDir(t, first, filepath.Join(r.Folders[0], at.Format("2006-01-02T150405")))
	}
	different(t, r.Folders[0])
	eventually(t, "somebody leads", func() bool { return c.leader(Stream) >= 0 && c.leader("OBJ_"+Bucket) >= 0 })
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error)
	go func() { ended <- r.Run(ctx) }()
	eventually(t, "the first quarter is there", func() bool { return sentHere(r.Folders[0]) >= n/4 })
	leads := c.leader("OBJ_" + Bucket)
	if dies := 3 - leads - c.leader(Stream); os.Getenv("SOAK") == "" && leads != c.leader(Stream) {
		c.stop(dies) // the third
	} else if os.Getenv("SOAK") == "" {
		c.stop((leads + 1) % 3)
	} else {
		c.stop(leads)
	}
	t.Log("a server dies,", sentHere(r.Folders[0]), "of", n, "are sent")
	eventually(t, "all are sent", func() bool { return sentHere(r.Folders[0]) == n })
	stop()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	arrived(t, r, n)
}

// different gives copies of a record an event each that tells them apart.
func different(t *testing.T, folder string) {
	t.Helper()
	dirs, err := record.Dirs(folder)
	if err != nil {
		t.Fatal(err)
	}
	for i, dir := range dirs {
		amend(t, dir, fmt.Sprintf("A%d", i), nil)
	}
}

// sentHere is how many records are marked as sent.
func sentHere(folder string) int {
	found, _ := filepath.Glob(filepath.Join(folder, "*", sentName))
	return len(found)
}

// A cable that is pulled while records go, and put back after half a minute (a second,
// unless it is a soak): nothing is lost, nothing is there twice, and the cut was told.
func TestNetworkCut(t *testing.T) {
	t.Parallel()
	c := startCluster(t, 1)
	length, store := time.Second, c.created(func(s *Store) { s.Patience = 200 * time.Millisecond })
	if os.Getenv("SOAK") != "" {
		length, store.Patience = 30*time.Second, 0
	}
	r := newRoom(t, store)
	cable := newWire(t, fmt.Sprintf("127.0.0.1:%d", c.options[0].Port))
	r.Store.URL = cable.url()
	const n = 20
	first := r.record(0)
	for k := 1; k < n; k++ {
		copyDir(t, first, filepath.Join(r.Folders[0], wall.Add(time.Duration(k)*time.Second).Format("2006-01-02T150405")))
	}
	different(t, r.Folders[0])
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error)
	go func() { ended <- r.Run(ctx) }()
	eventually(t, "some are there", func() bool { return sentHere(r.Folders[0]) >= 2 })
	cable.set(true)
	eventually(t, "the cut is told", func() bool { s := Look(r.Folders[0], time.Now()); return s != nil && s.Failing != "" })
	time.Sleep(length)
	cable.set(false)
	eventually(t, "all are sent", func() bool { return sentHere(r.Folders[0]) == n })
	stop()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	r.Store.URL, r.Store.Patience = c.url(), patience // a reviewer is not in such a hurry
	arrived(t, r, n)
}

// arrived holds the store to what the room has: each record once, as it is here.
func arrived(t *testing.T, r *room, n int) {
	t.Helper()
	if got := letters(t, r.Store); got != uint64(n) {
		t.Errorf("%d letters are in the store, want %d", got, n)
	}
	c := r.reviewer()
	done := collect(t, c)
	if len(done.New) != n || len(done.Changed)+done.Known+len(done.Refused) > 0 {
		t.Errorf("%d of %d arrive; %+v", len(done.New), n, done)
	}
	dirs, _ := record.Dirs(r.Folders[0])
	for _, dir := range dirs {
		same(t, dir, filepath.Join(c.Folder, filepath.Base(dir)+"_bay-2"))
	}
}
