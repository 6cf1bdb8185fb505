package session

import (
	"testing"

	"coxswain/audio"
	"coxswain/intents"
	"coxswain/timeline"
	"coxswain/timeline/record"
)

// hears is a scripted result that ends at a second of the session.
func hears(id string, at float64) intents.Result {
	end := int64(at * intents.Rate)
	return intents.Result{
		Callout: id, Text: "words " + id, Confidence: 1, Start: end - 8000, End: end, Decided: end + 3200,
	}
}

// A prompt that a read-back cuts off is not recorded as if it had been said: the
// record tells from when to when it sounded, in the place of what was planned.
func TestCutPromptInTheRecord(t *testing.T) {
	dir := t.TempDir() + "/record"
	s, err := New(testOptions(t, dir, hears("access.iv", 0.9)))
	if err != nil {
		t.Fatal(err)
	}
	var room, speaker [audio.Block]float32
	for s.Pos() < 8*audio.Rate {
		copy(speaker[:], s.Step(room[:], speaker[:]))
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	events, _, err := record.Read(dir)
	if err != nil {
		t.Fatal(err)
	}
	gone := timeline.Retracted(events)
	var first, cut timeline.Event
	for _, e := range events {
		switch {
		case e.Kind != timeline.CueSpoken:
		case e.Cut:
			cut = e
		case first.Seq == 0:
			first = e
		}
	}
	inPlace := cut.Replaces == first.Seq && gone[first.Seq] && cut.At == first.At
	if cut.Cue != "opening" || !inPlace || cut.Until >= first.Until || cut.Until <= cut.At {
		t.Errorf("planned %+v, cut %+v", first, cut)
	}
}

// A due prompt waits for somebody who speaks in the room.
func TestNoPromptOverASpeaker(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes of sound, and no goroutine")
	}
	var firsts [2]timeline.Time
	for i, speaks := range []bool{false, true} {
		dir := t.TempDir() + "/record"
		s, err := New(testOptions(t, dir, hears("access.iv", 3)))
		if err != nil {
			t.Fatal(err)
		}
		var room, speaker [audio.Block]float32
		for n := 0; s.Pos() < 8*audio.Rate; n++ {
			for k := range room { // a quiet room, and from 3 s to 10 s a voice: 500 Hz, 5 syllables a second
				room[k] = float32((n*31+k*17)%7-3) / 32768
				if speaks && n > 300 && n < 1000 && n%20 < 12 {
					room[k] += float32((k*7+n)%48-24) / 100
				}
			}
			copy(speaker[:], s.Step(room[:], speaker[:]))
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		events, _, err := record.Read(dir)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range events {
			if e.Kind == timeline.CueSpoken && e.Cue == "said.access.iv" {
				firsts[i] = e.At
			}
		}
	}
	if wait := (firsts[1] - firsts[0]).Seconds(); wait < 1.9 || wait > 2.1 {
		t.Errorf("the read-back comes at %v, over a speaker at %v: it waits %.2f s, want 2", firsts[0], firsts[1], wait)
	}
}
