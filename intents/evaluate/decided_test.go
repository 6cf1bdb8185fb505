package evaluate

import (
	"testing"

	"coxswain/intents"
	"coxswain/intents/decide"
)

// A measurement decides as a session does: by the case so far, and what is asked about is
// not called.
func TestDecided(t *testing.T) {
	v, err := intents.LoadVocabulary()
	if err != nil {
		t.Fatal(err)
	}
	rules, err := decide.Load()
	if err != nil {
		t.Fatal(err)
	}
	open := func(id string, sure float64, second int64) intents.Result {
		return intents.Result{Callout: id, Text: id, Confidence: sure, Open: true, Decided: second * intents.Rate}
	}
	ear := intents.Inline{Recogniser: &intents.Scripted{Results: []intents.Result{
		open("code.start", .9, 1), open("shock.given", .45, 2), open("shock.clear", .9, 30), open("shock.given", .45, 40),
	}}}
	facts := func(called []intents.Result, _ int64) decide.Facts {
		f := decide.Facts{"running": len(called) > 0}
		for _, x := range called {
			f["clear"] = f["clear"] || x.Callout == "shock.clear"
		}
		return f
	}
	d, err := Decided(func() (intents.Ear, error) { return ear, nil }, v, rules, facts)()
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for range 50 {
		results, _ := d.Hear(make([]int16, intents.Rate))
		for _, x := range results {
			name := x.Callout
			if x.Open {
				name += "?"
			}
			got = append(got, name)
		}
	}
	want := []string{"code.start", "shock.given?", "shock.clear", "shock.given"}
	if len(got) != len(want) {
		t.Fatalf("%q, want %q", got, want)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("%q, want %q", got, want)
		}
	}
	// A question is no event: an utterance that was asked about was missed.
	tally := &tally{}
	tally.compare([]said{{callout: "shock.given", start: 1, end: 2}},
		[]Heard{{Callout: "shock.given", StartS: 1, EndS: 2, Asked: true}}, t.Output())
	if tally.missed != 1 || tally.asked != 1 || tally.invented+tally.standing != 0 {
		t.Errorf("asked about: %+v", tally)
	}
}
