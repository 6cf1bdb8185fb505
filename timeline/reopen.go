package timeline

import "slices"

// Reopen is how long after its confirmed end a case can go on: the end may have
// been misheard, or a mistake.
func Reopen() Time { return rule("reopen_s") }

// justEnded reports whether the case ended so lately that it can go on.
func (s State) justEnded(at Time) bool { return s.Ended != Never && at < s.Ended+Reopen() }

// reopens reports whether e shows that the case that has just ended goes on:
// hands on the chest, no pulse, or a shock. Whoever calls for help begins the next.
func (s State) reopens(e Event) bool {
	row := e.Kind.Row()
	return s.justEnded(e.At) && row.Starts && e.Kind != CodeStart && e.Replaces == 0 && !s.late(e, row)
}

// wrongly returns the callout that began another patient's case, if a mistake can be
// taken back at that moment: nothing stands since, and the case before had just ended.
func (m *Machine) wrongly(at Time) (begun Event, ok bool) {
	gone := Retracted(m.events)
	for i, e := range slices.Backward(m.events) {
		switch next := e.Kind == PatientNext; {
		case !e.Kind.IsCallout() || gone[e.Seq] || e.Kind.Row().Control && !next:
		case next || e.Kind == CodeStart:
			return e, at < e.At+Reopen() && Fold(m.events[:i]).justEnded(e.At)
		default:
			return Event{}, false
		}
	}
	return Event{}, false
}

// goBack takes back the end of a case, and that another patient's began, if one did.
func (m *Machine) goBack(begun Event, at Time) (out []Event) {
	if begun.Seq != 0 {
		out = []Event{{At: at, Kind: Retraction, Retracts: begun.Seq}}
		m.state = Fold(slices.Concat(m.events, out))
	}
	return append(out, m.reopen(at)...)
}

// reopen takes back the end of the case and the callout that asked for it, so that
// clock, doses and beat go on as if it had not been called: the state does from now
// on, the record with the events that it returns.
func (m *Machine) reopen(at Time) []Event {
	gone := Retracted(m.events)
	var out []Event
	for _, x := range slices.Backward(m.events) {
		if gone[x.Seq] || x.Seq > m.state.EndedBy || x.Seq != m.state.EndedBy && !x.Kind.Row().Confirm {
			continue
		}
		out = append(out, Event{At: at, Kind: Retraction, Retracts: x.Seq})
		if x.Seq != m.state.EndedBy {
			break
		}
	}
	m.state = Fold(slices.Concat(m.events, out))
	return out
}

// mayGoBack reports whether an undo of what was just called leads back to the case
// before: in this record, or in the one that this one names.
func (m *Machine) mayGoBack(at Time) bool {
	_, here := m.wrongly(at)
	return here || m.former() && at < Reopen()
}

// former reports whether this record names one that ended a moment before.
func (m *Machine) former() bool {
	return len(m.events) > 0 && m.events[0].Session != nil && m.events[0].Session.Former != ""
}

// follows reports whether another patient's case ended a moment before this one
// began, in this record or in the one that this record names.
func (m *Machine) follows() bool { return m.former() || m.state.EndedBy != 0 }

// doubtful reports whether somebody was still compressing when the case was
// ended: the end may be a mistake.
func (m *Machine) doubtful() bool {
	before := slices.DeleteFunc(slices.Clone(m.events), func(e Event) bool { return e.Seq == m.state.EndedBy })
	return Fold(before).Compressing
}
