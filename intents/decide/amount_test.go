package decide

import (
	"testing"

	"coxswain/intents"
)

// An amount alone is that of the drug that was called without one right before; else it is nothing.
func TestAmountBehindADrug(t *testing.T) {
	r := rules(t)
	at := func(callout string, from float64, values map[string]float64) intents.Result {
		return intents.Result{Callout: callout, Text: callout, Values: values, Confidence: 0.9, Open: true,
			Start: int64(from * intents.Rate), End: int64((from + 1) * intents.Rate), Decided: int64((from + 1.5) * intents.Rate)}
	}
	unsure := at("drug.amiodarone", 1, nil)
	unsure.Need = 1
	for _, c := range []struct {
		name    string
		before  intents.Result
		from    float64
		verdict Verdict
	}{
		{"right behind", at("drug.amiodarone", 1, nil), 2.9, Accept},
		{"much later", at("drug.amiodarone", 1, nil), 4, Ignore},
		{"behind a drug with its amount", at("drug.amiodarone", 1, map[string]float64{"dose_mg": 150}), 2.9, Ignore},
		{"behind no drug", at("shock.given", 1, nil), 2.9, Ignore},
		{"behind a drug that is asked about", unsure, 2.9, Ignore},
		{"behind nothing", intents.Result{Callout: "rhythm.check", Open: true}, 2.9, Ignore},
	} {
		var m Memory
		m.Hear(r, c.before, 0.6, facts("running arrest"))
		x := at("correct.drug.dose", c.from, map[string]float64{"dose_mg": 300})
		x.Answer = true
		if d := m.Hear(r, x, 0.6, facts("running arrest")); d.Verdict != c.verdict {
			t.Errorf("%s: %+v, want %v", c.name, d, c.verdict)
		}
	}
}
