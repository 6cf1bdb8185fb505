package acoustic

import (
	"slices"
	"strings"

	"coxswain/intents"
)

// What a phrase that follows another in one breath scores a frame.
const (
	anotherFits = 0.5
	// behind one that a sentence goes on from: phrases that were said reach 0.74 and more, what other
	// words have in common with one up to 0.71, and not for longFrames
	onwardFits = 0.72
	longFrames = 40
)

// opensBehind is what an article or an "and" behind a phrase is worth: its sentence goes on.
const opensBehind = 0.1

// stands is how well a phrase stands that a word follows: as before silence, or less. Behind an "and"
// another phrase may follow.
func (d *decoder) stands(f found) float64 {
	switch {
	case f.opens && d.another(candidate{end: f.to}, f.to, false):
		return 1
	case f.opens:
		return opensBehind
	case f.reason == "" || f.reason == intents.Told:
		return 1
	}
	return plainBehind
}

// courteousUntil is the frame that the words right behind a phrase which mean nothing end with; 0: none
// was heard well, as they are easily heard in other words. Behind an answer those that a sentence begins
// with mean something: "yes that is what he said".
func (d *decoder) courteousUntil(words []found, c candidate) (to int) {
	answer := d.g.phrases[c.phrase].Answer
	for _, f := range words {
		if d.stands(f) < 1 || f.from-max(c.end, to) > besideGap || !d.heard(f) {
			break
		}
		if first, _, _ := strings.Cut(f.text, " "); answer && slices.Contains(d.g.vocabulary.Around.Openers, first) {
			break
		}
		to = f.to
	}
	return to
}

// settle takes words that only make a callout unsure for no ban.
func (b *breath) settle() {
	if b.forbidden == intents.Unsure {
		b.forbidden, b.doubtful = "", true
	}
}

// alone reports whether a phrase is a breath of its own, but for courtesies. Nothing goes on behind
// one that is only an answer: of "yes he has a pulse" the "he has" is like "everyone".
func (d *decoder) alone(c candidate, b breath) bool {
	if end := max(c.end, b.courteous); d.g.phrases[c.phrase].Answer && d.goesBehind(end) {
		return false
	}
	return (b.left == 1 || !d.goesBefore(c.start)) && (b.right == 1 || !d.goesBehind(c.end))
}

// strange is the confidence that a phrase needs for clear words beside it that are not known.
func (d *decoder) strange(c candidate, b breath) float64 {
	if len(d.g.asides) == 0 {
		return 0
	}
	onward := d.goesOn(c)
	another := d.another(c, max(c.end, b.courteous), onward)
	goesOn := d.goesBehind(c.end)
	switch {
	case b.left == 0 && d.goesBefore(c.start):
		switch first := d.g.phrases[c.phrase].Parts[0].Word; {
		case slices.Contains(d.g.vocabulary.Around.Stopping, first):
			return 1 // to be asked about: a short "don't" is seldom heard whole
		case slices.Contains(d.g.vocabulary.Around.Verbs, first):
			return strangeVerb
		}
		return strangeBefore
	case another, b.right == 1 && !(onward && goesOn && b.courteous == 0):
		return 0
	case onward && (b.right > 0 || goesOn):
		return 1 // to be asked about
	case goesOn:
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

// unfinished reports whether the sentence of a phrase goes on, and with no other phrase so far: the
// courtesy or the phrase that it goes on with must have been said, to be heard as one.
func (d *decoder) unfinished(c candidate) bool {
	onward := d.goesOn(c)
	pausing := d.frame-c.end > eitherGap || d.paused(d.frame-eitherPause, d.frame, eitherPause)
	return onward && (d.speaking() || !pausing) && !d.another(c, c.end, onward)
}

// another reports whether what follows a phrase at once, or the courtesies behind it that end with a
// frame, is another phrase, as far as it was said: "shock delivered, back on the chest". Of a
// sentence that may go on, more must have been.
func (d *decoder) another(c candidate, courteous int, onward bool) bool {
	least, fits := leastFrames, anotherFits
	if onward {
		least, fits = 2*leastFrames, onwardFits
	}
	lacks := d.lacksNumber(c)
	for k := range d.live {
		if lacks && d.g.searches[k].number {
			continue // it is its own
		}
		if d.underway(k, c.end-3, courteous+2*besideGap, least, fits) {
			return true
		}
	}
	return false
}

// lacksNumber reports whether a phrase is what another begins with that goes on with a number:
// "correction epinephrine", before its dose.
func (d *decoder) lacksNumber(c candidate) bool {
	mine := d.g.phrases[c.phrase]
	return slices.ContainsFunc(d.g.phrases, func(p intents.Phrase) bool {
		n := len(mine.Parts)
		return p.Callout == mine.Callout && len(p.Parts) > n && p.Parts[n].Word == "" && slices.Equal(p.Parts[:n], mine.Parts)
	})
}

// underway reports whether a search has a path that began within these frames, as far as it was
// said for at least so many, that scores so much a frame.
func (d *decoder) underway(k, from, to, least int, fits float64) bool {
	return d.live[k].any(func(p path) bool {
		began := int(p.start)
		said := d.frame - began
		score := float64(p.score) / float64(max(1, said))
		return began >= from && began <= to && said >= least && (score >= fits || said >= longFrames && score >= anotherFits)
	})
}
