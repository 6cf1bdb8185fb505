package figures

import (
	"strings"
	"testing"
)

// Who was treated before arrival was in arrest before the record began: nothing that counts
// from the start of the arrest is known (Utstein in-hospital template, Nolan, Resuscitation
// 2019;144:166, and from memory: t0 is the recognition of the arrest), and the figure says why.
// The interval from a dose that nobody dated is not known either; what is counted here is.
func TestTreatedBeforeArrival(t *testing.T) {
	events := script(0, "code.start", 2, "compressions.start", 6, "before.shock", 9, "before.epinephrine", 20, "rhythm.vf",
		24, "shock.given", 26, "compressions.start", 60, "drug.epinephrine", 300, "drug.epinephrine", 400, "rosc")
	events[3].Values = map[string]float64{"shocks": 2}
	for _, id := range []string{"first_compression", "first_shock", "first_epinephrine", "return_of_circulation"} {
		if f := figure(t, events, 420, id); f.Known || !strings.Contains(f.Why, "before") || f.Met != "" {
			t.Errorf("%s: known %v, %q", id, f.Known, f.Why)
		}
	}
	if f := figure(t, events, 420, "epinephrine_interval"); f.Value != 240 {
		t.Errorf("interval %v s, want the 240 from the first dose here", f.Value)
	}
	if f := figure(t, events, 420, "shocks"); f.Value != 1 {
		t.Errorf("%v shocks, want the one given here", f.Value)
	}
	total := Lay(events, 420*48000).DrugTotals()[0]
	if total.Doses != 3 || total.Before != 1 || !strings.Contains(total.Amount(), "1 of them before the start") {
		t.Errorf("%+v, %s", total, total.Amount())
	}
}
