package decide

import (
	"testing"

	"coxswain/intents"
)

// A word that is an answer is called where a sentence of ours asks for it, asked about where the case makes
// it likely, and nothing elsewhere: a yes and a no never are.
func TestBareAnswers(t *testing.T) {
	r := rules(t)
	for _, c := range []struct {
		callout, facts string
		verdict        Verdict
	}{
		{"shock.given", "running arrest shock.given", Accept}, // "was there a shock?"
		{"shock.given", "running arrest", Ask},
		{"shock.given", "running pulse", Ignore},
		{"shock.stacked", "running arrest shock.stacked", Accept},
		{"shock.stacked", "running arrest", Ignore},
		{"patient.stable", "pulse patient.stable", Accept},
		{"patient.unstable", "pulse", Ask},
		{"patient.stable", "running arrest", Ignore},
		{"patient.stable", "", Ignore},
		{"confirm", "running arrest", Ignore},
		{"refuse", "running arrest", Ignore},
		{"confirm", "running arrest asked", Accept},
	} {
		x := intents.Result{Callout: c.callout, Answer: true, Confidence: 0.95, Open: true, Start: 100, End: 200, Decided: 300}
		if d := r.Decide(x, 0.6, View{Facts: facts(c.facts)}); d.Verdict != c.verdict {
			t.Errorf("%s where %q: %+v, want %v", c.callout, c.facts, d, c.verdict)
		}
		if x.Open = false; settling(x) { // typed: answered with "nothing to confirm"
			continue
		}
		if d := r.Decide(x, 0.6, View{Facts: facts(c.facts)}); d.Verdict != c.verdict {
			t.Errorf("%s, decided by the ear, where %q: %+v, want %v", c.callout, c.facts, d, c.verdict)
		}
	}
	unsure := intents.Result{Callout: "shock.given", Answer: true, Confidence: 0.43, Open: true, Start: 100, End: 200, Decided: 300}
	for _, f := range []string{"running arrest", "running arrest clear", "running arrest clear charged"} {
		if d := r.Decide(unsure, 0.6, View{Facts: facts(f)}); d.Verdict != Ignore {
			t.Errorf("%s: what may be the beginning of a callout is asked about: %+v", f, d)
		}
	}
	stable := intents.Rival{Callout: "patient.unstable", Text: "unstable", Confidence: 0.9}
	x := intents.Result{Callout: "patient.stable", Text: "stable", Answer: true, Confidence: 0.9, Open: true, Decided: 300,
		Rivals: []intents.Rival{stable}}
	if d := r.Decide(x, 0.6, View{Facts: facts("pulse patient.stable")}); d.Verdict != Ask || d.Which != "stable" {
		t.Errorf("stable that may be unstable: %+v", d)
	}
}
