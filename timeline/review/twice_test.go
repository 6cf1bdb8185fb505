package review

import (
	"bytes"
	"strings"
	"testing"

	"coxswain/timeline"
)

// A dose and a shock that were told twice within seconds count once, and every export
// says so of the second row: nobody who adds up rows may find two.
func TestToldTwiceIsMarked(t *testing.T) {
	events := []timeline.Event{{Kind: timeline.SessionOpen, Session: &timeline.Session{Wall: "2026-03-01T14:00:00Z",
		Rate: timeline.Rate, Protocol: "aha-2025 0", Caution: "Supports a trained team."}}}
	for _, c := range []struct {
		at   float64
		kind timeline.Kind
	}{{1, timeline.CodeStart}, {3, timeline.CompressionsStart}, {10, timeline.RhythmVF}, {15, timeline.ShockGiven},
		{19, timeline.ShockGiven}, {60, timeline.Epinephrine}, {65, timeline.Epinephrine}} {
		events = append(events, timeline.Event{At: timeline.Seconds(c.at), Kind: c.kind})
	}
	for i := range events {
		events[i].Seq = uint64(i + 1)
	}
	r := Of(events, nil)
	marked := map[uint64]bool{}
	for _, x := range r.Rows {
		if marked[x.Seq] = strings.Contains(x.Text, "told twice, counts once"); marked[x.Seq] != x.Twice {
			t.Errorf("row %d says %q, told twice %v", x.Seq, x.Text, x.Twice)
		}
	}
	if !marked[6] || !marked[8] || marked[5] || marked[7] {
		t.Errorf("marked: %v, want the second shock (6) and the second dose (8)", marked)
	}
	for _, f := range Formats {
		if f.Name == "fhir" || f.Name == "utstein" { // they hold what counts, and nothing else
			continue
		}
		var out bytes.Buffer
		if err := f.Write(r, &out); err != nil {
			t.Fatal(err)
		}
		if n := strings.Count(out.String(), "told twice, counts once"); n != 2 {
			t.Errorf("%s marks %d rows, want 2", f.Name, n)
		}
	}
}
