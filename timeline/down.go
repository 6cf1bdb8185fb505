package timeline

import "math"

// down is since when the patient is down, as somebody told. Nothing that coxswain itself counts or times
// goes by it, but for what a guideline counts from the arrest: see pregnant.
type down struct {
	told  Time // when; Never: nobody did
	since Time // may lie before the record
}

// tellDown takes a down time, or a start that was told to be so long ago: of two the one that was told last.
func (s *State) tellDown(e Event) {
	ago, told := Seconds(60*e.Values["minutes"]), max(e.At, e.told)
	if e.Kind == CodeStart {
		ago = e.Early()
	}
	if ago > 0 && told >= s.down.told {
		s.down = down{told, e.At - ago}
	}
}

// arrestTold is when the arrest began: by what was called or, if that is earlier, by what was told.
func (s State) arrestTold() Time {
	if s.down.told == Never {
		return s.ArrestAt
	}
	return min(s.ArrestAt, s.down.since)
}

// toldBefore is how long before our clock the patient went down, as told.
func (s State) toldBefore() []Cue {
	from := s.CodeAt()
	if from == Never {
		from = s.down.told
	}
	if s.down.told == Never {
		return nil
	}
	return counted("told.before", "minutes", max(0, math.Round((from-s.down.since).Seconds()/60)))
}

// startTold reads back a start that was told with its time, which lies before our clock.
func (m *Machine) startTold(start, backdate Event, now Time) Cue {
	c := reply("said."+string(CodeStart)+m.unsaid(start, now), backdate, now, ReadBack)
	ago := math.Max(1, math.Round(backdate.Values["minutes"]))
	c.Parts = append(m.whose(c.ID, start, now), Cue{ID: "said." + string(ToldDown)}.with("minutes", ago))
	return c
}
