package acoustic

import "slices"

// growing reports whether a longer phrase is on its way: "shock delivered"
// must not be final in the middle of "shock delivered two hundred joules".
func (d *decoder) growing() bool {
	if d.frame-d.best.end > 4*holdFrames {
		return false
	}
	for k := range d.live {
		if d.live[k].any(func(p path) bool {
			x := candidate{start: int(p.start), end: d.frame, score: float64(p.score)}
			return x.score > d.best.score+1 && x.start < d.best.end-3 && !d.beaten(x)
		}) {
			return true
		}
	}
	return false
}

// overlaps reports whether two phrases take the same time.
func (c candidate) overlaps(o candidate) bool { return c.start < o.end-2 && o.start < c.end-2 }

// beaten reports whether a phrase that is held explains more of the same sound.
func (d *decoder) beaten(c candidate) bool {
	return slices.ContainsFunc(d.held, func(h candidate) bool { return h.overlaps(c) && h.score >= c.score })
}

// outgrown reports whether a phrase on its way explains more of the same sound.
func (d *decoder) outgrown(c candidate) bool {
	for k := range d.live {
		if d.explains(k, c, c.end-3) {
			return true
		}
	}
	return false
}

// numbered reports whether the callout of a phrase with its number, or with more of it, has just been said,
// or nearly: "epinephrine", and its dose; "two", and "hundred".
func (d *decoder) numbered(c candidate) bool {
	mine := d.g.phrases[c.phrase]
	for k := range d.live {
		p := d.g.phrases[d.g.searches[k].phrase]
		if p.Callout == mine.Callout && p.HasSlot() && d.explains(k, c, c.start+besideGap) {
			return true
		}
	}
	return false
}

// explains reports whether a search has a path that explains more of the sound of a phrase, and
// began in a frame or before.
func (d *decoder) explains(k int, c candidate, began int) bool {
	return d.live[k].any(func(p path) bool {
		return float64(p.score) > c.score && int(p.start) <= began
	})
}

// clear drops all tokens that overlap a phrase that was accepted.
func (d *decoder) clear(c candidate) {
	d.held = slices.DeleteFunc(d.held, func(h candidate) bool { return h.end <= c.end })
	for k := range d.live {
		for p := range d.live[k].all {
			if int(p.start) < c.end-2 {
				d.live[k].drop(p.at)
			}
		}
	}
	d.blocked = c.end - 2
	if d.have && d.best.start < c.end-2 {
		d.have = false
	}
}
