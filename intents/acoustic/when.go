package acoustic

import "coxswain/intents"

const (
	whenWithin   = 50 // frames behind a phrase within which a time that is told of it begins: 1 s
	morePatience = 8  // frames that a phrase waits on while a time is being told
)

// told is the time among the words behind a phrase, and the frame that it begins with; "":
// none was told.
func (d *decoder) told(c candidate, words []found) (when string, from int) {
	for _, f := range words {
		if f.reason == intents.Told && f.from-c.end <= whenWithin && !d.paused(c.end, f.from, longPause) {
			return d.otherTime(f), f.from
		}
	}
	return "", 0
}

// words are those of an aside as they were said, its number among them.
func (d *decoder) words(f found) []string {
	c := candidate{start: f.from, end: f.to - 1}
	a := d.align(d.g, c, f.span, nil)
	if a.at < 0 {
		return nil
	}
	said, _, _ := d.cut(f.span, d.segments(c, a))
	return said
}

// telling reports whether a time, or other words around callouts, are being said behind a phrase:
// they explain the sound up to now as well as any others. Of "everyone" the half is "every".
func (d *decoder) telling(c candidate) bool {
	l := d.around(c.end, d.frame, true)
	best := dead
	for _, a := range d.g.asides {
		if a.reason != plain {
			for _, x := range l.live[a.lo-d.g.asides[0].lo : a.hi-d.g.asides[0].lo] {
				best = max(best, x.score)
			}
		}
	}
	return best >= l.at[len(l.at)-1].score
}

// about are the words that may stand before a phrase or behind it: times only behind.
func (g *graph) about(behind bool) []aside {
	if behind {
		return g.asides
	}
	return g.before
}
