package acoustic

import (
	"slices"
	"strings"

	"coxswain/intents"
)

// A word that forbids loses a callout, so it must be heard as well as what it forbids, and it
// must be able to be about it.
const (
	soundLeast  = -2.2 // mean log ratio of each sound of a word that forbids
	slightLeast = -1.2 // and of one that running speech makes next to nothing of
	nearWho     = 4.5  // by which one with a "who" may before "stop": "who stopped compressions" has the same sounds
	nearUnheard = 1.0  // by which a path with a word that lacks a sound may fall behind, to be doubted
)

// heard reports whether each sound of a word is there, but for a last stop, which haste swallows.
func (d *decoder) heard(f found) bool {
	least := soundLeast
	if f.slight {
		least = slightLeast
	}
	return d.eachHeard(candidate{start: f.from, end: f.to - 1}, f.span, least)
}

// wholly is the same of a phrase.
func (d *decoder) wholly(c candidate) bool { return d.eachHeard(c, d.g.span(c.phrase), soundLeast) }

// eachHeard reports whether each sound of some words, but for a last stop, fits so well over the frames
// of a candidate.
func (d *decoder) eachHeard(c candidate, sp span, least float64) bool {
	a := d.align(d.g, c, sp, nil)
	if a.at < 0 {
		return false
	}
	segs := d.segments(c, a)
	for i, s := range segs {
		phone := int(d.g.states[sp.lo+s.state].phone)
		stop := i == len(segs)-1 && (intents.Phones[phone] == "T" || intents.Phones[phone] == "D")
		if phone != silence && !stop && s.sum/s.frames() < least {
			return false
		}
	}
	return true
}

// governs reports whether a word that forbids can be about a phrase that begins with a frame:
// "no" denies the noun right behind it, so that "no pulse, resume compressions" and "oh no, we
// lost the pulse" are callouts; "they adrenaline is in" is no sentence, nor is "are hold compressions",
// which is heard in a name ("peter").
func (d *decoder) governs(f found, c candidate, frame int) bool {
	beside := frame-f.to <= besideGap
	p := d.g.phrases[c.phrase]
	first, words := p.Parts[0].Word, d.g.vocabulary.Around
	verb := slices.Contains(words.Verbs, first)
	switch {
	case f.text == "no":
		return beside && !slices.Contains(words.Openers, first)
	case f.text == "they", f.text == "they have":
		return !beside || verb
	case beside && slices.Contains(words.Auxiliaries, f.text):
		return !words.Orders(first)
	}
	return f.reason != "question" || !strings.HasPrefix(p.Callout.ID, "ask.") // which is one itself
}

// forbiddenBefore is why the words before a phrase that begins with a frame forbid it ("": they do
// not), and whether one that would may have been said.
func (d *decoder) forbiddenBefore(words []found, c candidate, frame int) (reason string, doubtful bool) {
	for _, f := range words {
		switch {
		case !d.mayForbid(f) || !d.governs(f, c, frame) || d.within(f, frame):
		case f.reason != "condition" && d.paused(f.to, frame, shortPause):
		case d.heard(f):
			reason = f.reason
		default:
			doubtful = doubtful || !f.slight
		}
	}
	return reason, doubtful
}

// mayForbid reports whether a word that forbids was spoken clearly: in noise, or in what is
// left of our own voice, such words are easily heard.
func (d *decoder) mayForbid(f found) bool { return f.forbids() && d.clearly(f.from, f.to) }

// keep remembers where a phrase may have been said, also without its number.
func (d *decoder) keep(c candidate) {
	d.said = slices.DeleteFunc(d.said, func(x candidate) bool { return x.end < c.start-breathFrames })
	if d.said = append(d.said, c); c.bare != nil {
		d.said = append(d.said, *c.bare)
	}
}

// within reports whether a negation is heard in the last sounds of a phrase that ends before a frame: "amiodarone
// is in and" has the sound of an "isn't", which is not about what follows.
func (d *decoder) within(f found, frame int) bool {
	return f.reason == "negation" && slices.ContainsFunc(d.said, func(h candidate) bool {
		last := f.to > h.end-besideGap && f.to <= h.end+besideGap
		return h.end <= frame+besideGap/2 && last && f.from > h.start+leastFrames
	})
}

// doubted reports whether the words before a phrase may have been others, of which one forbids
// it. These fall behind by less.
func (d *decoder) doubted(words, others []found, c candidate, less float64) bool {
	stopping := slices.Contains(d.g.vocabulary.Around.Stopping, d.g.phrases[c.phrase].Parts[0].Word)
	for _, f := range others {
		like := false
		if n := len(words); n > 0 && words[n-1].alike && oneSoundApart(words[n-1].phones, f.phones) {
			like, f.from, f.to = true, words[n-1].from, words[n-1].to
		}
		if !d.mayForbid(f) || !d.governs(f, c, c.start) || f.reason != "condition" && d.paused(f.to, c.start, shortPause) {
			continue
		}
		near := float64(nearForbid)
		switch {
		case like:
			near = nearAlike
		case stopping && f.text == "who":
			near = nearWho
		case !d.heard(f):
			near = nearUnheard
		}
		if less < near {
			return true
		}
	}
	return false
}

// forbiddenBehind is the same of the words behind a phrase. A "no" there takes back what was
// said, if something follows it; else it was a "now".
func (d *decoder) forbiddenBehind(words []found, c candidate) (reason string, doubtful bool) {
	for _, f := range words {
		switch {
		case !d.mayForbid(f) || d.paused(c.end, f.from, shortPause) || f.behind && f.from-c.end > 3*besideGap:
		case f.text == "no":
			doubtful = doubtful || d.goesBehind(f.to)
		case d.heard(f):
			reason = f.reason
		default:
			doubtful = doubtful || !f.slight
		}
	}
	return reason, doubtful
}

// leading are the words that may stand before a phrase, but for those that its own first word
// would be taken for: the "no" of "no pulse" is said once, "that is" of "that is v fib" is not said before it,
// and "adenosine" begins as "had" does.
func (g *graph) leading(phrase int) []aside {
	first := g.phrases[phrase].Parts[0].Word
	if first == "" { // a number
		return g.before
	}
	if list, ok := g.lead[first]; ok {
		return list
	}
	mine, _ := g.vocabulary.Pronounce(first)
	list := slices.DeleteFunc(slices.Clone(g.before), func(a aside) bool {
		again := a.reason == "" && strings.HasPrefix(a.text, first+" ")
		return a.text == first || again || len(mine) > 0 && oneSoundApart(mine[0], a.phones) || a.forbids() && a.opening(mine)
	})
	g.lead[first] = list
	return list
}

// opening reports whether one of these pronunciations begins with the word.
func (a aside) opening(of [][]string) bool {
	if a.phones == nil {
		return false
	}
	for _, mine := range spoken(a.text, [][]string{a.phones}, true) {
		for _, p := range of {
			if len(mine) > 1 && len(p) > len(mine) && slices.Equal(p[:len(mine)], mine) {
				return true
			}
		}
	}
	return false
}
