package timeline

// special is what the kind of arrest or patient asks for beside the cycle:
// causes when no shock helps, a refractory rhythm, pregnancy, opioids. What is
// called late counts from then.
func (p *Protocol) special(s State) []Cue {
	out := append(p.causes(s), p.refractory(s)...)
	out = append(out, p.pregnant(s)...)
	return append(out, p.opioid(s)...)
}

// refractory: still a rhythm to shock after so many shocks. Under a protocol
// that changes the vector, until that was done; in the cold, where a protocol
// ends the shocks.
func (p *Protocol) refractory(s State) []Cue {
	n, id := p.Get("refractory_shocks"), "refractory"
	vector, changes := p.Spoken("vector_change_shocks")
	most, ends := p.Spoken("cold_shocks")
	_, changed := s.Done["vector"]
	switch {
	case ends && p.maybeCold(s):
		n, id = most, "cold.enough"
	case changes && changed:
		return nil
	case changes:
		n, id = vector, "refractory.vector"
	}
	at, ok := nthShock(s, int(n))
	if !s.Rhythm.Shockable() || !ok || s.RhythmAt < at {
		return nil
	}
	c := due(id, s.RhythmAt+p.Span("settle_s"), Seconds(30), Advice).with("shocks", n)
	if id == "cold.enough" {
		c = p.say(c, "cold_c", "degrees")
	}
	return []Cue{c}
}

// pregnant: the womb aside, the delivery prepared at once and out by the
// protocol's limit; without a limit, or past it, now.
func (p *Protocol) pregnant(s State) []Cue {
	if s.PregnantAt == Never {
		return nil
	}
	settle, known := p.Span("settle_s"), max(s.ArrestAt, s.PregnantAt, s.LostAt)
	aside := max(max(s.ArrestAt, s.LostAt)+p.Span("displace_s"), s.PregnantAt+settle)
	out := []Cue{due("pregnant.displace", aside, Seconds(120), Advice)}
	if _, done := s.Done["delivery"]; done {
		return out
	}
	again := func(c Cue) Cue { return c.every(p.Span("drug_again_s"), p.Span("drug_again_most_s")) }
	_, limited := p.Spoken("delivery_s")
	limit := s.ArrestAt + p.Span("delivery_s")
	if !limited || known+2*settle >= limit {
		return append(out, again(due("pregnant.delivery.now", known+2*settle, Seconds(60), Due)))
	}
	soon := due("pregnant.delivery", max(limit-p.Span("delivery_warning_s"), known+2*settle), Seconds(60), Due)
	if known+2*settle < soon.At {
		out = append(out, due("pregnant.prepare", known+2*settle, Seconds(60), Due))
	}
	return append(out, p.say(soon, "delivery_s", "minutes"), again(due("pregnant.delivery.now", limit, Seconds(60), Due)))
}

// opioid: an antagonist only where the protocol has one in the arrest, and never
// before compressions run and the rhythm was seen.
func (p *Protocol) opioid(s State) []Cue {
	if s.OpioidAt == Never || len(s.Given["naloxone"]) > 0 {
		return nil
	}
	if p.Values["naloxone_s"].None {
		return []Cue{due("opioid.breaths", max(s.OpioidAt, s.ArrestAt)+2*p.Span("settle_s"), Seconds(60), Advice)}
	}
	if !s.Compressing || s.Rhythm == Unknown {
		return nil
	}
	from := max(s.OpioidAt, s.FirstCompression, s.RhythmAt) + p.Span("naloxone_s")
	return []Cue{due("opioid.naloxone", from, Seconds(120), Advice)}
}

// opioidPulse: for whoever has not lost the pulse the breaths come first, and then the
// antagonist.
func (p *Protocol) opioidPulse(s State) []Cue {
	if s.OpioidAt == Never || s.FirstROSC != Never || s.Ended != Never || len(s.Given["naloxone"]) > 0 {
		return nil
	}
	return []Cue{due("opioid.pulse", max(s.OpioidAt, s.PulseAt)+p.Span("opioid_pulse_s"), Seconds(60), Due)}
}

// maybeCold reports whether the patient is colder than the protocol's limit, or
// was called cold and nobody knows how cold.
func (p *Protocol) maybeCold(s State) bool {
	_, measured := s.Measured["temperature"]
	return p.tooCold(s) || s.Hypothermic && !measured
}

// hypothermic reports whether the protocol's rules for a cold patient hold: by the
// last of a measured temperature, where the protocol has a limit, and of what was
// called.
func (p *Protocol) hypothermic(s State) bool {
	t, measured := s.Measured["temperature"]
	limit, set := p.Spoken("cold_mild_c")
	if !set || !measured || !p.plausible("temperature", t.Value) || s.Hypothermic && s.coldAt > t.At {
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
	t := s.Measured["temperature"]
	if !p.plausible("temperature", t.Value) {
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
	t, measured := s.Measured["temperature"]
	if v.None || !p.maybeCold(s) && !(measured && t.Value < v.Value) {
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
