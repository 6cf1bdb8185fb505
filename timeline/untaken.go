package timeline

import "slices"

// Who lies there, taken back once it was confirmed.

// untakeWho takes back who lies there, if what was called last before an undo confirmed that: what was
// read back last is meant, and not a dose that was called between question and answer. With one of several
// callouts that were confirmed together all go, or who was called would stand.
func (m *Machine) untakeWho(undo Event, now Time) (r Ready, ok bool) {
	r.Events = m.withoutAsked(undo.At)
	if len(r.Events) == 0 || !m.state.untakes && !m.takesBack(undo, r.Events) {
		return Ready{}, false
	}
	c := reply("undone", undo, now, ReadBack)
	c.Items = dosesOf(m.protocol.kindOf(m.state))
	r.Cues = []Cue{c}
	return r, true
}

// withoutAsked takes back what was called of who lies there and asked about.
func (m *Machine) withoutAsked(at Time) (out []Event) {
	asked, gone := map[Time]bool{}, Retracted(m.events)
	for _, e := range m.events {
		asked[e.At] = asked[e.At] || e.Kind == Question && e.Cue == whoQuestion
	}
	for _, e := range m.events {
		meant := asked[e.At] || e.Seq == m.state.by
		if e.Kind.tellsWho() && meant && !gone[e.Seq] && e.Seq > m.state.EndedBy {
			out = append(out, Event{At: at, Kind: Retraction, Retracts: e.Seq})
		}
	}
	return out
}

// takesBack reports whether an undo takes back who lies there, where that was confirmed: with what goes, another
// kind of patient does.
func (m *Machine) takesBack(undo Event, goes []Event) bool {
	last, near, _ := m.undoable(undo.At)
	left := Fold(slices.Concat(m.events, goes))
	return near && m.state.held.at == Never && m.protocol.kindOf(left) != m.protocol.kindOf(m.state) &&
		slices.ContainsFunc(goes, func(x Event) bool { return x.Retracts == last.Seq })
}
