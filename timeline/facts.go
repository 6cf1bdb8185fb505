package timeline

// Measured is a number that was called of a patient: the last one, and the one
// before it.
type Measured struct {
	At     Time
	Value  float64
	Low    float64 // of two, the smaller
	Before float64 // 0: there was none
}

// Beat is what was called about the metronome; its zero value is the
// configuration's.
type Beat struct {
	Rate      float64 // beats a minute; 0: as configured
	steps     string  // faster (+) and slower (-) since
	Mode      string  // ratio or continuous; empty: as configured
	NoBreaths bool    // no ticks for breaths
}

// Tempo is the rate of the beat in beats a minute, within the protocol's bounds; base is the configured
// one, which may lie beyond them. A step beyond them is none, so that the next one back is heard.
func (p *Protocol) Tempo(s State, base float64) float64 {
	low, high := min(base, p.Get("compression_rate_min")), max(base, p.Get("compression_rate_max"))
	if s.Beat.Rate > 0 {
		base = s.Beat.Rate
	}
	rate, step := min(max(base, low), high), rules["beat_step"].Value
	for _, way := range s.Beat.steps {
		if way == '-' {
			rate = max(rate-step, low)
		} else {
			rate = min(rate+step, high)
		}
	}
	return rate
}

// SetRate tells the configured rate of the beat, by which a read-back knows whether it can be faster or slower.
func (m *Machine) SetRate(base float64) { m.rate = base }

// steady names the form of a read-back where the beat stays as it was: it is at its most, or its least.
func (m *Machine) steady(e Event) string {
	base := m.rate
	if base == 0 {
		base = (m.protocol.Get("compression_rate_min") + m.protocol.Get("compression_rate_max")) / 2
	}
	was := m.state
	was.Beat.steps = was.Beat.steps[:max(0, len(was.Beat.steps)-1)]
	p := m.protocol.For(m.state)
	if (e.Kind == BeatFaster || e.Kind == BeatSlower) && p.Tempo(was, base) == p.Tempo(m.state, base) {
		return ".most"
	}
	return ""
}

// WithBreaths reports whether compressions pause for breaths; mode is the
// configured one: ratio, continuous, or auto, which pauses until the airway is
// secured.
func (s State) WithBreaths(mode string) bool {
	if s.Beat.Mode != "" {
		mode = s.Beat.Mode
	}
	return mode == "ratio" || mode == "auto" && s.AirwayAt == Never
}

// beat takes what was called about the metronome.
func (s *State) beat(e Event) {
	b := &s.Beat
	switch e.Kind {
	case MetronomeOn, MetronomeOff:
		s.MetronomeMuted, s.MetronomeForced, s.mutedAt = e.Kind == MetronomeOff, e.Kind == MetronomeOn, e.At
	case BeatRate:
		b.Rate, b.steps = e.Values["beats"], ""
	case BeatFaster:
		b.steps += "+"
	case BeatSlower:
		b.steps += "-"
	case BeatRatio:
		b.Mode = "ratio"
	case BeatContinuous:
		b.Mode = "continuous"
	case BreathsOn, BreathsOff:
		b.NoBreaths = e.Kind == BreathsOff
	}
}

// measured takes a number; of two, the larger (the systolic pressure).
func (s *State) measured(name string, e Event) {
	m := Measured{At: e.At, Before: s.Measured[name].Value}
	for _, v := range e.Values {
		m.Value = max(m.Value, v)
	}
	m.Low = e.Values["diastolic_mmhg"]
	s.Measured = with(s.Measured, name, m)
}

// jump suggests a look when the end-tidal CO2 has risen at once: never more
// than that.
func (p *Protocol) jump(s State) []Cue {
	m := s.Measured["etco2"]
	if m.Before == 0 || m.Value-m.Before < p.Get("etco2_jump_mmhg") {
		return nil
	}
	return []Cue{due("etco2.jump", m.At+p.Span("settle_s"), Seconds(20), Due)}
}

// afterwards is what of the round has no place in an arrest.
var afterwards = map[Kind]bool{"intervention.ecg": true}

// RoundLeft lists what of the first-minute round was not called yet and does not show
// by what was, by spoken name.
func (p *Protocol) RoundLeft(s State) []string {
	var out []string
	for _, k := range p.Round {
		if !s.ticked(k) && !(s.InArrest() && afterwards[k]) {
			out = append(out, k.Row().Spoken)
		}
	}
	return out
}

func (s State) ticked(k Kind) bool {
	if _, done := s.Done[string(k)]; done {
		return true
	}
	if _, bone := s.Done[string(AccessIO)]; k == AccessIV && (bone || len(s.Given) > 0 && !s.noAccess) {
		return true
	}
	if k == "intervention.monitor" && s.Rhythm != Unknown {
		return true
	}
	_, name := k.Family()
	_, done := s.Done[name]
	return done && name != ""
}

// round tells once, after a minute with a patient who has a pulse, what of the
// round is open; behind an arrest the care after it comes first.
func (p *Protocol) round(s State) []Cue {
	from, left := s.RoundAt, p.RoundLeft(s)
	shocked := s.Unstable && len(s.Shocks) > 0 // somebody acts
	shocking := s.ChargingAt != Never || s.ClearAt != Never
	if from == Never || s.FirstROSC > from || s.Ended != Never || len(left) == 0 || shocked || shocking {
		return nil
	}
	c := due("round.open", from+p.Span("round_s"), Seconds(60), Advice)
	c.Items = left
	return []Cue{c}
}
