package timeline

// special is what the kind of arrest or patient asks for beside the cycle:
// causes when no shock helps, a refractory rhythm, pregnancy, opioids. What is
// called late counts from then.
func (p *Protocol) special(s State) []Cue {
	out := append(p.causes(s), p.refractory(s)...)
	settle := p.Span("settle_s")
	if _, done := s.Done["delivery"]; s.PregnantAt != Never {
		out = append(out, due("pregnant.displace", max(s.ArrestAt+p.Span("displace_s"), s.PregnantAt+settle), Seconds(120), Advice))
		if !done {
			c := due("pregnant.delivery.now", max(s.ArrestAt, s.PregnantAt)+2*settle, Seconds(60), Due)
			if _, limit := p.Spoken("delivery_s"); limit {
				from := max(s.ArrestAt+p.Span("delivery_s")-p.Span("delivery_warning_s"), s.PregnantAt+2*settle)
				c = p.say(due("pregnant.delivery", from, Seconds(60), Due), "delivery_s", "minutes")
			}
			out = append(out, c.every(p.Span("drug_again_s"), p.Span("drug_again_most_s")))
		}
	}
	_, advised := p.Spoken("naloxone_s")
	if s.OpioidAt != Never && len(s.Given["naloxone"]) == 0 && advised && s.FirstCompression != Never && s.Rhythm != Unknown {
		from := max(s.OpioidAt, s.FirstCompression, s.RhythmAt) + p.Span("naloxone_s")
		out = append(out, due("opioid.naloxone", from, Seconds(120), Advice))
	}
	return out
}

// causes are gone through once, after the first rhythm that no shock helps;
// after each later one only their number is told.
func (p *Protocol) causes(s State) []Cue {
	left := p.CausesLeft(s)
	if s.NoShockAt == Never || s.Rhythm.Shockable() || s.ReviewedAt >= s.RhythmAt || len(left) == 0 {
		return nil
	}
	c := due("causes.open", s.RhythmAt+p.Span("causes_round_s"), Seconds(60), Advice).with("causes", float64(len(left)))
	if s.RhythmAt == s.NoShockAt {
		c.ID, c.Values, c.Items = "causes.round", nil, left
	}
	return []Cue{c}
}

// refractory: still a rhythm to shock after so many shocks.
func (p *Protocol) refractory(s State) []Cue {
	n, id := p.Get("refractory_shocks"), "refractory"
	if v, ok := p.Spoken("vector_change_shocks"); ok {
		n, id = v, "refractory.vector"
	}
	at, ok := nthShock(s, int(n))
	if !s.Rhythm.Shockable() || !ok || s.RhythmAt < at {
		return nil
	}
	return []Cue{due(id, s.RhythmAt+p.Span("settle_s"), Seconds(30), Advice).with("shocks", n)}
}

// afterReturn is the care after return of circulation: one target at a time,
// and the pulse felt for again. Who never lost the pulse gets none of it.
func (p *Protocol) afterReturn(s State) []Cue {
	if s.PulseAt == Never || s.FirstROSC == Never || s.Ended != Never {
		return nil
	}
	at := func(k Time, id string) Cue {
		return due(id, s.PulseAt+p.Span("aftercare_s")+k*p.Span("aftercare_gap_s"), Seconds(30), Advice)
	}
	out := []Cue{
		p.say(at(0, "rosc.oxygen"), "rosc_spo2_min", "min", "rosc_spo2_max", "max"),
		p.say(at(1, "rosc.ventilation"), "rosc_ventilation_s", "seconds"),
		p.temperature(at(3, "rosc.temperature")),
	}
	if p.patient(s) == "" { // a child's pressure goes by age: no single number
		out = append(out, p.pressure(at(2, "rosc.pressure")))
	}
	if _, done := s.Done["ecg"]; !done {
		out = append(out, at(4, "rosc.ecg"))
	}
	every := p.Span("pulse_recheck_s")
	recheck := due("rosc.recheck", s.PulseAt+every, Seconds(10), Cycle)
	return append(out, recheck.every(every, every))
}

// temperature names the bounds that the protocol sets, and for how long.
func (p *Protocol) temperature(c Cue) Cue {
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

// withPulse is the care of a rhythm that is too fast or too slow, once the
// patient was called stable or unstable. Without a pulse it does not apply:
// the arrest's agenda takes over at once.
func (p *Protocol) withPulse(s State) []Cue {
	if s.StabilityAt == Never || s.Ended != Never {
		return nil
	}
	from := max(s.StabilityAt, s.RhythmAt) + p.Span("settle_s")
	switch {
	case s.Rhythm.Fast() && s.Unstable:
		return p.unstable(s, from)
	case s.Rhythm == SVT:
		return p.stableNarrow(s, from)
	case s.Rhythm == VT:
		out := []Cue{due("peri.ecg", from, Seconds(60), Advice)}
		if given := s.Given["amiodarone"]; len(given) > 0 {
			after := due("peri.amiodarone.after", given[0].At+Seconds(60*p.Get("amiodarone_infusion_min")), Seconds(60), Advice)
			out = append(out, after.with("mg_min", p.Get("amiodarone_after_mg_min")))
		} else {
			c := p.consider("peri.amiodarone", "amiodarone_infusion", s, from+p.Span("stable_drug_s"), Seconds(60), Advice)
			out = append(out, c.with("minutes", p.Get("amiodarone_infusion_min")))
		}
		return out
	case s.Rhythm == Brady && s.Unstable:
		return p.slow(s, from)
	}
	return nil
}

// unstable: synchronised shocks, synchronised anew each time; a polymorphic
// rhythm cannot be synchronised with and gets a defibrillation.
func (p *Protocol) unstable(s State, from Time) []Cue {
	energy, synced, ok := p.NextEnergy(s)
	id := "peri.cardioversion"
	if !synced {
		id = "peri.unsynchronised"
	} else if n := len(s.Shocks); n > 0 && s.Shocks[n-1].Synced && s.Shocks[n-1].At >= s.StabilityAt {
		id, from = "peri.resync", s.Shocks[n-1].At+p.Span("settle_s")
	}
	c := due(id, from, Seconds(30), Due).withAmount("energy_j", energy, ok)
	return []Cue{c.every(p.Span("drug_again_s"), p.Span("drug_again_most_s"))}
}

// stableNarrow: vagal manoeuvres, then adenosine until its doses are given.
func (p *Protocol) stableNarrow(s State, from Time) []Cue {
	out := []Cue{due("peri.ecg", from, Seconds(60), Advice)}
	vagal, tried := s.Done["vagal"]
	if !tried {
		out = append(out, due("peri.vagal", from+p.Span("vagal_s"), Seconds(60), Advice))
		vagal = from
	}
	given := s.Given["adenosine"]
	if d := p.Drugs["adenosine"]; len(given) < max(d.MaxDoses, len(d.Doses)) {
		at := vagal + p.Span("adenosine_after_vagal_s")
		if n := len(given); n > 0 {
			at = given[n-1].At + p.Span("adenosine_interval_s")
		}
		out = append(out, p.consider("peri.adenosine", "adenosine", s, at, Seconds(60), Advice))
	}
	return out
}

// slow: atropine to its limit, then pacing.
func (p *Protocol) slow(s State, from Time) []Cue {
	given := s.Given["atropine"]
	kg, _ := p.Weight(s)
	d := p.Drugs["atropine"]
	total := d.TotalCap(kg)
	full := total > 0 && s.Total("atropine") >= total || d.MaxDoses > 0 && len(given) >= d.MaxDoses
	if _, pacing := s.Done["pacing"]; full && !pacing {
		at := given[len(given)-1].At + p.Span("settle_s")
		drip := p.say(due("peri.infusion", at+p.Span("infusion_after_pacing_s"), Seconds(60), Advice), "brady_epinephrine_min", "min", "brady_epinephrine_max", "max")
		return []Cue{due("peri.pacing", at, Seconds(60), Due), drip}
	} else if full || pacing {
		return nil
	}
	if n := len(given); n > 0 {
		from = given[n-1].At + p.Span("atropine_interval_s")
	}
	return []Cue{p.consider("peri.atropine", "atropine", s, from, Seconds(60), Due)}
}

// CausesLeft lists the reversible causes that were neither treated nor
// excluded, in the protocol's order.
func (p *Protocol) CausesLeft(s State) []string {
	var out []string
	for _, c := range p.For(s).Causes {
		if state := s.Causes[c]; state != "treated" && state != "excluded" {
			out = append(out, c)
		}
	}
	return out
}
