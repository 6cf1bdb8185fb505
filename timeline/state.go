package timeline

import (
	"slices"
	"sort"
	"strings"
)

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
	Torsades  Rhythm = "torsades"
	SVT       Rhythm = "SVT"
	AF        Rhythm = "AF"
	Brady     Rhythm = "bradycardia"
)

var rhythmOf = map[Kind]Rhythm{RhythmVF: VF, RhythmVT: VT, RhythmPEA: PEA, RhythmAsystole: Asystole, RhythmOrganised: Organised,
	RhythmTorsades: Torsades, RhythmSVT: SVT, RhythmAF: AF, RhythmBrady: Brady}

// Shockable reports whether, without a pulse, a shock is the treatment.
func (r Rhythm) Shockable() bool { return r == VF || r == VT || r == Torsades }

// Fast reports whether, with a pulse, the rhythm is a tachycardia.
func (r Rhythm) Fast() bool { return r == VT || r == Torsades || r == SVT || r == AF }

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
	Given            map[string][]Dose // by drug
	Done             map[string]Time   // interventions
	Causes           map[string]string // considered, treated or excluded, by cause
	Patient          string            // adult, child, infant; empty if not called
	Pregnant         bool
	Hypothermic      bool
	Opioid           bool
	WeightKg         float64 // as called; 0 if not
	AgeMonths        float64 // as called; 0 if not
	Unstable         bool
	ReviewedAt       Time // when the causes were last gone through; Never if not
	StabilityAt      Time // when stable or unstable was last called; Never if not
	FirstROSC        Time
	Pending          Kind // asks for confirmation: code.end or death; empty if none
	PendingAt        Time
	Dead             bool
	Access           bool
	MetronomeMuted   bool // switched off by callout
	MetronomeForced  bool // switched on by callout, until the next pause
	ClearAt          Time // last "everybody clear"; Never before one
	AirwayAt         Time // Never until the airway is secured
	PulseAt          Time // when the present pulse was called; Never without one
}

// Fold returns the state that the events leave, retracted ones left out.
// Events are taken in the order of At: one that was back-dated counts from the
// moment that was claimed.
func Fold(events []Event) State {
	s := newState()
	for _, e := range standing(events) {
		s.apply(e)
	}
	return s
}

// standing returns the events that were not retracted, in the order of At.
func standing(events []Event) []Event {
	gone := Retracted(events)
	order := slices.DeleteFunc(slices.Clone(events), func(e Event) bool { return gone[e.Seq] })
	sort.SliceStable(order, func(i, j int) bool { return order[i].At < order[j].At })
	return order
}

func newState() State {
	return State{Given: map[string][]Dose{}, Done: map[string]Time{}, Causes: map[string]string{}, StabilityAt: Never, ReviewedAt: Never, FirstROSC: Never, PendingAt: Never, Started: Never, Ended: Never, FirstCompression: Never, PausedFrom: Never, CycleFrom: Never, RhythmAt: Never, PulseAt: Never, AirwayAt: Never, ClearAt: Never}
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
		case Undo, AskNext, AskTime, AskCauses, AskSummary, CausesReview, Note, Mark, SayAgain, Quiet, Loud, Confirm, Backdate, CorrectEnergy:
			continue
		}
		if f, _, ok := e.Kind.family(); ok && (f == "ask.dose." || f == "correct.drug.") {
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
	if r, ok := rhythmOf[e.Kind]; ok {
		s.rhythm(e, r)
		return
	}
	switch e.Kind {
	case CodeEnd, Death:
		s.Pending, s.PendingAt = e.Kind, e.At
	case Confirm:
		s.confirm(e.At)
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
		if s.InArrest() {
			s.stop(e.At) // nobody touches the patient during a shock
		}
	case ShockClear:
		s.ClearAt, s.MetronomeForced = e.At, false
	case AirwaySecured:
		s.AirwayAt = e.At
	case AccessIV, AccessIO:
		s.Access = true
	case CausesReview, AskCauses:
		s.ReviewedAt = e.At
	case MetronomeOn, MetronomeOff:
		s.MetronomeMuted, s.MetronomeForced = e.Kind == MetronomeOff, e.Kind == MetronomeOn
	default:
		s.patient(e)
		s.named(e)
	}
}

// patient takes what was called about who lies there.
func (s *State) patient(e Event) {
	switch e.Kind {
	case PatientAdult, PatientChild, PatientInfant:
		s.Patient = strings.TrimPrefix(string(e.Kind), "patient.")
	case PatientPregnant:
		s.Pregnant = true
	case PatientHypothermic:
		s.Hypothermic = true
	case PatientOpioid:
		s.Opioid = true
	case PatientWeight:
		s.WeightKg = e.Values["weight_kg"]
	case PatientAge:
		s.AgeMonths = 12 * e.Values["age_y"]
	case PatientAgeMonths:
		s.AgeMonths = e.Values["age_months"]
	case PatientStable, PatientUnstable:
		s.Unstable, s.StabilityAt = e.Kind == PatientUnstable, e.At
	}
}

// named takes the callouts of a family.
func (s *State) named(e Event) {
	switch f, name, _ := e.Kind.family(); f {
	case "drug.":
		mg := e.Values["dose_mg"]
		if g := e.Values["dose_g"]; g > 0 {
			mg = 1000 * g
		}
		s.Given[name] = append(s.Given[name], Dose{e.At, mg, e.Seq})
	case "intervention.":
		s.Done[name] = e.At
	case "cause.considered.", "cause.treated.", "cause.excluded.":
		s.Causes[strings.ReplaceAll(name, "_", " ")] = strings.Split(f, ".")[1]
	}
}

// confirmWithin is how long the end of a code waits for "confirmed".
var confirmWithin = Seconds(30)

// confirm ends the code, if its end was called a moment ago.
func (s *State) confirm(at Time) {
	if s.Pending == "" || at > s.PendingAt+confirmWithin {
		return
	}
	s.Dead = s.Pending == Death
	s.stop(at)
	s.Ended, s.Pending, s.PendingAt = at, "", Never
	s.PausedFrom, s.CycleFrom = Never, Never
	s.MetronomeForced = false
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

func (s *State) rhythm(e Event, r Rhythm) {
	s.Rhythm, s.RhythmAt = r, e.At
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
	if s.FirstROSC == Never && s.Started != Never {
		s.FirstROSC = at
	}
	s.PulsePresent, s.PausedFrom, s.CycleFrom, s.CheckDone = true, Never, Never, false
	s.MetronomeForced = false
}

// InArrest reports whether a code is on and no pulse has been called.
func (s State) InArrest() bool { return s.Started != Never && s.Ended == Never && !s.PulsePresent }

// Antiarrhythmics counts the doses given of either drug of the arrest.
func (s State) Antiarrhythmics() int { return len(s.Given["amiodarone"]) + len(s.Given["lidocaine"]) }

// Total is how much of a drug was given, in mg, as far as it was called.
func (s State) Total(drug string) float64 {
	sum := 0.0
	for _, d := range s.Given[drug] {
		sum += d.Mg
	}
	return sum
}

// Synced counts the synchronised shocks.
func (s State) Synced() int { return len(s.Shocks) - s.Unsynced() }

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
