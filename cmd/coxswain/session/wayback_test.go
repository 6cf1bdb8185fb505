package session

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"coxswain/audio"
	"coxswain/audio/audiotest"
	"coxswain/timeline"
)

// Over a radio loudspeaker or a call our own voice comes back later than any buffer tells:
// that is found from the first sentence, canceller and gate look there, and the record says
// what to set. An ordinary way back, or none, changes nothing.
func TestWayBackIsFound(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes of sound, and no goroutine")
	}
	for _, c := range []struct {
		name        string
		way         float64 // s
		gain        float32 // 0: nothing comes back
		least, most time.Duration
	}{
		{"a table's loudspeaker", 0.045, 0.5, 20 * time.Millisecond, 20 * time.Millisecond},
		{"a radio loudspeaker", 0.3, 0.7, 260 * time.Millisecond, 285 * time.Millisecond},
		{"far away, soft", 0.9, 0.1, 860 * time.Millisecond, 885 * time.Millisecond},
		{"a headset", 0, 0, 20 * time.Millisecond, 20 * time.Millisecond},
	} {
		o := testOptions(t, t.TempDir()+"/r")
		o.Begin, o.Echo, o.LoopDelay = toNowhere, true, 20*time.Millisecond
		s, err := New(o)
		if err != nil {
			t.Fatal(err)
		}
		back, random := audiotest.NewRoom(c.way, 0.3, c.gain), rand.New(rand.NewPCG(1, 2))
		var room, speaker [audio.Block]float32
		for s.pos < 10*audio.Rate {
			for i := range room {
				room[i] = float32(random.NormFloat64() * 0.005)
			}
			if c.gain > 0 {
				back.Hear(room[:], speaker[:])
			}
			copy(speaker[:], s.Step(room[:], speaker[:]))
		}
		if got := s.o.LoopDelay; got < c.least || got > c.most {
			t.Errorf("%s: the least way back counts as %v, want %v to %v", c.name, got, c.least, c.most)
		}
		if told := countOf(s.now.events, timeline.Fault, "set loop_delay_ms") > 0; told != (c.least > 20*time.Millisecond) {
			t.Errorf("%s: told %v", c.name, told)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

// Where the first sentence did not come back, be it for noise, be it that the loudspeaker was
// off, it is looked for again, a minute later.
func TestWayBackIsLookedForAgain(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes of sound, and no goroutine")
	}
	const way = 0.4 * audio.ListenRate
	random := rand.New(rand.NewPCG(1, 2))
	var w wayBack
	var said []int16
	for second := range 90 {
		for range audio.ListenRate {
			said = append(said, int16(random.NormFloat64()*3000))
		}
		for b := range 100 {
			at := (100*second + b) * audio.ListenRate / 100
			room := make([]int16, audio.ListenRate/100)
			for i := range room {
				if room[i] = int16(random.NormFloat64() * 100); second >= 20 {
					room[i] += said[at+i-way] / 4
				}
			}
			if d := w.add(room, said[at:at+len(room)], false); d != 0 {
				if second < 60 || d != 400*time.Millisecond {
					t.Errorf("after %d s: %v", second, d)
				}
				return
			}
		}
	}
	t.Error("never found")
}

// A hum that no noise covers is like any beat that is played, and is nothing that comes back.
func TestWayBackIsNoHum(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes of sound, and no goroutine")
	}
	var room [audio.ListenRate / 100]int16
	for beat := 50; beat < 58; beat++ { // blocks
		var w wayBack
		for b := range 702 {
			var speaker [audio.ListenRate / 100]int16
			for i := range room {
				room[i] = int16(33 * math.Sin(0.9*float64(i)))
				if b%beat < 3 {
					speaker[i] = int16(9000 * math.Sin(0.4*float64(i)) / float64(1+b%beat))
				}
			}
			if d := w.add(room[:], speaker[:], false); d != 0 {
				t.Errorf("a beat of %d ms comes back after %v", 10*beat, d)
			}
		}
	}
}
