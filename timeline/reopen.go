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

// follows reports whether another patient's case ended a moment before this one
// began, in this record or in the one that this record names.
func (m *Machine) follows() bool {
	named := len(m.events) > 0 && m.events[0].Session != nil && m.events[0].Session.Former != ""
	return named || m.state.EndedBy != 0
}

// doubtful reports whether somebody was still compressing when the case was
// ended: the end may be a mistake.
func (m *Machine) doubtful() bool {
	before := slices.DeleteFunc(slices.Clone(m.events), func(e Event) bool { return e.Seq == m.state.EndedBy })
	return Fold(before).Compressing
}
