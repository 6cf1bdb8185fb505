package main

import (
	"path/filepath"
	"syscall"
	"testing"
)

// A pipe, which nobody writes to, is no file: it is refused at once, wherever a file is
// named.
func TestPipesAreNoFiles(t *testing.T) {
	dir := t.TempDir()
	pipe, wav := filepath.Join(dir, "pipe"), filepath.Join(dir, "in.wav")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Skip("no named pipes here:", err)
	}
	writeWAV(t, wav, 48000, 1, 4800)
	record := codeRecord(t, filepath.Join(dir, "2026-03-01T140000"), 60)
	for _, args := range [][]string{
		{"verify", record, "--key", pipe}, {"sign", record, "--sign-key", pipe}, {"seal", record, "--to", pipe},
		{"unseal", record + ".tar.age", "--identity", pipe, "--out", dir + "/u"}, {"listen", wav, "--reference", pipe},
		{"protocol", "--protocol-overlay", pipe}, {"callouts", "--vocabulary", pipe}, {"drill", "--check", pipe},
		{"deliver", "--once", "--store", "nats://127.0.0.1:1", "--store-key", pipe}, {"config", "--config", pipe},
	} {
		refused(t, "name a file", args)
	}
	refused(t, "name a file", []string{"listen", pipe})
}
