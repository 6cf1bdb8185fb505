package session

import (
	"slices"

	"coxswain/intents"
	"coxswain/timeline"
)

// aside is a case that had just ended when another patient's began, or that ended because
// nothing was heard for long. It stays open for as long as its end could be taken back: until
// then "undo" goes back to it. Of what is heard meanwhile it gets nothing.
type aside struct {
	*oneCase
	start intents.Result   // what began the other one; of a silent case empty until something does
	since []intents.Result // what was called behind it while an undo takes that back, too
	until int64            // clock of the session
	whose int64            // until when that is: clock of the session
}

// leaves reports whether a callout is the next patient's, and does not show that the
// present case goes on.
func (s *oneCase) leaves(r intents.Result) bool {
	k := timeline.Kind(r.Callout)
	st, e := s.machine.State(), timeline.Event{At: timeline.Time(s.pos), Kind: k, Values: r.Values}
	return k == timeline.PatientNext && !st.Running() || st.Leaves(e) && !st.Reopens(e)
}

// justEnded reports whether the end of the case could be taken back still.
func (s *oneCase) justEnded() bool {
	return s.ended() && s.pos-int64(s.machine.State().Ended) < int64(timeline.Reopen())
}

// onlyBegun reports whether nothing stands in the case but what began it.
func (s *oneCase) onlyBegun(start string) bool {
	gone, first := timeline.Retracted(s.events), true
	return !slices.ContainsFunc(s.events, func(e timeline.Event) bool {
		if !opens(e.Kind) || e.Replaces != 0 {
			return false
		}
		began := first && (string(e.Kind) == start || e.Kind == timeline.CodeStart)
		first = false
		return !began && !gone[e.Seq]
	})
}

// putAside keeps the present case open if it ended a moment ago.
func (s *Session) putAside(start intents.Result) {
	s.forgo()
	if s.now.justEnded() {
		s.aside = &aside{oneCase: s.now, start: start, until: s.pos + int64(timeline.Reopen())}
		if timeline.Kind(start.Callout) != timeline.PatientNext { // whoever calls one has said that it is not the same
			s.aside.whose = s.pos + int64(timeline.Whose())
		}
	}
}

// lapse ends a case of which nothing was heard for long. In a loud room it may go on all the
// same, so for as long again an undo leads back to it.
func (s *Session) lapse(silence int64) {
	s.forgo()
	s.now.take(timeline.Event{At: timeline.Time(s.now.pos), Kind: timeline.CaseSilent})
	s.aside = &aside{oneCase: s.now, until: s.pos + silence}
	s.next()
}

// notesStart notes what begins a case behind a silent one. Whoever says that another patient
// comes goes back to none.
func (s *Session) notesStart(r intents.Result) {
	switch a, k := s.aside, timeline.Kind(r.Callout); {
	case a == nil:
	case a.start.Callout != "":
		if s.pos < a.whose {
			a.since = append(a.since, r)
		}
	case k == timeline.PatientNext:
		s.forgo()
		s.former = ""
	case opens(k):
		a.start, a.whose = r, s.pos+int64(timeline.Whose())
		a.until = max(a.until, a.whose)
	}
}

// forgo closes the case that was put aside.
func (s *Session) forgo() {
	if s.aside != nil {
		s.finish(s.aside.oneCase)
		s.aside = nil
	}
}

// settle closes it once nobody goes back to it any more.
func (s *Session) settle() {
	if s.aside == nil || s.pos < s.aside.until {
		return
	}
	if s.forgo(); !s.now.kept() {
		s.former = "" // it is no moment ago any more
	}
}

// goBack goes back to the case that was put aside, if what was called takes back
// that another one began and nothing else was called since or it was
// asked a moment ago whether it is the same patient. The time between is silence
// in its record; what was called in the other one and the undo stand in both.
func (s *Session) goBack(r intents.Result) bool {
	if timeline.Kind(r.Callout) != timeline.Undo || s.aside == nil || s.now.ended() ||
		s.pos >= s.aside.whose && !s.now.onlyBegun(s.aside.start.Callout) {
		return false
	}
	if s.now.kept() {
		s.now.callout(r)
		s.finish(s.now)
	}
	s.player.Hush()
	back := s.aside
	s.now, s.aside, s.former = back.oneCase, nil, ""
	gap := s.pos - s.now.off - s.now.pos
	s.now.logger.Skip(int(gap))
	s.now.pos += gap
	if back.start.Callout != "" {
		for _, r := range append([]intents.Result{back.start}, back.since...) {
			s.now.callout(r)
		}
		s.now.waiting = nil // it was answered
	}
	s.now.callout(r)
	s.tell("the case before goes on")
	return true
}

// formerUntil is until when an undo leads back to a case that ended by silence, by the clock of
// a record that begins at sample off; 0: there is none.
func (s *Session) formerUntil(off int64) timeline.Time {
	if s.former == "" || s.aside == nil || s.aside.ended() {
		return 0
	}
	return timeline.Time(s.aside.until - off)
}
