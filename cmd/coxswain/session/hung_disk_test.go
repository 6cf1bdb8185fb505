package session

import (
	"testing"
	"testing/synctest"
	"time"

	"coxswain/audio"
	"coxswain/timeline"
	"coxswain/timeline/record"
)

// hungDisk answers nothing for a while: a write that was begun then returns at its end.
type hungDisk struct {
	Journal
	SoundLog
	from, until time.Time
}

func (d hungDisk) Write(room, speaker []float32) error {
	if now := time.Now(); now.After(d.from) && now.Before(d.until) {
		time.Sleep(d.until.Sub(now))
	}
	return d.SoundLog.Write(room, speaker)
}

func (d hungDisk) Close() error { return d.SoundLog.Close() }

// A disk that hangs for longer than sound can wait in memory is told of, and the record
// is as long as the session all the same: what could not wait is silence, also where the
// session ends before the disk answers again.
func TestHungDisk(t *testing.T) {
	for _, c := range []struct {
		name  string
		until time.Duration
		back  int
	}{{"until the session's end", 31 * time.Second, 0}, {"for 15 s", 23 * time.Second, 1}} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir() + "/r"
			synctest.Test(t, func(t *testing.T) {
				begun := time.Now()
				events, pos, _ := badDay{length: 30 * time.Second, alone: true, disk: func(j Journal, r SoundLog) (Journal, SoundLog) {
					d := hungDisk{j, r, begun.Add(8 * time.Second), begun.Add(c.until)}
					return j, d
				}}.run(t, dir)
				r, err := record.Open(dir)
				if err != nil {
					t.Fatal(err)
				}
				p, err := r.Verify()
				if length := audio.Duration(p.Samples); err != nil || length != pos {
					t.Errorf("%v of sound, the session was %v long: %v", length, pos, err)
				}
				said, back := countOf(events, timeline.CueSpoken, "fault.disk:"), countOf(events, timeline.Recovered, "saved again")
				if said != 1 || back != c.back {
					t.Errorf("told %d times, want once; back %d times, want %d", said, back, c.back)
				}
			})
		})
	}
}
