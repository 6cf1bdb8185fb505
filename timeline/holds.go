package timeline

// Holds reports whether a cue is still true, for one that was cut off and might be
// said again: it is due still, and the event that it answers was not taken back.
func (m *Machine) Holds(c Cue) bool {
	return !m.Stale(c) && (c.About == 0 || !Retracted(m.events)[c.About])
}
