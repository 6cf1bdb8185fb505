package session

import (
	"testing"

	"coxswain/prompts"
	"coxswain/timeline"
)

// What comes back from our loudspeaker is no callout; a leader who is quicker than our
// sentence, or who types, is heard.
func TestOwnVoice(t *testing.T) {
	s := &oneCase{spoken: []prompts.Spoken{
		{Text: "End of code? Say confirmed.", At: timeline.Seconds(10), Until: timeline.Seconds(12)},
		{Cue: timeline.Cue{ID: "hear.sure"}, Text: "Return of circulation Yes?", At: timeline.Seconds(59.1), Until: timeline.Seconds(61)},
	}}
	for _, c := range []struct {
		text       string
		start, end float64
		ours       bool
	}{
		{"confirmed", 11.2, 12.1, true},   // comes back late
		{"confirmed", 11.0, 11.9, true},   // or is found a little early
		{"confirmed", 10.3, 11.0, false},  // said before we came to it
		{"confirmed", 11.5, 12.4, false},  // said after us
		{"confirmed", 11.5, 11.51, false}, // typed
		{"end of code", 10.1, 10.9, true},
		{"undo that", 10.5, 11.2, false},
		{"return of circulation", 60.3, 61.8, true},  // our question, over a slow loop
		{"return of circulation", 61.5, 62.8, false}, // the leader's answer
	} {
		h := &timeline.Heard{Text: c.text, Start: timeline.Seconds(c.start), End: timeline.Seconds(c.end)}
		if got := s.ownVoice(h); got != c.ours {
			t.Errorf("%q from %v to %v: ours %v, want %v", c.text, c.start, c.end, got, c.ours)
		}
	}
}

// Our first words begin no case, whatever they are taken for: only who calls the start, or
// compressions, is heard while they sound.
func TestOwnVoiceBeginsNoCase(t *testing.T) {
	p, err := timeline.LoadProtocol("aha-2025")
	if err != nil {
		t.Fatal(err)
	}
	opening := []prompts.Spoken{{Text: "Coxswain is listening.", At: timeline.Seconds(0.5), Until: timeline.Seconds(3)}}
	idle := &oneCase{machine: timeline.NewMachine(p), spoken: opening}
	running := &oneCase{machine: timeline.NewMachine(p, timeline.Event{Seq: 1, Kind: timeline.CodeStart}), spoken: opening}
	for _, c := range []struct {
		kind             timeline.Kind
		start, end, sure float64
		under            bool
	}{
		{"rhythm.torsades", 0.47, 1.25, 0.8, true},
		{"rhythm.torsades", 3.1, 3.9, 0.8, true}, // comes back late
		{"rhythm.torsades", 3.3, 4.1, 0.8, false},
		{"rhythm.torsades", 1, 1.9, 0.97, false}, // plainly heard
		{timeline.CodeStart, 1, 1.9, 0.7, false},
		{timeline.CompressionsStart, 1, 1.9, 0.7, false},
		{"rhythm.vf", 1, 1.01, 0.7, false}, // typed
	} {
		h := &timeline.Heard{Start: timeline.Seconds(c.start), End: timeline.Seconds(c.end), Confidence: c.sure}
		if got := idle.beginsUnder(c.kind, h); got != c.under {
			t.Errorf("%s from %v to %v: thrown away %v, want %v", c.kind, c.start, c.end, got, c.under)
		}
		if running.beginsUnder(c.kind, h) {
			t.Errorf("%s from %v s is thrown away while a case runs", c.kind, c.start)
		}
	}
}
