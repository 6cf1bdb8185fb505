package timeline

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Who lies there, where a callout would make the running case another kind of patient's: it is
// asked for whom, and changes nothing until who lies there is named.

// Unanswered returns the numbers of the callouts that were asked about so and that nobody answered for:
// they say what was called, not who lay there.
func Unanswered(events []Event) map[uint64]bool {
	out, open := map[uint64]bool{}, []uint64(nil)
	held := Time(Never)
	for s, e := range Replay(events, math.MaxInt64) {
		if held != Never && s.held.at == Never {
			for _, n := range open {
				if s.answered == whoQuestion { // taken
					delete(out, n)
				}
			}
			open = nil
		}
		if e.Kind == Question && e.Cue == whoQuestion && s.held.from.At == e.At {
			open, out[s.held.from.Seq] = append(open, s.held.from.Seq), true
		}
		held = s.held.at
	}
	return out
}

// whoQuestion asks for whom a callout is that would make another kind of patient of the one
// whose case runs.
const whoQuestion = "question.whose"

// whoAgain asks by name who lies there: a yes to something else says nothing of that.
const whoAgain = "question.who.again"

// whose returns the kind of patient that a callout would make of the one whose case runs; ok is false
// if it may: nobody called a second patient, and nothing was given that is another kind's. Of a newborn,
// for whom the beat and all that is due fall silent, it may where nothing was seen or done yet.
func (p *Protocol) whose(was State, e Event) (who string, ok bool) {
	if !was.Running() || !e.Kind.tellsWho() {
		return "", false
	}
	after := was
	if was.held.at != Never && !was.saysAgain(e.Kind) {
		after.Who = was.held.Who
	}
	if after.patient(e); e.Kind == PatientNewborn && after.secondAt != was.secondAt { // beside whoever can be none
		return "", false
	}
	from, to := p.kindOf(was), p.kindOf(after)
	other := p.otherPatient(after) && !p.otherPatient(was)
	if was.secondAt != Never {
		return to, from != to || other || e.Kind == PatientWeight && p.oddWeight(was, after)
	}
	return to, other || from != to && p.contradicts(was, from, to)
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
	if e.Kind.names() && m.state.by == e.Seq {
		r = m.confirmedWho(e, now)
		m.last = r.Cues[0]
		return r, true
	}
	who, ok := m.protocol.whose(was, e)
	if !ok {
		return Ready{}, false
	}
	ask := m.protocol.whoAsked(was, who, e.Kind)
	c := reply("said."+string(e.Kind), e, now, ReadBack)
	if c.Values = e.Values; len(e.Values) == 0 { // nothing to read back but what is asked
		c.ID, c.Items = ask.ID, ask.Items
	} else {
		c.Parts = []Cue{ask}
	}
	r = Ready{Events: []Event{{At: e.At, Kind: Question, Cue: whoQuestion}}}
	m.last, r.Cues = c, []Cue{c}
	return r, true
}

// whoAsked is the question for whom doses are to be those of another kind of patient, as one was called. Beside a
// second patient a number is that one's, and the first one's case goes on.
func (p *Protocol) whoAsked(was State, who string, k Kind) Cue {
	switch second := was.secondAt != Never; {
	case second && !k.names():
		return Cue{ID: "said." + string(PatientNext) + ".running"}
	case second:
		return Cue{ID: whoQuestion + ".first", Items: dosesOf(who)}
	case who == p.kindOf(was): // a number that is not of whoever was called
		return Cue{ID: whoAgain}
	}
	return Cue{ID: whoQuestion, Items: dosesOf(who)}
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

// askedWhose is the question that is not answered yet, behind an amount that hangs on it.
func (p *Protocol) askedWhose(s State) []Cue {
	after := s
	if after.Who = s.held.Who; s.held.at == Never {
		return nil
	}
	return []Cue{p.whoAsked(s, p.kindOf(after), PatientChild)}
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

// asksWho reports whether a yes is to the question who lies there, or to nothing while that is open: it names nobody.
func (m *Machine) asksWho(yes Event) bool {
	s := m.state
	switch s.answered {
	case whoAgain, "question.who":
		return true
	case "":
		return s.heldOpen() && (m.wondered.ID == "" || yes.At >= m.wondered.Expires+rule("clear_s"))
	}
	return false
}
