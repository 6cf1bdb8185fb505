package timeline

// special is what the kind of arrest or patient asks for beside the cycle:
// causes when no shock helps, a refractory rhythm, pregnancy, opioids.
func (p *Protocol) special(s State) []Cue {
	var out []Cue
	if (s.Rhythm == PEA || s.Rhythm == Asystole) && s.ReviewedAt < s.RhythmAt {
		if left := p.CausesLeft(s); len(left) > 0 {
			c := due("causes.round", s.RhythmAt+p.Span("causes_round_s"), Seconds(60), Advice)
			c.Items = left
			out = append(out, c)
		}
	}
	if n := int(p.Get("refractory_shocks")); s.Rhythm.Shockable() {
		if at, ok := nthShock(s, n); ok && s.RhythmAt >= at {
			out = append(out, due("refractory", s.RhythmAt+p.Span("settle_s"), Seconds(30), Advice).with("shocks", float64(n)))
		}
	}
	if s.Pregnant {
		out = append(out, due("pregnant.displace", s.Started+p.Span("displace_s"), Seconds(120), Advice))
		if _, done := s.Done["delivery"]; !done {
			c := due("pregnant.delivery", s.Started+p.Span("delivery_s")-p.Span("delivery_warning_s"), Seconds(60), Due)
			out = append(out, c.with("minutes", p.Get("delivery_s")/60))
		}
	}
	if s.Opioid && len(s.Given["naloxone"]) == 0 {
		out = append(out, due("opioid.naloxone", s.Started+Seconds(30), Seconds(120), Advice))
	}
	return out
}

// afterReturn is the care after return of circulation: one target at a time,
// and the pulse felt for again.
func (p *Protocol) afterReturn(s State) []Cue {
	if s.PulseAt == Never || s.Started == Never || s.Ended != Never {
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
	for k := Time(1); k <= 10; k++ {
		out = append(out, due("rosc.recheck", s.PulseAt+k*p.Span("pulse_recheck_s"), Seconds(10), Cycle))
	}
	return out
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
	kg, _ := p.Weight(s)
	energy, ok := p.SyncEnergy(s.Rhythm, s.Synced(), kg)
	id := "peri.cardioversion"
	if s.Rhythm == Torsades {
		id = "peri.unsynchronised"
		energy, ok = p.Energy(s.Unsynced(), kg)
	} else if n := len(s.Shocks); n > 0 && s.Shocks[n-1].Synced && s.Shocks[n-1].At >= s.StabilityAt {
		id, from = "peri.resync", s.Shocks[n-1].At+p.Span("settle_s")
	}
	return []Cue{due(id, from, Seconds(30), Due).withAmount("energy_j", energy, ok)}
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
