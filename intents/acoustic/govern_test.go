package acoustic

import (
	"slices"
	"testing"

	"coxswain/intents"
)

// What forbids is heard as well as what it forbids, and is about it: "no" denies the noun behind it,
// and a compliment before a callout has no question in it.
func TestWhatForbidsIsAboutTheCallout(t *testing.T) {
	for _, c := range [][2]string{
		{"oh no, we lost the pulse", "pulse.lost"},
		{"sorry, there's no pulse", "pulse.absent"},
		{"okay, no pulse", "pulse.absent"},
		{"alright, the adrenaline is in", "drug.epinephrine"},
		{"now we have an organized rhythm", "rhythm.organised"},
		{"okay amiodarone is in now", "drug.amiodarone"},
		{"no shock delivered", ""},
		{"no magnesium given", ""},
	} {
		got := ""
		for _, r := range hear(t, nil, speak(t, c[0]), 1600) {
			if got += r.Callout; len(r.Values) > 0 {
				t.Errorf("%q: a number: %v", c[0], r.Values)
			}
		}
		if got != c[1] {
			t.Errorf("%q: heard %q, want %q", c[0], got, c[1])
		}
	}
}

// What is left of a "don't" right before a verb keeps compressions going.
func TestDontPause(t *testing.T) {
	for _, voice := range []string{"slt", "kal16", "awb"} {
		for _, r := range hear(t, nil, speakAs(t, voice, "don't pause compressions"), 1600) {
			t.Errorf("%s: heard %+v", voice, r)
		}
	}
}

// Where the nets cannot hear the little word that turns a callout round, it is asked about and not
// taken; a dose that is said is not lost to the callout without it.
func TestLittleWords(t *testing.T) {
	got := hear(t, nil, speak(t, "we had a pulse. epi given in the ambulance. v fib or v tach. correction epinephrine one milligram."), 1600)
	got = slices.DeleteFunc(got, func(r intents.Result) bool { return r.When == "in the ambulance" }) // it is asked when
	if len(got) != 1 || got[0].Callout != "correct.drug.epinephrine" || got[0].Values["dose_mg"] != 1 {
		t.Errorf("heard %+v", got)
	}
}
