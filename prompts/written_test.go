package prompts

import (
	"testing"

	"coxswain/timeline"
)

// A screen shows figures and symbols, and names the thing where the sentence would be an order
// before its time; every entry of the list is of a cue that there is.
func TestWritten(t *testing.T) {
	v, err := NewVoice("")
	if err != nil {
		t.Fatal(err)
	}
	european, err := v.In("european")
	if err != nil {
		t.Fatal(err)
	}
	with := func(id, slot string, x float64) timeline.Cue {
		return timeline.Cue{ID: id, Values: map[string]float64{slot: x}}
	}
	ready := with("next.defibrillation", "energy_j", 200)
	ready.Parts = []timeline.Cue{{ID: "next.charging"}}
	for _, c := range []struct {
		voice *Voice
		cue   timeline.Cue
		want  string
	}{
		{v, timeline.Cue{ID: "cycle.end"}, "Rhythm check"},
		{v, with("epinephrine.first", "dose_mg", 1), "Consider epinephrine 1 mg"},
		{v, with("epinephrine.first", "dose_mg", 0.18), "Consider epinephrine 0.18 mg"},
		{v, with("epinephrine.overdue", "minutes", 6), "Epinephrine"},
		{european, with("epinephrine.overdue", "minutes", 6), "Adrenaline"},
		{v, ready, "Shock 200 J. Compress until it is ready"},
		{v, timeline.Cue{ID: "next.defibrillation"}, "The shock"},
		{v, timeline.Cue{ID: "next.epinephrine.now"}, "Epinephrine"},
		{v, timeline.Cue{ID: "peri.procainamide", Values: map[string]float64{"dose_mg": 1000, "minutes": 30}},
			"Consider procainamide 1000 mg over 30 min"},
		{v, with("next.press.now", "rate", 60), "Compress, if below 60 and poorly perfused"},
	} {
		if got := c.voice.Written(c.cue); got != c.want {
			t.Errorf("%s is written %q, want %q", c.cue.ID, got, c.want)
		}
	}
	if got := v.Sentence(ready); got != "Next, shock two hundred joules Compress until it is ready." {
		t.Errorf("it is said as %q", got)
	}
	for id := range v.written {
		if v.cues[id] == "" {
			t.Errorf("%s is written, and never said", id)
		}
	}
}
