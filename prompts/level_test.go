package prompts

import (
	"math"
	"testing"

	"coxswain/audio"
	"coxswain/timeline"
)

// db is a ratio in decibels.
func db(x float64) float64 { return 20 * math.Log10(x+1e-12) }

// What is heard when prompts sound over the beat: nothing clips, the limiter touches
// next to nothing, and the beat, which alone peaks 10 dB over the mean of speech,
// is 12 dB lower while something is said.
func TestLevels(t *testing.T) {
	s := newStage(t)
	s.StartBeat(Metronome{Rate: 110})
	s.run(3)
	ids := []string{"opening", "cycle.soon", "epinephrine.due", "said.shock.given", "refractory", "fault.recogniser"}
	for _, id := range ids {
		s.offer(id, timeline.Alarm, 30, map[string]float64{"seconds": 10, "minutes": 4, "shocks": 3})
	}
	s.run(30)
	var beat, both, speech, ducked float64
	limited, n := 0, 0
	begun := int64(s.spoken[0].At)
	last := int64(s.spoken[len(s.spoken)-1].Until)
	for i, x := range s.sound {
		a := math.Abs(float64(x))
		if a >= 1 {
			t.Fatalf("sample %d is %v: it clips", i, x)
		}
		switch at := int64(i); {
		case at < begun:
			beat = max(beat, a)
		case at < last:
			both, n, speech = max(both, a), n+1, speech+a*a
			if a > 0.7 {
				limited++
			}
		}
	}
	alone := newStage(t) // the beat under the same speech, by difference
	for _, id := range ids {
		alone.run(float64(begun) / audio.Rate)
		alone.offer(id, timeline.Alarm, 30, map[string]float64{"seconds": 10, "minutes": 4, "shocks": 3})
	}
	alone.run(30)
	for _, sp := range s.spoken { // ducking takes 20 ms, and between two sentences it begins to end
		for i := int64(sp.At) + audio.Rate/10; i < int64(sp.Until); i++ {
			ducked = max(ducked, math.Abs(float64(s.sound[i]-alone.sound[i])))
		}
	}
	rms := math.Sqrt(speech / float64(n))
	t.Logf("beat %.1f dBFS, under speech %.1f, speech %.1f dBFS rms, together at most %.1f, %.3f %% limited",
		db(beat), db(ducked), db(rms), db(both), 100*float64(limited)/float64(n))
	if d := db(beat) - db(ducked); d < 9 || d > 15 {
		t.Errorf("the beat is ducked by %.1f dB, want about 12", d)
	}
	if d := db(beat) - db(rms); d < 6 || d > 14 {
		t.Errorf("the beat's peak lies %.1f dB over the speech's mean, want 6 to 14", d)
	}
	if share := float64(limited) / float64(n); share > 0.002 {
		t.Errorf("%.2f %% of what is said over the beat is bent by the limiter", 100*share)
	}
}
