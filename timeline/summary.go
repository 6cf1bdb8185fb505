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
	if s.FirstRhythm != Unknown {
		add("summary.first")
		add("summary." + string(s.FirstRhythm.Kind()))
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
