package session

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"coxswain/audio"
	"coxswain/audio/device"
	"coxswain/intents"
	"coxswain/timeline"
	"coxswain/timeline/record"
)

// fakeSound is a sound device on the test's clock.
type fakeSound struct {
	missing string
	quit    chan struct{}
	dead    atomic.Bool
}

func (f *fakeSound) Missing() string { return f.missing }
func (f *fakeSound) Dead() bool      { return f.dead.Load() }
func (f *fakeSound) Close() error    { close(f.quit); return nil }

// badDay runs a live session of the given length, on a fake clock and a fake
// device that misbehaves.
type badDay struct {
	length  time.Duration
	gone    [2]time.Duration // no device from, to
	held    bool             // because this process itself holds it
	silent  string           // side that is missing until back
	back    time.Duration
	muted   [2]time.Duration // the microphone gives zeros from, to
	stall   time.Duration    // at 5 s the callback is late by this much, then hurries
	sleepAt time.Duration    // the machine is suspended here
	slept   time.Duration
	stops   int              // from 6 s on, every 5 s, process and device stand still
	stopped time.Duration    // for so long each, and what sounded is lost
	lose    int              // of every so many blocks one is lost
	drift   int              // of every so many blocks the device has one too many
	harm    func(dir string) // done to the record at 16 s
	disk    func(Journal, SoundLog) (Journal, SoundLog)
	alone   bool                                 // there is no other folder for records
	sounds  func(at time.Duration) time.Duration // in how long a buffer is heard that the device takes; nil: at once
	seen    *Snapshot                            // the last one, if asked for
	holes   *holes                               // those in the sound, if asked for
	echo    bool                                 // our own sound is cancelled
	mute    int                                  // streams that die from 16 s on, all but the first before their first callback
	ends    bool                                 // and have ended by themselves; else they only say nothing
	takes   time.Duration                        // to open a device
	counts  *counts                              // what the devices of the day saw, if asked for
}

// alike leaves out, where only races are looked for, the cases of a table that run the same
// goroutines as its first ones.
func alike(t *testing.T, number, first int) {
	if testing.Short() && number >= first {
		t.Skip("the same goroutines as in the cases before")
	}
}

// run returns the journal's events, the session's own and the time that passed.
func (b badDay) run(t *testing.T, dir string) (events []timeline.Event, pos, passed time.Duration) {
	t.Helper()
	begun := time.Now()
	up := func() time.Duration { return time.Since(begun) }
	l := &Live{within: 10 * time.Minute}
	l.asleep = func() time.Duration { // which every turn of the loop asks
		for b.standsStill(up()) {
			time.Sleep(time.Millisecond)
		}
		if b.slept > 0 && up() >= b.sleepAt {
			return b.slept
		}
		return 0
	}
	l.open = func(e *audio.Exchange) (Sound, error) { return b.open(e, up) }
	l.e = audio.NewExchange(10)
	var err error
	if l.dev, err = l.open(l.e); err != nil {
		t.Fatal(err)
	}
	o := b.options(t, dir)
	s, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	if b.harm != nil {
		time.AfterFunc(16*time.Second, func() { b.harm(dir) })
	}
	ctx, cancel := context.WithTimeout(t.Context(), b.length)
	defer cancel()
	l.Run(ctx, s)
	passed = up()
	l.Close()
	pos = audio.Duration(s.pos)
	if b.seen != nil {
		*b.seen = *s.Latest().Load()
	}
	if b.holes != nil {
		*b.holes = s.holes
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if events, _, err = record.Read(dir); err != nil && b.harm == nil {
		t.Fatal(err)
	}
	return events, pos, passed
}

// open is the day's device: it is there or not, and takes its time.
func (b badDay) open(e *audio.Exchange, up func() time.Duration) (Sound, error) {
	if up() >= b.gone[0] && up() < b.gone[1] {
		if b.held {
			return nil, fmt.Errorf("%w: %w", ErrSpent, device.ErrMissing)
		}
		return nil, device.ErrMissing
	}
	time.Sleep(b.takes)
	f := &fakeSound{quit: make(chan struct{})}
	if up() < b.back {
		f.missing = b.silent
	}
	go b.play(f, e, up)
	return f, nil
}

// options are those of the day's session: eight callouts, one every four seconds.
func (b badDay) options(t *testing.T, dir string) Options {
	var said []intents.Result
	for k, id := range []string{"code.start", "compressions.start", "access.iv", "access.iv", "access.iv", "access.iv",
		"access.iv", "access.iv"} {
		said = append(said, heardAt(id, 3+4*k))
	}
	o := testOptions(t, dir, said...)
	o.Live, o.Echo = true, b.echo
	if b.counts != nil {
		o.Mode = "continuous" // no pauses for breaths
	}
	if b.disk != nil {
		begin := o.Begin
		o.Begin = func(first Beginning) (Kept, error) {
			if b.alone && first.Elsewhere {
				return Kept{}, errors.New("no other folder")
			}
			k, err := begin(first)
			if !first.Elsewhere {
				k.Journal, k.Sound = b.disk(k.Journal, k.Sound)
			}
			return k, err
		}
	}
	return o
}

// standsStill reports whether the process is stopped at a moment.
func (b badDay) standsStill(at time.Duration) bool {
	at -= 6 * time.Second
	every := max(5*time.Second, b.stopped+time.Second)
	return at >= 0 && int(at/every) < b.stops && at%every < b.stopped
}

// play calls the exchange every 10 ms until the device is closed or gone.
func (b badDay) play(f *fakeSound, e *audio.Exchange, up func() time.Duration) {
	tick := time.NewTicker(10 * time.Millisecond)
	defer tick.Stop()
	var noise, out [audio.Block]float32
	for i := range noise { // a microphone's own
		noise[i] = 1e-5 * float32(1-i%2*2)
	}
	owed, stalled, calls, spared := 0, false, 0, false
	for {
		select {
		case <-f.quit:
			return
		case <-tick.C:
			if up() >= b.gone[0] && up() < b.gone[1] {
				<-f.quit // gone without a word
				return
			}
			if b.standsStill(up()) {
				continue
			}
			if b.mute > 0 && up() >= 16*time.Second && !spared {
				if spared = b.counts.mute.Add(1) > int64(b.mute); !spared {
					f.dead.Store(b.ends)
					<-f.quit
					return
				}
			}
			if calls++; b.lose > 0 && calls%b.lose == 0 {
				continue
			}
			if b.drift > 0 && calls%b.drift == 0 {
				owed++
			}
			if owed++; b.stall > 0 && up() >= 5*time.Second && !stalled {
				if up() < 5*time.Second+b.stall {
					continue
				}
				stalled = true
			}
			mic := noise
			if at := up(); at >= b.muted[0] && at < b.muted[1] {
				mic = [audio.Block]float32{}
			}
			for ; owed > 0; owed-- {
				if b.sounds != nil {
					e.Sounds(b.sounds(up()))
				}
				e.Callback(mic[:], out[:])
				b.counts.hears(out[:], up())
			}
		}
	}
}

// countOf counts the events that say the words.
func countOf(events []timeline.Event, kind timeline.Kind, words string) int {
	n := 0
	for _, e := range events {
		if e.Kind == kind && strings.Contains(e.Describe(), words) {
			n++
		}
	}
	return n
}

// offLimit is how far the session's clock may be from the wall's.
const offLimit = 100 * time.Millisecond

// Each bad thing has a stated behaviour: the clock stays with the wall, every
// callout is in the journal, the gap is logged once and spoken once.
func TestBadDays(t *testing.T) {
	for k, c := range []struct {
		name           string
		day            badDay
		logged, spoken string
		callouts       int // that can be heard at all
	}{
		{"device unplugged for 4 s", badDay{length: 40 * time.Second, gone: [2]time.Duration{16 * time.Second, 20 * time.Second}},
			"sound was lost for", "fault.device:", 8},
		{"no microphone at start", badDay{length: 40 * time.Second, silent: "microphone", back: 10 * time.Second}, "no microphone",
			"fault.microphone:", 8},
		{"callback starved for 1.2 s", badDay{length: 40 * time.Second, stall: 1200 * time.Millisecond}, "sound was lost for",
			"fault.device:", 8},
		{"machine suspended for 90 s", badDay{length: 40 * time.Second, sleepAt: 9 * time.Second, slept: 90 * time.Second},
			"slept for 1m30s", "fault.device:", 8},
	} {
		t.Run(c.name, func(t *testing.T) {
			alike(t, k, 2)
			c.day.echo = true
			dir := t.TempDir()
			synctest.Test(t, func(t *testing.T) {
				events, pos, passed := c.day.run(t, dir+"/r")
				if off := pos - passed - c.day.slept; off < -offLimit || off > offLimit {
					t.Errorf("the session's clock is off by %v", off)
				}
				heard := 0
				for _, e := range events {
					if e.Heard != nil {
						heard++
					}
				}
				if heard != c.callouts {
					t.Errorf("%d callouts in the journal, want %d", heard, c.callouts)
				}
				if n := countOf(events, timeline.Fault, c.logged); n != 1 {
					t.Errorf("%q is logged %d times, want once", c.logged, n)
				}
				if n := countOf(events, timeline.CueSpoken, c.spoken); n != 1 {
					t.Errorf("%q is spoken %d times, want once", c.spoken, n)
				}
				if t.Failed() {
					for _, e := range events {
						t.Log(e.At, e.Describe())
					}
				}
			})
		})
	}
}

// The session's clock stays with the wall's, whatever the device does; what is
// made up for with silence is logged with its length, and said when it is long.
func TestClockStaysWithTheWall(t *testing.T) {
	for k, c := range []struct {
		name  string
		day   badDay
		least time.Duration // that must be logged as made up
		said  bool
	}{
		{"frozen for 30 s", badDay{length: 60 * time.Second, stops: 1, stopped: 30 * time.Second}, 29 * time.Second, true},
		{"a good day", badDay{length: 100 * time.Second}, 0, false},
		{"stopped for 3 s, twelve times", badDay{length: 75 * time.Second, stops: 12, stopped: 3 * time.Second}, 35 * time.Second, true},
		{"stopped for 200 ms, twelve times", badDay{length: 75 * time.Second, stops: 12, stopped: 200 * time.Millisecond}, 2 * time.Second, true},
		{"busy cores: one block in fifteen is lost", badDay{length: 100 * time.Second, lose: 15}, 6 * time.Second, true},
		{"a device that is 0.2 % slow", badDay{length: 100 * time.Second, lose: 500}, 50 * time.Millisecond, false},
		{"a device that is 0.2 % fast", badDay{length: 100 * time.Second, drift: 500}, 0, false},
		{"a burst after 150 ms", badDay{length: 20 * time.Second, stall: 150 * time.Millisecond}, 0, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			alike(t, k, 1)
			dir := t.TempDir()
			synctest.Test(t, func(t *testing.T) {
				events, pos, passed := c.day.run(t, dir+"/r")
				if off := pos - passed; off < -offLimit || off > offLimit {
					t.Errorf("the session's clock is off by %v", off)
				}
				made := time.Duration(0)
				for _, e := range events {
					if _, after, ok := strings.Cut(e.Text, " of "); ok && e.Kind == timeline.Fault {
						d, err := time.ParseDuration(strings.Fields(after)[0])
						if err == nil {
							made += d
						}
					}
				}
				spoken := countOf(events, timeline.CueSpoken, "fault.device:")
				if made < c.least || c.least == 0 && made > 0 || (spoken > 0) != c.said {
					t.Errorf("%v are logged as made up, want at least %v; said %d times", made, c.least, spoken)
				}
				if t.Failed() {
					for _, e := range events {
						t.Log(e.At, e.Describe())
					}
				}
			})
		})
	}
}

// A machine that slept through the night does not go on with last evening's code.
func TestLongSleepEndsTheSession(t *testing.T) {
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		events, pos, passed := badDay{
			length:  time.Minute,
			sleepAt: 9 * time.Second,
			slept:   8 * time.Hour,
		}.run(
			t,
			dir+"/r",
		)
		if passed > 10*time.Second || pos > 10*time.Second ||
			countOf(events, timeline.Fault, "the session ends") != 1 ||
			events[len(events)-1].Kind != timeline.SessionClose {
			t.Errorf(
				"the session ran for %v, its clock stands at %v, last event %s",
				passed,
				pos,
				events[len(events)-1].Kind,
			)
		}
	})
}

// A device that this process itself holds, and cannot let go of, comes back to another one
// only: the session leaves its case to that.
func TestHeldDeviceEndsTheProcess(t *testing.T) {
	for _, held := range []bool{true, false} {
		dir := t.TempDir()
		synctest.Test(t, func(t *testing.T) {
			day := badDay{length: 25 * time.Second, gone: [2]time.Duration{6 * time.Second, time.Hour}, held: held}
			events, _, passed := day.run(t, dir+"/r")
			told := countOf(events, timeline.Fault, "started anew")
			if held != (passed < 15*time.Second) || held != (told == 1) {
				t.Errorf("held %v: the session ran for %v, told %d times", held, passed, told)
			}
		})
	}
}
