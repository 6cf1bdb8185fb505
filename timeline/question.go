package timeline

import "math"

// questions are what a callout contradicts, judged by the state before it.
// They are asked once, logged, and block nothing: the leader may be right.
func (p *Protocol) questions(s State, e Event) []Cue {
	p = p.For(s)
	var out []Cue
	ask := func(id string) *Cue {
		out = append(out, Cue{ID: "question." + id, Priority: Answer})
		return &out[len(out)-1]
	}
	switch e.Kind {
	case ShockGiven:
		if s.InArrest() && (s.Rhythm == PEA || s.Rhythm == Asystole || s.Rhythm == Organised) {
			ask("shock.rhythm")
		}
		if s.PulsePresent && s.Rhythm != Torsades {
			ask("shock.pulse")
		}
	case CardioversionDone:
		if s.InArrest() && s.Rhythm == VF {
			ask("sync.vf")
		}
	}
	if drug, ok := e.Kind.Drug(); ok {
		out = append(out, p.doseQuestions(s, e, drug)...)
	}
	return out
}

// doseQuestions: too soon, too many, too much.
func (p *Protocol) doseQuestions(s State, e Event, drug string) []Cue {
	var out []Cue
	d, given := p.Drugs[drug], s.Given[drug]
	if n := len(given); drug == "epinephrine" && n > 0 {
		if since := e.At - given[n-1].At; since < p.Span("epinephrine_due_s") {
			c := Cue{ID: "question.epinephrine.early", Priority: Answer}
			secs := math.Max(0, math.Floor(since.Seconds()))
			out = append(out, c.with("minutes", math.Floor(secs/60)).with("seconds", math.Mod(secs, 60)))
		}
	}
	if d.MaxDoses > 0 && len(given) >= d.MaxDoses {
		c := Cue{ID: "question.drug.doses", Priority: Answer, Items: []string{drug}}
		out = append(out, c.with("doses", float64(d.MaxDoses)))
	}
	mg := e.Values["dose_mg"] + 1000*e.Values["dose_g"]
	kg, _ := p.Weight(s)
	if most, ok := p.Most(drug, kg); ok && mg > most*1.001 {
		c := Cue{ID: "question.drug.amount", Priority: Answer, Items: []string{drug}}
		out = append(out, c.with("dose_mg", most))
	} else if limit := d.TotalCap(kg); limit > 0 && s.Total(drug)+mg > limit*1.001 {
		c := Cue{ID: "question.drug.total", Priority: Answer, Items: []string{drug}}
		out = append(out, c.with("dose_mg", limit))
	}
	return out
}

// Most is the largest single dose of a drug for a patient of kg kilograms; with
// the weight unknown, the adult's limit.
func (p *Protocol) Most(drug string, kg float64) (float64, bool) {
	most := 0.0
	for _, a := range p.Drugs[drug].Doses {
		a.PerKg = max(a.PerKg, a.PerKgMax)
		c, ok := a.For(kg)
		if !ok {
			c.Value = a.Max
		}
		most = math.Max(most, c.Value)
	}
	return most, most > 0
}
