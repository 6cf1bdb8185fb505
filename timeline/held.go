package timeline

import "strings"

// What was called of who lies there, and what of it is held back until somebody is named.

// Who is what was called of who lies there.
type Who struct {
	Patient    string  // adult, child, infant; empty if not called
	newborn    bool    // that was called last
	whoSure    bool    // that was told twice
	WeightKg   float64 // as called; 0 if not
	weightSure bool    // it was told twice: a yes may be to anything
	weightWas  float64 // the one called before; 0: none
	by         uint64  // number of the callout that named another kind of patient when that was asked; 0: none
	AgeMonths  float64 // as called; 0 if not
}

// heldWho is what would be called of the patient by what was held back.
type heldWho struct {
	Who
	from Event // the last callout that tells so
	at   Time  // when it was asked about last; Never: nothing is held back
	was  Who   // before that callout
	beat bool  // the metronome was switched on before it
	who  bool  // it is asked who lies there at all
}

// patient takes what was called about who lies there.
func (s *State) patient(e Event) {
	switch e.Kind {
	case PatientAdult, PatientChild, PatientInfant:
		s.namedWho(strings.TrimPrefix(string(e.Kind), "patient."))
	case PatientNewborn:
		s.born(e.At)
	case PatientPregnant:
		s.PregnantAt = e.At
	case PatientHypothermic:
		s.Hypothermic, s.coldAt = true, e.At
	case PatientOpioid:
		s.OpioidAt = e.At
	case PatientWeight:
		if s.weightSure = s.WeightKg == e.Values["weight_kg"]; !s.weightSure { // else told twice
			s.weightWas = s.WeightKg
		}
		s.WeightKg = e.Values["weight_kg"]
	case PatientAge:
		s.AgeMonths, s.whoSure = 12*e.Values["age_y"], false
	case PatientAgeMonths:
		s.AgeMonths, s.whoSure = e.Values["age_months"], false
	case PatientStable, PatientUnstable:
		s.spared()
		s.Unstable, s.StabilityAt = e.Kind == PatientUnstable, e.At
		s.MetronomeForced = s.MetronomeForced && s.Unstable
		if s.RoundAt == Never {
			s.RoundAt = e.At
		}
	}
}

// tellsWho reports whether k tells what kind of patient lies there.
func (k Kind) tellsWho() bool {
	switch k {
	case PatientAdult, PatientChild, PatientInfant, PatientNewborn, PatientWeight, PatientAge, PatientAgeMonths:
		return true
	}
	return false
}

// holdWho follows what is held back: a question behind a callout holds that back, who is named behind it
// takes it, and what asks for another one gives it up.
func (s *State) holdWho(e Event) {
	f, _ := e.Kind.Family()
	s.held.who = !e.Kind.tellsWho() && (s.held.who || s.asksWho(e)) // a yes or a no names nobody
	switch {
	case e.Kind == PatientNext && s.Running(): // who was called is that one
		s.secondAt, s.held.at = e.At, Never
	case e.Kind == Question && e.Cue == whoQuestion:
		s.holdLast(e.At)
	case e.Kind == Confirm:
		s.takeHeld(e.At)
	case s.namesHeld(e):
		s.takeNamed(e)
	case e.Kind.Row().Confirm, s.saysAgain(e.Kind), s.putsRight(e):
		s.held.at = Never
	case (f == "ask.dose." || e.Kind == AskSummary) && s.held.at != Never: // asked again with the answer
		s.held.at = e.At
	}
	if e.Kind.tellsWho() {
		s.held.from, s.held.was, s.held.beat = e, s.Who, s.MetronomeForced
	}
}

// putsRight reports whether a callout makes of what is held back the kind of patient who is taken for one: a
// weight or an age was misheard before.
func (s State) putsRight(e Event) bool {
	if s.held.at == Never || !e.Kind.tellsWho() {
		return false
	}
	told := newState()
	told.Who = s.held.Who
	told.patient(e)
	return told.OfChild() == s.OfChild() && told.OfNewborn() == s.OfNewborn()
}

// asksWho reports whether a question asks who lies there at all, and what it was asked behind stands.
func (s State) asksWho(e Event) bool {
	return e.Kind == Question && e.Cue == whoAgain && e.At == s.HeardAt
}

// holdLast holds the last callout back that was called at that moment, beside what is held back
// already.
func (s *State) holdLast(at Time) {
	h := &s.held
	if h.from.At != at || !h.from.Kind.tellsWho() { // it was taken back
		return
	}
	told := newState()
	told.Who = h.was
	if h.at != Never {
		told.Who = h.Who
	}
	told.patient(h.from)
	s.Who, s.MetronomeForced = h.was, h.beat
	if s.secondAt != Never && !h.from.Kind.names() { // a number is the second one's: no yes makes it the first's
		s.asked = ""
		return
	}
	h.Who, h.at = told.Who, at
}

// takeHeld takes what is held back beside a second patient, whom a name would not tell from the first: a yes right
// behind the question does. Else a yes may be to anything, and names nobody.
func (s *State) takeHeld(at Time) {
	switch {
	case s.answered != whoQuestion:
	case s.secondAt == Never:
		s.answered = whoAgain
	case s.held.at == Never || at > s.held.at+rule("first_yes_s") || s.Pending != "": // too late
		s.answered = ""
	default:
		s.take()
	}
}

// take takes what is held back.
func (s *State) take() {
	s.Who, s.secondAt, s.answered = s.held.Who, Never, whoQuestion
	s.held = heldWho{at: Never}
	s.MetronomeForced = s.MetronomeForced && !s.OfNewborn()
}

// names reports whether k names a kind of patient.
func (k Kind) names() bool {
	return k == PatientAdult || k == PatientChild || k == PatientInfant || k == PatientNewborn
}

// namesHeld reports whether e answers by name who lies there, where another kind of patient is held back. The same
// that is said again before anybody heard the question is none.
func (s State) namesHeld(e Event) bool {
	if s.held.at == Never || s.secondAt != Never || !e.Kind.names() || e.At < s.held.from.At+rule("who_again_s") {
		return false
	}
	adult, held := e.Kind == PatientAdult, State{Who: s.held.Who}
	switch {
	case e.Kind == PatientNewborn || held.OfNewborn():
		return e.Kind == PatientNewborn && held.OfNewborn()
	case adult:
		return s.OfChild()
	}
	return !s.OfChild()
}

// takeNamed takes what is held back, as e names it.
func (s *State) takeNamed(e Event) {
	s.take()
	s.by = e.Seq
}

// namedWho takes the kind of patient that was called; it is sure where it was told twice, or by who is pregnant.
func (s *State) namedWho(who string) {
	s.whoSure = s.Patient == who || who == "adult" && s.PregnantAt != Never
	s.Patient, s.newborn = who, false
	s.dropUnfit()
}

// dropUnfit forgets a weight or an age that can be of no adult, once nobody doubts that one lies there.
func (s *State) dropUnfit() {
	if !s.whoSure || s.Patient != "adult" {
		return
	}
	if s.WeightKg < rules["other_kg"].Value/rules["other_times"].Value {
		s.WeightKg, s.weightWas, s.weightSure = 0, 0, false
	}
	if s.AgeMonths < 12*rules["other_years"].Value {
		s.AgeMonths = 0
	}
}

// saysAgain reports whether k calls the patient child, newborn or adult who is taken for one, or child who was
// called a newborn.
func (s State) saysAgain(k Kind) bool {
	switch k {
	case PatientAdult:
		return !s.OfChild()
	case PatientChild, PatientInfant:
		return s.OfChild() && !s.OfNewborn() || s.held.at != Never && s.held.newborn
	}
	return k == PatientNewborn && s.OfNewborn()
}
