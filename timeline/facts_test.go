package timeline

import (
	"strings"
	"testing"
)

// The beat stays within 100 to 120 a minute (AHA 2025 Part 7 and ERC 2025 ALS: 100 to 120) or what was configured
// beyond; a step that it cannot take is none, and the next one back is one.
func TestTempo(t *testing.T) {
	p, err := LoadProtocol("aha-2025")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		base   float64
		called string // a rate first, if any
		want   float64
	}{
		{110, "", 110},
		{110, "+", 115},
		{110, "+++++", 120},
		{110, "+++++-", 115},
		{110, "------+", 105},
		{95, "", 95},
		{95, "+-", 95},
		{130, "+", 130},
		{110, "100-+", 105},
		{95, "100--", 95},
	} {
		s := newState()
		steps := strings.TrimLeft(c.called, "0123456789")
		if c.called != steps {
			s.beat(Event{Kind: BeatRate, Values: map[string]float64{"beats": 100}})
		}
		for _, way := range steps {
			s.beat(Event{Kind: map[rune]Kind{'+': BeatFaster, '-': BeatSlower}[way]})
		}
		if got := p.Tempo(s, c.base); got != c.want {
			t.Errorf("%v, %q: %v a minute, want %v", c.base, c.called, got, c.want)
		}
	}
}

// Whoever asks for a faster beat than there may be hears that it is at its most.
func TestBeatAtItsMost(t *testing.T) {
	on := stageOf(t, "aha-2025")
	on.m.SetRate(115)
	for i, c := range []struct {
		k    Kind
		want string
	}{
		{CompressionsStart, "said.compressions.start"},
		{BeatFaster, "said.metronome.faster"},
		{BeatFaster, "said.metronome.faster.most"},
		{BeatSlower, "said.metronome.slower"},
		{BeatSlower, "said.metronome.slower"},
		{BeatSlower, "said.metronome.slower"},
		{BeatSlower, "said.metronome.slower"},
		{BeatSlower, "said.metronome.slower.most"},
	} {
		if got := on.call(float64(10*i), c.k, nil)[0]; got.ID != c.want {
			t.Errorf("%d: %s, want %s", i, got.ID, c.want)
		}
	}
}
