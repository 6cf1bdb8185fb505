package recorder

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"coxswain/audio"
)

// EBU Tech 3285: TimeReference counts samples since midnight. 13:45:30 at
// 48 kHz is 2377440000 (computed from the rule). Without Close, as after
// SIGKILL, at most the last half second is missing; Mend finishes the file.
func TestRecorder(t *testing.T) {
	dir := t.TempDir()
	r, err := New(dir, time.Date(2026, 1, 2, 13, 45, 30, 0, time.UTC), "test")
	if err != nil {
		t.Fatal(err)
	}
	a, b := make([]float32, audio.Block), make([]float32, audio.Block)
	a[0] = 0.5
	for range 230 {
		if err := r.Write(a, b); err != nil {
			t.Fatal(err)
		}
	}
	path := filepath.Join(dir, PartName(0))
	head, _ := os.ReadFile(path)
	const ref = 36 + 8 + 256 + 32 + 32 + 10 + 8
	if got := uint64(head[ref]) | uint64(head[ref+1])<<8 | uint64(head[ref+2])<<16 | uint64(head[ref+3])<<24; got != 2377440000 {
		t.Errorf("TimeReference is %d, want 2377440000", got)
	}
	w, err := OpenWAV(path)
	if err != nil {
		t.Fatal(err)
	}
	if w.Channels != 2 || w.SampleHz != audio.Rate || w.Samples < 230*audio.Block-audio.Rate/2 {
		t.Errorf("cut off: %d channels, %d Hz, %d samples", w.Channels, w.SampleHz, w.Samples)
	}
	w.Close()
	if n, err := Mend(dir, []Mark{{100, "ROSC"}}); err != nil || n != 230*audio.Block {
		t.Fatalf("mended %d samples, %v", n, err)
	}
	if err := CheckPart(path); err != nil {
		t.Error(err)
	}
}

// A log that was cut off goes on at its clock sample, also when the cut lasted
// past the end of a file of an hour; every file is whole afterwards.
func TestResume(t *testing.T) {
	for _, pos := range []int64{5 * audio.Rate, PartLength + 2*audio.Rate} {
		dir := t.TempDir()
		r, err := New(dir, time.Unix(0, 0).UTC(), "test")
		if err != nil {
			t.Fatal(err)
		}
		block := make([]float32, audio.Block)
		for range 100 {
			if err := r.Write(block, block); err != nil {
				t.Fatal(err)
			}
		}
		// Not closed: the process died here.
		r, had, err := Resume(dir, time.Unix(0, 0).UTC(), "test", pos, []Mark{{At: 10, Label: "before"}})
		if err != nil {
			t.Fatal(err)
		}
		if had != 100*audio.Block {
			t.Errorf("had %d samples, want %d", had, 100*audio.Block)
		}
		for range 100 {
			if err := r.Write(block, block); err != nil {
				t.Fatal(err)
			}
		}
		if err := r.Close(); err != nil {
			t.Fatal(err)
		}
		total := int64(0)
		for n := int64(0); n <= pos/PartLength; n++ {
			path := filepath.Join(dir, PartName(int(n)))
			if err := CheckPart(path); err != nil {
				t.Error(err)
			}
			w, err := OpenWAV(path)
			if err != nil {
				t.Fatal(err)
			}
			total += w.Samples
			w.Close()
		}
		if total != pos+100*audio.Block {
			t.Errorf("%d samples in all, want %d", total, pos+100*audio.Block)
		}
	}
}
