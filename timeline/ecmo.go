package timeline

// A patient whose blood a machine circulates: hands and epinephrine are not called for.

// OnECMO reports whether E C M O was called to run, and nobody has gone back to compressions since.
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
