package timeline

// movedBack is last at the moment that e claims for it, but not before the case began without it.
func (m *Machine) movedBack(last, e Event, without []Event) Event {
	moved, claimed := last, m.claimed(last, e)
	start := max(0, min(last.At, Fold(without).Started))
	if last.Kind == CodeStart && Fold(without).Started == Never { // our clock begins now
		start = last.At
	}
	moved.At = max(claimed, start)
	if last.Kind.dose() || last.Kind.Row().Utstein != "" || last.Kind == CodeStart { // it counts from before
		moved.Values = early(last.Values, start-claimed)
	}
	return moved
}

// stands tells where in the case a callout stands that was moved back.
func (s State) stands(last, moved Event) []Cue {
	from := s.CodeAt()
	if from == Never || last.At <= from && moved.Early() <= 0 {
		return nil
	}
	to := Cue{ID: "backdated.start"}
	if early := int(moved.Early().Seconds()); early > 0 {
		to = Cue{ID: "backdated.before"}.with("minutes", float64(early/60)).with("seconds", float64(early%60))
	} else if t := int((moved.At - from).Seconds()); t > 0 {
		to = Cue{ID: "backdated.to"}.with("minutes", float64(t/60)).with("seconds", float64(t%60))
	}
	return []Cue{to}
}
