package figures

import (
	"testing"

	"coxswain/timeline"
)

// While E C M O runs hands off is no pause, and no time of the arrest without flow (ELSO interim guideline
// for ECPR in adults, 2021, from memory: compressions until flow is established).
func TestNoPauseOnECMO(t *testing.T) {
	at := func(s float64, k timeline.Kind) timeline.Event {
		return timeline.Event{At: timeline.Seconds(s), Kind: k}
	}
	events := []timeline.Event{
		at(0, timeline.CompressionsStart), at(60, timeline.CompressionsStop), at(70, timeline.CompressionsStart),
		at(98, "intervention.ecmo"), {At: timeline.Seconds(98), Kind: timeline.Question, Cue: "question.ecmo"},
		at(100, timeline.Confirm), at(110, timeline.CompressionsStop), at(400, timeline.CompressionsStart),
		at(420, timeline.CompressionsStop),
	}
	for i := range events {
		events[i].Seq = uint64(i + 1)
	}
	c := Lay(events, timeline.Seconds(430))
	want := []Stretch{{timeline.Seconds(60), timeline.Seconds(70), "hands off"}, {timeline.Seconds(420), timeline.Seconds(430), "hands off"}}
	if len(c.Pauses) != 2 || c.Pauses[0] != want[0] || c.Pauses[1] != want[1] {
		t.Errorf("pauses %v, want %v", c.Pauses, want)
	}
	if got := total(c.Arrest); got != 110+30 {
		t.Errorf("%v s of arrest, want 140", got)
	}
}
