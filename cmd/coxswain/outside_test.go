package main

import (
	"fmt"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"coxswain/audio/recorder"
	"coxswain/cmd/coxswain/coxtest"
	"coxswain/timeline/record"
)

// Tools that know nothing of coxswain read the audio log: libsndfile's
// sndfile-info sees the bext chunk (602 bytes without coding history: EBU Tech
// 3285), every cue and its label; sox reads every sample.
func TestOutsideToolsReadTheAudioLog(t *testing.T) {
	dir := t.TempDir()
	wav, out := filepath.Join(dir, "in.wav"), filepath.Join(dir, "record")
	writeWAV(t, wav, 48000, 1, 12*48000)
	cmd := coxswainCommand(t, "replay", wav, "--out", out, "--quiet", "--recogniser", coxtest.Recogniser(t, "ear"))
	if b, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("replay: %v: %s", err, b)
	}
	events, _, err := record.Read(out)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(out, recorder.PartName(0))
	info, err := exec.Command("sndfile-info", path).CombinedOutput()
	if err != nil {
		t.Fatalf("sndfile-info: %v: %s", err, info)
	}
	want := []string{"bext : 602", fmt.Sprintf("Count : %d\n", len(record.Marks(events))), "Frames      : 576000"}
	for i, m := range record.Marks(events)[:5] {
		want = append(want, fmt.Sprintf("Cue ID : %2d  Pos : %d ", i+1, m.At), fmt.Sprintf("labl : %d : %s\n", i+1, m.Label))
	}
	for _, w := range want {
		if !strings.Contains(string(info), w) {
			t.Errorf("sndfile-info does not say %q:\n%s", w, info)
		}
	}
	if n, err := exec.Command("soxi", "-s", path).Output(); err != nil || strings.TrimSpace(string(n)) != "576000" {
		t.Errorf("soxi: %s samples: %v", n, err)
	}
}
