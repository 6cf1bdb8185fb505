package acoustic

import (
	"slices"
	"strings"
	"testing"

	"coxswain/intents"
)

// What goes on is no callout, though it begins as one, and neither is an order, what was, or what
// may be; the last ones are callouts.
func TestWhatGoesOn(t *testing.T) {
	for _, text := range []string{"cancel that epinephrine order.", "strike that from the list of drugs.", "she is not pregnant.",
		"give one milligram of epinephrine now.", "amiodarone is due.", "slow down the compressions.", "we need i v access.",
		"nobody is clear.", "e c m o is on its way.", "e c m o is coming.", "we lost the i v pole.",
		"cancel the charge nurse."} {
		if got := hear(t, nil, speak(t, text), 1600); len(got) != 0 {
			t.Errorf("%q: heard %+v", text, got)
		}
	}
	done := "cancel that. gave one milligram of epinephrine. amiodarone is in. stop compressions please. we have i v access."
	if got := hear(t, nil, speak(t, done), 1600); len(got) != 5 {
		t.Errorf("%q: heard %+v", done, got)
	}
}

// What goes on right behind a callout turns its meaning: where a thing is, with what a pulse is felt,
// when something will be done. The second of each goes on with a courtesy or another callout.
func TestTurnedFromBehind(t *testing.T) {
	for _, c := range []struct{ turned, said, want string }{
		{"the tube is in the esophagus. i v is in the way.", "the tube is in, resume compressions.", "airway.secured compressions.start"},
		{"there is a pulse only with compressions.", "there is a pulse.", "pulse.present"},
		{"oxygen off. it was asystole. she says shock delivered.", "oxygen on. it is asystole. second shock delivered.",
			"intervention.oxygen rhythm.asystole shock.given"},
		{"have we given amiodarone. no pulse ox.", "we've given amiodarone. no pulse.", "drug.amiodarone pulse.absent"},
	} {
		if got := hear(t, nil, speak(t, c.turned), 1600); len(got) != 0 {
			t.Errorf("%q: heard %+v", c.turned, got)
		}
		var ids []string
		for _, r := range hear(t, nil, speak(t, c.said), 1600) {
			ids = append(ids, r.Callout)
		}
		if got := strings.Join(ids, " "); got != c.want {
			t.Errorf("%q: heard %q, want %q", c.said, got, c.want)
		}
	}
}

// What is lost again is heard: what stood before it would stand for the rest of the code.
func TestWhatIsLost(t *testing.T) {
	pcm := speak(t, "the tube is out. we lost i v access. cancel the charge. patient is not breathing. is the patient breathing.")
	got := hear(t, nil, pcm, 1600)
	want := []string{"airway.lost", "access.lost", "shock.dumped", "breathing.absent"}
	if len(got) != len(want) {
		t.Fatalf("heard %+v", got)
	}
	for i, r := range got {
		if r.Callout != want[i] {
			t.Errorf("heard %s, want %s", r.Callout, want[i])
		}
	}
}

// A "yes" that a sentence goes on from answers nothing: a code was closed by "yes he has a good pulse".
func TestYesThatGoesOn(t *testing.T) {
	for text, want := range map[string]int{"yes he has a good pulse. yes that is what he said. yes but wait.": 0, "yes. yes please.": 2} {
		for _, voice := range []string{"slt", "awb"} {
			r := listener(t, nil)
			r.(intents.Candid).LeaveOpen()
			got, err := r.Hear(speakAs(t, voice, text))
			if err != nil {
				t.Fatal(err)
			}
			n := 0
			for _, x := range got {
				if x.Callout == "confirm" && x.Forbidden == "" && x.Confidence >= x.Need {
					n++
				}
			}
			if n != want {
				t.Errorf("%s: %q: %d times a yes, want %d: %+v", voice, text, n, want, got)
			}
		}
	}
}

// Of two callouts in one breath neither loses the other by the sound that it has in common with a word that
// forbids: "is in and" is like "isn't in" and "a hundred".
func TestTwoInOneBreath(t *testing.T) {
	for _, c := range [][2]string{
		{"slt", "epi is in and the tube is in."},
		{"awb", "amiodarone is in and resume compressions."},
		{"kal16", "the tube is in and the i v is in."},
	} {
		r := listener(t, nil)
		r.(intents.Candid).LeaveOpen()
		got, err := r.Hear(speakAs(t, c[0], c[1]))
		got = slices.DeleteFunc(got, func(r intents.Result) bool { return r.Answer || r.Confidence < 0.5 || r.Forbidden != "" })
		if err != nil || len(got) != 2 || len(got[0].Values)+len(got[1].Values) > 0 {
			t.Errorf("%s: %q: heard %+v, %v", c[0], c[1], got, err)
		}
	}
	for _, said := range []string{"is tamponade ruled out.", "could that be asystole.", "epi isn't in and the tube isn't in.",
		"when the epi is in check the rhythm."} {
		for _, voice := range []string{"kal16", "awb"} {
			for _, r := range hear(t, nil, speakAs(t, voice, said), 1600) {
				t.Errorf("%s: %q: heard %+v", voice, said, r)
			}
		}
	}
}
