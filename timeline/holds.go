package timeline

import "slices"

// Fresh returns a cue that had to wait, or that was cut off and might be said again, as
// it would be made now, and whether it still holds: between, the patient may have
// become a child, or a dose may have been given or taken back.
func (m *Machine) Fresh(c Cue) (now Cue, ok bool) {
	if !m.Holds(c) {
		return c, false
	}
	now = c
	switch {
	case c.planned != "":
		i := slices.IndexFunc(m.agenda, func(x Cue) bool { return x.key() == c.planned })
		now = m.agenda[i]
	case c.Priority == Answer && c.About != 0:
		i := slices.IndexFunc(m.events, func(e Event) bool { return e.Seq == c.About })
		if i < 0 {
			return c, true
		}
		now = m.answer(m.events[i], c.At)
	}
	now.At, now.Expires, now.Seq, now.About, now.planned = c.At, c.Expires, c.Seq, c.About, c.planned
	return now, true
}

// Holds reports whether a cue is still true, for one that was cut off and might be
// said again: it is due still, and the event that it answers was not taken back. Hands off
// needs no second word once a shock's read-back has told to compress.
func (m *Machine) Holds(c Cue) bool {
	if c.Priority == HandsOff && m.state.lastShock() >= c.At {
		return false
	}
	return !m.Stale(c) && (c.About == 0 || !Retracted(m.events)[c.About])
}
