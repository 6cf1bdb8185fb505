package timeline

import (
	"strings"
	"testing"
)

// Energies by weight are told as a defibrillator can be set to them, doses by an estimated
// weight as they can be drawn up; a called weight keeps its digits, and no rounding passes a
// limit. AHA 2025 Part 8: 2 J/kg, then 4; with a pulse 0.5 to 1 J/kg; epinephrine 0.01 mg/kg
// of 0.1 mg/mL, magnesium 25 to 50 mg/kg (AHA ECC Handbook 2015), amiodarone 5 mg/kg, at most 300 mg.
func TestWhatCanBeSetAndDrawnUp(t *testing.T) {
	p, err := LoadProtocol("aha-2025")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		months, kg float64
		what       string
		want       float64
	}{
		{3, 0, "shock 1", 10}, {3, 0, "shock 2", 20}, {3, 0, "sync SVT 1", 6}, // 5.5 kg: 11, 22, 5.5 J
		{0, 5.5, "shock 1", 10}, {0, 21.5, "shock 1", 40}, {0, 60, "shock 2", 200}, // 43 J; 240 J is limited
		{3, 0, "epinephrine 1", 0.06}, {0, 5.5, "epinephrine 1", 0.055}, // 0.55 mL: six tenths
		{3, 0, "magnesium 1", 140}, {0, 5.5, "magnesium 1", 137.5}, {144, 0, "amiodarone 1", 215}, // 43 kg: 4.3 mL of 50 mg/mL
	} {
		s := newState()
		s.Patient, s.AgeMonths, s.WeightKg = "child", c.months, c.kg
		form := p.For(s)
		kg, _ := form.Weight(s)
		if got, _ := looked(form, c.what, kg); got != FormatNumber(c.want) {
			t.Errorf("%s at %v kg (%v months): %s, want %v", c.what, kg, c.months, got, c.want)
		}
	}
}

// Whatever is told by an estimated weight can be drawn up or set, and is at most a twelfth
// off from what the guideline gives, or a step of the smallest syringe.
func TestRoundingIsSmall(t *testing.T) {
	for _, p := range everyProtocol(t) {
		for months := 1.0; months < 156; months++ {
			s := newState()
			s.Patient, s.AgeMonths = "child", months
			rough := p.For(s)
			kg, _ := rough.Weight(s)
			exact := p.forms["child"]
			for drug, d := range rough.Drugs {
				got, ok := rough.Dose(drug, 0, kg)
				want, _ := exact.Dose(drug, 0, kg)
				off := max(want.Value/12, 0.0501*rough.concentration(drug))
				if diff := got.Value - want.Value; ok && (diff > off || diff < -off || d.Doses[0].Max > 0 && got.Value > d.Doses[0].Max) {
					t.Errorf("%s %s at %v kg: %v mg, exactly %v", p.ID, drug, kg, got.Value, want.Value)
				}
			}
		}
	}
}

// A site's energies for a synchronised shock are held to what guidelines begin with, and its
// steps and syringes to numbers that rise and a source: one line, with file and line.
func TestOverlaysOfEnergiesAreHeld(t *testing.T) {
	for text, want := range map[string]string{
		`sync: {SVT: [{fixed: 360, source: ours}]}`:                                        "above 200 J",
		`sync: {VT: [{fixed: 20, source: ours}]}`:                                          "below 50 J",
		`sync: {AF: [{fixed: 200, source: ours}, {fixed: 120, source: ours}]}`:             "less than the one before",
		`energy_steps: {joules: [10, 5], source: ours}`:                                    "rise",
		`energy_steps: {joules: [5, 10]}`:                                                  "no source",
		`draw_up: [{step_ml: 0, source: ours}]`:                                            "above 0",
		`sync: {AF: [{fixed: 360, source: ours}]}`:                                         "",
		`sync: {SVT: [{fixed: 120, source: ours}, {fixed: 200, source: ours}]}`:            "",
		`energy_steps: {joules: [2, 5, 10, 20, 50, 100, 200], source: ours, status: seen}`: "",
	} {
		_, err := LoadProtocol("aha-2025", Source{"ours.yaml", []byte(text)})
		if (err == nil) != (want == "") ||
			err != nil && (!strings.Contains(err.Error(), want) || !strings.HasPrefix(err.Error(), "ours.yaml:1:")) {
			t.Errorf("%s: %v, want %q", text, err, want)
		}
	}
}
