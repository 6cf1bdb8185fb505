package timeline

// What is called of why a patient is in trouble, where the protocol itself goes on as it is: anaphylaxis and
// drowning, of which one thing is said, and a newborn, of whom none of our protocols tells.

// noted is when these were called; Never if they were not.
type noted struct{ anaphylaxis, drowned, newborn Time }

var nothingNoted = noted{Never, Never, Never}

// note takes what was called. A newborn beside somebody who is treated already is a second patient.
func (s *State) note(e Event) {
	switch {
	case e.Kind == PatientAnaphylaxis:
		s.noted.anaphylaxis = e.At
	case e.Kind == PatientDrowned:
		s.noted.drowned = e.At
	case s.secondNewborn():
		s.secondAt = e.At
	default:
		s.noted.newborn, s.MetronomeForced = e.At, false
	}
}

// secondNewborn reports whether a newborn cannot be the one whose case runs.
func (s State) secondNewborn() bool {
	return s.Running() && (s.PregnantAt != Never || s.Patient == "adult" || len(s.Given)+len(s.Shocks) > 0)
}

// OfNewborn reports whether a newborn lies there: no dose, no beat and nothing that is due is told.
func (s State) OfNewborn() bool { return s.noted.newborn != Never }

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
	for _, x := range []struct {
		at Time
		id string
	}{
		{n.newborn, "summary.newborn"}, {n.drowned, "said." + string(PatientDrowned)},
		{n.anaphylaxis, "said." + string(PatientAnaphylaxis)},
	} {
		if x.at != Never {
			out = append(out, Cue{ID: x.id})
		}
	}
	return out
}
