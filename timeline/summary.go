package timeline

import "math"

// summary is the hand-over in SBAR order (situation, background, assessment,
// recommendation; common practice, no source), short enough for half a minute.
func (m *Machine) summary(e Event, now Time) Cue {
	s := m.state
	p := m.protocol.For(s)
	c := reply("answer.nocode", e, now, Answer)
	c.Expires = now + Seconds(8)
	if s.Started == Never {
		return c
	}
	end := e.At
	if s.Ended != Never {
		end = s.Ended
	}
	c.ID = "summary"
	add := func(id string) *Cue {
		c.Parts = append(c.Parts, Cue{ID: id})
		return &c.Parts[len(c.Parts)-1]
	}
	minutes := math.Floor((end - s.Started).Seconds() / 60)
	*add("summary.situation") = Cue{ID: "summary.situation"}.with("minutes", minutes)
	if who := p.patient(s); who != "" {
		add("summary." + who)
	}
	if kg, _ := p.Weight(s); kg > 0 {
		*add("") = Cue{ID: "summary.weight"}.with("weight_kg", kg)
	}
	if first := firstRhythm(m.events); first != "" {
		add("summary.first")
		add("summary." + string(first))
	}
	*add("") = Cue{ID: "summary.shocks"}.with("shocks", float64(len(s.Shocks)))
	*add("") = Cue{ID: "summary.epinephrine"}.with("doses", float64(len(s.Given["epinephrine"])))
	if n := s.Antiarrhythmics(); n > 0 {
		*add("") = Cue{ID: "summary.antiarrhythmics"}.with("doses", float64(n))
	}
	switch {
	case s.Dead:
		add("summary.dead")
	case s.PulsePresent:
		*add("") = Cue{ID: "summary.pulse"}.with("minutes", math.Floor((end-s.PulseAt).Seconds()/60))
	default:
		add("summary.ongoing")
	}
	if left := p.CausesLeft(s); len(s.Causes) > 0 && len(left) > 0 {
		*add("") = Cue{ID: "summary.causes"}.with("causes", float64(len(left)))
	}
	return c
}

// firstRhythm is the first rhythm called that was not retracted.
func firstRhythm(events []Event) Kind {
	gone := Retracted(events)
	first := Event{At: math.MaxInt64}
	for _, e := range events {
		if _, ok := rhythmOf[e.Kind]; ok && !gone[e.Seq] && e.At < first.At {
			first = e
		}
	}
	return first.Kind
}

// TimePoint is one of the time points of the Utstein in-hospital template
// (Nolan, Resuscitation 2019;144:166), as far as callouts tell it.
type TimePoint struct {
	Name string
	At   Time // Never if it was not called
}

// TimePoints derives the Utstein time points from events. Recognition is the
// first callout of the code: an earlier moment must be called or amended.
func TimePoints(events []Event) []TimePoint {
	gone := Retracted(events)
	first := func(kinds ...Kind) Time {
		at := Never
		for _, e := range events {
			for _, k := range kinds {
				if e.Kind == k && !gone[e.Seq] && (at == Never || e.At < at) {
					at = e.At
				}
			}
		}
		return at
	}
	s := Fold(events)
	var rhythms []Kind
	for k := range rhythmOf {
		rhythms = append(rhythms, k)
	}
	return []TimePoint{
		{"recognition of the arrest", s.Started},
		{"first compression", s.FirstCompression},
		{"first rhythm", first(rhythms...)},
		{"first shock", first(ShockGiven)},
		{"first epinephrine", first(Kind("drug.epinephrine"))},
		{"airway secured", first(AirwaySecured)},
		{"return of circulation", s.FirstROSC},
		{"end of the event", s.Ended},
	}
}
