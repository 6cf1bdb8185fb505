package acoustic

import "math/bits"

// path is the best token that reaches a state, or takes a way on, in a frame.
type path struct {
	at    int32 // the state in its search, or where it goes on to, of one that goes on to several
	start int32 // frame it entered with
	score float32
}

// tokens are those of a search: at most one in each of its states. A frame walks them in the
// order of the states, as that is the order in which the states lie in memory.
type tokens struct {
	live  []uint64  // by state a bit: whether one is there
	score []float32 // dead: none is
	start []int32   // frame it entered with
}

// newBits are bits by state.
func newBits(states int32) []uint64 { return make([]uint64, (states+63)/64) }

func newTokens(states int) tokens {
	t := tokens{newBits(int32(states)), make([]float32, states), make([]int32, states)}
	for i := range t.score {
		t.score[i] = dead
	}
	return t
}

func (t *tokens) empty() bool {
	for _, b := range t.live {
		if b != 0 {
			return false
		}
	}
	return true
}

// put adds a token, unless one that is as good is there.
func (t *tokens) put(at, start int32, score float32) {
	if score > t.score[at] {
		t.score[at], t.start[at] = score, start
		t.live[at>>6] |= 1 << (at & 63)
	}
}

func (t *tokens) drop(at int32) {
	t.score[at] = dead
	t.live[at>>6] &^= 1 << (at & 63)
}

// all goes through the tokens.
func (t *tokens) all(yield func(path) bool) {
	for w, b := range t.live {
		for ; b != 0; b &= b - 1 {
			at := int32(w*64 + bits.TrailingZeros64(b))
			if !yield(path{at, t.start[at], t.score[at]}) {
				return
			}
		}
	}
}

// among goes through those in the states that a search has bits for.
func (t *tokens) among(which []uint64, yield func(path)) {
	for w, b := range which {
		for b &= t.live[w]; b != 0; b &= b - 1 {
			at := int32(w*64 + bits.TrailingZeros64(b))
			yield(path{at, t.start[at], t.score[at]})
		}
	}
}

// any reports whether there is such a token.
func (t *tokens) any(is func(path) bool) bool {
	for p := range t.all {
		if is(p) {
			return true
		}
	}
	return false
}

// front is the best of some tokens that go on to places. It finds a place by a sparse
// set: place says where in the list a token would stand, and the list whether one does
// (P. Briggs, L. Torczon, "An efficient representation for sparse sets", 1993, from memory).
type front struct {
	list  []path
	first int32   // place
	place []int32 // by place from the first
}

// begin empties the front; its tokens will lie at places from first up to end.
func (f *front) begin(first, end int32) {
	f.list, f.first = f.list[:0], first
	if n := int(end) - int(first); n > len(f.place) {
		f.place = make([]int32, n)
	}
}

// take adds a token, unless one that is as good is there.
func (f *front) take(p path) {
	at := &f.place[p.at-f.first]
	if i := int(*at); i >= len(f.list) || f.list[i].at != p.at {
		*at = int32(len(f.list))
		f.list = append(f.list, p)
	} else if p.score > f.list[i].score {
		f.list[i] = p
	}
}
