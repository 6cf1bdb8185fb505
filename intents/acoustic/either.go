package acoustic

import (
	"slices"
	"strings"
)

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

// repairWithin is how soon behind a callout one that cannot be true beside it, and takes it back,
// ends: a speaker who pauses to think again is not heard as one sentence.
const repairWithin = 200

// repairs reports whether the words before a frame end with one by which speakers take back what they
// said: "v tach, no wait".
func (d *decoder) repairs(words []found, frame int) bool {
	if len(words) == 0 {
		return false
	}
	last := words[len(words)-1]
	return frame-last.to <= besideGap && slices.Contains(d.g.vocabulary.Around.Repairs, last.text) && d.heard(last)
}

// repaired reports whether a phrase was said in place of the one called before, which cannot be true
// beside it.
func (r *Recogniser) repaired(w proposal) bool {
	text := r.dec.g.phrases[w.phrase].Text // "correction p e a"
	takesBack := w.repairs || slices.ContainsFunc(r.v.Around.Repairs, func(words string) bool {
		return strings.HasPrefix(text, words+" ")
	})
	return takesBack && r.before.end > 0 && r.dec.excludes(r.before.phrase, w.phrase) &&
		w.end-r.before.end <= repairWithin
}

// anew is what was heard before a phrase: words that take back what was called make it as clear as silence.
func (r *Recogniser) anew(w proposal) breath {
	b := w.breath
	if r.repaired(w) {
		b.left, b.doubtful = 1, b.otherwise
	}
	return b
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
	return r.before.end > 0 && near(r.before, w.candidate) && !r.repaired(w) ||
		slices.ContainsFunc(r.waiting, func(x proposal) bool { return near(w.candidate, x.candidate) })
}
