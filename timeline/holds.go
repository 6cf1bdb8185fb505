package timeline

import (
	"slices"
	"strings"
)

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
		now = m.agenda[i].asOf(c.At)
	case (c.Priority == Answer || strings.HasPrefix(c.ID, "next.") || strings.HasPrefix(c.ID, "dose")) && c.About != 0:
		i := slices.IndexFunc(m.events, func(e Event) bool { return e.Seq == c.About })
		if i < 0 {
			return c, true
		}
		now = m.answer(m.events[i], c.At)
	}
	now.Parts = slices.DeleteFunc(slices.Clone(now.Parts), m.state.answeredSince)
	if now.ID == "said."+string(ShockGiven) && m.state.Compressing { // hands are back on since
		now.ID += ".logged"
	}
	now.At, now.Expires, now.Seq, now.About, now.planned = c.At, c.Expires, c.Seq, c.About, c.planned
	return now, true
}

// Unasked returns the cue without its questions, for a team that wants none: what they stand
// in place of is said. ok is false if nothing is left.
func (c Cue) Unasked() (plain Cue, ok bool) {
	refused := c.ID == "question.backdate" // no question, but that it was not done
	switch {
	case !strings.HasPrefix(c.ID, "question.") || refused:
	case c.plain == nil:
		return Cue{}, false
	default:
		at, parts := c, c.Parts
		c = *c.plain
		c.At, c.Expires, c.Priority, c.Seq, c.About, c.Parts = at.At, at.Expires, at.Priority, at.Seq, at.About, parts
	}
	parts := c.Parts
	c.Parts = nil
	for _, p := range parts {
		if p, ok := p.Unasked(); ok {
			c.Parts = append(c.Parts, p)
		}
	}
	return c, true
}

// answeredSince reports whether a question has become idle: nobody asks about a pulse that
// was lost.
func (s State) answeredSince(c Cue) bool {
	if strings.HasPrefix(c.ID, whoQuestion) {
		return s.held.at == Never
	}
	if c.ID == whoAgain {
		return !s.heldOpen()
	}
	pulse := c.ID == "question.drug.pulse" || c.ID == "question.shock.pulse" || c.ID == "question.sync.on"
	switch c.ID {
	case "question.drug.shock":
		return float64(s.shocksInAll()) >= c.Values["shocks"]
	case "question.epinephrine.shock": // a row of shocks may count as one
		return float64(s.rows()+s.ShocksBefore) >= c.Values["shocks"]
	}
	return pulse && s.InArrest() || c.ID == "compress.now" && s.Compressing
}

// over reports whether a read-back has become idle, or would be taken for what is to be done
// now: "clear" and "charging" once the shock was given or hands are on, a pulse that is gone.
func (s State) over(e Event) bool {
	if s.opposite(e) {
		return true
	}
	if e.Kind.Row().Confirm { // what it asks for would be answered "nothing to confirm"
		return s.Pending == "" && s.Ended == Never
	}
	if e.Kind.Row().Rhythm != Unknown { // behind a shock it would be taken for what is seen now
		return s.lastShock() >= e.At
	}
	prepares := e.Kind == ShockClear || e.Kind == ShockCharging
	return prepares && (s.lastShock() >= e.At || e.Kind == ShockClear && s.Compressing)
}

// opposite reports whether the opposite of e was called since: of pulse and hands the last word
// that is heard must be the one that holds.
func (s State) opposite(e Event) bool {
	switch e.Kind {
	case PulsePresent, ROSC:
		return s.InArrest()
	case PulseAbsent, PulseLost:
		return s.PulsePresent
	case CompressionsStart:
		return s.InArrest() && !s.Compressing
	case CompressionsStop, RhythmCheck:
		return s.Compressing
	}
	return false
}

// Holds reports whether a cue is still true, for one that was cut off and might be
// said again: it is due still, and the event that it answers was not taken back. Hands off
// needs no second word once a shock's read-back has told to compress.
func (m *Machine) Holds(c Cue) bool {
	if c.Priority == HandsOff && m.state.lastShock() >= c.At {
		return false
	}
	if strings.HasPrefix(c.ID, whoQuestion) && m.state.held.at == Never { // it was answered
		return false
	}
	return !m.Stale(c) && (c.About == 0 || m.stands(c))
}

// stands reports whether what a cue answers still stands: the callout, what it put in
// another's place and, of a question what to give, that it was not given since.
func (m *Machine) stands(c Cue) bool {
	gone := Retracted(m.events)
	i := slices.IndexFunc(m.events, func(e Event) bool { return e.Seq == c.About })
	if gone[c.About] || i < 0 {
		return !gone[c.About]
	}
	if m.state.over(m.events[i]) {
		return false
	}
	since, open := m.events[i+1:], true
	again := func(x Event) bool { return x.Kind == m.events[i].Kind }
	if strings.HasPrefix(string(m.events[i].Kind), "ask.") && slices.ContainsFunc(since, again) {
		return false // one answer is enough
	}
	for _, x := range since {
		if x.Kind.IsCallout() && x.Replaces == 0 {
			break
		}
		open = open && !(x.Replaces != 0 && gone[x.Seq])
	}
	return open && !slices.ContainsFunc(since, func(x Event) bool { return !gone[x.Seq] && m.events[i].doneBy(x) })
}

// doneBy reports whether e asks what to give, and x gives it.
func (e Event) doneBy(x Event) bool {
	f, what := e.Kind.Family()
	drug, given := x.Kind.Drug()
	if f != "ask.dose." || what == "shock" {
		return f != "" && what == "shock" && x.Kind.shocks()
	}
	return given && drug == what
}

// shocks reports whether k is a shock that was given.
func (k Kind) shocks() bool { return k == ShockGiven || k == ShockStacked || k == CardioversionDone }
