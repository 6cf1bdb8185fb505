package acoustic

import (
	"math"
	"slices"
	"strings"

	"coxswain/intents"
)

// teens and tens are the numbers that differ in one sound and the stress: more than phones
// of 20 ms tell.
var (
	teens = strings.Fields("thirteen fourteen fifteen sixteen seventeen eighteen nineteen")
	tens  = strings.Fields("thirty forty fifty sixty seventy eighty ninety")
)

const (
	teenNear  = 2.2 // by which a teen must fit better than the ten that sounds like it, to be told from it
	usualNear = 1.2 // and if it is a usual number of its callout and the other is not
)

// numberRival is the same callout with a teen for a ten or a ten for a teen, if nothing tells
// the two apart: whoever listens must ask.
func (r *Recogniser) numberRival(w proposal, out intents.Result) []intents.Rival {
	said := strings.Fields(out.Text)
	other, ok := otherNumber(said)
	if !ok {
		return nil
	}
	p := r.dec.g.phrases[w.phrase]
	values, err := r.v.Values(p, other)
	mine, ok1 := r.dec.fits(w.candidate, said)
	theirs, ok2 := r.dec.fits(w.candidate, other)
	near := float64(teenNear)
	if usual(p.Callout, out.Values) && !usual(p.Callout, values) {
		near = usualNear
	}
	if err != nil || !ok1 || !ok2 || mine-theirs >= near {
		return nil
	}
	sure := out.Confidence * math.Exp(-max(0, mine-theirs)/rivalScale)
	return []intents.Rival{{Callout: out.Callout, Text: strings.Join(other, " "), Values: values,
		Confidence: math.Round(sure*1000) / 1000}}
}

// Numbers that are not mostly said with their callout, where some are: two people at once make
// amounts that no vial gives ("amiodarone eighty one milligrams").
const (
	unusualNeed = 0.85 // confidence that one needs
	cutBelow    = 0.4  // below which a number at the end is none, where its callout needs none
	digitNeed   = 0.95 // and that a digit needs which is the beginning of one
	wholeNumber = 50   // least number of a callout whose single digits are the beginning of one: "two hundred"
	plainNumber = 20   // up to which any is as good as another, and of which steps
	plainStep   = 5    // are taken above it
)

// unusual is the confidence that the numbers of a callout need; 0: that of the callout.
func unusual(c *intents.Callout, values map[string]float64) float64 {
	if len(c.Usual) == 0 || usual(c, values) {
		return 0
	}
	for _, x := range values {
		if x < 10 && slices.Min(c.Usual) >= wholeNumber {
			return digitNeed
		}
		if x > plainNumber && math.Mod(x, plainStep) != 0 {
			return unusualNeed
		}
	}
	return 0
}

// usual reports whether a number is one that is mostly said with a callout.
func usual(c *intents.Callout, values map[string]float64) bool {
	for _, x := range values {
		if slices.Contains(c.Usual, x) {
			return true
		}
	}
	return false
}

// amount reports whether a phrase is a number with its unit, or without one, and nothing else, which only an
// answer can be: it is a breath of its own, and keeps nothing from being heard.
func (g *graph) amount(phrase int) bool {
	p := g.phrases[phrase]
	return p.Answer && p.Parts[0].Slot != "" && len(p.Parts) <= 2
}

// otherNumber is what was said with each teen taken for a ten and each ten for a teen, as
// long as a digit does not follow; ok is false if neither was said.
func otherNumber(said []string) (other []string, ok bool) {
	other = slices.Clone(said)
	for i, w := range said {
		if k := slices.Index(teens, w); k >= 0 {
			other[i], ok = tens[k], true
		} else if k := slices.Index(tens, w); k >= 0 && (i+1 == len(said) || !isDigit(said[i+1])) {
			other[i], ok = teens[k], true
		}
	}
	return other, ok
}

func isDigit(w string) bool {
	n, err := intents.ParseNumber([]string{w})
	return err == nil && n < 10 && w != "a"
}

// fits is the score of these words, one after the other, over the frames of a candidate.
func (d *decoder) fits(c candidate, words []string) (score float64, ok bool) {
	side := &graph{vocabulary: d.g.vocabulary}
	sp, err := side.addWords(words)
	if err != nil {
		return 0, false
	}
	a := d.align(side, c, sp, nil)
	return a.score, a.at >= 0
}
