package timeline

import "slices"

// counted is the callout right before a no, if it stands all the same: what waits for a yes is given up by
// a no, and what was called is not.
func (m *Machine) counted(e Event) (last Event, ok bool) {
	if e.Kind != Refuse || m.wondered.ID != "" && e.At < m.wondered.Expires+rule("clear_s") { // it answers the clock
		return Event{}, false
	}
	if was := m.before(e, e.At); was.Ended != Never || was.waits() {
		return Event{}, false
	}
	gone := Retracted(m.events)
	for _, x := range slices.Backward(m.events) {
		if !x.Kind.IsCallout() || x.Replaces != 0 || x.Kind == Refuse || x.Kind == Confirm {
			continue
		}
		last, ok = m.putBy(x)
		if row := x.Kind.Row(); !row.Control && !row.Confirm {
			last, ok = x, !gone[x.Seq]
		}
		return last, ok && e.At-x.heard() <= rule("confirm_s")
	}
	return Event{}, false
}

// putBy is what a correction, or a move back, put in the place of what was called before it.
func (m *Machine) putBy(repair Event) (put Event, ok bool) {
	if repair.Kind != Backdate && !repair.Kind.corrects() {
		return Event{}, false
	}
	from := slices.IndexFunc(m.events, func(x Event) bool { return x.Seq == repair.Seq })
	for _, x := range m.events[from+1:] {
		switch {
		case x.Kind == Confirm: // it was asked about
		case x.Kind.IsCallout() && x.Replaces == 0:
			return Event{}, false
		case x.Replaces != 0:
			return x, true
		}
	}
	return Event{}, false
}

// waits reports whether anything that was called waits for a yes.
func (s State) waits() bool { return s.Pending != "" || s.held.at != Never || s.ecmoCalled != Never }

// counts tells that a callout stands, and how to take it back.
func counts(last, e Event, now Time) Cue {
	c := named(reply("refuse.counted", e, now, ReadBack), last)
	c.Parts = append(c.Parts, Cue{ID: "refuse.undo"})
	return c
}

// thrombolysed tells whoever ends the case how long ago a thrombolysis was given: it needs time.
func (p *Protocol) thrombolysed(s State, at Time) []Cue {
	given, ok := s.Done["thrombolysis"]
	if !ok || at < given || at-given > p.Span("thrombolysis_told_s") {
		return nil
	}
	t := float64(int((at - given).Seconds()))
	minutes := float64(int(t / 60))
	return []Cue{Cue{ID: "end.thrombolysis"}.with("minutes", minutes).with("seconds", t-60*minutes)}
}
