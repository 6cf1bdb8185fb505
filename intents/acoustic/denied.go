package acoustic

import (
	"slices"
	"strings"

	"coxswain/intents"
)

// denied is by how much a phrase fits better with a "not" between its words. Any of
// the callout's phrases may be the one that was denied, and it may end later than the one
// that was found: of "i v is not in", "i v is in" takes half of the "not".
func (d *decoder) denied(c candidate) float64 {
	p, not := d.g.phrases[c.phrase], d.g.vocabulary.Around.Within
	if len(not) == 0 {
		return -withinNear
	}
	ends := c.end
	if d.goesBehind(c.end) { // "is in and the tube" is like "isn't in", if the "and" is taken for a part of it
		ends = min(c.end, d.trimmed(c).end)
	}
	behind := d.around(ends+1, min(d.frame, c.end+notFrames), true)
	side := &graph{vocabulary: d.g.vocabulary}
	said, denied := float64(dead), float64(dead)
	for k, q := range d.g.phrases {
		if q.Callout != p.Callout || q.HasSlot() && k != c.phrase {
			continue
		}
		said = max(said, d.beyond(d.g, c, d.g.span(k), behind))
		for i := 1; i < len(q.Parts); i++ {
			after := slices.Contains(d.g.vocabulary.Around.Auxiliaries, q.Parts[i-1].Word)
			sp, err := side.addDenied(q, i, not, after)
			if err != nil {
				return -withinNear // its words were sayable when the graph was made
			}
			score := d.beyond(side, c, sp, behind)
			switch {
			case !after:
				score -= strangeNot
			case q.Parts[i].Word == "a": // which an "n't" sounds like
				score -= likeA
			}
			denied = max(denied, score)
		}
	}
	return denied - said
}

// beyond is the score of a phrase that begins with a candidate and ends with it or later,
// less what the words behind the candidate explain of the sound that it takes from them.
func (d *decoder) beyond(g *graph, c candidate, sp span, behind loop) float64 {
	best := float64(dead)
	for t, x := range d.finals(g, c.start, behind.from+len(behind.at)-1, sp) {
		if e := c.start + t + 1 - behind.from; e >= 0 {
			best = max(best, float64(x-behind.at[e].score))
		}
	}
	return best
}

// finals are the scores of a phrase that begins with frame from and ends with it, or with those
// that follow up to frame to.
func (d *decoder) finals(g *graph, from, to int, sp span) []float32 {
	m := int(sp.hi - sp.lo)
	old, now := make([]token, m), make([]token, m)
	for i := range old {
		old[i].score = dead
	}
	out := slices.Repeat([]float32{dead}, max(0, to-from))
	for t := range out {
		row, enters := d.llr[(from+t)%keepFrames], token{score: dead}
		if t == 0 {
			enters.score = 0
		}
		for i := range m {
			k := sp.lo + int32(i)
			x := g.pass(k, sp.lo, old, enters)
			x.score += row[g.states[k].phone]
			if g.states[k].phone != silence {
				x.score += float32(tuned.bonus)
			}
			if now[i] = x; g.states[k].final() {
				out[t] = max(out[t], x.score)
			}
		}
		old, now = now, old
	}
	return out
}

// trimmed is a candidate that ends where what follows is as good as any other sound: the last sound
// of "shock delivered" stretches over "two minutes ago", as far as it was searched.
func (d *decoder) trimmed(c candidate) candidate {
	best := float64(dead)
	for t, x := range d.finals(d.g, c.start, c.end+1, d.g.span(c.phrase)) {
		if left := float64(x) - fillCredit*float64(t); t >= leastFrames && left > best {
			best, c.end, c.score = left, c.start+t, float64(x)
		}
	}
	return c
}

// addDenied makes the states of a phrase with one of the words before its part i.
func (g *graph) addDenied(p intents.Phrase, i int, not []string, contracted bool) (span, error) {
	var kids []intents.Expr
	for _, w := range not {
		if contracted || !strings.HasPrefix(w, "n'") {
			kids = append(kids, intents.Expr{Op: intents.Word, Text: w})
		}
	}
	parts := slices.Insert(g.parts(p, intents.NumberExpr), i, intents.Expr{Op: intents.Alt, Kids: kids})
	return g.addExpr(intents.Expr{Op: intents.Seq, Kids: parts}, false)
}

// likeForbidden reports whether a word means nothing and has the sounds of one that forbids,
// but for one.
func (g *graph) likeForbidden(w intents.Surrounding, all []intents.Surrounding) bool {
	if w.Reason != "" || len(w.Parts) > 1 {
		return false
	}
	mine, _ := g.vocabulary.Pronounce(w.Text)
	for _, other := range all {
		if !forbids(other.Reason) || other.Behind || len(other.Parts) > 1 {
			continue
		}
		theirs, _ := g.vocabulary.Pronounce(other.Text)
		if oneSoundApart(mine[0], theirs[0]) {
			return true
		}
	}
	return false
}

// oneSoundApart reports whether two words of at least two sounds differ in one vowel.
func oneSoundApart(a, b []string) bool {
	if len(a) != len(b) || len(a) < 2 {
		return false
	}
	differ := 0
	for i := range a {
		if a[i] != b[i] {
			differ++
			if !strings.Contains(vowels, a[i]) || !strings.Contains(vowels, b[i]) {
				return false
			}
		}
	}
	return differ == 1
}
