package acoustic

import (
	"slices"

	"coxswain/intents"
)

// anotherFits is the score a frame of a phrase that follows another in one breath.
const anotherFits = 0.5

// opensBehind is what an article or an "and" behind a phrase is worth: its sentence goes on.
const opensBehind = 0.1

// stands is how well a phrase stands that a word follows: as before silence, or less.
func (f found) stands() float64 {
	switch {
	case f.opens:
		return opensBehind
	case f.reason == "" || f.reason == intents.Told:
		return 1
	}
	return plainBehind
}

// settle takes words that only make a callout unsure for no ban.
func (b *breath) settle() {
	if b.forbidden == intents.Unsure {
		b.forbidden, b.doubtful = "", true
	}
}

// alone reports whether a phrase is a breath of its own, but for courtesies.
func (d *decoder) alone(c candidate, b breath) bool {
	return (b.left == 1 || !d.clearly(c.start-12, c.start-2)) && (b.right == 1 || !d.clearly(c.end+2, c.end+12))
}

// strange is the confidence that a phrase needs for clear words beside it that are not known.
func (d *decoder) strange(c candidate, b breath) float64 {
	onward := d.goesOn(c)
	switch {
	case len(d.g.asides) == 0:
		return 0
	case b.left == 0 && d.clearly(c.start-12, c.start-2):
		if slices.Contains(d.g.vocabulary.Around.Stopping, d.g.phrases[c.phrase].Parts[0].Word) {
			return 1 // to be asked about: a short "don't" is seldom heard whole
		}
		return strangeBefore
	case b.right == 1 || d.another(c, onward):
		return 0
	case onward && (b.right > 0 || d.clearly(c.end+2, c.end+12)):
		return 1 // to be asked about
	case d.clearly(c.end+2, c.end+12):
		return strangeBehind
	}
	return 0
}

// goesOn reports whether a sentence goes on from a phrase to mean something else: from its last
// word, or from a report that something was done ("was given in the ambulance").
func (d *decoder) goesOn(c candidate) bool {
	parts := d.g.phrases[c.phrase].Parts
	was := slices.ContainsFunc(parts, func(p intents.Part) bool { return p.Word == "was" })
	return was || slices.Contains(d.g.vocabulary.Around.Onward, parts[len(parts)-1].Word)
}

// another reports whether what follows a phrase at once is another phrase, as far as it was
// said: "shock delivered, back on the chest". Of a sentence that may go on, more must have been.
func (d *decoder) another(c candidate, onward bool) bool {
	least := leastFrames
	if onward {
		least = 2 * leastFrames
	}
	for k := range d.live {
		if d.underway(k, c.end-3, c.end+2*besideGap, least) {
			return true
		}
	}
	return false
}

// underway reports whether a search has a path that began within these frames, as far as it was
// said for at least so many.
func (d *decoder) underway(k, from, to, least int) bool {
	now := d.tokens[d.frame&1]
	return slices.ContainsFunc(d.live[k], func(i int32) bool {
		began := int(now[i].start)
		said := d.frame - began
		return began >= from && began <= to && said >= least && float64(now[i].score) >= anotherFits*float64(said)
	})
}
