package session

import (
	"fmt"
	"testing"

	"coxswain/audio"
)

// What whoever looks from outside sees of a case, second by second: the state in
// one word, what was last called, and for how long it was not understood.
func TestSnapshots(t *testing.T) {
	o := testOptions(t, t.TempDir()+"/r", mayBe("code.start", 2, 0.9), mayBe("compressions.start", 4, 0.9),
		mayBe("airway.secured", 10, 0.3), mayBe("airway.secured", 14, 0.4), mayBe("access.iv", 20, 0.35),
		mayBe("rhythm.check", 30, 0.9), mayBe("shock.clear", 34, 0.9), mayBe("shock.given", 36, 0.9),
		mayBe("compressions.start", 38, 0.9), mayBe("rosc", 50, 0.95))
	s, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	at := func(second int) string {
		var block [audio.Block]float32
		for s.Pos() < int64(second)*audio.Rate+audio.Rate/2 {
			s.Step(block[:], block[:])
		}
		n, unclear, last := s.Latest().Load(), "understood", "nothing"
		if n.Unclear != nil {
			unclear = fmt.Sprintf("unclear for %d s", int(*n.Unclear))
		}
		if len(n.Last) > 0 {
			last = n.Last[0].Text
		}
		return fmt.Sprintf("%s, %s, %s", n.State, last, unclear)
	}
	for _, c := range []struct {
		second int
		want   string
	}{
		{1, "waiting for the code to start, nothing, understood"},
		{5, "compressing, compressions start, understood"},
		{12, "compressing, compressions start, unclear for 2 s"},
		{16, "compressing, airway secured, understood"},
		{29, "compressing, airway secured, unclear for 9 s"},
		{32, "hands off, rhythm check, understood"},
		{35, "clear, shock clear, understood"},
		{37, "hands off, shock given, understood"},
		{40, "compressing, compressions start, understood"},
		{52, "pulse present, ROSC, understood"},
	} {
		if got := at(c.second); got != c.want {
			t.Errorf("at %d s: %q, want %q", c.second, got, c.want)
		}
	}
}
