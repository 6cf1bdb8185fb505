package echo

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"coxswain/audio"
)

const block = audio.Block / 3

// bursts is sound like speech for the canceller: noise that comes and goes.
func bursts(seed uint64, blocks int, level float64) []int16 {
	r := rand.New(rand.NewPCG(seed, seed))
	x := make([]int16, blocks*block)
	for i := range x {
		if i/block%40 < 30 {
			x[i] = int16(r.NormFloat64() * level)
		}
	}
	return x
}

// through is what of it comes back from a room after some samples.
func through(x []int16, delay int) []int16 {
	out := make([]int16, len(x))
	for i := range out {
		sum := 0.0
		for k, gain := range map[int]float64{0: 0.5, 37: 0.2, 160: -0.15, 900: 0.08} {
			if j := i - delay - k; j >= 0 {
				sum += gain * float64(x[j])
			}
		}
		out[i] = int16(math.Max(-32768, math.Min(32767, sum)))
	}
	return out
}

func cancel(t *testing.T, delay int, room, speaker []int16) (*Canceller, []int16) {
	t.Helper()
	e, err := New(delay)
	if err != nil {
		t.Fatal(err)
	}
	var out []int16
	for i := 0; i < len(room); i += block {
		out = append(out, e.Cancel(room[i:i+block], speaker[i:i+block])...)
	}
	return e, out
}

// What the loudspeaker played is taken out of the room, by at least 20 dB after
// 20 s (measured on a linear echo: 32 dB), with or without the loudspeaker held back.
func TestEchoIsTakenOut(t *testing.T) {
	speaker := bursts(1, 2000, 3000)
	for _, c := range []struct{ held, delay int }{{0, 200}, {3, 600}, {9, 310 * audio.ListenRate / 1000}} { // the last: a device with 200 ms
		room := through(speaker, c.delay)
		e, out := cancel(t, c.held, room, speaker)
		last := len(out) - 400*block
		if db := 10 * math.Log10(energy(room[last:])/(energy(out[last:])+1)); db < 20 || e.Enhancement() < 15 {
			t.Errorf("held back by %d blocks: %.1f dB less, %.1f by its own account", c.held, db, e.Enhancement())
		}
	}
}

// While the loudspeaker is silent, people are heard as they speak, a block late.
func TestSpeechPasses(t *testing.T) {
	room := bursts(2, 500, 2000)
	e, out := cancel(t, 0, room, make([]int16, len(room)))
	var off, sound float64
	for i := block; i < len(out); i++ {
		d := float64(out[i]) - float64(room[i-block])
		off, sound = off+d*d, sound+float64(room[i-block])*float64(room[i-block])
	}
	// The canceller takes out what is below speech, so it is not quite the same.
	if db := 10 * math.Log10(sound/(off+1)); db < 12 {
		t.Errorf("speech comes through at %.1f dB", db)
	}
	if e.Enhancement() != 0 {
		t.Errorf("%.1f dB taken out of nothing", e.Enhancement())
	}
}

// The beat is too short to switch suppression on; a sentence does, and for 0.4 s after.
func TestOnlySentencesSwitchSuppressionOn(t *testing.T) {
	e, err := New(0)
	if err != nil {
		t.Fatal(err)
	}
	for n := range 200 {
		if e.speaking(n%55 < 3) { // 110 a minute, 30 ms each
			t.Fatalf("block %d: a beat counts as speech", n)
		}
	}
	on := 0
	for n := range 100 {
		if e.speaking(n < 20) {
			on++
		}
	}
	if on < 11+35 || on > 60 {
		t.Errorf("on for %d blocks of a sentence of 20", on)
	}
}

// The same samples give the same result: replays are bit for bit the same.
func TestSameAgain(t *testing.T) {
	speaker := bursts(3, 300, 3000)
	room := through(speaker, 300)
	_, a := cancel(t, 1, room, speaker)
	_, b := cancel(t, 1, room, speaker)
	if !slices.Equal(a, b) {
		t.Error("not the same a second time")
	}
}

// BenchmarkCancel is 10 ms of microphone and loudspeaker.
func BenchmarkCancel(b *testing.B) {
	e, err := New(1)
	if err != nil {
		b.Fatal(err)
	}
	room, speaker := make([]int16, block), make([]int16, block)
	for i := range room {
		room[i], speaker[i] = int16(i*91%3000), int16(i*53%4000)
	}
	b.ReportAllocs()
	for b.Loop() {
		e.Cancel(room, speaker)
	}
}
