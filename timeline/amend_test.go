package timeline

import (
	"errors"
	"math"
	"strings"
	"testing"
)

// A mistaken end is taken back by an amendment too: of the confirmation, or of the
// callout that asked for it. The case then lasts as long as its record.
func TestAmendTakesBackAnEnd(t *testing.T) {
	events := []Event{{Seq: 1, Kind: CodeStart}, {Seq: 2, Kind: CompressionsStart, At: Seconds(5)},
		{Seq: 3, Kind: CodeEnd, At: Seconds(60)}, {Seq: 4, Kind: Confirm, At: Seconds(62)}, {Seq: 5, Kind: SessionClose, At: Seconds(200)}}
	if Fold(events).Ended != Seconds(62) {
		t.Fatal("the case has not ended")
	}
	for _, seq := range []uint64{3, 4} {
		c := Change{Do: "retract", Seq: seq, By: "AB", Reason: "was misheard"}
		add, err := Amend(events, c, End(events), nil)
		if err != nil {
			t.Fatal(err)
		}
		if s := Fold(append(events[:len(events):len(events)], add...)); s.Ended != Never || !s.Compressing || s.CodeAt() != 0 {
			t.Errorf("event %d taken back: %+v", seq, s)
		}
	}
}

// What is added or gets other numbers is held to what can be called; what only
// moves was, and a time that is none is not printed as one.
func TestAmendIsHeldToWhatCanBeCalled(t *testing.T) {
	events := []Event{{Seq: 1, Kind: "drug.homemade", Values: map[string]float64{"dose_mg": 9999}}}
	asked := 0
	never := func(Kind, map[string]float64) error { asked++; return errors.New("cannot be called") }
	for _, c := range []struct {
		change Change
		asks   int
		says   string
	}{
		{Change{Do: "add", Kind: ShockGiven, Values: map[string]float64{"energy_j": 999999}}, 1, "cannot be called"},
		{Change{Do: "add", Kind: Undo}, 0, "add what was done"},
		{Change{Do: "add", Kind: "ask.dose.epinephrine"}, 0, "add what was done"},
		{Change{Do: "add", Kind: "note"}, 1, "cannot be called"},
		{Change{Do: "move", Seq: 1, Values: map[string]float64{"dose_mg": 1}}, 1, "cannot be called"},
		{Change{Do: "move", Seq: 1, At: Seconds(2)}, 0, ""},
		{Change{Do: "retract", Seq: 1}, 0, ""},
		{Change{Do: "add", Kind: ShockGiven, At: math.MaxInt64}, 0, "the time lies outside the record: want 0:00.0 to 0:10.0"},
		{Change{Do: "add", Kind: ShockGiven, At: -1}, 0, "the time lies outside the record: want 0:00.0 to 0:10.0"},
	} {
		asked, c.change.By, c.change.Reason = 0, "AB", "x"
		_, err := Amend(events, c.change, Seconds(10), never)
		if asked != c.asks || (err == nil) != (c.says == "") || err != nil && !strings.Contains(err.Error(), c.says) {
			t.Errorf("%+v: asked %d times, %v", c.change, asked, err)
		}
	}
}
