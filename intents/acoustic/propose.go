package acoustic

import (
	"math"
	"slices"
)

const (
	proposeAt    = -1.0 // log probability of a callout at which the nets' opinion proposes it
	proposeEvery = 12   // frames between proposals
	proposeBack  = 140  // frames that a proposed phrase may have taken
)

// propose looks for a callout that the nets think has just ended, where the search
// has given up its phrases: the best fit of any of them over the last frames, however
// bad. The judge sees how bad it is.
func (d *decoder) propose(call []float32) {
	class := d.called(call)
	if class == 0 || d.frame-d.asked < proposeEvery || d.waits(class) {
		return
	}
	d.asked = d.frame
	from := max(0, d.blocked, d.frame-proposeBack)
	var best candidate
	found := false
	for k, c := range d.g.class {
		if c != class || d.g.phrases[k].HasSlot() { // numbers have too many states to search at once
			continue
		}
		if x, ok := d.local(k, from); ok && (!found || x.score > best.score) {
			best, found = x, true
		}
	}
	held := slices.ContainsFunc(d.held, best.overlaps)
	if found && !held && (!d.have || best.start <= d.best.end-3) {
		d.consider(best)
	}
}

// called is the callout that the nets are surest has just ended; 0: of none sure enough.
func (d *decoder) called(call []float32) (class int) {
	for k, x := range call {
		if k > 0 && x > proposeAt && (class == 0 || x > call[class]) {
			class = k
		}
	}
	return class
}

// waits reports whether the search has found that callout itself.
func (d *decoder) waits(class int) bool {
	return d.have && slices.ContainsFunc(d.pending, func(p candidate) bool { return d.g.class[p.phrase] == class })
}

// local is the best path of a phrase that begins at frame from or later and ends in
// the last judgeFrames.
func (d *decoder) local(phrase, from int) (candidate, bool) {
	sp := d.g.span(phrase)
	m := int(sp.hi - sp.lo)
	out, found := candidate{phrase: phrase, score: math.Inf(-1)}, false
	old, now := make([]float32, m), make([]float32, m)
	begun, next := make([]int32, m), make([]int32, m)
	for i := range old {
		old[i] = dead
	}
	for t := from; t <= d.frame; t++ {
		row := d.llr[t%keepFrames]
		for i := range m {
			s := &d.g.states[int(sp.lo)+i]
			best, start := old[i], begun[i]
			for _, p := range d.g.joins.list(s.join) {
				if q := p - sp.lo; old[q] > best {
					best, start = old[q], begun[q]
				}
			}
			if s.entry && best < 0 {
				best, start = 0, int32(t)
			}
			if now[i], next[i] = best+row[s.phone], start; s.phone != silence {
				now[i] += float32(tuned.bonus)
			} else {
				now[i] -= pauseCost
			}
			late := t > d.frame-judgeFrames && t-int(start) >= leastFrames
			if s.final() && late && float64(now[i]) > out.score && now[i] > dead/2 {
				out.start, out.end, out.score, found = int(start), t, float64(now[i]), true
			}
		}
		old, now, begun, next = now, old, next, begun
	}
	return out, found
}
