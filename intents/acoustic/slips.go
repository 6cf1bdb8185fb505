package acoustic

import (
	"math"
	"strings"

	"coxswain/intents"
)

// slipped reports whether a phrase may have been another: one with little words that were heard
// for those of a callout fits nearly as well, as "we had a pulse" does, which differs in a sound
// of 40 ms. Either may end later than the phrase: see denied.
func (d *decoder) slipped(c candidate, said []string) bool {
	var behind loop
	mine := float64(dead)
	for _, s := range d.g.vocabulary.Around.Slips {
		other, ok := s.Instead(said)
		if !ok {
			continue
		}
		if behind.at == nil {
			behind = d.around(c.end+1, min(d.frame, c.end+notFrames), true)
			mine, _ = d.asSaid(c, said, behind)
		}
		if theirs, ok := d.asSaid(c, other, behind); ok && mine-theirs < s.Lead()*d.sharp(c) {
			return true
		}
	}
	return false
}

// clearTop is the mean log probability of the best phone over a phrase in a quiet room.
const clearTop = -0.25

// sharp is how far apart two phrases can be over the frames of a candidate, against a quiet room,
// 0..1: in noise the nets are sure of no sound, and of two phrases none leads by much. Of 212 loud
// callouts 23 were asked about for that, of which 12 are taken with it; of 536 denials in the same
// noise one more.
func (d *decoder) sharp(c candidate) float64 {
	return math.Min(1, math.Exp(d.clarity(c.start, c.end+1)-clearTop))
}

// asSaid is the score of these words from where a candidate begins to where it ends, or later.
func (d *decoder) asSaid(c candidate, said []string, behind loop) (score float64, ok bool) {
	side := &graph{vocabulary: d.g.vocabulary}
	sp, err := side.addWords(said)
	if err != nil {
		return 0, false
	}
	return d.beyond(side, c, sp, behind), true
}

// addWords makes the states of words one after the other.
func (g *graph) addWords(words []string) (span, error) {
	var list []intents.Expr
	for _, w := range words {
		list = append(list, intents.Expr{Op: intents.Word, Text: w})
	}
	return g.addExpr(intents.Expr{Op: intents.Seq, Kids: list}, false)
}

// timeNear is the log score by which a time must fit better than one that is told in other
// words, to be taken: "in two minutes" has nearly the sound of "at two minutes".
const timeNear = 3.2

// otherTime is the time of words that were told, or both where another fits nearly as well:
// what was called is then asked about.
func (d *decoder) otherTime(f found) string {
	c := candidate{start: f.from, end: f.to - 1}
	mine := d.align(d.g, c, f.span, nil)
	when := strings.Join(d.words(f), " ")
	is, _ := intents.ReadWhen(when)
	for _, a := range d.g.asides {
		if a.reason != intents.Told || a.span == f.span {
			continue
		}
		theirs := d.align(d.g, c, a.span, nil)
		if theirs.at < 0 || mine.score-theirs.score >= timeNear {
			continue
		}
		other := strings.Join(d.words(found{aside: a, from: f.from, to: f.to}), " ")
		if was, ok := intents.ReadWhen(other); !ok || was != is {
			return when + " or " + other
		}
	}
	return when
}
