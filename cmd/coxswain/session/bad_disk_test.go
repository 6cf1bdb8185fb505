package session

import (
	"bytes"
	"errors"
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

func (d slowDisk) AppendAll(events []timeline.Event) error {
	time.Sleep(d.wait)
	if d.fail != nil && time.Now().Before(*d.fail) {
		return fmt.Errorf("read-only file system")
	}
	return d.Journal.AppendAll(events)
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
	for k, c := range []struct {
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
			alike(t, k, 2)
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

// A disk that is full from 10 s on sends the record to the other folder: all events
// are in it, and all the sound from then on; what is written to the first one before
// stays. A fault is told once.
func TestFullDiskGoesElsewhere(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "r")
	synctest.Test(t, func(t *testing.T) {
		begun := time.Now()
		full := func(j Journal, r SoundLog) (Journal, SoundLog) {
			d := fullDisk{j, r, begun.Add(10 * time.Second)}
			return d, d
		}
		var seen Snapshot
		badDay{length: 40 * time.Second, disk: full, seen: &seen}.run(t, dir)
		if want := filepath.Base(dir) + "-2"; seen.Record != want {
			t.Errorf("the status names %q, want %q", seen.Record, want)
		}
		r, err := record.Open(dir + "-2")
		if err != nil {
			t.Fatal(err)
		}
		p, err := r.Verify()
		if err != nil {
			t.Fatal(err)
		}
		heard := 0
		for _, e := range r.Events {
			if e.Heard != nil {
				heard++
			}
		}
		if faults, back := countOf(r.Events, timeline.CueSpoken, "fault.disk:"), countOf(r.Events, timeline.Recovered, ""); heard != 8 ||
			faults != 1 || back != 1 || audio.Duration(p.Samples) < 39*time.Second {
			t.Errorf("%d of 8 callouts, %d faults said, %d times back, %v of sound", heard, faults, back, audio.Duration(p.Samples))
		}
		whole, silence := 0, make([]byte, 4*audio.Rate)
		l, err := recorder.Open(dir + "-2")
		if err != nil {
			t.Fatal(err)
		}
		for second := range p.Samples / audio.Rate {
			var b bytes.Buffer
			if err := l.Copy(&b, second*audio.Rate, (second+1)*audio.Rate); err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(b.Bytes(), silence) {
				whole++
			}
		}
		if whole < 25 {
			t.Errorf("only %d s of sound are in the second folder, want all from 13 s on", whole)
		}
		if first, _, err := record.Read(dir); err != nil || len(first) < 4 {
			t.Errorf("%d events are left in the first folder, %v", len(first), err)
		}
	})
}

// fullDisk takes nothing from a moment on.
type fullDisk struct {
	Journal
	SoundLog
	from time.Time
}

var errFull = errors.New("no space left on device")

func (d fullDisk) AppendAll(events []timeline.Event) error {
	if time.Now().After(d.from) {
		return errFull
	}
	return d.Journal.AppendAll(events)
}

func (d fullDisk) Write(room, speaker []float32) error {
	if time.Now().After(d.from) {
		return errFull
	}
	return d.SoundLog.Write(room, speaker)
}

func (d fullDisk) Close() error { return errors.Join(d.SoundLog.Close(), d.Journal.Close()) }

// A disk that takes 2 or 5 s for whatever is written keeps nobody waiting: read-backs come
// after a second at most, every event arrives, and the session ends when that was written. One that takes
// nothing for 10 s, or has an event wait for longer, is told once, and loses no event.
func TestBadDisks(t *testing.T) {
	for k, c := range []struct {
		name   string
		wait   time.Duration
		broken time.Duration
		faults int
	}{{"stalls of 2 s", 2 * time.Second, 0, 0}, {"stalls of 5 s", 5 * time.Second, 0, 0},
		{"stalls of 12 s", 12 * time.Second, 0, 1}, {"read-only for 10 s", 0, 10 * time.Second, 1}} {
		t.Run(c.name, func(t *testing.T) {
			alike(t, k, 1)
			dir := t.TempDir()
			synctest.Test(t, func(t *testing.T) {
				begun, until := time.Now(), time.Now().Add(c.broken)
				events, _, passed := badDay{length: 40 * time.Second, alone: true, disk: func(j Journal, r SoundLog) (Journal, SoundLog) {
					d := slowDisk{j, r, c.wait, &until}
					return d, d
				}}.run(t, dir+"/r")
				if ends := time.Since(begun) - passed; ends > 3*c.wait+time.Second {
					t.Errorf("it took %v to end", ends)
				}
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
				if heard != 8 || worst > timeline.Seconds(1.5+float64(c.faults)) {
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
