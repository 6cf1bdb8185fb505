package acoustic

import "slices"

// eitherGap is how soon behind a callout one that cannot be true beside it belongs to the same
// sentence, in frames: "v fib or v tach".
const eitherGap = 25

// excludes reports whether only one of two phrases can be true.
func (d *decoder) excludes(a, b int) bool {
	return d.g.vocabulary.Excludes(d.g.phrases[a].Callout.ID, d.g.phrases[b].Callout.ID)
}

// contradicting reports whether a phrase that cannot be true beside a candidate is on its way
// behind it.
func (r *Recogniser) contradicting(c candidate) bool {
	d := r.dec
	if d.have && d.excludes(c.phrase, d.best.phrase) && d.best.start <= c.end+eitherGap {
		return true
	}
	now := d.tokens[d.frame&1]
	for k, live := range d.live {
		if of := d.g.searches[k].phrase; !d.excludes(c.phrase, of) {
			continue
		}
		for _, i := range live {
			began := int(now[i].start)
			said := d.frame - began
			if began > c.end && began <= c.end+eitherGap && said >= leastFrames && float64(now[i].score) >= anotherFits*float64(said) {
				return true
			}
		}
	}
	return false
}

// contradicted reports whether a phrase that cannot be true beside a proposal was said right
// before it, or waits right behind it.
func (r *Recogniser) contradicted(w proposal) bool {
	near := func(before, behind candidate) bool {
		return r.dec.excludes(before.phrase, behind.phrase) && behind.start >= before.end-3 && behind.start <= before.end+eitherGap
	}
	return r.before.end > 0 && near(r.before, w.candidate) ||
		slices.ContainsFunc(r.waiting, func(x proposal) bool { return near(w.candidate, x.candidate) })
}
