package acoustic

import (
	"fmt"
	"testing"

	"coxswain/intents"
)

// Phrases of a callout that begin alike are one search: each ends in states of its own, and
// those with numbers are together less than half the states.
func TestPhrasesShareTheirNumbers(t *testing.T) {
	v, err := intents.LoadVocabulary()
	if err != nil {
		t.Fatal(err)
	}
	g, err := newGraph(v, nil)
	if err != nil {
		t.Fatal(err)
	}
	ends, together := map[int]bool{}, 0
	for _, s := range g.searches {
		numbers := false
		for i := s.lo; i < s.hi; i++ {
			if g.states[i].final {
				ends[int(g.states[i].ends)] = true
				numbers = g.phrases[g.states[i].ends].HasSlot()
			}
		}
		if numbers {
			together += int(s.hi - s.lo)
		}
	}
	apart := 0
	for k, p := range g.phrases {
		if !ends[k] {
			t.Errorf("no search ends with %q", p.Text)
		}
		if sp := g.span(k); p.HasSlot() {
			apart += int(sp.hi - sp.lo)
		}
	}
	if 2*together > apart {
		t.Errorf("%d states together, %d apart", together, apart)
	}
}

// What a team says went in, is on, or was wrong, however it puts it.
func TestOtherWaysToSayIt(t *testing.T) {
	for text, want := range map[string]string{
		"shock's in.":                                  "shock.given map[]",
		"line's in.":                                   "access.iv map[]",
		"pads are on.":                                 "intervention.monitor map[]",
		"he has a pulse.":                              "pulse.present map[]",
		"one milligram of adrenaline is in.":           "drug.epinephrine map[dose_mg:1]",
		"we gave calcium.":                             "drug.calcium map[]",
		"bicarb fifty milliequivalents given.":         "drug.bicarbonate map[dose_meq:50]",
		"correction, lidocaine one hundred milligrams": "correct.drug.lidocaine map[dose_mg:100]",
	} {
		var got string
		for _, r := range hear(t, nil, speak(t, text), 1600) {
			got += fmt.Sprintf("%s %v", r.Callout, r.Values)
		}
		if got != want {
			t.Errorf("%q: heard %q, want %q", text, got, want)
		}
	}
}
