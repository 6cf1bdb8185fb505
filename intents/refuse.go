package intents

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
	switch {
	case c == nil:
		return "the vocabulary has no such callout"
	case r.Start < p.child.base || r.End < r.Start || r.Decided < r.End:
		return "it ends before it begins"
	case r.Decided > p.fed:
		return "it is of sound that has not been heard yet"
	case !(r.Confidence >= 0 && r.Confidence <= 1 && r.Need >= 0 && r.Need <= 1):
		return "its confidence is not between 0 and 1"
	case len(r.Text) > 500 || len(r.Rivals) > 10:
		return "it is too long"
	}
	for slot, x := range r.Values {
		if s, ok := p.opt.Vocabulary.Slots[slot]; !ok || !(x >= s.Min && x <= p.opt.Vocabulary.SlotOf(c, slot).Max) {
			return "a number is out of its bounds"
		}
	}
	for _, x := range r.Rivals {
		if p.opt.Vocabulary.Find(x.Callout) == nil || !(x.Confidence >= 0 && x.Confidence <= 1) {
			return "a rival of it cannot be"
		}
	}
	return ""
}
