package timeline

import "slices"

// Reopen is how long after its confirmed end a case can go on: the end may have
// been misheard, or a mistake.
func Reopen() Time { return rule("reopen_s") }

// justEnded reports whether the case ended so lately that it can go on.
func (s State) justEnded(at Time) bool { return s.Ended != Never && at < s.Ended+Reopen() }

// Reopens reports whether e shows that the case that has just ended goes on: hands on the
// chest, no pulse, a shock, or a pulse that was not there when it ended. Whoever calls for help
// begins the next.
func (s State) Reopens(e Event) bool {
	row := e.Kind.Row()
	if e.Kind.Before() != "" { // of whoever was just brought
		return false
	}
	if e.Kind == PulsePresent || e.Kind == ROSC { // of whoever was just given up
		return s.justEnded(e.At) && !s.PulsePresent && s.ArrestAt != Never && e.Replaces == 0
	}
	return s.justEnded(e.At) && row.Starts && e.Kind != CodeStart && e.Replaces == 0 && !s.late(e, row)
}

// reopen takes back the end of the case, and a death called behind it, with what asked for them, so that
// clock, doses and beat go on as if it had not been called: the state does from now
// on, the record with the events that it returns. Whoever undoes it says that it was never
// meant; if e shows that the case goes on, hands were off from the end that was called.
func (m *Machine) reopen(e Event) []Event {
	var out []Event
	for s := m.state; s.Ended != Never; {
		ends := m.ends(s, e.At, Retracted(slices.Concat(m.events, out)))
		if len(ends) == 0 {
			break // it ended by silence
		}
		out = append(out, ends...)
		s = Fold(slices.Concat(m.events, out))
	}
	off := Event{At: m.state.Ended, Kind: CompressionsOff}
	if m.state = Fold(slices.Concat(m.events, out)); m.state.Compressing && e.Kind != Undo {
		out = append(out, off)
		m.state = Fold(slices.Concat(m.events, out))
	}
	return out
}

// ends takes back what ended the case last: the confirmation, and the end or the death that it was of.
func (m *Machine) ends(s State, at Time, gone map[uint64]bool) (out []Event) {
	for _, x := range slices.Backward(m.events) {
		if gone[x.Seq] || x.Seq > s.EndedBy || x.Seq != s.EndedBy && !x.Kind.Row().Confirm {
			continue
		}
		out = append(out, Event{At: at, Kind: Retraction, Retracts: x.Seq})
		if x.Seq != s.EndedBy {
			break
		}
	}
	return out
}

// tookBackEnd reports whether the end of the case was taken back because of e.
func (m *Machine) tookBackEnd(e Event) bool {
	ends := map[uint64]bool{}
	return slices.ContainsFunc(m.events, func(x Event) bool {
		ends[x.Seq] = x.Kind.Row().Confirm
		return x.Kind == Retraction && x.At == e.At && x.Seq > e.Seq && ends[x.Retracts]
	})
}

// reopened tells that the end was taken back by e, and to compress where e does not.
func (m *Machine) reopened(e Event, now Time) []Cue {
	s, drug := m.state, e.Kind.Row().family == "drug."
	out := []Cue{{ID: "reopened"}}
	if s.InArrest() && !s.Compressing && !s.Silent(now) && !m.compressFrom(e, m.protocol.For(s), now) &&
		(drug || e.Kind.Row().Rhythm != Unknown) {
		out = append(out, Cue{ID: "compress.now"})
	}
	return append(out, m.codeTime(e, now))
}

// doubtful reports whether somebody was still compressing when the case was
// ended: the end may be a mistake.
func (m *Machine) doubtful() bool {
	before := slices.DeleteFunc(slices.Clone(m.events), func(e Event) bool { return e.Seq == m.state.EndedBy })
	return Fold(before).Compressing
}
