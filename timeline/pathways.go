package timeline

import "slices"

// causes are gone through once, after the first rhythm that no shock helps;
// after each later one only their number is told.
func (p *Protocol) causes(s State) []Cue {
	left := p.CausesLeft(s)
	often := s.seenSince&(s.seenSince-1) != 0 // at the first looks, and then ever more seldom
	if s.NoShockAt == Never || s.Rhythm.Shockable() || s.ReviewedAt >= s.RhythmAt || len(left) == 0 || often {
		return nil
	}
	c := due("causes.open", s.RhythmAt+p.Span("causes_round_s"), Seconds(60), Advice).with("causes", float64(len(left)))
	if s.RhythmAt == s.NoShockAt {
		c.ID = "causes.round"
	}
	c.Parts = p.likely(s)
	return []Cue{c}
}

// speaksFor reports whether a number that was measured speaks for a cause, or what was called of the
// patient while nobody has excluded it: opioids, or the cold.
func (p *Protocol) speaksFor(s State, cause string) bool {
	_, warm := p.temperature(s)
	told := cause == "toxins" && s.OpioidAt != Never || cause == "hypothermia" && s.Hypothermic && !warm
	return told && s.Causes[cause] != "excluded" || p.contradicted(s, cause)
}

// likelyFirst lists the causes in the protocol's order, those first for which something speaks.
func (p *Protocol) likelyFirst(s State) []string {
	speaks := func(c string) bool { return p.speaksFor(s, c) }
	first := slices.DeleteFunc(slices.Clone(p.Causes), func(c string) bool { return !speaks(c) })
	return append(first, slices.DeleteFunc(slices.Clone(p.Causes), speaks)...)
}

// likely names the open causes for which something speaks; nothing if none does.
func (p *Protocol) likely(s State) []Cue {
	var items []string
	for _, c := range p.Causes {
		if p.speaksFor(s, c) && s.Causes[c] != "treated" {
			items = append(items, c)
		}
	}
	if len(items) == 0 {
		return nil
	}
	return []Cue{{ID: "causes.likely", Items: items}}
}

// CausesLeft lists the reversible causes that were neither treated nor
// excluded, in the protocol's order but for those that a number speaks for.
func (p *Protocol) CausesLeft(s State) []string {
	var out []string
	p = p.For(s)
	for _, c := range p.likelyFirst(s) {
		if state := s.Causes[c]; state != "treated" && state != "excluded" || state == "excluded" && p.contradicted(s, c) {
			out = append(out, c)
		}
	}
	return out
}
