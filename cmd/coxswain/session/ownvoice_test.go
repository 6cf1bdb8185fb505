package session

import (
	"testing"
	"time"

	"coxswain/audio"
	"coxswain/prompts"
	"coxswain/timeline"
)

// What comes back from our loudspeaker is no callout; a leader who is quicker than our
// sentence, or who types, is heard.
func TestOwnVoice(t *testing.T) {
	s := &oneCase{o: &Options{}, spoken: []prompts.Spoken{
		{Text: "End of code? Say confirmed.", At: timeline.Seconds(10), Until: timeline.Seconds(12)},
		{Text: "Close the code? Confirmation, please.", At: timeline.Seconds(30), Until: timeline.Seconds(33)},
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
		{"confirmed", 31.4, 32.3, true}, // our "confirmation", heard so
		{"confirm", 31.4, 32.3, true},
		{"confirmed", 32.5, 33.4, false},
		{"return of circulation", 60.3, 61.8, true},  // our question, over a slow loop
		{"return of circulation", 61.5, 62.8, false}, // the leader's answer
	} {
		h := &timeline.Heard{Text: c.text, Start: timeline.Seconds(c.start), End: timeline.Seconds(c.end)}
		if got := s.ownVoice(h); got != c.ours {
			t.Errorf("%q from %v to %v: ours %v, want %v", c.text, c.start, c.end, got, c.ours)
		}
	}
	plainly := &timeline.Heard{Text: "confirmed", Confidence: 0.95, Start: timeline.Seconds(31.4), End: timeline.Seconds(32.3)}
	if s.ownVoice(plainly) {
		t.Error("a leader's word over our own is not heard")
	}
}

// A device that holds 0.2 s of sound is heard by as much later, and so is a loudspeaker
// with a slow way back: what it brings then is ours all the same.
func TestOwnVoiceOfASlowDevice(t *testing.T) {
	h := &timeline.Heard{Text: "confirmed", Start: timeline.Seconds(11.4), End: timeline.Seconds(12.3)}
	for _, c := range []struct {
		o    Options
		ours bool
	}{
		{Options{}, false},
		{Options{Lead: audio.LeadFor(200 * time.Millisecond)}, true},
		{Options{LoopDelay: 200 * time.Millisecond}, true},
	} {
		s := &oneCase{o: &c.o, spoken: []prompts.Spoken{
			{Text: "End of code? Say confirmed.", At: timeline.Seconds(10), Until: timeline.Seconds(12)},
		}}
		if got := s.ownVoice(h); got != c.ours {
			t.Errorf("lead %d, loop %v: ours %v, want %v", c.o.Lead, c.o.LoopDelay, got, c.ours)
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
	idle := &oneCase{o: &Options{}, machine: timeline.NewMachine(p), spoken: opening}
	running := &oneCase{o: &Options{}, machine: timeline.NewMachine(p, timeline.Event{Seq: 1, Kind: timeline.CodeStart}), spoken: opening}
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
