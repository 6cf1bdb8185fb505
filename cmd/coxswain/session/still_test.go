package session

import (
	"testing"
	"testing/synctest"
	"time"

	"coxswain/timeline"
)

// A microphone that gives nothing but zeros, as one that is muted does, is told of, once, and when it gives
// sound again; a short silence is not, nor one that lacks a microphone anyway.
func TestMicrophoneThatGivesNothing(t *testing.T) {
	for k, c := range []struct {
		name       string
		day        badDay
		told, back int
		sound      string
	}{
		{"muted", badDay{muted: [2]time.Duration{10 * time.Second, 32 * time.Second}}, 1, 1, "whole"},
		{"muted to the end", badDay{muted: [2]time.Duration{10 * time.Second, time.Hour}}, 1, 0, muted},
		{"muted, and the device is lost", badDay{muted: [2]time.Duration{time.Second, time.Hour},
			gone: [2]time.Duration{20 * time.Second, 22 * time.Second}}, 2, 0, muted},
		{"for a moment", badDay{muted: [2]time.Duration{10 * time.Second, 20 * time.Second}}, 0, 0, "whole"},
		{"frozen for 30 s", badDay{stops: 1, stopped: 30 * time.Second}, 0, 0, "% lost"},
		{"no microphone", badDay{silent: "microphone", back: time.Hour, muted: [2]time.Duration{0, time.Hour}}, 0, 0, "no microphone"},
	} {
		t.Run(c.name, func(t *testing.T) {
			alike(t, k, 1)
			dir := t.TempDir()
			synctest.Test(t, func(t *testing.T) {
				c.day.length, c.day.seen = 40*time.Second, &Snapshot{}
				events, _, _ := c.day.run(t, dir+"/r")
				told := countOf(events, timeline.Fault, "nothing but silence")
				back := countOf(events, timeline.Recovered, "gives sound again")
				said := countOf(events, timeline.CueSpoken, "fault.microphone:")
				if most := min(c.told, 1); c.sound != "no microphone" && said != most || told != c.told || back != c.back {
					t.Errorf("told %d times, said %d times, back %d times; want %d and %d", told, said, back, c.told, c.back)
				}
				got := c.day.seen.Sound
				if c.sound == "% lost" { // how much of a minute depends on when its last second is looked at
					got = got[max(0, len(got)-len(c.sound)):]
				}
				if got != c.sound || c.day.seen.Healthy != (c.sound == "whole") {
					t.Errorf("the sound is %q, healthy %v", c.day.seen.Sound, c.day.seen.Healthy)
				}
			})
		})
	}
}
