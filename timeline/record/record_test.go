package record

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"coxswain/audio"
	"coxswain/timeline"
)

var wall = time.Date(2026, 3, 1, 14, 0, 0, 0, time.UTC)

// begin starts a record as a session does.
func begin(t testing.TB, dir string) *Writer {
	t.Helper()
	w, err := Begin(dir, wall)
	if err != nil {
		t.Fatal(err)
	}
	add(
		t,
		w.Journal,
		timeline.Event{
			Kind:    timeline.SessionOpen,
			Session: &timeline.Session{Wall: wall.Format(time.RFC3339Nano), Rate: timeline.Rate},
		},
	)
	return w
}

func add(t testing.TB, j *Journal, e timeline.Event) timeline.Event {
	t.Helper()
	e, err := j.Append(e)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// play writes seconds of sound that never repeats, with a callout each second.
func play(t testing.TB, w *Writer, seconds int) {
	t.Helper()
	room, speaker := make([]float32, audio.Block), make([]float32, audio.Block)
	for range seconds {
		for range 100 {
			at := w.Sound.Pos()
			for i := range room {
				x := uint32(at+int64(i)) * 2654435761
				room[i], speaker[i] = float32(x>>16)/65536-0.5, float32(x&0xffff)/65536-0.5
			}
			if err := w.Sound.Write(room, speaker); err != nil {
				t.Fatal(err)
			}
		}
		add(
			t,
			w.Journal,
			timeline.Event{
				At:     timeline.Time(w.Sound.Pos()),
				Kind:   timeline.ShockGiven,
				Values: map[string]float64{"energy_j": 200},
			},
		)
	}
}

func end(t testing.TB, w *Writer) {
	t.Helper()
	if err := w.Sound.Close(); err != nil {
		t.Fatal(err)
	}
	add(t, w.Journal, timeline.Event{At: timeline.Time(w.Sound.Pos()), Kind: timeline.SessionClose})
	if err := w.Journal.Close(); err != nil {
		t.Fatal(err)
	}
}

// finished is a whole record of so many seconds.
func finished(t testing.TB, seconds int) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "2026-03-01T140000")
	w := begin(t, dir)
	play(t, w, seconds)
	end(t, w)
	return dir
}

// verified opens and verifies.
func verified(dir string) (Proof, error) {
	r, err := Open(dir)
	if err != nil {
		return Proof{}, err
	}
	return r.Verify()
}

func edit(t *testing.T, path string, change func([]byte) []byte) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, change(b), 0o600); err != nil {
		t.Fatal(err)
	}
}

func opened(t testing.TB, dir string) *Record {
	t.Helper()
	r, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	return r
}
