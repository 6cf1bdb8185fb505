package acoustic

import (
	"slices"
	"testing"
)

// The best token of a state stays, and they are gone through in the order of the states.
func TestTokens(t *testing.T) {
	x := newTokens(130)
	if !x.empty() {
		t.Error("new tokens are not empty")
	}
	for _, p := range []path{{129, 3, -7}, {64, 1, 2}, {64, 2, 2}, {63, 5, 1}, {63, 6, 4}, {0, 7, 0}} {
		x.put(p.at, p.start, p.score)
	}
	if got, want := slices.Collect(x.all), []path{{0, 7, 0}, {63, 6, 4}, {64, 1, 2}, {129, 3, -7}}; !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
	for _, at := range []int32{0, 64, 129, 63} {
		x.drop(at)
	}
	if !x.empty() || x.score[64] != dead {
		t.Errorf("left are %v", slices.Collect(x.all))
	}
}

// In one frame a token goes on by one state, whatever the order of the states: what a state hands
// on is what it had before.
func TestTokenGoesOneStateAFrame(t *testing.T) {
	g, m := made(t)
	d := newDecoder(g, m.nets[0].priors)
	k := slices.IndexFunc(g.searches, func(s search) bool { return g.phrases[s.phrase].Callout.ID == "rhythm.check" })
	s, tokens := &g.searches[k], &d.live[k]
	reached := map[int32]int{} // by state of the graph the first frame
	for frame := range 6 {
		enter := phoneSet(0)
		if frame == 0 {
			enter = s.phones
		}
		d.step(tokens, s, enter)
		for p := range tokens.all {
			if _, ok := reached[s.lo+p.at]; !ok {
				reached[s.lo+p.at] = frame
			}
		}
	}
	const never = 100
	for i := s.lo; i < s.hi; i++ {
		want := never
		if g.states[i].entry {
			want = 0
		}
		for _, before := range g.joins.list(g.states[i].join) {
			if frame, ok := reached[before]; ok && frame < 5 {
				want = min(want, frame+1)
			}
		}
		if got, ok := reached[i]; ok && got != want || !ok && want != never {
			t.Errorf("state %d was reached in frame %d (%v), not %d", i, got, ok, want)
		}
	}
	if len(reached) < 20 {
		t.Errorf("only %d states were reached", len(reached))
	}
}
