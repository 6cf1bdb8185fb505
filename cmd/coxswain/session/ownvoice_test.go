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
