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

// afterReturn is the care after return of circulation: one target at a time,
// and the pulse felt for again. Who never lost the pulse gets none of it, and who is
// unstable not yet.
func (p *Protocol) afterReturn(s State) []Cue {
	if s.PulseAt == Never || s.FirstROSC == Never || s.Ended != Never {
		return nil
	}
	if s.Unstable || p.slowChild(s) { // the rhythm comes first
		return nil
	}
	at := func(k Time, id string) Cue {
		return due(id, max(s.PulseAt, s.pulseTold)+p.Span("aftercare_s")+k*p.Span("aftercare_gap_s"), Seconds(30), Advice)
	}
	out := []Cue{
		p.say(at(0, "rosc.oxygen"), "rosc_spo2_min", "min", "rosc_spo2_max", "max"),
		p.say(at(1, "rosc.ventilation"), "rosc_ventilation_s", "seconds"),
		p.warmth(at(3, "rosc.temperature")),
	}
	if p.patient(s) == "" { // a child's pressure goes by age: no single number
		out = append(out, p.pressure(at(2, "rosc.pressure")))
	}
	if _, done := s.Done["ecg"]; !done {
		out = append(out, at(4, "rosc.ecg"))
	}
	every := p.Span("pulse_recheck_s")
	recheck := due("rosc.recheck", max(s.PulseAt, s.CheckedAt)+every, Seconds(10), Cycle)
	return append(out, recheck.every(every, every))
}

// warmth names the bounds that the protocol sets, and for how long.
func (p *Protocol) warmth(c Cue) Cue {
	if c = p.say(c, "rosc_temperature_min", "min", "rosc_temperature_max", "max"); p.Values["rosc_temperature_min"].None {
		c.ID += ".most"
	}
	hours := p.say(Cue{ID: "rosc.hours"}, "rosc_temperature_h", "hours", "rosc_temperature_max_h", "max")
	switch len(hours.Values) {
	case 0:
		return c
	case 2:
		hours.ID += ".range"
	}
	c.Parts = append(c.Parts, hours)
	return c
}

// pressure names the mean pressure to reach and, if the protocol sets one, the
// systolic.
func (p *Protocol) pressure(c Cue) Cue {
	if c = p.say(c, "rosc_pressure_mmhg", "min", "rosc_pressure_to_mmhg", "max"); len(c.Values) == 2 {
		c.ID += ".range"
	}
	if systolic := p.say(Cue{ID: "rosc.systolic"}, "rosc_systolic_mmhg", "min"); len(systolic.Values) > 0 {
		c.Parts = append(c.Parts, systolic)
	}
	return c
}

// likelyFirst lists the causes in the protocol's order, those first for which a number that was
// measured speaks.
func (p *Protocol) likelyFirst(s State) []string {
	speaks := func(c string) bool { return p.contradicted(s, c) }
	first := slices.DeleteFunc(slices.Clone(p.Causes), func(c string) bool { return !speaks(c) })
	return append(first, slices.DeleteFunc(slices.Clone(p.Causes), speaks)...)
}

// likely names the open causes for which a number that was measured speaks; nothing if none does.
func (p *Protocol) likely(s State) []Cue {
	var items []string
	for _, c := range p.Causes {
		if p.contradicted(s, c) && s.Causes[c] != "treated" {
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
