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
	since := s
	if id != "cold.enough" {
		since = s.sinceLost()
	}
	at, ok := nthShock(since, int(n))
	if !s.Rhythm.Shockable() || !ok || s.RhythmAt < at || s.Clear() {
		return nil
	}
	c := due(id, s.RhythmAt+p.Span("settle_s"), Seconds(30), Advice)
	if id == "cold.enough" {
		return []Cue{p.say(c.with("shocks", n), "cold_c", "degrees")}
	}
	given := since.shocksInAll()
	if id == "refractory" && (given-int(n))%int(n) != 0 { // not at every check
		return nil
	}
	c = c.with("shocks", float64(given))
	return []Cue{c}
}

// sinceLost is the state with those shocks alone that were given since a pulse was lost that had come back:
// what was converted was not refractory.
func (s State) sinceLost() State {
	if s.LostAt > s.ArrestAt {
		s.ArrestAt, s.ShocksBefore = s.LostAt, 0
	}
	return s
}

// pregnant: the womb aside, the delivery prepared at once and out by the
// protocol's limit; without a limit, or past it, now.
func (p *Protocol) pregnant(s State) []Cue {
	if _, done := s.Done["delivery"]; done || s.PregnantAt == Never {
		return nil
	}
	settle, known := p.Span("settle_s"), max(s.ArrestAt, s.PregnantAt, s.LostAt)
	aside := max(max(s.ArrestAt, s.LostAt)+p.Span("displace_s"), s.PregnantAt+settle)
	out := []Cue{due("pregnant.displace", aside, Seconds(120), Advice)}
	settled := known + 2*settle
	again := func(c Cue) Cue { return c.every(p.Span("drug_again_s"), p.Span("drug_again_most_s")) }
	_, limited := p.Spoken("delivery_s")
	limit := s.arrestTold() + p.Span("delivery_s")
	if !limited || settled >= limit {
		return append(out, again(due("pregnant.delivery.now", max(settled, aside+settle), Seconds(60), Due))) // behind it
	}
	soon := due("pregnant.delivery", max(limit-p.Span("delivery_warning_s"), settled), Seconds(60), Due)
	if settled < soon.At {
		out = append(out, due("pregnant.prepare", settled, Seconds(60), Due))
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

// breathless: breaths for whoever has a pulse and was called not breathing, or whose arrest an opioid
// caused.
func (p *Protocol) breathless(s State) []Cue {
	given := s.Given["naloxone"]
	again := len(given) > 0 && s.NoBreathingAt > given[len(given)-1].At // it lasts less long than the opioid
	told := s.OpioidAt != Never && s.FirstROSC == Never && !again       // see opioidPulse
	if !s.breathless() || told || s.Ended != Never {
		return nil
	}
	from := max(s.NoBreathingAt, s.PulseAt) + p.Span("opioid_pulse_s")
	return []Cue{due("breathing.breaths", from, Seconds(30), Due)}
}

// opioidPulse: for whoever has not lost the pulse the breaths come first, and then the
// antagonist.
func (p *Protocol) opioidPulse(s State) []Cue {
	if s.OpioidAt == Never || s.FirstROSC != Never || s.Ended != Never || len(s.Given["naloxone"]) > 0 ||
		s.BreathingAt >= s.OpioidAt {
		return nil
	}
	return []Cue{due("opioid.pulse", max(s.OpioidAt, s.PulseAt)+p.Span("opioid_pulse_s"), Seconds(60), Due)}
}
