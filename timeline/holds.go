package timeline

// Holds reports whether a cue is still true, for one that was cut off and might be
// said again: it is due still, and the event that it answers was not taken back. Hands off
// needs no second word once a shock's read-back has told to compress.
func (m *Machine) Holds(c Cue) bool {
	if c.Priority == HandsOff && m.state.lastShock() >= c.At {
		return false
	}
	return !m.Stale(c) && (c.About == 0 || !Retracted(m.events)[c.About])
}
