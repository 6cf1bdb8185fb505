package session

import (
	"path/filepath"
	"testing"
	"time"

	"coxswain/intents"
	"coxswain/prompts"
	"coxswain/timeline"
	"coxswain/timeline/record"
)

// testOptions are the default settings with a scripted ear, into a new record.
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
	wall := time.Now()
	w, err := record.Begin(dir, wall)
	if err != nil {
		t.Fatal(err)
	}
	return Options{Protocol: p, Vocabulary: v, Voice: voice, Ear: intents.Inline{Recogniser: &intents.Scripted{Results: results}}, Journal: w.Journal, Sound: w.Sound,
		Rate: 110, Mode: "auto", Volume: 1, Echo: true, LoopDelay: 20 * time.Millisecond, Record: filepath.Base(dir), Software: "test", Recogniser: "scripted", Source: "test", Wall: wall}
}
