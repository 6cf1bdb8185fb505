package acoustic

import (
	"math"
	"slices"
)

// consider keeps a candidate if it is the best of its callout, with or without a number.
func (d *decoder) consider(c candidate) {
	if !d.have {
		d.pending = d.pending[:0]
	}
	if !d.have || c.score > d.best.score {
		d.best, d.have = c, true
	}
	at := &d.places[d.g.kinds[c.phrase]]
	if i := int(*at); i >= len(d.pending) || d.g.kinds[d.pending[i].phrase] != d.g.kinds[c.phrase] {
		*at = int32(len(d.pending))
		d.pending = append(d.pending, c)
	} else if p := &d.pending[i]; c.score > p.score || c.score == p.score && c.end == p.end && c.phrase < p.phrase {
		*p = c
	}
}

// choose is the pending candidate that both the phones and the second opinion speak for, behind
// the best of those that end before it begins: "shock delivered", where "shock delivered at half"
// has kept it waiting until "half a minute ago". Talk that was not wholly heard leaves the callout
// that ends it: of "sarah, stop compressions" nobody said "don't".
func (d *decoder) choose() []candidate {
	for i := range d.pending {
		c := &d.pending[i]
		c.opinion = d.opinion(*c)
		c.total = d.total(*c)
	}
	out := pick(d.g, d.pending)
	for out.rival != nil && d.unheard(out) {
		d.pending = slices.DeleteFunc(d.pending, func(c candidate) bool { return c.phrase == out.phrase })
		out = pick(d.g, d.pending)
	}
	if r := out.rival; r != nil && r.opinion.said > proposeAt && !d.g.phrases[out.phrase].Talk() {
		next := *r
		next.margin = (r.total - out.total) / float64(r.end-r.start+1)
		out.next = &next
	}
	earlier := slices.DeleteFunc(slices.Clone(d.pending), func(c candidate) bool {
		return c.overlaps(out) || c.start >= out.start
	})
	d.pending = nil // out keeps some of it
	if len(earlier) == 0 {
		return []candidate{out}
	}
	return []candidate{pick(d.g, earlier), out}
}

// unheard reports whether a candidate is talk of which a sound was not heard. Other forms of a
// callout's words are compared by themselves: see left.
func (d *decoder) unheard(c candidate) bool {
	p := d.g.phrases[c.phrase]
	return p.Talk() && p.Inflects == nil && !d.wholly(c)
}

// pick is the best of some candidates by their totals, with the best of another callout and the
// best of its own without a number.
func pick(g *graph, list []candidate) (out candidate) {
	best, rival := math.Inf(-1), math.Inf(-1)
	for _, c := range list {
		if c.total > best {
			best, out = c.total, c
		}
	}
	for i, c := range list {
		mine, theirs := &g.phrases[out.phrase], &g.phrases[c.phrase]
		switch {
		case theirs.Callout.ID != mine.Callout.ID && c.total > rival:
			rival, out.rival = c.total, &list[i]
		case theirs.Callout.ID == mine.Callout.ID && mine.HasSlot() && !theirs.HasSlot():
			out.bare = &list[i]
		}
	}
	out.margin = (best - rival) / float64(out.end-out.start+1)
	return out
}
