package record

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"coxswain/timeline"
)

func write(t *testing.T, dir string, n int) {
	t.Helper()
	j, err := Create(dir)
	if err != nil {
		t.Fatal(err)
	}
	for i := range n {
		if _, err := j.Append(timeline.Event{At: timeline.Time(i * timeline.Rate), Kind: timeline.ShockGiven, Values: map[string]float64{"energy_j": 200}}); err != nil {
			t.Fatal(err)
		}
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
}

func TestJournalReadsBackWhatWasAppended(t *testing.T) {
	dir := t.TempDir()
	write(t, dir, 3)
	events, tail, err := Read(dir)
	if err != nil || tail.Reason != "" || len(events) != 3 {
		t.Fatalf("%d events, tail %q, error %v", len(events), tail.Reason, err)
	}
	if e := events[2]; e.Seq != 3 || e.At != 2*timeline.Rate || e.Values["energy_j"] != 200 {
		t.Errorf("third event is %+v", e)
	}
	if _, err := Create(dir); err == nil {
		t.Error("a second journal was made over the first")
	}
}

// Corrupt, prove it shows, repair, append, read again.
func TestJournalDamage(t *testing.T) {
	for _, c := range []struct {
		name   string
		damage func([]byte) []byte
		broken bool
		events int
	}{
		{"whole", func(b []byte) []byte { return b }, false, 4},
		{"torn last line", func(b []byte) []byte { return b[:len(b)-20] }, false, 3},
		{"no last newline", func(b []byte) []byte { return b[:len(b)-1] }, false, 3},
		{"edited value", func(b []byte) []byte { return bytes.Replace(b, []byte(":200"), []byte(":300"), 1) }, true, 1},
		{"line removed", func(b []byte) []byte {
			l := bytes.SplitAfter(b, []byte("\n"))
			return bytes.Join(append(l[:1:1], l[2:]...), nil)
		}, true, 1},
		{"lines swapped", func(b []byte) []byte {
			l := bytes.SplitAfter(b, []byte("\n"))
			l[1], l[2] = l[2], l[1]
			return bytes.Join(l, nil)
		}, true, 1},
		{"garbage line", func(b []byte) []byte { return append([]byte("hello\n"), b...) }, true, 0},
		{"empty", func(b []byte) []byte { return nil }, false, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			write(t, dir, 4)
			path := filepath.Join(dir, JournalName)
			b, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(path, c.damage(b), 0o600); err != nil {
				t.Fatal(err)
			}
			events, _, err := Read(dir)
			if errors.Is(err, ErrBroken) != c.broken || len(events) != c.events {
				t.Fatalf("%d events, error %v; want %d, broken %v", len(events), err, c.events, c.broken)
			}
			if c.broken {
				if !strings.Contains(err.Error(), JournalName+":") {
					t.Errorf("error %q does not name file and line", err)
				}
				return
			}
			j, _, err := Reopen(dir)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := j.Append(timeline.Event{Kind: timeline.Note}); err != nil {
				t.Fatal(err)
			}
			j.Close()
			if events, tail, err := Read(dir); err != nil || tail.Reason != "" || len(events) != c.events+1 {
				t.Errorf("after repair: %d events, tail %q, error %v", len(events), tail.Reason, err)
			}
		})
	}
}

func FuzzJournal(f *testing.F) {
	f.Add([]byte(`{"seq":1,"at":0,"kind":"note","prev":""}` + "\n"))
	f.Add([]byte("{}\n{}\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		events, tail, err := Parse(bytes.NewReader(b), "x")
		if err == nil && tail.Bytes == 0 && len(events) != bytes.Count(b, []byte("\n")) {
			t.Errorf("%d events from %d lines", len(events), bytes.Count(b, []byte("\n")))
		}
		timeline.Fold(events)
	})
}
