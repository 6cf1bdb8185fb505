package intents

import (
	"math"
	"testing"
)

// What is written by hand is held to what can be said: callouts, slots, bounds.
func TestHold(t *testing.T) {
	v := builtin(t)
	for _, c := range []struct {
		id, slot string
		x        float64
		ok       bool
	}{
		{"shock.given", "energy_j", 200, true},
		{"shock.given", "energy_j", 999999, false},
		{"shock.given", "energy_j", 0, false},
		{"shock.given", "energy_j", 150.5, false},
		{"shock.given", "energy_j", math.NaN(), false},
		{"shock.given", "dose_mg", 1, false},
		{"drug.epinephrine", "dose_mg", 1, true},
		{"drug.epinephrine", "dose_mg", 20.5, false}, // its own bound, below every drug's
		{"drug.foo", "dose_mg", 1, false},
		{"rhythm.vf", "energy_j", 1, false},
		{"measured.ph", "ph", 7.1, true},
		{"session.close", "ph", 7.1, false},
	} {
		if err := v.Hold(c.id, map[string]float64{c.slot: c.x}); (err == nil) != c.ok {
			t.Errorf("%s %s=%v: %v", c.id, c.slot, c.x, err)
		}
	}
	for id, ok := range map[string]bool{"access.io": true, "shock.given": true, "measured.ph": false, "patient.weight": false} {
		if err := v.Hold(id, nil); (err == nil) != ok {
			t.Errorf("%s without a number: %v", id, err)
		}
	}
	if err := v.Hold("measured.pressure", map[string]float64{"systolic_mmhg": 90}); err == nil {
		t.Error("half a pressure is taken")
	}
}
