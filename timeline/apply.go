package timeline

import (
	"cmp"
	"slices"
	"strings"
)

// apply makes the state that e leaves out of the one that it found.
func (s *State) apply(e Event) {
	row := e.Kind.Row()
	late := s.late(e, row)
	switch {
	case e.Kind == PatientNext && !s.Running():
		s.nextPatient(e, e.Seq)
	case s.Leaves(e):
		s.nextPatient(e, s.EndedBy)
	}
	s.At = e.At
	s.conversation(e)
	if !late {
		s.begin(e, row)
	}
	if s.Pending != "" && e.Kind.goesOn(row) {
		s.Pending, s.PendingAt = "", Never
	}
	if row.Rhythm != Unknown {
		s.rhythm(row.Rhythm, e.At)
		return
	}
	s.called(e)
}

// conversation notes what was heard last, and what was asked back about it: "yes"
// answers that.
func (s *State) conversation(e Event) {
	switch {
	case e.Kind == Question:
		if s.asked = e.Cue; !strings.HasPrefix(e.Cue, "hear.") { // a yes answers that, and no end that was called before
			s.Pending, s.PendingAt = "", Never
		}
	case e.Kind.IsCallout():
		s.untakes = e.Kind == Undo && s.answered == whoQuestion
		if e.At > s.HeardAt+rule("confirm_s") && s.asked != ecmoQuestion { // too late: a yes may be to what we said since
			s.asked = ""
		}
		s.HeardAt = e.At
		s.forgetAnswer(e)
		if e.Kind == Confirm {
			s.answered = s.asked
			if s.asked == "question.before" {
				s.ShocksBefore, s.BeforeAt = s.shocksTold, e.At
			}
		}
		s.asked = ""
	}
	s.holdWho(e)
}

// called does what a callout other than a rhythm means.
func (s *State) called(e Event) {
	switch e.Kind {
	case CodeEnd, Death:
		s.endCalled(e)
	case Confirm:
		s.confirm(e)
		s.confirmECMO(e.At)
	case Refuse: // whatever waits for a yes
		s.Pending, s.PendingAt, s.held.at, s.ecmoCalled = "", Never, Never, Never
	case CompressionsStart:
		s.start(e.At)
	case CompressorChange:
		s.changed(e.At)
	case CompressionsStop, CompressionsOff:
		s.handsOff(e)
	case RhythmCheck:
		s.look(e)
	case PulseAbsent, PulseLost:
		s.pulseless(e)
	case PulsePresent, ROSC:
		s.pulse(e)
	case ShockGiven, ShockStacked, CardioversionDone:
		s.shock(e)
	case ShockCharging:
		s.ChargingAt = e.At
	case ShockClear:
		s.clear(e.At)
	default:
		if !s.tended(e) {
			s.beat(e)
			s.patient(e)
			s.named(e)
		}
	}
}

// goesOn reports whether a callout shows that the case goes on: an end that was
// called before it is not meant any more, nor does a yes behind it answer that.
func (k Kind) goesOn(row Row) bool {
	switch k {
	case CompressionsStop, MetronomeOff: // this goes with an end
		return false
	}
	return k.IsCallout() && !row.Control && !row.Confirm
}

// changed is a change of compressor: a sign that somebody compresses.
func (s *State) changed(at Time) {
	if s.InArrest() && s.FirstCompression == Never {
		s.start(at)
	}
}

// begin notes that a case, or an arrest, begins with e. Whoever calls for help
// is presumed to have found no pulse; what is done or seen only without one
// says so. A shock or epinephrine may go to a patient who is known to have one.
func (s *State) begin(e Event, row Row) {
	if row.Starts && s.Started == Never {
		s.Started = e.At
	}
	known := s.PulsePresent || s.StabilityAt != Never
	switch {
	case row.Arrest:
		s.prepared()
		s.lose(e.At)
	case !row.Starts || known || e.Kind.Before() != "": // there may be a pulse all the same
		return
	}
	if s.ArrestAt == Never {
		s.arrest(e.At, row.Rhythm)
		s.presumed = e.Kind == CodeStart
	}
	s.presumed = s.presumed && e.Kind == CodeStart
}

// arrest begins the arrest: from here its times and counts run. Its first rhythm is the one
// that is called now, or else the one that stood.
func (s *State) arrest(at Time, called Rhythm) {
	s.ArrestAt, s.PausedFrom, s.CycleFrom = at, at, Never
	other := s.Rhythm.Fast() && !s.Rhythm.Shockable() || s.Rhythm == Brady // with a pulse: somebody has to look again
	if called == Unknown && s.Rhythm != Unknown && !other && s.StabilityAt < s.RhythmAt {
		s.firstRhythm()
	}
	s.StabilityAt, s.Unstable = Never, false
}

// spared takes back an arrest that was only presumed: the patient has a pulse.
func (s *State) spared() {
	if s.presumed {
		s.ArrestAt, s.presumed = Never, false
		s.PausedFrom, s.CycleFrom = Never, Never
		s.FirstRhythm, s.FirstRhythmAt = Unknown, Never
	}
}

// lose ends a pulse. One that was called and withdrawn at once was none: the
// pause goes on from where it began.
func (s *State) lose(at Time) {
	if !s.PulsePresent {
		return
	}
	lost := s.LostAt
	if at >= s.PulseAt+rule("clear_s") { // else it was hardly one
		s.goneAt = at
	}
	if s.mutedAt >= s.PulseAt { // for the pulse that was felt
		s.MetronomeMuted = false
	}
	if s.PausedFrom, s.LostAt = at, at; s.PulseAt >= at-rule("brief_pulse_s") {
		s.PausedFrom, s.LostAt = s.pausedBefore, lost
		if s.FirstROSC == s.PulseAt {
			s.FirstROSC = Never
		}
	} else { // a new arrest: the beat was switched off in the one before
		s.MetronomeMuted = false
	}
	s.PulsePresent, s.PulseAt = false, Never
}

func (s *State) pulse(e Event) {
	at := e.At
	slowChild := s.Compressing && s.Rhythm == Brady && OfChild(s.Patient)
	s.stop(at)
	s.spared()
	if !s.PulsePresent {
		s.PulseAt, s.pausedBefore, s.pulseTold = at, s.PausedFrom, max(at, e.told)
	}
	if s.FirstROSC == Never && s.ArrestAt != Never {
		s.FirstROSC = at
	}
	s.came = s.came || e.Kind == ROSC
	s.PulsePresent, s.PausedFrom, s.CycleFrom = true, Never, Never
	s.MetronomeForced, s.clearOver = slowChild, true // on a child's slow pulse the beat goes on until stable
}

// pulseless is a pulse that is not there, or not any more: compressions are next.
func (s *State) pulseless(e Event) {
	s.forceBeat()
	if e.Kind == PulseAbsent { // in the rhythm that was seen; what follows a lost pulse nobody knows yet
		s.PulselessAt = e.At
		s.unshockable(s.RhythmAt)
	}
}

// look is a pause to look at the rhythm. One that is told late is long over: hands are back on since.
func (s *State) look(e Event) {
	late := s.Compressing && e.toldLate()
	s.checked(e.At)
	if late {
		s.CycleFrom = e.At
		return
	}
	s.stop(e.At)
	s.MetronomeForced = false
}

// handsOff takes hands off; behind what was taken back whoever hears of it is told to compress.
func (s *State) handsOff(e Event) {
	s.stop(e.At)
	if s.MetronomeForced = false; e.Kind == CompressionsOff {
		s.forceBeat()
	}
}

// forceBeat gives the beat where somebody is told to compress.
func (s *State) forceBeat() { s.MetronomeForced = s.InArrest() && !s.OnECMO() && !s.OfNewborn() }

func (s *State) start(at Time) {
	if s.OnECMO() && !s.Compressing { // it runs no more: a new cycle begins
		s.ecmoAt, s.CycleFrom = Never, Never
	}
	if s.FirstCompression == Never {
		s.FirstCompression = at
	}
	if s.CycleFrom == Never {
		s.CycleFrom = at
	}
	s.Compressing, s.PausedFrom, s.clearOver = true, Never, true
}

func (s *State) stop(at Time) {
	if s.Compressing {
		s.Compressing, s.PausedFrom = false, at
	}
}

// checked ends a cycle with a look at the rhythm, or a shock.
func (s *State) checked(at Time) { s.CycleFrom, s.CheckedAt = Never, at }

func (s *State) shock(e Event) {
	if s.sameShock(e) {
		if said := e.Values["energy_j"]; said > 0 { // what was told last
			s.Shocks = slices.Clone(s.Shocks)
			s.Shocks[len(s.Shocks)-1].Joules = said
		}
		return
	}
	shock := Shock{e.At, e.Values["energy_j"], e.Kind == CardioversionDone, e.Kind == ShockStacked, e.Seq, s.Rhythm}
	s.Shocks = append(s.Shocks, shock)
	s.checked(e.At)
	if s.Compressing && e.toldLate() { // hands were back on before anybody spoke of it
		s.CycleFrom = e.At
	} else {
		s.stop(e.At) // nobody touches the patient during a shock
	}
	s.ClearAt, s.ChargingAt, s.synced = Never, Never, false
}

// sameShock reports whether a shock that is called is the one that was called a
// moment ago: whoever gave it and whoever leads may both say so, and not the same energy.
func (s State) sameShock(e Event) bool {
	n := len(s.Shocks)
	if n == 0 || e.Kind != ShockGiven || s.ClearAt != Never || s.ChargingAt != Never {
		return false
	}
	last := s.Shocks[n-1]
	return !last.Synced && !last.Stacked && e.Early() == 0 && e.At < last.At+rule("shock_again_s")
}

// give takes a dose.
func (s *State) give(drug string, e Event) {
	given := s.Given[drug]
	if s.sameDose(drug, e) {
		given = slices.Clone(given) // a State handed out stays what it was
		last := &given[len(given)-1]
		last.Mg, last.again = max(last.Mg, e.Milligrams()), e.At
	} else {
		dose := Dose{At: e.At - e.Early(), Mg: e.Milligrams(), Seq: e.Seq, early: e.Early(), pulse: s.PulsePresent}
		given = inTime(append(slices.Clip(given), dose))
	}
	s.Given, s.noAccess = with(s.Given, drug, given), false
}

// inTime puts doses in the order of time.
func inTime(given []Dose) []Dose {
	slices.SortStableFunc(given, func(a, b Dose) int { return cmp.Compare(a.At, b.At) })
	return given
}

// sameDose reports whether a dose that is called is the one that was called a moment
// ago: whoever gave it and whoever leads may both say so.
func (s State) sameDose(drug string, e Event) bool {
	n, mg := len(s.Given[drug]), e.Milligrams()
	if n == 0 {
		return false
	}
	last, again := s.Given[drug][n-1], rule("dose_again_s")
	if last.Before {
		return false
	}
	apart := e.At - e.Early() - last.At
	near := -again < apart && (apart < again || last.again > 0 && e.At-last.again < again)
	return near && (mg == 0 || last.Mg == 0 || mg == last.Mg)
}

func (s *State) rhythm(r Rhythm, at Time) {
	s.Rhythm, s.RhythmAt = r, at
	if s.NoShockAt != Never {
		s.seenSince++
	}
	if s.FirstRhythm == Unknown && s.ArrestAt != Never {
		s.firstRhythm()
	}
	if r.Pulseless() {
		s.unshockable(at)
	}
	switch {
	case !s.Compressing:
		s.checked(at)
	case s.CycleFrom != Never && at >= s.CycleFrom+rule("look_s"):
		s.CycleFrom, s.CheckedAt = at, at // the look that ends the cycle; nobody called the pause
	}
	s.clearBy(r)
}

// unshockable notes since when a rhythm without a pulse stands that no shock helps.
func (s *State) unshockable(at Time) {
	if s.NoShockAt == Never && s.ArrestAt != Never && s.Rhythm != Unknown && !s.Rhythm.Shockable() {
		s.NoShockAt = at
	}
}

// firstRhythm: the first rhythm of an arrest is the one that stood when it
// began, unless the patient was known to have a pulse in it, or else the first
// one called from then on.
func (s *State) firstRhythm() { s.FirstRhythm, s.FirstRhythmAt = s.Rhythm, s.RhythmAt }

// endCalled notes an end that asks for confirmation. What has ended ends no second time.
func (s *State) endCalled(e Event) {
	if e.Kind == Death || s.Ended == Never {
		s.Pending, s.PendingAt = e.Kind, e.At
	}
}

// confirm ends the case, if its end was called a moment ago.
func (s *State) confirm(e Event) {
	at := e.At
	wait := rule("confirm_s")
	if s.Compressing { // the end may have been misheard, and the yes be another's
		wait = rule("clear_s")
	}
	if s.Pending == "" || at > s.PendingAt+wait {
		return
	}
	s.Dead = s.Pending == Death
	s.stop(at)
	s.Ended, s.Pending, s.PendingAt = at, "", Never
	s.PausedFrom, s.CycleFrom, s.ClearAt = Never, Never, Never
	s.MetronomeForced, s.EndedBy = false, e.Seq
}

// named takes the callouts of a family. Maps are replaced, not changed, and lists
// only grow behind their end: a State handed out stays what it was, and a long
// record costs no more an event than a short one.
func (s *State) named(e Event) {
	switch f, name := e.Kind.Family(); f {
	case "drug.":
		s.give(name, e)
	case "before.":
		s.before(name, e)
	case "measured.":
		s.measured(name, e)
	case "intervention.":
		s.Done = with(s.Done, name, e.At)
		s.calledECMO(name, e.At)
		if cause := e.Kind.Row().Treats; cause != "" {
			s.Causes, s.CauseAt = with(s.Causes, cause, "treated"), with(s.CauseAt, cause, e.At)
		}
	case "cause.considered.", "cause.treated.", "cause.excluded.":
		cause := strings.ReplaceAll(name, "_", " ")
		s.Causes, s.CauseAt = with(s.Causes, cause, strings.Split(f, ".")[1]), with(s.CauseAt, cause, e.At)
	}
}
