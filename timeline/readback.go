package timeline

import "strings"

// readBack names what was called and its numbers, and adds what only the
// protocol can.
func (m *Machine) readBack(e Event, now Time) Cue {
	p := m.protocol.For(m.state)
	if e.Kind == Refuse && m.state.held.who {
		return reply(whoAgain, e, now, ReadBack)
	}
	if kg, _ := p.Weight(m.state); e.Kind == Refuse && kg == 0 && asksWeight(m.last) {
		return reply("weight.unknown", e, now, ReadBack)
	}
	if e.Kind == Refuse && m.askedPulse(e) {
		return reply("confirm.pulse", e, now, ReadBack)
	}
	if last, ok := m.counted(e); ok {
		return counts(last, e, now)
	}
	c := reply("said."+string(e.Kind)+m.unsaid(e, now), e, now, ReadBack)
	c.Values, c.Parts = e.Values, m.whose(c.ID, e, now)
	if short, ok := m.ofNewborn(c, e); ok {
		return short
	}
	c = m.detailed(c, e, now)
	c.Priority = m.urgency(e, p, now)
	if p.needsWeight(m.state, e) {
		c.Parts = append(c.Parts, Cue{ID: "weight.unknown"})
	}
	return c
}

// ofNewborn is the read-back of what a protocol of ours would add to that is none of a newborn's.
func (m *Machine) ofNewborn(c Cue, e Event) (Cue, bool) {
	switch {
	case !m.state.OfNewborn():
		return c, false
	case e.Kind == AirwaySecured:
		c.ID += ".open"
	case e.Kind == MetronomeOn, e.Kind == BeatRatio: // an adult's
		c.Parts = append(c.Parts, Cue{ID: "next.newborn"})
	default:
		return c, e.Kind.tellsWho()
	}
	return c, true
}

// detailed adds to a read-back what goes with that callout alone: what it is of, what follows
// from it, and what it changes.
func (m *Machine) detailed(c Cue, e Event, now Time) Cue {
	p := m.protocol.For(m.state)
	switch f, name := e.Kind.Family(); {
	case f == "before.":
		c = m.state.saidBefore(c, name, e)
	case strings.HasPrefix(f, "cause."):
		c.Items = []string{e.Kind.Row().Spoken}
	case f == "measured.":
		c = p.measuredBack(m.state, c, e.Kind, name)
		c.Parts = append(m.offAim(p, e), c.Parts...)
	case m.compressFrom(e, p, now):
		c.Parts = append([]Cue{{ID: "compress.now"}}, c.Parts...)
	case e.Kind == PatientHypothermic:
		c.Parts = append(c.Parts, p.cold(m.state)...)
	case e.Kind == CodeEnd || e.Kind == Death:
		c.Parts = append(c.Parts, p.thrombolysed(m.state, e.At)...)
	case e.Kind == AirwaySecured:
		c = p.say(c, "ventilation_s", "seconds")
	case e.Kind == PatientWeight && m.state.byWeight(p) && !p.otherPatient(m.state):
		c.Parts = append(c.Parts, Cue{ID: "said.patient.child"}) // the weight alone says so
	case e.Kind == PatientAge || e.Kind == PatientAgeMonths:
		c.Parts = append(c.Parts, p.estimated(m.state)...)
	}
	c.Parts = append(c.Parts, m.protocol.outgrew(m.state, e, c.Parts)...)
	return c
}

// measuredBack adds the unit of a number that was called, and what it changes.
func (p *Protocol) measuredBack(s State, c Cue, k Kind, name string) Cue {
	if p.perMmol(k) != 1 {
		c.ID += ".mmol"
	}
	more := p.reopened(s, name)
	if name == "temperature" {
		more = append(more, p.colder(s)...)
	}
	c.Parts = append(more, c.Parts...)
	return c
}

// needsWeight reports whether an amount was called that goes by weight, and nobody
// knows the weight: whether it is right cannot be told.
func (p *Protocol) needsWeight(s State, e Event) bool {
	if kg, _ := p.Weight(s); kg > 0 || p.patient(s) == "" {
		return false
	}
	drug, given := e.Kind.Drug()
	_, byWeight := p.MostEnergy(s)
	return given && e.Milligrams() > 0 && p.Drugs[drug].perKg() > 0 || byWeight && e.Values["energy_j"] > 0
}

// estimated tells the weight that an age stands for, unless one was called.
func (p *Protocol) estimated(s State) []Cue {
	kg, basis := p.Weight(s)
	if kg == 0 || basis == "called" {
		return nil
	}
	return []Cue{Cue{ID: "weight.estimated"}.with("weight_kg", kg)}
}

// unsaid names the form of a read back that leaves out what nobody may be told
// now; "" is the whole sentence.
func (m *Machine) unsaid(e Event, now Time) string {
	switch {
	case (e.Kind == PulseAbsent || e.Kind == PulseLost) && !m.mayPress(now):
		return ".clear" // nobody may be told to touch the patient
	case e.Kind == ShockGiven && (!m.state.InArrest() || m.byMachine()):
		return ".pulse" // nobody is told to compress
	case e.Kind == BeatFaster, e.Kind == BeatSlower:
		return m.steady(e)
	case e.Kind == CodeStart:
		return m.started(e)
	case e.Kind == PatientNext && m.state.Running():
		return ".running"
	case e.Kind == PatientNewborn && !m.state.OfNewborn():
		return ".second"
	}
	return m.state.doubted(e.Kind)
}

// mayPress reports whether somebody may be told to compress at now.
func (m *Machine) mayPress(now Time) bool {
	return !m.state.Silent(now) && !m.byMachine() && !m.state.airFirst()
}

// byMachine reports whether hands are none of ours to call for: a machine circulates the blood, or no protocol tells.
func (m *Machine) byMachine() bool { return m.protocol.byMachine(m.state) || m.state.OfNewborn() }

// started names the form of the read-back of "start the code": that of the former patient
// nothing holds, that a pulse was called, or that the clock runs already, must be heard.
func (m *Machine) started(e Event) string {
	switch s := m.state; {
	case s.Started == e.At && m.follows():
		return ".next"
	case !s.InArrest():
		return ".pulse"
	case e.At >= s.CodeAt()+rule("start_again_s"):
		return ".again"
	}
	return ""
}

// whose adds to a read-back whose clock runs: that it is a new patient's, and how to go
// back to the former.
func (m *Machine) whose(id string, e Event, now Time) (out []Cue) {
	switch {
	case id == "said.code.start.again":
		return []Cue{m.codeTime(e, now)}
	case !m.mayGoBack(e):
		return nil
	case e.Kind != CodeStart && e.Kind != PatientNext:
		out = []Cue{{ID: "next.new"}}
	}
	return append(out, Cue{ID: "next.same"})
}

// doubted names the form of a read-back that asks for what the callout leaves open, or
// what contradicts it.
func (s State) doubted(k Kind) string {
	switch k {
	case CodeEnd, Death:
		switch {
		case s.Compressing:
			return ".compressing" // it may have been misheard
		case k == Death && s.PulsePresent:
			return ".pulse" // so may this
		}
	case PatientStable, PatientUnstable:
		if s.InArrest() {
			return ".pulse"
		}
	case CodeStart:
		if s.PulsePresent {
			return ".pulse"
		}
	case RhythmVT, Torsades.Kind():
		if !s.InArrest() && !s.knownPulse() && s.Ended == Never {
			return ".pulse" // what to do depends on it
		}
	}
	return ""
}

// urgency is the priority of a read-back: one that tells to compress whoever lost the pulse
// goes before all others.
func (m *Machine) urgency(e Event, p *Protocol, now Time) Priority {
	lost := e.Kind == PulseAbsent || e.Kind == PulseLost
	if e.Kind == ShockGiven && m.state.InArrest() && !m.state.Compressing && !m.byMachine() {
		return Urgent
	}
	if lost && m.mayPress(now) || e.Kind.Row().Pulseless && m.compressFrom(e, p, now) {
		return Urgent
	}
	return ReadBack
}

// compressFrom reports whether the read-back has to tell to compress: behind the last
// shock of a row, and when a rhythm shows that a pulse is lost, or never was.
func (m *Machine) compressFrom(e Event, p *Protocol, now Time) bool {
	s := m.state
	if m.byMachine() {
		return false
	}
	if e.Kind == ShockStacked {
		return s.InArrest() && !p.rowGoesOn(s)
	}
	begins := s.InArrest() && !s.Compressing && !s.Silent(now)
	if e.Kind == ECMOStopped {
		return begins
	}
	return begins && (s.ArrestAt == e.At || s.LostAt == e.At) && e.Kind.Row().Pulseless
}

// byWeight says whether the weight alone tells the kind of patient.
func (s State) byWeight(p *Protocol) bool {
	return s.Patient == "" && s.AgeMonths == 0 && p.patient(s) != ""
}
