package timeline

import "slices"

// What the crew that hands over did before the team came: shocks and drugs with a time
// before the record, or with none but "before arrival".

// Before is what a callout tells of as done before arrival: a drug, or "shock"; empty for
// any other callout.
func (k Kind) Before() string {
	if f, name := k.Family(); f == "before." {
		return name
	}
	return ""
}

// before takes what was done before arrival. Shocks are told in all, so that the last
// number told holds.
func (s *State) before(what string, e Event) {
	if what == "shock" {
		n := int(max(1, e.Values["shocks"]))
		if n != s.ShocksBefore && (!tooMany(n) || s.shocksTold == n) { // so many only if told twice
			s.ShocksBefore, s.BeforeAt = n, e.At
		}
		s.shocksTold = n
		return
	}
	if s.sameBefore(what, e) {
		return
	}
	dose := Dose{At: e.At - e.Early(), Mg: e.Milligrams(), Seq: e.Seq, early: e.Early(), Before: true}
	if dose.Untimed = e.Early() == 0 && e.told == 0; dose.Untimed && s.Started != Never { // no later than that
		dose.At = s.Started
	}
	given := slices.DeleteFunc(slices.Clone(s.Given[what]), func(d Dose) bool { return d.Untimed && dose.Untimed })
	s.Given = with(s.Given, what, inTime(append(given, dose)))
}

// tooMany reports whether so many shocks were hardly given before arrival.
func tooMany(shocks int) bool { return float64(shocks) > rules["before_shocks_most"].Value }

// beforeQuestions ask at once for a number of shocks that can hardly be.
func (s State) beforeQuestions(e Event) []question {
	if n := int(e.Values["shocks"]); tooMany(n) && s.shocksTold != n {
		return []question{{Cue: Cue{ID: "question.before"}}}
	}
	return nil
}

// sameBefore reports whether a drug that is told as given before arrival was told before:
// whoever hands over says it to more than one.
func (s State) sameBefore(drug string, e Event) bool {
	return e.Early() == 0 && e.told == 0 && slices.ContainsFunc(s.Given[drug], func(d Dose) bool {
		return d.Before && (e.Milligrams() == 0 || d.Mg == e.Milligrams())
	})
}

// TreatedBefore reports whether anything is told of as done before arrival, or before the
// start of the case: then the arrest began before this record.
func (s State) TreatedBefore() bool {
	if s.ShocksBefore > 0 {
		return true
	}
	for _, given := range s.Given {
		if DosesBefore(given) > 0 {
			return true
		}
	}
	return false
}

// DosesBefore counts the doses that were given before arrival or before the case.
func DosesBefore(given []Dose) (n int) {
	for _, d := range given {
		if d.Before || d.early > 0 {
			n++
		}
	}
	return n
}

// shocksInAll counts the defibrillations of the arrest with those before arrival.
func (s State) shocksInAll() int { return len(s.Defibrillations()) + s.ShocksBefore }

// saidBefore names what was done before arrival and asks whether there is a pulse, if nobody
// has said so, or of epinephrine when: the next dose depends on it.
func (s State) saidBefore(c Cue, what string, e Event) Cue {
	whose := c.Parts
	c.ID, c.Values, c.Parts = "said.before", nil, nil
	if what == "shock" {
		c.Parts = []Cue{Cue{ID: "before.shocks"}.with("shocks", max(1, e.Values["shocks"]))}
	} else {
		c = named(c, Event{Kind: Kind("drug." + what), Values: e.Values})
		c.Items = []string{what}
	}
	switch {
	case s.untold():
		c.Parts = append(c.Parts, Cue{ID: "before.pulse"})
	case what == "epinephrine" && e.Early() == 0:
		c.Parts = append(c.Parts, Cue{ID: "before.when"})
	}
	c.Parts = append(c.Parts, whose...)
	return c
}

// dueUntimed is when the next dose may be due if nobody knows when the last was given: at
// the earliest an interval after the case began, and then it may be.
func (p *Protocol) dueUntimed(last Dose) []Cue {
	c := due("epinephrine.due.open", last.At+p.Span("epinephrine_due_s"), Seconds(20), Due)
	return []Cue{c.every(p.Span("drug_again_s"), p.Span("drug_again_most_s"))}
}

// untold reports whether a case has begun of which nobody has said whether there is a pulse:
// only what was done before arrival is told.
func (s State) untold() bool {
	return s.Started != Never && s.Ended == Never && !s.InArrest() && !s.knownPulse()
}
