package timeline

import (
	"fmt"
	"math"
	"slices"
)

// question is a contradiction to be asked about.
type question struct {
	Cue
	once    string // asked once under this name; empty: each time
	instead bool   // it names what was said: no read-back is needed
	amount  bool   // it is about an amount, which only holds if it is known who lies there
}

// questions are what a callout contradicts, judged by the state before it.
// They are asked, logged, and block nothing: the leader may be right.
func (p *Protocol) questions(s State, e Event) []question {
	switch {
	case s.Ended != Never: // a late fact, or of the next patient
		return nil
	case s.OfNewborn():
		return p.newbornQuestions(s, e)
	}
	if out := p.weightQuestions(s, e); out != nil {
		return out
	}
	if s.sameShock(e) {
		return []question{{Cue: Cue{ID: "question.shock.again"}, instead: true}}
	}
	if row := e.Kind.Row(); row.Arrest || row.Shockable { // asked while there is time
		after := s
		after.apply(e)
		return after.syncLeft(false)
	}
	out := append(s.ecmoQuestions(e), p.For(s).actQuestions(s, e)...)
	if who, open := p.whoFor(s, e, out); open { // whose amount it is, nobody has said
		out = append(who, slices.DeleteFunc(out, func(q question) bool { return q.amount })...)
	}
	return out
}

// actQuestions are what a shock, a dose or a number contradicts in the patient's own form
// of the protocol.
func (p *Protocol) actQuestions(s State, e Event) []question {
	switch e.Kind {
	case ShockCharging, ShockClear, ShockGiven, ShockStacked:
		return p.shockQuestions(s, e)
	case CardioversionDone:
		if out := s.syncQuestions(); out != nil || s.InArrest() {
			return out
		}
		return p.energyQuestion(s, e)
	}
	switch f, name := e.Kind.Family(); f {
	case "measured.":
		return p.vitalQuestions(e, name)
	case "before.":
		return s.beforeQuestions(e)
	}
	if drug, ok := e.Kind.Drug(); ok {
		if s.sameDose(drug, e) {
			return []question{{Cue: Cue{ID: "question.drug.again"}}}
		}
		return slices.Concat(p.coldQuestion(s, drug), p.pulseQuestion(s, e, drug), p.doubtQuestions(s, drug),
			p.doseQuestions(s, e, drug))
	}
	return nil
}

// syncQuestions are what a synchronised shock contradicts.
func (s State) syncQuestions() []question {
	switch {
	case s.InArrest() && s.Rhythm == VF:
		return []question{{Cue: Cue{ID: "question.sync.vf"}}}
	case s.InArrest() && s.Rhythm.Pulseless():
		return []question{{Cue: Cue{ID: "question.shock.rhythm"}}}
	case s.Rhythm == Torsades, s.InArrest() && s.Rhythm == VT: // no device can; without a pulse nobody does
		return []question{{Cue: Cue{ID: "question.sync.off"}}}
	}
	return nil
}

// energyQuestion asks about an energy that is not what is given.
func (p *Protocol) energyQuestion(s State, e Event) []question {
	instead, said := p.oddEnergy(s, e)
	if said == 0 {
		return nil
	}
	c := Cue{ID: "question.energy"}.with("said_j", said).with("energy_j", instead)
	once := fmt.Sprintf("energy %d %d", s.RhythmAt, len(s.Shocks))
	return []question{{Cue: c, once: once, instead: !e.Kind.shocks(), amount: true}} // what follows a shock is said first
}

// knownPulse reports whether the patient has a pulse by what was called: one
// that was felt, or stable or unstable.
func (s State) knownPulse() bool {
	return !s.InArrest() && s.Ended == Never && (s.PulsePresent || s.StabilityAt != Never)
}

// coldQuestion asks once about a drug of the arrest for a patient who is too cold for it.
func (p *Protocol) coldQuestion(s State, drug string) []question {
	once := fmt.Sprintf("drug.cold %s %d", drug, s.ArrestAt)
	switch {
	case drug == "epinephrine" && p.withheld(s):
		return []question{{Cue: Cue{ID: "question.drug.cold"}, once: once}}
	case slices.Contains(p.Antiarrhythmics, drug) && s.InArrest() && p.tooCold(s):
		return []question{{Cue: Cue{ID: "question.drug.cold.other"}, once: once}}
	}
	return nil
}

// pulseQuestion asks once, of epinephrine each time, for a dose of the arrest that goes to a patient who
// has a pulse: as much as in the arrest, and more than the protocol gives with one.
// Epinephrine without an amount is taken for the arrest's.
func (p *Protocol) pulseQuestion(s State, e Event, drug string) []question {
	if !s.knownPulse() || !ofTheArrest(drug) || drug == "epinephrine" && s.anaphylactic() {
		return nil
	}
	kg, _ := p.Weight(s)
	most, ok := p.Drugs[drug].most(0, kg)
	slow, _ := p.Drugs[drug+"_infusion"].most(0, kg)
	if drug == "epinephrine" && s.Rhythm != Brady { // with a pulse it is for a slow rhythm only
		slow = 0
	}
	mg := e.Milligrams()
	if mg == 0 && drug == "epinephrine" {
		mg = most
	}
	if !ok || mg < most*0.999 || mg <= slow*1.001 {
		return nil
	}
	once := fmt.Sprintf("drug.pulse %s %d", drug, max(s.PulseAt, s.StabilityAt))
	if drug == "epinephrine" { // the bolus of the arrest is too much for a heart that beats, each time
		once = ""
	}
	return []question{{Cue: Cue{ID: "question.drug.pulse"}, once: once}}
}

// shockQuestions are asked while the shock can still be withheld, or else after
// it, once for each rhythm and shock.
func (p *Protocol) shockQuestions(s State, e Event) []question {
	var out []question
	ask := func(id string) {
		once := fmt.Sprintf("%s %d %d", id, s.RhythmAt, len(s.Shocks))
		out = append(out, question{Cue: Cue{ID: "question." + id}, once: once})
	}
	given := e.Kind == ShockGiven || e.Kind == ShockStacked
	if s.InArrest() && s.Rhythm != Unknown && !s.Rhythm.Shockable() {
		ask("shock.rhythm")
	}
	switch cardioversion := s.StabilityAt != Never && s.Rhythm.Fast(); { // one is being prepared
	case !s.knownPulse() || s.Rhythm == Torsades:
	case !cardioversion:
		ask("shock.pulse")
	case given: // called as one that was not synchronised
		ask("sync.on")
	}
	out = append(out, s.syncLeft(!given)...)
	if most, spent := p.coldShocksSpent(s); spent {
		ask("shock.cold")
		out[len(out)-1].Cue = out[len(out)-1].Cue.with("shocks", most)
	}
	return append(out, p.energyQuestion(s, e)...)
}

// syncLeft asks whether the device, synchronised for the shock before, is not any more:
// synchronised, it gives none in fibrillation or without a pulse. Asked when that is called,
// and again of whoever charges it.
func (s State) syncLeft(charging bool) []question {
	if !s.leftSynced() || !s.InArrest() {
		return nil
	}
	once := fmt.Sprintf("sync.off %d %d %v", s.ArrestAt, len(s.Shocks), charging)
	return []question{{Cue: Cue{ID: "question.sync.off"}, once: once}}
}

// coldShocksSpent returns how many shocks a cold patient gets before rewarming,
// and whether this one is cold and has had them.
func (p *Protocol) coldShocksSpent(s State) (most float64, spent bool) {
	most, limited := p.Spoken("cold_shocks")
	return most, limited && p.tooCold(s) && float64(s.shocksInAll()) >= most
}

// leftSynced reports whether the last shock was synchronised, or one was being prepared that
// was to be, in a rhythm that needs one that is not.
func (s State) leftSynced() bool {
	n := len(s.Shocks)
	return (s.synced || n > 0 && s.Shocks[n-1].Synced) && s.Rhythm.Shockable()
}

// oddEnergy returns the energy that was said and the one to give instead; zero: what
// was said is neither too much nor too little, or nothing limits it.
func (p *Protocol) oddEnergy(s State, e Event) (instead, said float64) {
	said = e.Values["energy_j"]
	least, most := p.energyBounds(s)
	if said == 0 || said >= least*0.999 && said <= most*1.001 {
		return 0, 0
	}
	if next, _, ok := p.NextEnergy(s); ok {
		return next.Value, said
	}
	return min(max(said, least), most), said
}

// energyBounds are the energies that nobody asks about: by weight, or what a
// defibrillator gives, and in an arrest no less than the shock before it (AHA: same or
// higher; ERC: same, and to raise it is reasonable).
func (p *Protocol) energyBounds(s State) (least, most float64) {
	most, byWeight := p.MostEnergy(s)
	if !byWeight {
		most = p.Get("shock_most_j")
	}
	if !s.InArrest() {
		return p.leastSync(s), most
	}
	kg, _ := p.Weight(s)
	switch first, ok := p.Energy(0, kg); {
	case !byWeight:
		least = p.Get("shock_least_j")
	case ok:
		least = first.Value * p.Get("shock_least_part")
	}
	if given := s.Defibrillations(); len(given) > 0 {
		least = max(least, given[len(given)-1].Joules)
	}
	return min(least, most), most
}

// doseQuestions: too much, too soon, too many.
func (p *Protocol) doseQuestions(s State, e Event, drug string) []question {
	var out []question
	ask := func(id string) *question {
		out = append(out, question{Cue: Cue{ID: "question." + id, Items: []string{drug}}})
		return &out[len(out)-1]
	}
	d, given, mg := p.Drugs[drug], s.Doses(drug), e.Milligrams()
	out = append(out, p.amountQuestion(s, e, drug)...)
	if last, ok := p.lastEpinephrine(s); ok && drug == "epinephrine" && len(given) == 0 {
		given = []Dose{last} // before the arrest
	}
	if n := len(given); n > 0 && !given[n-1].Untimed {
		if since := e.At - given[n-1].At; since < p.tooSoon(drug, given[n-1].Mg, mg, len(out) > 0) {
			secs := math.Max(1, math.Floor(since.Seconds()))
			q := ask("drug.early")
			if drug == "epinephrine" {
				q.ID = "question.epinephrine.early"
			}
			q.Items, q.Cue = nil, Cue{ID: q.ID}.with("minutes", math.Floor(secs/60)).with("seconds", math.Mod(secs, 60))
		}
	}
	if drug == "naloxone" && s.InArrest() && p.Values["naloxone_s"].None {
		ask("naloxone").Items = nil
	}
	if d.MaxDoses > 0 && len(given) >= d.MaxDoses {
		q := ask("drug.doses")
		q.Cue = q.Cue.with("doses", float64(d.MaxDoses))
	}
	return out
}

// amountQuestion asks about an amount that is not what is given, or that makes too much of
// the drug in all.
func (p *Protocol) amountQuestion(s State, e Event, drug string) []question {
	d, given, mg := p.Drugs[drug], s.Doses(drug), e.Milligrams()
	kg, _ := p.Weight(s)
	if drug == "epinephrine" && s.anaphylactic() { // into the muscle: another dose
		c, amount := usual(e, drug)
		if amount > p.Get("muscle_epinephrine_most_mg")*1.001 {
			return []question{{Cue: c, instead: true, amount: true}}
		}
		return nil
	}
	if most, ok := p.most(drug, len(given), kg); ok && mg > most*1.001 {
		dose := most
		if next, ok := p.Dose(drug, len(given), kg); ok {
			dose = next.Value
		}
		c := Cue{ID: "question.drug.amount", Items: []string{drug}}.with("said_mg", mg).with("dose_mg", dose)
		return []question{{Cue: c, instead: true, amount: true}}
	}
	if c, odd := p.unsureAmount(s, e, drug, kg); odd {
		return []question{{Cue: c, instead: true, amount: true}}
	}
	if c, odd := p.unusual(s, e, drug); odd {
		return []question{{Cue: c, instead: true, amount: true}}
	}
	if limit := d.TotalCap(kg); limit > 0 && s.Total(drug)+mg > limit*1.001 {
		return []question{{Cue: Cue{ID: "question.drug.total", Items: []string{drug}}.with("dose_mg", limit)}}
	}
	return nil
}

// tooSoon is how long after the last dose another one is asked about. Of a drug
// without an interval of its own it may be the same dose, told twice.
func (p *Protocol) tooSoon(drug string, last, mg float64, asked bool) Time {
	switch {
	case drug == "epinephrine":
		return p.Span("epinephrine_due_s")
	case drug == "adenosine", drug == "atropine":
		return p.Span(drug + "_interval_s")
	case !asked && (mg == 0 || last == 0 || mg == last):
		return rule("dose_soon_s")
	}
	return 0
}

// Most is the largest single dose of a drug for a patient of kg kilograms; with
// the weight unknown, the adult's limit.
func (p *Protocol) Most(drug string, kg float64) (float64, bool) { return p.most(drug, 0, kg) }

// most is the largest single dose that is left after given earlier ones; by an estimated
// weight it is as much as rounding makes of it.
func (p *Protocol) most(drug string, given int, kg float64) (float64, bool) {
	d := p.Drugs[drug]
	most, ok := d.most(given, kg)
	if p.guessed && d.perKg() > 0 {
		most = p.drawn(most, p.concentration(drug), func(x float64) float64 { return math.Ceil(x - 1e-6) })
	}
	return most, ok
}

// most is the largest single dose that is left after given earlier ones: a
// second one may have a lower limit than the first.
func (d Drug) most(given int, kg float64) (float64, bool) {
	most := mostOf(d.Doses[min(given, max(0, len(d.Doses)-1)):], kg)
	return most, most > 0
}

// mostOf is the largest of some amounts for a patient of kg kilograms, in a range its
// upper end; with the weight unknown it is the limit.
func mostOf(list []Amount, kg float64) (most float64) {
	for _, a := range list {
		a.PerKg = max(a.PerKg, a.PerKgMax)
		c, ok := a.For(kg)
		if !ok {
			c.Value = a.Max
		}
		most = math.Max(most, c.Value)
	}
	return most
}

// MostEnergy is the highest energy of a shock for the patient, and whether it
// goes by weight; with the weight unknown it is the adult's limit.
func (p *Protocol) MostEnergy(s State) (most float64, byWeight bool) {
	kg, _ := p.Weight(s)
	list := p.Shocks
	if !s.InArrest() && s.Rhythm.Fast() && len(p.Sync[string(s.Rhythm)]) > 0 {
		list = p.Sync[string(s.Rhythm)]
	}
	if given := s.shocksInAll(); s.InArrest() && given+1 < len(list) { // not yet those of later shocks
		list = list[:max(2, given+1)]
	}
	byWeight = slices.ContainsFunc(list, func(a Amount) bool { return a.PerKg > 0 })
	if most = mostOf(list, kg); byWeight {
		most = p.EnergySteps.above(most)
	}
	return most, byWeight && most > 0
}
