package timeline

import "maps"

// tended takes what was done beside rhythm and hands, and what of it was lost again; false: it
// is none of these.
func (s *State) tended(e Event) bool {
	switch e.Kind {
	case AirwaySecured:
		s.AirwayAt, s.airwayLost = e.At, false
	case AirwayLost: // compressions pause for breaths again
		s.AirwayAt, s.airwayLost = Never, true
	case AccessIV, AccessIO, FluidBolus:
		s.Done = with(s.Done, string(e.Kind), e.At)
		s.noAccess = s.noAccess && e.Kind == FluidBolus
	case AccessLost:
		s.Done = maps.Clone(s.Done) // a State handed out stays what it was
		delete(s.Done, string(AccessIV))
		delete(s.Done, string(AccessIO))
		s.noAccess = true
	case ShockDumped: // hands may go back on at once
		s.ChargingAt, s.ClearAt, s.dumpedAt, s.synced = Never, Never, e.At, false
	case ECMOStopped: // hands are called for again
		s.ecmoAt, s.ecmoCalled, s.CycleFrom = Never, Never, Never
		s.Done = maps.Clone(s.Done)
		delete(s.Done, "ecmo")
		s.forceBeat()
	case BreathingAbsent:
		s.NoBreathingAt = e.At
	case BreathingBack:
		s.NoBreathingAt, s.BreathingAt = Never, e.At
	case CausesReview, AskCauses:
		s.ReviewedAt = e.At
	case PatientAnaphylaxis, PatientDrowned:
		s.note(e)
	case CodeStart, ToldDown:
		s.tellDown(e)
	case RoundStart:
		s.RoundAt = e.At
	default:
		return false
	}
	return true
}

// clear is "everybody clear": nobody touches the patient. In a rhythm that no shock helps none
// follows: see Silent.
func (s *State) clear(at Time) {
	s.ClearAt, s.MetronomeForced = at, false
	s.clearOver = s.InArrest() && s.Rhythm != Unknown && !s.Rhythm.Shockable()
	s.stop(at)
}

// clearBy is what a rhythm makes of "everybody clear": one that no shock helps ends it, one that is
// shocked brings it back, for as long as nobody has touched the patient since.
func (s *State) clearBy(r Rhythm) {
	switch untouched := s.PausedFrom != Never && s.PausedFrom <= s.ClearAt; {
	case s.ClearAt == Never:
	case !r.Shockable():
		s.clearOver = true // no shock follows: see Silent
	case s.InArrest() && untouched:
		s.clearOver = false
	}
}
