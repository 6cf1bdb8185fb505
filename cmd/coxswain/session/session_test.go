package session

import (
	"path/filepath"
	"testing"
	"time"

	"coxswain/audio"
	"coxswain/intents"
	"coxswain/prompts"
	"coxswain/timeline"
	"coxswain/timeline/record"
)

// testOptions are the default settings with a scripted ear, with a record in dir
// all the time.
func testOptions(t *testing.T, dir string, results ...intents.Result) Options {
	t.Helper()
	p, err := timeline.LoadProtocol("aha-2020")
	if err != nil {
		t.Fatal(err)
	}
	v, err := intents.LoadVocabulary()
	if err != nil {
		t.Fatal(err)
	}
	voice, err := prompts.NewVoice("")
	if err != nil {
		t.Fatal(err)
	}
	begin := func(b Beginning) (Kept, error) {
		if len(b.Had) > 0 { // the first one was lost
			dir += "-2"
		}
		w, err := record.BeginAnew(dir, b.Wall, b.Had, b.Pos)
		if err != nil {
			return Kept{}, err
		}
		return Kept{Name: filepath.Base(dir), Journal: w.Journal, Sound: w.Sound, Intact: w.Intact}, nil
	}
	return Options{
		Protocol:   p,
		Vocabulary: v,
		Voice:      voice,
		Ear:        intents.Inline{Recogniser: &intents.Scripted{Results: results}},
		Begin:      begin,
		Always:     true,
		Rate:       110,
		Mode:       "auto",
		Volume:     1,
		Echo:       true,
		LoopDelay:  20 * time.Millisecond,
		Software:   "test",
		Recogniser: "scripted",
		Source:     "test",
		Wall:       time.Now(),
	}
}

// quiet has a session hear silence, and play into the void, until so many seconds of its clock.
func quiet(s *Session, until float64) {
	var block [audio.Block]float32
	for s.Pos() < int64(until*audio.Rate) {
		s.Step(block[:], block[:])
	}
}

// cuesOf lists the ids of what was said.
func cuesOf(events []timeline.Event) (ids []string) {
	for _, e := range events {
		if e.Kind == timeline.CueSpoken {
			ids = append(ids, e.Cue)
		}
	}
	return ids
}
