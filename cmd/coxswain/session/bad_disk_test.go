package session

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"coxswain/audio"
	"coxswain/audio/recorder"
	"coxswain/timeline"
	"coxswain/timeline/record"
)

// slowDisk waits before every write.
type slowDisk struct {
	Journal
	SoundLog
	wait time.Duration
	fail *time.Time // writes fail before this moment
}

func (d slowDisk) Append(e timeline.Event) (timeline.Event, error) {
	time.Sleep(d.wait)
	if d.fail != nil && time.Now().Before(*d.fail) {
		return e, fmt.Errorf("read-only file system")
	}
	return d.Journal.Append(e)
}

func (d slowDisk) Write(room, speaker []float32) error {
	if d.fail != nil && time.Now().Before(*d.fail) {
		return fmt.Errorf("read-only file system")
	}
	return d.SoundLog.Write(room, speaker)
}

func (d slowDisk) Close() error { return nil }

// A record that is deleted, moved away or cut while it runs is noticed, said, and
// written anew from memory: every event is in it, and the sound from then on.
func TestLostRecords(t *testing.T) {
	for _, c := range []struct {
		name string
		harm func(dir string)
	}{
		{"folder deleted", func(dir string) { os.RemoveAll(dir) }},
		{"folder moved away", func(dir string) { os.Rename(dir, dir+"-away") }},
		{"journal deleted", func(dir string) { os.Remove(filepath.Join(dir, record.JournalName)) }},
		{"journal cut", func(dir string) { os.Truncate(filepath.Join(dir, record.JournalName), 100) }},
		{"sound deleted", func(dir string) { os.Remove(filepath.Join(dir, recorder.PartName(0))) }},
		{"sound cut", func(dir string) { os.Truncate(filepath.Join(dir, recorder.PartName(0)), 0) }},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "r")
			synctest.Test(t, func(t *testing.T) {
				badDay{length: 40 * time.Second, harm: c.harm}.run(t, dir)
				r, err := record.Open(dir + "-2")
				if err != nil {
					t.Fatal(err)
				}
				p, err := r.Verify()
				if err != nil {
					t.Fatal(err)
				}
				heard, faults, spoken, back := 0, 0, 0, 0
				for _, e := range r.Events {
					switch {
					case e.Heard != nil:
						heard++
					case e.Kind == timeline.Fault:
						faults++
						if e.At > timeline.Seconds(18) {
							t.Errorf("noticed only at %s", e.At)
						}
					case e.Kind == timeline.CueSpoken && e.Cue == "fault.disk":
						spoken++
					case e.Kind == timeline.Recovered:
						back++
					}
				}
				if length := audio.Duration(p.Samples); heard != 8 || faults != 1 || spoken != 1 || back != 1 ||
					length < 39*time.Second ||
					length > 41*time.Second {
					t.Errorf(
						"%d of 8 callouts, %d faults, %d times said, %d times back, %v of sound",
						heard,
						faults,
						spoken,
						back,
						length,
					)
				}
			})
		})
	}
}

// A disk that takes 2 s for every event keeps nobody waiting: read-backs come
// after a second at most, every event arrives. One that takes nothing for 10 s
// is told once, and loses no event.
func TestBadDisks(t *testing.T) {
	for _, c := range []struct {
		name   string
		wait   time.Duration
		broken time.Duration
		faults int
	}{{"stalls of 2 s", 2 * time.Second, 0, 0}, {"read-only for 10 s", 0, 10 * time.Second, 1}} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			synctest.Test(t, func(t *testing.T) {
				until := time.Now().Add(c.broken)
				events, _, _ := badDay{length: 40 * time.Second, disk: func(j Journal, r SoundLog) (Journal, SoundLog) {
					d := slowDisk{j, r, c.wait, &until}
					return d, d
				}}.run(t, dir+"/r")
				heard, worst := 0, timeline.Time(0)
				for i, e := range events {
					if e.Heard == nil {
						continue
					}
					heard++
					for _, l := range events[i+1:] {
						if l.Kind == timeline.CueSpoken && strings.HasPrefix(l.Cue, "said.") &&
							l.At >= e.Heard.Decided {
							worst = max(worst, l.At-e.Heard.Decided)
							break
						}
					}
				}
				if heard != 8 || worst > timeline.Seconds(1.5) {
					t.Errorf(
						"%d of 8 callouts in the journal, slowest read-back %v s after it was decided",
						heard,
						worst.Seconds(),
					)
				}
				if n := countOf(events, timeline.CueSpoken, "fault.disk:"); n != c.faults {
					t.Errorf("the fault is spoken %d times, want %d", n, c.faults)
				}
			})
		})
	}
}
