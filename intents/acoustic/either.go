package acoustic

import "slices"

// eitherGap is how soon behind a callout one that cannot be true beside it belongs to the same
// sentence, in frames: "v fib or v tach".
const eitherGap = 25

// eitherPause is the silence after which nothing more is expected behind such a callout, in frames.
const eitherPause = 10

// nearlySure is the confidence from which a phrase may have been called.
const nearlySure = 0.3

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
	if !d.g.vocabulary.ExcludesAny(d.g.phrases[c.phrase].Callout.ID) {
		return false
	}
	for k := range d.live {
		of := d.g.searches[k].phrase
		if d.excludes(c.phrase, of) && d.underway(k, c.end+1, c.end+eitherGap, leastFrames, anotherFits) {
			return true
		}
	}
	return false
}

// mayGoOn reports whether a phrase that excludes others may be followed by one of them: the nets
// may be unsure of a weak "or", and nobody has paused.
func (d *decoder) mayGoOn(c candidate) bool {
	return d.frame-c.end <= eitherGap && !d.paused(d.frame-eitherPause, d.frame, eitherPause) &&
		d.g.vocabulary.ExcludesAny(d.g.phrases[c.phrase].Callout.ID)
}

// contradicted reports whether a phrase that cannot be true beside a proposal was said right
// before it, or waits right behind it.
func (r *Recogniser) contradicted(w proposal) bool {
	near := func(before, behind candidate) bool {
		gap := behind.start - before.end
		return r.dec.excludes(before.phrase, behind.phrase) && gap >= -3 && gap <= eitherGap
	}
	return r.before.end > 0 && near(r.before, w.candidate) ||
		slices.ContainsFunc(r.waiting, func(x proposal) bool { return near(w.candidate, x.candidate) })
}
