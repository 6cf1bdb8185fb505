package acoustic

import (
	"testing"

	"coxswain/intents"
)

// Another form of a callout's words is heard as none, the callout's own form stays heard.
func TestInflectionsAreNoCallouts(t *testing.T) {
	pcm := speak(t, "who is starting compressions. they started compressions ten minutes ago. charge to two hundred.")
	if got := hear(t, nil, pcm, 1600); len(got) != 0 {
		t.Errorf("heard %+v", got)
	}
	got := hear(t, nil, speak(t, "starting compressions. charging to two hundred. epinephrine ten milligrams given."), 1600)
	if len(got) != 3 || got[0].Callout != "compressions.start" || got[1].Values["energy_j"] != 200 ||
		got[2].Values["dose_mg"] != 10 {
		t.Errorf("heard %+v", got)
	}
}

// Another form of a callout's words has a word more, and must not win by the frames of the
// courtesy before the callout: "they resumed compressions" over "okay, resume compressions".
func TestCourtesyIsNoOtherForm(t *testing.T) {
	for _, voice := range []string{"kal16", "rms", "awb"} {
		got := hear(t, nil, speakAs(t, voice, "okay, resume compressions. okay, resume compressions please. okay, stop compressions."), 1600)
		var ids string
		for _, r := range got {
			ids += " " + r.Callout
		}
		if ids != " compressions.start compressions.start compressions.stop" {
			t.Errorf("%s: heard%s", voice, ids)
		}
	}
}

// A courtesy behind a callout is no number of it, and a callout is heard once.
func TestCourtesyBehindACallout(t *testing.T) {
	got := hear(t, nil, speakAs(t, "rms", "shock delivered, thank you. everybody clear please."), 1600)
	if len(got) != 2 || got[0].Callout != "shock.given" || len(got[0].Values) != 0 || got[1].Callout != "shock.clear" {
		t.Errorf("heard %+v", got)
	}
}

// What was not done is never taken as done: denied within and after a callout's words, asked,
// conditional. The last ones are callouts with the same little words.
func TestWhatWasNotDone(t *testing.T) {
	for _, text := range []string{"i v is not in.", "the shock wasn't delivered.", "this isn't v fib.",
		"if the i o is in give the epi.", "when was the shock given.", "they stopped compressions."} {
		if got := hear(t, nil, speakAs(t, "rms", text), 1600); len(got) != 0 {
			t.Errorf("%q: heard %+v", text, got)
		}
	}
	denied := "the shock wasn't delivered. amiodarone wasn't given. amiodarone isn't given. we haven't lost the pulse."
	for _, voice := range []string{"slt", "rms", "awb", "kal16"} { // "was" and "wasn't" are not told apart: either is asked about
		if got := hear(t, nil, speakAs(t, voice, denied), 1600); len(got) != 0 {
			t.Errorf("%s: %q: heard %+v", voice, denied, got)
		}
	}
	done := "i v is in. shock has been delivered. we've lost the pulse. epi has been given. we have a pulse. rhythm is asystole."
	if got := hear(t, nil, speakAs(t, "rms", done), 1600); len(got) != 6 {
		t.Errorf("%q: heard %+v", done, got)
	}
}

// "No" is said like "now" by some, and what a "now" begins is asked about unless it is clear.
func TestNoIsNotNow(t *testing.T) {
	for _, text := range []string{"no magnesium given.", "they stopped compressions."} {
		if got := hear(t, nil, speak(t, text), 1600); len(got) != 0 {
			t.Errorf("%q: heard %+v", text, got)
		}
	}
	if !oneSoundApart([]string{"N", "AW"}, []string{"N", "OW"}) || oneSoundApart([]string{"S", "OW"}, []string{"N", "OW"}) {
		t.Error("one vowel makes words alike, a consonant does not")
	}
}

// "Isn't" is told from "is" where the nets tell them apart, and is not taken where they do not.
func TestIsNot(t *testing.T) {
	denied := "that isn't asystole. it isn't p e a. airway isn't secured. rhythm isn't v fib. everybody isn't clear. that isn't v fib."
	so := "that is asystole. it is p e a. rhythm is still v fib. everybody stand clear. airway secured. still in torsades."
	for _, voice := range []string{"slt", "rms", "kal16"} {
		for _, r := range hear(t, nil, speakAs(t, voice, denied), 1600) {
			t.Errorf("%s: %q: heard %+v", voice, denied, r)
		}
		if got := hear(t, nil, speakAs(t, voice, so), 1600); len(got) != 6 {
			t.Errorf("%s: %q: heard %d: %+v", voice, so, len(got), got)
		}
	}
}

// What is to be done in some minutes is not done, and a name is no question.
func TestNotYet(t *testing.T) {
	for _, voice := range []string{"slt", "awb"} {
		for _, r := range hear(t, nil, speakAs(t, voice, "switch compressors in two minutes. change compressors in one minute."), 1600) {
			t.Errorf("%s: heard %+v", voice, r)
		}
	}
	r := listener(t, nil)
	r.(intents.Candid).LeaveOpen()
	got, err := r.Hear(speakAs(t, "rms", "peter, hold compressions."))
	if err != nil || len(got) != 1 || got[0].Callout != "compressions.stop" || got[0].Forbidden != "" {
		t.Errorf("heard %+v, %v", got, err)
	}
}
