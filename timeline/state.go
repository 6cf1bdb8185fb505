package timeline

import (
	"maps"
	"slices"
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
	Flutter   Rhythm = "flutter"
	Brady     Rhythm = "bradycardia"
)

// Kind is the callout that names the rhythm; empty for Unknown.
func (r Rhythm) Kind() Kind { return kinds.rhythms[r] }

// Shockable reports whether, without a pulse, a shock is the treatment.
func (r Rhythm) Shockable() bool { return r.Kind().Row().Shockable }

// Fast reports whether, with a pulse, the rhythm is a tachycardia.
func (r Rhythm) Fast() bool { return r.Kind().Row().Fast }

// Pulseless reports whether the rhythm has no pulse.
func (r Rhythm) Pulseless() bool { return r.Kind().Row().Pulseless }

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

// State is where the code stands: what Fold makes of the events.
//
// A cycle begins with the first compressions, or with those that follow the
// end of the cycle before; a rhythm check, a rhythm called while hands are off,
// a shock, a pulse or the end of the code ends it, a change of the compressor
// does not. A pause is a time without compressions in an arrest after the first
// compression: see HandsOff.
type State struct {
	At               Time // of the last event
	Started, Ended   Time // Never before they happen
	Compressing      bool
	PulsePresent     bool // a pulse or return of circulation was called
	FirstCompression Time
	PausedFrom       Time // start of the present pause; Never while compressing
	CycleFrom        Time // see Cycle; Never outside one
	Rhythm           Rhythm
	RhythmAt         Time
	FirstRhythm      Rhythm // see firstRhythm
	FirstRhythmAt    Time
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

func newState() State {
	return State{
		At: Never, Started: Never, Ended: Never, FirstCompression: Never, PausedFrom: Never, CycleFrom: Never,
		RhythmAt: Never, FirstRhythmAt: Never, ReviewedAt: Never, StabilityAt: Never, FirstROSC: Never,
		PendingAt: Never, ClearAt: Never, AirwayAt: Never, PulseAt: Never,
	}
}

func (s *State) apply(e Event) {
	s.At = e.At
	row := e.Kind.Row()
	if s.Started == Never && row.Starts {
		s.Started = e.At
		s.PausedFrom = e.At
		if s.Rhythm != Unknown && s.StabilityAt < s.RhythmAt {
			s.firstRhythm()
		}
	}
	if row.Rhythm != Unknown {
		s.rhythm(e, row.Rhythm)
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
		if e.Kind == RhythmCheck {
			s.CycleFrom = Never
		}
	case PulseAbsent, PulseLost:
		s.PulsePresent, s.PulseAt = false, Never
		s.MetronomeForced = s.Ended == Never // compressions are next
		if s.PausedFrom == Never && !s.Compressing {
			s.PausedFrom = e.At
		}
	case PulsePresent, ROSC:
		s.pulse(e.At)
	case ShockGiven, CardioversionDone:
		shock := Shock{e.At, e.Values["energy_j"], e.Kind == CardioversionDone, e.Seq}
		s.Shocks = append(slices.Clip(s.Shocks), shock)
		s.CycleFrom = Never
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

// named takes the callouts of a family. Maps are replaced, not changed: a
// State handed out stays what it was.
func (s *State) named(e Event) {
	switch f, name := e.Kind.Family(); f {
	case "drug.":
		s.Given = with(s.Given, name, append(slices.Clip(s.Given[name]), Dose{e.At, e.Milligrams(), e.Seq}))
	case "intervention.":
		s.Done = with(s.Done, name, e.At)
	case "cause.considered.", "cause.treated.", "cause.excluded.":
		s.Causes = with(s.Causes, strings.ReplaceAll(name, "_", " "), strings.Split(f, ".")[1])
	}
}

// with returns a copy of m in which k is v.
func with[V any](m map[string]V, k string, v V) map[string]V {
	out := make(map[string]V, len(m)+1)
	maps.Copy(out, m)
	out[k] = v
	return out
}

// confirm ends the code, if its end was called a moment ago.
func (s *State) confirm(at Time) {
	if s.Pending == "" || at > s.PendingAt+rule("confirm_s") {
		return
	}
	s.Dead = s.Pending == Death
	s.stop(at)
	s.Ended, s.Pending, s.PendingAt = at, "", Never
	s.PausedFrom, s.CycleFrom = Never, Never
	s.MetronomeForced = false
}

func (s *State) start(at Time) {
	s.PulsePresent, s.PulseAt, s.Ended = false, Never, Never
	if s.FirstCompression == Never {
		s.FirstCompression = at
	}
	if s.CycleFrom == Never {
		s.CycleFrom = at
	}
	s.Compressing, s.PausedFrom = true, Never
}

func (s *State) stop(at Time) {
	if s.Compressing {
		s.Compressing, s.PausedFrom = false, at
	}
}

func (s *State) rhythm(e Event, r Rhythm) {
	s.Rhythm, s.RhythmAt = r, e.At
	if s.FirstRhythm == Unknown && s.Started != Never {
		s.firstRhythm()
	}
	if !s.Compressing {
		s.CycleFrom = Never
	}
	if s.PulsePresent && r.Pulseless() {
		s.PulsePresent, s.PulseAt, s.PausedFrom = false, Never, e.At
	}
}

// firstRhythm: the first rhythm of a code is the one that stood when it began,
// unless the patient was known to have a pulse in it, or else the first one
// called from then on.
func (s *State) firstRhythm() { s.FirstRhythm, s.FirstRhythmAt = s.Rhythm, s.RhythmAt }

func (s *State) pulse(at Time) {
	s.stop(at)
	if !s.PulsePresent {
		s.PulseAt = at
	}
	if s.FirstROSC == Never && s.Started != Never {
		s.FirstROSC = at
	}
	s.PulsePresent, s.PausedFrom, s.CycleFrom = true, Never, Never
	s.MetronomeForced = false
}

// InArrest reports whether a code is on and no pulse has been called.
func (s State) InArrest() bool { return s.Started != Never && s.Ended == Never && !s.PulsePresent }

// HandsOff reports whether the arrest is in a pause: no pulse and nobody
// compresses, after the first compression.
func (s State) HandsOff() bool {
	return s.InArrest() && !s.Compressing && s.FirstCompression != Never
}

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
