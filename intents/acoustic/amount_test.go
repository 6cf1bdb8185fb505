package acoustic

import (
	"slices"
	"testing"

	"coxswain/intents"
)

// An amount behind the verb is kept, in one breath or as an answer behind a pause; what else is counted there
// is none.
func TestAmountBehindTheVerb(t *testing.T) {
	for _, c := range []struct {
		voice, said, callout string
		amount               float64
	}{
		{"rms", "amiodarone given, three hundred", "drug.amiodarone", 300},
		{"awb", "amiodarone is in, one fifty", "drug.amiodarone", 150},
		{"awb", "epi given, one milligram", "drug.epinephrine", 1},
		{"slt", "lidocaine given, one hundred milligrams", "drug.lidocaine", 100},
		{"awb", "amiodarone three hundred in", "drug.amiodarone", 300},
		{"rms", "amiodarone given, one shock so far", "drug.amiodarone", 0},
		{"kal16", "epi given, two minutes to go", "drug.epinephrine", 0},
		{"rms", "three hundred milligrams of amiodarone given", "drug.amiodarone", 300},
		{"rms", "amiodarone given. three hundred milligrams", "drug.amiodarone", 300},
	} {
		r := listener(t, nil)
		r.(intents.Candid).LeaveOpen()
		got, err := r.Hear(speakAs(t, c.voice, c.said))
		got = slices.DeleteFunc(got, func(r intents.Result) bool {
			return r.Confidence < r.Need || r.Forbidden != "" || r.Answer && r.Callout != "correct.drug.dose"
		})
		amount := 0.
		for _, r := range got {
			amount += r.Values["dose_mg"]
		}
		if err != nil || len(got) == 0 || got[0].Callout != c.callout || amount != c.amount {
			t.Errorf("%s: %q: heard %+v, %v", c.voice, c.said, got, err)
		}
	}
}

// A number that grows is waited for, and none is taken out of a longer callout.
func TestNumbersAreHeardWhole(t *testing.T) {
	r := listener(t, nil)
	r.(intents.Candid).LeaveOpen()
	got, err := r.Hear(speak(t, "charging to three hundred sixty. shock delivered at two hundred joules, resume compressions. "+
		"fifteen milligrams of amiodarone given."))
	if err != nil {
		t.Fatal(err)
	}
	var values []float64
	for _, r := range got {
		if !r.Answer && r.Confidence >= r.Need && len(r.Values) > 0 {
			values = append(values, r.Values["energy_j"]+r.Values["dose_mg"])
		}
	}
	if !slices.Equal(values, []float64{360, 200, 15}) {
		t.Errorf("heard %v in %+v", values, got)
	}
}
