package acoustic

// path is the best token that reaches a state, or takes a way on, in a frame.
type path struct {
	at    int32 // the state, or move.to where several may follow
	start int32 // frame it entered with
	score float32
}

// front is the tokens of a search in a frame, at most one at a place. It finds a place by a sparse
// set: place says where in the list a token would stand, and the list whether one does
// (P. Briggs, L. Torczon, "An efficient representation for sparse sets", 1993, from memory).
type front struct {
	list  []path
	first int32   // place
	place []int32 // by place from the first
}

// begin empties the front; its tokens will lie in list, at places from first up to end.
func (f *front) begin(list []path, first, end int32) {
	f.list, f.first = list[:0], first
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
