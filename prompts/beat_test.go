package prompts

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"coxswain/audio"
)

// onsets lists where sound begins after 80 ms without any.
func onsets(x []float32) (at []int64) {
	quiet := int64(audio.Rate)
	for i, v := range x {
		if math.Abs(float64(v)) > 1e-4 {
			if quiet > audio.Rate*8/100 {
				at = append(at, int64(i))
			}
			quiet = 0
		} else {
			quiet++
		}
	}
	return at
}

// Wherever in a beat "clear" falls: of a beat that sounds nothing is left one block
// later, and none begins. It is checked sample by sample, over 500 moments.
func TestNoBeatAfterClear(t *testing.T) {
	v, err := NewVoice("")
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(2, 2))
	block := make([]float32, audio.Block)
	heard := 0
	for range 500 {
		p := audio.NewPlayer(0)
		s := NewScheduler(v, p, 1)
		s.StartBeat(Metronome{Rate: 100 + 20*r.Float64(), Start: int64(r.IntN(audio.Rate))})
		last := false
		for range 60 + r.IntN(120) {
			s.Advance(audio.Block)
			p.Render(block)
			last = slices.ContainsFunc(block, func(x float32) bool { return x != 0 })
		}
		s.StopBeat()
		s.Advance(audio.Block)
		p.Render(block)
		if math.Abs(float64(block[audio.Block-1])) > 2e-3 {
			t.Fatalf("a beat ends with %v, it has not faded out", block[audio.Block-1])
		}
		for i, x := range block {
			if x != 0 && !last {
				t.Fatalf("a beat begins at sample %d after the stop", i)
			}
			if x != 0 {
				heard++
			}
		}
		for range 100 {
			s.Advance(audio.Block)
			p.Render(block)
			if slices.ContainsFunc(block, func(x float32) bool { return x != 0 }) {
				t.Fatal("a beat more than one block after the stop")
			}
		}
	}
	if heard == 0 {
		t.Error("no beat was ever stopped while it sounded: this shows nothing")
	}
}

// 30:2: after 30 beats a soft tick for each of two breaths, within the pause; then
// the beat goes on where it should, for ten rounds.
func TestBreathsAreTicked(t *testing.T) {
	s := newStage(t)
	m := Metronome{Rate: 110, Beats: 30, Breaths: 2, Pause: 4 * audio.Rate, Start: 480}
	s.StartBeat(m)
	s.run(205)
	at := onsets(s.sound)
	for round := range int64(10) {
		for k := range int64(30) {
			if got, want := at[0], m.At(30*round+k)+1; got != want { // a tick's first sample is 0
				t.Fatalf("round %d, beat %d at %d, want %d", round, k, got, want)
			}
			at = at[1:]
		}
		end := m.At(30*round + 29)
		for b := range 2 {
			if got := float64(at[0]-end) / audio.Rate; got < 0.5 || got > 4.2 {
				t.Fatalf("round %d, breath %d %.2f s after the last beat", round, b, got)
			}
			at = at[1:]
		}
		loud := func(from, to int64) (peak float32) {
			for _, x := range s.sound[from:to] {
				peak = max(peak, x)
			}
			return peak
		}
		if beat, soft := loud(end, end+audio.Rate/4), loud(end+audio.Rate/2, end+4*audio.Rate); soft <= 0.01 || soft > beat/2 {
			t.Fatalf("a breath peaks at %.2f, a beat at %.2f", soft, beat)
		}
	}
}

// Another rate or mode begins with the next beat: none is doubled, none left out for
// longer than the slower period or a pause.
func TestRateAndModeChangeInPhase(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	for range 40 {
		s := newStage(t)
		m := Metronome{Rate: 110}
		s.StartBeat(m)
		now := 0.0
		for range 6 {
			now += 0.7 + r.Float64()
			s.run(now)
			switch m.Start = s.player.Pos(); r.IntN(3) {
			case 0:
				m.Rate = 100 + float64(r.IntN(21))
			case 1:
				m.Beats, m.Breaths, m.Pause = 30, 2, 4*audio.Rate
			case 2:
				m.Beats, m.Breaths, m.Pause = 0, 0, 0
			}
			s.StartBeat(m)
		}
		s.run(now + 3)
		at := onsets(s.sound)
		for i := 1; i < len(at); i++ {
			if gap := float64(at[i]-at[i-1]) / audio.Rate; gap < 0.499 || gap > 0.601 {
				t.Fatalf("%.3f s between beats at 100 to 120 a minute", gap)
			}
		}
	}
}
