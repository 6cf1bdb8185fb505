package figures

import (
	"testing"

	"coxswain/timeline"
)

// A total in milligrams is said only of doses whose amount was called; grams count as
// milligrams, and what was called in another unit, or without an amount, is no nought.
func TestDrugTotals(t *testing.T) {
	given := func(seconds float64, kind timeline.Kind, values map[string]float64) timeline.Event {
		return timeline.Event{At: timeline.Seconds(seconds), Kind: kind, Values: values}
	}
	events := []timeline.Event{
		{Kind: timeline.SessionOpen, Session: &timeline.Session{Wall: "2026-03-01T14:00:00Z", Rate: timeline.Rate}},
		given(1, timeline.CodeStart, nil),
		given(30, "drug.epinephrine", map[string]float64{"dose_mg": 1}),
		given(60, "drug.calcium", map[string]float64{"dose_g": 1}),
		given(90, "drug.bicarbonate", map[string]float64{"dose_meq": 50}),
		given(120, "drug.amiodarone", map[string]float64{"dose_mg": 300}),
		given(180, "drug.amiodarone", nil),
	}
	for k := range events {
		events[k].Seq = uint64(k + 1)
	}
	want := map[string]string{"epinephrine": "1 mg", "calcium": "1000 mg", "bicarbonate": "amount in mg not called",
		"amiodarone": "300 mg and 1 without an amount in mg"}
	got := Lay(events, timeline.Seconds(240)).DrugTotals()
	for _, d := range got {
		if d.Amount() != want[d.Drug] {
			t.Errorf("%s: %s, want %s", d.Drug, d.Amount(), want[d.Drug])
		}
	}
	if len(got) != len(want) {
		t.Errorf("%d drugs, want %d", len(got), len(want))
	}
	if words := events[3].Words(); words != "calcium, 1 g" {
		t.Errorf("it says %q", words)
	}
}
