package session

import (
	"testing"
	"testing/synctest"
	"time"

	"coxswain/audio"
	"coxswain/intents"
	"coxswain/timeline"
)

// A callout needs more where some of its sound was lost, in it or about a second beside it, and no
// more for a hole that is small, far, or long past.
func TestHolesAreDoubted(t *testing.T) {
	const rate, listen = audio.Rate, audio.ListenRate
	for _, c := range []struct {
		at   int64 // of the hole
		lost time.Duration
		more int // holes long after
		need float64
	}{
		{at: 10.5 * rate, lost: 60 * time.Millisecond, need: holedNeed},
		{at: 9.5 * rate, lost: 60 * time.Millisecond, need: holedNeed},
		{at: 11.8 * rate, lost: 60 * time.Millisecond, need: holedNeed},
		{at: 10.5 * rate, lost: 20 * time.Millisecond, need: 0.6},
		{at: 8 * rate, lost: time.Second, need: 0.6},
		{at: 13.2 * rate, lost: time.Second, need: 0.6},
		{at: 15.5 * rate, lost: 4 * time.Second, need: holedNeed}, // it begins right behind the phrase
		{at: 10.5 * rate, lost: 60 * time.Millisecond, more: 16, need: 0.6},
	} {
		var h holes
		h.add(c.at, c.lost)
		for k := range c.more {
			h.add(int64(60+2*k)*rate, time.Second)
		}
		if r := h.doubted(intents.Result{Start: 10 * listen, End: 11 * listen, Need: 0.6, Open: true}); r.Need != c.need {
			t.Errorf("a hole of %v at %v s: needs %v, want %v", c.lost, float64(c.at)/rate, r.Need, c.need)
		}
	}
	var h holes
	h.add(10.5*rate, time.Second)
	if r := h.doubted(intents.Result{Start: 10 * listen, End: 11 * listen, Need: 0.9}); r.Need != 0.9 {
		t.Errorf("what needs more needs %v", r.Need)
	}
	h = holes{}
	for at := int64(11.2 * rate); at < 15*rate; at += audio.Block { // a device that is gone for four seconds
		h.add(at, blockTime)
	}
	if r := h.doubted(intents.Result{Start: 10 * listen, End: 11 * listen}); r.Need != holedNeed {
		t.Errorf("before a hole that is made up for piece by piece it needs %v", r.Need)
	}
}

// What came too late and is left out is lost like what never came.
func TestWhatIsLeftOutIsAHole(t *testing.T) {
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		day := badDay{length: 40 * time.Second, drift: 100}
		var holes holes
		day.holes = &holes
		day.run(t, dir+"/r")
		if lost := holes.within(0, 40*audio.Rate); lost < 200*time.Millisecond {
			t.Errorf("of a device that is 1 %% fast %v count as lost", lost)
		}
	})
}

// A session asks about a callout with a hole in its sound that it would have taken whole.
func TestHolesAreAskedAbout(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes of sound, and no goroutine")
	}
	for _, lost := range []time.Duration{0, 300 * time.Millisecond} {
		kept := &shelf{}
		o := testOptions(t, t.TempDir(), mayBe("code.start", 2, 0.95), mayBe("airway.secured", 6, 0.7))
		o.Always, o.Begin = false, kept.begin
		s, err := New(o)
		if err != nil {
			t.Fatal(err)
		}
		var room, speaker [audio.Block]float32
		for k := range 1200 {
			if k == 550 {
				s.holes.add(s.pos, lost)
			}
			copy(speaker[:], s.Step(room[:], speaker[:]))
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		taken := 0
		for _, e := range kept.list[0].events {
			if e.Kind == timeline.Kind("airway.secured") {
				taken++
			}
		}
		if want := map[time.Duration]int{0: 1}[lost]; taken != want {
			t.Errorf("%v lost: taken %d times, want %d", lost, taken, want)
		}
	}
}
