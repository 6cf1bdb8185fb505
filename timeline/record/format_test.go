package record

import (
	"compress/gzip"
	"os"
	"strings"
	"testing"

	"coxswain/timeline"
)

// A journal of the first format, the demo's of 2026 before the cue's id and
// sentence were fields, is read as today's software would have written it.
func TestFirstFormatIsRead(t *testing.T) {
	f, err := os.Open("testdata/format-1.events.jsonl.gz")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	r, err := parse(z, "format-1")
	if err != nil || r.Tail.Reason != "" || len(r.Events) < 80 {
		t.Fatalf("%d events, %q, %v", len(r.Events), r.Tail.Reason, err)
	}
	events := r.Events
	if r.Format != 1 {
		t.Errorf("the fixture is of format %d", r.Format)
	}
	spoken := 0
	for _, e := range events {
		switch e.Kind {
		case timeline.CueSpoken:
			spoken++
			if e.Cue == "" || e.Sentence == "" || e.Text != "" || strings.Contains(e.Cue, " ") {
				t.Fatalf("%+v", e)
			}
		case timeline.CueDropped, timeline.Question:
			if e.Cue == "" || strings.Contains(e.Text, e.Cue) {
				t.Fatalf("%+v", e)
			}
		}
	}
	if first := events[1]; first.Cue != "opening" || !strings.HasPrefix(first.Sentence, "Coxswain is listening") ||
		spoken < 30 {
		t.Errorf("%d spoken, the first %+v", spoken, first)
	}
}
