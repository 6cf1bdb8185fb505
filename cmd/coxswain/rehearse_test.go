package main

import (
	"bytes"
	"encoding/json"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"coxswain/intents/rehearse"
)

// A voice that was never trained on reads the list, and leaves one line out: the report says
// which. Nothing is written beside the recording.
func TestRehearse(t *testing.T) {
	for _, tool := range []string{"flite", "sox"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skip("no " + tool + ": `make test` installs it")
		}
	}
	var list, out, errs bytes.Buffer
	if code := Main([]string{"rehearse", "--list"}, nil, &list, &errs); code != 0 {
		t.Fatal(errs.String())
	}
	dir := t.TempDir()
	join := []string{}
	for i, l := range strings.Split(strings.TrimSpace(list.String()), "\n") {
		if i == 3 {
			continue // "rhythm check"
		}
		f := filepath.Join(dir, string(rune('a'+i))+".wav")
		if b, err := exec.Command("flite", "-voice", "slt", "-t", l, "-o", f).CombinedOutput(); err != nil {
			t.Fatalf("flite: %v: %s", err, b)
		}
		join = append(join, "|sox "+f+" -p pad 0.8 0.8")
	}
	wav := filepath.Join(dir, "reading.wav")
	if b, err := exec.Command("sox", append(join, wav)...).CombinedOutput(); err != nil {
		t.Fatalf("sox: %v: %s", err, b)
	}
	if code := Main([]string{"rehearse", "--wav", wav, "--json"}, nil, &out, &errs); code != 0 {
		t.Fatal(errs.String())
	}
	var r rehearse.Report
	if err := json.Unmarshal(out.Bytes(), &r); err != nil {
		t.Fatal(err)
	}
	if r.Count(rehearse.Heard) < 15 || len(r.Readings) != 20 {
		t.Errorf("%d of %d heard: %s", r.Count(rehearse.Heard), len(r.Readings), out.String())
	}
	if x := r.Readings[3]; x.Verdict != rehearse.Lost || x.Instead == "" {
		t.Errorf("the line that was left out: %+v", x)
	}
	if code := Main([]string{"rehearse", "--wav", filepath.Join(dir, "none.wav")}, nil, &out, &errs); code != 1 ||
		!strings.Contains(errs.String(), "none.wav") {
		t.Errorf("no such file: %d, %s", code, errs.String())
	}
}
