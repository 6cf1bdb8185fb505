package prompts

import (
	"math"

	"coxswain/audio"
)

// Metronome says at which samples the beat falls. Beat k of a run lies at
// start + round(k * 60 * Rate / rate): counted from the start of the run, so
// that no rounding adds up (a quarter of a million beats later it is still
// right to the sample). With a ratio, every Beats beats a pause for breaths
// follows. Metronome is a value; it holds no clock.
type Metronome struct {
	Rate  float64 // beats a minute
	Beats int     // beats between breaths; 0: continuous
	Pause int64   // samples of the pause for breaths, from the last beat's end
	Start int64   // sample of beat 0

	Breaths int // soft ticks in each pause, one a breath; 0: none
}

// At is the sample of beat k, from 0.
func (m Metronome) At(k int64) int64 {
	pause := int64(0)
	if m.Beats > 0 {
		pause = k / int64(m.Beats) * m.Pause
	}
	return m.Start + int64(math.Round(float64(k)*60*audio.Rate/m.Rate)) + pause
}

// breathsIn calls tick with the samples in [from, to) at which a breath of a
// pause begins: evenly in the pause that follows each run of Beats.
func (m Metronome) breathsIn(from, to int64, tick func(at int64)) {
	if m.Beats <= 0 || m.Breaths <= 0 || m.Rate <= 0 {
		return
	}
	k, _ := m.Next(from)
	run := max(1, k/int64(m.Beats))
	for ; m.At(run*int64(m.Beats))-m.Pause < to; run++ {
		start := m.At(run*int64(m.Beats)) - m.Pause
		for i := range int64(m.Breaths) {
			if at := start + i*m.Pause/int64(m.Breaths); at >= from && at < to {
				tick(at)
			}
		}
	}
}

// Next is the first beat at or after sample t.
func (m Metronome) Next(t int64) (k, at int64) {
	lo, hi := int64(0), int64(1)
	for m.At(hi) < t {
		hi *= 2
	}
	for lo < hi {
		if mid := (lo + hi) / 2; m.At(mid) >= t {
			hi = mid
		} else {
			lo = mid + 1
		}
	}
	return lo, m.At(lo)
}

// tone is a tick of a decaying sine: an information sound, unlike the pulse
// bursts of IEC 60601-1-8 (no 3+2 pattern, 30 ms, one partial).
func tone(hz, seconds, gain float64) audio.Clip {
	c := make(audio.Clip, int(seconds*audio.Rate))
	for i := range c {
		t := float64(i) / audio.Rate
		attack := math.Min(1, t/0.001)
		c[i] = float32(gain * attack * math.Exp(-t*6/seconds) * math.Sin(2*math.Pi*hz*t))
	}
	return c
}

var (
	tick   = tone(1100, 0.03, 0.5)
	accent = tone(1450, 0.03, 0.5) // the first of a run of 30
	breath = tone(520, 0.25, 0.35) // breathe now
	soft   = tone(520, 0.15, 0.2)  // one of the breaths between compressions
)
