package timeline

// Rhythm is the last rhythm called.
type Rhythm string

// Rhythms, and what they mean for the arrest algorithm.
const (
	Unknown   Rhythm = ""
	VF        Rhythm = "VF"
	VT        Rhythm = "VT"
	PEA       Rhythm = "PEA"
	Asystole  Rhythm = "asystole"
	Organised Rhythm = "organised"
)

// Shockable reports whether the rhythm is VF or VT.
func (r Rhythm) Shockable() bool { return r == VF || r == VT }

// Dose is one drug given.
type Dose struct {
	At  Time
	Mg  float64 // 0 if no amount was called
	Seq uint64
}

// Shock is one defibrillation or cardioversion.
type Shock struct {
	At     Time
	Joules float64 // 0 if no energy was called
	Synced bool
	Seq    uint64
}

// Never is the zero of moments that have not happened.
const Never Time = -1

// State is where the code stands: what Fold makes of the events. The zero
// State is a session in which no code has started.
type State struct {
	Started, Ended   Time // Never before they happen
	Compressing      bool
	PulsePresent     bool // a pulse or return of circulation was called
	FirstCompression Time
	PausedFrom       Time // start of the present pause; Never while compressing
	CycleFrom        Time // start of the present 2-minute cycle; Never if none
	CheckDone        bool // a rhythm was checked or a shock given in this pause
	Rhythm           Rhythm
	RhythmAt         Time
	Shocks           []Shock
	Epinephrine      []Dose
	Amiodarone       []Dose
	Lidocaine        []Dose
	Access           bool
	MetronomeMuted   bool // switched off by callout
	MetronomeForced  bool // switched on by callout, until the next pause
	ClearAt          Time // last "everybody clear"; Never before one
	AirwayAt         Time // Never until the airway is secured
	PulseAt          Time // when the present pulse was called; Never without one
}

// Fold returns the state that the events leave, retracted ones left out.
// Events need not be in order of At: a callout counts from when it was said.
func Fold(events []Event) State {
	s := newState()
	gone := Retracted(events)
	for _, e := range events {
		if !gone[e.Seq] {
			s.apply(e)
		}
	}
	return s
}

func newState() State {
	return State{Started: Never, Ended: Never, FirstCompression: Never, PausedFrom: Never, CycleFrom: Never, RhythmAt: Never, PulseAt: Never, AirwayAt: Never, ClearAt: Never}
}

// Retracted returns the numbers of the events that later events take back.
func Retracted(events []Event) map[uint64]bool {
	gone := map[uint64]bool{}
	for _, e := range events {
		if e.Kind == Retraction {
			gone[e.Retracts] = true
		}
	}
	return gone
}

// LastRetractable returns the newest callout that an undo would take back.
func LastRetractable(events []Event) (Event, bool) {
	gone := Retracted(events)
	for i := len(events) - 1; i >= 0; i-- {
		e := events[i]
		switch e.Kind {
		case Undo, AskNext, AskTime, CausesReview, Note:
			continue
		}
		if e.Kind.IsCallout() && !gone[e.Seq] {
			return e, true
		}
	}
	return Event{}, false
}

func (s *State) apply(e Event) {
	if s.Started == Never && startsCode(e.Kind) {
		s.Started = e.At
		s.PausedFrom = e.At
	}
	switch e.Kind {
	case CodeEnd:
		s.Ended = e.At
		s.stop(e.At)
		s.PausedFrom, s.CycleFrom = Never, Never
	case CodeStart:
		if s.Ended != Never { // a code called again after its end goes on
			s.Ended, s.PausedFrom = Never, e.At
		}
	case CompressionsStart:
		s.start(e.At)
	case CompressionsStop, RhythmCheck:
		s.stop(e.At)
		s.MetronomeForced = false
		s.CheckDone = s.CheckDone || e.Kind == RhythmCheck
	case RhythmVF, RhythmVT, RhythmPEA, RhythmAsystole, RhythmOrganised:
		s.rhythm(e)
	case PulseAbsent, PulseLost:
		s.PulsePresent, s.PulseAt = false, Never
		s.MetronomeForced = s.Ended == Never // compressions are next
		if s.PausedFrom == Never && !s.Compressing {
			s.PausedFrom = e.At
		}
	case PulsePresent, ROSC:
		s.pulse(e.At)
	case ShockGiven, CardioversionDone:
		s.Shocks = append(s.Shocks, Shock{e.At, e.Values["energy_j"], e.Kind == CardioversionDone, e.Seq})
		s.CheckDone = true
		if !s.PulsePresent {
			s.stop(e.At) // nobody touches the patient during a shock
		}
	case ShockClear:
		s.ClearAt, s.MetronomeForced = e.At, false
	case Epinephrine:
		s.Epinephrine = append(s.Epinephrine, Dose{e.At, e.Values["dose_mg"], e.Seq})
	case Amiodarone:
		s.Amiodarone = append(s.Amiodarone, Dose{e.At, e.Values["dose_mg"], e.Seq})
	case Lidocaine:
		s.Lidocaine = append(s.Lidocaine, Dose{e.At, e.Values["dose_mg"], e.Seq})
	case AirwaySecured:
		s.AirwayAt = e.At
	case AccessIV, AccessIO:
		s.Access = true
	case MetronomeOn, MetronomeOff:
		s.MetronomeMuted, s.MetronomeForced = e.Kind == MetronomeOff, e.Kind == MetronomeOn
	}
}

// startsCode: whoever calls a shock or compressions without having said
// "start the code" is in a code all the same.
func startsCode(k Kind) bool {
	switch k {
	case CodeStart, CompressionsStart, ShockGiven, RhythmVF, RhythmPEA, RhythmAsystole, PulseAbsent, PulseLost, Epinephrine:
		return true
	}
	return false
}

func (s *State) start(at Time) {
	s.PulsePresent, s.PulseAt, s.Ended = false, Never, Never
	if s.FirstCompression == Never {
		s.FirstCompression = at
	}
	if s.CycleFrom == Never || s.CheckDone {
		s.CycleFrom = at
	}
	s.Compressing, s.PausedFrom, s.CheckDone = true, Never, false
}

func (s *State) stop(at Time) {
	if s.Compressing {
		s.Compressing, s.PausedFrom = false, at
	}
}

func (s *State) rhythm(e Event) {
	s.Rhythm = map[Kind]Rhythm{RhythmVF: VF, RhythmVT: VT, RhythmPEA: PEA, RhythmAsystole: Asystole, RhythmOrganised: Organised}[e.Kind]
	s.RhythmAt = e.At
	s.CheckDone = s.CheckDone || !s.Compressing
	if s.PulsePresent && (s.Rhythm == VF || s.Rhythm == PEA || s.Rhythm == Asystole) { // no pulse in these
		s.PulsePresent, s.PulseAt, s.PausedFrom = false, Never, e.At
	}
}

func (s *State) pulse(at Time) {
	s.stop(at)
	if !s.PulsePresent {
		s.PulseAt = at
	}
	s.PulsePresent, s.PausedFrom, s.CycleFrom, s.CheckDone = true, Never, Never, false
	s.MetronomeForced = false
}

// InArrest reports whether a code is on and no pulse has been called.
func (s State) InArrest() bool { return s.Started != Never && s.Ended == Never && !s.PulsePresent }

// Antiarrhythmics counts the doses given of either drug.
func (s State) Antiarrhythmics() int { return len(s.Amiodarone) + len(s.Lidocaine) }

// Unsynced counts the defibrillations.
func (s State) Unsynced() int {
	n := 0
	for _, x := range s.Shocks {
		if !x.Synced {
			n++
		}
	}
	return n
}

// Metronome reports whether the compressor needs the beat: while compressing,
// before the first compression, after a shock (compressions resume at once:
// AHA 2020 Part 3), and whenever it was asked for.
func (s State) Metronome() bool {
	if s.MetronomeMuted {
		return false
	}
	shocked := len(s.Shocks) > 0 && s.PausedFrom != Never && s.Shocks[len(s.Shocks)-1].At >= s.PausedFrom
	return s.MetronomeForced || s.InArrest() && (s.Compressing || s.FirstCompression == Never || shocked)
}
