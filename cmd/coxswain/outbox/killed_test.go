package outbox

import (
	"context"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"filippo.io/age"

	"coxswain/timeline/record"
)

// The test binary is also a reviewer's machine that fetches what there is, and ends.
const reviewerVariable = "OUTBOX_TEST_REVIEWER"

func reviewAsAsked() {
	id, err := age.ParseX25519Identity(os.Getenv(reviewerVariable + "_ID"))
	if err != nil {
		panic(err)
	}
	c := Collector{Store: Store{URL: os.Getenv(reviewerVariable + "_STORE")}, Folder: os.Getenv(reviewerVariable), IDs: []age.Identity{id}}
	if _, err := c.Run(context.Background()); err != nil {
		panic(err)
	}
	os.Exit(0)
}

// A reviewer's machine is killed while it fetches, again and again, and each time another
// record was amended meanwhile: in the end every record is there once, whole and as it was
// amended last, and nothing half fetched is left. 6 times, 100 in a soak.
func TestCollectIsKilled(t *testing.T) {
	rounds, records := 6, 4
	if os.Getenv("SOAK") != "" {
		rounds = 100
	}
	r := newRoom(t, startCluster(t, 1).created())
	var dirs []string
	for k := range records {
		dirs = append(dirs, r.record(k))
	}
	last := r.reviewer()
	random, killed := rand.New(rand.NewPCG(3, 4)), 0
	for k := range rounds {
		amend(t, dirs[k%records], "AB", r.signs)
		if err := r.pass(); err != nil {
			t.Fatal(err)
		}
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), reviewerVariable+"="+last.Folder, reviewerVariable+"_STORE="+r.Store.URL,
			reviewerVariable+"_ID="+r.site.String())
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Duration(15+random.IntN(80)) * time.Millisecond)
		cmd.Process.Kill()
		if cmd.Wait() != nil {
			killed++
		}
	}
	if done := collect(t, last); len(done.Refused) > 0 {
		t.Errorf("%+v", done)
	}
	found, err := record.Dirs(last.Folder)
	if err != nil || len(found) != records {
		t.Errorf("%d records of %d are there: %v: %v", len(found), records, found, err)
	}
	for _, dir := range dirs {
		same(t, dir, filepath.Join(last.Folder, filepath.Base(dir)+"_bay-2"))
	}
	entries, _ := os.ReadDir(last.Folder)
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), ".incoming") || strings.HasSuffix(e.Name(), beforeName) {
			t.Errorf("%s is left", e.Name())
		}
	}
	t.Logf("%d of %d killed while they fetched", killed, rounds)
}
