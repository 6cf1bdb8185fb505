package session

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"coxswain/timeline"
)

// Each tick of the metronome is held to the rhythm of those before it. One that
// sounds more than 20 ms off, or not at all, stands in the record and in the figures;
// when nobody should follow the beat any more, the team is told, once, and told again
// when it is even. What a device does on an ordinary day makes nobody hear of it.
func TestUnevenBeatIsTold(t *testing.T) {
	often := func(from, to time.Duration) func(time.Duration) time.Duration {
		return func(at time.Duration) time.Duration {
			if at > from && at < to && at/time.Second%5 < 2 {
				return 110 * time.Millisecond
			}
			return 30 * time.Millisecond
		}
	}
	for k, c := range []struct {
		name         string
		day          badDay
		off          bool // ticks stand in the record as off
		said, back   int
		uneven, hurt bool // at the end; there are figures of ticks that were off or lost
	}{
		{"a good day", badDay{length: 30 * time.Second}, false, 0, 0, false, false},
		{"a device that holds sound longer, evenly", badDay{length: 25 * time.Second, sounds: func(time.Duration) time.Duration {
			return 300 * time.Millisecond
		}}, false, 0, 0, false, false},
		{"its account of time leaps once", badDay{length: 45 * time.Second, sounds: func(at time.Duration) time.Duration {
			return 30*time.Millisecond + at/(30*time.Second)*50*time.Millisecond
		}}, true, 0, 0, false, true},
		{"two of five ticks are late", badDay{length: 35 * time.Second, sounds: often(15*time.Second, time.Hour)}, true, 1, 0, true, true},
		{"two of five are late for a while", badDay{length: 50 * time.Second, sounds: often(15*time.Second, 28*time.Second)},
			true, 1, 1, false, true},
		{"one block in fifteen is lost", badDay{length: 40 * time.Second, lose: 15}, true, 0, 0, false, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			alike(t, k, 1)
			c.day.seen = &Snapshot{}
			dir := t.TempDir()
			synctest.Test(t, func(t *testing.T) {
				events, _, _ := c.day.run(t, dir+"/r")
				logged := countOf(events, timeline.Fault, "off the beat") + countOf(events, timeline.Fault, "did not sound")
				said, back := countOf(events, timeline.CueSpoken, "fault.beat:"), countOf(events, timeline.CueSpoken, "fault.beat.back")
				if (logged > 0) != c.off || said != c.said || back != c.back {
					t.Errorf("logged %d times, want some: %v; said %d times, want %d, taken back %d times, want %d",
						logged, c.off, said, c.said, back, c.back)
				}
				b := c.day.seen.Beats
				if b.Uneven != c.uneven || hurt(b) != c.hurt || b.Past[0] == 0 || b.Uneven && c.day.seen.Healthy {
					t.Errorf("figures %+v, healthy %v", b, c.day.seen.Healthy)
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

// A clock of the device that is off by more than any is sold with (0.2 %) moves the beat
// by 40 ms now and then: nobody is told to count for that.
func TestDriftIsNoUnevenBeat(t *testing.T) {
	if testing.Short() {
		t.Skip("the goroutines of an uneven beat")
	}
	for _, day := range []badDay{{length: 60 * time.Second, lose: 500}, {length: 60 * time.Second, drift: 500}} {
		day.seen = &Snapshot{}
		dir := t.TempDir()
		synctest.Test(t, func(t *testing.T) {
			events, _, _ := day.run(t, dir+"/r")
			if n := countOf(events, timeline.Fault, "uneven"); n > 0 || day.seen.Beats.Uneven {
				t.Errorf("uneven %d times: %+v", n, day.seen.Beats)
			}
		})
	}
}

// What sounds no more, as without a loudspeaker, is not called even.
func TestSilentBeatIsNotEven(t *testing.T) {
	var s steadiness
	for k := range time.Duration(30) {
		s.heard(30*time.Millisecond, k*500*time.Millisecond)
	}
	for at, want := range map[time.Duration]string{16 * time.Second: "even; of 30 ticks 0 ", 26 * time.Second: "silent now; of 30 ticks 0 "} {
		if got := s.beats(at).String(); !strings.HasPrefix(got, want) {
			t.Errorf("at %v it says %q, want %q", at, got, want)
		}
	}
	if got := (Beats{}).String(); got != "silent" {
		t.Errorf("before the first it says %q", got)
	}
}

// hurt reports whether any tick was off or lost.
func hurt(b Beats) bool {
	n := b.Gone
	for k, past := range b.Past {
		if k > 0 && offBounds[k-1] >= offFrom.Seconds() {
			n += past
		}
	}
	return n > 0
}
