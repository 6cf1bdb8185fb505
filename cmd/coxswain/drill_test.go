package main

import (
	"bytes"
	"encoding/json"
	"path/filepath"
	"testing"

	"coxswain/cmd/coxswain/coxtest"
	"coxswain/timeline"
	"coxswain/timeline/drill"
)

// A drill end to end, from a spoken recording through the recogniser: the case
// answers what is called, and the score is what the timeline earns.
func TestDrill(t *testing.T) {
	dir := t.TempDir()
	wav, record := filepath.Join(dir, "in.wav"), filepath.Join(dir, "record")
	coxtest.Render(t, "testdata/drill-pea.scene", wav)
	cmd := coxswainCommand(t, "drill", "pea", "--from", wav, "--record", record, "--json")
	var out, errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errs
	if err := cmd.Run(); err != nil {
		t.Fatalf("drill: %v: %s", err, errs.String())
	}
	var score struct{ Findings []drill.Finding }
	if err := json.Unmarshal(out.Bytes(), &score); err != nil {
		t.Fatalf("%v: %s", err, out.String())
	}
	for _, f := range score.Findings {
		if f.Points != f.Of {
			t.Errorf("%d of %d: %s: %s", f.Points, f.Of, f.Reason, f.Found)
		}
	}
	events, _, err := coxtest.Whole(record)
	if err != nil {
		t.Fatal(err)
	}
	told := map[string]bool{} // one that was cut off is told again
	for _, e := range events {
		if e.Kind == timeline.CueSpoken && e.Cue == "drill" {
			told[e.Sentence] = true
		}
	}
	if len(told) != 3 { // the opening, the monitor after the rhythm check, the veins after the bolus
		t.Errorf("the case told %v, want three sentences", told)
	}
}
