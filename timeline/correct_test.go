package timeline

import "testing"

// A number that is corrected without its unit is the last one that was called: a weight, a
// dose or a shock; with joules it is the shock's (closed loop: the sender puts right what was
// just read back; common practice, no source).
func TestBareCorrection(t *testing.T) {
	for _, c := range []struct {
		last   Kind
		values map[string]float64
		said   string
		kg, mg float64
		joules float64
	}{
		{PatientWeight, map[string]float64{"weight_kg": 20}, "correction ten", 10, 0, 100},
		{"drug.amiodarone", map[string]float64{"dose_mg": 100}, "correction ten", 0, 10, 100},
		{"drug.amiodarone", nil, "correction ten", 0, 10, 100},
		{PatientWeight, map[string]float64{"weight_kg": 20}, "correction ten joules", 20, 0, 10},
		{RhythmVF, nil, "correction ten", 0, 0, 10},
	} {
		on := stageOf(t, "aha-2025")
		on.call(0, CodeStart, nil)
		on.call(5, ShockGiven, map[string]float64{"energy_j": 100})
		on.call(30, c.last, c.values)
		on.step(Event{At: Seconds(34), Kind: CorrectEnergy, Values: map[string]float64{"energy_j": 10},
			Heard: &Heard{End: Seconds(34), Text: c.said}})
		s := on.m.State()
		if s.WeightKg != c.kg || s.Total("amiodarone") != c.mg || s.Shocks[0].Joules != c.joules {
			t.Errorf("%s, %s: %v kg, %v mg, %v J", c.last, c.said, s.WeightKg, s.Total("amiodarone"), s.Shocks[0].Joules)
		}
	}
}

// One that puts a weight right that is held back, for an adult's dose was given, is held back as
// that was (see whose.go).
func TestCorrectionIsHeldBack(t *testing.T) {
	on := stageOf(t, "aha-2025")
	for i, c := range []struct {
		e  Event
		kg float64
	}{
		{Event{Kind: CodeStart}, 0},
		{Event{Kind: "drug.epinephrine", Values: map[string]float64{"dose_mg": 1}}, 0},
		{Event{Kind: PatientWeight, Values: map[string]float64{"weight_kg": 16}}, 0},
		{Event{Kind: CorrectEnergy, Values: map[string]float64{"energy_j": 18}, Heard: &Heard{Text: "correction eighteen"}}, 0},
		{Event{Kind: Confirm}, 0},
		{Event{Kind: PatientChild}, 18},
	} {
		on.now = Seconds(float64(5 * i))
		c.e.At = on.now
		if on.step(c.e); on.m.State().WeightKg != c.kg {
			t.Errorf("%s: %v kg, want %v", c.e.Kind, on.m.State().WeightKg, c.kg)
		}
	}
}
