package acoustic

import "slices"

// inflected is the callout that a candidate is another form of, if that is pending too. The
// nets know callouts as wholes, and take both for the callout: only the phones tell them apart.
func (d *decoder) inflected(c candidate) (out candidate, ok bool) {
	of := d.g.phrases[c.phrase].Inflects
	for _, x := range d.pending {
		if of != nil && d.g.phrases[x.phrase].Callout == of && (!ok || x.score > out.score) {
			out, ok = x, true
		}
	}
	return out, ok
}

// left is what a courtesy before a callout explains of the sound that another form of the
// callout explains with a word more. "They stopped compressions" must win over "okay, stop
// compressions" as a whole, not by the frames of the "okay".
func (d *decoder) left(form, of candidate) float64 {
	if of.start <= form.start || len(d.g.asides) == 0 {
		return 0
	}
	from := d.pauseBefore(form.start, max(0, form.start-breathFrames/2, d.frame-keepFrames+1))
	from = min(from, form.start)
	l := d.through(d.courtesies(), from, of.start, false, nil)
	if words := l.until(of.start); len(words) == 0 || words[len(words)-1].to <= form.start {
		return 0
	}
	return max(0, float64(l.at[of.start-from].score-l.at[form.start-from].score))
}

// courteous reports whether a courtesy explains the number that a phrase was found with: "okay,
// amiodarone is in" is not eight of it.
func (d *decoder) courteous(c candidate) bool {
	said := d.left(c, *c.bare)
	return said > 0 && c.bare.score+said >= c.score
}

// courtesies are the words around callouts that forbid none, but for articles: these fit
// anywhere.
func (d *decoder) courtesies() []aside {
	return slices.DeleteFunc(slices.Clone(d.g.asides), func(a aside) bool {
		return a.reason != "" || a.hi-a.lo < fewPhones
	})
}
