package timeline

import "slices"

// What is called of why a patient is in trouble, where the protocol itself goes on as it is: anaphylaxis and
// drowning, of which one thing is said; and a newborn, of whom none of our protocols tells.

// noted is when these were called; Never if they were not.
type noted struct{ anaphylaxis, drowned Time }

var nothingNoted = noted{Never, Never}

// note takes what was called.
func (s *State) note(e Event) {
	if e.Kind == PatientAnaphylaxis {
		s.noted.anaphylaxis = e.At
		return
	}
	s.noted.drowned = e.At
}

// born takes a newborn that was called. Beside whoever can be none it is a second patient.
func (s *State) born(at Time) {
	if s.Running() && !s.OfNewborn() && (s.Patient == "adult" || s.PregnantAt != Never || s.outgrown()) {
		s.secondAt, s.held.at = at, Never
		return
	}
	if s.outgrown() { // of whoever was spoken of before
		s.AgeMonths, s.WeightKg, s.weightSure = 0, 0, false
	}
	s.newborn, s.MetronomeForced = true, false
}

// OfNewborn reports whether a newborn lies there: no dose, no beat and nothing that is due is told. An age or a
// weight that was told twice shows that none does.
func (s State) OfNewborn() bool { return s.newborn && !s.outgrown() }

// outgrown reports whether what else was called can be of no newborn.
func (s State) outgrown() bool {
	return s.AgeMonths > 1 || s.weightSure && s.WeightKg > rules["newborn_most_kg"].Value
}

// outgrew tells, behind what shows that no newborn lies there, who does, unless that is said.
func (p *Protocol) outgrew(s State, e Event, said []Cue) []Cue {
	who := "said.patient." + p.kindOf(s)
	told := slices.ContainsFunc(said, func(c Cue) bool { return c.ID == who })
	if told || !s.newborn || s.OfNewborn() || !e.Kind.tellsWho() {
		return nil
	}
	return []Cue{{ID: who}}
}

// newbornQuestions ask about what is more than any newborn gets, or an infant who weighs as much. Of what is less,
// or else of a newborn, we know nothing.
func (p *Protocol) newbornQuestions(s State, e Event) []question {
	kg := p.newbornKg(s)
	if e.Kind == PatientPregnant { // she, or her newborn
		return []question{{Cue: Cue{ID: whoAgain}}}
	}
	if said := e.Values["weight_kg"]; said > rules["newborn_most_kg"].Value && said != s.WeightKg {
		return []question{{Cue: Cue{ID: "question.weight"}.with("weight_kg", said), instead: true}}
	}
	if j := e.Values["energy_j"]; j > maxPerKg*kg {
		c := Cue{ID: "question.energy.chart"}.with("said_j", j)
		return []question{{Cue: c, instead: !e.Kind.shocks(), amount: true}}
	}
	drug, _ := e.Kind.Drug()
	c, amount := usual(e, drug)
	most, dosed := p.newbornMost(s, drug)
	if dosed && amount > most*1.001 || !dosed && p.AskedAbove[drug].odd(amount, kg) {
		return []question{{Cue: c, instead: true, amount: true}}
	}
	return nil
}

// newbornKg is the weight by which what a newborn gets is judged.
func (p *Protocol) newbornKg(s State) float64 {
	if most := rules["newborn_most_kg"].Value; s.WeightKg == 0 || s.WeightKg > most {
		return most
	}
	return s.WeightKg
}

// newbornMost is the most of a drug that is not asked about, in mg.
func (p *Protocol) newbornMost(s State, drug string) (most float64, ok bool) {
	if drug == "epinephrine" {
		return p.Get("newborn_epinephrine_per_kg") * p.newbornKg(s), true
	}
	return p.forms["infant"].most(drug, 0, p.newbornKg(s))
}

// drowned calls for breaths first, for as long as they can be first (AHA 2025 and ERC 2025: see the notes of
// the protocols).
func (p *Protocol) drowned(s State) []Cue {
	if s.noted.drowned == Never || s.AirwayAt != Never || s.noted.drowned > s.ArrestAt+p.Span("cycle_s") {
		return nil
	}
	id := "drowning.breaths"
	if !s.airFirst() {
		id += ".too"
	}
	return []Cue{due(id, max(s.noted.drowned, s.ArrestAt)+p.Span("settle_s")/3, Seconds(30), Due)}
}

// anaphylaxis considers epinephrine into the muscle for whoever has a pulse, once. The arrest has its own
// (see the notes of the protocols).
func (p *Protocol) anaphylaxis(s State) []Cue {
	if s.noted.anaphylaxis == Never || s.FirstROSC != Never || s.Ended != Never || len(s.Given["epinephrine"]) > 0 {
		return nil
	}
	c := due("peri.anaphylaxis", s.noted.anaphylaxis+p.Span("settle_s"), Seconds(60), Due)
	c.Parts = []Cue{{ID: "dose.check"}}
	return []Cue{c}
}

// intoMuscle reports whether a dose of epinephrine is none of the arrest's: in anaphylaxis it went into the
// muscle before.
func (s State) intoMuscle(d Dose) bool { return s.noted.anaphylaxis != Never && d.At < s.ArrestAt }

// anaphylactic reports whether epinephrine is given into the muscle, of which no amount is told.
func (s State) anaphylactic() bool { return s.noted.anaphylaxis != Never && !s.InArrest() }

// airFirst reports whether nobody has compressed yet who drowned: breaths come before hands.
func (s State) airFirst() bool { return s.noted.drowned != Never && s.FirstCompression == Never }

// spoken names what was called, for a hand-over.
func (n noted) spoken() (out []Cue) {
	if n.drowned != Never {
		out = append(out, Cue{ID: "said." + string(PatientDrowned)})
	}
	if n.anaphylaxis != Never {
		out = append(out, Cue{ID: "said." + string(PatientAnaphylaxis)})
	}
	return out
}
