package timeline

import "testing"

func TestHolds(t *testing.T) {
	p, err := LoadProtocol("aha-2020")
	if err != nil {
		t.Fatal(err)
	}
	m := NewMachine(p)
	step := func(seq uint64, at float64, k Kind) []Cue {
		return m.Step(Event{Seq: seq, At: Seconds(at), Kind: k}, Seconds(at)).Cues
	}
	step(1, 0, CodeStart)
	step(2, 1, CompressionsStart)
	step(3, 20, CompressionsStop)
	var handsOff []Cue
	for _, c := range m.Tick(Seconds(40)) {
		if c.Priority == HandsOff {
			handsOff = append(handsOff, c)
		}
	}
	if len(handsOff) == 0 {
		t.Fatal("nobody is told of hands-off time")
	}
	for _, c := range handsOff {
		if !m.Holds(c) {
			t.Errorf("%s does not hold, and nobody compresses", c.ID)
		}
	}
	step(4, 41, CompressionsStart)
	for _, c := range handsOff {
		if m.Holds(c) {
			t.Errorf("%s holds, and somebody compresses", c.ID)
		}
	}
	step(7, 44, CompressionsStop)
	again := m.Tick(Seconds(55))
	step(8, 56, ShockGiven)
	for _, c := range again {
		if c.Priority == HandsOff && m.Holds(c) {
			t.Errorf("%s holds, and the shock's read-back has told to compress", c.ID)
		}
	}
	step(9, 57, CompressionsStart)
	given := step(5, 50, "drug.epinephrine")[0]
	if !m.Holds(given) {
		t.Error("the read-back of a drug does not hold")
	}
	m.Step(Event{Seq: 6, At: Seconds(52), Kind: Retraction, Retracts: 5}, Seconds(52))
	if m.Holds(given) {
		t.Error("the read-back of a drug holds that was taken back")
	}
	if !m.Holds(Cue{ID: "fault.disk", At: Seconds(50), Priority: Alarm}) {
		t.Error("an alarm does not hold")
	}
}
