package timeline

import (
	"fmt"
	"maps"
	"math"
	"slices"
)

// weightQuestions ask once for a weight that contradicts who was called to lie
// there, whichever is called last, or an earlier weight.
func (p *Protocol) weightQuestions(s State, e Event) []question {
	after := s
	after.patient(e)
	mothers := s.PregnantAt != Never && p.newborn(after)
	if p.otherPatient(after) && !p.otherPatient(s) && (e.Kind != PatientWeight || mothers) {
		return []question{{Cue: Cue{ID: "question.who"}}}
	}
	kg := after.WeightKg
	if after.WeightKg == s.WeightKg && after.AgeMonths == s.AgeMonths && after.Patient == s.Patient {
		return nil
	}
	if given := p.tooMuchFor(after); given != nil && p.tooMuchFor(s) == nil {
		return given
	}
	if kg == 0 || !p.oddWeight(s, after) {
		return nil
	}
	return []question{{
		Cue:     Cue{ID: "question.weight"}.with("weight_kg", kg),
		once:    fmt.Sprintf("weight %v %d", kg, s.EndedBy),
		instead: e.Kind == PatientWeight,
	}}
}

// oddWeight reports whether the weight that is called fits neither who lies there nor the
// one before; one that puts an implausible one right is not asked about.
func (p *Protocol) oddWeight(s, after State) bool {
	low, high := p.plausibleKg(after)
	kg, farOff := after.WeightKg, p.Get("weight_far_off")
	changed := s.WeightKg > 0 && max(kg/s.WeightKg, s.WeightKg/kg) > farOff && s.WeightKg >= low && s.WeightKg <= high
	return kg < low || kg > high || changed
}

// tooMuchFor asks about a drug of which the patient, now that it is known who lies there,
// was given more than the largest dose: it may have been another one.
func (p *Protocol) tooMuchFor(s State) []question {
	form := p.For(s)
	kg, _ := form.Weight(s)
	for _, drug := range slices.Sorted(maps.Keys(s.Given)) {
		most, ok := form.Most(drug, kg)
		if ok = ok && kg > 0; s.OfNewborn() {
			most, ok = p.newbornMost(s, drug)
		}
		for _, d := range s.Doses(drug) {
			if ok && d.Mg > most*1.001 {
				c := Cue{ID: "question.drug.before", Items: []string{drug}}.with("said_mg", d.Mg)
				return []question{{Cue: c}}
			}
		}
	}
	return nil
}

// otherPatient reports whether the age or the weight contradicts who was called to lie there: until
// that is called again no dose can rest on either.
func (p *Protocol) otherPatient(s State) bool {
	months, grown := s.AgeMonths, 12*p.Get("child_below_years")
	adult := s.Patient == "adult" || s.Patient == "" && months >= grown
	switch {
	case s.whoSure:
		return false
	case adult && s.WeightKg > 0 && !p.believable(s): // an adult's dose, to a child's weight
		return true
	case s.PregnantAt != Never && p.newborn(s): // the child's, and not the mother's
		return true
	case months == 0:
		return false
	}
	switch s.Patient {
	case "adult":
		return months < grown
	case "infant":
		return months >= 2*p.Get("infant_below_months")
	case "child":
		return months >= 12*p.Get("grown_from_years")
	}
	return false
}

// newborn reports whether what was called of the patient can be true of no mother.
func (p *Protocol) newborn(s State) bool {
	light := p.Get("child_below_kg") / p.Get("weight_far_off")
	return s.Patient == "infant" || s.WeightKg > 0 && s.WeightKg < light || s.AgeMonths > 0 && p.patient(s) == "infant"
}

// plausibleKg are the bounds of the weight that nobody asks about, by what was
// called of the patient: far off the estimate from the age or, for a child or
// infant without one, from the ages that it can have.
func (p *Protocol) plausibleKg(s State) (low, high float64) {
	farOff := p.Get("weight_far_off")
	adult := p.Get("child_below_kg") / farOff
	form := p.For(s)
	estimate := func(months float64) float64 {
		kg, _, _ := EstimateWeight(form.WeightRule, months)
		return kg
	}
	infant, years := p.Get("infant_below_months"), p.Get("child_below_years")
	s.WeightKg = 0
	who := p.patient(s)
	switch kg := estimate(s.AgeMonths); {
	case s.AgeMonths > 0 && kg > 0 && s.AgeMonths < 12*years:
		return kg / farOff, kg * farOff
	case s.AgeMonths >= 12*years || s.Patient == "adult":
		return adult, math.Inf(1)
	case who == "infant":
		return 0, farOff * estimate(infant)
	case who == "child":
		oldest := 0.0
		for y := range int(years) {
			oldest = max(oldest, estimate(12*float64(y)))
		}
		return estimate(infant) / farOff, farOff * oldest
	}
	return 0, math.Inf(1)
}

// believable reports whether the weight that was called fits what else was called.
func (p *Protocol) believable(s State) bool {
	low, high := p.plausibleKg(s)
	return s.WeightKg >= low && s.WeightKg <= high
}

// OfChild reports whether a kind of patient is child or infant, as it is called.
func OfChild(patient string) bool { return patient == "child" || patient == "infant" }
