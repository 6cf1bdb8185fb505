package timeline

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Who lies there, where a callout would make the running case another kind of patient's: it is
// asked for whom, and changes nothing until that is confirmed.

// Who is what was called of who lies there.
type Who struct {
	Patient    string  // adult, child, infant; empty if not called
	newborn    bool    // that was called last
	whoSure    bool    // that was told twice, or confirmed when it was asked about
	WeightKg   float64 // as called; 0 if not
	weightSure bool    // it was told twice, or confirmed when it was asked about
	weightWas  float64 // the one called before; 0: none
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
		who := strings.TrimPrefix(string(e.Kind), "patient.")
		s.whoSure = s.Patient == who // told twice
		s.Patient, s.newborn = who, false
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

// Unanswered returns the numbers of the callouts that were asked about so and that nobody confirmed:
// they say what was called, not who lay there.
func Unanswered(events []Event) map[uint64]bool {
	out, open := map[uint64]bool{}, []uint64(nil)
	var was Event
	held := Time(Never)
	for s, e := range Replay(events, math.MaxInt64) {
		if was.Kind == Confirm && held != Never && s.held.at == Never { // taken
			for _, n := range open {
				delete(out, n)
			}
			open = nil
		}
		if e.Kind == Question && e.Cue == whoQuestion && s.held.from.At == e.At {
			open, out[s.held.from.Seq] = append(open, s.held.from.Seq), true
		}
		was, held = e, s.held.at
	}
	return out
}

// whoQuestion asks for whom a callout is that would make another kind of patient of the one
// whose case runs.
const whoQuestion = "question.whose"

// whoAgain asks who lies there when an end was taken back, and another kind of patient was called since.
const whoAgain = "question.who.again"

// tellsWho reports whether k tells what kind of patient lies there.
func (k Kind) tellsWho() bool {
	switch k {
	case PatientAdult, PatientChild, PatientInfant, PatientNewborn, PatientWeight, PatientAge, PatientAgeMonths:
		return true
	}
	return false
}

// holdWho follows what is held back: a question behind a callout holds that back, a confirmation
// takes it, and what asks for another one gives it up.
func (s *State) holdWho(e Event) {
	f, _ := e.Kind.Family()
	s.held.who = !e.Kind.tellsWho() && (s.held.who || s.asksWho(e)) // a yes or a no names nobody
	switch {
	case e.Kind == PatientNext && s.Running():
		s.secondAt = e.At
	case e.Kind == Question && e.Cue == whoQuestion:
		s.holdLast(e.At)
	case e.Kind == Confirm:
		s.takeHeld(e.At)
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
	s.Who, h.Who, h.at = h.was, told.Who, at
	s.MetronomeForced = h.beat
}

// takeHeld takes what is held back, if that is what was asked about last; a newborn, with whom all falls silent,
// right behind the question alone.
func (s *State) takeHeld(at Time) {
	switch asked := s.answered == whoQuestion; {
	case s.mayTake(at) && s.Pending == "" && (asked || s.answered == "" && !s.held.newborn):
		s.Who, s.secondAt, s.answered = s.held.Who, Never, whoQuestion
		s.held = heldWho{at: Never}
		s.MetronomeForced = s.MetronomeForced && !s.OfNewborn()
	case asked: // too late
		s.answered = ""
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

// mayTake reports whether a confirmation takes what is held back: for some time behind the question.
func (s State) mayTake(at Time) bool { return s.held.at != Never && at <= s.held.at+rule("confirm_s") }

// whose returns the kind of patient that a callout would make of the one whose case runs; ok is false
// if it may: nobody called a second patient, and nothing was given that is another kind's. Of a newborn,
// for whom the beat and all that is due fall silent, it may where nothing was seen or done yet.
func (p *Protocol) whose(was State, e Event) (who string, ok bool) {
	if !was.Running() || !e.Kind.tellsWho() {
		return "", false
	}
	after := was
	if was.held.at != Never {
		after.Who = was.held.Who
	}
	after.patient(e)
	from, to := p.kindOf(was), p.kindOf(after)
	farOff := was.WeightKg > 0 && max(after.WeightKg/was.WeightKg, was.WeightKg/after.WeightKg) > p.Get("weight_far_off")
	if was.secondAt != Never {
		return to, from != to || farOff
	}
	return to, from != to && p.contradicts(was, from, to)
}

// contradicts reports whether what was seen or done speaks for the kind of patient that was called before, and
// against the one that is called now.
func (p *Protocol) contradicts(s State, from, to string) bool {
	given := len(s.Given)+len(s.Shocks) > 0
	switch {
	case to == "newborn":
		return given || s.FirstCompression != Never || s.Rhythm != Unknown
	case from == "adult":
		return p.gaveAdult(s)
	case to == "adult" && from == "newborn": // else the beat comes back
		return given && !p.gaveAdult(s)
	}
	return to == "adult" && given
}

// gaveAdult reports whether a shock or a dose was given in this case that was not called as a
// child's: without an amount it was what an adult gets.
func (p *Protocol) gaveAdult(s State) bool {
	for _, x := range s.Shocks {
		least := p.Get("shock_least_j")
		if x.Synced {
			least = p.Get("sync_least_j")
		}
		if x.Joules == 0 || x.Joules >= least {
			return true
		}
	}
	for drug, given := range s.Given {
		most, known := p.Drugs[drug].most(0, 0)
		for _, d := range given {
			if known && !d.Before && (d.Mg == 0 || d.Mg >= most/2) {
				return true
			}
		}
	}
	return false
}

// holdBack asks for whom a callout is that would make the running case another kind of
// patient's; ok is false if it does not.
func (m *Machine) holdBack(was State, e Event, now Time) (r Ready, ok bool) {
	who, ok := m.protocol.whose(was, e)
	if !ok {
		return Ready{}, false
	}
	ask := whoAsked(who, was.secondAt != Never)
	c := reply("said."+string(e.Kind), e, now, ReadBack)
	if c.Values = e.Values; len(e.Values) == 0 { // nothing to read back but what is asked
		c.ID, c.Items = ask.ID, ask.Items
	} else {
		c.Parts = []Cue{ask}
	}
	r = Ready{Events: []Event{{At: e.At, Kind: Question, Cue: whoQuestion}}}
	if who == "newborn" && was.secondAt == Never && len(e.Values) > 0 { // a yes may be to the number
		c.Parts = []Cue{{ID: whoAgain}}
		r.Events = append(r.Events, Event{At: e.At, Kind: Question, Cue: whoAgain})
	}
	m.last, r.Cues = c, []Cue{c}
	return r, true
}

// whoAsked is the question for whom doses are to be those of another kind of patient.
func whoAsked(who string, second bool) Cue {
	c := Cue{ID: whoQuestion, Items: dosesOf(who)}
	if second {
		c.ID += ".first"
	}
	return c
}

// dosesOf names whose doses are meant; a newborn, whom no protocol of ours gives any, by itself.
func dosesOf(who string) []string {
	if who == "newborn" {
		return []string{who}
	}
	return []string{who + " doses"}
}

// heldOpen reports whether nobody has answered what kind of patient the one is whose case runs: then no
// amount is told, for it may be the wrong one's. Behind a second patient the first one's is.
func (s State) heldOpen() bool { return s.held.at != Never && s.secondAt == Never || s.held.who }

// askedWhose is the question that is not answered yet, behind an amount that hangs on it; of a newborn it is asked
// by name, for a yes takes all that is due away.
func (p *Protocol) askedWhose(s State) []Cue {
	after := s
	after.Who = s.held.Who
	switch {
	case s.held.at == Never:
		return nil
	case s.held.newborn && s.secondAt == Never:
		return []Cue{{ID: whoAgain}}
	}
	return []Cue{whoAsked(p.kindOf(after), s.secondAt != Never)}
}

// doubtedWho asks who lies there where no amount may be told before that is known; nil: one may. To what
// is due nobody can say yes: it is asked for by name.
func (p *Protocol) doubtedWho(s State) []Cue {
	if p.otherPatient(s) || s.heldOpen() {
		return []Cue{{ID: "question.who"}}
	}
	return nil
}

// whoFor asks who lies there where an amount is called while that is open: where it is another kind of
// patient's by age or weight always, else if either of the two would not be given so much and nothing else is
// asked. It is asked by name: a yes may be to the amount. about are the questions about who is taken for the patient.
func (p *Protocol) whoFor(s State, e Event, about []question) (who []question, open bool) {
	_, drug := e.Kind.Drug()
	ask, odd := Cue{ID: "question.who"}, drug || e.Kind.shocks() || e.Kind == ShockCharging
	if !p.otherPatient(s) {
		if !s.heldOpen() {
			return nil, false
		}
		ask, odd = Cue{ID: whoAgain}, odd && p.oddForEither(s, e, about)
	}
	if !odd {
		return nil, true
	}
	q := question{Cue: ask}
	if !drug { // once for a shock, from its charging on
		q.once = fmt.Sprintf("who %d %d", s.RhythmAt, len(s.Shocks))
	}
	return []question{q}, true
}

// oddForEither reports whether an amount would be asked about of who is taken for the patient, or of who was
// called and not confirmed; without a weight it is that, too.
func (p *Protocol) oddForEither(s State, e Event, about []question) bool {
	held := s
	held.Who, held.held = s.held.Who, heldWho{at: Never}
	amount, other := func(q question) bool { return q.amount }, func(q question) bool { return !q.amount }
	if slices.ContainsFunc(about, other) {
		return false
	}
	return len(about) > 0 || s.held.at != Never &&
		(p.For(held).needsWeight(held, e) || slices.ContainsFunc(p.questions(held, e), amount))
}

// askedWhoFirst is whose doses are meant, if that is held back, or else who.
func (p *Protocol) askedWhoFirst(s State, who []Cue) []Cue {
	if asked := p.askedWhose(s); asked != nil && s.heldOpen() {
		return asked
	}
	return who
}

// confirmedWho reads back who lies there, now that it was confirmed.
func (m *Machine) confirmedWho(e Event, now Time) (r Ready) {
	s := m.state
	c := reply("said.patient."+m.protocol.kindOf(s), e, now, ReadBack)
	if s.WeightKg > 0 {
		c.Parts = []Cue{{ID: "said." + string(PatientWeight), Values: map[string]float64{"weight_kg": s.WeightKg}}}
	}
	for _, q := range m.protocol.tooMuchFor(s) { // what was given before
		r.Events = append(r.Events, Event{At: e.At, Kind: Question, Cue: q.ID, Values: q.Values})
		c.Parts = append(c.Parts, q.Cue)
	}
	r.Cues = []Cue{c}
	return r
}

// forgetAnswer ends what an undo means by the answer right before it; what is only asked in between does not.
func (s *State) forgetAnswer(e Event) {
	if !strings.HasPrefix(string(e.Kind), "ask.") {
		s.answered = ""
	}
}

// kindOf is adult, child, infant or newborn.
func (p *Protocol) kindOf(s State) string {
	if s.OfNewborn() {
		return "newborn"
	}
	return or(p.patient(s), "adult")
}
