package timeline

import "testing"

// A reviewer who withdraws a misheard undo gets back what it took, and one who withdraws
// a correction or a move back what stood before it.
func TestWithdrawnUndo(t *testing.T) {
	p, err := LoadProtocol("aha-2025")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name   string
		kind   Kind
		values map[string]float64
		want   []Dose // after it was withdrawn
	}{
		{"undo", Undo, nil, []Dose{{At: Seconds(60), Mg: 1, Seq: 3}}},
		{"correction", "correct.drug.epinephrine", map[string]float64{"dose_mg": 10}, []Dose{{At: Seconds(60), Mg: 1, Seq: 3}}},
		{"move back", Backdate, map[string]float64{"minutes": 1}, []Dose{{At: Seconds(60), Mg: 1, Seq: 3}}},
	} {
		m := NewMachine(p)
		var events []Event
		var step func(e Event)
		step = func(e Event) {
			e.Seq = uint64(len(events)) + 1
			events = append(events, e)
			for _, more := range m.Step(e, e.At).Events {
				step(more)
			}
		}
		step(Event{At: 0, Kind: CodeStart})
		step(Event{At: Seconds(2), Kind: RhythmPEA})
		step(Event{At: Seconds(60), Kind: Epinephrine, Values: map[string]float64{"dose_mg": 1}})
		step(Event{At: Seconds(63), Kind: c.kind, Values: c.values})
		if got := Fold(events).Given["epinephrine"]; len(got) == 1 && got[0] == c.want[0] {
			t.Errorf("%s did nothing", c.name)
		}
		events = append(events, Event{Seq: uint64(len(events)) + 1, At: Seconds(63), Kind: Retraction, Retracts: 4,
			Amend: &Amendment{}})
		got := Fold(events).Given["epinephrine"]
		if len(got) != 1 || got[0] != c.want[0] {
			t.Errorf("%s withdrawn: %v, want %v", c.name, got, c.want)
		}
	}
}
