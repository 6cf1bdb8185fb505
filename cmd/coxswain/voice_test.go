package main

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"coxswain/intents/rehearse"
	"coxswain/timeline"
)

// A reading of nine lines makes a voice profile: numbers only, in a file of its own. A session
// heard with it keeps it in its record, and from there a replay is the same byte for byte.
func TestVoiceProfile(t *testing.T) {
	dir := t.TempDir()
	wav, profile := filepath.Join(dir, "reading.wav"), filepath.Join(dir, "lea.voice")
	read(t, wav, 9)
	var out, errs bytes.Buffer
	code := Main([]string{"rehearse", "--wav", wav, "--json", "--keep", profile}, nil, &out, &errs)
	var r rehearse.Report
	if err := json.Unmarshal(out.Bytes(), &r); code != 0 || err != nil || !strings.Contains(r.Kept, "numbers only") {
		t.Fatalf("%d, %v: %s%s", code, err, out.String(), errs.String())
	}
	b, err := os.ReadFile(profile)
	st, _ := os.Stat(profile)
	if err != nil || st.Mode().Perm() != 0o600 || len(b) > 10_000 || bytes.Count(b, []byte(",")) < 800 {
		t.Fatalf("%v: %d bytes: %.200s", err, len(b), b)
	}
	errs.Reset()
	if code := Main([]string{"rehearse", "--wav", wav, "--keep", profile}, nil, &out, &errs); code != 1 ||
		!strings.Contains(errs.String(), "the file exists") {
		t.Errorf("a file was to be written over: %d, %s", code, errs.String())
	}
	first := journalOf(t, wav, filepath.Join(dir, "first"), "--voice", profile)
	again := journalOf(t, wav, filepath.Join(dir, "again"), "--voice", filepath.Join(dir, "first", "events.jsonl"))
	if !bytes.Equal(first, again) {
		t.Error("a replay with the record's own profile is another record")
	}
	opening, _, _ := bytes.Cut(first, []byte("\n"))
	var e timeline.Event
	if err := json.Unmarshal(opening, &e); err != nil || e.Session == nil || len(e.Session.Voice) < 1000 {
		t.Errorf("the record does not keep the profile: %v: %.300s", err, opening)
	}
}

// A profile that cannot be used costs one line, and the session goes on without it.
func TestBadVoiceProfile(t *testing.T) {
	dir := t.TempDir()
	wav, bad := filepath.Join(dir, "reading.wav"), filepath.Join(dir, "bad.voice")
	read(t, wav, 2)
	if err := os.WriteFile(bad, []byte("{\"format\": 7}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	pipe := filepath.Join(dir, "pipe") // nobody writes to it: to open it would wait for ever
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	without := journalOf(t, wav, filepath.Join(dir, "without"))
	for _, c := range [][2]string{
		{bad, "format 1"}, {filepath.Join(dir, "none.voice"), "no such file"}, {dir, "is a folder, a pipe or a device"},
		{pipe, "is a folder, a pipe or a device"},
		{filepath.Join(dir, "without", "events.jsonl"), "without a voice profile"},
	} {
		var errs bytes.Buffer
		at := filepath.Join(dir, "with")
		os.RemoveAll(at)
		code := Main([]string{"replay", wav, "--out", at, "--quiet", "--voice", c[0]}, nil, &bytes.Buffer{}, &errs)
		got, _ := os.ReadFile(filepath.Join(at, "events.jsonl"))
		lines := 0
		for l := range strings.Lines(errs.String()) {
			if strings.Contains(l, "without the voice profile") && strings.Contains(l, c[1]) {
				lines++
			}
		}
		if code != 0 || lines != 1 || !bytes.Equal(got, without) {
			t.Errorf("%s: %d, %d lines in %s", c[0], code, lines, errs.String())
		}
	}
	var errs bytes.Buffer
	if code := Main([]string{"rehearse", "--wav", wav, "--keep", filepath.Join(dir, "few.voice")}, nil, &bytes.Buffer{}, &errs); code != 1 ||
		!strings.Contains(errs.String(), "no voice profile: only") {
		t.Errorf("too few phrases: %d, %s", code, errs.String())
	}
	if _, err := os.Stat(filepath.Join(dir, "few.voice")); err == nil {
		t.Error("a profile of too few phrases was written")
	}
}

// read has a voice that was never trained on read the first n lines of the card.
func read(t *testing.T, wav string, n int) {
	t.Helper()
	for _, tool := range []string{"flite", "sox"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skip("no " + tool + ": `make test` installs it")
		}
	}
	var list bytes.Buffer
	Main([]string{"rehearse", "--list"}, nil, &list, &bytes.Buffer{})
	join := []string{}
	for i, l := range strings.Split(strings.TrimSpace(list.String()), "\n")[:n] {
		f := filepath.Join(t.TempDir(), string(rune('a'+i))+".wav")
		if b, err := exec.Command("flite", "-voice", "slt", "-t", l, "-o", f).CombinedOutput(); err != nil {
			t.Fatalf("flite: %v: %s", err, b)
		}
		join = append(join, "|sox "+f+" -p pad 0.5 0.5")
	}
	if b, err := exec.Command("sox", append(join, "-r", "48000", wav)...).CombinedOutput(); err != nil {
		t.Fatalf("sox: %v: %s", err, b)
	}
}

// journalOf is the journal of a recording.
func journalOf(t *testing.T, wav, dir string, more ...string) []byte {
	t.Helper()
	var errs bytes.Buffer
	if code := Main(append([]string{"replay", wav, "--out", dir, "--quiet"}, more...), nil, &bytes.Buffer{}, &errs); code != 0 {
		t.Fatalf("%d: %s", code, errs.String())
	}
	b, err := os.ReadFile(filepath.Join(dir, "events.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	return b
}
