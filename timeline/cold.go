package timeline

// The cold patient: how cold, as far as anybody knows, and what follows from it.

// temperature is the patient's, if one was called that can be measured at all.
func (p *Protocol) temperature(s State) (t Measured, known bool) {
	t, known = s.Measured["temperature"]
	return t, known && p.plausible("temperature", t.Value)
}

// tooCold reports whether the patient is colder than the protocol's limit for
// drugs, and for more than a few shocks.
func (p *Protocol) tooCold(s State) bool {
	limit, set := p.Spoken("cold_c")
	t, known := p.temperature(s)
	return set && known && t.Value < limit
}

// maybeCold reports whether the patient is colder than the protocol's limit, or
// was called cold and nobody knows how cold.
func (p *Protocol) maybeCold(s State) bool {
	_, known := p.temperature(s)
	return p.tooCold(s) || s.Hypothermic && !known
}

// spentInCold reports whether the patient is, or may be, too cold for more shocks than were
// given: none is called for.
func (p *Protocol) spentInCold(s State) bool {
	most, limited := p.Spoken("cold_shocks")
	return limited && p.maybeCold(s) && float64(s.shocksInAll()) >= most
}

// hypothermic reports whether the protocol's rules for a cold patient hold: by the
// last of a measured temperature, where the protocol has a limit, and of what was
// called.
func (p *Protocol) hypothermic(s State) bool {
	t, known := p.temperature(s)
	limit, set := p.Spoken("cold_mild_c")
	if !set || !known || s.Hypothermic && s.coldAt > t.At {
		return s.Hypothermic
	}
	return t.Value < limit
}

// coldDose reports whether the protocol has a dose of epinephrine left below its
// limit.
func (p *Protocol) coldDose(s State) bool {
	n, decided := p.Spoken("cold_epinephrine_doses")
	return decided && float64(len(s.Doses("epinephrine"))) < n
}

// withheld reports whether the patient is too cold for epinephrine in the arrest, or
// a clinician has to decide whether.
func (p *Protocol) withheld(s State) bool { return s.InArrest() && p.tooCold(s) && !p.coldDose(s) }

// coldEpinephrine is silent where the protocol withholds it below its limit;
// where a clinician has to decide, it asks when a dose would be due.
func (p *Protocol) coldEpinephrine(s State) []Cue {
	if p.Values["cold_epinephrine_doses"].Status != Unresolved || len(s.Doses("epinephrine")) > 0 {
		return nil
	}
	from, ok := p.firstEpinephrine(s)
	if !ok {
		return nil
	}
	c := due("cold.drug", from+p.Span("settle_s"), Seconds(20), Due)
	c.Parts = []Cue{{ID: "dose.check"}}
	return []Cue{c.every(p.Span("drug_again_s"), p.Span("drug_again_most_s"))}
}

// colder tells what changes with a temperature that was just measured, once for each
// range: below the protocol's limit, or where it doubles the interval of epinephrine.
func (p *Protocol) colder(s State) []Cue {
	t, known := p.temperature(s)
	if !known {
		return nil
	}
	mild, set := p.Spoken("cold_mild_c")
	below := func(limit float64) bool { return t.Value < limit && (t.Before == 0 || t.Before >= limit) }
	switch limit := p.Values["cold_c"]; {
	case !limit.None && t.Value < limit.Value:
		if s.Hypothermic && t.Before == 0 || !below(limit.Value) {
			return nil // told when it was called
		}
		return p.cold(s)
	case set && s.InArrest() && t.Value < mild && (below(mild) || t.Before < limit.Value):
		c := p.say(Cue{ID: "cold.interval"}, "epinephrine_due_s", "minutes")
		return []Cue{p.say(c, "epinephrine_overdue_s", "minutes_max")}
	}
	return nil
}

// cold is what follows when the patient is called hypothermic: what the
// protocol changes below a temperature, or that a clinician has to decide.
func (p *Protocol) cold(s State) []Cue {
	v := p.Values["cold_c"]
	t, known := p.temperature(s)
	if v.None || s.knownPulse() || !p.maybeCold(s) && !(known && t.Value < v.Value) {
		return nil
	}
	shocks := p.say(Cue{ID: "cold.shocks"}, "cold_c", "degrees", "cold_shocks", "shocks")
	n, decided := p.Spoken("cold_epinephrine_doses")
	switch {
	case shocks.Parts != nil: // unresolved: one sentence for all of it
		return []Cue{{ID: "cold.open"}, {ID: "dose.check"}}
	case !decided:
		return []Cue{shocks, {ID: "cold.epinephrine"}, {ID: "dose.check"}}
	case n == 0:
		return []Cue{shocks, {ID: "cold.withhold"}}
	}
	return []Cue{shocks}
}
