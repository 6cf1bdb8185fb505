package timeline

import "slices"

// movedBack is last at the moment that e claims for it, but not before the case began without it.
func (m *Machine) movedBack(last, e Event, without []Event) Event {
	moved, claimed := last, m.claimed(last, e)
	was := Fold(without)
	start := max(0, min(last.At, was.Started))
	if was.RoundAt != Never { // the patient was here with a pulse
		start = min(start, was.RoundAt)
	}
	if last.Kind == CodeStart && was.Started == Never { // our clock begins now
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
	before := moved.Early()
	if before == 0 { // in the case, but not in the code
		before = max(0, from-moved.At)
	}
	if early := int(before.Seconds()); early > 0 {
		to = Cue{ID: "backdated.before"}.with("minutes", float64(early/60)).with("seconds", float64(early%60))
	} else if t := int((moved.At - from).Seconds()); t > 0 {
		to = Cue{ID: "backdated.to"}.with("minutes", float64(t/60)).with("seconds", float64(t%60))
	}
	return []Cue{to}
}

// notMoved is the answer to a time at which what was called cannot have happened: another that it depends
// on stands between. Called with its time, it did not happen now either: nothing is changed.
func notMoved(last, between, e Event, now Time) Ready {
	c := reply("question.backdate", e, now, ReadBack)
	c.Items = []string{between.Kind.Row().Spoken}
	if e.At == last.At {
		c.ID = "backdate.untaken"
		return Ready{Events: []Event{{At: e.At, Kind: Retraction, Retracts: last.Seq}}, Cues: []Cue{c}}
	}
	return Ready{Events: []Event{{At: e.At, Kind: Question, Cue: c.ID}}, Cues: []Cue{c}}
}

// untaken reports whether what was called right before e was not taken at all: an undo does not mean
// what stands before that.
func (m *Machine) untaken(e Event) bool {
	gone := Retracted(m.events)
	var moved Event // the time that was told
	for _, x := range slices.Backward(m.events) {
		switch {
		case x.Seq == e.Seq || !x.Kind.IsCallout() || x.Replaces != 0:
		case moved.Kind == Backdate:
			again := func(y Event) bool { return y.Replaces == x.Seq }
			return gone[x.Seq] && x.At == moved.At && !slices.ContainsFunc(m.events, again)
		case x.Kind != Backdate:
			return false
		default:
			moved = x
		}
	}
	return false
}
