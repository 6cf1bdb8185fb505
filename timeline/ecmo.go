package timeline

// A patient whose blood a machine circulates: hands and epinephrine are not called for.

// ecmoQuestion asks whether it runs: hands and epinephrine hang on it, and "on its way" sounds alike.
const ecmoQuestion = "question.ecmo"

// calledECMO notes that E C M O was called to run. In an arrest it does once that is confirmed.
func (s *State) calledECMO(name string, at Time) {
	switch {
	case name != "ecmo":
	case s.InArrest() && !s.OnECMO():
		s.ecmoCalled = at
	default:
		s.ecmoAt = at
	}
}

// confirmECMO takes it for running, if that is what was asked last.
func (s *State) confirmECMO(at Time) {
	if s.answered == ecmoQuestion && s.ecmoCalled != Never && at <= s.ecmoCalled+rule("undo_s") {
		s.ecmoAt, s.ecmoCalled, s.MetronomeForced = at, Never, false
	}
}

// ecmoQuestions ask whether E C M O runs, when it is called, and when hands go off behind that.
func (s State) ecmoQuestions(e Event) []question {
	lately := s.ecmoCalled != Never && e.At < s.ecmoCalled+rule("undo_s")
	called := e.Kind == "intervention.ecmo" || e.Kind == CompressionsStop && lately
	if !called || !s.InArrest() || s.OnECMO() {
		return nil
	}
	return []question{{Cue: Cue{ID: ecmoQuestion}, instead: e.Kind != CompressionsStop}} // it names what was called
}

// OnECMO reports whether E C M O runs, and nobody has gone back to compressions since.
func (s State) OnECMO() bool { return s.ecmoAt != Never }

// byMachine reports whether, under the protocol, E C M O takes the place of hands and of epinephrine.
func (p *Protocol) byMachine(s State) bool { return s.OnECMO() && !p.Values["ecmo_told_s"].None }

// ecmo tells once that hands and epinephrine are not called for any more.
func (p *Protocol) ecmo(s State) []Cue {
	if !p.byMachine(s) {
		return nil
	}
	return []Cue{due("ecmo.holds", max(s.ecmoAt, s.ArrestAt)+p.Span("ecmo_told_s"), Seconds(60), Advice)}
}

// nextOnECMO is what comes next where nobody is to compress: the causes that are open.
func (p *Protocol) nextOnECMO(s State, c Cue) Cue {
	c.ID, c.Priority = "next.ecmo", Answer
	c.Parts = counted("summary.causes", "causes", float64(len(p.CausesLeft(s))))
	return c
}
