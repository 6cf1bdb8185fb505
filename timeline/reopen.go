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
// on, the record with the events that it returns. e shows that the case goes on: hands were off from
// the end that was called.
func (m *Machine) reopen(e Event) []Event {
	end := m.state.Ended
	out := m.withoutEnds(m.events, nil, e.At)
	if m.state = Fold(slices.Concat(m.events, out)); m.state.Compressing {
		out = append(out, Event{At: end, Kind: CompressionsOff})
		m.state = Fold(slices.Concat(m.events, out))
	}
	return out
}

// withoutEnds adds to what is taken back what ended the case of some events, for as long as it has ended.
func (m *Machine) withoutEnds(of, out []Event, at Time) []Event {
	for {
		s := Fold(slices.Concat(of, out))
		if s.Ended == Never {
			return out
		}
		ends := m.ends(s, at, Retracted(slices.Concat(of, out)))
		if len(ends) == 0 {
			return out // it ended by silence
		}
		out = append(out, ends...)
	}
}

// samePatient does what an undo says behind an end that was a mistake: the case goes on, and what was
// called since stands as this patient's. What would make another kind of patient of the one whose case it
// is does not: that is asked for. ok is false if no end is meant.
func (m *Machine) samePatient(undo Event, now Time) (r Ready, ok bool) {
	from, ok := m.mistaken(undo)
	if !ok {
		return Ready{}, false
	}
	r.Events = m.goBack(from, undo.At)
	others := m.others(from, r.Events)
	for _, x := range others {
		r.Events = append(r.Events, Event{At: undo.At, Kind: Retraction, Retracts: x.Seq})
	}
	m.state = Fold(slices.Concat(m.events, r.Events))
	c := reply("reopened", undo, now, ReadBack)
	c.Parts = []Cue{m.codeTime(undo, now)}
	since := m.since(from, r.Events)
	for i, x := range since { // what was given stands, and the last that was called
		if _, drug := x.Kind.Drug(); drug || x.Kind.shocks() || i == len(since)-1 {
			stands := m.state.said(x)
			stands.ID += m.state.doubted(x.Kind)
			c.Parts = append(c.Parts, stands)
		}
	}
	if len(others) > 0 || m.state.heldOpen() { // a yes is to going on
		r.Events = append(r.Events, Event{At: undo.At, Kind: Question, Cue: whoAgain})
		c.Parts = append(c.Parts, Cue{ID: whoAgain})
	}
	r.Cues = []Cue{c}
	return r, true
}

// mistaken is where, in the events, another patient's case began if an undo says that it is the same
// one's: behind the end if none did, and only the end is meant.
func (m *Machine) mistaken(undo Event) (from int, ok bool) {
	if from, ok = m.lapsed(undo); ok {
		return from, true
	}
	if from, ok = m.wrongly(undo.At); ok {
		return from, true
	}
	_, _, more := m.undoable(undo.At)
	offered := undo.At <= m.state.Ended+2*Whose() && m.doubtful() // "if not, undo"
	end := slices.IndexFunc(m.events, func(e Event) bool { return e.Seq == m.state.EndedBy })
	return end + 1, m.state.justEnded(undo.At) && (!more || offered)
}

// goBack takes back the end of a case, and that another patient was called, if that stands behind it.
func (m *Machine) goBack(from int, at Time) []Event {
	before, since := m.events[:from], m.since(from, nil)
	out := m.withoutEnds(before, nil, at)
	for _, e := range since {
		if e.Kind.Row().Confirm { // another end, of what had ended: it waits for no yes
			out = append(out, Event{At: at, Kind: Retraction, Retracts: e.Seq})
		}
	}
	if from < len(m.events) && m.events[from].Kind == PatientNext {
		out = append(out, Event{At: at, Kind: Retraction, Retracts: m.events[from].Seq})
	}
	hands := slices.ContainsFunc(since, func(e Event) bool { return e.Kind == CompressionsStart })
	if hands && Fold(slices.Concat(before, out)).Compressing { // they went back on: they were off
		out = append(out, Event{At: m.state.begun.end, Kind: CompressionsOff})
	}
	return out
}

// since are the callouts from there on that stand, though some are taken back; what is said to coxswain is none.
func (m *Machine) since(from int, back []Event) (out []Event) {
	gone := Retracted(slices.Concat(m.events, back))
	for _, e := range m.events[from:] {
		if e.Kind.IsCallout() && !e.Kind.Row().Control && !gone[e.Seq] {
			out = append(out, e)
		}
	}
	return out
}

// others are the callouts from there on that tell who lies there, if they would make another kind of
// patient of the one whose case it is.
func (m *Machine) others(from int, back []Event) []Event {
	told := slices.DeleteFunc(m.since(from, back), func(e Event) bool { return !e.Kind.tellsWho() })
	if len(told) == 0 {
		return nil
	}
	without := slices.DeleteFunc(slices.Concat(m.events, back), func(e Event) bool {
		return slices.ContainsFunc(told, func(x Event) bool { return x.Seq == e.Seq && e.Seq != 0 })
	})
	was := Fold(without)
	for _, x := range told {
		if _, held := m.protocol.whose(was, x); held {
			return told
		}
	}
	return nil
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
	end := slices.IndexFunc(m.events, func(e Event) bool { return e.Seq == m.state.EndedBy })
	return end >= 0 && Fold(m.events[:end]).Compressing
}

// tookHands reports whether an undo takes hands off the chest that leaves a pause longer than one may be.
func (m *Machine) tookHands(left State, undo Event) bool {
	p := m.protocol.For(left)
	return m.state.Compressing && left.InArrest() && !left.Compressing && !left.Silent(undo.At) &&
		!left.OfNewborn() && !p.byMachine(left) && undo.At >= left.PausedFrom+p.Span("pause_limit_s")
}

// handsSince is that hands are off since a pulse that an undo takes back: whoever felt one long ago stopped.
func (m *Machine) handsSince(last, undo Event) (off Event, ok bool) {
	pulse := last.Kind == PulsePresent || last.Kind == ROSC
	if !pulse || undo.At < last.At+rule("clear_s") || m.byMachine() {
		return Event{}, false
	}
	s := Fold(slices.DeleteFunc(slices.Clone(m.events), func(x Event) bool { return x.Seq == last.Seq }))
	return Event{At: last.At, Kind: CompressionsOff}, s.InArrest() && s.Compressing
}
