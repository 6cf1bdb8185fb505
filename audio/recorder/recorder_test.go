package recorder

import (
	"bytes"
	"encoding/binary"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"coxswain/audio"
)

// record writes blocks of a room with half scale at its first sample, and does not
// close the file.
func record(t *testing.T, blocks int) (dir, path string) {
	t.Helper()
	dir = t.TempDir()
	r, err := New(dir, time.Date(2026, 1, 2, 13, 45, 30, 0, time.UTC), "test")
	if err != nil {
		t.Fatal(err)
	}
	a, b := make([]float32, audio.Block), make([]float32, audio.Block)
	a[0], b[1] = 0.5, 0.25
	for range blocks {
		if err := r.Write(a, b); err != nil {
			t.Fatal(err)
		}
		clear(a)
	}
	if err := r.Checkpoint(); err != nil {
		t.Fatal(err)
	}
	return dir, filepath.Join(dir, PartName(0))
}

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
	if n, err := Mend(dir, time.Unix(0, 0), "test", []Mark{{100, "ROSC"}}); err != nil || n != 230*audio.Block {
		t.Fatalf("mended %d samples, %v", n, err)
	}
	if l, err := Open(dir); err != nil || l.Check() != nil {
		t.Error(err, l.Check())
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
		l, err := Open(dir)
		if err != nil {
			t.Fatal(err)
		}
		if err := l.Check(); err != nil {
			t.Error(err)
		}
		total := l.Samples()
		if total != pos+100*audio.Block {
			t.Errorf("%d samples in all, want %d", total, pos+100*audio.Block)
		}
	}
}

// Where one hour ends within a block, the next begins: no file is longer than
// PartLength, and the stream goes on without a seam.
func TestPartsEndWithinABlock(t *testing.T) {
	dir := t.TempDir()
	if r, err := New(dir, time.Unix(0, 0).UTC(), "test"); err != nil || r.Close() != nil {
		t.Fatal(err)
	}
	r, _, err := Resume(dir, time.Unix(0, 0).UTC(), "test", PartLength-100, nil)
	if err != nil {
		t.Fatal(err)
	}
	block := make([]float32, audio.Block)
	for i := range block {
		block[i] = float32(i+1) / 1000
	}
	var tapped bytes.Buffer
	r.Tap(func(pcm []byte) { tapped.Write(pcm) })
	if err := errors.Join(r.Write(block, block), r.Close()); err != nil {
		t.Fatal(err)
	}
	l, err := Open(dir)
	if err != nil || l.Check() != nil || len(l.Parts) != 2 || l.Parts[0].Samples != PartLength ||
		l.Parts[1].Samples != audio.Block-100 {
		t.Fatalf("%v %+v", err, l)
	}
	var read bytes.Buffer
	if err := l.Copy(&read, PartLength-100, l.Samples()); err != nil || !bytes.Equal(read.Bytes(), tapped.Bytes()) {
		t.Errorf("%v: %d bytes are read that are not the %d written", err, read.Len(), tapped.Len())
	}
}

// A turn of the hour that fails is tried again with every write; what was lost
// meanwhile is silence, and the clock of the log is right.
func TestTurnOfTheHourFails(t *testing.T) {
	dir := t.TempDir()
	if r, err := New(dir, time.Unix(0, 0).UTC(), "test"); err != nil || r.Close() != nil {
		t.Fatal(err)
	}
	r, _, err := Resume(dir, time.Unix(0, 0).UTC(), "test", PartLength, nil)
	if err != nil {
		t.Fatal(err)
	}
	os.Mkdir(filepath.Join(dir, PartName(1)), 0o700) // something is in the way
	block := []float32{0.5, 0.5}
	for range 3 {
		if r.Write(block, block) == nil {
			t.Error("a failed turn is not told")
		}
	}
	os.Remove(filepath.Join(dir, PartName(1)))
	if err := errors.Join(r.Write(block, block), r.Close()); err != nil {
		t.Fatal(err)
	}
	l, err := Open(dir)
	if err != nil || l.Check() != nil || l.Samples() != PartLength+8 {
		t.Fatalf("%v %+v", err, l)
	}
	var b bytes.Buffer
	if l.Copy(&b, PartLength, PartLength+8); !bytes.Equal(b.Bytes()[:24], make([]byte, 24)) || b.Bytes()[25] != 0x40 {
		t.Errorf("% x", b.Bytes())
	}
}

// A power cut can leave any length of a file, labels or none; it is opened for
// what it holds, and mended whole. A cut just behind the labels makes no noise
// of them.
func TestMendAnyLength(t *testing.T) {
	whole := t.TempDir()
	r, err := New(whole, time.Unix(0, 0).UTC(), "test")
	if err != nil {
		t.Fatal(err)
	}
	block := make([]float32, audio.Block)
	r.Mark(Mark{5, "shock"})
	if err := errors.Join(r.Write(block, block), r.Close()); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(filepath.Join(whole, PartName(0)))
	if err != nil {
		t.Fatal(err)
	}
	for n := 0; n <= len(b); n += 37 {
		dir := t.TempDir()
		os.WriteFile(filepath.Join(dir, PartName(0)), b[:n], 0o600)
		if _, err := Mend(dir, time.Unix(0, 0), "test", nil); err != nil {
			t.Fatalf("%d bytes: %v", n, err)
		}
		if l, err := Open(dir); err != nil || l.Check() != nil {
			t.Fatalf("%d bytes: %v %v", n, err, l.Check())
		}
	}
	r, had, err := Resume(whole, time.Unix(0, 0), "test", 2*audio.Block, nil)
	if err != nil || had != audio.Block || r.Close() != nil {
		t.Fatal(err, had)
	}
	l, _ := Open(whole)
	var pcm bytes.Buffer
	if err := l.Copy(&pcm, 0, l.Samples()); err != nil || !bytes.Equal(pcm.Bytes(), make([]byte, 8*audio.Block)) {
		t.Errorf("%v: the labels became sound", err)
	}
}

// A link in a record's folder is not followed, neither out of it nor within.
func TestLinksAreNotFollowed(t *testing.T) {
	dir, victim := t.TempDir(), filepath.Join(t.TempDir(), "victim")
	os.WriteFile(victim, []byte("precious"), 0o600)
	if err := os.Symlink(victim, filepath.Join(dir, PartName(0))); err != nil {
		t.Skip(err)
	}
	if _, err := Mend(dir, time.Unix(0, 0), "test", nil); err == nil {
		t.Error("a link was mended")
	}
	if _, _, err := Resume(dir, time.Unix(0, 0), "test", 0, nil); err == nil {
		t.Error("a link was gone on with")
	}
	if b, _ := os.ReadFile(victim); string(b) != "precious" {
		t.Errorf("the file outside is now %q", b)
	}
}

// Whatever a file holds, it is not taken for more sound than it has.
func FuzzPart(f *testing.F) {
	whole := append(header(time.Unix(0, 0), 0, "test"), make([]byte, 80)...)
	f.Add(whole)
	f.Add(append(whole, labels(0, 20, []Mark{{3, "shock"}})...))
	f.Add([]byte("RIFF"))
	f.Fuzz(func(t *testing.T, b []byte) {
		p, err := parsePart(bytes.NewReader(b), int64(len(b)))
		if err == nil &&
			(p.Samples < 0 || p.Samples > 0 && headerSize+4*p.Samples > int64(len(b)) || p.Finished && p.riff != p.size) {
			t.Errorf("%+v of %d bytes", p, len(b))
		}
	})
}

// A minute that is written at once, as what was heard before a case is, is made
// safe bit by bit: at no moment does the header leave out more than half a second.
func TestMuchAtOnce(t *testing.T) {
	dir := t.TempDir()
	r, err := New(dir, time.Unix(0, 0), "test")
	if err != nil {
		t.Fatal(err)
	}
	var worst int64
	r.Tap(func(pcm []byte) {
		f, err := os.Open(filepath.Join(dir, PartName(0)))
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		var size [4]byte
		f.ReadAt(size[:], headerSize-4)
		st, _ := f.Stat()
		worst = max(worst, (st.Size()-headerSize-int64(binary.LittleEndian.Uint32(size[:])))/4)
	})
	minute := make([]float32, 60*audio.Rate)
	if err := errors.Join(r.Write(minute, minute), r.Close()); err != nil {
		t.Fatal(err)
	}
	if worst > checkpointEvery {
		t.Errorf("the header left out %.1f s", float64(worst)/audio.Rate)
	}
}
