package main

import (
	"bytes"
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// A finished record is stored by a real JetStream server, once; one that is
// unfinished, or that no stream takes, is an error and nothing is lost.
func TestPublish(t *testing.T) {
	s, err := server.NewServer(&server.Options{Host: "127.0.0.1", Port: -1, JetStream: true, StoreDir: t.TempDir(), NoLog: true, NoSigs: true})
	if err != nil {
		t.Fatal(err)
	}
	go s.Start()
	defer s.Shutdown()
	if !s.ReadyForConnections(10 * time.Second) {
		t.Fatal("the server does not start")
	}
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
