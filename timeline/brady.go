package timeline

import "slices"

// bradySteps are what a protocol can do, in its order, for an unstable patient whose
// rhythm is too slow.
var bradySteps = []string{"breaths", "compressions", "epinephrine", "atropine", "pacing"}

// slowChild reports whether a child or infant with a pulse has a slow rhythm, and nobody
// has called it stable or unstable: it counts as unstable, for a slow heart is what a
// child's arrest begins with (AHA and ERC, pediatric bradycardia with a pulse).
func (p *Protocol) slowChild(s State) bool {
	seen := s.FirstROSC == Never || s.RhythmAt >= max(s.ArrestAt, s.LostAt) // not before the arrest
	return seen && s.Rhythm == Brady && !s.InArrest() && s.StabilityAt < s.RhythmAt && p.patient(s) != ""
}

// toldSlow is when epinephrine was considered for a slow child who still had a pulse; Never if it
// was not.
func (p *Protocol) toldSlow(s State) Time {
	i := slices.Index(p.Bradycardia, "epinephrine")
	at := s.RhythmAt + p.Span("settle_s") + Time(i)*p.Span("stable_drug_s")
	if i < 0 || s.Rhythm != Brady || p.patient(s) == "" || at >= max(s.ArrestAt, s.LostAt) {
		return Never
	}
	return at
}

// tooSlow reports whether a slow rhythm is to be treated.
func (p *Protocol) tooSlow(s State) bool { return s.Rhythm == Brady && s.Unstable || p.slowChild(s) }

// slowOrCold is what is done for a slow heart; one that may be slow by the cold alone is warmed first, but
// a child's is helped at once.
func (p *Protocol) slowOrCold(s State, from Time) []Cue {
	if p.patient(s) == "" && p.maybeCold(s) {
		return []Cue{due("peri.cold", from+p.Span("cold_slow_s"), Seconds(60), Advice)}
	}
	if t, known := p.temperature(s); known && s.Hypothermic && t.Before == 0 { // not so cold as was feared
		from = max(from, t.At+p.Span("settle_s"))
	}
	return p.slow(s, from)
}

// slow goes through the protocol's steps. Where atropine stands first it is given to
// its limit before the next; behind another drug it is for some causes only, and each
// drug is named in turn.
func (p *Protocol) slow(s State, from Time) []Cue {
	var out []Cue
	gap, gave := p.Span("stable_drug_s"), true // whether each drug so far was given
	for i, step := range p.Bradycardia {
		at := from + Time(i)*gap
		switch step {
		case "breaths":
			out = append(out, s.breathsFirst(from)...)
		case "compressions":
			c := due("peri.compress", at, Seconds(60), Due)
			out = append(out, p.say(c, "brady_compress_rate", "rate"))
		case "epinephrine":
			given := s.Given["epinephrine"]
			if n := len(given); n > 0 {
				at = given[n-1].At + p.Span("epinephrine_due_s")
			}
			gave = gave && len(given) > 0
			out = append(out, p.slowly("epinephrine", s, at))
		case "atropine":
			c, full := p.atropine(s, from, at, i == 0)
			out = append(out, c...)
			if i == 0 && !full {
				return append(out, p.pacingSoon(s)...)
			}
			gave = gave && len(s.Given["atropine"]) > 0
		case "pacing":
			if gave {
				out = append(out, p.pacing(s)...)
			}
		}
	}
	return out
}

// breathsFirst is what is done first for a slow child, until oxygen was called on.
func (s State) breathsFirst(from Time) []Cue {
	if at, on := s.Done["oxygen"]; on && at >= s.RhythmAt {
		return nil
	}
	return []Cue{due("peri.breaths", from, Seconds(60), Due)}
}

// atropine is its next dose, and whether all that the protocol allows was given.
func (p *Protocol) atropine(s State, from, at Time, first bool) (out []Cue, full bool) {
	given := s.Given["atropine"]
	kg, _ := p.Weight(s)
	d := p.Drugs["atropine"]
	total := d.TotalCap(kg)
	full = total > 0 && s.Total("atropine") >= total || d.MaxDoses > 0 && len(given) >= d.MaxDoses
	if full {
		return nil, true
	}
	if _, pacing := s.Done["pacing"]; pacing {
		return nil, false
	}
	id := "peri.atropine"
	if !first {
		id, from = "peri.atropine.vagal", at
	}
	if n := len(given); n > 0 {
		from = given[n-1].At + p.Span("atropine_interval_s")
	}
	return []Cue{p.consider(id, "atropine", s, from, Seconds(60), Due)}, false
}

// pacingSoon considers pacing while atropine is repeated: a minute after the first dose,
// whoever is unstable still has not been helped by it (AHA 2020 and 2025, adult bradycardia
// algorithm: if atropine is ineffective, pacing or an infusion).
func (p *Protocol) pacingSoon(s State) []Cue {
	given := s.Given["atropine"]
	_, done := s.Done["pacing"]
	if done || len(given) == 0 || !slices.Contains(p.Bradycardia, "pacing") {
		return nil
	}
	return []Cue{due("peri.pacing", given[0].At+p.Span("drug_again_s"), Seconds(60), Due)}
}

// pacing, and the infusion beside it, once the drugs before it were given.
func (p *Protocol) pacing(s State) []Cue {
	if _, done := s.Done["pacing"]; done {
		return nil
	}
	last := Never
	for _, drug := range p.Bradycardia {
		if given := s.Given[drug]; len(given) > 0 {
			last = max(last, given[len(given)-1].At)
		}
	}
	at := last + p.Span("settle_s")
	drip := due("peri.infusion", at+p.Span("infusion_after_pacing_s"), Seconds(60), Advice)
	drip = p.say(drip, "brady_epinephrine_min", "min", "brady_epinephrine_max", "max")
	if slices.Contains(p.Bradycardia, "epinephrine") { // it was given as doses
		return []Cue{due("peri.pacing", at, Seconds(60), Due)}
	}
	return []Cue{due("peri.pacing", at, Seconds(60), Due), drip}
}
