package timeline

import "slices"

// withPulse is the care of a rhythm that is too fast or too slow, once the
// patient was called stable or unstable, or the protocol treats the rhythm as
// unstable whatever was called. Without a pulse it does not apply: the arrest's
// agenda takes over at once.
func (p *Protocol) withPulse(s State) []Cue {
	always := slices.Contains(p.AlwaysUnstable, s.Rhythm)
	if s.Ended != Never || s.StabilityAt == Never && !always && !p.slowChild(s) {
		return nil
	}
	from := p.treatedFrom(s) + p.Span("settle_s")
	ecg := due("peri.ecg", from, Seconds(60), Advice)
	switch {
	case always || s.Rhythm.Fast() && s.Unstable:
		return p.unstable(s, always)
	case s.Rhythm == SVT:
		return append([]Cue{ecg}, p.stableNarrow(s, from)...)
	case s.Rhythm == VT:
		return append([]Cue{ecg}, p.stableVT(s, from)...)
	case s.Rhythm == Torsades && len(s.Given["magnesium"]) == 0:
		return []Cue{ecg, p.slowly("magnesium", s, from+p.Span("stable_drug_s"))}
	case s.Rhythm == AF, s.Rhythm == Flutter:
		return []Cue{ecg}
	case p.tooSlow(s):
		return p.slowOrCold(s, from)
	}
	return nil
}

// treatedFrom is from when a rhythm with a pulse is treated. A slow child counts as unstable
// before it is called so: its steps go on.
func (p *Protocol) treatedFrom(s State) Time {
	if p.patient(s) != "" && s.Rhythm == Brady && s.StabilityAt-s.RhythmAt < p.Span("drug_again_s") {
		return s.RhythmAt
	}
	return max(s.StabilityAt, s.RhythmAt)
}

// unstable: synchronised shocks, synchronised anew each time; a polymorphic
// rhythm cannot be synchronised with and gets a defibrillation. After one of
// these the rhythm must be called before the next.
func (p *Protocol) unstable(s State, always bool) []Cue {
	from := max(s.StabilityAt, s.RhythmAt) + p.Span("settle_s")
	if always { // said once, whatever the patient is called
		from = s.RhythmAt + p.Span("settle_s")
	}
	energy, synced, ok := p.NextEnergy(s)
	id, n := "peri.cardioversion", len(s.Shocks)
	switch {
	case !synced && n > 0 && s.Shocks[n-1].At >= s.RhythmAt:
		return nil
	case !synced:
		id = "peri.unsynchronised"
	case n > 0 && s.Shocks[n-1].Synced && s.Shocks[n-1].At >= s.StabilityAt && s.Shocks[n-1].Rhythm == s.Rhythm:
		id, from = "peri.resync", s.Shocks[n-1].At+p.Span("resync_s")
		if s.ChargingAt != Never { // sooner, if the next one is being prepared
			from = min(from, s.ChargingAt+p.Span("settle_s")/3)
		}
	case s.ChargingAt >= max(s.StabilityAt, s.RhythmAt): // it is being done
		return nil
	default:
		from += p.Span("settle_s") // whoever acts at once is not told to
	}
	c := due(id, from, Seconds(30), Due)
	if c.Parts = p.doubtedWho(s); c.Parts == nil {
		c = c.withAmount("energy_j", energy, ok)
	}
	return []Cue{c.every(p.Span("drug_again_s"), p.Span("drug_again_most_s"))}
}

// stableVT considers in turn what the protocol lists: a cardioversion, and the
// first of its drugs with the others named beside it.
func (p *Protocol) stableVT(s State, from Time) []Cue {
	at := from + p.Span("stable_drug_s")
	if given := s.Given["amiodarone"]; len(given) > 0 {
		load := Seconds(60 * p.Get("amiodarone_infusion_min"))
		after := due("peri.amiodarone.after", given[0].At+load, Seconds(60), Advice)
		return []Cue{p.say(after, "amiodarone_after_mg_min", "mg_min")}
	}
	var out []Cue
	for i, what := range p.StableVT {
		switch {
		case what == "cardioversion":
			if len(s.Cardioversions()) == 0 {
				kg, _ := p.Weight(s)
				energy, ok := p.SyncEnergy(s.Rhythm, 0, kg)
				c := due("peri.stable.cardioversion", at, Seconds(60), Advice)
				if c.Parts = p.doubtedWho(s); c.Parts == nil {
					c = c.withAmount("energy_j", energy, ok)
				}
				out = append(out, c)
			}
			at += p.Span("stable_drug_s")
		case len(s.Given[what]) > 0:
			return out
		default:
			c := p.slowly(what, s, at)
			if others := p.StableVT[i+1:]; len(others) > 0 {
				c.Parts = append(c.Parts, Cue{ID: "peri.or", Items: others})
			}
			return append(out, c)
		}
	}
	return out
}

// infused is the row of a drug with a pulse, where that is another dose than in the arrest.
func (p *Protocol) infused(drug string) string {
	if _, ok := p.Drugs[drug+"_infusion"]; ok {
		return drug + "_infusion"
	}
	return drug
}

// entry is the row of a drug for what was called of the patient's pulse. With one,
// epinephrine is for a slow rhythm only.
func (p *Protocol) entry(s State, drug string) string {
	if s.knownPulse() && (drug != "epinephrine" || s.Rhythm == Brady) {
		return p.infused(drug)
	}
	return drug
}

// over is how many minutes an amount is given over; 0: at once.
func (p *Protocol) over(s State, drug string, amount Computed) float64 {
	if amount.Amount.OverMin == 0 && drug == "amiodarone" && p.entry(s, drug) != drug {
		return p.Get("amiodarone_infusion_min")
	}
	return amount.Amount.OverMin
}

// slowly considers a drug that is given over minutes, or as a rate.
func (p *Protocol) slowly(drug string, s State, at Time) Cue {
	kg, _ := p.Weight(s)
	entry := p.infused(drug)
	amount, ok := p.Dose(entry, 0, kg)
	c := due("peri."+drug, at, Seconds(60), Advice)
	if who := p.doubtedWho(s); who != nil {
		c.ID, c.Parts = c.ID+".open", who
		return c
	}
	if a := amount.Amount; a.MgMin > 0 {
		c.ID += ".open" // a rate, and no dose
		c.Parts = []Cue{Cue{ID: "dose.rate"}.with("mg_min", a.MgMin).with("mg_min_max", max(a.MgMin, a.MgMinMax))}
		return p.Drugs[entry].cautioned(c)
	}
	c = c.withAmount("dose_mg", amount, ok)
	switch {
	case !ok: // the weight, or the local chart, first
		c.ID += ".open"
	case amount.Amount.OverMin > 0:
		c = c.with("minutes", amount.Amount.OverMin)
	case drug == "amiodarone":
		c = p.say(c, "amiodarone_infusion_min", "minutes")
	}
	return p.Drugs[entry].cautioned(c)
}

// stableNarrow: vagal manoeuvres, then adenosine until its doses are given.
func (p *Protocol) stableNarrow(s State, from Time) []Cue {
	var out []Cue
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

// prepared notes that a device may be synchronised still: a cardioversion was charged for
// when the pulse was lost.
func (s *State) prepared() {
	if !s.InArrest() && s.Unstable && s.Rhythm.Fast() && s.ChargingAt != Never {
		s.synced = true
	}
}
