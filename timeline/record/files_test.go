package record

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"coxswain/audio"
	"coxswain/audio/recorder"
	"coxswain/timeline"
)

// While somebody writes a record, nobody else does: not mend, not an amendment,
// not a session that would go on with it.
func TestOneWriter(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "r")
	w := begin(t, dir)
	play(t, w, 1)
	before, _ := os.ReadFile(filepath.Join(dir, recorder.PartName(0)))
	_, mend := Mend(dir)
	_, resume := opened(t, dir).Resume(wall)
	for what, err := range map[string]error{"mend": mend, "resume": resume} {
		if err == nil || !strings.Contains(err.Error(), "another coxswain is writing") {
			t.Errorf("%s: %v", what, err)
		}
	}
	if b, _ := os.ReadFile(filepath.Join(dir, recorder.PartName(0))); !bytes.Equal(b, before) {
		t.Error("the sound was touched")
	}
	end(t, w)
	if _, err := verified(dir); err != nil {
		t.Error(err)
	}
	release, err := LockFolder(filepath.Dir(dir))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := LockFolder(filepath.Dir(dir)); err == nil {
		t.Error("two daemons on one folder")
	}
	release()
}

// Two sessions that begin within a second each get a folder.
func TestFoldersWithinASecond(t *testing.T) {
	records := filepath.Join(t.TempDir(), "records")
	for _, want := range []string{"2026-03-01T140000", "2026-03-01T140000-2", "2026-03-01T140000-3"} {
		dir, err := NewFolder(records, wall)
		if err != nil || filepath.Base(dir) != want {
			t.Errorf("%s %v, want %s", dir, err, want)
		}
	}
	old, undated, err := OlderThan(records, wall.AddDate(1, 0, 0))
	if err != nil || len(old) != 3 || len(undated) > 0 {
		t.Errorf("%v %v %v", old, undated, err)
	}
}

// A record is as old as its journal says, whatever its folder is called. One that began
// when no clock can have said so is of no known age; what is no record is left alone.
func TestAgeOfARecord(t *testing.T) {
	records := t.TempDir()
	for name, at := range map[string]time.Time{
		"case-7":            wall,                                           // copied under another name
		"2026-03-01T140000": wall.AddDate(0, 6, 0),                          // its name lies
		"1970-01-01T000012": time.Unix(12, 0).UTC(),                         // a machine without a clock
		"set-later":         time.Date(1999, 12, 31, 23, 0, 0, 0, time.UTC), // another
		"replayed":          time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC),    // of a recording whose day nobody told
	} {
		w, err := Begin(filepath.Join(records, name), at)
		if err != nil {
			t.Fatal(err)
		}
		open := timeline.Event{Kind: timeline.SessionOpen,
			Session: &timeline.Session{Wall: at.Format(time.RFC3339Nano), Rate: timeline.Rate}}
		if _, err := w.Journal.Append(open); err != nil {
			t.Fatal(err)
		}
		end(t, w)
	}
	running := begin(t, filepath.Join(records, "2026-03-01T130000")) // by a clock that was wrong
	defer cutOff(t, running)
	for _, name := range []string{"2025-01-01T000000_bay-2.tar.age", "1970-01-01T000000.tar.age", "notes-2024"} {
		if err := os.WriteFile(filepath.Join(records, name), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	old, undated, err := OlderThan(records, wall.AddDate(0, 3, 0))
	if err != nil {
		t.Fatal(err)
	}
	base := func(paths []string) (out []string) {
		for _, p := range paths {
			out = append(out, filepath.Base(p))
		}
		return out
	}
	if got := base(old); !slices.Equal(got, []string{"2025-01-01T000000_bay-2.tar.age", "case-7"}) {
		t.Errorf("old: %v", got)
	}
	if got := base(undated); !slices.Equal(got, []string{"1970-01-01T000000.tar.age", "1970-01-01T000012", "replayed", "set-later"}) {
		t.Errorf("undated: %v", got)
	}
}

// Links in a record's folder lead nowhere: nothing outside is read or written.
func TestLinksInARecord(t *testing.T) {
	outside := filepath.Join(t.TempDir(), "victim")
	for _, name := range []string{peaksName, JournalName + ".broken", recorder.PartName(0), JournalName, SignatureName} {
		os.WriteFile(outside, []byte("precious"), 0o600)
		dir := filepath.Join(t.TempDir(), "r")
		w := begin(t, dir)
		play(t, w, 1)
		cutOff(t, w)
		edit(t, filepath.Join(dir, JournalName), func(b []byte) []byte { return append(b, `{"seq":`...) })
		os.Remove(filepath.Join(dir, name))
		if err := os.Symlink(outside, filepath.Join(dir, name)); err != nil {
			t.Skip(err)
		}
		key, _ := keyPair(t)
		if r, err := Open(dir); err == nil {
			r.Peaks()
		}
		Mend(dir)
		Amend(dir, timeline.Change{Do: "retract", Seq: 2, By: "AB", Reason: "x"}, nil, wall, nil)
		if r, err := Open(dir); err == nil {
			r.Sign(key)
			r.Peaks()
		}
		if b, _ := os.ReadFile(outside); string(b) != "precious" {
			t.Errorf("through %s the file outside became %q", name, b)
		}
	}
}

// Peaks are those of the samples, and are made anew when the file is not theirs.
func TestPeaks(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "r")
	w := begin(t, dir)
	room, speaker := make([]float32, 4800), make([]float32, 4800)
	for k := range 25 {
		room[7], speaker[9] = float32(k)/25, -1
		if err := w.Sound.Write(room, speaker); err != nil {
			t.Fatal(err)
		}
	}
	end(t, w)
	for _, kept := range []string{"", "kept", "stale"} {
		switch kept {
		case "stale":
			os.WriteFile(filepath.Join(dir, peaksName), []byte("xx"), 0o600)
		case "kept":
			edit(t, filepath.Join(dir, peaksName), func(b []byte) []byte { b[0] = 77; return b })
		}
		b, err := opened(t, dir).Peaks()
		if err != nil || len(b) != 50 || (b[0] == 77) != (kept == "kept") {
			t.Fatalf("%q: %v %v", kept, b, err)
		}
		for k := range 25 {
			want := byte(int(audio.PCM16(float32(k)/25)) >> 8)
			if kept != "kept" && b[2*k] != want || b[2*k+1] != 127 {
				t.Errorf("%q: at %d: %d %d, want %d 127", kept, k, b[2*k], b[2*k+1], want)
			}
		}
	}
}

// A file that is written is not written through a link, and is whole or as it was.
func TestWriteFile(t *testing.T) {
	dir := t.TempDir()
	outside, link := filepath.Join(t.TempDir(), "victim"), filepath.Join(dir, "report.html")
	os.WriteFile(outside, []byte("precious"), 0o600)
	if err := os.Symlink(outside, link); err != nil {
		t.Skip(err)
	}
	if err := WriteFile(link, []byte("new")); err == nil {
		t.Error("written through a link")
	}
	if b, _ := os.ReadFile(outside); string(b) != "precious" {
		t.Errorf("the file outside is now %q", b)
	}
	path := filepath.Join(dir, "x")
	for _, text := range []string{"one", "two"} {
		if err := WriteFile(path, []byte(text)); err != nil {
			t.Fatal(err)
		}
		b, _ := os.ReadFile(path)
		if st, err := os.Stat(path); err != nil || st.Mode().Perm() != 0o600 || string(b) != text {
			t.Errorf("%q %v", b, err)
		}
	}
	if WriteFile(dir, nil) == nil || WriteFile(filepath.Join(dir, "none", "x"), nil) == nil {
		t.Error("no file was written, and nothing is said")
	}
	if left, _ := os.ReadDir(dir); len(left) != 2 {
		t.Errorf("left: %v", left)
	}
	os.Symlink(outside, filepath.Join(dir, ".lock"))
	if _, err := LockFolder(dir); err == nil {
		t.Error("the lock is a link")
	}
}
