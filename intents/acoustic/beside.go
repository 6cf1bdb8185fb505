package acoustic

import (
	"slices"
	"strings"

	"coxswain/intents"
)

// anotherFits is the score a frame of a phrase that follows another in one breath.
const anotherFits = 0.5

// onward are words at the end of a phrase that a sentence goes on from: "epi is in the cart".
var onward = strings.Fields("in on out off")

// stands is how well a phrase stands that a word follows: as before silence, or less.
func (f found) stands() float64 {
	switch {
	case f.opens:
		return 0
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
	switch {
	case len(d.g.asides) == 0:
		return 0
	case b.left == 0 && d.clearly(c.start-12, c.start-2):
		return strangeBefore
	case b.right < 1 && d.clearly(c.end+2, c.end+12) && !d.another(c):
		if parts := d.g.phrases[c.phrase].Parts; slices.Contains(onward, parts[len(parts)-1].Word) {
			return 1 // to be asked about
		}
		return strangeBehind
	}
	return 0
}

// another reports whether what follows a phrase at once is another phrase, as far as it was
// said: "shock delivered, back on the chest".
func (d *decoder) another(c candidate) bool {
	now := d.tokens[d.frame&1]
	for _, live := range d.live {
		for _, i := range live {
			began := int(now[i].start)
			if said := d.frame - began; began >= c.end-3 && began <= c.end+2*besideGap && said >= leastFrames &&
				float64(now[i].score) >= anotherFits*float64(said) {
				return true
			}
		}
	}
	return false
}
