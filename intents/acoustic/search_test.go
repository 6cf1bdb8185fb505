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
	type said struct {
		callout *intents.Callout
		text    string
	}
	ends, together := map[said]bool{}, 0
	for _, s := range g.searches {
		numbers := false
		for i := s.lo; i < s.hi; i++ {
			if g.states[i].final() {
				p := g.phrases[g.states[i].ends]
				ends[said{p.Callout, p.Text}], numbers = true, p.HasSlot()
			}
		}
		if numbers {
			together += int(s.hi - s.lo)
		}
	}
	apart := 0
	for k, p := range g.phrases {
		if !ends[said{p.Callout, p.Text}] {
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
		"i v line's in.":                               "access.iv map[]",
		"pads are on.":                                 "intervention.monitor map[]",
		"he has a pulse.":                              "pulse.present map[]",
		"one milligram of adrenaline is in.":           "drug.epinephrine map[dose_mg:1]",
		"we've given calcium.":                         "drug.calcium map[]",
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

// Speech that begins or ends like a callout is none: an infusion that is started is no dose given, the
// other sign that is back no pulse; "stop" behind a courtesy is not "restart".
func TestSpeechLikeACallout(t *testing.T) {
	for _, voice := range []string{"slt", "awb", "kal16"} {
		for _, text := range []string{"epinephrine in one minute.", "epinephrine infusion started.", "amiodarone infusion.",
			"pulse ox is back.", "everybody off the bed please.", "we're clear on the plan.", "we have a line of visitors."} {
			if got := hear(t, nil, speakAs(t, voice, text), 1600); len(got) != 0 {
				t.Errorf("%s: %q: heard %+v", voice, text, got)
			}
		}
		got := hear(t, nil, speakAs(t, voice, "epinephrine fifteen milligrams given. pulseless electrical activity."), 1600)
		if len(got) != 2 || got[0].Values["dose_mg"] != 15 || got[1].Callout != "rhythm.pea" {
			t.Errorf("%s: heard %+v", voice, got)
		}
	}
}
