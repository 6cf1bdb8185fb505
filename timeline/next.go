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
	case OfChild(s.Patient), s.Patient == "" && s.AgeMonths > 0 && s.AgeMonths < grown,
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

// nextPatient forgets the former one, up to the event that ended that case: only what
// was called clear since the end holds.
func (s *State) nextPatient(endedBy uint64) {
	clear := s.ClearAt
	*s = newState()
	s.EndedBy, s.ClearAt = endedBy, clear
}

// wrongly returns the callout that began another patient's case, if a mistake can be
// taken back at that moment: nothing stands since, and the case before had just ended.
func (m *Machine) wrongly(at Time) (begun Event, ok bool) {
	gone := Retracted(m.events)
	for i, e := range slices.Backward(m.events) {
		next := e.Kind == PatientNext
		if !e.Kind.IsCallout() || gone[e.Seq] || e.Kind.Row().Control && !next {
			continue
		}
		before := Fold(m.events[:i])
		begins := next || before.Leaves(e) && !before.Reopens(e)
		if begins && before.justEnded(e.At) && at < e.At+Reopen() {
			return e, true
		}
		break
	}
	return Event{}, false
}

// goBack takes back the end of a case, and that another patient's began, if one did.
func (m *Machine) goBack(begun Event, at Time) (out []Event) {
	if begun.Seq != 0 {
		out = []Event{{At: at, Kind: Retraction, Retracts: begun.Seq}}
		m.state = Fold(slices.Concat(m.events, out))
	}
	return append(out, m.reopen(Event{At: at, Kind: Undo})...)
}

// mayGoBack reports whether e begins another patient's case, and an undo leads back to
// the one before: in this record, or in the one that this one names.
func (m *Machine) mayGoBack(e Event) bool {
	if begun, here := m.wrongly(e.At); here {
		return begun.Seq == e.Seq
	}
	first := slices.IndexFunc(m.events, func(x Event) bool {
		return x.Kind == PatientNext || x.Kind.IsCallout() && !x.Kind.Row().Control
	})
	return m.former() && e.At < m.wayBack() && first >= 0 && m.events[first].Seq == e.Seq
}

// wayBack is until when an undo leads back to the record that this one names.
func (m *Machine) wayBack() Time { return max(Reopen(), m.events[0].Session.Silent) }

// Whose is how long the first undo in a case behind a silent one says that it is the same patient's,
// whatever was called since.
func Whose() Time { return rule("whose_s") }

// lapsed returns the last callout since the case ended by silence, if an undo goes on with it: one
// callout began another patient's case, or a few did within moments, and nothing was undone
// since. ok is false if it was not so. Who calls it may be late by moments: see Whose.
func (m *Machine) lapsed(undo Event) (begun Event, ok bool) {
	for _, e := range slices.Backward(m.events) {
		switch {
		case e.Kind == CaseSilent:
			return begun, true
		case e.Seq == undo.Seq || !e.Kind.IsCallout():
		case begun.Seq != 0 && undo.At > e.At+2*Whose() || e.Kind == Undo:
			return Event{}, false
		case begun.Seq == 0:
			begun = e
		}
	}
	return Event{}, false
}

// former reports whether this record names one that ended a moment before.
func (m *Machine) former() bool {
	return len(m.events) > 0 && m.events[0].Session != nil && m.events[0].Session.Former != ""
}

// follows reports whether another patient's case ended a moment before this one
// began, in this record or in the one that this record names.
func (m *Machine) follows() bool { return m.former() || m.state.EndedBy != 0 }
