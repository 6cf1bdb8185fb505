package session

import (
	"slices"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"coxswain/timeline"
)

// counts are what a day's devices saw, one after the other.
type counts struct {
	mute    atomic.Int64 // streams that died of badDay.mute
	heard   atomic.Int64 // when something of us was last heard, from 12 s on
	longest atomic.Int64 // the longest that nothing was
}

// hears looks at what a device plays.
func (c *counts) hears(out []float32, at time.Duration) {
	sounds := slices.ContainsFunc(out, func(x float32) bool { return x > 0.05 || x < -0.05 })
	if c == nil || !sounds || at < 12*time.Second {
		return
	}
	if was := c.heard.Swap(int64(at)); was > 0 {
		c.longest.Store(max(c.longest.Load(), int64(at)-was))
	}
}

// Streams that start and never call back, as beside busy loops, cost the beat no more than this, from one
// tick to the next: one that has ended is opened anew at once, one that is only mute after firstCallback and
// silentAfter, and then later and later. The ticks are 0.55 s apart, and opening takes 0.1 s.
func TestStreamsThatNeverCallBack(t *testing.T) {
	for k, c := range []struct {
		mute int
		ends bool
		most time.Duration
	}{
		{1, true, 1200 * time.Millisecond},
		{1, false, 1200 * time.Millisecond},
		{2, true, 1200 * time.Millisecond},
		{4, true, 1800 * time.Millisecond},
		{8, true, 5 * time.Second},
		{2, false, 1800 * time.Millisecond},
		{3, false, 3 * time.Second},
		{4, false, 5 * time.Second},
	} {
		if testing.Short() && k > 1 { // the same goroutines
			continue
		}
		dir := t.TempDir()
		synctest.Test(t, func(t *testing.T) {
			day := badDay{length: 40 * time.Second, mute: c.mute, ends: c.ends, takes: 100 * time.Millisecond, counts: &counts{}}
			events, pos, passed := day.run(t, dir+"/r")
			longest := time.Duration(day.counts.longest.Load())
			t.Logf("%d streams died, ended %v: %v without a sound", c.mute, c.ends, longest)
			if n := int(day.counts.mute.Load()); n < c.mute || longest > c.most || longest == 0 {
				t.Errorf("%d of %d streams died, ended %v: %v without a sound, want at most %v", n, c.mute, c.ends, longest, c.most)
			}
			if off := pos - passed; off < -offLimit || off > offLimit {
				t.Errorf("the session's clock is off by %v", off)
			}
			if n := countOf(events, timeline.Fault, "sound was lost for"); n == 0 {
				t.Error("not in the record")
			}
		})
	}
}
