package timeline

import (
	"slices"
	"strings"
)

// One patient after the other: when the next one's case begins, and the way back.

// Leaves reports whether e is of the next patient: behind the end of the case it begins
// another, or tells, too late to be of the one that has ended, of a rhythm, of a pulse or of
// who lies there.
func (s State) Leaves(e Event) bool {
	row := e.Kind.Row()
	group, _, _ := strings.Cut(string(e.Kind), ".")
	seen := row.Rhythm != Unknown || e.Kind == PulsePresent || group == "patient" && !row.Control
	switch {
	case s.Ended == Never || s.Reopens(e):
		return false
	case row.Starts: // what was done before arrival is no sign of the patient who was here
		return !s.late(e, row)
	case s.another(e):
		return true
	}
	return seen && e.At >= s.Ended+rule("after_end_s")
}

// another reports whether e says that somebody else lies there: a child, or an adult, where none was,
// or an age or a weight that cannot be of whoever was here. Nobody tells so of a patient whose code has
// ended.
func (s State) another(e Event) bool {
	var told State
	if told.patient(e); told.Patient != "" {
		return told.Patient != s.Patient && (OfChild(told.Patient) || s.OfChild())
	}
	far := func(a, b float64) bool { return a > 0 && b > 0 && max(a/b, b/a) > rules["other_times"].Value }
	switch who := s.who(); {
	case e.Kind == PatientNewborn:
		return !s.OfNewborn()
	case far(told.AgeMonths, s.AgeMonths), far(told.WeightKg, s.WeightKg):
		return true
	case told.AgeMonths > 0:
		return told.OfChild() != s.OfChild()
	case told.WeightKg > 0:
		limit := rules["other_kg"].Value
		if who == "child" { // grown, but not so far
			limit *= rules["other_times"].Value
		} else if who == "adult" {
			limit /= rules["other_times"].Value
		}
		return told.WeightKg < limit != s.OfChild()
	}
	return false
}

// who is child or adult by what was called, or empty: then everything is an adult's. It asks no protocol:
// where one case ends and the next begins must be the same under each.
func (s State) who() string {
	switch child, grown := rules["other_kg"].Value, 12*rules["other_years"].Value; {
	case s.OfNewborn(), OfChild(s.Patient), s.Patient == "" && s.AgeMonths > 0 && s.AgeMonths < grown,
		s.Patient == "" && s.AgeMonths == 0 && s.WeightKg > 0 && s.WeightKg < child:
		return "child"
	case s.Patient == "" && s.AgeMonths == 0 && s.WeightKg == 0:
		return ""
	}
	return "adult"
}

// OfChild reports whether a child or an infant lies there, by what was called.
func (s State) OfChild() bool { return s.who() == "child" }

// late reports whether e is a fact of the case that has just ended, and no new
// case: neither a call for help or hands, nor the loss of a pulse, nor a shock that
// can hardly have been told late.
func (s State) late(e Event, row Row) bool {
	switch {
	case s.Ended == Never || !row.Starts || e.At >= s.Ended+rule("after_end_s"):
		return false
	case e.Kind == CodeStart || e.Kind == CompressionsStart || e.Kind == PulseAbsent || e.Kind == PulseLost:
		return false
	case (e.Kind == ShockGiven || e.Kind == RhythmVF) && e.At >= s.Ended+rule("after_end_shock_s"):
		return false
	}
	return !(row.Arrest && s.PulsePresent)
}

// begun is what began the case, behind the end of another patient's.
type begun struct {
	by  uint64 // number of the callout; 0: nobody was here before
	at  Time
	end Time // of the case before; Never: it had none
}

// nextPatient forgets the former one, up to the event that ended that case: only what
// was called clear since the end holds. e is the first of the next.
func (s *State) nextPatient(e Event, endedBy uint64) {
	clear, end := s.ClearAt, s.Ended
	*s = newState()
	s.EndedBy, s.ClearAt = endedBy, clear
	s.begun = begun{e.Seq, e.At, end}
}

// wrongly is where in the events another patient's case began, if an undo at that moment says that it
// is the same one's: the case before had just ended, and nothing was called since or, behind "same
// patient?", all of it within moments. Whoever called another patient has said that it is not.
func (m *Machine) wrongly(at Time) (from int, ok bool) {
	b := m.state.begun
	from = slices.IndexFunc(m.events, func(e Event) bool { return b.by != 0 && e.Seq == b.by })
	if from < 0 || b.end == Never || b.at >= b.end+Reopen() || at >= b.at+Reopen() {
		return 0, false
	}
	last, _, since := m.undoable(at)
	bare := !since || last.Seq <= b.by
	return from, bare || m.events[from].Kind != PatientNext && at <= b.at+2*Whose() // either may be heard late by moments
}

// mayGoBack reports whether e begins another patient's case, and an undo leads back to
// the one before: in this record, or in the one that this one names.
func (m *Machine) mayGoBack(e Event) bool {
	if _, here := m.wrongly(e.At); here {
		return m.state.begun.by == e.Seq
	}
	first := slices.IndexFunc(m.events, func(x Event) bool {
		return x.Kind == PatientNext || x.Kind.IsCallout() && !x.Kind.Row().Control
	})
	return m.former() && e.At < m.wayBack() && first >= 0 && m.events[first].Seq == e.Seq
}

// wayBack is until when an undo leads back to the record that this one names.
func (m *Machine) wayBack() Time { return max(Reopen(), m.events[0].Session.Silent) }

// Whose is how long the first undo in a case behind another one says that it is the same patient's,
// whatever was called since.
func Whose() Time { return rule("whose_s") }

// lapsed is where the events go on since the case ended by silence, if an undo goes on with it: one
// callout began another patient's case, or a few did within moments, and nothing was undone
// since. ok is false if it was not so.
func (m *Machine) lapsed(undo Event) (from int, ok bool) {
	more := false
	for i, e := range slices.Backward(m.events) {
		switch {
		case e.Kind == CaseSilent:
			return i + 1, true
		case e.Seq == undo.Seq || !e.Kind.IsCallout():
		case more && undo.At > e.At+2*Whose() || e.Kind == Undo:
			return 0, false
		default:
			more = true
		}
	}
	return 0, false
}

// former reports whether this record names one that ended a moment before.
func (m *Machine) former() bool {
	return len(m.events) > 0 && m.events[0].Session != nil && m.events[0].Session.Former != ""
}

// follows reports whether another patient's case ended a moment before this one
// began, in this record or in the one that this record names.
func (m *Machine) follows() bool { return m.former() || m.state.EndedBy != 0 }
