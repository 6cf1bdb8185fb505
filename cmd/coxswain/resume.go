package main

import (
	"fmt"
	"os"
	"path/filepath"
	"time"

	"coxswain/audio"
	"coxswain/audio/recorder"
	"coxswain/timeline"
	"coxswain/timeline/record"
)

// cut is a record whose session ended without its close: a crash, a power cut.
type cut struct {
	dir    string
	wall   time.Time // of its sample 0
	had    int64     // samples of audio that are there
	pos    int64     // clock sample at which the session goes on
	events []timeline.Event
}

const about = "Resuscitation audio log: channel 1 room, channel 2 prompts"

// findCut returns the newest record under records if it was cut off less than
// within ago; the zero cut if there is none. A record that cannot be read is
// left alone: a new session must never wait for an old one.
func findCut(records string, now time.Time, within time.Duration) cut {
	dirs, _ := recordDirs(records)
	if len(dirs) == 0 {
		return cut{}
	}
	c := cut{dir: dirs[len(dirs)-1]} // named by time: the last is the newest
	var err error
	if c.events, _, err = record.Read(c.dir); err != nil || len(c.events) == 0 || c.events[0].Session == nil {
		return cut{}
	}
	if closed(c.events) {
		return cut{}
	}
	if c.wall, err = time.Parse(time.RFC3339Nano, c.events[0].Session.Wall); err != nil {
		return cut{}
	}
	for n := 0; ; n++ {
		st, err := os.Stat(filepath.Join(c.dir, recorder.PartName(n)))
		if err != nil {
			break
		}
		c.had = int64(n)*recorder.PartLength + max(0, st.Size()/4)
	}
	// The wall clock tells how long the cut was. One that was set back cannot
	// make time run backwards: then the session goes on where the sound ends.
	c.pos = max(c.had, int64(now.Sub(c.wall).Seconds()*audio.Rate))
	c.pos -= c.pos % audio.Block
	if gap := audio.Duration(c.pos - c.had); gap > within {
		return cut{}
	}
	return c
}

// openRecord opens the journal and the audio log of a new record, or of one
// that was cut off, of which it completes what is known.
func openRecord(dir string, wall time.Time, c *cut) (*record.Journal, *recorder.Recorder, error) {
	if c.dir != "" {
		j, events, err := record.Reopen(c.dir)
		if err != nil {
			return nil, nil, err
		}
		c.events = events
		rec, had, err := recorder.Resume(c.dir, c.wall, about, c.pos, record.Marks(events))
		if err != nil {
			j.Close()
			return nil, nil, err
		}
		c.had = had
		return j, rec, nil
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, nil, fmt.Errorf("cannot make the record's folder: %w", err)
	}
	j, err := record.Create(dir)
	if err != nil {
		return nil, nil, err
	}
	rec, err := recorder.New(dir, wall, about)
	if err != nil {
		j.Close()
		return nil, nil, err
	}
	return j, rec, nil
}
