package intents

import (
	"math"
	"strings"
	"testing"
)

// Every phrase of the vocabulary can be typed, with its numbers in figures or
// in words; what is none is refused with what comes near.
// An amount alone is no callout where it is typed: nothing tells what it is of.
func TestTypedAmountAlone(t *testing.T) {
	typed, err := NewTyped(builtin(t))
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range []string{"300", "300 milligrams", "one milligram"} {
		if r, err := typed.Read(line); err == nil {
			t.Errorf("%q is read as %+v", line, r)
		}
	}
}

func TestTyped(t *testing.T) {
	v := builtin(t)
	typed, err := NewTyped(v)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		line, callout, slot string
		value               float64
	}{
		{"Shock delivered.", "shock.given", "", 0},
		{"shock delivered 200 joules", "shock.given", "energy_j", 200},
		{"shock delivered two hundred joules", "shock.given", "energy_j", 200},
		{"weight 37.5 kilos", "patient.weight", "weight_kg", 37.5},
		{"epinephrine 0.2 milligrams given", "drug.epinephrine", "dose_mg", 0.2},
		{"naloxone 400 micrograms given", "drug.naloxone", "dose_mg", 0.4},
		{"epinephrine fifty micrograms given", "drug.epinephrine", "dose_mg", 0.05},
		{"end tidal is 2.5 kilopascals", "measured.etco2", "endtidal_mmhg", 19},
		{"we have a pulse", "pulse.present", "", 0},
		{"no pulse felt", "pulse.absent", "", 0},
		{"potassium 7.1", "measured.potassium", "potassium_mmol", 7.1},
		{"sats eighty two", "measured.saturation", "saturation_pct", 82},
		{"4 years old", "patient.age", "age_y", 4},
		{"yes", "confirm", "", 0}, // to "Confirmation, please."
		{"Undo it", "undo", "", 0},
	} {
		r, err := typed.Read(c.line)
		if err != nil || r.Callout != c.callout || math.Abs(r.Values[c.slot]-c.value) > 1e-9 {
			t.Errorf("%q: %+v, %v", c.line, r, err)
		}
	}
	for line, want := range map[string]string{
		"shock deliverd":                 `did you mean`,
		"xyzzy":                          "see coxswain callouts",
		"one three":                      "no callout", // an answer to what sounds alike
		"":                               "no callout",
		"shock delivered 2000000 joules": "2e+06 joules is not between",
		"weight NaN kilos":               "NaN kilograms is not between",
		"naloxone 5 micrograms given":    "0.005 milligrams is not between 0.01 and 40",
	} {
		if _, err := typed.Read(line); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", line, err)
		}
	}
	phrases, _ := v.Compile()
	for _, p := range phrases {
		if p.Talk() || p.HasSlot() {
			continue
		}
		if r, err := typed.Read(p.Text); err != nil {
			t.Errorf("%q: %v", p.Text, err)
		} else if r.Callout != p.Callout.ID {
			t.Errorf("%q is read as %s, want %s", p.Text, r.Callout, p.Callout.ID)
		}
	}
}

// Whatever is typed, it is read or refused.
func FuzzTyped(f *testing.F) {
	v := builtin(f)
	typed, err := NewTyped(v)
	if err != nil {
		f.Fatal(err)
	}
	f.Add("shock delivered 2e308 joules")
	f.Fuzz(func(t *testing.T, line string) {
		if r, err := typed.Read(line); err == nil && r.Callout == "" {
			t.Errorf("%q is read as nothing", line)
		}
	})
}
