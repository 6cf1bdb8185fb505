package intents

import "slices"

// What a plug-in may say: so many lines and results, and more with each second of
// sound. Nobody calls out three times a second.
const (
	firstLines, linesPerSecond     = 1000, 200
	firstResults, resultsPerSecond = 20, 5
)

// floods reports whether the child says more than the sound that it got can hold.
func (c *child) floods(fed int64) bool {
	seconds := (fed-c.base)/Rate + 1
	return c.said > firstLines+linesPerSecond*seconds || c.results > firstResults+resultsPerSecond*seconds
}

// wrong says what makes a result one that cannot be; empty: nothing.
func (p *Process) wrong(r Result) string {
	c := p.opt.Vocabulary.Find(r.Callout)
	sure := func(x float64) bool { return x >= 0 && x <= 1 }
	switch {
	case c == nil:
		return "the vocabulary has no such callout"
	case r.Start < p.child.base || r.End < r.Start || r.Decided < r.End:
		return "it ends before it begins"
	case r.Decided > p.fed:
		return "it is of sound that has not been heard yet"
	case !sure(r.Confidence) || !sure(r.Need):
		return "its confidence is not between 0 and 1"
	case tooLong(r):
		return "it is too long"
	}
	if !p.opt.Vocabulary.inBounds(c, r.Values) {
		return "a number is out of its bounds"
	}
	if slices.ContainsFunc(
		r.Rivals,
		func(x Rival) bool { return p.opt.Vocabulary.Find(x.Callout) == nil || !sure(x.Confidence) },
	) {
		return "a rival of it cannot be"
	}
	return ""
}

func tooLong(r Result) bool { return len(r.Text) > 500 || len(r.When) > 500 || len(r.Rivals) > 10 }

// inBounds reports whether every number has a slot and lies in its bounds.
func (v *Vocabulary) inBounds(c *Callout, values map[string]float64) bool {
	for slot, x := range values {
		if s, ok := v.Slots[slot]; !ok || !(x >= s.Min && x <= v.SlotOf(c, slot).Max) {
			return false
		}
	}
	return true
}
