package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"filippo.io/age"
	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"coxswain/cmd/coxswain/coxtest"
)

// queue is a real JetStream server.
func queue(t *testing.T) *server.Server {
	t.Helper()
	s, err := server.NewServer(&server.Options{Host: "127.0.0.1", Port: -1, JetStream: true, StoreDir: t.TempDir(), NoLog: true, NoSigs: true})
	if err != nil {
		t.Fatal(err)
	}
	go s.Start()
	t.Cleanup(s.Shutdown)
	if !s.ReadyForConnections(patience) {
		t.Fatal("the server does not start")
	}
	return s
}

// By the commands: the store is made, a room's record goes, a reviewer's machine has
// it, verified, with the table; once more is nothing new. What is set wrongly is one
// line that says what to do.
func TestDeliverAndCollect(t *testing.T) {
	dir := t.TempDir()
	records, here, url := filepath.Join(dir, "records"), filepath.Join(dir, "here"), queue(t).ClientURL()
	codeRecord(t, filepath.Join(records, "2026-03-01T140000"), 60)
	site, err := age.GenerateX25519Identity()
	if err != nil {
		t.Fatal(err)
	}
	public, secret := writeText(t, dir, "site.pub", site.Recipient().String()+"\n"), writeText(t, dir, "site.key", site.String()+"\n")
	ok(t, "key", filepath.Join(dir, "room.key"))
	ok(t, "collect", "--create", "--replicas", "1", "--keep-days", "365", "--store", url)
	for range 2 {
		ok(t, "deliver", "--once", "--store", url, "--store-key", public, "--room", "bay-2", "--records", records,
			"--records-fallback", filepath.Join(dir, "none"), "--sign-key", filepath.Join(dir, "room.key"))
	}
	fetch := []string{"collect", "--store", url, "--identity", secret, "--key", filepath.Join(dir, "room.key.pub"), "--records", here}
	if out := ok(t, fetch...); !strings.Contains(out, "new: 2026-03-01T140000_bay-2") {
		t.Error(out)
	}
	if out := ok(t, fetch...); out != "0 new, 0 changed, 0 known, 0 not taken\n" {
		t.Error(out)
	}
	ok(t, "verify", filepath.Join(here, "2026-03-01T140000_bay-2"), "--key", filepath.Join(dir, "room.key.pub"))
	if out := ok(t, "records", "--records", here); !strings.Contains(out, "2026-03-01T140000_bay-2") {
		t.Error(out)
	}
	if st, err := os.Stat(filepath.Join(here, "records.parquet")); err != nil || st.Size() < 100 {
		t.Error(st, err)
	}
	codeRecord(t, filepath.Join(records, "2026-03-02T140000"), 60)
	if out := ok(t, "retain", "--records", records, "--older-than", "1d"); strings.Count(out, "would delete") != 1 ||
		!strings.Contains(out, "kept: not in the store yet: "+filepath.Join(records, "2026-03-02T140000")) {
		t.Error(out)
	}
	refused(t, "say --store", []string{"retain", "--records", records, "--older-than", "1d", "--delete"})
	refused(t, "not in the store yet", []string{"seal", filepath.Join(records, "2026-03-02T140000"), "--to", public, "--remove"})
	if out := ok(t, "retain", "--records", records, "--older-than", "1d", "--delete", "--store", url, "--room", "bay-2"); !strings.Contains(
		out, "deleted "+filepath.Join(records, "2026-03-01T140000")) || strings.Count(out, "kept") != 1 {
		t.Error(out)
	}
	for want, args := range map[string][]string{
		"set store":       {"deliver", "--once", "--store-key", public},
		"store_key":       {"deliver", "--once", "--store", url, "--room", "bay-2"},
		"lower-case":      {"deliver", "--once", "--store", url, "--store-key", public, "--room", "Bay 2"},
		"does not answer": {"collect", "--store", "nats://" + coxtest.FreeAddress(t), "--identity", secret, "--records", here},
		"--identity":      {"collect", "--store", url},
		"stream COXSWAIN": {"collect", "--store", queue(t).ClientURL(), "--identity", secret, "--records", here},
	} {
		refused(t, want, args)
	}
}

// A finished record is stored by a real JetStream server, once; one that is
// unfinished, or that no stream takes, is an error and nothing is lost.
func TestPublish(t *testing.T) {
	s := queue(t)
	conn, err := nats.Connect(s.ClientURL())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	js, err := jetstream.New(conn)
	if err != nil {
		t.Fatal(err)
	}
	stream, err := js.CreateStream(t.Context(), jetstream.StreamConfig{Name: "RECORDS", Subjects: []string{"records.>"}})
	if err != nil {
		t.Fatal(err)
	}
	dir := codeRecord(t, filepath.Join(t.TempDir(), "2026-03-01T140000"), 60)
	if out := ok(t, "publish", dir, "--nats", s.ClientURL(), "--subject", "records.unit"); !strings.Contains(out, "stored in RECORDS as 1") {
		t.Error(out)
	}
	if out := ok(t, "publish", dir, "--nats", s.ClientURL(), "--subject", "records.unit"); !strings.Contains(out, "was there already") {
		t.Error(out)
	}
	m, err := stream.GetMsg(t.Context(), 1)
	if err != nil {
		t.Fatal(err)
	}
	var doc map[string]any
	if err := json.Unmarshal(m.Data, &doc); err != nil || doc["name"] != "2026-03-01T140000" || doc["caution"] != Caution {
		t.Errorf("%v %.200s", err, m.Data)
	}
	for _, c := range [][]string{
		{"publish", dir, "--nats", s.ClientURL(), "--subject", "nobody.listens"},
		{"publish", dir, "--nats", "nats://127.0.0.1:1", "--subject", "records.unit"},
		{"publish", dir, "--nats", s.ClientURL(), "--subject", "records.unit", "--format", "none"},
		{"publish", t.TempDir(), "--nats", s.ClientURL(), "--subject", "records.unit"},
	} {
		var out, stderr bytes.Buffer
		if code := Main(c, strings.NewReader(""), &out, &stderr); code != 1 || strings.Count(strings.TrimSpace(stderr.String()), "\n") != 0 {
			t.Errorf("%v: exit code %d: %s", c, code, stderr.String())
		}
	}
}
